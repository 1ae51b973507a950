"""Problems made at random: whatever is searched, proven or solved keeps every rule."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.solver_checker import broken_rules, goal
from worksprog.calc.solver import (
    Gain,
    Hold,
    Link,
    LinkKind,
    Problem,
    Resource,
    Task,
    Until,
    Way,
    least_goal,
    search,
    solve,
)
from worksprog.calc.solver.proof import prove

DAYS = 90
WEEK = np.array([day % 7 < 5 for day in range(DAYS)])
SIX_DAYS = np.array([day % 7 < 6 for day in range(DAYS)])
SEASONS = WEEK.copy()
SEASONS[30:56] = False
MASKS = {"week": WEEK, "six": SIX_DAYS, "seasons": SEASONS, "never": np.zeros(DAYS, dtype=bool)}
MADE = settings(
    max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True
)


@st.composite
def ways(draw):
    needs = {"crew": draw(st.integers(0, 8)), "digger": draw(st.sampled_from([0, 0, 1]))}
    return Way("", draw(st.integers(0, 12)), needs, draw(st.integers(0, 5)))


@st.composite
def tasks(draw, key: int):
    gains: tuple[Gain, ...] = ()
    if draw(st.integers(0, 3)) == 0:
        gains = (Gain("crew", np.full(DAYS, draw(st.integers(1, 3)), dtype=np.int64)),)
    holds = tuple(
        Hold(resource, draw(st.integers(0, 2)), draw(st.sampled_from(list(Until))))
        for resource in draw(st.lists(st.sampled_from(["holes", "money"]), unique=True))
    )
    fixed = None
    made = tuple(draw(st.lists(ways(), min_size=1, max_size=2)))
    if draw(st.integers(0, 5)) == 0:
        fixed = (draw(st.integers(0, DAYS - 1)), draw(st.integers(0, len(made) - 1)))
    return Task(
        key,
        f"job {key}",
        made,
        works_on=draw(st.sampled_from(["", "week", "week", "six", "seasons", "seasons", "never"])),
        may_split=draw(st.booleans()),
        earliest=draw(st.integers(0, 40)),
        latest=draw(st.none() | st.integers(20, DAYS)),
        grows_d=draw(st.sampled_from([0, 0, 5, 30])),
        holds=holds,
        gains=gains,
        weight=draw(st.sampled_from([0.0, 0.5, 1.0, 3.0])),
        fixed=fixed,
    )


@st.composite
def problems(draw):
    made = tuple(draw(tasks(key)) for key in range(draw(st.integers(1, 6))))
    links = []
    for then in range(1, len(made)):
        for first in range(then):
            if draw(st.integers(0, 3)) == 0:
                kind = draw(st.sampled_from(list(LinkKind)))
                links.append(Link(first, then, kind, draw(st.integers(-6, 9)), draw(st.booleans())))
    crew = draw(st.lists(st.integers(0, 12), min_size=6, max_size=6))
    return Problem(
        DAYS,
        made,
        tuple(links),
        (
            Resource("crew", "the crew", np.repeat(crew, 15).astype(np.int64)),
            Resource("digger", "the digger", np.ones(DAYS, dtype=np.int64)),
            Resource("holes", "holes", np.full(DAYS, draw(st.integers(1, 3)), dtype=np.int64)),
            Resource("money", "money", np.linspace(0, 6, DAYS).astype(np.int64)),
        ),
        MASKS,
        WEEK,
        draw(st.sampled_from([0.0, 1.0])),
    )


@MADE
@given(problems())
def test_what_is_searched_keeps_every_rule(of):
    found = search(of, seconds=30, generations=4, many=8, islands=1)
    assert broken_rules(of, found.schedule) == []
    left_out = 1e9 * len(found.schedule.unplaced)
    assert found.goal == pytest.approx(goal(of, found.schedule) + left_out, abs=1e-3)


@MADE
@given(problems())
def test_what_is_proven_keeps_every_rule_and_nothing_betters_its_bound(of):
    found = search(of, seconds=30, generations=4, many=8, islands=1)
    proven = prove(of, seconds=2, hint=found, workers=1)
    assert not proven.impossible
    if proven.schedule is None:
        return
    assert broken_rules(of, proven.schedule) == []
    if proven.schedule.unplaced or found.schedule.unplaced:
        return
    assert proven.goal == pytest.approx(goal(of, proven.schedule), abs=1e-3)
    assert proven.bound <= found.goal + 1e-3
    assert least_goal(of) <= min(found.goal, proven.goal) + 1e-3


@MADE
@given(problems())
def test_what_is_solved_keeps_every_rule_and_says_its_goal(of):
    solved = solve(of, seconds=0.3, workers=1, many=8)
    assert broken_rules(of, solved.schedule) == []
    left_out = 1e9 * len(solved.schedule.unplaced)
    assert solved.goal == pytest.approx(goal(of, solved.schedule) + left_out, abs=1e-3)
    if not left_out:
        assert solved.bound <= solved.goal + 1e-3
