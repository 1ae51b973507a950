"""The hydraulic grade line, carried upstream from the outfalls' water levels."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from worksprog.calc import culverts, pipes
from worksprog.calc.ditches import DitchSection
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


@dataclass(frozen=True)
class WaterAt:
    """Water at one junction. None stands for what cannot be known.

    above_m  how far the line would stand above the cover or the ground; below 0 it stays under
    """

    level_m: float | None
    surface_m: float | None
    surface_from: str
    is_drowned: bool

    @property
    def above_m(self) -> float | None:
        if self.level_m is None or self.surface_m is None:
            return None
        return self.level_m - self.surface_m


@dataclass(frozen=True)
class WaterLine:
    """Water levels (m, NaN unknown) at both ends of every reach, and at every junction.

    friction  gradient that drives each pipe's flow through it running full (NaN for ditches)
    loss_k    velocity heads lost where each reach begins
    """

    up_m: Floats
    down_m: Floats
    full: tuple[bool, ...]
    friction: Floats
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

    At a reach's lower end the water stands at the higher of what stands below it and its own
    depth of flow. A pipe that is drowned there, or asked for more than it carries, runs full:
    the line rises by its friction gradient (Colebrook-White at the flow), and where it stays above
    the upper crown the whole pipe is under pressure; else the upper part runs free. A ditch, or a
    pipe's free part, is backed up level. Where a pipe under pressure begins, k V²/2g is added, k by
    the angle through which the water turns there. A culvert's headwater is added by its own
    equations. Where the line would pass the cover or the ground, water comes out: the line is
    carried on upstream from that surface, since what is more spills.
    """
    count = len(reaches)
    friction = np.full(count, np.nan)
    chosen = [
        index
        for index, reach in enumerate(reaches)
        if isinstance(reach.section, PipeSection) and flow_m3s[index] > 0
    ]
    if chosen:
        sections = [reaches[index].section for index in chosen]
        bores = np.array([one.diameter_m for one in sections if isinstance(one, PipeSection)])
        rough = np.array([one.roughness_m for one in sections if isinstance(one, PipeSection)])
        friction[chosen] = pipes.friction_slopes(bores, rough, flow_m3s[chosen])
    loss = _losses(reaches, joined, way, flow_m3s)
    surfaces = _surfaces(joined, ground_at)
    work = _Work(reaches, joined, way, levels, flow_m3s, carried, friction, loss, surfaces)
    for index in way.building_order:
        work.lift(index)
    return work.done()


class _Work:
    """The pass up the network, with plain numbers for speed."""

    def __init__(
        self,
        reaches: Sequence[Reach],
        joined: Joined,
        way: Way,
        levels: Levels,
        flow_m3s: Floats,
        carried: Carried,
        friction: Floats,
        loss: Floats,
        surfaces: list[tuple[float, str]],
    ) -> None:
        count = len(reaches)
        self.reaches, self.joined, self.way = reaches, joined, way
        self.inverts = list(
            zip(levels.upstream_m.tolist(), levels.downstream_m.tolist(), strict=True)
        )
        self.gradient = levels.gradient.tolist()
        self.flow, self.depth = flow_m3s.tolist(), carried.depth_m.tolist()
        self.capacity = carried.capacity_m3s.tolist()
        self.friction, self.loss = friction, loss
        self.slope = friction.tolist()
        self.k = loss.tolist()
        self.surfaces = surfaces
        self.up, self.down = [math.nan] * count, [math.nan] * count
        self.full = [False] * count
        self.headwater = [math.nan] * count
        self.wanted = [-math.inf] * len(joined.junctions)  # before anything spills
        self.drowned = [False] * len(joined.junctions)
        self.entering = {
            index: (way.below[index][0], chainage)
            for index, chainage in way.enters_at_m.items()
            if way.below[index]
        }
        for number, junction in enumerate(joined.junctions):
            for node in junction.nodes:
                if node.kind in ("outfall", "pond") and node.water_m is not None:
                    self.wanted[number] = max(self.wanted[number], node.water_m)

    def standing(self, junction: int) -> float:
        surface = self.surfaces[junction][0]
        level = self.wanted[junction]
        return min(level, surface) if surface == surface else level

    def lift(self, index: int) -> None:
        reach, (bed_up, bed_down) = self.reaches[index], self.inverts[index]
        begins = self.joined.upstream[index]
        below = self.standing(self.joined.downstream[index])
        entered = self.entering.get(index)
        if entered is not None:
            below = max(below, self._along(*entered))
        flow, section = self.flow[index], reach.section
        if bed_up != bed_up or bed_down != bed_down or not flow > 0 or section is None:
            if below > -math.inf and bed_up == bed_up:
                # No flow of its own to work out: standing water only.
                self._raise(begins, below if below > bed_up else -math.inf)
            return
        depth = self.depth[index]
        if isinstance(section, DitchSection):
            if depth != depth:
                return
            down = max(below, bed_down + depth)
            up = max(bed_up + depth, down)
            if down <= bed_down + depth + 1e-9:
                up = bed_up + depth
            self._keep(index, up, down)
            self._raise(begins, up)
            return
        bore = section.diameter_m
        over = not self.capacity[index] >= flow
        free = bore if over or depth != depth else depth
        down = max(below, bed_down + free)
        full = over or down > bed_down + bore + 1e-9
        up = bed_up + free
        if full:
            lifted = down + self.slope[index] * reach.length_m
            full = lifted >= bed_up + bore - 1e-9
            up = lifted if full else max(up, min(lifted, bed_up + bore))
        elif down > up:
            up = down
        self.full[index] = full
        head = up
        if full:
            velocity = flow / (math.pi * bore * bore / 4)
            head += self.k[index] * velocity * velocity / (2 * GRAVITY_MS2)
        if reach.inlet is not None and 0 < self.gradient[index] <= 1:
            asked = culverts.culvert_flow(
                section,
                flow_m3s=flow,
                gradient=self.gradient[index],
                length_m=reach.length_m,
                inlet=reach.inlet,
                tailwater_m=max(0.0, down - bed_down),
            )
            self.headwater[index] = asked.headwater_m
            head = max(up, bed_up + asked.headwater_m)
        self._keep(index, up, down)
        self._raise(begins, head)

    def _along(self, other: int, chainage_m: float) -> float:
        up, down = self.up[other], self.down[other]
        if up != up or down != down:
            return -math.inf
        return up + (down - up) * min(1.0, chainage_m / self.reaches[other].length_m)

    def _keep(self, index: int, up: float, down: float) -> None:
        self.up[index], self.down[index] = up, down

    def _raise(self, junction: int, level: float) -> None:
        self.wanted[junction] = max(self.wanted[junction], level)

    def done(self) -> WaterLine:
        bores = [
            reach.section.diameter_m if isinstance(reach.section, PipeSection) else 0.0
            for reach in self.reaches
        ]
        for index, bore in enumerate(bores):
            if bore and self.full[index]:
                self.drowned[self.joined.upstream[index]] = True
        return WaterLine(
            up_m=np.array(self.up),
            down_m=np.array(self.down),
            full=tuple(self.full),
            friction=self.friction,
            loss_k=self.loss,
            headwater_m=np.array(self.headwater),
            at=tuple(
                WaterAt(
                    level_m=None if level == -math.inf else level,
                    surface_m=None if surface != surface else surface,
                    surface_from=source,
                    is_drowned=drowned,
                )
                for level, (surface, source), drowned in zip(
                    self.wanted, self.surfaces, self.drowned, strict=True
                )
            ),
        )


def _surfaces(joined: Joined, ground_at: LevelsAt | None) -> list[tuple[float, str]]:
    """Where water would come out at each junction: its cover, else the ground there."""
    count = len(joined.junctions)
    if ground_at is None or not count:
        ground = [math.nan] * count
    else:
        places = np.array([junction.place for junction in joined.junctions])
        ground = np.asarray(ground_at(places[:, 0], places[:, 1])).tolist()
    found = []
    for junction, level in zip(joined.junctions, ground, strict=True):
        cover = next((node for node in junction.nodes if node.cover_m is not None), None)
        if cover is not None and cover.cover_m is not None:
            found.append((cover.cover_m, f"cover of {cover.name}"))
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
