"""Why a job has no place: the smallest set of wishes that cannot all be kept."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import combinations

from worksprog.calc.solver import Schedule, search
from worksprog.calc.solver.proof import prove
from worksprog.planning.assembly.tasks import Assembled, Wish, assemble
from worksprog.planning.bridge import Facts

MOST_TOLD = 6
MOST_TRIED = 200
PROOF_SECONDS = 3.0


@dataclass(frozen=True)
class Conflict:
    """Wishes of which one has to go before ``job`` has a place; no fewer of them conflict where
    ``is_smallest``."""

    job: int
    wishes: tuple[Wish, ...]
    is_smallest: bool

    @property
    def words(self) -> str:
        told = [wish.words for wish in self.wishes]
        if len(told) == 1:
            return f"{told[0]}: in the crew's hours and days that cannot be kept."
        return f"{'; '.join(told[:-1])}; and {told[-1]}: these cannot all be kept."


def conflicts_of(plan: Assembled, schedule: Schedule) -> list[Conflict]:
    """One conflict for each job without a place whose wishes alone leave it none.

    Other work is left aside, so that what is told holds whatever else is planned.
    """
    lost = set(schedule.unplaced)
    found: list[Conflict] = []
    for key in schedule.unplaced:
        if any(link.first in lost for link in plan.links if link.then == key):
            continue
        if len(found) == MOST_TOLD:
            break
        if (conflict := _Alone(plan, key).conflict()) is not None:
            found.append(conflict)
    return found


class _Alone:
    """A job with what it waits for, and nothing else."""

    def __init__(self, plan: Assembled, key: int) -> None:
        self.key = key
        jobs, ahead = {key}, [key]
        while ahead:
            then = ahead.pop()
            for link in plan.links:
                if link.then == then and link.first not in jobs:
                    jobs.add(link.first)
                    ahead.append(link.first)
        self.given_up = plan.facts.given_up
        self.facts: Facts = replace(
            plan.facts,
            items=[one for one in plan.facts.items if one.item.pk in jobs],
            links=[link for link in plan.facts.links if {link.first, link.then} <= jobs],
            implied=[pair for pair in plan.facts.implied if set(pair) <= jobs],
        )
        self.hours = {one.item.pk: plan.left_h[one.item.pk] for one in self.facts.items}
        self.wishes = [wish for wish in plan.wishes.values() if set(wish.jobs) <= jobs]
        self.known: dict[frozenset[str], bool | None] = {}

    def can_be(self, kept: Iterable[Wish]) -> bool | None:
        """Whether the job has a place when only these wishes are kept; None where not proven."""
        names = frozenset(wish.name for wish in kept)
        if names not in self.known:
            self.known[names] = self._try(names)
        return self.known[names]

    def _try(self, kept: frozenset[str]) -> bool | None:
        out = {wish.name for wish in self.wishes if wish.name not in kept}
        problem = assemble(self.facts, hours=self.hours, given_up=self.given_up | out).problem
        if self.key not in problem.place:
            return False
        for task in problem.tasks:
            if all((problem.finishes(task, way) < 0).all() for way in task.ways):
                return False
        tried = search(problem, seconds=math.inf, many=8, islands=1, generations=0)
        if not tried.schedule.unplaced:
            return True
        proven = prove(problem, seconds=PROOF_SECONDS, workers=1)
        if proven.impossible:
            return False
        if proven.schedule is None:
            return None
        return True if not proven.schedule.unplaced else None

    def conflict(self) -> Conflict | None:
        if self.can_be(self.wishes) is not False or self.can_be(()) is not True:
            return None
        needed = list(self.wishes)
        for wish in self.wishes:
            without = [one for one in needed if one is not wish]
            if self.can_be(without) is False:
                needed = without
        smaller = self._smaller(len(needed))
        if smaller is None:
            return Conflict(self.key, tuple(needed), is_smallest=False)
        return Conflict(self.key, smaller or tuple(needed), is_smallest=True)

    def _smaller(self, size: int) -> tuple[Wish, ...] | None:
        """A smaller set that conflicts, () where there is none, None where not all were tried."""
        tried = 0
        for count in range(1, size):
            for some in combinations(self.wishes, count):
                tried += 1
                if tried > MOST_TRIED:
                    return None
                if self.can_be(some) is False:
                    return some
        return ()
