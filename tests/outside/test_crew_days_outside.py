"""A person's days at work against a count of working days that shares no code with ours."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

import numpy as np
import pytest

from worksprog.calc.crew_days import Person, crew_days
from worksprog.calc.workdays import Calendar, CrewWeek

D = dt.date
CLOSED = [D(2026, 12, 25), D(2026, 12, 28), D(2027, 1, 1), D(2027, 3, 26)]
SOURCE = "numpy.busday_count, an implementation of its own; our own case"


@pytest.mark.parametrize(
    ("week", "first", "last"),
    [
        ((0, 1, 2, 3, 4), D(2026, 9, 7), D(2031, 8, 31)),
        ((0, 1, 3, 5), D(2026, 12, 20), D(2027, 1, 6)),
        ((5, 6), D(2026, 10, 24), D(2026, 10, 25)),
    ],
)
def test_hours_over_a_stretch_against_working_days_counted_elsewhere(
    outside: Callable[..., None], week: tuple[int, ...], first: D, last: D
) -> None:
    mask = "".join("1" if day in week else "0" for day in range(7))
    one_more = dt.timedelta(days=1)
    days = np.busday_count(first, last + one_more, weekmask=mask, holidays=CLOSED)
    away = np.busday_count(first, first + one_more, weekmask=mask, holidays=CLOSED)
    calendar = Calendar.around(
        D(2026, 8, 31), D(2031, 12, 31), holidays=dict.fromkeys(CLOSED, "closed")
    )
    person = Person(
        "a", "Ash", "hand", 7.4, week_days=frozenset(week), first=first, last=last,
        away=((first, first),),
    )  # fmt: skip
    usual = {number: CrewWeek(number, 0, 0) for number in range(1, 54)}
    found = crew_days(calendar, [person], usual).hours
    outside(
        quantity=f"hours of one of the crew, {first} to {last}, {len(week)} days a week",
        expected=float(days - away) * 7.4,
        got=float(found.left_day_h.sum()),
        tolerance=1e-9,
        relative=True,
        unit="h",
        source=SOURCE,
    )
