"""Rain led through the drain network step by step.

Run-off: the rational rate of each reach's own catchment, spread over its time of entry (a straight
time-area curve), into its head. Reach: Muskingum in pieces of about one step, K and X after Cunge
at half of the peak that a first march finds, so that both passes have the same water. No more
enters a reach than it carries, running full or to its freeboard, at its own gradient; what is held
back stands at its head until there is room. Pond: level pool. Flows are means of a step, so every
element takes in exactly what those above it gave. A backwater from below is not told here; the
steady check's water line is.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from worksprog.calc.ditches import DitchSection
from worksprog.calc.network import Limits, Node, Reach, Storm, join_ends
from worksprog.calc.network.capacity import Carried, carry, find_levels
from worksprog.calc.network.flow import Way, find_way, shares_of
from worksprog.calc.network.joining import Joined
from worksprog.calc.network.timing import WALKING_MS, entry_times
from worksprog.calc.pipes import PipeSection
from worksprog.calc.routing.kernel import march
from worksprog.calc.routing.muskingum import Pieces, cut
from worksprog.calc.routing.pond import Outlet, Pond
from worksprog.calc.routing.rain import RainCourse
from worksprog.calc.routing.result import (
    MOST_ERROR,
    Balance,
    Hydrograph,
    PondThrough,
    ReachThrough,
    Through,
)
from worksprog.calc.working import Step, Working

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

NEAR = 0.05  # each side of the flow at which celerity is taken
SLOWEST_MS = 0.02
PUDDLE_M3 = 0.5  # less than this is not told as standing water (our own)
MOST_SUBSTEPS = 240
MOST_STEPS = 100_000
USUAL_LIMITS = Limits()


class WaterMade(ArithmeticError):
    """The balance does not hold: the result is wrong and is not to be used."""


@dataclass(frozen=True)
class _Plan:
    """Reaches (0 … n-1) and ponds (n …) as elements that hand on to elements; -1 is out."""

    order: Ints
    target_from: Ints
    target: Ints
    share: Floats
    channel: Ints
    parts: Floats
    storage: Floats
    outflow: Floats
    level: Floats
    left_out: tuple[int, ...]
    exit_kind: tuple[str, ...]  # of each reach: "outfall" or "dead end"


def route(
    reaches: Sequence[Reach],
    nodes: Sequence[Node],
    ponds: Sequence[Pond],
    rain: RainCourse,
    *,
    storm: Storm,
    limits: Limits = USUAL_LIMITS,
    watch: Sequence[str] = (),
    tell: Callable[[float, str], None] | None = None,
) -> Through:
    """Lead rain through the network.

    ponds   those with a stage-area table, by the key that nodes carry in ``Node.pond``
    storm   tells by which formula the time of entry is reckoned
    watch   keys of reaches whose whole hydrographs are kept
    Raises ValueError for keys used twice or unknown and for more steps than can be; WaterMade when
    the balance does not hold to 0.1 %.
    """
    _check(reaches, ponds, rain, watch)
    joined = join_ends(reaches, nodes, tolerance_m=limits.tolerance_m)
    way = find_way(joined, len(reaches))
    levels = find_levels(reaches, joined)
    full = carry(reaches, levels.gradient, np.zeros(len(reaches)), limits)
    ponds = [_with_outlets(pond, reaches, joined, levels.gradient, full) for pond in ponds]
    shares = shares_of(way, full.capacity_m3s)
    plan = _plan(reaches, ponds, joined, way, shares, full)
    lengths = np.array([reach.length_m for reach in reaches], dtype=np.float64)
    entry = entry_times(reaches, storm, limits) * 60
    row_of = {reach.key: row for row, reach in enumerate(reaches)}
    watched = np.array([row_of[key] for key in watch], dtype=np.int64)
    speed = np.where(np.isfinite(full.capacity_velocity_ms), full.capacity_velocity_ms, WALKING_MS)
    pieces = cut(
        lengths / np.maximum(speed, SLOWEST_MS), np.zeros(len(reaches)), step_s=rain.step_s
    )
    if tell:
        tell(10, "The first march, for the flows that set the reaches' figures")
    found = _march(plan, reaches, ponds, rain, entry, full, pieces, watched[:0])
    travel, spread = _cunge(reaches, levels.gradient, found[0][:, 0] / 2, lengths, speed, limits)
    pieces = cut(travel, spread, step_s=rain.step_s)
    if tell:
        tell(50, "The second march")
    found = _march(plan, reaches, ponds, rain, entry, full, pieces, watched)
    if tell:
        tell(90, "Balance and peaks")
    return _result(found, plan, reaches, ponds, rain, full, pieces, travel, watched)


def _check(
    reaches: Sequence[Reach], ponds: Sequence[Pond], rain: RainCourse, watch: Sequence[str]
) -> None:
    keys = {reach.key for reach in reaches}
    if len(keys) != len(reaches):
        raise ValueError("Two reaches have the same key.")
    if not reaches:
        raise ValueError("There is no pipe or ditch to lead water through.")
    if len({pond.key for pond in ponds}) != len(ponds):
        raise ValueError("Two ponds have the same key.")
    unknown = [key for key in watch if key not in keys]
    if unknown:
        raise ValueError(f"No reach of the network has the key {unknown[0]}.")
    if rain.steps > MOST_STEPS:
        raise ValueError(
            f"{rain.steps:,} steps are more than {MOST_STEPS:,}: take a longer step or less time."
        )


def _with_outlets(
    pond: Pond, reaches: Sequence[Reach], joined: Joined, gradient: Floats, full: Carried
) -> Pond:
    """The pond with its outlets tied to reaches and held to what those carry.

    An outlet that names no reach gives into the first that starts at the pond. With no outlet
    entered every reach that starts there is one: a pipe by its bore, a ditch as a weir of its bed.
    """
    starts = [
        row
        for row in range(len(reaches))
        if any(node.pond == pond.key for node in joined.junctions[joined.upstream[row]].nodes)
    ]
    by_key = {reach.key: row for row, reach in enumerate(reaches)}
    outlets = list(pond.outlets) or [
        made for row in starts for made in _own_outlet(pond, reaches[row])
    ]
    tied = []
    for outlet in outlets:
        key = outlet.into if outlet.into in by_key else ""
        if not key and starts:
            key = reaches[starts[0]].key
        most = slope = None
        if key:
            row = by_key[key]
            most = _known(full.capacity_m3s[row])
            slope = _known(gradient[row])
        tied.append(
            Outlet(
                outlet.kind, outlet.level_m, outlet.diameter_m, outlet.width_m, key,
                most if outlet.kind == "pipe" else None,
                slope if slope is not None and 0 < slope <= 0.2 else None, outlet.name,
            )
        )  # fmt: skip
    return Pond(
        pond.key, pond.name, pond.levels_m, pond.areas_m2, tuple(tied), pond.bank_m,
        pond.resting_m, pond.surface_m2,
    )  # fmt: skip


def _own_outlet(pond: Pond, reach: Reach) -> list[Outlet]:
    level = reach.upstream_invert_m
    if level is None or level >= pond.bank_level_m:
        return []
    if isinstance(reach.section, PipeSection):
        return [Outlet("pipe", level, reach.section.diameter_m, into=reach.key)]
    if isinstance(reach.section, DitchSection) and reach.section.bed_width_m > 0:
        return [Outlet("weir", level, width_m=reach.section.bed_width_m, into=reach.key)]
    return []


def _plan(
    reaches: Sequence[Reach],
    ponds: Sequence[Pond],
    joined: Joined,
    way: Way,
    shares: tuple[tuple[float, ...], ...],
    full: Carried,
) -> _Plan:
    count = len(reaches)
    pond_row = {pond.key: count + row for row, pond in enumerate(ponds)}
    by_key = {reach.key: row for row, reach in enumerate(reaches)}
    links: list[list[tuple[int, float, int]]] = []
    exits = []
    for row in range(count):
        end = joined.junctions[joined.downstream[row]]
        pond = next((pond_row[node.pond] for node in end.nodes if node.pond in pond_row), None)
        aside = way.leaves.get(row, ())
        here = [
            (other, share, -1)
            for other, share in zip(way.below[row], shares[row], strict=True)
            if share > 0 and (pond is None or other in aside)
        ]
        if pond is not None:
            here.append((pond, 1 - sum(share for _, share, _ in here), -1))
        links.append(here)
        exits.append("outfall" if end.takes_water_away else "dead end")
    parts: list[Floats] = []
    tables = [pond.table() for pond in ponds]
    rows = max((len(table.levels_m) for table in tables), default=1)
    storage, outflow, level = (np.zeros((len(ponds), rows)) for _ in range(3))
    for index, (pond_here, table) in enumerate(zip(ponds, tables, strict=True)):
        into: dict[str, Floats] = defaultdict(lambda: np.zeros(rows))
        for outlet, flows in zip(pond_here.outlets, table.flows_m3s, strict=True):
            into[outlet.into] = into[outlet.into] + _padded(flows, rows)
        here = []
        for key, flows in into.items():
            row = by_key.get(key, -1)
            if row >= 0 and np.isfinite(full.capacity_m3s[row]):
                flows = np.minimum(flows, full.capacity_m3s[row])
            here.append((row, 0.0, len(parts)))
            parts.append(flows)
            outflow[index] += flows
        links.append(here)
        # Rows that only fill the table up lie beyond the bank, where nothing is ever looked up.
        storage[index] = _padded(table.volumes_m3, rows, rising=True)
        level[index] = _padded(table.levels_m, rows)
    order, left_out = _order(links)
    return _Plan(
        order=np.array(order, dtype=np.int64),
        target_from=np.cumsum([0, *(len(here) for here in links)]).astype(np.int64),
        target=np.array([one for here in links for one, _, _ in here], dtype=np.int64),
        share=np.array([one for here in links for _, one, _ in here], dtype=np.float64),
        channel=np.array([one for here in links for _, _, one in here], dtype=np.int64),
        parts=np.array(parts).reshape(-1, rows),
        storage=storage,
        outflow=outflow,
        level=level,
        left_out=left_out,
        exit_kind=tuple(exits),
    )


def _padded(values: Floats, rows: int, *, rising: bool = False) -> Floats:
    more = rows - len(values)
    tail = values[-1] + (np.arange(1, more + 1) * 1e-6 if rising else np.zeros(more))
    return np.concatenate((values, tail))


def _order(links: Sequence[Sequence[tuple[int, float, int]]]) -> tuple[list[int], tuple[int, ...]]:
    """Every element after those that give to it; those in or below a ring are left out."""
    waiting = [0] * len(links)
    for here in links:
        for other, _, _ in here:
            if other >= 0:
                waiting[other] += 1
    order = [row for row, left in enumerate(waiting) if left == 0]
    for row in order:
        for other, _, _ in links[row]:
            if other >= 0:
                waiting[other] -= 1
                if waiting[other] == 0:
                    order.append(other)
    return order, tuple(row for row, left in enumerate(waiting) if left > 0)


def _cunge(
    reaches: Sequence[Reach],
    gradient: Floats,
    flow: Floats,
    lengths: Floats,
    speed: Floats,
    limits: Limits,
) -> tuple[Floats, Floats]:
    """K of every whole reach (s) and Q/(B S c L), at a flow; where they cannot be told, K at its
    capacity's velocity and no more spread than one piece gives."""
    low, at, high = (carry(reaches, gradient, flow * by, limits) for by in (1 - NEAR, 1, 1 + NEAR))
    with np.errstate(divide="ignore", invalid="ignore"):
        areas = flow * (1 + NEAR) / high.velocity_ms - flow * (1 - NEAR) / low.velocity_ms
        celerity = 2 * NEAR * flow / areas
        spread = flow / (_widths(reaches, at.depth_m) * gradient * celerity * lengths)
    told = np.isfinite(celerity) & (celerity > SLOWEST_MS) & np.isfinite(spread)
    travel = lengths / np.maximum(np.where(told, celerity, speed), SLOWEST_MS)
    return travel, np.where(told, np.maximum(spread, 0.0), 0.0)


def _widths(reaches: Sequence[Reach], depth_m: Floats) -> Floats:
    """Width of the water surface (m)."""
    found = np.full(len(reaches), np.nan)
    for row, (reach, depth) in enumerate(zip(reaches, depth_m.tolist(), strict=True)):
        if isinstance(reach.section, PipeSection):
            found[row] = 2 * np.sqrt(max(depth * (reach.section.diameter_m - depth), 0.0))
        elif isinstance(reach.section, DitchSection):
            found[row] = reach.section.bed_width_m + 2 * reach.section.side_slope * depth
    return found


_Found = tuple[Floats, Floats, Floats, Floats, Floats, Floats, Floats, Floats, Floats]


def _march(
    plan: _Plan,
    reaches: Sequence[Reach],
    ponds: Sequence[Pond],
    rain: RainCourse,
    entry_s: Floats,
    full: Carried,
    pieces: Pieces,
    watched: Ints,
) -> _Found:
    runoff = np.array([10_000 * one.catchment_ha * one.runoff_coefficient for one in reaches])
    capacity = np.where(np.isfinite(full.capacity_m3s), full.capacity_m3s, np.inf)
    start = np.array([float(pond.volumes_at(pond.start_m)) for pond in ponds])
    bank = np.array([float(pond.volumes_at(pond.bank_level_m)) for pond in ponds])
    substeps = np.array(
        [_substeps(plan.storage[row], plan.outflow[row], rain.step_s) for row in range(len(ponds))],
        dtype=np.int64,
    )
    found: _Found = march(
        rain.steps,
        rain.step_s,
        plan.order,
        len(reaches),
        rain.depths_mm,
        runoff,
        entry_s,
        capacity,
        pieces.begins,
        pieces.c1,
        pieces.c2,
        pieces.c3,
        plan.target_from,
        plan.target,
        plan.share,
        plan.channel,
        np.array([pond.surface_m2 for pond in ponds], dtype=np.float64),
        plan.storage,
        plan.outflow,
        plan.level,
        plan.parts,
        start,
        bank,
        substeps,
        watched,
        PUDDLE_M3,
    )
    return found


def _substeps(storage: Floats, outflow: Floats, step_s: float) -> int:
    """So many that within one of them no outlet could empty what a change of level holds."""
    fastest = float((np.diff(outflow) / np.diff(storage)).max(initial=0.0))
    return int(np.clip(np.ceil(fastest * step_s), 1, MOST_SUBSTEPS))


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _result(
    found: _Found,
    plan: _Plan,
    reaches: Sequence[Reach],
    ponds: Sequence[Pond],
    rain: RainCourse,
    full: Carried,
    pieces: Pieces,
    travel_s: Floats,
    watched: Ints,
) -> Through:
    facts, left, series, pond_facts, seen, piece_in, piece_out, node, held = found
    count, step = len(reaches), rain.step_s
    half = step / 2
    in_drains = float(
        (
            (pieces.k_s * pieces.x + half) * piece_in
            + (pieces.k_s * (1 - pieces.x) - half) * piece_out
        ).sum()
    )
    out_at = {"outfall": 0.0, "dead end": 0.0}
    for row in range(count):
        out_at[plan.exit_kind[row]] += float(left[row])
    start = sum(float(pond.volumes_at(pond.start_m)) for pond in ponds)
    balance = Balance(
        came_m3=float(facts[:, 8].sum() + pond_facts[:, 2].sum()),
        at_start_m3=start,
        at_outfalls_m3=out_at["outfall"],
        at_dead_ends_m3=out_at["dead end"],
        from_ponds_m3=float(left[count:].sum()),
        over_banks_m3=float(pond_facts[:, 0].sum()),
        more_in_ponds_m3=float(held.sum()) - start,
        in_drains_m3=in_drains,
        standing_m3=float(node.sum()),
    )
    if not balance.holds:
        raise WaterMade(
            f"The balance is out by {balance.error * 100:.3g} %, more than {MOST_ERROR * 100:g} %: "
            f"{balance.words}"
        )
    skipped = set(plan.left_out)
    through = []
    for row, reach in enumerate(reaches):
        if row in skipped:
            continue
        fact = facts[row].tolist()
        through.append(
            ReachThrough(
                key=reach.key,
                name=reach.name,
                kind=reach.kind,
                capacity_m3s=_known(full.capacity_m3s[row]),
                entering_m3s=fact[0],
                entering_at_h=fact[1] / 3600,
                leaving_m3s=fact[2],
                leaving_at_h=fact[3] / 3600,
                arriving_m3s=fact[4],
                over_h=fact[5] / 3600,
                standing_h=fact[6] / 3600,
                standing_m3=fact[7],
                standing_at_h=fact[9] / 3600,
                travel_min=float(travel_s[row]) / 60,
                pieces=int(pieces.begins[row + 1] - pieces.begins[row]),
                own_m3=fact[8],
            )
        )
    return Through(
        rain_words=rain.words,
        rain_mm=rain.total_mm,
        step_s=step,
        steps=rain.steps,
        reaches=tuple(through),
        ponds=tuple(
            _pond_through(pond, series[row], pond_facts[row], step)
            for row, pond in enumerate(ponds)
            if count + row not in skipped
        ),
        hydrographs=tuple(
            Hydrograph(reaches[row].key, reaches[row].name, seen[at, 0], seen[at, 1])
            for at, row in enumerate(watched.tolist())
            if row not in skipped
        ),
        rain_mm_h=rain.depths_mm * (3600 / step),
        balance=balance,
        notes=_notes(reaches, ponds, full, skipped, count),
    )


def _pond_through(pond: Pond, series: Floats, facts: Floats, step_s: float) -> PondThrough:
    inflow, outflow, level = series[0], series[1], series[2]
    top, most = int(level.argmax()), int(outflow.argmax())
    return PondThrough(
        key=pond.key,
        name=pond.name,
        start_m=pond.start_m,
        bank_m=pond.bank_level_m,
        peak_m=max(float(level[top]), pond.start_m),
        peak_at_h=(top + 1) * step_s / 3600 if level[top] > pond.start_m else 0.0,
        end_m=float(level[-1]),
        peak_inflow_m3s=float(inflow.max()),
        peak_outflow_m3s=float(outflow[most]),
        outflow_at_h=(most + 1) * step_s / 3600,
        came_m3=float(facts[3]),
        rain_on_it_m3=float(facts[2]),
        over_bank_h=float(facts[1]) / 3600,
        over_bank_m3=float(facts[0]),
        inflow_m3s=inflow,
        outflow_m3s=outflow,
        level_m=level,
        step_s=step_s,
        warnings=pond.warnings,
    )


def _notes(
    reaches: Sequence[Reach],
    ponds: Sequence[Pond],
    full: Carried,
    skipped: set[int],
    count: int,
) -> tuple[str, ...]:
    notes = []
    names = [reaches[row].name for row in sorted(skipped) if row < count]
    names += [ponds[row - count].name for row in sorted(skipped) if row >= count]
    if names:
        notes.append(
            f"Water would run in a ring; left out with what lies below it: {', '.join(names)}."
        )
    unknown = [
        reach.name
        for row, reach in enumerate(reaches)
        if row not in skipped and not np.isfinite(full.capacity_m3s[row])
    ]
    if unknown:
        notes.append(
            "What these carry cannot be told, so nothing is held back there and water is taken "
            f"through at {WALKING_MS:g} m/s: {', '.join(unknown[:20])}"
            + (f" and {len(unknown) - 20} more." if len(unknown) > 20 else ".")
        )
    return tuple(notes)


def reach_working(found: ReachThrough, step_s: float) -> Working:
    """How a reach was led through time."""
    return Working(
        f"{found.name} through time",
        (
            Step("K", "travel of a flow of half the peak", found.travel_min, "min", "K = L/c",
                 "Cunge 1969 (from memory)"),
            Step("n", "pieces of about one step", float(found.pieces), ""),
            Step("dt", "step", step_s, "s"),
            Step("Qa", "most that came to its head", found.arriving_m3s * 1000, "l/s"),
            Step("Q", "most that left it", found.leaving_m3s * 1000, "l/s",
                 "Q2 = C1 I2 + C2 I1 + C3 Q1", "Muskingum"),
        ),
    )  # fmt: skip
