"""Rules of tidy drain laying, named where they are broken: cover, velocity, steps, crossings.

None of the limits is a law; each says where its usual figure comes from, and a club sets its own.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from shapely import LineString
from shapely.geometry.base import BaseGeometry

from worksprog.calc.ditches import DitchSection
from worksprog.calc.network.given import Point, Reach
from worksprog.calc.network.result import NetworkCheck, ReachCheck
from worksprog.calc.network.water_line import LevelsAt
from worksprog.calc.pipes import WALL_SHARE, PipeSection
from worksprog.calc.roots import Floats
from worksprog.calc.working import Step, Working

Rule = Literal[
    "cover", "velocity", "narrows", "step_up", "drop", "crossing", "service", "unknown", "shallow"
]
COMMON = "common practice, no source"
EVERY_M = 2.0
SAME_BORE = 0.05
BANK_M = 1.0
LEAST_BANK_SHARE = 0.5  # of a ditch's depth, below which its banks are named as too low


@dataclass(frozen=True)
class TidyLimits:
    """What the rules hold the network to.

    path_cover_m      ground to the outside crown, under a path or buggy route: 0.9 m is the usual
                      figure for flexible pipes under light traffic (UK building guidance, from
                      memory)
    fairway_cover_m   under fairway, tee or green: 0.6 m, as in fields and gardens (the same, from
                      memory); it lets hollow tines and mowers pass (common practice, no source)
    open_cover_m      anywhere else (common practice, no source)
    cover_free_m      beside an outfall, a headwall or an open ditch no cover is asked for
    velocity_ms       full bore: 0.7 m/s once a day keeps a drain below 300 mm clean (BS EN
                      16933-2, second-hand)
    drop_m            a pipe arriving higher than this above the one that takes its water wants a
                      drop pipe or backdrop (common practice, no source)
    step_slack_m      an invert this little below the bed it gives into is taken as meeting it
    crossing_m        between the outsides of two drains that cross (common practice, no source)
    service_m         between a drain and a buried service (common practice, no source; the
                      service's owner may ask for more)
    """

    path_cover_m: float = 0.9
    fairway_cover_m: float = 0.6
    open_cover_m: float = 0.45
    cover_free_m: float = 5.0
    velocity_ms: float = 0.7
    drop_m: float = 0.6
    step_slack_m: float = 0.02
    crossing_m: float = 0.15
    service_m: float = 0.3

    def __post_init__(self) -> None:
        for name, value in vars(self).items():
            if not 0 <= value <= 10:
                raise ValueError(f"{name}: {value:g} is not between 0 and 10.")


@dataclass(frozen=True)
class Surface:
    """Ground that asks for cover: ``kind`` "path" or "fairway" (tees and greens are as fairway)."""

    name: str
    kind: Literal["path", "fairway"]
    area: BaseGeometry


@dataclass(frozen=True)
class Buried:
    """A buried service. Depth is to its top; with neither level nor depth its place is unknown."""

    key: str
    name: str
    line: BaseGeometry
    depth_m: float | None = None
    centre_level_m: float | None = None
    outside_m: float = 0.0


@dataclass(frozen=True)
class Broken:
    """A rule that is broken, where, and how it was found. ``reach_keys`` names the drain first."""

    rule: Rule
    words: str
    reach_keys: tuple[str, ...]
    place: Point
    chainage_m: float
    working: Working
    service_key: str = ""


USUAL = TidyLimits()


def check_tidy(
    check: NetworkCheck,
    surfaces: Sequence[Surface] = (),
    buried: Sequence[Buried] = (),
    limits: TidyLimits = USUAL,
    *,
    ground_at: LevelsAt | None = None,
) -> tuple[Broken, ...]:
    """Every rule that the network breaks. Cost grows as n log n with drains and surfaces.

    ground_at  ground levels at arrays of x and y; without it cover cannot be told, nor the level of
               a service of which only the depth is known
    """
    lines = {key: shapely.linestrings(reach.line) for key, reach in check.given.items()}
    found = [*_velocity(check, limits), *_steps(check, limits)]
    if ground_at is not None:
        found += _cover(check, lines, surfaces, limits, ground_at)
        found += _shallow(check, lines, ground_at)
    found += _crossings(check, lines, limits)
    found += _services(check, lines, buried, limits, ground_at)
    return tuple(found)


def outside_m(section: PipeSection) -> float:
    return section.diameter_m * (1 + 2 * WALL_SHARE)


def _bed_at(found: ReachCheck, share: float) -> float | None:
    """Invert or bed at a share of the length from the upper end."""
    up, down = found.upstream_level_m, found.downstream_level_m
    return None if up is None or down is None else up + share * (down - up)


def _middle(reach: Reach) -> Point:
    spot = shapely.line_interpolate_point(shapely.linestrings(reach.line), 0.5, normalized=True)
    return (spot.x, spot.y)


# ---- velocity and steps --------------------------------------------------------------------------


def _velocity(check: NetworkCheck, limits: TidyLimits) -> Iterator[Broken]:
    for found in check.reaches:
        full = found.capacity_velocity_ms
        if found.kind != "pipe" or full is None or full >= limits.velocity_ms:
            continue
        given = check.given[found.key]
        yield Broken(
            "velocity",
            f"{found.name} runs at {full:.2f} m/s when full; below {limits.velocity_ms:g} m/s "
            "it does not keep itself clean.",
            (found.key,),
            _middle(given),
            found.length_m / 2,
            Working(
                "Self-cleansing",
                (
                    Step("V", "velocity, running full", full, "m/s", source="its own working"),
                    Step(
                        "", "kept at the least", limits.velocity_ms, "m/s",
                        source="0.7 m/s once a day, BS EN 16933-2 (second-hand); the club's own "
                        "where changed",
                    ),
                ),
            ),
        )  # fmt: skip


def _steps(check: NetworkCheck, limits: TidyLimits) -> Iterator[Broken]:
    for found in check.reaches:
        above = check.given[found.key]
        for key in found.below:
            below, other = check.given[key], check.reach(key)
            yield from _narrows(found, above, other, below)
            share = 0.0
            if found.enters_at_m is not None and other.length_m:
                share = min(found.enters_at_m / other.length_m, 1.0)
            bed, arrives = _bed_at(other, share), found.downstream_level_m
            if bed is None or arrives is None:
                continue
            over = arrives - bed
            steps = (
                Step("a", f"{found.name} arrives at", f"{arrives:.3f}", "m"),
                Step("b", f"bed of {other.name} there", f"{bed:.3f}", "m"),
                Step("h", "step", f"{over:.3f}", "m", formula="h = a − b"),
            )
            if over < -limits.step_slack_m:
                yield Broken(
                    "step_up",
                    f"{found.name} ends {-over:.2f} m below the bed of {other.name}: the inverts "
                    "do not meet, and water stands in it.",
                    (found.key, key), above.line[-1], found.length_m, Working("Step up", steps),
                )  # fmt: skip
            elif over > limits.drop_m and below.kind == "pipe":
                yield Broken(
                    "drop",
                    f"{found.name} arrives {over:.2f} m above the bed of {other.name}: over "
                    f"{limits.drop_m:g} m a drop pipe or backdrop takes the water down.",
                    (found.key, key), above.line[-1], found.length_m,
                    Working(
                        "Drop",
                        (*steps, Step("", "without one at most", limits.drop_m, "m", source=COMMON)),
                    ),
                )  # fmt: skip


def _narrows(found: ReachCheck, above: Reach, other: ReachCheck, below: Reach) -> Iterator[Broken]:
    one, two = above.section, below.section
    if not isinstance(one, PipeSection) or not isinstance(two, PipeSection):
        return
    if two.diameter_m >= one.diameter_m * (1 - SAME_BORE):
        return
    yield Broken(
        "narrows",
        f"The bore steps down from {one.diameter_m * 1000:.0f} mm ({found.name}) to "
        f"{two.diameter_m * 1000:.0f} mm ({other.name}), going downstream.",
        (found.key, other.key),
        above.line[-1],
        found.length_m,
        Working(
            "Step down in size",
            (
                Step("D", f"bore of {found.name}", one.diameter_m * 1000, "mm"),
                Step("D", f"bore of {other.name}, below", two.diameter_m * 1000, "mm"),
            ),
            ("Within 5 % of each other is one size from two makers.",),
        ),
    )


# ---- cover ---------------------------------------------------------------------------------------


def _cover(
    check: NetworkCheck,
    lines: Mapping[str, LineString],
    surfaces: Sequence[Surface],
    limits: TidyLimits,
    ground_at: LevelsAt,
) -> Iterator[Broken]:
    pipes = [
        one
        for one in check.reaches
        if isinstance(check.given[one.key].section, PipeSection)
        and one.upstream_level_m is not None
        and one.downstream_level_m is not None
    ]
    if not pipes:
        return
    owner, chainage, crown = _points_along(check, pipes)
    spots = shapely.line_interpolate_point(
        np.array([lines[one.key] for one in pipes], dtype=object)[owner], chainage
    )
    at = shapely.get_coordinates(spots)
    ground = np.asarray(ground_at(at[:, 0], at[:, 1]), dtype=np.float64)
    cover = ground - crown
    kept = np.isfinite(cover) & _under_cover(check, pipes, owner, chainage, limits)
    asked = np.full(len(cover), limits.open_cover_m)
    under = np.full(len(cover), -1)
    if surfaces:
        tree = shapely.STRtree([surface.area for surface in surfaces])
        point, which = tree.query(spots, predicate="intersects")
        wants = np.array(
            [
                limits.path_cover_m if surface.kind == "path" else limits.fairway_cover_m
                for surface in surfaces
            ]
        )[which]
        for index in np.argsort(wants, kind="stable").tolist():
            asked[point[index]], under[point[index]] = wants[index], which[index]
    bad = kept & (cover < asked - 1e-6)
    groups: dict[tuple[int, int], list[int]] = defaultdict(list)
    for index in np.flatnonzero(bad).tolist():
        groups[int(owner[index]), int(under[index])].append(index)
    for (number, surface_at), where in groups.items():
        worst = min(where, key=lambda index: float(cover[index]))
        surface = surfaces[surface_at] if surface_at >= 0 else None
        yield _little_cover(
            check.given[pipes[number].key], surface, where, worst, chainage, ground, crown, asked, at
        )  # fmt: skip


def _shallow(
    check: NetworkCheck, lines: Mapping[str, LineString], ground_at: LevelsAt
) -> Iterator[Broken]:
    """Ditches whose bed, even between its ends, comes out of the ground or near it.

    A ditch is drawn with one even fall; where the ground dips between, its banks are lower than
    its section says, or there are none. The lower of the two banks counts, read a metre outside
    the section: along a ditch that stands the ground model may hold the ditch itself.
    """
    for found in check.reaches:
        given = check.given[found.key]
        up, down = found.upstream_level_m, found.downstream_level_m
        if not isinstance(given.section, DitchSection) or up is None or down is None:
            continue
        far = np.linspace(0.0, 1.0, max(3, int(found.length_m / EVERY_M) + 2))
        spots = shapely.line_interpolate_point(lines[found.key], far, normalized=True)
        at = shapely.get_coordinates(spots)
        ground = _lower_bank(at, given.section.top_width_m / 2 + BANK_M, ground_at)
        depth = ground - (up + (down - up) * far)
        depth[~np.isfinite(depth)] = np.inf
        least = given.section.depth_m * LEAST_BANK_SHARE
        where = np.flatnonzero(depth < least)
        if not where.size:
            continue
        worst = int(depth.argmin())
        begins, ends = (float(far[index]) * found.length_m for index in (where[0], where[-1]))
        lies = (
            f"its bed lies {-depth[worst]:.2f} m above the ground beside it"
            if depth[worst] < 0
            else f"its lower bank stands only {depth[worst]:.2f} m above its bed"
        )
        yield Broken(
            "shallow",
            f"{found.name}: {lies} at {far[worst] * found.length_m:.0f} m along (too shallow from "
            f"{begins:.0f} to {ends:.0f} m), where its section is {given.section.depth_m:g} m deep. "
            "Give it a level there: split the ditch and enter it.",
            (found.key,),
            (float(at[worst, 0]), float(at[worst, 1])),
            float(far[worst]) * found.length_m,
            Working(
                "Depth of the ditch",
                (
                    Step("g", "lower bank there", f"{ground[worst]:.2f}", "m", source="ground"),
                    Step(
                        "b",
                        "bed there",
                        f"{ground[worst] - depth[worst]:.2f}",
                        "m",
                        formula="even fall between its ends",
                    ),
                    Step("d", "depth", f"{depth[worst]:.2f}", "m", formula="d = g − b"),
                    Step(
                        "",
                        "named below half of its section's depth",
                        least,
                        "m",
                        source=COMMON,
                    ),
                ),
            ),
        )


def _lower_bank(at: Floats, aside_m: float, ground_at: LevelsAt) -> Floats:
    """The lower ground of both sides of a line's points; of one where the other is not known."""
    along = np.gradient(at, axis=0)
    length = np.hypot(along[:, 0], along[:, 1])
    across = (
        np.column_stack([-along[:, 1], along[:, 0]]) / np.where(length > 0, length, 1.0)[:, None]
    )
    sides = [
        np.asarray(ground_at(side[:, 0], side[:, 1]), dtype=np.float64)
        for side in (at + aside_m * across, at - aside_m * across)
    ]
    return np.asarray(np.fmin(*sides))


def _points_along(
    check: NetworkCheck, pipes: Sequence[ReachCheck]
) -> tuple[np.ndarray, Floats, Floats]:
    """Points every two metres: whose they are, how far along, and the level of the crown there."""
    owner, chainage, crown = [], [], []
    for number, one in enumerate(pipes):
        section = check.given[one.key].section
        assert isinstance(section, PipeSection)
        up, down = one.upstream_level_m or 0.0, one.downstream_level_m or 0.0
        far = np.linspace(0.0, one.length_m, max(2, int(one.length_m / EVERY_M) + 2))
        owner.append(np.full(len(far), number))
        chainage.append(far)
        top = section.diameter_m * (1 + WALL_SHARE)
        crown.append(up + (down - up) * far / one.length_m + top)
    return np.concatenate(owner), np.concatenate(chainage), np.concatenate(crown)


def open_ends(check: NetworkCheck, one: ReachCheck) -> tuple[bool, bool]:
    """Whether a pipe comes to the day at its upper and at its lower end."""
    upper, lower = (
        any(check.nodes[key].kind in ("outfall", "headwall", "pond") for key in keys)
        or any(check.given[key].kind == "ditch" for key in joined)
        for keys, joined in (
            (one.upstream_node_keys, one.above),
            (one.downstream_node_keys, one.below),
        )
    )
    return upper, lower


def _under_cover(
    check: NetworkCheck,
    pipes: Sequence[ReachCheck],
    owner: np.ndarray,
    chainage: Floats,
    limits: TidyLimits,
) -> np.ndarray:
    """False beside an open end, where a pipe comes to the day."""
    opens = np.array([open_ends(check, one) for one in pipes], dtype=bool)
    lengths = np.array([one.length_m for one in pipes])[owner]
    near_up = opens[owner, 0] & (chainage < limits.cover_free_m)
    near_down = opens[owner, 1] & (lengths - chainage < limits.cover_free_m)
    kept: np.ndarray = np.logical_not(near_up | near_down)
    return kept


def _little_cover(
    given: Reach,
    surface: Surface | None,
    where: Sequence[int],
    worst: int,
    chainage: Floats,
    ground: Floats,
    crown: Floats,
    asked: Floats,
    at: Floats,
) -> Broken:
    cover = float(ground[worst] - crown[worst])
    place = f"under {surface.name}" if surface else "in open ground"
    has = f"{cover:.2f} m of cover" if cover >= 0 else f"its crown {-cover:.2f} m out of the ground"
    stretch = f"{chainage[where[0]]:.0f} to {chainage[where[-1]]:.0f} m along it"
    source = (
        COMMON if surface is None else "UK building guidance, from memory; the club's where changed"
    )
    return Broken(
        "cover",
        f"{given.name} has {has} {place} ({stretch}); {asked[worst]:g} m is kept.",
        (given.key,),
        (float(at[worst, 0]), float(at[worst, 1])),
        float(chainage[worst]),
        Working(
            "Cover",
            (
                Step("g", f"ground, {chainage[worst]:.0f} m along", f"{ground[worst]:.3f}", "m",
                     source="ground model"),
                Step("c", "outside crown there", f"{crown[worst]:.3f}", "m",
                     formula="invert + bore + wall", source=f"wall {WALL_SHARE:.1%} of the bore, "
                     "no source"),
                Step("", "cover", f"{cover:.3f}", "m", formula="g − c"),
                Step("", f"kept {place}", float(asked[worst]), "m", source=source),
            ),
        ),
    )  # fmt: skip


# ---- crossings -----------------------------------------------------------------------------------


def _spots(shape: BaseGeometry) -> Iterator[Point]:
    """Where two lines cross: points, or the middle of what they share."""
    for part in shapely.get_parts(shape):
        spot = part if part.geom_type == "Point" else part.interpolate(0.5, normalized=True)
        yield (spot.x, spot.y)


def _band(check: NetworkCheck, key: str, share: float) -> tuple[float, float] | None:
    """Lowest and highest level that a drain takes up at a share of its length."""
    section, bed = check.given[key].section, _bed_at(check.reach(key), share)
    if bed is None:
        return None
    if isinstance(section, PipeSection):
        wall = section.diameter_m * WALL_SHARE
        return bed - wall, bed + section.diameter_m + wall
    if isinstance(section, DitchSection):
        return bed, bed + section.depth_m
    return None


def _gap(one: tuple[float, float], two: tuple[float, float]) -> float:
    """Clear height between two bands of level; 0 where they overlap."""
    return max(one[0] - two[1], two[0] - one[1], 0.0)


def _crossings(
    check: NetworkCheck, lines: Mapping[str, LineString], limits: TidyLimits
) -> Iterator[Broken]:
    keys = list(lines)
    shapes = [lines[key] for key in keys]
    if len(keys) < 2:
        return
    ones, twos = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    for one, two in zip(ones.tolist(), twos.tolist(), strict=True):
        if one >= two:
            continue
        a, b = check.reach(keys[one]), check.reach(keys[two])
        if a.kind == b.kind == "ditch":
            continue
        for spot in _spots(shapely.intersection(shapes[one], shapes[two])):
            if _is_end(spot, shapes[one], check) or _is_end(spot, shapes[two], check):
                continue
            yield from _crossing(check, a, b, spot, (shapes[one], shapes[two]), limits)


def _is_end(spot: Point, line: BaseGeometry, check: NetworkCheck) -> bool:
    ends = shapely.get_coordinates(line)[[0, -1]]
    return bool((np.hypot(*(ends - spot).T) <= check.limits.tolerance_m).any())


def _crossing(
    check: NetworkCheck,
    a: ReachCheck,
    b: ReachCheck,
    spot: Point,
    shapes: tuple[LineString, LineString],
    limits: TidyLimits,
) -> Iterator[Broken]:
    far = [shape.project(shapely.Point(spot)) for shape in shapes]
    bands = [
        _band(check, one.key, along / one.length_m) for one, along in zip((a, b), far, strict=True)
    ]
    if bands[0] is None or bands[1] is None:
        return
    gap = _gap(bands[0], bands[1])
    if gap >= limits.crossing_m:
        return
    says = f"{gap:.2f} m clear of it" if gap > 0 else "at the same level"
    yield Broken(
        "crossing",
        f"{a.name} crosses {b.name} {says}, {far[0]:.0f} m along {a.name}; "
        f"{limits.crossing_m:g} m is kept between them.",
        (a.key, b.key),
        spot,
        far[0],
        _clearance((a.name, bands[0]), (b.name, bands[1]), gap, limits.crossing_m),
    )


def _clearance(
    one: tuple[str, tuple[float, float]],
    two: tuple[str, tuple[float, float]],
    gap: float,
    limit: float,
) -> Working:
    return Working(
        "Clearance where they cross",
        (
            *(
                Step("", f"{name}, outside from and to", f"{low:.3f} to {high:.3f}", "m")
                for name, (low, high) in (one, two)
            ),
            Step("", "clear between them", f"{gap:.3f}", "m"),
            Step("", "kept", limit, "m", source=f"{COMMON}; the club's own where changed"),
        ),
    )


def _services(
    check: NetworkCheck,
    lines: Mapping[str, LineString],
    buried: Sequence[Buried],
    limits: TidyLimits,
    ground_at: LevelsAt | None,
) -> Iterator[Broken]:
    keys = list(lines)
    if not keys or not buried:
        return
    shapes = [lines[key] for key in keys]
    ones, twos = shapely.STRtree(shapes).query([one.line for one in buried], predicate="intersects")
    for which, drain in zip(ones.tolist(), twos.tolist(), strict=True):
        service, found = buried[which], check.reach(keys[drain])
        for spot in _spots(shapely.intersection(shapes[drain], service.line)):
            far = float(shapes[drain].project(shapely.Point(spot)))
            band = _service_band(service, spot, ground_at)
            where = f"{far:.0f} m along it"
            if band is None:
                yield Broken(
                    "unknown",
                    f"{found.name} crosses {service.name}, {where}: its depth is not known. Find it "
                    "before digging.",
                    (found.key,), spot, far,
                    Working(
                        "Depth not known",
                        (Step("", service.name, "no depth or level entered"),),
                        ("Trace it and dig by hand until it is seen; its owner says how near a "
                         "machine may come.",),
                    ),
                    service.key,
                )  # fmt: skip
                continue
            own = _band(check, found.key, far / found.length_m)
            if own is None:
                continue
            gap = _gap(own, band)
            if gap >= limits.service_m:
                continue
            says = f"{gap:.2f} m clear of it" if gap > 0 else "at the same level"
            yield Broken(
                "service",
                f"{found.name} crosses {service.name} {says}, {where}; {limits.service_m:g} m is "
                "kept. Find it before digging: a level on paper is no proof.",
                (found.key,),
                spot,
                far,
                _clearance((found.name, own), (service.name, band), gap, limits.service_m),
                service.key,
            )


def _service_band(
    service: Buried, spot: Point, ground_at: LevelsAt | None
) -> tuple[float, float] | None:
    if service.centre_level_m is not None:
        half = service.outside_m / 2
        return service.centre_level_m - half, service.centre_level_m + half
    if service.depth_m is None or ground_at is None:
        return None
    ground = float(np.asarray(ground_at(np.array([spot[0]]), np.array([spot[1]])))[0])
    if not np.isfinite(ground):
        return None
    top = ground - service.depth_m
    return top - service.outside_m, top
