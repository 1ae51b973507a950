"""A problem as plain arrays, for the compiled kernels."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from worksprog.calc.solver.problem import LinkKind, Placed, Problem, Schedule

_KINDS = {LinkKind.FS: 0, LinkKind.SS: 1, LinkKind.FF: 2, LinkKind.SF: 3}

I32 = npt.NDArray[np.int32]
I64 = npt.NDArray[np.int64]
F64 = npt.NDArray[np.float64]
B = npt.NDArray[np.bool_]


class Packed(NamedTuple):
    """Ragged lists stand as (pointer, values); a task's way w is row ``task * most_ways + w``."""

    days: int
    tasks: int
    most_ways: int
    ways: I32  # how many each task has
    finish: I32  # [task × way, day]: day after the last, -1 where it cannot start
    mask: I32  # which row of ``worked`` a task goes by
    worked: B  # [mask, day]
    need_at: I32
    need_of: I32
    need_amount: I64
    hold_at: I32
    hold_of: I32
    hold_amount: I64
    hold_until: I32
    gain_at: I32
    gain_of: I32
    gain_row: I32
    gain_days: I64  # [row, day]
    capacity: I64  # [resource, day]
    before_at: I32
    before_of: I32
    before_kind: I32
    before_lag: I32
    before_working: B
    after_at: I32
    after_of: I32
    after_kind: I32
    after_lag: I32
    after_working: B
    workday_of: I32  # working days before each day
    day_of: I32  # the day of each working day
    grows: I32
    weight: F64
    cost: F64  # [task × way]
    fixed_start: I32  # -1 where it is free
    fixed_way: I32
    makespan_weight: float


def _ragged(
    rows: list[list[tuple[int, ...]]], width: int
) -> tuple[I32, list[npt.NDArray[np.int64]]]:
    at = np.concatenate([[0], np.cumsum([len(row) for row in rows])]).astype(np.int32)
    flat = [one for row in rows for one in row]
    columns = [np.array([one[k] for one in flat], dtype=np.int64) for k in range(width)]
    return at, columns


def pack(problem: Problem) -> Packed:
    """The problem as arrays."""
    tasks, days = problem.tasks, problem.days
    most = max((len(task.ways) for task in tasks), default=1)
    names = ["", *sorted(problem.workable)]
    worked = np.ones((len(names), days), dtype=bool)
    for row, name in enumerate(names[1:], 1):
        worked[row] = problem.workable[name]
    place = problem.resource_place
    finish = np.full((len(tasks) * most, days), -1, dtype=np.int32)
    cost = np.zeros(len(tasks) * most)
    needs: list[list[tuple[int, ...]]] = [[] for _ in range(len(tasks) * most)]
    holds: list[list[tuple[int, ...]]] = []
    gains: list[list[tuple[int, ...]]] = []
    rows: list[I64] = []
    for number, task in enumerate(tasks):
        for way_number, way in enumerate(task.ways):
            row = number * most + way_number
            finish[row] = problem.finishes(task, way)
            if task.fixed is not None and task.fixed[1] == way_number:
                finish[row, task.fixed[0]] = problem.finish_of_fixed(task)
            cost[row] = way.cost
            if way.days:
                needs[row] = [(place[k], amount) for k, amount in way.needs.items() if amount]
        holds.append([(place[h.resource], h.amount, int(h.until)) for h in task.holds if h.amount])
        own: list[tuple[int, ...]] = []
        for gain in task.gains:
            own.append((place[gain.resource], len(rows)))
            rows.append(gain.by_day)
        gains.append(own)
    before: list[list[tuple[int, ...]]] = [[] for _ in tasks]
    after: list[list[tuple[int, ...]]] = [[] for _ in tasks]
    for link in problem.links:
        if problem.tasks[problem.place[link.then]].fixed is not None:
            continue
        first, then = problem.place[link.first], problem.place[link.then]
        kind = _KINDS[link.kind]
        before[then].append((first, kind, link.lag, int(link.working)))
        after[first].append((then, kind, link.lag, int(link.working)))
    need_at, (need_of, need_amount) = _ragged(needs, 2)
    hold_at, (hold_of, hold_amount, hold_until) = _ragged(holds, 3)
    gain_at, (gain_of, gain_row) = _ragged(gains, 2)
    before_at, before_columns = _ragged(before, 4)
    after_at, after_columns = _ragged(after, 4)
    club = problem.workdays if problem.workdays is not None else np.ones(days, dtype=bool)
    capacity = np.zeros((len(problem.resources), days), dtype=np.int64)
    for number, resource in enumerate(problem.resources):
        capacity[number] = resource.capacity
    fixed = [task.fixed or (-1, 0) for task in tasks]

    def i32(values: npt.NDArray[np.int64]) -> I32:
        return values.astype(np.int32)

    return Packed(
        days=days,
        tasks=len(tasks),
        most_ways=most,
        ways=np.array([len(task.ways) for task in tasks], dtype=np.int32),
        finish=finish,
        mask=np.array([names.index(task.works_on) for task in tasks], dtype=np.int32),
        worked=worked,
        need_at=need_at,
        need_of=i32(need_of),
        need_amount=need_amount,
        hold_at=hold_at,
        hold_of=i32(hold_of),
        hold_amount=hold_amount,
        hold_until=i32(hold_until),
        gain_at=gain_at,
        gain_of=i32(gain_of),
        gain_row=i32(gain_row),
        gain_days=np.array(rows, dtype=np.int64).reshape(len(rows), days),
        capacity=capacity,
        before_at=before_at,
        before_of=i32(before_columns[0]),
        before_kind=i32(before_columns[1]),
        before_lag=i32(before_columns[2]),
        before_working=before_columns[3].astype(bool),
        after_at=after_at,
        after_of=i32(after_columns[0]),
        after_kind=i32(after_columns[1]),
        after_lag=i32(after_columns[2]),
        after_working=after_columns[3].astype(bool),
        workday_of=np.concatenate([[0], np.cumsum(club)]).astype(np.int32),
        day_of=np.flatnonzero(club).astype(np.int32),
        grows=np.array([task.grows_d for task in tasks], dtype=np.int32),
        weight=np.array([task.weight for task in tasks], dtype=np.float64),
        cost=cost,
        fixed_start=np.array([one[0] for one in fixed], dtype=np.int32),
        fixed_way=np.array([one[1] for one in fixed], dtype=np.int32),
        makespan_weight=float(problem.makespan_weight),
    )


def unpack(problem: Problem, packed: Packed, start: I32, way: I32) -> Schedule:
    """A schedule from the kernels' starts (-1: no place) and ways."""
    placed: dict[int, Placed] = {}
    unplaced: list[int] = []
    for number, task in enumerate(problem.tasks):
        at = int(start[number])
        if at < 0:
            unplaced.append(task.key)
            continue
        finish = int(packed.finish[number * packed.most_ways + int(way[number]), at])
        placed[task.key] = Placed(task.key, int(way[number]), at, finish, finish + task.grows_d)
    return Schedule(placed, tuple(unplaced))
