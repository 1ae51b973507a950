"""The way of a drain on the ground: from a chainage to a place, and to a peg beside it.

Chainage is measured upstream from the outfall, as on the long section.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import shapely
import shapely.ops

from worksprog.calc.network import NetworkCheck

Point = tuple[float, float]
Side = Literal["left", "right"]
SAME_PLACE_M = 0.005


@dataclass(frozen=True)
class WayPiece:
    """One reach, or its part on the way down. ``line`` runs with the water."""

    key: str
    name: str
    kind: str
    upper_chainage_m: float
    lower_chainage_m: float
    line: tuple[Point, ...]
    upper_invert_m: float | None
    lower_invert_m: float | None
    bore_m: float | None = None

    @property
    def length_m(self) -> float:
        return self.upper_chainage_m - self.lower_chainage_m

    @property
    def gradient(self) -> float | None:
        if self.upper_invert_m is None or self.lower_invert_m is None:
            return None
        return (self.upper_invert_m - self.lower_invert_m) / self.length_m

    def invert_at(self, chainage_m: float) -> float | None:
        """Straight between its ends. None where a level is missing."""
        if self.upper_invert_m is None or self.lower_invert_m is None:
            return None
        share = (chainage_m - self.lower_chainage_m) / self.length_m
        return self.lower_invert_m + share * (self.upper_invert_m - self.lower_invert_m)


@dataclass(frozen=True)
class Crossing:
    """Something that crosses the way or joins it part way along.

    level_m  its invert there, where it is known
    joins    a drain that gives its water into the way there
    """

    chainage_m: float
    name: str
    what: str
    level_m: float | None = None
    joins: bool = False


@dataclass(frozen=True)
class Way:
    """From the upper end down to the outfall; ``pieces`` in that order."""

    pieces: tuple[WayPiece, ...]

    def __post_init__(self) -> None:
        if not self.pieces:
            raise ValueError("A way has one reach at least.")

    @property
    def length_m(self) -> float:
        return self.pieces[0].upper_chainage_m

    def pieces_at(self, chainage_m: float) -> tuple[WayPiece, ...]:
        """The piece there, upper first; two where pieces meet. ValueError beyond either end."""
        found = tuple(
            piece
            for piece in self.pieces
            if piece.lower_chainage_m - SAME_PLACE_M
            <= chainage_m
            <= piece.upper_chainage_m + SAME_PLACE_M
        )
        if not found:
            raise ValueError(
                f"Chainage {chainage_m:g} m is not on this drain: it runs from 0 at the outfall to "
                f"{self.length_m:.1f} m."
            )
        return found

    def place_at(self, chainage_m: float) -> Point:
        """Easting and northing. ValueError beyond either end."""
        piece = self.pieces_at(chainage_m)[0]
        line = shapely.LineString(piece.line)
        share = (piece.upper_chainage_m - chainage_m) / piece.length_m
        point = line.interpolate(min(1.0, max(0.0, share)) * line.length)
        return float(point.x), float(point.y)

    def peg_at(self, chainage_m: float, offset_m: float, side: Side) -> Point:
        """A peg square off the line; left and right are those of one who looks downstream.

        At a bend it stands on the bisector, ``offset_m`` away from both legs (offset / cos of half
        the bend); where the line turns back by more than 120° it stands ``offset_m`` from the bend.
        """
        if not math.isfinite(offset_m) or offset_m < 0:
            raise ValueError(f"A peg is set off by 0 m or more; {offset_m:g} was given.")
        x, y = self.place_at(chainage_m)
        before, after = self._directions(chainage_m)
        dx, dy = before[0] + after[0], before[1] + after[1]
        size = math.hypot(dx, dy)
        half_cosine = size / 2
        if half_cosine < 0.5:
            away = offset_m
        else:
            away = offset_m / half_cosine
        if size < 1e-9:
            dx, dy, size = after[0], after[1], 1.0
        turn = 1.0 if side == "left" else -1.0
        return x - turn * dy / size * away, y + turn * dx / size * away

    def bends(self, *, least_deg: float = 1.0) -> tuple[float, ...]:
        """Chainages at which the line turns by more than ``least_deg``, from the top down."""
        found = []
        for number, piece in enumerate(self.pieces):
            measured = _measured(piece)
            for chainage, _ in measured[1 if number == 0 else 0 : -1]:
                before, after = self._directions(chainage)
                turn = math.atan2(
                    before[0] * after[1] - before[1] * after[0],
                    before[0] * after[0] + before[1] * after[1],
                )
                if abs(math.degrees(turn)) > least_deg:
                    found.append(chainage)
        return tuple(found)

    def chainage_of(self, point: Point) -> tuple[float, float]:
        """Chainage of the nearest place on the way, and how far off the point lies (m)."""
        best = (math.inf, 0.0)
        for piece in self.pieces:
            line = shapely.LineString(piece.line)
            away = float(line.distance(shapely.Point(point)))
            if away < best[0]:
                along = float(line.project(shapely.Point(point))) / line.length
                best = (away, piece.upper_chainage_m - along * piece.length_m)
        return best[1], best[0]

    def _directions(self, chainage_m: float) -> tuple[Point, Point]:
        """Unit vectors of the legs that come to a chainage and leave it, downstream."""
        legs = []
        for piece in self.pieces_at(chainage_m):
            measured = _measured(piece)
            for (upper, start), (lower, end) in pairwise(measured):
                if lower - SAME_PLACE_M <= chainage_m <= upper + SAME_PLACE_M:
                    length = math.dist(start, end)
                    legs.append(((end[0] - start[0]) / length, (end[1] - start[1]) / length))
        return legs[0], legs[-1]


def _measured(piece: WayPiece) -> list[tuple[float, Point]]:
    """Corners of its line with their chainages; corners on one spot are one."""
    line = shapely.LineString(piece.line)
    found: list[tuple[float, Point]] = []
    for corner in piece.line:
        if found and math.dist(found[-1][1], corner) < SAME_PLACE_M:
            continue
        gone = math.dist(found[-1][1], corner) if found else 0.0
        start = found[-1][0] if found else piece.upper_chainage_m
        found.append((start - gone / line.length * piece.length_m, corner))
    return found


def way_of(check: NetworkCheck, key: str) -> Way:
    """The way from a reach down to its outfall. KeyError for an unknown reach."""
    path = check.way_down(key)
    total = sum(check.reach(one.key).length_m - one.from_m for one in path)
    pieces = []
    upper = total
    for one in path:
        reach, given = check.reach(one.key), check.given[one.key]
        length = reach.length_m - one.from_m
        if length < SAME_PLACE_M:
            continue
        line = shapely.LineString(given.line)
        part = shapely.ops.substring(line, one.from_m / reach.length_m, 1.0, normalized=True)
        top, bottom = reach.upstream_level_m, reach.downstream_level_m
        if top is not None and bottom is not None:
            top += (bottom - top) * one.from_m / reach.length_m
        elif one.from_m:
            top = None
        pieces.append(
            WayPiece(
                key=one.key,
                name=reach.name,
                kind=reach.kind,
                upper_chainage_m=upper,
                lower_chainage_m=upper - length,
                line=tuple(map(tuple, shapely.get_coordinates(part).tolist())),
                upper_invert_m=top,
                lower_invert_m=bottom,
                bore_m=getattr(given.section, "diameter_m", None),
            )
        )
        upper -= length
    return Way(tuple(pieces))


def joining_drains(check: NetworkCheck, way: Way) -> list[Crossing]:
    """Drains that give their water into the way, at its joints or part way along a reach."""
    on_way = {piece.key for piece in way.pieces}
    found = []
    for reach in check.reaches:
        if reach.key in on_way or not on_way.intersection(reach.below):
            continue
        chainage, away = way.chainage_of(check.given[reach.key].line[-1])
        if away <= 2 * check.limits.tolerance_m:
            found.append(
                Crossing(
                    chainage, reach.name, f"{reach.kind} joins", reach.downstream_level_m, True
                )
            )
    return found


def crossing_lines(
    way: Way, lines: Iterable[tuple[str, str, tuple[Point, ...]]], *, near_ends_m: float = 0.5
) -> list[Crossing]:
    """Where lines (name, what, points) cut the way; those that only touch it with an end do not."""
    found: list[Crossing] = []
    for name, what, points in lines:
        if len(points) < 2:
            continue
        other = shapely.LineString(points)
        for piece in way.pieces:
            cut = shapely.LineString(piece.line).intersection(other)
            for x, y in shapely.get_coordinates(shapely.points(shapely.get_coordinates(cut))):
                ends = min(math.dist((x, y), points[0]), math.dist((x, y), points[-1]))
                if what != "buried service" and ends < near_ends_m:
                    continue
                chainage, _ = way.chainage_of((float(x), float(y)))
                if not any(
                    one.name == name and abs(one.chainage_m - chainage) < near_ends_m
                    for one in found
                ):
                    found.append(Crossing(chainage, name, what))
    return found
