"""Fitting jobs into the hours a crew has left, one job after another.

A serial schedule (Kolisch 1996): of the jobs whose predecessors are placed, the one with the
lowest priority number goes next and takes hours from the days left to it. A job

* starts no earlier than its own earliest day and its links allow,
* works only on working days inside its windows, in one opening of its window unless it may be
  spread over several,
* takes from a day at most its gang's hours and at most its share of what the week has left,
* is drawn together: of all ways to finish on the same day, the one that starts latest.

A job that cannot be placed gets a reason and the others are still planned.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

import networkx as nx
import numpy as np

from worksprog.calc.critical_path import Key, Link, LinkKind, ring_words
from worksprog.calc.workdays import Calendar, Hours, Mask

SMALL_H = 1e-6


@dataclass(frozen=True)
class Job:
    """One piece of work to be placed.

    labour_h      crew hours it still needs
    least_days    working days it takes at the least, whatever the crew (curing, a contractor)
    kind          key of its windows among the open days given to ``fit``; "" is open all year
    priority      lower goes first among jobs that may go next
    earliest      first day it may start
    gang_day_h    most hours its gang puts in on one day
    week_share    most of a week's hours left that it may take, above 0 up to 1
    may_spread    it may run over several openings of its window
    growing_in_d  calendar days from its finish until it is in play
    finished      (first day, day after the last) of a job already done
    blocked       why it cannot be placed whatever the crew has, "" when it can
    """

    key: Key
    name: str
    labour_h: float = 0.0
    least_days: int = 0
    kind: str = ""
    priority: float = 0.0
    earliest: int = 0
    gang_day_h: float = math.inf
    week_share: float = 1.0
    may_spread: bool = False
    growing_in_d: int = 0
    finished: tuple[int, int] | None = None
    blocked: str = ""

    def __post_init__(self) -> None:
        if not (math.isfinite(self.labour_h) and self.labour_h >= 0):
            raise ValueError(f"{self.name}: hours must be 0 or more, not {self.labour_h}")
        if self.least_days < 0:
            raise ValueError(f"{self.name}: days must be 0 or more, not {self.least_days}")
        if not self.gang_day_h > 0:
            raise ValueError(f"{self.name}: a gang works more than 0 hours a day")
        if not 0 < self.week_share <= 1:
            raise ValueError(
                f"{self.name}: the share of a week must be above 0 and at most 1, "
                f"not {self.week_share}"
            )
        if self.growing_in_d < 0:
            raise ValueError(f"{self.name}: growing in must be 0 days or more")


class WaitKind(StrEnum):
    JOB = "job"
    WINDOW = "window"
    SEASON = "season"
    CREW = "crew"


@dataclass(frozen=True)
class Wait:
    """Why a job does not start at once: what for, how many days, and the words for it."""

    kind: WaitKind
    days: int
    words: str
    job: Key | None = None


@dataclass(frozen=True)
class Placed:
    """A placed job. ``finish`` is the day after its last; ``hours`` by week of the calendar."""

    key: Key
    start: int
    finish: int
    in_play: int
    hours: dict[int, float]
    waits: tuple[Wait, ...] = ()

    @property
    def wait(self) -> Wait | None:
        """The longest wait; of equal ones the first."""
        return max(self.waits, key=lambda wait: wait.days, default=None)


@dataclass(frozen=True)
class NotPlaced:
    key: Key
    name: str
    reason: str


@dataclass(frozen=True)
class Fitted:
    """``rings`` has the jobs that wait for each other; they are among those not placed."""

    placed: dict[Key, Placed]
    not_placed: tuple[NotPlaced, ...]
    rings: frozenset[Key]
    hours_left: Hours = field(repr=False)

    @property
    def finish(self) -> int | None:
        return max((one.finish for one in self.placed.values()), default=None)


def fit(
    jobs: Sequence[Job],
    links: Sequence[Link],
    *,
    calendar: Calendar,
    day_hours: Hours,
    open_days: Mapping[str, Mask],
    kind_names: Mapping[str, str] | None = None,
) -> Fitted:
    """Place every job that can be placed.

    day_hours   crew hours left on each day of the calendar
    open_days   days on which a kind's windows are open, weekends and holidays left in
    kind_names  names of the kinds for the reasons
    lags        of links are calendar days

    Raises ValueError when a link or a job names something unknown or the arrays do not fit.
    """
    return _Fitting(jobs, links, calendar, day_hours, open_days, kind_names or {}).run()


class _Fitting:
    def __init__(
        self,
        jobs: Sequence[Job],
        links: Sequence[Link],
        calendar: Calendar,
        day_hours: Hours,
        open_days: Mapping[str, Mask],
        kind_names: Mapping[str, str],
    ) -> None:
        self.calendar = calendar
        self.jobs = {job.key: job for job in jobs}
        if len(self.jobs) != len(jobs):
            raise ValueError("two jobs have the same key")
        if day_hours.shape != (calendar.days,) or not np.all(day_hours >= 0):
            raise ValueError(f"hours left must be {calendar.days} numbers of 0 or more, one a day")
        self.full = day_hours
        self.left = day_hours.copy()
        self.kind_names = kind_names
        everyday = np.ones(calendar.days, dtype=bool)
        self.open_days = {"": everyday, **open_days}
        for job in jobs:
            if job.kind not in self.open_days:
                raise ValueError(f"{job.name}: no windows are given for the kind {job.kind!r}")
        self.openings = {kind: _runs(mask) for kind, mask in self.open_days.items()}
        self.worked = {kind: mask & calendar.workdays for kind, mask in self.open_days.items()}
        self.into: dict[Key, list[Link]] = {job.key: [] for job in jobs}
        self.out_of: dict[Key, list[Link]] = {job.key: [] for job in jobs}
        for link in links:
            for end in (link.before, link.after):
                if end not in self.jobs:
                    raise ValueError(f"a link names the job {end!r}, which is not in the programme")
            if self.jobs[link.after].finished is None:
                self.into[link.after].append(link)
                self.out_of[link.before].append(link)
        self.placed: dict[Key, Placed] = {}
        self.refused: dict[Key, str] = {}
        self.rings: set[Key] = set()
        self.found_hours = 0.0
        self.held_back = False

    def run(self) -> Fitted:
        self._refuse_rings()
        waiting = {key: len({link.before for link in self.into[key]}) for key in self.jobs}
        rank = {key: place for place, key in enumerate(self.jobs)}
        ready = [
            (job.finished is None, job.priority, rank[job.key], job.key)
            for job in self.jobs.values()
            if waiting[job.key] == 0
        ]
        heapq.heapify(ready)
        while ready:
            *_, key = heapq.heappop(ready)
            if key not in self.refused:
                self._place(self.jobs[key])
            for after in {link.after: None for link in self.out_of[key]}:
                waiting[after] -= 1
                if waiting[after] == 0:
                    job = self.jobs[after]
                    heapq.heappush(ready, (job.finished is None, job.priority, rank[after], after))
        for key in self.jobs:
            if key not in self.placed and key not in self.refused:
                self.refused[key] = self._behind(key)
        not_placed = tuple(
            NotPlaced(key, job.name, self.refused[key])
            for key, job in self.jobs.items()
            if key in self.refused
        )
        in_order = {key: self.placed[key] for key in self.jobs if key in self.placed}
        return Fitted(
            placed=in_order,
            not_placed=not_placed,
            rings=frozenset(self.rings),
            hours_left=self.left,
        )

    def _refuse_rings(self) -> None:
        graph: nx.DiGraph[Key] = nx.DiGraph()
        graph.add_nodes_from(self.jobs)
        graph.add_edges_from(
            (link.before, link.after) for links in self.into.values() for link in links
        )
        for group in nx.strongly_connected_components(graph):
            part = graph.subgraph(group)
            if part.number_of_edges() == 0:
                continue
            ring = [before for before, _ in nx.find_cycle(part)]
            words = ring_words([self.jobs[key].name for key in ring])
            self.rings |= group
            for key in group:
                self.refused[key] = words

    def _behind(self, key: Key) -> str:
        blocked = next(link.before for link in self.into[key] if link.before not in self.placed)
        return f"waits for {self.jobs[blocked].name}, which could not be placed"

    def _place(self, job: Job) -> None:
        if job.finished is not None:
            start, finish = job.finished
            self.placed[job.key] = Placed(job.key, start, finish, finish + job.growing_in_d, {})
            return
        if job.blocked:
            self.refused[job.key] = job.blocked
            return
        if any(link.before not in self.placed for link in self.into[job.key]):
            self.refused[job.key] = self._behind(job.key)
            return
        from_day, done_by, start_after, finish_after = self._bounds(job)
        asked = max(job.earliest, 0)
        if job.labour_h <= SMALL_H and job.least_days == 0:
            at = max(from_day, done_by)
            decides = finish_after if done_by > from_day else start_after
            self._record(job, at, at, {}, self._waits_for_job(asked, at, decides))
            return
        cap = self._caps(job)
        taken = self._find(job, cap, from_day, done_by)
        if taken is None:
            self.refused[job.key] = self._no_room(job, from_day)
            return
        days, hours = taken
        start, finish = int(days[0]), int(days[-1]) + 1
        if job.labour_h > SMALL_H:
            self.left[days] = np.maximum(self.left[days] - hours, 0.0)
        weeks = np.bincount(days // 7, weights=hours)
        by_week = {int(week): float(weeks[week]) for week in np.flatnonzero(weeks > 0)}
        waits = self._waits_for_job(asked, from_day, start_after)
        if self.held_back and finish_after is not None:
            name = self.jobs[finish_after].name
            held = Wait(
                WaitKind.JOB, start - from_day, f"may not finish before {name}", finish_after
            )
            waits = (*waits, held)
        else:
            waits = (*waits, *self._waits_for_room(job, from_day, start))
        self._record(job, start, finish, by_week, waits)

    def _record(
        self, job: Job, start: int, finish: int, hours: dict[int, float], waits: tuple[Wait, ...]
    ) -> None:
        self.placed[job.key] = Placed(
            job.key, start, finish, finish + job.growing_in_d, hours, waits
        )

    def _bounds(self, job: Job) -> tuple[int, int, Key | None, Key | None]:
        """First day it may start, the day it may not be over before, and the jobs that decide."""
        from_day, done_by = max(job.earliest, 0), 0
        start_after: Key | None = None
        finish_after: Key | None = None
        for link in self.into[job.key]:
            before = self.placed[link.before]
            from_start = link.kind in (LinkKind.START_START, LinkKind.START_FINISH)
            bound = math.ceil((before.start if from_start else before.finish) + link.lag)
            if link.kind in (LinkKind.FINISH_FINISH, LinkKind.START_FINISH):
                if bound > done_by:
                    done_by, finish_after = bound, link.before
            elif bound > from_day:
                from_day, start_after = bound, link.before
        return from_day, done_by, start_after, finish_after

    def _caps(self, job: Job) -> Hours:
        """Most hours the job may take from each day."""
        if job.labour_h <= SMALL_H:
            return self.worked[job.kind].astype(float)
        most = job.gang_day_h
        if job.least_days:
            most = min(most, job.labour_h / job.least_days)
        cap = np.minimum(self.left, most)
        if job.week_share < 1:
            cap = np.minimum(cap, self.full * job.week_share)
        cap[~self.worked[job.kind]] = 0.0
        cap[cap <= SMALL_H] = 0.0
        return cap

    def _find(
        self, job: Job, cap: Hours, from_day: int, done_by: int
    ) -> tuple[np.ndarray, Hours] | None:
        """Days and hours taken, in the first opening that holds the job, else spread."""
        need = job.labour_h if job.labour_h > SMALL_H else float(job.least_days)
        self.found_hours, self.held_back = 0.0, False
        openings = [(max(a, from_day), b) for a, b in self.openings[job.kind] if b > from_day]
        for first, last in openings:
            taken = self._take(cap, first, last, need, done_by)
            if taken is not None:
                return self._as_hours(job, taken)
        if job.may_spread and openings:
            taken = self._take(cap, openings[0][0], openings[-1][1], need, done_by)
            if taken is not None:
                return self._as_hours(job, taken)
        return None

    def _take(
        self, cap: Hours, first: int, last: int, need: float, done_by: int
    ) -> tuple[np.ndarray, Hours] | None:
        if done_by > last:
            return None
        part = cap[first:last]
        running = np.cumsum(part)
        total = float(running[-1]) if running.size else 0.0
        self.found_hours = max(self.found_hours, total)
        if total < need - SMALL_H:
            return None
        end = int(np.searchsorted(running, need - SMALL_H))
        if done_by - 1 > first + end:
            later = np.flatnonzero(part[done_by - 1 - first :] > 0)
            if not later.size:
                return None
            end = done_by - 1 - first + int(later[0])
            self.held_back = True
        # Backward from the last day: the same finish, without a long thin beginning.
        back = np.cumsum(part[: end + 1][::-1])
        begin = end - int(np.searchsorted(back, need - SMALL_H))
        days = np.flatnonzero(part[begin : end + 1] > 0) + begin
        hours = part[days].copy()
        hours[0 if self.held_back else -1] -= max(float(hours.sum()) - need, 0.0)
        return days + first, hours

    def _as_hours(self, job: Job, taken: tuple[np.ndarray, Hours]) -> tuple[np.ndarray, Hours]:
        days, hours = taken
        return (days, hours) if job.labour_h > SMALL_H else (days, np.zeros_like(hours))

    def _no_room(self, job: Job, from_day: int) -> str:
        kind = self.kind_names.get(job.kind, job.kind)
        until = f"{self.calendar.date(self.calendar.days - 1):%-d %B %Y}"
        if not self.worked[job.kind][from_day:].any():
            if from_day >= self.calendar.days:
                return f"may not start before the plan ends on {until}"
            return f"its window never opens ({kind or 'all year'}) before {until}"
        best = self.found_hours
        if job.labour_h <= SMALL_H:
            return (
                f"needs {job.least_days} working days in a window that leaves {best:.0f} "
                f"before {until}"
            )
        need = f"{job.labour_h:,.0f}"
        if job.may_spread or job.kind == "" or len(self.openings[job.kind]) == 1:
            return f"needs {need} h; the crew has {best:,.0f} h left for it before {until}"
        return f"needs {need} h in a window that leaves {best:,.0f} h"

    def _waits_for_job(self, asked: int, from_day: int, decides: Key | None) -> tuple[Wait, ...]:
        if decides is None or from_day <= asked:
            return ()
        words = f"waits for {self.jobs[decides].name}"
        return (Wait(WaitKind.JOB, from_day - asked, words, decides),)

    def _waits_for_room(self, job: Job, from_day: int, start: int) -> tuple[Wait, ...]:
        if start <= from_day:
            return ()
        waits: list[Wait] = []
        first_open = from_day + int(np.argmax(self.worked[job.kind][from_day:]))
        next_workday = from_day + int(np.argmax(self.calendar.workdays[from_day:]))
        if first_open > next_workday:
            words = "waits for its window to open"
            waits.append(Wait(WaitKind.WINDOW, first_open - from_day, words))
        if start > first_open:
            closes = next(b for a, b in self.openings[job.kind] if a <= first_open < b)
            if start >= closes and not job.may_spread:
                words = "too long for what is left of its window"
                waits.append(Wait(WaitKind.SEASON, start - first_open, words))
            else:
                waits.append(Wait(WaitKind.CREW, start - first_open, "waits for crew hours"))
        return tuple(waits)


def _runs(mask: Mask) -> list[tuple[int, int]]:
    """Half open stretches of days that are True."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], mask.astype(np.int8), [0]))))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def network_priority(keys: Sequence[Key], below: Sequence[tuple[Key, Key]]) -> dict[Key, int]:
    """How many jobs stand between a job and its outfall, from pairs (below, above).

    The outfall's own job is 0, so that of two jobs that may go next the lower one does. Jobs in a
    ring keep 0: the ring is named when the jobs are fitted.
    """
    graph: nx.DiGraph[Key] = nx.DiGraph()
    graph.add_nodes_from(keys)
    graph.add_edges_from((low, high) for low, high in below if low in graph and high in graph)
    for group in list(nx.strongly_connected_components(graph)):
        if len(group) > 1:
            graph.remove_edges_from(list(graph.subgraph(group).edges))
    graph.remove_edges_from(list(nx.selfloop_edges(graph)))
    depth: dict[Key, int] = {}
    for key in nx.topological_sort(graph):
        depth[key] = max((depth[low] + 1 for low in graph.predecessors(key)), default=0)
    return depth
