"""Futures of a plan: order, hours, windows, links, seed."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from worksprog.calc.futures import Given, Opening, Work, follow_futures
from worksprog.calc.ranges import ThreePoint
from worksprog.calc.solver import Link, LinkKind
from worksprog.calc.weather import WorkableYears
from worksprog.calc.weather.years import Source

MONDAY = dt.date(2026, 9, 7)
DAYS = 400
ALL = np.ones(DAYS, dtype=bool)


def fine(ground: Any = None) -> WorkableYears:
    rows = np.ones((1, 365), dtype=bool) if ground is None else np.asarray(ground)
    none = np.zeros(rows.shape)
    return WorkableYears(Source.OWN, ("one",) * len(rows), none, none, rows, np.ones_like(rows))


def work(key: int, amount: float | ThreePoint, **facts: Any) -> Work:
    if not isinstance(amount, ThreePoint):
        amount = ThreePoint.exactly(amount)
    return Work(key, f"job {key}", amount, **({"a_day": 8.0} | facts))


def given(*works: Work, links: tuple[Link, ...] = (), **facts: Any) -> Given:
    usual: dict[str, Any] = {
        "first_day": MONDAY,
        "crew_day_h": np.full(DAYS, 8.0),
        "openings": {"": Opening(ALL, ALL)},
        "workdays": ALL,
        "weather": fine(),
    }
    return Given(works=works, links=links, **(usual | facts))


def ends(what: Given) -> dict[int, int | None]:
    told = follow_futures(what, futures=100)
    return {key: one.within(50) for key, one in told.works.items()}


def test_who_stands_first_takes_the_hours_first() -> None:
    assert ends(given(work(1, 24), work(2, 16))) == {1: 2, 2: 4}
    assert ends(given(work(2, 16), work(1, 24))) == {2: 1, 1: 4}


def test_a_contractor_takes_none_of_the_crews_hours() -> None:
    assert ends(given(work(1, 24), work(2, 2, a_day=1, needs_crew=False))) == {1: 2, 2: 1}


def test_a_share_of_the_crew_makes_it_last_longer() -> None:
    assert ends(given(work(1, 16, share=0.5), work(2, 16))) == {1: 3, 2: 3}


@pytest.mark.parametrize(
    ("link", "end"),
    [
        (Link(1, 2), 5),
        (Link(1, 2, LinkKind.FS, 4), 9),
        (Link(1, 2, LinkKind.SS, 2), 3),
        (Link(1, 2, LinkKind.FF, 3), 6),
        (Link(1, 2, LinkKind.SF, 7), 6),
    ],
)
def test_links_of_all_four_kinds_with_lags(link: Link, end: int) -> None:
    free = {"a_day": 1.0, "needs_crew": False}
    assert ends(given(work(2, 2, **free), work(1, 4, **free), links=(link,))) == {1: 3, 2: end}


def test_a_lag_in_working_days_leaves_weekends_out() -> None:
    week = np.arange(DAYS) % 7 < 5
    openings = {"": Opening(week, ALL)}
    link = Link(1, 2, LinkKind.FS, 2, True)
    told = ends(
        given(work(1, 32), work(2, 8), links=(link,), workdays=week, openings=openings)
    )  # Monday to Thursday; Friday and Monday wait; Tuesday
    assert told == {1: 3, 2: 8}


def test_it_is_not_begun_where_the_rest_of_its_window_is_too_short() -> None:
    window = (np.arange(DAYS) < 5) | ((np.arange(DAYS) >= 100) & (np.arange(DAYS) < 140))
    openings = {"": Opening(window, window)}
    late = work(1, 32, earliest=2)
    assert ends(given(late, openings=openings)) == {1: 103}
    assert ends(given(replace(late, may_split=True), openings=openings)) == {1: 100}
    assert ends(given(replace(late, under_way=True), openings=openings)) == {1: 100}


def test_one_longer_than_any_window_goes_on_when_it_opens_again() -> None:
    window = np.arange(DAYS) % 100 < 5
    assert ends(given(work(1, 64), openings={"": Opening(window, window)})) == {1: 102}


def test_wet_ground_stops_what_waits_for_it_and_the_crew_does_something_else() -> None:
    ground = np.ones((1, 365), dtype=bool)
    day = (MONDAY - dt.date(2026, 7, 1)).days
    ground[0, day : day + 3] = False
    told = follow_futures(
        given(work(1, 16, waits_for_ground=True), work(2, 16), weather=fine(ground)), futures=100
    )
    assert (told.works[1].within(50), told.works[2].within(50)) == (4, 1)
    assert told.works[1].lost_days == 3


def test_what_never_ends_is_told_and_not_dated() -> None:
    shut = np.zeros(DAYS, dtype=bool)
    what = given(work(1, 8, planned=3), openings={"": Opening(shut, shut)})
    told = follow_futures(what, futures=100)
    assert told.whole.within(50) is None
    assert told.whole.unfinished == 1.0 and told.whole.keeps_plan == 0.0


def test_promises_and_plans_are_kept_as_often_as_the_futures_say() -> None:
    told = follow_futures(
        given(work(1, ThreePoint(8, 40, 80), promised=4, planned=4)), futures=4000
    )
    (promise,) = told.promises
    assert promise.chance == told.works[1].keeps_plan
    day = told.works[1].within(round(100 * promise.chance))
    assert day is not None and abs(day - 4) <= 1


def test_the_same_seed_gives_the_same_run() -> None:
    what = given(work(1, ThreePoint(8, 40, 160)), work(2, ThreePoint(8, 40, 160)))
    assert follow_futures(what, seed=3, futures=500) == follow_futures(what, seed=3, futures=500)
    assert follow_futures(what, seed=3, futures=500) != follow_futures(what, seed=4, futures=500)


def test_the_job_with_the_widest_range_drives_the_end() -> None:
    told = follow_futures(
        given(
            work(1, ThreePoint(8, 80, 400), groups=("a",)),
            work(2, ThreePoint(38, 40, 42), groups=("a",)),
            work(3, 16),
            together=0.0,
        ),
        futures=4000,
    )
    assert told.drivers[""][0].name == "1"
    assert told.drivers[""][0].share > 0.8
    assert told.groups["a"].within(50) is not None
    assert "3" not in {one.name for one in told.drivers[""] if one.kind == "job"}


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: given(), "nothing to follow"),
        (lambda: given(work(1, 8), work(1, 8)), "once"),
        (lambda: work(1, 8, a_day=0), "something must be done"),
        (lambda: given(work(1, 8, opening="x")), "window is not known"),
        (lambda: follow_futures(given(work(1, 8)), futures=5), "From 100"),
        (lambda: follow_futures(given(work(1, 8)), seed=-1), "whole number"),
        (
            lambda: follow_futures(
                given(work(1, 8), work(2, 8), links=(Link(1, 2), Link(2, 1))), futures=100
            ),
            "wait for each other: job 1 → job 2",
        ),
    ],
)
def test_what_cannot_be_is_refused_in_words(make, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        make()
