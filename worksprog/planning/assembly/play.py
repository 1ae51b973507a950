"""Days that fixtures take from the works, and holes out of play at once."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence

import numpy as np

from worksprog.calc import workdays
from worksprog.calc.solver import Resource
from worksprog.planning.bridge import ItemFacts
from worksprog.planning.play import FixtureDays, Play
from worksprog.works.models import ItemState

HOLES = "holes"


def fixtures_of(play: Play, one: ItemFacts) -> list[FixtureDays]:
    """Those that the job makes way for. Two on one day both count."""
    return [
        fixture
        for fixture in play.fixtures
        if fixture.stops_work(closes=bool(one.holes_closed), holes=one.holes)
    ]


def fixture_name(fixture: FixtureDays) -> str:
    return f"fixture:{fixture.uuid}"


def fixture_words(fixture: FixtureDays) -> str:
    days = _day(fixture.first)
    if fixture.last != fixture.first:
        days = f"{days} to {_day(fixture.last)}"
    what = {"all": "no works go on", "closing": "no work goes on that takes a hole out of play"}
    on = ", ".join(str(number) for number in sorted(fixture.holes))
    return f"{fixture.name}, {days}: {what.get(fixture.stops, f'no works go on at {on}')}"


def clear_of(calendar: workdays.Calendar, fixtures: Iterable[FixtureDays]) -> workdays.Mask:
    """Days on which none of the fixtures is played."""
    clear = np.ones(calendar.days, dtype=bool)
    for fixture in fixtures:
        first = max(calendar.index(fixture.first), 0)
        clear[first : max(calendar.index(fixture.last) + 1, first)] = False
    return clear


def holes_words(play: Play) -> str:
    told = []
    if play.at_once is not None:
        told.append(f"{play.at_once} at once")
    if play.in_season is not None:
        told.append(f"{play.in_season} in the season")
    return f"No more holes are out of play than {' and '.join(told)}"


def holes_resource(
    play: Play, items: Sequence[ItemFacts], calendar: workdays.Calendar, today: dt.date
) -> Resource | None:
    """Holes that may be out of play on each day, less those of work that still grows in.

    A job takes its holes from its first day until it is in play. Two jobs on one hole at once take
    it twice, so that the holes really out of play are never more. None without a limit.
    """
    limits = [play.limit_on(calendar.date(day)) for day in range(calendar.days)]
    if all(limit is None for limit in limits):
        return None
    every = sum(one.holes_closed for one in items)
    left = np.array([every if limit is None else limit for limit in limits], dtype=np.int64)
    for one in items:
        if one.item.state == ItemState.GROWING_IN:
            over = (one.item.finished_on or today) + dt.timedelta(
                days=7 * one.item.growing_in_weeks + 1
            )
            left[: max(calendar.index(over), 0)] -= one.holes_closed
    return Resource(HOLES, "holes that may be out of play", np.maximum(left, 0))


def _day(day: dt.date) -> str:
    return f"{day.day} {day:%b %Y}"
