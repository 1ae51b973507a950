"""Critical path: earliest and latest dates of a network of activities, and their floats.

Forward in topological order, backward in the reverse (Kelley and Walker 1959; Hendrickson,
*Project Management for Construction*, ch. 10). With ES, EF the earliest start and finish, LS, LF
the latest, d the duration, and a link from i to j with lag l:

    finish to start    ES(j) ≥ EF(i) + l        start to start     ES(j) ≥ ES(i) + l
    finish to finish   EF(j) ≥ EF(i) + l        start to finish    EF(j) ≥ ES(i) + l

Total float LS − ES; free float the least slack of the links that leave the activity. Times are in
the unit of the durations. ``dated_path`` does the same on days that may be closed.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import networkx as nx
import numpy as np
from numpy.typing import NDArray

TOLERANCE = 1e-9

Key = Hashable


class LinkKind(StrEnum):
    FINISH_START = "FS"
    START_START = "SS"
    FINISH_FINISH = "FF"
    START_FINISH = "SF"


@dataclass(frozen=True)
class Activity:
    key: Key
    duration: float
    name: str = ""

    def __str__(self) -> str:
        return self.name or str(self.key)


@dataclass(frozen=True)
class Link:
    before: Key
    after: Key
    kind: LinkKind = LinkKind.FINISH_START
    lag: float = 0.0


class RingError(ValueError):
    """Activities that wait for each other. ``keys`` are the activities of one such ring."""

    def __init__(self, keys: Sequence[Key], names: Sequence[str]) -> None:
        self.keys = tuple(keys)
        self.names = tuple(names)
        super().__init__(ring_words(names))


def ring_words(names: Sequence[str]) -> str:
    """The ring in words, beginning and ending at the same activity."""
    if len(names) == 1:
        return f"{names[0]} waits for itself"
    return "these wait for each other: " + " → ".join([*names, names[0]])


@dataclass(frozen=True)
class Times:
    early_start: float
    early_finish: float
    late_start: float
    late_finish: float
    free_float: float

    @property
    def total_float(self) -> float:
        return self.late_start - self.early_start


@dataclass(frozen=True)
class Path:
    """Times by activity, the length, and the activities on the critical path in their order."""

    times: dict[Key, Times]
    length: float
    critical: tuple[Key, ...]


def order(activities: Sequence[Activity], links: Iterable[Link]) -> list[Key]:
    """Topological order; among those that may go next, the order in which they were given.

    Raises RingError naming the activities when some wait for each other, ValueError when a key
    is given twice or a link names an unknown activity.
    """
    names = {activity.key: str(activity) for activity in activities}
    if len(names) != len(activities):
        seen: set[Key] = set()
        for activity in activities:
            if activity.key in seen:
                raise ValueError(f"activity {activity.key!r} is given twice")
            seen.add(activity.key)
    graph: nx.DiGraph[Key] = nx.DiGraph()
    graph.add_nodes_from(names)
    for link in links:
        for end in (link.before, link.after):
            if end not in names:
                raise ValueError(f"a link names the activity {end!r}, which is not in the network")
        if not math.isfinite(link.lag):
            raise ValueError(f"the lag after {names[link.before]} must be a number, not {link.lag}")
        graph.add_edge(link.before, link.after)
    rank = {key: place for place, key in enumerate(names)}
    try:
        return list(nx.lexicographical_topological_sort(graph, key=rank.__getitem__))
    except nx.NetworkXUnfeasible:
        ring = [before for before, _after in nx.find_cycle(graph)]
        raise RingError(ring, [names[key] for key in ring]) from None


def critical_path(
    activities: Sequence[Activity], links: Sequence[Link], *, finish_by: float | None = None
) -> Path:
    """Times of every activity in a network that starts at 0.

    The latest dates count back from ``finish_by``, or from the earliest finish of the whole. A
    ``finish_by`` that is too early gives negative total floats.

    Raises ValueError for a negative or endless duration, RingError for a ring.
    """
    duration: dict[Key, float] = {}
    for activity in activities:
        if not (math.isfinite(activity.duration) and activity.duration >= 0):
            raise ValueError(
                f"the duration of {activity} must be 0 or more, not {activity.duration}"
            )
        duration[activity.key] = activity.duration
    sequence = order(activities, links)
    into = _by(links, "after")
    out_of = _by(links, "before")

    start: dict[Key, float] = {}
    finish: dict[Key, float] = {}
    for key in sequence:
        earliest = 0.0
        for link in into.get(key, ()):
            at = start[link.before] if _from_start(link) else finish[link.before]
            bound = at + link.lag
            earliest = max(earliest, bound - duration[key] if _to_finish(link) else bound)
        start[key] = earliest
        finish[key] = earliest + duration[key]
    length = max(finish.values(), default=0.0)
    end = length if finish_by is None else finish_by

    late_start: dict[Key, float] = {}
    late_finish: dict[Key, float] = {}
    free: dict[Key, float] = {}
    for key in reversed(sequence):
        latest = end - duration[key]
        slack = end - finish[key]
        for link in out_of.get(key, ()):
            late = late_finish[link.after] if _to_finish(link) else late_start[link.after]
            early = finish[link.after] if _to_finish(link) else start[link.after]
            bound = late - link.lag
            latest = min(latest, bound if _from_start(link) else bound - duration[key])
            slack = min(slack, early - link.lag - (start if _from_start(link) else finish)[key])
        late_start[key] = latest
        late_finish[key] = latest + duration[key]
        free[key] = slack

    times = {
        key: Times(start[key], finish[key], late_start[key], late_finish[key], free[key])
        for key in sequence
    }
    least = min((time.total_float for time in times.values()), default=0.0)
    critical = tuple(key for key in sequence if times[key].total_float <= least + TOLERANCE)
    return Path(times=times, length=length, critical=critical)


@dataclass(frozen=True)
class DatedActivity:
    """An activity on a calendar.

    days       whole open days it takes; 0 for a moment
    open_days  True where it may be worked, by day of the calendar
    earliest   no start before this day
    finished   (start, finish) of one already done: its dates stand
    """

    key: Key
    days: int
    open_days: NDArray[np.bool_]
    earliest: int = 0
    name: str = ""
    finished: tuple[int, int] | None = None

    def __str__(self) -> str:
        return self.name or str(self.key)


@dataclass(frozen=True)
class DatedTimes:
    """Days of the calendar, half open. ``total_float`` counts the activity's own open days."""

    early_start: int
    early_finish: int
    late_start: int
    late_finish: int
    total_float: int


@dataclass(frozen=True)
class DatedPath:
    """``beyond`` has the activities, with a reason, for which the calendar has no room."""

    times: dict[Key, DatedTimes]
    beyond: dict[Key, str]
    critical: tuple[Key, ...]


def dated_path(activities: Sequence[DatedActivity], links: Sequence[Link]) -> DatedPath:
    """Earliest and latest days with as many hands as wanted, each activity on its own open days.

    Lags are in calendar days. A successor starts on a later day than its predecessor's last one.
    Latest days count back from the earliest finish of the whole.
    """
    by_key = {activity.key: activity for activity in activities}
    sequence = order(
        [Activity(activity.key, activity.days, activity.name) for activity in activities], links
    )
    into = _by(links, "after")
    out_of = _by(links, "before")
    opens = {key: np.flatnonzero(activity.open_days) for key, activity in by_key.items()}

    start: dict[Key, int] = {}
    finish: dict[Key, int] = {}
    place: dict[Key, int] = {}
    beyond: dict[Key, str] = {}
    for key in sequence:
        activity = by_key[key]
        if activity.finished is not None:
            start[key], finish[key] = activity.finished
            continue
        from_day, done_by = activity.earliest, None
        blocked = next((link.before for link in into.get(key, ()) if link.before in beyond), None)
        if blocked is not None:
            beyond[key] = f"waits for {by_key[blocked]}, which has no dates"
            continue
        for link in into.get(key, ()):
            at = start[link.before] if _from_start(link) else finish[link.before]
            bound = math.ceil(at + link.lag)
            if _to_finish(link):
                done_by = bound if done_by is None else max(done_by, bound)
            else:
                from_day = max(from_day, bound)
        if activity.days == 0:
            start[key] = finish[key] = max(from_day, done_by if done_by is not None else from_day)
            continue
        first = int(np.searchsorted(opens[key], from_day))
        if done_by is not None:
            first = max(first, int(np.searchsorted(opens[key], done_by - 1)) - activity.days + 1)
        if first + activity.days > opens[key].size:
            beyond[key] = f"needs {activity.days} open days, the calendar leaves fewer"
            continue
        place[key] = first
        start[key] = int(opens[key][first])
        finish[key] = int(opens[key][first + activity.days - 1]) + 1
    end = max((finish[key] for key in start), default=0)

    late_start: dict[Key, int] = {}
    late_finish: dict[Key, int] = {}
    total: dict[Key, int] = {}
    for key in reversed(sequence):
        if key in beyond:
            continue
        activity = by_key[key]
        if activity.finished is not None:
            late_start[key], late_finish[key] = start[key], finish[key]
            total[key] = 0
            continue
        start_by, finish_by = end, end
        for link in out_of.get(key, ()):
            if link.after in beyond or by_key[link.after].finished is not None:
                continue
            late = late_finish[link.after] if _to_finish(link) else late_start[link.after]
            bound = math.floor(late - link.lag)
            if _from_start(link):
                start_by = min(start_by, bound)
            else:
                finish_by = min(finish_by, bound)
        if activity.days == 0:
            late_start[key] = late_finish[key] = max(min(start_by, finish_by), start[key])
            total[key] = late_start[key] - start[key]
            continue
        last = int(np.searchsorted(opens[key], finish_by - 1, side="right")) - activity.days
        last = min(last, int(np.searchsorted(opens[key], start_by, side="right")) - 1)
        last = max(last, place[key])
        late_start[key] = int(opens[key][last])
        late_finish[key] = int(opens[key][last + activity.days - 1]) + 1
        total[key] = last - place[key]

    times = {
        key: DatedTimes(start[key], finish[key], late_start[key], late_finish[key], total[key])
        for key in sequence
        if key not in beyond
    }
    critical = tuple(
        key
        for key in sequence
        if key in times and times[key].total_float == 0 and by_key[key].finished is None
    )
    return DatedPath(times=times, beyond=beyond, critical=critical)


def three_point(low: float, likely: float, high: float) -> tuple[float, float]:
    """Mean (a + 4m + b) / 6 and variance ((b − a) / 6)² of a three-point duration.

    Raises ValueError unless low ≤ likely ≤ high. Source: Malcolm et al. 1959.
    """
    if not low <= likely <= high:
        raise ValueError(f"low {low}, likely {likely} and high {high} must not fall")
    return (low + 4 * likely + high) / 6, ((high - low) / 6) ** 2


def chance_by(
    path: Path, links: Sequence[Link], variances: Mapping[Key, float], deadline: float
) -> tuple[float, float]:
    """Variance along the critical path, and the chance Φ((D − μ) / σ) of meeting a deadline.

    Of several critical paths the one with the largest variance counts. Optimistic where other
    paths are nearly as long, because it looks at one path only.
    """
    critical = set(path.critical)
    into = _by([link for link in links if {link.before, link.after} <= critical], "after")
    so_far: dict[Key, float] = {}
    for key in path.critical:
        before = max((so_far[link.before] for link in into.get(key, ())), default=0.0)
        so_far[key] = before + variances[key]
    variance = max(so_far.values(), default=0.0)
    if variance == 0:
        return 0.0, 1.0 if path.length <= deadline else 0.0
    z = (deadline - path.length) / math.sqrt(variance)
    return variance, 0.5 * (1 + math.erf(z / math.sqrt(2)))


def _by(links: Iterable[Link], end: str) -> dict[Key, list[Link]]:
    grouped: dict[Key, list[Link]] = {}
    for link in links:
        grouped.setdefault(getattr(link, end), []).append(link)
    return grouped


def _from_start(link: Link) -> bool:
    return link.kind in (LinkKind.START_START, LinkKind.START_FINISH)


def _to_finish(link: Link) -> bool:
    return link.kind in (LinkKind.FINISH_FINISH, LinkKind.START_FINISH)
