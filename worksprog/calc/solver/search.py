"""A good schedule quickly: many orders, the best of them crossed and justified, on two threads."""

from __future__ import annotations

import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial

import numpy as np

from worksprog.calc.solver.kernel import breed, improve, random_order
from worksprog.calc.solver.packed import F64, I32, Packed, pack, unpack
from worksprog.calc.solver.problem import LEFT_OUT, Problem, Schedule

TRIED = 10
GENERATIONS = 110
FEWEST, USUAL, MOST = 60, 300, 2000


@dataclass(frozen=True)
class Found:
    """A schedule, what it costs, and how many were looked at for it."""

    schedule: Schedule
    goal: float
    looked_at: int
    start: I32
    way: I32


@dataclass
class _Island:
    orders: I32
    ways: I32
    starts: I32
    goals: F64

    def best(self) -> int:
        return int(np.argmin(self.goals))


def _latest_finishes(packed: Packed) -> F64:
    """A priority number: how long a task's longest chain of followers is, the longest first."""
    tail = np.zeros(packed.tasks)
    order, waits = np.empty(packed.tasks, np.int32), np.empty(packed.tasks, np.int32)
    random_order(packed, np.zeros(packed.tasks), order, waits)
    for task in order[::-1]:
        row = packed.finish[task * packed.most_ways]
        good = np.flatnonzero(row >= 0)
        days = float(row[good[0]] - good[0]) if good.size else 0.0
        after = packed.after_of[packed.after_at[task] : packed.after_at[task + 1]]
        tail[task] = days + (tail[after].max() if after.size else 0.0)
    return -tail


def _begin(packed: Packed, many: int, seed: int, hint: Found | None) -> _Island:
    rng = np.random.default_rng(seed)
    n = packed.tasks
    island = _Island(
        np.empty((many, n), np.int32), np.zeros((many, n), np.int32),
        np.empty((many, n), np.int32), np.empty(many),
    )  # fmt: skip
    free = np.empty_like(packed.capacity)
    spare, again, waits = (np.empty(n, np.int32) for _ in range(3))
    key = np.empty(n, np.int64)
    tail = _latest_finishes(packed)
    spread = max(float(np.ptp(tail)), 1.0)
    weight = packed.weight / max(float(packed.weight.max(initial=0.0)), 1e-9)
    for k in range(many):
        # From the rule of thumb to pure chance.
        noise = rng.random(n) * spread * 4 * (k / many)
        priority = tail - weight * spread + noise
        if hint is not None and k % 4 == 0:
            priority = np.where(hint.start < 0, packed.days, hint.start) + rng.random(n) * k / many
            island.ways[k] = hint.way
        elif k:
            island.ways[k] = rng.integers(0, packed.ways)
        random_order(packed, priority, island.orders[k], waits)
        island.goals[k] = improve(
            packed, island.orders[k], island.ways[k], island.starts[k], free, spare, again, key
        )
    return island


def _worth_having(packed: Packed, seconds: float) -> int:
    """As many orders as there is time to breed for so many generations: few come to a stand early,
    very many never get there."""
    _begin(packed, 1, 0, None)
    begun = time.monotonic()
    _begin(packed, TRIED, 0, None)
    each = max((time.monotonic() - begun) / TRIED, 1e-6)
    return int(np.clip(seconds / each / GENERATIONS, FEWEST, MOST))


def _breed(
    packed: Packed, generations: int, change: float, enough: float, land: _Island, seed: int
) -> int:
    return breed(
        packed, land.orders, land.ways, land.starts, land.goals, generations, seed % 2**31,
        change, enough,
    )  # fmt: skip


def search(
    problem: Problem,
    *,
    seconds: float,
    seed: int = 1,
    many: int | None = None,
    islands: int = 2,
    change: float | None = None,
    enough: float = -np.inf,
    hint: Found | None = None,
    stop: Callable[[], bool] = lambda: False,
    better: Callable[[Found], None] = lambda found: None,
    packed: Packed | None = None,
    generations: int | None = None,
) -> Found:
    """The best schedule found in so many seconds, or in so many generations where given.

    With ``generations`` and without a limit of time the same seed gives the same answer.
    ``hint``: a schedule to begin from. ``better`` is told of each better one, ``stop`` asked
    between rounds. ``many``: orders on each island, by the time there is where it is left out.
    ``change``: chance that a place of an order, or the way of a task, is altered in
    a child; about one or two in each where it is left out. A task that finds no place is named in
    the schedule.
    """
    packed = packed if packed is not None else pack(problem)
    if change is None:
        change = max(0.02, min(1.5 / max(packed.tasks, 1), 0.3))
    until = time.monotonic() + seconds
    step = 2 if generations is None else min(generations, 10)
    looked_at = 0
    best: Found | None = None
    if many is None:
        many = _worth_having(packed, seconds) if generations is None else USUAL
    with ThreadPoolExecutor(islands) as threads:
        lands = list(
            threads.map(lambda k: _begin(packed, many, seed * 1000 + k, hint), range(islands))
        )
        looked_at += many * islands
        round_number = 0
        while True:
            for land in lands:
                place = land.best()
                if best is None or land.goals[place] < best.goal:
                    best = Found(
                        unpack(problem, packed, land.starts[place], land.ways[place]),
                        float(land.goals[place]), looked_at, land.starts[place].copy(),
                        land.ways[place].copy(),
                    )  # fmt: skip
                    better(best)
            assert best is not None
            over = generations is not None and round_number * step >= generations
            if over or best.goal <= enough or stop() or time.monotonic() >= until:
                return best
            begun = time.monotonic()
            round_number += 1
            seeds = [(seed * 7919 + round_number) * islands + k for k in range(islands)]
            breeding = partial(_breed, packed, step, change, enough)
            bred = list(threads.map(breeding, lands, seeds))
            looked_at += many * sum(bred)
            lands = _renewed(packed, lands, many, seed, round_number)
            if generations is None:
                took = max(time.monotonic() - begun, 1e-3)
                left = until - time.monotonic()
                step = max(1, min(round(step * 0.5 / took), 200, round(step * left / took) or 1))


def _renewed(
    packed: Packed, lands: list[_Island], many: int, seed: int, round_number: int
) -> list[_Island]:
    """An island on which all schedules cost the same is settled anew."""
    fresh = []
    for number, land in enumerate(lands):
        if land.goals[0] < LEFT_OUT and np.ptp(land.goals) < 1e-9:
            land = _begin(packed, many, seed * 1000 + 17 * round_number + number, None)
        fresh.append(land)
    return fresh
