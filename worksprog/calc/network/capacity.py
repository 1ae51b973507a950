"""Levels, gradients, capacities and velocities of all reaches at once."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from worksprog.calc import ditches, pipes
from worksprog.calc.network.given import Limits, Reach
from worksprog.calc.network.joining import Joined
from worksprog.calc.pipes import PipeSection
from worksprog.calc.roots import Floats

ENTERED = "entered for the reach"


@dataclass(frozen=True)
class Levels:
    """Inverts at both ends (NaN where unknown) and where each came from."""

    upstream_m: Floats
    downstream_m: Floats
    upstream_from: tuple[str, ...]
    downstream_from: tuple[str, ...]
    gradient: Floats


@dataclass(frozen=True)
class Carried:
    """NaN wherever a figure cannot be known; a pipe that is too small has no velocity and depth."""

    capacity_m3s: Floats
    capacity_velocity_ms: Floats
    velocity_ms: Floats
    depth_m: Floats
    spare_share: Floats
    least_bore_m: Floats  # pipes that are too small
    needed_depth_m: Floats  # ditches that are too small: depth of water at the flow
    froude: Floats  # ditches at the flow


def find_levels(reaches: Sequence[Reach], joined: Joined) -> Levels:
    """A reach's own inverts, or else those of a node at its end."""
    up = np.full(len(reaches), np.nan)
    down = np.full(len(reaches), np.nan)
    up_from: list[str] = []
    down_from: list[str] = []
    known = [junction.invert for junction in joined.junctions]
    for index, reach in enumerate(reaches):
        for own, junction, levels, sources in (
            (reach.upstream_invert_m, joined.upstream[index], up, up_from),
            (reach.downstream_invert_m, joined.downstream[index], down, down_from),
        ):
            at_node = known[junction]
            if own is not None:
                levels[index] = own
                sources.append(reach.levels_from or ENTERED)
            elif at_node is not None:
                levels[index] = at_node[0]
                sources.append(f"from {at_node[1]}")
            else:
                sources.append("")
    lengths = np.array([reach.length_m for reach in reaches], dtype=np.float64)
    return Levels(up, down, tuple(up_from), tuple(down_from), (up - down) / lengths)


def carry(reaches: Sequence[Reach], gradient: Floats, flow_m3s: Floats, limits: Limits) -> Carried:
    """Capacity, and velocity and depth at the flow, of every reach that has what it takes."""
    return Carriers(reaches, gradient, limits).at(flow_m3s)


class Carriers:
    """The reaches as arrays, so that several flows can be tried on them."""

    def __init__(self, reaches: Sequence[Reach], gradient: Floats, limits: Limits) -> None:
        self.count = len(reaches)
        falls = ((gradient >= limits.flat_gradient) & (gradient <= 1)).tolist()
        pipe_rows, ditch_rows = [], []
        for index, reach in enumerate(reaches):
            section = reach.section
            if not falls[index] or section is None:
                continue
            if isinstance(section, PipeSection):
                pipe_rows.append((index, section.diameter_m, section.roughness_m))
            else:
                ditch_rows.append(
                    (
                        index,
                        section.bed_width_m,
                        section.side_slope,
                        section.water_depth_m,
                        section.manning_n,
                    )
                )
        piped = np.array(pipe_rows, dtype=np.float64).reshape(-1, 3).T
        open_ = np.array(ditch_rows, dtype=np.float64).reshape(-1, 5).T
        self.pipes, self.ditches = piped[0].astype(np.int64), open_[0].astype(np.int64)
        self.diameter, self.roughness = piped[1], piped[2]
        self.bed, self.side, self.deep, self.n = open_[1], open_[2], open_[3], open_[4]
        self.pipe_slope, self.ditch_slope = gradient[self.pipes], gradient[self.ditches]
        velocity = pipes.full_bore_velocities(self.diameter, self.pipe_slope, self.roughness)
        turbulent = velocity * self.diameter / pipes.VISCOSITY_15C_M2S >= pipes.TURBULENT_REYNOLDS
        speed, capacity = np.full(self.count, np.nan), np.full(self.count, np.nan)
        speed[self.pipes] = np.where(turbulent, velocity, np.nan)
        capacity[self.pipes] = speed[self.pipes] * (math.pi * self.diameter**2 / 4)
        speed[self.ditches], capacity[self.ditches] = ditches.channel_flows(
            self.bed, self.side, self.deep, self.ditch_slope, self.n
        )
        self.capacity_m3s, self.capacity_velocity_ms = capacity, speed

    def at(self, flow_m3s: Floats) -> Carried:
        """Velocity and depth at one flow of each reach, and what would carry it where it cannot."""
        found = Carried(
            self.capacity_m3s,
            self.capacity_velocity_ms,
            *(np.full(self.count, np.nan) for _ in range(6)),
        )
        found.spare_share[:] = 1 - flow_m3s / self.capacity_m3s
        self._at_pipes(flow_m3s[self.pipes], found)
        self._at_ditches(flow_m3s[self.ditches], found)
        return found

    def _at_pipes(self, flow: Floats, found: Carried) -> None:
        capacity = self.capacity_m3s[self.pipes]
        free = (flow > 0) & (flow <= capacity)
        where = self.pipes[free]
        depth_ratio = pipes.depth_ratios_for_flow(flow[free] / capacity[free])
        found.depth_m[where] = depth_ratio * self.diameter[free]
        found.velocity_ms[where] = (
            self.capacity_velocity_ms[where] * pipes.part_full_ratios(depth_ratio)[2]
        )
        small = flow > capacity
        found.least_bore_m[self.pipes[small]] = pipes.diameters_for_flow(
            flow[small], self.pipe_slope[small], self.roughness[small]
        )

    def _at_ditches(self, flow: Floats, found: Carried) -> None:
        runs = (flow > 0) & (flow < ditches.MOST_FLOW_M3S)
        bed, side, slope, n = (
            values[runs] for values in (self.bed, self.side, self.ditch_slope, self.n)
        )
        where = self.ditches[runs]
        depth = ditches.normal_depths(flow[runs], bed, side, slope, n)
        found.depth_m[where] = depth
        found.velocity_ms[where] = ditches.channel_flows(bed, side, depth, slope, n)[0]
        found.froude[where] = ditches.froude_numbers(found.velocity_ms[where], depth, bed, side)
        small = self.ditches[flow > self.capacity_m3s[self.ditches]]
        found.needed_depth_m[small] = found.depth_m[small]
