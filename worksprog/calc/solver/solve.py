"""From a problem to a schedule: searched, then bettered and judged by proof."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from worksprog.calc.solver.packed import pack
from worksprog.calc.solver.problem import Problem, Schedule
from worksprog.calc.solver.proof import prove
from worksprog.calc.solver.search import Found, search

CHANGE = 0.05  # a long search comes to a stand with less


@dataclass(frozen=True)
class Solved:
    """The best schedule found.

    ``bound``: no schedule can cost less; far below what is possible on tight problems, so it is
    not the distance from the best. ``is_best``: proven. ``by``: what found it.
    """

    schedule: Schedule
    goal: float
    bound: float
    is_best: bool
    by: str
    looked_at: int

    @property
    def within(self) -> float | None:
        """At most so far from the best, as a share of it; None where nothing is known."""
        if self.is_best:
            return 0.0
        return (self.goal - self.bound) / self.bound if self.bound > 0 else None


def least_goal(problem: Problem) -> float:
    """What no schedule can cost less than, without search: each task as early as it and its chain
    of links allow, and no resource used beyond what there is of it by any day.
    """
    packed = pack(problem)
    earliest = np.zeros(packed.tasks, dtype=np.int64)
    soonest = np.zeros(packed.tasks, dtype=np.int64)
    waits = np.diff(packed.before_at).astype(np.int64)
    ready = [task for task in range(packed.tasks) if waits[task] == 0]
    while ready:
        task = ready.pop()
        rows = packed.finish[task * packed.most_ways : (task + 1) * packed.most_ways]
        open_days = np.flatnonzero((rows[:, earliest[task] :] >= 0).any(axis=0)) + earliest[task]
        fixed = int(packed.fixed_start[task])
        if fixed >= 0:
            earliest[task] = fixed
            soonest[task] = int(rows[packed.fixed_way[task], fixed])
        elif open_days.size:
            earliest[task] = open_days[0]
            later = rows[:, earliest[task] :]
            soonest[task] = int(later[later >= 0].min())
        else:
            soonest[task] = earliest[task]
        for a in range(packed.after_at[task], packed.after_at[task + 1]):
            other = int(packed.after_of[a])
            if packed.after_kind[a] == 0 and not packed.after_working[a]:
                bound = soonest[task] + packed.after_lag[a]
                earliest[other] = max(earliest[other], bound)
            waits[other] -= 1
            if waits[other] == 0:
                ready.append(other)
    cheapest = sum(min(way.cost for way in task.ways) for task in problem.tasks)
    longest = int(soonest.max(initial=0))
    for resource in problem.resources:
        if any(task.gains or task.fixed is not None for task in problem.tasks):
            break
        needed = sum(
            min(way.days * way.needs.get(resource.key, 0) for way in task.ways)
            for task in problem.tasks
        )
        if needed:
            by_day = np.cumsum(resource.capacity)
            longest = max(longest, int(np.searchsorted(by_day, needed)) + 1)
    weighted = float((packed.weight * (soonest + packed.grows)).sum())
    return problem.makespan_weight * longest + weighted + cheapest


def solve(
    problem: Problem,
    *,
    seconds: float,
    seed: int = 1,
    workers: int = 2,
    hint: Found | None = None,
    many: int | None = None,
    search_share: float | None = None,
    stop: Callable[[], bool] = lambda: False,
    better: Callable[[Schedule, float, float, str], None] = lambda schedule, goal, bound, by: None,
) -> Solved:
    """The best schedule in so many seconds.

    First many orders are searched, then CP-SAT betters the best of them and says what no schedule
    can better. ``hint``: today's plan, to begin from. ``better`` is told of each better schedule
    with its goal, the bound so far and what found it.
    """
    if not problem.tasks:
        return Solved(Schedule({}), 0.0, 0.0, True, "search", 0)
    began = time.monotonic()
    packed = pack(problem)
    bound = least_goal(problem)
    if search_share is None:
        # Large problems gain most from the search; small ones are proven.
        search_share = min(max(len(problem.tasks) / 150 - 0.1, 0.05), 0.8)
    found = search(
        problem, seconds=seconds * search_share, seed=seed, many=many, islands=workers,
        change=max(CHANGE, min(1.5 / len(problem.tasks), 0.3)),
        enough=bound + 1e-6, hint=hint, stop=stop, packed=packed,
        better=lambda one: better(one.schedule, one.goal, bound, "search"),
    )  # fmt: skip
    if found.goal <= bound + 1e-6:
        return Solved(found.schedule, found.goal, found.goal, True, "search", found.looked_at)
    left = seconds - (time.monotonic() - began)
    best = Solved(found.schedule, found.goal, bound, False, "search", found.looked_at)
    if left <= 0.05 or stop():
        return best
    proven = prove(
        problem, seconds=left, hint=found, seed=seed, workers=workers, stop=stop, packed=packed,
        better=lambda schedule, goal, low: better(schedule, goal, max(low, bound), "proof"),
    )  # fmt: skip
    bound = max(bound, proven.bound)
    if proven.schedule is not None and proven.goal < found.goal - 1e-6:
        return Solved(
            proven.schedule, proven.goal, min(bound, proven.goal), proven.is_best, "proof",
            found.looked_at,
        )  # fmt: skip
    is_best = proven.is_best and proven.goal >= found.goal - 1e-6
    return Solved(
        found.schedule, found.goal, min(bound, found.goal), is_best, "search", found.looked_at
    )
