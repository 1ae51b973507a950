"""Small schedules whose best is plain by hand: searched and proven they must agree with it."""

from __future__ import annotations

import numpy as np
import pytest

from worksprog.calc.solver import (
    Gain,
    Hold,
    Link,
    LinkKind,
    Problem,
    ProblemError,
    Resource,
    Task,
    Until,
    Way,
    least_goal,
    search,
    solve,
)
from worksprog.calc.solver.packed import pack
from worksprog.calc.solver.proof import prove

DAYS = 60
WEEK = np.array([day % 7 < 5 for day in range(DAYS)])


def crew(amount: int | list[int] = 10) -> Resource:
    by_day = np.full(DAYS, amount) if isinstance(amount, int) else np.array(amount)
    return Resource("crew", "the crew", by_day.astype(np.int64))


def task(key: int, days: int, amount: int = 10, **facts) -> Task:
    facts.setdefault("weight", 1.0)
    return Task(key, f"job {key}", (Way("", days, {"crew": amount}),), **facts)


def problem(*tasks: Task, **facts) -> Problem:
    facts.setdefault("resources", (crew(),))
    return Problem(DAYS, tasks, **facts)


def both_ways(of: Problem):
    """The schedule searched for; CP-SAT must prove that none costs less."""
    found = search(of, seconds=30, generations=20, many=20, islands=1)
    proven = prove(of, seconds=30, workers=1)
    assert proven.is_best
    assert found.goal == pytest.approx(proven.goal)
    assert least_goal(of) <= proven.goal + 1e-6
    return found.schedule


def starts(schedule) -> dict[int, int]:
    return {key: one.start for key, one in schedule.placed.items()}


def test_the_shorter_of_two_goes_first():
    schedule = both_ways(problem(task(1, 5), task(2, 2)))
    assert starts(schedule) == {2: 0, 1: 2}


def test_weekends_are_paused_over_and_not_worked():
    schedule = both_ways(problem(task(1, 7, works_on="week"), workable={"week": WEEK}))
    assert (schedule.placed[1].start, schedule.placed[1].finish) == (0, 9)


def test_work_is_not_parted_over_a_closed_season_unless_it_may():
    # Open 0 to 3 and 30 to 39: five days fit the second opening, or both where it may split.
    open_days = np.zeros(DAYS, dtype=bool)
    open_days[0:4], open_days[30:40] = True, True
    whole = task(1, 5, works_on="window")
    kept = both_ways(problem(whole, workable={"window": open_days}))
    assert (kept.placed[1].start, kept.placed[1].finish) == (30, 35)
    parted = task(1, 5, works_on="window", may_split=True)
    split = both_ways(problem(parted, workable={"window": open_days}))
    assert (split.placed[1].start, split.placed[1].finish) == (0, 31)


def test_a_job_between_the_parts_of_another_has_the_crew():
    open_days = np.zeros(DAYS, dtype=bool)
    open_days[0:4], open_days[30:40] = True, True
    schedule = both_ways(
        problem(
            task(1, 5, works_on="window", may_split=True, weight=5.0), task(2, 8, earliest=4),
            workable={"window": open_days},
        )
    )  # fmt: skip
    assert starts(schedule) == {1: 0, 2: 4}


@pytest.mark.parametrize(
    ("kind", "lag", "then"),
    [
        (LinkKind.FS, 0, 5),
        (LinkKind.FS, 3, 8),
        (LinkKind.FS, -2, 3),
        (LinkKind.SS, 2, 2),
        (LinkKind.FF, 1, 4),
        (LinkKind.SF, 4, 2),
    ],
)
def test_links_of_four_kinds_with_lags(kind, lag, then):
    """The first takes 5 days from day 0, the other 2: its start by each kind of link."""
    schedule = both_ways(
        problem(task(1, 5, 4, weight=9.0), task(2, 2, 4), links=(Link(1, 2, kind, lag),))
    )
    assert starts(schedule) == {1: 0, 2: then}


def test_a_lag_in_working_days_leaps_the_weekend():
    schedule = both_ways(
        problem(
            task(1, 4, works_on="week", weight=9.0), task(2, 1, works_on="week"),
            links=(Link(1, 2, LinkKind.FS, 2, working=True),), workable={"week": WEEK},
            workdays=WEEK,
        )
    )  # fmt: skip
    # Over on the evening of Thursday: Friday and Monday go by, Tuesday is day 8.
    assert starts(schedule) == {1: 0, 2: 8}


def test_holes_are_held_until_they_grow_in():
    holes = Resource("holes", "holes out of play", np.ones(DAYS, dtype=np.int64))
    jobs = [task(key, 2, 1, grows_d=10, holds=(Hold("holes", 1),)) for key in (1, 2)]
    schedule = both_ways(problem(*jobs, resources=(crew(), holes)))
    assert sorted(starts(schedule).values()) == [0, 12]


def test_money_is_not_spent_before_it_is_released():
    purse = np.zeros(DAYS, dtype=np.int64)
    purse[5:], purse[20:] = 100, 250
    jobs = [
        task(key, 1, 1, holds=(Hold("money", 90, Until.FOR_EVER),), weight=weight)
        for key, weight in ((1, 1.0), (2, 3.0))
    ]
    schedule = both_ways(problem(*jobs, resources=(crew(), Resource("money", "money", purse))))
    assert starts(schedule) == {2: 5, 1: 20}


def test_hours_given_back_change_the_order():
    """Thinning first gives 10 back from the day it is done: the long job is over sooner."""
    thinning, long = task(1, 4), task(2, 6, 15)
    back = Gain("crew", np.full(DAYS, 10))
    without = search(problem(thinning, long), seconds=30, generations=5, many=10, islands=1)
    assert without.schedule.unplaced == (2,)
    given = Task(1, "thinning", thinning.ways, gains=(back,), weight=1.0)
    schedule = both_ways(problem(given, long))
    assert starts(schedule) == {1: 0, 2: 4}


def test_the_larger_gang_is_taken_where_it_is_there():
    ways = (Way("two", 10, {"crew": 4}), Way("five", 4, {"crew": 10}))
    alone = Task(1, "job", ways, weight=1.0)
    assert both_ways(problem(alone)).placed[1].way == 1
    few = both_ways(problem(alone, resources=(crew(6),)))
    assert few.placed[1].way == 0


def test_what_is_under_way_stays_where_it_is():
    fixed = task(1, 5, fixed=(7, 0))
    schedule = both_ways(problem(fixed, task(2, 9)))
    assert starts(schedule) == {1: 7, 2: 12}


def test_what_finds_no_place_is_named_and_what_waits_for_it_too():
    of = problem(task(1, 3, 99), task(2, 2), task(3, 1), links=(Link(1, 2),))
    solved = solve(of, seconds=2, workers=1, many=20)
    assert set(solved.schedule.unplaced) == {1, 2}
    assert starts(solved.schedule) == {3: 0}


def test_the_same_seed_gives_the_same_schedule():
    rng = np.random.default_rng(5)
    jobs = [task(key, int(rng.integers(1, 9)), int(rng.integers(2, 9))) for key in range(12)]
    of = problem(*jobs)
    one, other = (search(of, seconds=60, generations=8, many=16) for _ in range(2))
    assert one.schedule == other.schedule


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: problem(task(1, 1), task(1, 2)), "same key"),
        (lambda: problem(Task(1, "job", ())), "no way to do it"),
        (lambda: problem(task(1, 1), task(2, 1), links=(Link(1, 2), Link(2, 1))), "in a ring"),
        (lambda: problem(task(1, 1), links=(Link(1, 9),)), "two different tasks"),
        (lambda: problem(task(1, 1, works_on="moon")), "'moon' are not there"),
        (lambda: problem(Task(1, "job", (Way("", 1, {"gold": 1}),))), "no 'gold'"),
        (lambda: problem(task(1, 1, -3)), "0 or more"),
        (lambda: problem(task(1, 1), resources=(crew([1] * 59 + [-1]),)), "0 or more"),
        (lambda: problem(task(1, 1, fixed=(0, 4))), "fixed in a way"),
        (lambda: Problem(0, ()), "at least one day"),
    ],
)
def test_a_problem_that_is_none_is_told(make, words):
    with pytest.raises(ProblemError, match=words):
        make()


def test_an_empty_plan_is_a_plan():
    assert solve(Problem(DAYS, ()), seconds=1).schedule.placed == {}


def test_packed_and_problem_agree_on_the_day_after_the_last():
    of = problem(task(1, 7, works_on="week"), workable={"week": WEEK})
    row = pack(of).finish[0]
    assert row[0] == 9
    assert row[5] == -1  # a Saturday
    assert row[4] == 15  # Friday, a whole week, and Monday
