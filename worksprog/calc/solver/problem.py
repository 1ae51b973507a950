"""What a schedule must keep, in whole days: tasks, ways to do them, what they need and hold.

Day 0 is the first day of the plan. A stretch of days is half open: it starts at the beginning of
its first day and is over at the beginning of the day after its last. Amounts are whole numbers
(tenths of an hour, holes, pence), so that sums are exact.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import IntEnum, StrEnum
from functools import cached_property

import networkx as nx
import numpy as np
import numpy.typing as npt

Days = npt.NDArray[np.bool_]
Amounts = npt.NDArray[np.int64]


class LinkKind(StrEnum):
    FS = "FS"
    SS = "SS"
    FF = "FF"
    SF = "SF"


class Until(IntEnum):
    """Until when a task holds something that it takes at its start."""

    FINISH = 0
    IN_PLAY = 1
    FOR_EVER = 2  # money, once it is committed


@dataclass(frozen=True)
class Way:
    """One way to do a task: so many working days, each taking so much of each resource."""

    name: str
    days: int
    needs: Mapping[str, int] = field(default_factory=dict)
    cost: int = 0


@dataclass(frozen=True)
class Hold:
    """What a task holds on every calendar day from its start on, worked or not."""

    resource: str
    amount: int
    until: Until = Until.IN_PLAY


@dataclass(frozen=True)
class Gain:
    """What a resource has more of, from the day a task is in play: amounts by day of the plan."""

    resource: str
    by_day: Amounts


@dataclass(frozen=True)
class Task:
    """One thing to be done.

    works_on   key of the days on which it may be worked; "" is every day
    may_split  it may stop where those days stop and go on when they come again; weekends and
               closures inside an opening never count as a stop
    gap_days   how many days without work in a row end an opening
    earliest   first day it may start; latest: last day of its finish, None for none
    grows_d    calendar days from its finish until it is in play
    weight     what one day later until it is in play counts in the goal
    fixed      (start, way) of a task that is under way or promised: taken as it is, whatever rule
               it breaks; the others keep theirs around it
    """

    key: int
    name: str
    ways: tuple[Way, ...]
    works_on: str = ""
    may_split: bool = False
    earliest: int = 0
    latest: int | None = None
    grows_d: int = 0
    holds: tuple[Hold, ...] = ()
    gains: tuple[Gain, ...] = ()
    weight: float = 0.0
    fixed: tuple[int, int] | None = None


@dataclass(frozen=True)
class Link:
    """``then`` waits for ``first``; ``lag`` in days, working days of the club where ``working``."""

    first: int
    then: int
    kind: LinkKind = LinkKind.FS
    lag: int = 0
    working: bool = False


@dataclass(frozen=True)
class Resource:
    """Something there is only so much of on each day."""

    key: str
    name: str
    capacity: Amounts


LEFT_OUT = 1e9  # what a task without a place adds to the goal
OPENING_GAP_D = 21  # days without work that end an opening: longer than a Christmas closure


class ProblemError(ValueError):
    """Something in a problem that no schedule could be made from, in words."""


@dataclass(frozen=True)
class Problem:
    """Everything a schedule must keep.

    ProblemError: no day; doubled keys; a task without a way; names that are not there; amounts
    below 0; tasks that wait for each other in a ring.
    """

    days: int
    tasks: tuple[Task, ...]
    links: tuple[Link, ...] = ()
    resources: tuple[Resource, ...] = ()
    workable: Mapping[str, Days] = field(default_factory=dict)
    workdays: Days | None = None  # the club's own, for lags in working days
    makespan_weight: float = 0.0

    def __post_init__(self) -> None:
        if self.days < 1:
            raise ProblemError("A plan needs at least one day.")
        keys = [task.key for task in self.tasks]
        if len(set(keys)) < len(keys):
            raise ProblemError("Two tasks have the same key.")
        known = {one.key for one in self.resources}
        for one in self.resources:
            if one.capacity.shape != (self.days,) or (one.capacity < 0).any():
                raise ProblemError(
                    f"{one.name}: {self.days} amounts of 0 or more are expected, one a day."
                )
        for name, mask in self.workable.items():
            if mask.shape != (self.days,):
                raise ProblemError(f"The days of '{name}' are not {self.days}.")
        for task in self.tasks:
            self._check_task(task, known)
        there = set(keys)
        for link in self.links:
            if link.first not in there or link.then not in there or link.first == link.then:
                raise ProblemError("A link is between two different tasks of the plan.")
        self._check_rings()

    def _check_task(self, task: Task, known: set[str]) -> None:
        if not task.ways:
            raise ProblemError(f"{task.name}: there is no way to do it.")
        if task.works_on and task.works_on not in self.workable:
            raise ProblemError(f"{task.name}: the days '{task.works_on}' are not there.")
        if task.grows_d < 0:
            raise ProblemError(f"{task.name}: growing in takes 0 days or more.")
        if task.earliest < 0:
            raise ProblemError(f"{task.name}: it starts on day 0 or later.")
        for way in task.ways:
            if way.days < 0 or any(amount < 0 for amount in way.needs.values()):
                raise ProblemError(f"{task.name}: days and needs are 0 or more.")
            missing = set(way.needs) - known
            if missing:
                raise ProblemError(f"{task.name}: there is no '{min(missing)}'.")
        for hold in task.holds:
            if hold.resource not in known or hold.amount < 0:
                raise ProblemError(f"{task.name}: '{hold.resource}' cannot be held.")
        for gain in task.gains:
            if gain.resource not in known or gain.by_day.shape != (self.days,):
                raise ProblemError(f"{task.name}: '{gain.resource}' cannot be given back.")
        if task.fixed is not None:
            if not 0 <= task.fixed[1] < len(task.ways):
                raise ProblemError(f"{task.name}: it is fixed in a way that it has not.")
            if not 0 <= task.fixed[0] < self.days:
                raise ProblemError(f"{task.name}: it is fixed on a day that the plan has not.")

    def _check_rings(self) -> None:
        graph: nx.DiGraph[int] = nx.DiGraph()
        graph.add_edges_from((link.first, link.then) for link in self.links)
        try:
            ring = nx.find_cycle(graph)
        except nx.NetworkXNoCycle:
            return
        names = {task.key: task.name for task in self.tasks}
        words = " waits for ".join(names[edge[1]] for edge in reversed(ring))
        raise ProblemError(f"{words} waits for {names[ring[-1][1]]}: the order goes in a ring.")

    @cached_property
    def place(self) -> dict[int, int]:
        """Place of each task by its key."""
        return {task.key: place for place, task in enumerate(self.tasks)}

    @cached_property
    def resource_place(self) -> dict[str, int]:
        return {one.key: place for place, one in enumerate(self.resources)}

    def days_of(self, task: Task) -> Days:
        if not task.works_on:
            return np.ones(self.days, dtype=bool)
        return self.workable[task.works_on]

    def finishes(self, task: Task, way: Way) -> npt.NDArray[np.int32]:
        """Day after the last for a start on each day; -1 where it cannot start.

        A task of no days is over when it starts. Work goes on the days it may be worked on, the
        first being the start; where it may not split, all of them lie in one opening.
        """
        found = np.full(self.days, -1, dtype=np.int32)
        worked = np.flatnonzero(self.days_of(task))
        last = self.days if task.latest is None else min(task.latest, self.days)
        if way.days == 0:
            found[task.earliest : last] = np.arange(task.earliest, max(last, task.earliest))
            return found
        if worked.size < way.days:
            return found
        firsts, lasts = worked[: worked.size - way.days + 1], worked[way.days - 1 :]
        good = (firsts >= task.earliest) & (lasts < last)
        if not task.may_split:
            opening = np.concatenate([[0], np.cumsum(np.diff(worked) > OPENING_GAP_D)])
            good &= opening[: firsts.size] == opening[way.days - 1 :]
        found[firsts[good]] = lasts[good] + 1
        return found

    def finish_of_fixed(self, task: Task) -> int:
        """Day after the last of a fixed task: its days of work from its start on, or what the plan
        has of them."""
        assert task.fixed is not None
        start, way = task.fixed
        days = task.ways[way].days
        worked = np.flatnonzero(self.days_of(task)[start:])
        if days == 0:
            return start
        return start + int(worked[days - 1]) + 1 if worked.size >= days else self.days

    def goal(self, schedule: Schedule) -> float:
        """What a schedule costs: its length, its tasks' days until in play, their money."""
        total = self.makespan_weight * schedule.makespan + LEFT_OUT * len(schedule.unplaced)
        for one in schedule.placed.values():
            task = self.tasks[self.place[one.key]]
            total += task.weight * one.in_play + task.ways[one.way].cost
        return total


@dataclass(frozen=True)
class Placed:
    """One task in a schedule. ``finish`` and ``in_play`` are the days after."""

    key: int
    way: int
    start: int
    finish: int
    in_play: int


@dataclass(frozen=True)
class Schedule:
    """Where every task lies; those that found no place are named."""

    placed: Mapping[int, Placed]
    unplaced: tuple[int, ...] = ()

    @property
    def makespan(self) -> int:
        return max((one.finish for one in self.placed.values()), default=0)
