"""Working days, windows and crew hours: every figure here was counted by hand on a calendar."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from worksprog.calc.workdays import (
    Calendar,
    CrewWeek,
    MonthDay,
    Window,
    crew_hours,
    outside_advisory,
)

FELLING = Window("felling", MonthDay(9, 1), MonthDay(2, 29), "nesting birds")
CHRISTMAS = {dt.date(2026, 12, 25): "Christmas Day", dt.date(2026, 12, 28): "Boxing Day (in lieu)"}


def test_a_window_over_new_year_includes_both_its_days():
    assert FELLING.over_new_year
    for open_day in [(2026, 9, 1), (2026, 12, 31), (2027, 1, 1), (2027, 2, 28), (2028, 2, 29)]:
        assert FELLING.is_open(dt.date(*open_day))
    for closed_day in [(2026, 8, 31), (2027, 3, 1), (2028, 3, 1)]:
        assert not FELLING.is_open(dt.date(*closed_day))


def test_a_window_within_a_year():
    seeding = Window("seeding", MonthDay(8, 15), MonthDay(9, 30), "soil warmth")
    assert not seeding.over_new_year
    assert seeding.is_open(dt.date(2026, 8, 15)) and seeding.is_open(dt.date(2026, 9, 30))
    assert not seeding.is_open(dt.date(2026, 10, 1))
    assert str(seeding) == "15 August to 30 September"


@pytest.mark.parametrize(("month", "day"), [(0, 1), (13, 1), (2, 30), (4, 31), (1, 0)])
def test_days_that_no_year_has_are_refused(month, day):
    with pytest.raises(ValueError, match=r"month|no day"):
        MonthDay(month, day)


def test_calendar_refuses_what_it_cannot_be():
    with pytest.raises(ValueError, match="starts on a Monday"):
        Calendar(dt.date(2026, 11, 24), 4)
    with pytest.raises(ValueError, match="at least one week"):
        Calendar(dt.date(2026, 11, 23), 0)
    with pytest.raises(ValueError, match="before the first day"):
        Calendar.around(dt.date(2026, 11, 24), dt.date(2026, 11, 20))
    with pytest.raises(ValueError, match="numbers from 0"):
        Calendar(dt.date(2026, 11, 23), 1, frozenset({7}))


def test_working_days_leave_out_weekends_and_holidays():
    calendar = Calendar.around(dt.date(2026, 12, 23), dt.date(2027, 1, 1), holidays=CHRISTMAS)
    assert calendar.first_day == dt.date(2026, 12, 21)
    assert calendar.weeks == 2
    worked = [calendar.date(int(i)) for i in np.flatnonzero(calendar.workdays)]
    assert [day.day for day in worked] == [21, 22, 23, 24, 29, 30, 31, 1]


def test_next_open_day_skips_weekend_holiday_and_closed_season():
    calendar = Calendar.around(dt.date(2026, 2, 2), dt.date(2027, 1, 31), holidays=CHRISTMAS)
    assert calendar.next_open_day(dt.date(2026, 12, 25)) == dt.date(2026, 12, 29)
    # 27 February 2026 is a Friday; the window closes on Saturday 28 February.
    assert calendar.next_open_day(dt.date(2026, 2, 27), [FELLING]) == dt.date(2026, 2, 27)
    assert calendar.next_open_day(dt.date(2026, 2, 28), [FELLING]) == dt.date(2026, 9, 1)
    never = Calendar.around(dt.date(2026, 3, 2), dt.date(2026, 8, 30))
    assert never.next_open_day(dt.date(2026, 3, 2), [FELLING]) is None


def test_windows_of_a_kind_add_up_and_advisory_ones_do_not_close_anything():
    calendar = Calendar.around(dt.date(2026, 1, 5), dt.date(2026, 12, 27))
    spring = Window("seeding", MonthDay(4, 15), MonthDay(5, 31), "warmth")
    autumn = Window("seeding", MonthDay(8, 15), MonthDay(9, 30), "warmth")
    both = calendar.window_days([spring, autumn])
    assert both.sum() == 47 + 47
    advisory = Window("felling", MonthDay(9, 1), MonthDay(2, 29), "birds", firm=False)
    assert calendar.window_days([advisory]).all()
    assert outside_advisory([advisory], dt.date(2026, 2, 25), dt.date(2026, 3, 2)) == [advisory]
    assert outside_advisory([advisory], dt.date(2026, 1, 25), dt.date(2026, 2, 2)) == []
    assert outside_advisory([FELLING], dt.date(2026, 5, 1), dt.date(2026, 5, 2)) == []


@given(
    opens=st.tuples(st.integers(1, 12), st.integers(1, 28)),
    closes=st.tuples(st.integers(1, 12), st.integers(1, 28)),
)
def test_the_mask_of_days_agrees_with_asking_day_by_day(opens, closes):
    window = Window("kind", MonthDay(*opens), MonthDay(*closes), "because")
    calendar = Calendar(dt.date(2027, 1, 4), 110)
    mask = calendar.window_days([window])
    for index in range(0, calendar.days, 5):
        assert mask[index] == window.is_open(calendar.date(index))


def test_hours_left_are_crew_less_routine_and_a_holiday_takes_its_share():
    calendar = Calendar.around(dt.date(2026, 12, 14), dt.date(2027, 1, 3), holidays=CHRISTMAS)
    pattern = {week: CrewWeek(week, 220, 150) for week in (51, 52)} | {53: CrewWeek(53, 220, 230)}
    hours = crew_hours(calendar, pattern)
    # 2026 has a week 53. One holiday of five days in week 52: 220 × 4/5 = 176, less 150.
    assert hours.crew_h == pytest.approx([220, 176, 176])
    assert hours.left_h == pytest.approx([70, 26, 0])
    assert hours.left_day_h[:7] == pytest.approx([14] * 5 + [0, 0])
    assert hours.left_day_h[7:14] == pytest.approx([6.5] * 4 + [0, 0, 0])
    assert hours.left_day_h.reshape(-1, 7).sum(axis=1) == pytest.approx(hours.left_h)


def test_week_53_is_as_week_52_and_an_unknown_week_has_no_hours():
    calendar = Calendar.around(dt.date(2026, 12, 14), dt.date(2027, 1, 10))
    hours = crew_hours(calendar, {52: CrewWeek(52, 100, 40)})
    assert hours.left_h == pytest.approx([0, 60, 60, 0])


def test_a_week_wholly_on_holiday_has_no_hours():
    monday = dt.date(2026, 12, 21)
    closed = {monday + dt.timedelta(days=n): "closed" for n in range(5)}
    calendar = Calendar(monday, 1, holidays=closed)
    hours = crew_hours(calendar, {52: CrewWeek(52, 100, 0)})
    assert hours.left_h.tolist() == [0] and hours.left_day_h.sum() == 0


@pytest.mark.parametrize("bad", [(0, 1, 1), (54, 1, 1), (5, -1, 0), (5, 1, float("nan"))])
def test_crew_weeks_that_cannot_be_are_refused(bad):
    with pytest.raises(ValueError, match="week"):
        CrewWeek(*bad)
