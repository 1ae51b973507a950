"""Laterals laid into an area: parallel or herringbone, at an angle to the fall, onto a carrier."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import split

Pattern = Literal["parallel", "herring"]
Point = tuple[float, float]

TOUCH_M = 0.01
MOST_LATERALS = 2_000


@dataclass(frozen=True)
class Wish:
    """How the laterals are to lie.

    fall_bearing_deg   the way the ground falls, clockwise from grid north
    angle_to_fall_deg  0 straight down the fall, 90 along the contour
    edge_m             kept clear inside the edge of the area
    least_m            pieces shorter than this are left out
    carry_on_m         how far a lateral may run on beyond the area to meet its carrier
    """

    pattern: Pattern
    spacing_m: float
    angle_to_fall_deg: float
    fall_bearing_deg: float
    edge_m: float = 0.0
    least_m: float = 3.0
    carry_on_m: float = 20.0

    def __post_init__(self) -> None:
        if not 0.5 <= self.spacing_m <= 200:
            raise ValueError(f"A spacing lies from 0.5 to 200 m; {self.spacing_m:g} was given.")
        if not 0 <= self.angle_to_fall_deg <= 90:
            raise ValueError(
                "The angle to the fall lies from 0° (down it) to 90° (along the contour); "
                f"{self.angle_to_fall_deg:g} was given."
            )
        if not math.isfinite(self.fall_bearing_deg):
            raise ValueError("The bearing of the fall is degrees clockwise from grid north.")
        if min(self.edge_m, self.least_m, self.carry_on_m) < 0:
            raise ValueError("Distances of a layout are 0 m or more.")


@dataclass(frozen=True)
class Lateral:
    """One drain, its line running downstream.

    joins_at_m  chainage on the carrier where it joins; None when it meets none
    carried_m   how much of it lies beyond the area
    """

    number: int
    line: tuple[Point, Point]
    length_m: float
    joins_at_m: float | None
    carried_m: float


@dataclass(frozen=True)
class Layout:
    laterals: tuple[Lateral, ...]
    left_out: int
    area_m2: float

    @property
    def length_m(self) -> float:
        return sum(lateral.length_m for lateral in self.laterals)

    @property
    def joined(self) -> int:
        return sum(lateral.joins_at_m is not None for lateral in self.laterals)

    def as_lines(self) -> shapely.MultiLineString:
        return shapely.MultiLineString([lateral.line for lateral in self.laterals])


@dataclass(frozen=True)
class AreaFall:
    """The even slope that fits an area best: its bearing (clockwise from north) and gradient."""

    bearing_deg: float
    gradient: float


def fall_of_area(x: np.ndarray, y: np.ndarray, level_m: np.ndarray) -> AreaFall:
    """Fit a plane to levels; ValueError with fewer than three known, or in one line.

    x, y, level_m  arrays of the same length, metres; NaN levels are left out
    """
    known = np.isfinite(level_m)
    if known.sum() < 3:
        raise ValueError("Fewer than three levels are known in this area: its fall cannot be told.")
    dx, dy = x[known] - x[known].mean(), y[known] - y[known].mean()
    terms = np.column_stack([np.ones_like(dx), dx, dy])
    found, _, rank, _ = np.linalg.lstsq(terms, level_m[known], rcond=1e-9)
    if rank < 3:
        raise ValueError("The levels known in this area lie in one line: its fall cannot be told.")
    _, east, north = found.tolist()
    bearing = math.degrees(math.atan2(-east, -north)) % 360
    return AreaFall(bearing_deg=bearing, gradient=math.hypot(east, north))


def lay_out(area: Polygon, carrier: LineString | None, wish: Wish) -> Layout:
    """Lay drains into an area at the wished spacing and angle, and join them to the carrier.

    Every drain runs down the fall. Where it crosses the carrier it ends there; where it ends
    short it is carried straight on, by at most ``carry_on_m``. Parallel: one direction, of the two
    at that angle the one that brings more length to the carrier. Herringbone: on each side of the
    carrier the direction that runs towards it. Raises ValueError for a herringbone without a
    carrier, an area that is no polygon or empty once its edge is kept clear, and for more than
    2,000 drains.
    """
    inside = area.buffer(-wish.edge_m, join_style="mitre") if wish.edge_m else area
    if inside.is_empty or inside.area <= 0 or not area.is_valid:
        raise ValueError("The area has no inside left to lay drains into; check its outline.")
    west, south, east, north = inside.bounds
    if math.hypot(east - west, north - south) / wish.spacing_m > MOST_LATERALS:
        raise ValueError(
            f"At {wish.spacing_m:g} m that is more than {MOST_LATERALS:,} drains in one area."
        )
    ways = [
        _direction(wish.fall_bearing_deg + turn * wish.angle_to_fall_deg)
        for turn in ((1,) if wish.angle_to_fall_deg == 0 else (1, -1))
    ]
    if wish.pattern == "herring":
        if carrier is None:
            raise ValueError("A herringbone lies on both sides of a carrier: choose the carrier.")
        found, left_out = _herringbone(inside, carrier, ways, wish)
    else:
        tries = [_family(inside, carrier, way, wish) for way in ways]
        found, left_out = max(tries, key=_brought)
    return Layout(
        laterals=tuple(
            Lateral(number, line, length, joins, carried)
            for number, (line, length, joins, carried) in enumerate(found, start=1)
        ),
        left_out=left_out,
        area_m2=float(area.area),
    )


_Drain = tuple[tuple[Point, Point], float, float | None, float]


def _brought(one: tuple[list[_Drain], int]) -> tuple[float, float]:
    drains, _ = one
    return (
        round(sum(length for _, length, joins, _ in drains if joins is not None), 3),
        -sum(carried for *_, carried in drains),
    )


def _direction(bearing_deg: float) -> Point:
    radians = math.radians(bearing_deg)
    return math.sin(radians), math.cos(radians)


def _herringbone(
    inside: Polygon, carrier: LineString, ways: list[Point], wish: Wish
) -> tuple[list[_Drain], int]:
    drains: list[_Drain] = []
    left_out = 0
    for part in _sides(inside, carrier):
        middle = part.representative_point()
        foot = carrier.interpolate(carrier.project(middle))
        towards = (foot.x - middle.x, foot.y - middle.y)
        way = max(ways, key=lambda one: one[0] * towards[0] + one[1] * towards[1])
        some, short = _family(part, carrier, way, wish)
        drains += some
        left_out += short
    return drains, left_out


def _sides(inside: Polygon, carrier: LineString) -> list[BaseGeometry]:
    """The area cut along the carrier, its ends carried on until they leave the area."""
    reach = math.hypot(inside.bounds[2] - inside.bounds[0], inside.bounds[3] - inside.bounds[1])
    points = list(carrier.coords)
    first, last = points[0], points[-1]
    begin = _on_from(points[1], first, reach + carrier.distance(inside))
    end = _on_from(points[-2], last, reach + carrier.distance(inside))
    cut = LineString([begin, *points, end])
    return [part for part in split(inside, cut).geoms if part.area > 0]


def _on_from(before: tuple[float, ...], last: tuple[float, ...], by_m: float) -> Point:
    dx, dy = last[0] - before[0], last[1] - before[1]
    length = math.hypot(dx, dy)
    return last[0] + dx / length * by_m, last[1] + dy / length * by_m


def _family(
    inside: BaseGeometry, carrier: LineString | None, way: Point, wish: Wish
) -> tuple[list[_Drain], int]:
    """Parallel drains across an area, half a spacing in from its outer edges."""
    drains: list[_Drain] = []
    left_out = 0
    for piece in _strips(inside, way, wish.spacing_m):
        for drain in _ended_at(piece, carrier, wish.carry_on_m, way):
            if drain[1] < wish.least_m:
                left_out += 1
            else:
                drains.append(drain)
    return drains, left_out


def _strips(inside: BaseGeometry, way: Point, spacing_m: float) -> Iterator[tuple[Point, Point]]:
    """Lines of one direction clipped to the area, each running with ``way``."""
    across = (way[1], -way[0])
    corners = shapely.get_coordinates(inside)
    along, aside = corners @ np.array(way), corners @ np.array(across)
    begin, end = float(along.min()) - 1, float(along.max()) + 1
    width = float(aside.max() - aside.min())
    count = max(1, round(width / spacing_m))
    first = float(aside.min()) + (width - (count - 1) * spacing_m) / 2
    for index in range(count):
        offset = first + index * spacing_m
        ends = [
            (step * way[0] + offset * across[0], step * way[1] + offset * across[1])
            for step in (begin, end)
        ]
        for piece in shapely.get_parts(LineString(ends).intersection(inside)):
            if isinstance(piece, LineString) and piece.length > TOUCH_M:
                one, other = sorted(
                    ((float(x), float(y)) for x, y in (piece.coords[0], piece.coords[-1])),
                    key=lambda point: point[0] * way[0] + point[1] * way[1],
                )
                yield one, other


def _ended_at(
    piece: tuple[Point, Point], carrier: LineString | None, carry_on_m: float, way: Point
) -> Iterator[_Drain]:
    """The piece as drains that end at the carrier: cut where it crosses, carried on where short."""
    start, end = piece
    if carrier is None:
        yield piece, math.dist(start, end), None, 0.0
        return
    on = (end[0] + way[0] * carry_on_m, end[1] + way[1] * carry_on_m)
    crossings = sorted(
        {
            round((x - start[0]) * way[0] + (y - start[1]) * way[1], 6)
            for x, y in shapely.get_coordinates(
                LineString([start, on]).intersection(carrier)
            ).tolist()
        }
    )
    inside_m, here = math.dist(start, end), 0.0
    for crossing in crossings:
        if crossing - here <= TOUCH_M or here >= inside_m - TOUCH_M:
            here = max(here, crossing if crossing <= inside_m else here)
            continue
        foot = (start[0] + way[0] * crossing, start[1] + way[1] * crossing)
        begin = (start[0] + way[0] * here, start[1] + way[1] * here)
        joins = float(carrier.project(shapely.Point(foot)))
        yield (begin, foot), crossing - here, joins, max(0.0, crossing - max(inside_m, here))
        here = crossing
    if inside_m - here > TOUCH_M:
        begin = (start[0] + way[0] * here, start[1] + way[1] * here)
        yield (begin, end), inside_m - here, None, 0.0
