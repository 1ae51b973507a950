"""The hydraulic grade line, carried upstream from the outfalls' water levels."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from worksprog.calc import pipes
from worksprog.calc.culverts import INLETS, SI_FACTOR, SUBMERGED_FROM, UNSUBMERGED_TO
from worksprog.calc.ditches import DitchSection
from worksprog.calc.network.backwater import climb, part_full_powers, wetted
from worksprog.calc.network.capacity import Carried, Levels
from worksprog.calc.network.flow import Way
from worksprog.calc.network.given import Reach
from worksprog.calc.network.joining import Joined
from worksprog.calc.pipes import GRAVITY_MS2, PipeSection
from worksprog.calc.roots import Floats

SOURCE_LOSSES = "FHWA HEC-22, table of preliminary loss coefficients (from memory)"
# Velocity heads lost by the angle through which a chamber turns the water, degrees.
_TURNS_DEG = (0.0, 22.5, 45.0, 60.0, 90.0)
_LOSSES_K = (0.15, 0.45, 0.75, 0.85, 1.00)
ENTRY_LOSS_K = 0.5  # into a drain at its head
NOTICED_M = 0.01

LevelsAt = Callable[[Floats, Floats], Floats]


@dataclass(frozen=True, slots=True)
class WaterAt:
    """Water at one junction. None stands for what cannot be known.

    above_m  how far the line would stand above the cover or the ground; below 0 it stays under
    """

    level_m: float | None
    surface_m: float | None
    surface_from: str

    @property
    def above_m(self) -> float | None:
        if self.level_m is None or self.surface_m is None:
            return None
        return self.level_m - self.surface_m


@dataclass(frozen=True)
class WaterLine:
    """Water levels (m, NaN unknown) at both ends of every reach, and at every junction.

    full        a pipe is under pressure at its upper end
    friction    gradient that drives each pipe's flow through it running full (NaN for ditches)
    critical_m  depth at which the flow would be critical
    loss_k      velocity heads lost where each reach begins
    """

    up_m: Floats
    down_m: Floats
    full: tuple[bool, ...]
    friction: Floats
    critical_m: Floats
    loss_k: Floats
    headwater_m: Floats
    at: tuple[WaterAt, ...]


def water_line(
    reaches: Sequence[Reach],
    joined: Joined,
    way: Way,
    levels: Levels,
    flow_m3s: Floats,
    carried: Carried,
    ground_at: LevelsAt | None = None,
) -> WaterLine:
    """Work up from every outfall.

    At a reach's lower end the water stands as high as what stands below it, or at critical depth
    where it falls free; from there the surface is worked up by gradually varied flow (see
    :mod:`backwater`), through pipes under pressure by friction at the actual flow (Colebrook-White).
    Where a pipe under pressure begins, k V²/2g is added, k by the angle through which the water turns
    there; a culvert's headwater is added by its own equations. All that meets at a pond shares its
    level. Where the line would pass the cover, the banks of a ditch or else the ground, water comes
    out: the line is carried on upstream from that surface, since what is more spills.
    """
    given = _figures(reaches, flow_m3s)
    friction = np.full(len(reaches), np.nan)
    pipe = (given.kind == PIPE) & (flow_m3s > 0)
    friction[pipe] = pipes.friction_slopes(given.a[pipe], given.rough[pipe], flow_m3s[pipe])
    rough = np.where(given.kind == PIPE, friction, given.rough)
    power = part_full_powers(flow_m3s / carried.capacity_m3s, friction, levels.gradient)
    normal = np.where(
        (given.kind == DITCH) | (flow_m3s <= carried.capacity_m3s), carried.depth_m, np.nan
    )
    loss = _losses(reaches, joined, way, flow_m3s)
    surfaces = _surfaces(reaches, joined, levels, ground_at)
    pond, wanted = _standing(joined)
    entering = np.full(len(reaches), -1, dtype=np.int64)
    share = np.zeros(len(reaches))
    for index, chainage_m in way.enters_at_m.items():
        if way.below[index]:
            other = way.below[index][0]
            entering[index], share[index] = other, min(1.0, chainage_m / reaches[other].length_m)
    up, down, critical, headwater, full = _lift(
        np.array(way.building_order, dtype=np.int64),
        joined.upstream,
        joined.downstream,
        given.kind,
        given.a,
        given.b,
        rough,
        power,
        normal,
        np.nan_to_num(flow_m3s),
        given.length_m,
        levels.upstream_m,
        levels.downstream_m,
        loss,
        given.inlet,
        _INLET_FIGURES,
        entering,
        share,
        np.array([level for level, _ in surfaces]),
        pond,
        wanted,
    )
    return WaterLine(
        up_m=up,
        down_m=down,
        full=tuple(full.tolist()),
        friction=friction,
        critical_m=critical,
        loss_k=loss,
        headwater_m=headwater,
        at=tuple(
            WaterAt(
                level_m=None if level == -math.inf else level,
                surface_m=None if surface != surface else surface,
                surface_from=source,
            )
            for level, (surface, source) in zip(wanted.tolist(), surfaces, strict=True)
        ),
    )


NO_SECTION, PIPE, DITCH = 0, 1, 2
_INLET_NUMBERS = {name: number for number, name in enumerate(INLETS)}
_INLET_FIGURES = np.array(
    [
        (one.form, one.k, one.m, one.c, one.y, one.entrance_loss, one.slope_term)
        for one in INLETS.values()
    ]
)


@dataclass(frozen=True)
class _Figures:
    """Of every reach: a bore or bed width, b side slope, rough ks or Manning's n."""

    kind: NDArray[np.int64]
    a: Floats
    b: Floats
    rough: Floats
    length_m: Floats
    inlet: NDArray[np.int64]


def _figures(reaches: Sequence[Reach], flow_m3s: Floats) -> _Figures:
    rows = []
    for reach in reaches:
        section = reach.section
        inlet = -1 if reach.inlet is None else _INLET_NUMBERS[reach.inlet]
        if isinstance(section, PipeSection):
            found = (PIPE, section.diameter_m, 0.0, section.roughness_m)
        elif isinstance(section, DitchSection):
            found = (DITCH, section.bed_width_m, section.side_slope, section.manning_n)
        else:
            found = (NO_SECTION, math.nan, math.nan, math.nan)
        rows.append((*found, reach.length_m, inlet))
    kind, a, b, rough, length, inlets = np.array(rows, dtype=np.float64).reshape(-1, 6).T
    return _Figures(
        kind.astype(np.int64), a.copy(), b.copy(), rough.copy(), length.copy(),
        inlets.astype(np.int64),
    )  # fmt: skip


def _standing(joined: Joined) -> tuple[NDArray[np.int64], Floats]:
    """Which pond each junction is at (-1 none), and the water that stands there beforehand."""
    pond = np.full(len(joined.junctions), -1, dtype=np.int64)
    wanted = np.full(len(joined.junctions), -np.inf)
    numbers: dict[str, int] = {}
    for number, junction in enumerate(joined.junctions):
        for node in junction.nodes:
            if node.kind == "pond" and node.pond:
                pond[number] = numbers.setdefault(node.pond, len(numbers))
            if node.kind in ("outfall", "pond") and node.water_m is not None:
                wanted[number] = max(wanted[number], node.water_m)
    return pond, wanted


@njit(cache=True)
def _lift(
    order: NDArray[np.int64],
    begins: NDArray[np.int64],
    ends: NDArray[np.int64],
    kind: NDArray[np.int64],
    a: Floats,
    b: Floats,
    rough: Floats,
    power: Floats,
    normal: Floats,
    flow: Floats,
    length: Floats,
    bed_up: Floats,
    bed_down: Floats,
    loss: Floats,
    inlet: NDArray[np.int64],
    inlets: Floats,
    entering: NDArray[np.int64],
    share: Floats,
    surface: Floats,
    pond: NDArray[np.int64],
    wanted: Floats,
) -> tuple[Floats, Floats, Floats, Floats, NDArray[np.bool_]]:
    """The pass up the network; ``wanted`` is filled with the level at each junction."""
    count = len(begins)
    up, down = np.full(count, np.nan), np.full(count, np.nan)
    critical, headwater = np.full(count, np.nan), np.full(count, np.nan)
    full = np.zeros(count, dtype=np.bool_)
    in_pond = np.full(max(1, pond.max() + 1 if len(pond) else 1), -np.inf)
    for number in range(len(pond)):
        if pond[number] >= 0:
            in_pond[pond[number]] = max(in_pond[pond[number]], wanted[number])
    for index in order:
        start, end = begins[index], ends[index]
        below = wanted[end]
        if pond[end] >= 0:
            below = max(below, in_pond[pond[end]])
        if surface[end] < below:
            below = surface[end]
        other = entering[index]
        if other >= 0 and down[other] == down[other]:
            below = max(below, down[other] + (up[other] - down[other]) * (1 - share[index]))
        rises = np.nan
        is_known = bed_up[index] == bed_up[index] and bed_down[index] == bed_down[index]
        if kind[index] == NO_SECTION or not is_known or not flow[index] > 0:
            # No flow of its own to work out: only what stands still over its bed.
            rises = below if below > bed_up[index] else np.nan
        else:
            is_pipe = kind[index] == PIPE
            slope = (bed_up[index] - bed_down[index]) / length[index]
            lower, upper, full[index], critical[index] = climb(
                is_pipe,
                a[index],
                b[index],
                flow[index],
                rough[index],
                power[index],
                slope,
                length[index],
                normal[index],
                below - bed_down[index],
            )
            down[index], up[index] = bed_down[index] + lower, bed_up[index] + upper
            rises = up[index]
            area = wetted(is_pipe, a[index], b[index], upper)[0]
            head = (flow[index] / area) ** 2 / (2 * GRAVITY_MS2)
            if inlet[index] >= 0 and is_pipe:
                asked = _inlet_depth(
                    inlets[inlet[index]], a[index], flow[index], critical[index], max(slope, 0.0)
                )
                if upper >= critical[index]:
                    asked = max(asked, upper + (1 + inlets[inlet[index]][5]) * head)
                headwater[index] = asked
                rises = max(rises, bed_up[index] + asked)
            elif full[index]:
                rises += loss[index] * head
        if rises == rises:
            wanted[start] = max(wanted[start], rises)
            if pond[start] >= 0:
                in_pond[pond[start]] = max(in_pond[pond[start]], rises)
    for number in range(len(pond)):
        if pond[number] >= 0:
            wanted[number] = in_pond[pond[number]]
    return up, down, critical, headwater, full


@njit(cache=True)
def _inlet_depth(shape: Floats, bore: float, flow: float, critical: float, slope: float) -> float:
    """Headwater by inlet control, as :func:`culverts.inlet_ratio` has it."""
    area = wetted(True, bore, 0.0, critical)[0]
    specific = critical + (flow / area) ** 2 / (2 * GRAVITY_MS2)
    load = SI_FACTOR * flow / (math.pi * bore * bore / 4 * math.sqrt(bore))
    shallow = shape[1] * load ** shape[2]
    if shape[0] == 1:
        shallow += specific / bore + shape[6] * slope
    deep = shape[3] * load * load + shape[4] + shape[6] * slope
    part = (load - UNSUBMERGED_TO) / (SUBMERGED_FROM - UNSUBMERGED_TO)
    part = min(1.0, max(0.0, part))
    return float(max(0.0, bore * ((1 - part) * shallow + part * deep)))


def _surfaces(
    reaches: Sequence[Reach], joined: Joined, levels: Levels, ground_at: LevelsAt | None
) -> list[tuple[float, str]]:
    """Where water would come out at each junction: its cover, else a ditch's bank, else the ground.

    Nowhere at an outfall or a pond, for there the water is outside already; nor where a drain ends
    in another's side, whose own banks are told.
    """
    count = len(joined.junctions)
    if ground_at is None or not count:
        ground = [math.nan] * count
    else:
        places = np.array([junction.place for junction in joined.junctions])
        ground = np.asarray(ground_at(places[:, 0], places[:, 1])).tolist()
    entering = {along.reach for along in joined.enters}
    up, down = levels.upstream_m.tolist(), levels.downstream_m.tolist()
    found = []
    for junction, level in zip(joined.junctions, ground, strict=True):
        cover = next((node for node in junction.nodes if node.cover_m is not None), None)
        banks = [
            (bed[index] + section.depth_m, f"bank of {reaches[index].name}")
            for ends, bed in ((junction.into, down), (junction.out_of, up))
            for index in ends
            if isinstance(section := reaches[index].section, DitchSection)
            and bed[index] == bed[index]
        ]
        if junction.takes_water_away or entering.intersection(junction.into):
            found.append((math.nan, ""))
        elif cover is not None and cover.cover_m is not None:
            found.append((cover.cover_m, f"cover of {cover.name}"))
        elif banks:
            found.append(min(banks))
        else:
            found.append((level, "ground" if level == level else ""))
    return found


def _losses(reaches: Sequence[Reach], joined: Joined, way: Way, flow_m3s: Floats) -> Floats:
    """Velocity heads lost where each reach begins."""
    headings = np.array(
        [
            (
                reach.line[1][0] - reach.line[0][0],
                reach.line[1][1] - reach.line[0][1],
                reach.line[-1][0] - reach.line[-2][0],
                reach.line[-1][1] - reach.line[-2][1],
            )
            for reach in reaches
        ]
    ).reshape(-1, 4)
    leaves = np.degrees(np.arctan2(headings[:, 1], headings[:, 0])).tolist()
    comes = np.degrees(np.arctan2(headings[:, 3], headings[:, 2])).tolist()
    given = [
        next((node.loss_k for node in junction.nodes if node.loss_k is not None), None)
        for junction in joined.junctions
    ]
    flows = np.nan_to_num(flow_m3s).tolist()
    turns, found = [0.0] * len(reaches), [ENTRY_LOSS_K] * len(reaches)
    turning = []
    for index in range(len(reaches)):
        own = given[joined.upstream[index]]
        if own is not None:
            found[index] = own
        elif way.above[index]:
            main = max(way.above[index], key=lambda other: flows[other])
            turn = abs(comes[main] - leaves[index]) % 360
            turns[index] = min(turn, 360 - turn, 90.0)
            turning.append(index)
    result = np.array(found)
    if turning:
        result[turning] = np.interp(np.array(turns)[turning], _TURNS_DEG, _LOSSES_K)
    return result
