"""The same problem for OR-Tools CP-SAT: to better a schedule, and to say how good one can be."""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from ortools.sat.python import cp_model

from worksprog.calc.solver.packed import Packed, pack
from worksprog.calc.solver.problem import (
    OPENING_GAP_D,
    Hold,
    LinkKind,
    Placed,
    Problem,
    Schedule,
    Task,
    Until,
)
from worksprog.calc.solver.search import Found

ASK_EVERY_S = 0.2
SCALE = 100  # goals are whole numbers of this part


@dataclass(frozen=True)
class Proven:
    """What came of it: a schedule where one was found, and what no schedule can better.

    ``is_best``: proven to be the best. ``impossible``: proven that there is none.
    """

    schedule: Schedule | None
    goal: float
    bound: float
    is_best: bool
    impossible: bool


class _Model:
    """The problem's variables; intervals lie on the days of the calendar."""

    def __init__(self, problem: Problem, packed: Packed, optional: frozenset[int]) -> None:
        self.problem, self.packed = problem, packed
        self.model = cp_model.CpModel()
        self.start: dict[int, cp_model.IntVar] = {}
        self.finish: dict[int, cp_model.IntVar] = {}
        self.in_play: dict[int, cp_model.LinearExprT] = {}
        self.way: dict[int, list[cp_model.IntVar]] = {}
        self.present: dict[int, cp_model.IntVar] = {}
        self.use: dict[str, list[tuple[cp_model.IntervalVar, int]]] = {
            one.key: [] for one in problem.resources
        }
        self.exact = True
        self.base: dict[str, npt.NDArray[np.int64]] = {
            one.key: one.capacity.astype(np.int64) for one in problem.resources
        }
        self.withheld: dict[str, npt.NDArray[np.int64]] = {
            one.key: np.zeros(problem.days, dtype=np.int64) for one in problem.resources
        }
        self.idle: dict[str, npt.NDArray[np.bool_]] = {
            one.key: np.ones(problem.days, dtype=bool) for one in problem.resources
        }
        for task in problem.tasks:
            self._task(task, is_optional=task.key in optional)
        free = [task for task in problem.tasks if task.fixed is None]
        for task in problem.tasks:
            if task.fixed is not None:
                self._take_fixed(task)
        self._leave_what_is_over()
        for task in free:
            self._idle(task)
        for task in free:
            self._needs(task)
        for link in problem.links:
            self._link(link.first, link.then, link.kind, link.lag, working=link.working)
        for resource in problem.resources:
            self._capacity(resource.key)
        self._goal(optional)

    def _task(self, task: Task, *, is_optional: bool) -> None:
        m, place = self.model, self.problem.place[task.key]
        rows = [
            self.packed.finish[place * self.packed.most_ways + w] for w in range(len(task.ways))
        ]
        open_to = [np.flatnonzero(row >= 0) for row in rows]
        every = np.unique(np.concatenate(open_to)) if open_to else np.array([], dtype=np.int64)
        if task.fixed is not None:
            every = np.array([task.fixed[0]])
        present = m.new_bool_var("") if is_optional or every.size == 0 else m.new_constant(1)
        if every.size == 0:
            m.add(present == 0)
            every = np.array([0])
        self.present[task.key] = present
        start = m.new_int_var_from_domain(cp_model.Domain.from_values(every.tolist()), "")
        finish = m.new_int_var(0, self.problem.days, "")
        ways = [m.new_bool_var("") for _ in task.ways] if len(rows) > 1 else [present]
        if len(rows) > 1:
            m.add(sum(ways) == present)
        for number, (row, days) in enumerate(zip(rows, open_to, strict=True)):
            chosen = ways[number]
            if task.fixed is not None:
                if number != task.fixed[1]:
                    m.add(chosen == 0)
                    continue
                m.add(finish == int(row[task.fixed[0]])).only_enforce_if(chosen)
                continue
            if days.size == 0:
                m.add(chosen == 0)
                continue
            if days.size < every.size:
                domain = cp_model.Domain.from_values(days.tolist())
                m.add_linear_expression_in_domain(start, domain).only_enforce_if(chosen)
            length = row[days] - days
            if (length == length[0]).all():
                m.add(finish == start + int(length[0])).only_enforce_if(chosen)
                continue
            # Between two starts of equal length the finish goes along with the start.
            self._by_table(start, finish, days, row, chosen)
        self.start[task.key], self.finish[task.key], self.way[task.key] = start, finish, ways
        self.in_play[task.key] = finish + task.grows_d

    def _by_table(
        self,
        start: cp_model.IntVar,
        finish: cp_model.IntVar,
        days: npt.NDArray[np.int64],
        row: npt.NDArray[np.int32],
        chosen: cp_model.IntVar,
    ) -> None:
        first, last = int(days[0]), int(days[-1])
        table = np.array(row[first : last + 1], dtype=np.int64)
        known = np.flatnonzero(table >= 0)
        # Where it cannot start the table is filled; the start's own domain keeps it away from there.
        table = table[known[np.searchsorted(known, np.arange(table.size)).clip(max=known.size - 1)]]
        end = self.model.new_int_var(int(table.min()), int(table.max()), "")
        index = self.model.new_int_var(0, last - first, "")
        self.model.add_element(index, table.tolist(), end)
        self.model.add(start - first == index).only_enforce_if(chosen)
        self.model.add(finish == end).only_enforce_if(chosen)

    def _take_fixed(self, task: Task) -> None:
        """What is fixed takes and gives back beforehand, even more than there is."""
        assert task.fixed is not None
        start, days = task.fixed[0], self.problem.days
        way = task.ways[task.fixed[1]]
        finish = self.problem.finish_of_fixed(task)
        in_play = min(finish + task.grows_d, days)
        if way.days:
            worked = self.problem.days_of(task)[start:finish]
            for resource, amount in way.needs.items():
                self.base[resource][start:finish] -= amount * worked
        ends = {Until.FINISH: finish, Until.IN_PLAY: in_play, Until.FOR_EVER: days}
        for hold in task.holds:
            self.base[hold.resource][start : ends[hold.until]] -= hold.amount
        for gain in task.gains:
            self.base[gain.resource][in_play:] += gain.by_day[in_play:]

    def _leave_what_is_over(self) -> None:
        """Where what is fixed takes too much, others take nothing, whatever is given back: so the
        model may ask for more than need be, and proves nothing."""
        self.over = {key: base < 0 for key, base in self.base.items()}
        for key, over in self.over.items():
            self.base[key][over] = 0
            if over.any() and any(
                gain.resource == key for task in self.problem.tasks for gain in task.gains
            ):
                self.exact = False

    def _idle(self, task: Task) -> None:
        """Days on which nobody who takes of a resource works: there nothing of it is taken."""
        mask = self.problem.days_of(task)
        for way in task.ways:
            for resource, amount in way.needs.items():
                if amount and way.days:
                    self.idle[resource] &= ~mask
        for hold in task.holds:
            if hold.amount:
                self.idle[hold.resource][:] = False

    def _needs(self, task: Task) -> None:
        m, key = self.model, task.key
        for number, way in enumerate(task.ways):
            if way.days == 0:
                continue
            chosen = self.way[key][number]
            for resource, amount in way.needs.items():
                if amount == 0:
                    continue
                for start, finish in self._pieces(task, resource):
                    size = m.new_int_var(0, self.problem.days, "")
                    interval = m.new_optional_interval_var(start, size, finish, chosen, "")
                    self.use[resource].append((interval, amount))
        for hold in task.holds:
            self._hold(task, hold)
        for gain in task.gains:
            self._gain(task, gain.resource, gain.by_day)

    def _pieces(
        self, task: Task, resource: str
    ) -> list[tuple[cp_model.LinearExprT, cp_model.LinearExprT]]:
        """From when to when it takes of a resource: parted where it pauses and others work."""
        m, key = self.model, task.key
        days = np.flatnonzero(self.problem.days_of(task))
        gaps = np.diff(days)
        others = np.concatenate([[0], np.cumsum(~self.idle[resource])])
        parted = (gaps > 1) & (others[days[1:]] > others[days[:-1] + 1])
        if not task.may_split:
            parted &= gaps <= OPENING_GAP_D
        breaks = np.flatnonzero(parted)
        if breaks.size == 0:
            return [(self.start[key], self.finish[key])]
        firsts = np.concatenate([[days[0]], days[breaks + 1]])
        lasts = np.concatenate([days[breaks], [days[-1]]])
        stretches = zip(firsts.tolist(), (lasts + 1).tolist(), strict=True)
        pieces: list[tuple[cp_model.LinearExprT, cp_model.LinearExprT]] = []
        for first, last in stretches:
            begin = m.new_int_var(first, last, "")
            end = m.new_int_var(first, last, "")
            m.add_max_equality(begin, [first, _min_of(m, self.start[key], last)])
            m.add_max_equality(end, [first, _min_of(m, self.finish[key], last)])
            pieces.append((begin, end))
        return pieces

    def _hold(self, task: Task, hold: Hold) -> None:
        if hold.amount == 0:
            return
        m, key = self.model, task.key
        end: cp_model.LinearExprT = self.finish[key]
        if hold.until == Until.IN_PLAY:
            end = _min_of(m, self.in_play[key], self.problem.days)
        elif hold.until == Until.FOR_EVER:
            end = self.problem.days
        size = m.new_int_var(0, self.problem.days, "")
        interval = m.new_optional_interval_var(self.start[key], size, end, self.present[key], "")
        self.use[hold.resource].append((interval, hold.amount))

    def _gain(self, task: Task, resource: str, by_day: npt.NDArray[np.int64]) -> None:
        """What is given back counts as there from the first day, and as withheld until in play."""
        m, key = self.model, task.key
        by_day = np.where(self.over[resource], 0, by_day)
        self.withheld[resource] += by_day
        for first, last, amount in _runs(by_day):
            if amount == 0:
                continue
            until = m.new_int_var(first, last, "")
            shown = m.new_int_var(0, 2 * self.problem.days + task.grows_d, "")
            m.add(shown == self.in_play[key]).only_enforce_if(self.present[key])
            m.add(shown == self.problem.days).only_enforce_if(~self.present[key])
            m.add_max_equality(until, [first, _min_of(m, shown, last)])
            interval = m.new_interval_var(first, m.new_int_var(0, last - first, ""), until, "")
            self.use[resource].append((interval, amount))

    def _link(self, first: int, then: int, kind: LinkKind, lag: int, *, working: bool) -> None:
        if self.problem.tasks[self.problem.place[then]].fixed is not None:
            return
        before = self.start[first] if kind in (LinkKind.SS, LinkKind.SF) else self.finish[first]
        after = self.start[then] if kind in (LinkKind.FS, LinkKind.SS) else self.finish[then]
        both = [self.present[first], self.present[then]]
        if not working or lag == 0 or self.problem.workdays is None:
            self.model.add(after >= before + lag).only_enforce_if(both)
        else:
            days = np.arange(self.problem.days + 1)
            place = self.packed.workday_of[days] + lag
            day_of = self.packed.day_of
            table = np.where(
                place < 0, 0,
                np.where(place >= day_of.size, self.problem.days,
                         day_of[place.clip(0, day_of.size - 1)]),
            )  # fmt: skip
            bound = self.model.new_int_var(0, self.problem.days, "")
            self.model.add_element(before, table.tolist(), bound)
            self.model.add(after >= bound).only_enforce_if(both)
        # What waits for a task without a place has none either.
        self.model.add_implication(self.present[then], self.present[first])

    def _capacity(self, key: str) -> None:
        if not self.use[key]:
            return
        there = self.base[key] + self.withheld[key]
        # Room for what is withheld on idle days too, where the day's own amount does not count.
        most = int(there.max() + self.withheld[key].max())
        # On days on which nobody who needs it works, nobody takes of it.
        lacking = np.where(self.idle[key], 0, most - there)
        intervals = [one for one, _ in self.use[key]]
        amounts = [amount for _, amount in self.use[key]]
        for first, last, amount in _runs(lacking):
            if amount:
                intervals.append(self.model.new_fixed_size_interval_var(first, last - first, ""))
                amounts.append(amount)
        self.model.add_cumulative(intervals, amounts, most)

    def _goal(self, optional: frozenset[int]) -> None:
        m = self.model
        terms: list[cp_model.LinearExprT] = []
        if self.problem.makespan_weight:
            longest = m.new_int_var(0, self.problem.days, "")
            for key, finish in self.finish.items():
                m.add(longest >= finish).only_enforce_if(self.present[key])
            terms.append(round(self.problem.makespan_weight * SCALE) * longest)
        for task in self.problem.tasks:
            weight = round(task.weight * SCALE)
            if weight:
                late = m.new_int_var(0, self.problem.days + task.grows_d, "")
                m.add(late >= self.in_play[task.key]).only_enforce_if(self.present[task.key])
                terms.append(weight * late)
            for number, way in enumerate(task.ways):
                if way.cost:
                    terms.append(way.cost * SCALE * self.way[task.key][number])
        self.left_out = (1 - self.present[key] for key in optional)
        out = list(self.left_out)
        if out:
            terms.append(OUT * SCALE * sum(out))
        m.minimize(sum(terms) if terms else 0)


OUT = 10_000_000  # what a task without a place counts in the model, above any goal


def _min_of(m: cp_model.CpModel, one: cp_model.LinearExprT, most: int) -> cp_model.IntVar:
    least = m.new_int_var(0, most, "")
    m.add_min_equality(least, [one, most])
    return least


def _runs(amounts: npt.NDArray[np.int64]) -> list[tuple[int, int, int]]:
    """Stretches of equal amounts: first day, day after the last, amount."""
    edges = np.flatnonzero(np.diff(amounts)) + 1
    bounds = [0, *edges.tolist(), amounts.size]
    return [(first, last, int(amounts[first])) for first, last in pairwise(bounds)]


class _Watch(cp_model.CpSolverSolutionCallback):
    def __init__(
        self, make: Callable[[Callable[[cp_model.IntVar], int]], Schedule],
        better: Callable[[Schedule, float], None], stop: Callable[[], bool],
    ) -> None:  # fmt: skip
        super().__init__()
        self.make, self.better, self.stop = make, better, stop

    def on_solution_callback(self) -> None:
        self.better(self.make(self.value), self.best_objective_bound / SCALE)
        if self.stop():
            self.stop_search()


@contextmanager
def _asked(stop: Callable[[], bool], solver: cp_model.CpSolver) -> Iterator[None]:
    """``stop`` is asked while nothing better is found as well."""
    over = threading.Event()

    def ask() -> None:
        while not over.wait(ASK_EVERY_S):
            if stop():
                solver.stop_search()

    asking = threading.Thread(target=ask, daemon=True)
    asking.start()
    try:
        yield
    finally:
        over.set()
        asking.join()


def prove(
    problem: Problem,
    *,
    seconds: float,
    hint: Found | None = None,
    seed: int = 1,
    workers: int = 2,
    better: Callable[[Schedule, float, float], None] = lambda schedule, goal, bound: None,
    stop: Callable[[], bool] = lambda: False,
    packed: Packed | None = None,
) -> Proven:
    """The best schedule CP-SAT finds in so many seconds, and what it proves of it.

    A task that ``hint`` left without a place may stay without one; then nothing is proven, since
    another might better have been left out. Weights count in hundredths.
    """
    packed = packed if packed is not None else pack(problem)
    optional = frozenset(hint.schedule.unplaced if hint is not None else ())
    built = _Model(problem, packed, optional)
    if hint is not None:
        for key, one in hint.schedule.placed.items():
            built.model.add_hint(built.start[key], one.start)
            built.model.add_hint(built.finish[key], one.finish)
            if len(built.way[key]) > 1:
                for number, way in enumerate(built.way[key]):
                    built.model.add_hint(way, int(number == one.way))

    def make(value: Callable[[cp_model.IntVar], int]) -> Schedule:
        placed, unplaced = {}, []
        for task in problem.tasks:
            key = task.key
            if not value(built.present[key]):
                unplaced.append(key)
                continue
            way = next(n for n, one in enumerate(built.way[key]) if value(one))
            start, finish = value(built.start[key]), value(built.finish[key])
            placed[key] = Placed(key, way, start, finish, finish + task.grows_d)
        return Schedule(placed, tuple(unplaced))

    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = max(seconds, 0.01)
    solver.parameters.num_workers = workers
    solver.parameters.random_seed = seed
    proves = built.exact and not optional

    def tell(schedule: Schedule, bound: float) -> None:
        better(schedule, problem.goal(schedule), bound if proves else -math.inf)

    watch = _Watch(make, tell, stop)
    with _asked(stop, solver):
        status = solver.solve(built.model, watch)
    found = status in (cp_model.OPTIMAL, cp_model.FEASIBLE)
    schedule = make(solver.value) if found else None
    return Proven(
        schedule=schedule,
        goal=problem.goal(schedule) if schedule is not None else math.inf,
        bound=solver.best_objective_bound / SCALE if proves else -math.inf,
        is_best=proves and status == cp_model.OPTIMAL,
        impossible=proves and status == cp_model.INFEASIBLE,
    )
