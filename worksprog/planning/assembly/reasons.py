"""Why a job lies where it lies, and why one has no place, in words."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from worksprog.calc.solver import Link, LinkKind, Placed, Task, Until
from worksprog.calc.solver.problem import OPENING_GAP_D
from worksprog.planning.assembly.play import HOLES
from worksprog.planning.assembly.tasks import CREW, TENTHS, Assembled, done_days
from worksprog.planning.bridge import ItemFacts
from worksprog.planning.money import PENCE


class Reasons:
    """Asked job by job of one schedule."""

    def __init__(self, plan: Assembled, placed: dict[int, Placed]) -> None:
        self.plan, self.placed = plan, placed
        self.items = {one.item.pk: one for one in plan.facts.items}
        self.into: dict[int, list[Link]] = {}
        for link in plan.links:
            self.into.setdefault(link.then, []).append(link)

    def _ends(self, key: int) -> tuple[int, int] | None:
        if (one := self.placed.get(key)) is not None:
            return one.start, one.finish
        item = self.items[key]
        if item.is_worked:
            return done_days(item, self.plan.calendar, self.plan.facts.today)
        return None

    def waits_for(self, task: Task, one: Placed) -> str:
        """The longest wait of a placed job; "" when it starts at once."""
        asked = max(self.plan.earliest[task.key], 0)
        own = self.plan.problem.tasks[self.plan.problem.place[task.key]]
        asked = min(asked, own.earliest)
        from_day, done_by = asked, 0
        start_after = finish_after = None
        for link in self.into.get(task.key, ()):
            ends = self._ends(link.first)
            if ends is None:
                continue
            bound = ends[0 if link.kind in (LinkKind.SS, LinkKind.SF) else 1] + link.lag
            if link.kind in (LinkKind.FF, LinkKind.SF):
                if bound > done_by:
                    done_by, finish_after = bound, link.first
            elif bound > from_day:
                from_day, start_after = bound, link.first
        waits: list[tuple[int, str]] = []
        if start_after is not None:
            waits.append((from_day - asked, f"waits for {self.items[start_after].item.name}"))
        if one.start > from_day:
            if finish_after is not None and one.finish <= self._next_finish(task, one, done_by):
                name = self.items[finish_after].item.name
                waits.append((one.start - from_day, f"may not finish before {name}"))
            else:
                waits += self._room(task, one, from_day)
        return max(waits, key=lambda wait: wait[0], default=(0, ""))[1]

    def _next_finish(self, task: Task, one: Placed, done_by: int) -> int:
        """The first finish of its way that the jobs it may not finish before allow."""
        way = task.ways[one.way]
        finishes = self.plan.problem.finishes(task, way)
        good = finishes[finishes >= max(done_by, 0)]
        return int(good.min()) if good.size else -1

    def _room(self, task: Task, one: Placed, from_day: int) -> list[tuple[int, str]]:
        days = self.plan.problem.days_of(task)
        open_days = np.flatnonzero(days[from_day:])
        if not open_days.size:
            return []
        first_open = from_day + int(open_days[0])
        workdays = self.plan.calendar.workdays
        next_workday = from_day + int(np.argmax(workdays[from_day:]))
        waits = []
        if first_open > next_workday:
            waits.append((first_open - from_day, "waits for its window to open"))
        if one.start > first_open:
            closed = np.flatnonzero(np.diff(np.flatnonzero(days[first_open : one.start + 1])) >
                                    OPENING_GAP_D)  # fmt: skip
            late = closed.size > 0 and not task.may_split
            words = "too long for what is left of its window" if late else "waits for crew hours"
            waits.append((one.start - first_open, self._held(task, one) or words))
        return waits

    def _held(self, task: Task, one: Placed) -> str:
        """What it could not have had a working day sooner, of what is held; "" where it could."""
        days = np.flatnonzero(self.plan.problem.days_of(task)[: one.start])
        if not days.size:
            return ""
        sooner = int(days[-1])
        for hold in task.holds:
            until = {Until.FINISH: one.finish, Until.IN_PLAY: one.in_play}
            end = min(until.get(hold.until, one.start), one.start)
            if (
                self._free(hold.resource, task.key)[sooner : max(end, sooner + 1)].min()
                < hold.amount
            ):
                return (
                    "waits for fewer holes to be out of play"
                    if hold.resource == HOLES
                    else "waits for money to be released"
                )
        return ""

    def _free(self, resource: str, but: int) -> npt.NDArray[np.int64]:
        """What the other placed jobs leave of something that is held, by day."""
        problem = self.plan.problem
        free = problem.resources[problem.resource_place[resource]].capacity.copy()
        for key, other in self.placed.items():
            if key == but:
                continue
            for hold in problem.tasks[problem.place[key]].holds:
                if hold.resource == resource:
                    ends = {Until.FINISH: other.finish, Until.IN_PLAY: other.in_play}
                    free[other.start : ends.get(hold.until, problem.days)] -= hold.amount
        return free

    def _never_held(self, task: Task, until: str) -> str:
        problem = self.plan.problem
        for hold in task.holds:
            resource = problem.resources[problem.resource_place[hold.resource]]
            most, left = int(resource.capacity.max()), int(self._free(hold.resource, -1).max())
            if hold.resource == HOLES and hold.amount > most:
                return f"takes {hold.amount} holes out of play; at most {most} may be"
            if hold.resource != HOLES and hold.amount > left:
                return (
                    f"needs {hold.amount / PENCE:,.0f} of money; of what is released before "
                    f"{until} other jobs leave {max(left, 0) / PENCE:,.0f}"
                )
        return ""

    def no_place(self, one: ItemFacts) -> str:
        """Why a job of the problem found no place."""
        plan, key = self.plan, one.item.pk
        for link in self.into.get(key, ()):
            if self._ends(link.first) is None:
                return f"waits for {self.items[link.first].item.name}, which could not be placed"
        task = plan.problem.tasks[plan.problem.place[key]]
        days = plan.problem.days_of(task)
        last = plan.calendar.date(plan.calendar.days - 1)
        until = f"{last.day} {last:%B %Y}"
        from_day = max(task.earliest, 0)
        if from_day >= plan.calendar.days:
            return f"may not start before the plan ends on {until}"
        worked = np.flatnonzero(days[from_day:]) + from_day
        if not worked.size:
            return f"its window never opens ({one.item.get_kind_display()}) before {until}"
        if task.latest is not None and worked[0] >= task.latest:
            return "it may not start before the day by which it is to be finished"
        if words := self._never_held(task, until):
            return words
        groups = [worked]
        if not task.may_split:
            groups = np.split(worked, np.flatnonzero(np.diff(worked) > OPENING_GAP_D) + 1)
        if not task.ways[0].needs:
            best = max(len(group) for group in groups)
            return (
                f"needs {task.ways[0].days} working days in a window that leaves {best} "
                f"before {until}"
            )
        left = plan.problem.resources[plan.problem.resource_place[CREW]].capacity
        gang = one.gang * plan.facts.year.day_h * TENTHS
        most = np.minimum(left * float(one.item.max_share), gang) / TENTHS
        hours = max(float(most[group].sum()) for group in groups)
        if task.may_split or len(groups) == 1:
            return (
                f"needs {one.left_h:,.0f} h; the crew has {hours:,.0f} h left for it before {until}"
            )
        if hours >= one.left_h:
            return f"needs {one.left_h:,.0f} h; other jobs take the hours of its windows"
        return f"needs {one.left_h:,.0f} h in a window that leaves {hours:,.0f} h"
