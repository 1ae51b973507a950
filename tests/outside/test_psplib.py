"""Makespans of published projects: a few of each size; the whole sample is a bench."""

from __future__ import annotations

import pytest

from tests import psplib
from tests.solver_checker import broken_rules
from worksprog.calc.solver import search, solve

SOURCE = "PSPLIB, Kolisch & Sprecher 1997; optimum by Demeulemeester & Herroelen 1995 (C)"
SOURCE_60 = "PSPLIB best known makespans, entries to Sept 2024 (C)"

pytestmark = pytest.mark.skipif(not psplib.FOLDER.is_dir(), reason=psplib.WHERE)


@pytest.fixture(scope="module", autouse=True)
def compiled() -> None:
    """The first search of all compiles; that is not the time to be measured."""
    search(psplib.read(psplib.FOLDER / "j30" / "j301_1.sm"), seconds=0, many=4, generations=1)


def solved(of: str, name: str, seconds: float):
    problem = psplib.read(psplib.FOLDER / of / name)
    made = solve(problem, seconds=seconds, seed=1)
    assert broken_rules(problem, made.schedule) == []
    # A schedule shorter than the best known would mean that the checker is wrong.
    assert made.schedule.makespan >= psplib.best_known()[name]
    assert made.bound <= made.goal
    return made


@pytest.mark.parametrize("name", ["j301_1.sm", "j309_8.sm", "j3041_4.sm", "j3045_4.sm"])
def test_thirty_jobs_at_the_optimum_and_proven(outside, name):
    # It ends once proven, in a second or two; the rest is for a machine with other work.
    made = solved("j30", name, 40)
    outside(
        quantity=f"makespan of {name}",
        expected=psplib.best_known()[name],
        got=made.schedule.makespan,
        tolerance=0,
        unit="days",
        source=SOURCE,
    )
    assert made.is_best


@pytest.mark.parametrize("name", ["j601_1.sm", "j6033_5.sm", "j6046_10.sm"])
def test_sixty_jobs_near_the_best_known(outside, name):
    made = solved("j60", name, 4)
    outside(
        quantity=f"makespan of {name}",
        expected=psplib.best_known()[name],
        got=made.schedule.makespan,
        tolerance=0.03,
        relative=True,
        unit="days",
        source=SOURCE_60,
    )
