"""Levels, gradients, capacities and velocities of all reaches at once."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from worksprog.calc import ditches, pipes
from worksprog.calc.ditches import DitchSection
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
    count = len(reaches)
    found = Carried(*(np.full(count, np.nan) for _ in range(8)))
    falls = gradient >= limits.flat_gradient
    falls &= gradient <= 1
    for kind, section_type, work in (
        ("pipe", PipeSection, _carry_pipes),
        ("ditch", DitchSection, _carry_ditches),
    ):
        chosen = np.array(
            [
                index
                for index, reach in enumerate(reaches)
                if reach.kind == kind and isinstance(reach.section, section_type) and falls[index]
            ],
            dtype=np.int64,
        )
        if chosen.size:
            work([reaches[index] for index in chosen], chosen, gradient, flow_m3s, found)
    found.spare_share[:] = 1 - flow_m3s / found.capacity_m3s
    return found


def _carry_pipes(
    reaches: list[Reach],
    chosen: NDArray[np.int64],
    gradient: Floats,
    flow_m3s: Floats,
    found: Carried,
) -> None:
    sections = [reach.section for reach in reaches if isinstance(reach.section, PipeSection)]
    diameter = np.array([section.diameter_m for section in sections])
    roughness = np.array([section.roughness_m for section in sections])
    slope, flow = gradient[chosen], flow_m3s[chosen]
    velocity = pipes.full_bore_velocities(diameter, slope, roughness)
    turbulent = velocity * diameter / pipes.VISCOSITY_15C_M2S >= pipes.TURBULENT_REYNOLDS
    velocity = np.where(turbulent, velocity, np.nan)
    area = math.pi * diameter**2 / 4
    capacity = velocity * area
    found.capacity_velocity_ms[chosen] = velocity
    found.capacity_m3s[chosen] = capacity

    free = (flow > 0) & (flow <= capacity)
    depth_ratio = pipes.depth_ratios_for_flow(flow[free] / capacity[free])
    found.depth_m[chosen[free]] = depth_ratio * diameter[free]
    found.velocity_ms[chosen[free]] = velocity[free] * pipes.part_full_ratios(depth_ratio)[2]
    small = flow > capacity
    found.least_bore_m[chosen[small]] = pipes.diameters_for_flow(
        flow[small], slope[small], roughness[small]
    )


def _carry_ditches(
    reaches: list[Reach],
    chosen: NDArray[np.int64],
    gradient: Floats,
    flow_m3s: Floats,
    found: Carried,
) -> None:
    sections = [reach.section for reach in reaches if isinstance(reach.section, DitchSection)]
    bed, side, depth, n = np.array(
        [
            (section.bed_width_m, section.side_slope, section.water_depth_m, section.manning_n)
            for section in sections
        ]
    ).T
    slope, flow = gradient[chosen], flow_m3s[chosen]
    velocity, capacity = ditches.channel_flows(bed, side, depth, slope, n)
    found.capacity_velocity_ms[chosen] = velocity
    found.capacity_m3s[chosen] = capacity
    runs = (flow > 0) & (flow < ditches.MOST_FLOW_M3S)
    at_flow = ditches.normal_depths(flow[runs], bed[runs], side[runs], slope[runs], n[runs])
    found.depth_m[chosen[runs]] = at_flow
    found.velocity_ms[chosen[runs]] = ditches.channel_flows(
        bed[runs], side[runs], at_flow, slope[runs], n[runs]
    )[0]
    found.froude[chosen[runs]] = ditches.froude_numbers(
        found.velocity_ms[chosen[runs]], at_flow, bed[runs], side[runs]
    )
    small = flow > capacity
    found.needed_depth_m[chosen[small]] = found.depth_m[chosen[small]]
