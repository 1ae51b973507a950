"""Futures drawn and followed; finishes by job and group; drivers ranked."""

from __future__ import annotations

import heapq
import os
from collections import defaultdict
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from math import ceil, sqrt

import networkx as nx
import numpy as np
from numpy.typing import NDArray

from worksprog.calc.futures import kernel
from worksprog.calc.futures.given import Given, Opening, Work
from worksprog.calc.futures.result import PERCENTS, Driver, Finish, Futures, Promise
from worksprog.calc.ranges import Shape
from worksprog.calc.simulation.curves import curve_table
from worksprog.calc.simulation.kernel import key_of, put_figures, put_normals
from worksprog.calc.solver import Link, LinkKind
from worksprog.calc.weather import blocks_of

Floats = NDArray[np.float64]
Days = NDArray[np.int16]
Places = NDArray[np.int32]
Ints = NDArray[np.int64]
Bytes = NDArray[np.uint8]
Tell = Callable[[float, str], None]

FEWEST, MOST = 100, 100_000
MOST_DAYS = 30_000
RUN_GAP_DAYS = 15  # a longer stop than any holiday ends an opening
DRIVER_FUTURES = 2_000
SURELY_MORE = 3.5  # standard errors above nothing that a source must lie to be named
GROUND, OPEN_AIR = 1, 2
_KINDS = {
    LinkKind.FS: kernel.FS,
    LinkKind.SS: kernel.SS,
    LinkKind.FF: kernel.FF,
    LinkKind.SF: kernel.SF,
}


def follow_futures(
    given: Given, *, seed: int = 1, futures: int = 10_000, tell: Tell | None = None
) -> Futures:
    """Draw weather and hours ``futures`` times and lead the plan through each of them.

    Job after job in the plan's order: from its earliest day and its links on, it takes on every
    open, workable day what the jobs before it leave of the crew's hours, at most its gang's, until
    its drawn amount is done. Each year from July is one of the years of weather, drawn anew; the
    amount is beta-PERT between low and high, F⁻¹(Φ(√(1 - s) ε + √s Z)) with Z common to all jobs.

    ValueError: futures out of bounds, a negative seed, jobs that wait for each other.
    """
    if not FEWEST <= futures <= MOST:
        raise ValueError(f"From {FEWEST:,} to {MOST:,} futures can be drawn, not {futures:,}.")
    if seed < 0:
        raise ValueError(f"The seed is a whole number from 0, not {seed}.")
    if given.days > MOST_DAYS:
        raise ValueError(f"A calendar of at most {MOST_DAYS:,} days is expected.")
    tell = tell or _silent
    works = _in_order(given)
    tell(5, "Drawing hours and weather")
    years = _draw_weather(given, seed, futures)
    amounts = _draw_amounts(given, works, seed, futures)
    tell(25, f"Following {futures:,} futures")
    finish, lost = _follow(given, works, amounts, years)
    tell(75, "Ranking what drives the end")
    groups = _groups(works)
    ends = {
        name: finish[rows].max(axis=0) if name else finish.max(axis=0)
        for name, rows in groups.items()
    }
    told = {
        name: _finish(end, _latest(works, groups[name]), given, lost[groups[name]].sum(axis=0))
        for name, end in ends.items()
    }
    return Futures(
        seed=seed,
        futures=futures,
        works={
            work.key: _finish(finish[row], work.planned, given, lost[row])
            for row, work in enumerate(works)
        },
        whole=told.pop(""),
        groups=told,
        promises=tuple(
            Promise(work.key, work.promised, float((finish[row] <= work.promised + 1).mean()))
            for row, work in enumerate(works)
            if work.promised is not None
        ),
        drivers=_drivers(given, works, groups, ends, years, seed),
    )


def _silent(percent: float, words: str) -> None:
    """For callers who need not hear how far it is."""


def _in_order(given: Given) -> list[Work]:
    """The plan's order, a job moved back only as far as the links ask."""
    place = {work.key: row for row, work in enumerate(given.works)}
    before: dict[int, set[int]] = defaultdict(set)
    after: dict[int, set[int]] = defaultdict(set)
    for link in given.links:
        if link.first in place and link.then in place:
            before[link.then].add(link.first)
            after[link.first].add(link.then)
    ready = [row for key, row in place.items() if not before[key]]
    heapq.heapify(ready)
    ordered: list[Work] = []
    while ready:
        work = given.works[heapq.heappop(ready)]
        ordered.append(work)
        for then in after[work.key]:
            before[then].discard(work.key)
            if not before[then]:
                heapq.heappush(ready, place[then])
    if len(ordered) < len(given.works):
        ring = nx.find_cycle(
            nx.DiGraph((one.first, one.then) for one in given.links if one.first in place)
        )
        names = " → ".join(given.works[place[first]].label for first, _ in ring)
        raise ValueError(f"These jobs wait for each other: {names}.")
    return ordered


def _draw_weather(given: Given, seed: int, futures: int) -> NDArray[np.int64]:
    blocks = blocks_of(given.first_day, given.days)
    chance = np.random.Generator(np.random.PCG64([seed, 2]))
    drawn = chance.integers(0, len(given.weather.ground), (futures, blocks.count))
    return np.asarray(drawn, dtype=np.int64)


def _draw_amounts(given: Given, works: list[Work], seed: int, futures: int) -> Floats:
    common = np.empty((1, futures))
    put_normals(key_of(seed, "together"), common[0])
    place, weight = np.zeros(1, dtype=np.int64), np.array([sqrt(given.together)])
    amounts = np.empty((len(works), futures))
    for row, work in enumerate(works):
        if work.amount.is_certain:
            amounts[row] = work.amount.low
            continue
        put_figures(
            key_of(seed, f"job {work.key}"),
            sqrt(1 - given.together),
            common,
            place,
            weight,
            curve_table(work.amount, Shape.BETA_PERT),
            amounts[row],
        )
    return amounts


@dataclass(frozen=True)
class _OpeningTables:
    next_open: Places
    left_in_run: Places
    next_run: Places


def _tables(opening: Opening) -> _OpeningTables:
    """The next open day from each day; open days left until the opening ends; where the next one
    begins. A stop of more than a fortnight ends an opening, and so does the window's end."""
    days = len(opening.days)
    next_open = np.full(days + 1, days, dtype=np.int32)
    left = np.zeros(days + 1, dtype=np.int32)
    following = np.full(days + 1, days, dtype=np.int32)
    run_begins = days
    for day in range(days - 1, -1, -1):
        next_open[day] = day if opening.days[day] else next_open[day + 1]
        if not opening.days[day]:
            continue
        then = next_open[day + 1]
        ends = (
            then >= days or then - day > RUN_GAP_DAYS or not opening.in_window[day : then + 1].all()
        )
        if ends:
            run_begins = then
        left[day] = 1 if ends else left[then] + 1
        following[day] = run_begins
    return _OpeningTables(next_open, left, following)


def _fits(work: Work, longest: int) -> int:
    """Working days that must be left in the window; as many as it has where none is long enough."""
    if work.may_split or work.under_way:
        return 0
    return min(ceil(work.amount.likely / work.a_day - 1e-9), longest)


def _follow(
    given: Given, works: list[Work], amounts: Floats, years: NDArray[np.int64]
) -> tuple[Days, Days]:
    futures = amounts.shape[1]
    names = sorted({work.opening for work in works})
    tables = [_tables(given.openings[name]) for name in names]
    longest = [int(one.left_in_run.max()) for one in tables]
    which = [names.index(work.opening) for work in works]
    links = _links(given.links, works)
    blocks = blocks_of(given.first_day, given.days)
    worked_before = np.concatenate(([0], np.cumsum(given.workdays))).astype(np.int32)
    workable = given.weather.ground * GROUND + given.weather.open_air * OPEN_AIR
    finish = np.empty((len(works), futures), dtype=np.int16)
    lost = np.empty((len(works), futures), dtype=np.int16)

    def part(begin: int, end: int) -> None:
        kernel.follow(
            begin,
            end,
            amounts,
            np.ascontiguousarray(given.crew_day_h, dtype=np.float64),
            np.array([work.a_day for work in works], dtype=np.float64),
            np.array([work.share for work in works], dtype=np.float64),
            np.array([work.needs_crew for work in works], dtype=np.uint8),
            np.array([work.earliest for work in works], dtype=np.int64),
            np.array(which, dtype=np.int64),
            np.array(
                [GROUND if work.waits_for_ground else OPEN_AIR for work in works], dtype=np.int64
            ),
            np.array(
                [_fits(work, longest[at]) for work, at in zip(works, which, strict=True)],
                dtype=np.int64,
            ),
            np.stack([one.next_open for one in tables]),
            np.stack([one.left_in_run for one in tables]),
            np.stack([one.next_run for one in tables]),
            *links,
            worked_before,
            np.append(np.flatnonzero(given.workdays), given.days).astype(np.int32),
            blocks.block,
            blocks.day,
            years,
            workable.astype(np.uint8),
            finish,
            lost,
        )

    workers = min(os.cpu_count() or 1, 4)
    edges = np.linspace(0, futures, workers + 1).astype(int).tolist()
    with ThreadPoolExecutor(workers) as pool:
        list(pool.map(part, edges[:-1], edges[1:]))
    return finish, lost


def _links(links: tuple[Link, ...], works: list[Work]) -> tuple[Ints, Ints, Ints, Ints, Bytes]:
    place = {work.key: row for row, work in enumerate(works)}
    into: list[list[Link]] = [[] for _ in works]
    for link in links:
        if link.first in place and link.then in place:
            into[place[link.then]].append(link)
    flat = [link for some in into for link in some]
    begins = np.concatenate(([0], np.cumsum([len(some) for some in into])))
    return (
        begins.astype(np.int64),
        np.array([place[link.first] for link in flat], dtype=np.int64),
        np.array([_KINDS[LinkKind(link.kind)] for link in flat], dtype=np.int64),
        np.array([link.lag for link in flat], dtype=np.int64),
        np.array([link.working for link in flat], dtype=np.uint8),
    )


def _groups(works: list[Work]) -> dict[str, list[int]]:
    groups: dict[str, list[int]] = {"": list(range(len(works)))}
    for row, work in enumerate(works):
        for name in work.groups:
            groups.setdefault(name, []).append(row)
    return groups


def _latest(works: list[Work], rows: list[int]) -> int | None:
    return max((works[row].planned or 0 for row in rows if works[row].planned), default=None)


def _finish(end: Days, planned: int | None, given: Given, lost: Days) -> Finish:
    ordered = np.sort(end)
    places = [max(ceil(percent * len(ordered) / 100) - 1, 0) for percent in PERCENTS]
    quantiles = [int(ordered[place]) for place in places]
    return Finish(
        quantiles=tuple(None if day > given.days else day - 1 for day in quantiles),
        planned=planned,
        keeps_plan=None if planned is None else float((end <= planned + 1).mean()),
        unfinished=float((end > given.days).mean()),
        lost_days=float(lost.mean()),
    )


def _drivers(
    given: Given,
    works: list[Work],
    groups: dict[str, list[int]],
    ends: dict[str, Days],
    years: NDArray[np.int64],
    seed: int,
) -> dict[str, tuple[Driver, ...]]:
    """Squared correlations of each end with every luck, less the 1/N that mere chance gives.

    Lucks are drawn apart, so their shares do not overlap; what is missing to 1 is curvature and
    the many small ones. A winter's luck is the number of days on which its ground bears.
    """
    count = min(years.shape[0], DRIVER_FUTURES)
    sources: list[tuple[str, str]] = []
    lucks: list[Floats] = []
    for work in works:
        if not work.amount.is_certain and given.together < 1:
            luck = np.empty(count)
            put_normals(key_of(seed, f"job {work.key}"), luck)
            sources.append(("job", str(work.key)))
            lucks.append(luck)
    if given.together > 0:
        common = np.empty(count)
        put_normals(key_of(seed, "together"), common)
        sources.append(("together", ""))
        lucks.append(common)
    bearing = given.weather.ground.sum(axis=1).astype(np.float64)
    first = blocks_of(given.first_day, 1).first_year
    for block in range(years.shape[1]):
        sources.append(("winter", str(first + block)))
        lucks.append(bearing[years[:count, block]])
    standard = np.array([_standard(luck) for luck in lucks])
    told: dict[str, tuple[Driver, ...]] = {}
    for name in groups:
        shares = (standard @ _standard(ends[name][:count].astype(np.float64))) ** 2 - 1 / count
        named = [
            Driver(*source, float(share))
            for source, share in zip(sources, shares, strict=True)
            if share > SURELY_MORE**2 / count
        ]
        told[name] = tuple(sorted(named, key=lambda one: (-one.share, one.kind, one.name)))
    return told


def _standard(values: Floats) -> Floats:
    centred = values - values.mean()
    size = float(np.sqrt(centred @ centred))
    return np.zeros_like(centred) if size == 0 else np.asarray(centred / size)
