"""What is wrong with a network, or worth a look, said in plain words."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from worksprog.calc.ditches import LININGS, DitchSection
from worksprog.calc.network.capacity import Carried, Levels
from worksprog.calc.network.flow import Way
from worksprog.calc.network.given import Limits, Node, Reach
from worksprog.calc.network.joining import Joined, Junction
from worksprog.calc.network.result import Finding
from worksprog.calc.network.water_line import NOTICED_M, WaterLine
from worksprog.calc.pipes import PipeSection
from worksprog.calc.rainfall import MOST_CATCHMENT_HA
from worksprog.calc.roots import Floats

LISTED = 6  # names in one sentence before "and n more"


def _listed(names: Sequence[str]) -> str:
    if len(names) <= LISTED:
        return ", ".join(names)
    return f"{', '.join(names[:LISTED])} and {len(names) - LISTED} more"


def find_faults(
    reaches: Sequence[Reach],
    joined: Joined,
    way: Way,
    levels: Levels,
    limits: Limits,
    shares: Sequence[Sequence[float]],
) -> Iterator[Finding]:
    """Loops, dead ends, splits, and levels that are missing or cannot be right."""
    yield from _loops(reaches, way, limits)
    yield from _ends(reaches, joined)
    yield from _splits(reaches, joined, way, shares)
    yield from _ponds(reaches, joined, way)
    yield from _two_outfalls(reaches, joined, way)
    for index, reach in enumerate(reaches):
        yield from _reach_faults(index, reach, levels, limits)
    yield from _steps(reaches, way, levels, limits)


def _loops(reaches: Sequence[Reach], way: Way, limits: Limits) -> Iterator[Finding]:
    for loop in way.loops:
        keys = tuple(reaches[index].key for index in loop)
        place = reaches[loop[0]].line[0]
        if len(loop) == 1:
            yield Finding(
                "loop",
                f"{reaches[loop[0]].name} ends where it starts: both ends lie within the joining "
                f"tolerance of {limits.tolerance_m:g} m. Draw it longer, or remove it.",
                keys,
                place,
            )
            continue
        names = [reaches[index].name for index in loop]
        yield Finding(
            "loop",
            f"Water would run in a ring: {' → '.join([*names, names[0]])}. At least one of them is "
            "drawn the wrong way: turn it round.",
            keys,
            place,
        )


def _ends(reaches: Sequence[Reach], joined: Joined) -> Iterator[Finding]:
    entering = {along.reach for along in joined.enters}
    for number, junction in enumerate(joined.junctions):
        into = tuple(index for index in junction.into if index not in entering)
        if into and not junction.out_of and not junction.takes_water_away:
            yield _dead_end(reaches, junction, into)
        if number in joined.strung_out:
            yield Finding(
                "strung_out",
                f"The ends joined at {junction.name} lie in a string, further apart than the "
                "joining tolerance. Draw them to one point.",
                tuple(reaches[index].key for index in junction.into + junction.out_of),
                junction.place,
                is_fault=False,
            )
        if junction.nodes and not junction.into and not junction.out_of:
            node = junction.nodes[0]
            if node.kind != "pond":
                yield Finding(
                    "stray_node",
                    f"{node.kind.capitalize()} {node.name} has no pipe or ditch to or from it.",
                    (),
                    junction.place,
                    is_fault=False,
                )


def _splits(
    reaches: Sequence[Reach], joined: Joined, way: Way, shares: Sequence[Sequence[float]]
) -> Iterator[Finding]:
    """Where the flow divides, and how it is taken to."""
    for junction in joined.junctions:
        if junction.into and len(junction.out_of) > 1:
            first = junction.into[0]
            share = dict(zip(way.below[first], shares[first], strict=True))
            told = [
                f"{reaches[index].name} ({share.get(index, 0.0):.0%})" for index in junction.out_of
            ]
            yield Finding(
                "split",
                f"The flow divides at {junction.name}, into {_listed(told)}: shared here by what "
                "each can carry. Measure on site how it really divides.",
                tuple(reaches[index].key for index in junction.out_of),
                junction.place,
            )
    for along in joined.leaves:
        reach, other = reaches[along.reach], reaches[along.other]
        share = dict(zip(way.below[along.other], shares[along.other], strict=True))
        yield Finding(
            "split",
            f"{reach.name} starts part way along {other.name}, {along.chainage_m:.0f} m down it: "
            f"either the flow divides there ({share.get(along.reach, 1.0):.0%} is taken to go this "
            f"way, by what each can carry) or {reach.name} is drawn the wrong way.",
            (reach.key, other.key),
            reach.line[0],
        )


def _ponds(reaches: Sequence[Reach], joined: Joined, way: Way) -> Iterator[Finding]:
    for junction in joined.junctions:
        pond = next((node for node in junction.nodes if node.kind == "pond"), None)
        if pond is None or not junction.out_of:
            continue
        names = _listed([reaches[index].name for index in junction.out_of])
        fed = any(way.above[index] for index in junction.out_of)
        yield Finding(
            "from_pond",
            f"{names} starts in {pond.name}. "
            + (
                "All that comes into the pond is taken to leave it at once; through a storm the "
                "pond holds some of it back, which is worked out through time."
                if fed
                else "Nothing is drawn that brings water into the pond."
            ),
            tuple(reaches[index].key for index in junction.out_of),
            junction.place,
            is_fault=False,
        )


def _two_outfalls(reaches: Sequence[Reach], joined: Joined, way: Way) -> Iterator[Finding]:
    """A drain whose water comes out at more than one outfall."""
    ends: list[frozenset[str]] = [frozenset()] * len(reaches)
    for index in way.building_order:
        here = joined.junctions[joined.downstream[index]]
        if way.below[index]:
            ends[index] = frozenset().union(*(ends[other] for other in way.below[index]))
        else:
            ends[index] = frozenset(
                node.name for node in here.nodes if node.kind in ("outfall", "pond")
            )
    for index, names in enumerate(ends):
        if len(names) > 1 and len(way.below[index]) > 1:
            yield Finding(
                "two_outfalls",
                f"The water of {reaches[index].name} comes out at {len(names)} places: "
                f"{_listed(sorted(names))}. Check that this is meant.",
                (reaches[index].key,),
                reaches[index].line[-1],
                is_fault=False,
            )


def find_high_water(
    reaches: Sequence[Reach], joined: Joined, water: WaterLine
) -> Iterator[Finding]:
    """Where the line of water reaches the surface, and outfalls that are drowned."""
    for junction, at in zip(joined.junctions, water.at, strict=True):
        keys = tuple(reaches[index].key for index in (*junction.into, *junction.out_of))
        if at.above_m is not None and at.above_m > NOTICED_M:
            yield Finding(
                "surfaces",
                f"Water would come out at {junction.name}: its line stands {at.above_m:.2f} m above "
                f"the {at.surface_from} ({at.level_m:.2f} against {at.surface_m:.2f} m).",
                keys,
                junction.place,
                is_fault=False,
            )
        for node in junction.nodes:
            if node.kind == "outfall" and node.water_m is not None:
                for index in junction.into:
                    yield from _drowned(reaches[index], node, water, index)


def _drowned(reach: Reach, node: Node, water: WaterLine, index: int) -> Iterator[Finding]:
    bed = reach.downstream_invert_m if reach.downstream_invert_m is not None else node.invert_m
    if bed is None or node.water_m is None or node.water_m <= bed + NOTICED_M:
        return
    full = ", and the pipe is under pressure" if water.full[index] else ""
    yield Finding(
        "drowned",
        f"In flood the water outside {node.name} stands {node.water_m - bed:.2f} m above the "
        f"invert of {reach.name}{full}.",
        (reach.key,),
        (node.x_m, node.y_m),
        is_fault=False,
    )


def _dead_end(reaches: Sequence[Reach], junction: Junction, into: tuple[int, ...]) -> Finding:
    names = _listed([reaches[index].name for index in into])
    verb = "ends" if len(into) == 1 else "end"
    if junction.nodes:
        node = junction.nodes[0]
        where = f"at {node.kind} {node.name}, which is no outfall"
    else:
        where = "in the open: no outfall, ditch, pipe or pond is there to take the water"
    return Finding(
        "dead_end",
        f"{names} {verb} {where}.",
        tuple(reaches[index].key for index in into),
        junction.place,
    )


def _reach_faults(index: int, reach: Reach, levels: Levels, limits: Limits) -> Iterator[Finding]:
    up, down = levels.upstream_m[index], levels.downstream_m[index]
    missing = [end for end, level in (("upstream", up), ("downstream", down)) if math.isnan(level)]
    place = reach.line[len(reach.line) // 2]
    if missing:
        verb = "level is" if len(missing) == 1 else "levels are"
        yield Finding(
            "missing_level",
            reach.level_fault
            or f"{reach.name}: the {' and '.join(missing)} {verb} missing, so its gradient and "
            "capacity cannot be told.",
            (reach.key,),
            reach.line[0] if missing[0] == "upstream" else reach.line[-1],
        )
    elif levels.gradient[index] < -limits.flat_gradient:
        yield Finding(
            "uphill",
            f"{reach.name} runs uphill: {down - up:.2f} m higher at its lower end "
            f"({up:.2f} to {down:.2f} m). Turn it round or correct a level.",
            (reach.key,),
            place,
        )
    elif levels.gradient[index] < limits.flat_gradient:
        yield Finding(
            "flat",
            f"{reach.name} is flat: it {'falls' if up >= down else 'rises'} "
            f"{abs(up - down) * 1000:.0f} mm over "
            f"{reach.length_m:.0f} m. Water will stand in it.",
            (reach.key,),
            place,
        )
    elif levels.gradient[index] > 1:
        yield Finding(
            "uphill",
            f"{reach.name} falls {up - down:.2f} m over {reach.length_m:.1f} m, steeper than "
            "1 in 1. One of its levels is wrong.",
            (reach.key,),
            place,
        )
    if reach.section is None:
        wanted = "inside diameter" if reach.kind == "pipe" else "bed width, sides and depth"
        yield Finding(
            "missing_section",
            f"{reach.name}: {reach.section_fault}"
            if reach.section_fault
            else f"{reach.name} has no {wanted} entered, so its capacity cannot be told.",
            (reach.key,),
            place,
        )


def _steps(reaches: Sequence[Reach], way: Way, levels: Levels, limits: Limits) -> Iterator[Finding]:
    for index, others in enumerate(way.below):
        leaves_at = levels.downstream_m[index]
        for other in others:
            if (index, other) in way.ponded:
                continue
            bed = levels.upstream_m[other]
            if index in way.enters_at_m:
                share = way.enters_at_m[index] / reaches[other].length_m
                bed = bed + share * (levels.downstream_m[other] - bed)
            if math.isnan(leaves_at) or math.isnan(bed):
                continue
            if leaves_at < bed - limits.level_slack_m:
                yield Finding(
                    "step_up",
                    f"{reaches[index].name} ends {bed - leaves_at:.2f} m below the bed of "
                    f"{reaches[other].name}, which takes its water ({leaves_at:.2f} against "
                    f"{bed:.2f} m). Water will stand in it.",
                    (reaches[index].key, reaches[other].key),
                    reaches[index].line[-1],
                )
            above, below = reaches[index].section, reaches[other].section
            if (
                isinstance(above, PipeSection)
                and isinstance(below, PipeSection)
                and below.diameter_m < above.diameter_m - 0.005
            ):
                yield Finding(
                    "narrows",
                    f"The bore narrows from {above.diameter_m * 1000:.0f} mm "
                    f"({reaches[index].name}) to {below.diameter_m * 1000:.0f} mm "
                    f"({reaches[other].name}): what passes one may block the other.",
                    (reaches[index].key, reaches[other].key),
                    reaches[index].line[-1],
                    is_fault=False,
                )


def find_advice(
    reaches: Sequence[Reach], carried: Carried, area_ha: Floats, limits: Limits
) -> Iterator[Finding]:
    """Velocities that silt or scour, and catchments too large for the method."""
    for index, reach in enumerate(reaches):
        full, at_flow = carried.capacity_velocity_ms[index], carried.velocity_ms[index]
        place = reach.line[len(reach.line) // 2]
        if isinstance(reach.section, PipeSection) and full < limits.least_pipe_velocity_ms:
            yield Finding(
                "silting",
                f"{reach.name} runs at {full:.2f} m/s even when full: below "
                f"{limits.least_pipe_velocity_ms:g} m/s fine sand and silt settle.",
                (reach.key,),
                place,
                is_fault=False,
            )
        lining = LININGS.get(reach.lining)
        stands = lining.velocity_ms if lining else limits.most_ditch_velocity_ms
        if isinstance(reach.section, DitchSection) and at_flow > stands:
            what = lining.words if lining else "an earth bed"
            yield Finding(
                "scour",
                f"{reach.name} runs at {at_flow:.2f} m/s in this storm: above {stands:g} m/s "
                f"{what} is cut.",
                (reach.key,),
                place,
                is_fault=False,
            )
    large = np.flatnonzero(area_ha > MOST_CATCHMENT_HA).tolist()
    if large:
        names = _listed([reaches[index].name for index in large])
        yield Finding(
            "large_catchment",
            f"More than {MOST_CATCHMENT_HA:g} ha drain to {names}: beyond what the rational "
            "method is meant for. Have the flow worked out from the stream's own records.",
            tuple(reaches[index].key for index in large),
            None,
            is_fault=False,
        )


def node_lookup(nodes: Sequence[Node]) -> dict[str, Node]:
    """Nodes by key; ValueError when two share one."""
    found = {node.key: node for node in nodes}
    if len(found) != len(nodes):
        raise ValueError("Two nodes have the same key.")
    return found
