"""The check itself: join, follow, gather, carry, and say what came of it."""

from __future__ import annotations

import gc
import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

import numpy as np

from worksprog.calc import pipes
from worksprog.calc.ditches import DitchSection
from worksprog.calc.network.capacity import Carried, Carriers, Levels, find_levels
from worksprog.calc.network.feet import set_aside_feet
from worksprog.calc.network.findings import (
    find_advice,
    find_faults,
    find_high_water,
    node_lookup,
)
from worksprog.calc.network.flow import Way, find_way, gather, shares_of
from worksprog.calc.network.given import Limits, Node, Reach, Storm
from worksprog.calc.network.joining import Joined, join_ends
from worksprog.calc.network.result import Finding, NetworkCheck, ReachCheck, State
from worksprog.calc.network.timing import arrivals, entry_times, peak_flows
from worksprog.calc.network.water_line import NOTICED_M, LevelsAt, WaterAt, water_line
from worksprog.calc.pipes import PipeSection
from worksprog.calc.roots import Floats

LARGE = 2_000
NOTHING: Sequence[Finding] = ()
FAULTS = frozenset({"uphill", "flat", "feet"})
ROUNDS = 3  # of flow and velocity; the third changes flows by less than a hundredth
UNKNOWN_FROM = ("missing_level", "missing_section")
USUAL_LIMITS = Limits()
# What a verdict still proposes: beyond these the answer is another drain, not a larger one.
MOST_DEEPER_M = 3.0
LARGEST_BORE_MM = 2400


def check_drains(
    reaches: Sequence[Reach],
    nodes: Sequence[Node],
    storm: Storm,
    limits: Limits = USUAL_LIMITS,
    *,
    ground_at: LevelsAt | None = None,
) -> NetworkCheck:
    """Check a drain network for one storm.

    Flow by the rational method for the length of storm that loads each reach most, gathered
    downstream and shared by capacity where it divides; gradient from inverts; capacity by
    Colebrook–White (pipes) or Manning (ditches); water levels carried up from the outfalls.
    Velocities set the times of arrival and these the flows, so flow and time are worked out
    three times over, from full-bore velocities on.
    ground_at  ground levels at arrays of x and y, for where no cover is known
    Whatever is wrong with the network is named in its findings, not raised. Raises ValueError for
    keys that are used twice and for coordinates that are not numbers.
    """
    with _collector_paused(len(reaches)):
        return _check(reaches, nodes, storm, limits, ground_at)


@contextmanager
def _collector_paused(count: int) -> Iterator[None]:
    """A large check makes a hundred thousand objects that all live on: walking them again and again
    to find none to free takes a quarter of its time."""
    if count < LARGE or not gc.isenabled():
        yield
        return
    gc.disable()
    try:
        yield
    finally:
        gc.enable()


def _check(
    reaches: Sequence[Reach],
    nodes: Sequence[Node],
    storm: Storm,
    limits: Limits,
    ground_at: LevelsAt | None,
) -> NetworkCheck:
    given = {reach.key: reach for reach in reaches}
    if len(given) != len(reaches):
        raise ValueError("Two reaches have the same key.")
    by_node = node_lookup(nodes)
    reaches, nodes, feet = set_aside_feet(reaches, nodes, ground_at)
    joined = join_ends(reaches, nodes, tolerance_m=limits.tolerance_m)
    way = find_way(joined, len(reaches))
    levels = find_levels(reaches, joined)
    own = np.array(
        [(reach.catchment_ha, reach.catchment_ha * reach.runoff_coefficient) for reach in reaches],
        dtype=np.float64,
    ).reshape(-1, 2)
    entry = entry_times(reaches, storm, limits)
    lengths = np.array([reach.length_m for reach in reaches], dtype=np.float64)
    carriers = Carriers(reaches, levels.gradient, limits)
    shares = shares_of(way, carriers.capacity_m3s)
    area_ha, runoff_ha = gather(way, own, shares).T
    speed = carriers.capacity_velocity_ms
    rounds = ROUNDS if storm.rain is not None else 1
    for turn in range(rounds):
        arrival = arrivals(way, lengths, speed, entry)
        peak = peak_flows(way, runoff_ha, own[:, 1], arrival, storm, whole_only=turn < rounds - 1)
        carried = carriers.at(peak.flow_m3s)
        speed = np.where(
            np.isfinite(carried.velocity_ms), carried.velocity_ms, carried.capacity_velocity_ms
        )
    flow = peak.flow_m3s
    water = water_line(reaches, joined, way, levels, flow, carried, ground_at)
    in_feet = {key for finding in feet for key in finding.reach_keys}
    faults = [
        *feet,
        *(
            finding
            for finding in find_faults(reaches, joined, way, levels, limits, shares)
            if finding.kind != "missing_level" or not in_feet.intersection(finding.reach_keys)
        ),
    ]
    advice = [
        *find_advice(reaches, carried, area_ha, limits),
        *find_high_water(reaches, joined, water),
    ]
    words: dict[str, list[Finding]] = defaultdict(list)
    for finding in (one for one in faults if one.is_fault):
        for key in finding.reach_keys:
            words[key].append(finding)

    column = {
        "upstream_level_m": _known(levels.upstream_m),
        "downstream_level_m": _known(levels.downstream_m),
        "gradient": _known(levels.gradient),
        "area_above_ha": _known(area_ha),
        "runoff_area_ha": _known(runoff_ha),
        "flow_m3s": _known(flow),
        "capacity_m3s": _known(carried.capacity_m3s),
        "capacity_velocity_ms": _known(carried.capacity_velocity_ms),
        "velocity_ms": _known(carried.velocity_ms),
        "depth_m": _known(carried.depth_m),
        "spare_share": _known(carried.spare_share),
        "froude": _known(carried.froude),
        "gather_min": _known(arrival.gather_min),
        "storm_min": _known(peak.duration_min),
        "intensity_mm_h": _known(peak.intensity_mm_h),
        "contributing_ha": _known(peak.contributing_ha),
        "water_up_m": _known(water.up_m),
        "water_down_m": _known(water.down_m),
        "friction_gradient": _known(water.friction),
        "critical_m": _known(water.critical_m),
        "headwater_m": _known(water.headwater_m),
    }
    entered, travelled = arrival.entry_min.tolist(), arrival.travel_min.tolist()
    furthest, lost = arrival.furthest.tolist(), water.loss_k.tolist()
    outfalls = _outfalls(reaches, joined, way)
    steps = _build_steps(way)
    begins, ends = joined.upstream.tolist(), joined.downstream.tolist()
    names = [junction.name for junction in joined.junctions]
    node_keys = [tuple(node.key for node in junction.nodes) for junction in joined.junctions]
    keys = [reach.key for reach in reaches]
    checks = []
    for index, reach in enumerate(reaches):
        up, down = begins[index], ends[index]
        told = words.get(reach.key, NOTHING)
        state, verdict = _verdict(
            index, reach, told, levels, column["flow_m3s"][index], column["capacity_m3s"][index],
            carried,
        )  # fmt: skip
        drowned = state == "carries" and _comes_out(water.at[down])
        if drowned:
            verdict += f", but drowned from below: water comes out at {names[down]}"
        checks.append(
            ReachCheck(
                key=reach.key,
                name=reach.name,
                kind=reach.kind,
                standing=reach.standing,
                length_m=reach.length_m,
                upstream_level_m=column["upstream_level_m"][index],
                upstream_level_from=levels.upstream_from[index],
                downstream_level_m=column["downstream_level_m"][index],
                downstream_level_from=levels.downstream_from[index],
                gradient=column["gradient"][index],
                own_area_ha=reach.catchment_ha,
                area_above_ha=column["area_above_ha"][index],
                runoff_area_ha=column["runoff_area_ha"][index],
                flow_m3s=column["flow_m3s"][index],
                capacity_m3s=column["capacity_m3s"][index],
                capacity_velocity_ms=column["capacity_velocity_ms"][index],
                velocity_ms=column["velocity_ms"][index],
                depth_m=column["depth_m"][index],
                spare_share=column["spare_share"][index],
                froude=column["froude"][index],
                freeboard_left_m=_freeboard(reach, column["depth_m"][index]),
                entry_min=entered[index],
                travel_min=travelled[index],
                gather_min=column["gather_min"][index],
                furthest_key=keys[furthest[index]] if furthest[index] >= 0 else "",
                storm_min=column["storm_min"][index],
                intensity_mm_h=column["intensity_mm_h"][index],
                contributing_ha=column["contributing_ha"][index],
                water_up_m=column["water_up_m"][index],
                water_down_m=column["water_down_m"][index],
                runs_full=water.full[index],
                friction_gradient=column["friction_gradient"][index],
                loss_k=lost[index],
                critical_m=column["critical_m"][index],
                headwater_m=column["headwater_m"][index],
                state=state,
                verdict=verdict,
                drowned=drowned,
                faults=tuple([finding.words for finding in told]),
                above=tuple([keys[other] for other in way.above[index]]),
                below=tuple([keys[other] for other in way.below[index]]),
                enters_at_m=way.enters_at_m.get(index),
                upstream_name=names[up],
                downstream_name=names[down],
                upstream_node_keys=node_keys[up],
                downstream_node_keys=node_keys[down],
                outfall_name=outfalls[index],
                build_step=steps.get(index),
                waits_for=tuple(
                    [
                        keys[other]
                        for other in way.below[index]
                        if not reaches[other].standing and other != index
                    ]
                ),
            )
        )
    order = sorted(steps, key=lambda index: (steps[index], outfalls[index], reaches[index].name))
    return NetworkCheck(
        storm=storm,
        limits=limits,
        reaches=tuple(checks),
        findings=tuple(faults + advice),
        moved=joined.moved,
        junctions=joined.junctions,
        water=water.at,
        order=tuple(reaches[index].key for index in order),
        given=given,
        nodes=by_node,
    )


def _comes_out(at: WaterAt) -> bool:
    return at.above_m is not None and at.above_m > NOTICED_M


def _freeboard(reach: Reach, depth_m: float | None) -> float | None:
    """Bank above the water at the flow (m); below 0 it comes over."""
    if not isinstance(reach.section, DitchSection) or depth_m is None:
        return None
    return reach.section.depth_m - depth_m


def _known(values: Floats) -> list[float | None]:
    return [None if value != value else value for value in values.tolist()]


def _outfalls(reaches: Sequence[Reach], joined: Joined, way: Way) -> list[str]:
    """The outfall each reach's water comes to; where it divides, the first that is reached."""
    names = [""] * len(way.below)
    for index, reach in enumerate(reaches):
        end = joined.junctions[joined.downstream[index]]
        if end.takes_water_away and not way.below[index]:
            names[index] = next(node.name for node in end.nodes if node.kind in ("outfall", "pond"))
        elif reach.kind == "pipe" or index in way.enters_at_m:
            own = (node.name for node in end.nodes if node.kind == "outfall")
            names[index] = next(own, "")
    for index in way.building_order:
        if not names[index]:
            names[index] = next((names[other] for other in way.below[index] if names[other]), "")
    return names


def _build_steps(way: Way) -> dict[int, int]:
    steps: dict[int, int] = {}
    for index in way.building_order:
        steps[index] = 1 + max((steps[other] for other in way.below[index]), default=0)
    return steps


def _verdict(
    index: int,
    reach: Reach,
    faults: Sequence[Finding],
    levels: Levels,
    wanted: float | None,
    capacity: float | None,
    carried: Carried,
) -> tuple[State, str]:
    if any(finding.kind in FAULTS for finding in faults):
        return "fault", _fault(levels.upstream_m[index], levels.downstream_m[index], reach, faults)
    if any(finding.kind == "dead_end" for finding in faults):
        short = ""
        if wanted is not None and capacity is not None and wanted > capacity:
            short = f"; and too small by {_litres(wanted - capacity)} l/s"
        return "fault", f"leads nowhere: nothing takes the water at its end{short}"
    why = next((finding for finding in faults if finding.kind in UNKNOWN_FROM), None)
    if why is not None:
        return "unknown", {
            "missing_level": "cannot be told: a level is missing",
            "missing_section": "cannot be told: its section is not entered",
        }[why.kind]
    if capacity is None:
        return "unknown", "cannot be told: too flat and small to run turbulent"
    if wanted is None:
        return "unknown", (
            f"can carry {capacity * 1000:.0f} l/s; what comes to it cannot be told, for it is in "
            "or below a loop"
        )
    if wanted == 0:
        return "unknown", f"can carry {capacity * 1000:.0f} l/s; no catchment is entered above it"
    if wanted <= capacity:
        spare = math.floor(carried.spare_share[index] * 100)
        if spare == 0:
            return "carries", "carries it, with nothing to spare"
        return "carries", f"carries it, {spare} % to spare"
    short = f"too small by {_litres(wanted - capacity)} l/s"
    if isinstance(reach.section, DitchSection):
        deeper = carried.needed_depth_m[index] - reach.section.water_depth_m
        if not deeper <= MOST_DEEPER_M:
            return "too_small", f"{short}: beyond any ditch"
        return "too_small", f"{short}: {max(deeper, 0.01):.2f} m deeper would carry it"
    bore = math.ceil(carried.least_bore_m[index] * 1000)
    if bore > LARGEST_BORE_MM:
        return "too_small", f"{short}: beyond any one pipe"
    does = f"{short}: {bore} mm would do it at this gradient"
    usual = next((size for size in pipes.USUAL_BORES_MM if size >= bore), None)
    if usual is None or not isinstance(reach.section, PipeSection):
        return "too_small", f"{does}; the usual sizes end at {pipes.USUAL_BORES_MM[-1]} mm"
    carries = pipes.full_bore_flow_m3s(
        diameter_m=usual / 1000,
        gradient=float(levels.gradient[index]),
        roughness_m=reach.section.roughness_m,
    )
    return (
        "too_small",
        f"{does}; the next usual size, {usual} mm, carries {_litres(carries)} l/s",
    )


def _fault(up_m: float, down_m: float, reach: Reach, faults: Sequence[Finding]) -> str:
    if any(finding.kind == "feet" for finding in faults):
        return "its levels look like feet: enter them in metres"
    if any(finding.kind == "flat" for finding in faults):
        return "is level: water will stand in it"
    if down_m > up_m:
        return f"runs uphill: {down_m - up_m:.2f} m higher at its lower end"
    return f"falls too steeply: {up_m - down_m:.2f} m over {reach.length_m:.1f} m"


def _litres(flow_m3s: float) -> str:
    litres = flow_m3s * 1000
    return f"{litres:.0f}" if litres >= 9.5 else f"{litres:.1f}"
