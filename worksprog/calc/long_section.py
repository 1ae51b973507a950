"""The long section of a drain: chainage, ground, inverts, cover, sizes, from a reach to its outfall.

Chainage is measured upstream from the outfall, the way a drain is built.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from worksprog.calc.network import NetworkCheck, PathPiece, ReachCheck
from worksprog.calc.network.result import State, fault_words
from worksprog.calc.network.tidy import USUAL, open_ends
from worksprog.calc.pipes import PipeSection

LevelsAt = Callable[[NDArray[np.float64]], NDArray[np.float64]]
GROUND_STEP_M = 5.0


@dataclass(frozen=True)
class GroundPoint:
    chainage_m: float
    level_m: float


@dataclass(frozen=True)
class Piece:
    """One reach, or the part of it that is on the way down."""

    key: str
    name: str
    kind: str
    standing: bool
    upper_chainage_m: float
    lower_chainage_m: float
    upper_invert_m: float | None
    lower_invert_m: float | None
    bore_m: float | None  # pipes only
    size: str  # "300 mm pipe"; "" when not entered
    one_in: float | None
    state: State
    verdict: str
    upper_water_m: float | None = None
    lower_water_m: float | None = None

    @property
    def fault_words(self) -> str:
        return fault_words(self.state, self.verdict)

    def water_at(self, chainage_m: float) -> float | None:
        """Level of the water, straight between its ends."""
        if self.upper_water_m is None or self.lower_water_m is None:
            return None
        share = (chainage_m - self.lower_chainage_m) / (
            self.upper_chainage_m - self.lower_chainage_m
        )
        return self.lower_water_m + share * (self.upper_water_m - self.lower_water_m)

    def invert_at(self, chainage_m: float) -> float | None:
        if self.upper_invert_m is None or self.lower_invert_m is None:
            return None
        share = (chainage_m - self.lower_chainage_m) / (
            self.upper_chainage_m - self.lower_chainage_m
        )
        return self.lower_invert_m + share * (self.upper_invert_m - self.lower_invert_m)


@dataclass(frozen=True)
class Station:
    """A point where reaches meet: a chamber, a headwall, the outfall or a plain joint."""

    chainage_m: float
    name: str
    is_node: bool
    ground_m: float | None
    invert_m: float | None  # the lowest of what arrives and what leaves

    @property
    def depth_m(self) -> float | None:
        """Ground to invert."""
        if self.ground_m is None or self.invert_m is None:
            return None
        return self.ground_m - self.invert_m


@dataclass(frozen=True)
class Extreme:
    value_m: float
    chainage_m: float


@dataclass(frozen=True)
class LongSection:
    top_name: str
    outfall_name: str
    length_m: float
    stations: tuple[Station, ...]  # from the top down
    pieces: tuple[Piece, ...]
    ground: tuple[GroundPoint, ...]
    least_cover: Extreme | None  # over the inside crown of the pipes, away from open ends
    deepest_invert: Extreme | None

    def ground_at(self, chainage_m: float) -> float | None:
        """The ground, straight between the points where it is known."""
        before = [one for one in self.ground if one.chainage_m >= chainage_m - 1e-6]
        after = [one for one in self.ground if one.chainage_m <= chainage_m + 1e-6]
        if not before or not after:
            return None
        upper, lower = before[-1], after[0]
        gap = upper.chainage_m - lower.chainage_m
        if gap > 2 * GROUND_STEP_M:  # the ground is not known all the way
            return None
        share = (chainage_m - lower.chainage_m) / gap if gap > 1e-9 else 0.0
        return lower.level_m + share * (upper.level_m - lower.level_m)

    @property
    def lowest_m(self) -> float:
        return min(self._levels(), default=0.0)

    @property
    def highest_m(self) -> float:
        return max(self._levels(), default=1.0)

    @property
    def standing_m(self) -> float:
        return sum(
            piece.upper_chainage_m - piece.lower_chainage_m
            for piece in self.pieces
            if piece.standing
        )

    def _levels(self) -> list[float]:
        inverts = [
            level
            for piece in self.pieces
            for level in (piece.upper_invert_m, piece.lower_invert_m)
            if level is not None
        ]
        inverts += [
            level
            for piece in self.pieces
            for level in (piece.upper_water_m, piece.lower_water_m)
            if level is not None
        ]
        surface = [station.ground_m for station in self.stations if station.ground_m is not None]
        return inverts + surface + [point.level_m for point in self.ground]


def lay_out_long_section(
    check: NetworkCheck, key: str, *, levels_at: LevelsAt | None = None
) -> LongSection:
    """The long section from a reach down to its outfall.

    ``levels_at`` gives ground levels (NaN where unknown) for an (n, 2) array of points. Cover
    levels of nodes stand before it at the nodes. KeyError for an unknown reach.
    """
    path = check.way_down(key)
    lengths = [check.reach(piece.key).length_m - piece.from_m for piece in path]
    total = sum(lengths)
    pieces: list[Piece] = []
    ground: list[GroundPoint] = []
    done = 0.0
    for on_way, length in zip(path, lengths, strict=True):
        upper = total - done
        done += length
        pieces.append(_piece(check, on_way, upper, total - done))
        if levels_at is not None and length > 0:
            ground += _ground(check, on_way, length, upper, levels_at, first=not ground)
    return LongSection(
        top_name=check.reach(path[0].key).upstream_name,
        outfall_name=check.reach(path[-1].key).outfall_name,
        length_m=total,
        stations=tuple(_stations(check, path, pieces, ground)),
        pieces=tuple(pieces),
        ground=tuple(ground),
        least_cover=_least_cover(check, pieces, ground),
        deepest_invert=_deepest(pieces, ground),
    )


def _piece(check: NetworkCheck, on_way: PathPiece, upper: float, lower: float) -> Piece:
    reach = check.reach(on_way.key)
    section = check.given[on_way.key].section
    top, bottom = reach.upstream_level_m, reach.downstream_level_m
    if top is not None and bottom is not None:
        top = top + (bottom - top) * on_way.from_m / reach.length_m
    elif on_way.from_m:
        top = None
    water_up, water_down = reach.water_up_m, reach.water_down_m
    if water_up is not None and water_down is not None:
        water_up += (water_down - water_up) * on_way.from_m / reach.length_m
    return Piece(
        key=reach.key,
        name=reach.name,
        kind=reach.kind,
        standing=reach.standing,
        upper_chainage_m=upper,
        lower_chainage_m=lower,
        upper_invert_m=top,
        lower_invert_m=bottom,
        bore_m=section.diameter_m if isinstance(section, PipeSection) else None,
        size=section.words() if section is not None else "",
        one_in=reach.one_in,
        state=reach.state,
        verdict=reach.verdict,
        upper_water_m=water_up,
        lower_water_m=water_down,
    )


def _ground(
    check: NetworkCheck,
    on_way: PathPiece,
    length: float,
    upper: float,
    levels_at: LevelsAt,
    *,
    first: bool,
) -> list[GroundPoint]:
    given = check.given[on_way.key]
    line = shapely.LineString(given.line)
    count = max(2, math.ceil(length / GROUND_STEP_M) + 1)
    along = np.linspace(0, length, count)[0 if first else 1 :]
    drawn = (on_way.from_m + along) / given.length_m * line.length
    points = shapely.get_coordinates(shapely.line_interpolate_point(line, drawn))
    levels = levels_at(points)
    return [
        GroundPoint(upper - distance, level)
        for distance, level in zip(along.tolist(), levels.tolist(), strict=True)
        if not math.isnan(level)
    ]


def _ground_at(ground: list[GroundPoint], chainage_m: float) -> float | None:
    for point in ground:
        if abs(point.chainage_m - chainage_m) < 1e-6:
            return point.level_m
    return None


def _stations(
    check: NetworkCheck, path: list[PathPiece], pieces: list[Piece], ground: list[GroundPoint]
) -> list[Station]:
    reaches = [check.reach(on_way.key) for on_way in path]
    stations = [_station(check, pieces, ground, None, reaches[0], 0)]
    for index in range(len(pieces)):
        below = reaches[index + 1] if index + 1 < len(pieces) else None
        stations.append(_station(check, pieces, ground, reaches[index], below, index + 1))
    return stations


def _station(
    check: NetworkCheck,
    pieces: list[Piece],
    ground: list[GroundPoint],
    above: ReachCheck | None,
    below: ReachCheck | None,
    index: int,
) -> Station:
    chainage = pieces[index].upper_chainage_m if below is not None else 0.0
    if above is not None:
        name, keys = above.downstream_name, above.downstream_node_keys
    elif below is not None:
        name, keys = below.upstream_name, below.upstream_node_keys
    else:
        raise ValueError("A station has a reach above it or below it.")
    arriving = pieces[index - 1].lower_invert_m if above is not None else None
    leaving = pieces[index].upper_invert_m if below is not None else None
    inverts = [level for level in (arriving, leaving) if level is not None]
    covers = [check.nodes[key].cover_m for key in keys]
    cover = next((level for level in covers if level is not None), None)
    return Station(
        chainage_m=chainage,
        name=name,
        is_node=bool(keys),
        ground_m=cover if cover is not None else _ground_at(ground, chainage),
        invert_m=min(inverts) if inverts else None,
    )


def _least_cover(
    check: NetworkCheck, pieces: list[Piece], ground: list[GroundPoint]
) -> Extreme | None:
    """Over the pipes, along the sampled ground; none is asked for beside an open end."""
    found: list[Extreme] = []
    for piece in pieces:
        if piece.bore_m is None:
            continue
        upper, lower = open_ends(check, check.reach(piece.key))
        highest = piece.upper_chainage_m - (USUAL.cover_free_m if upper else 0.0)
        lowest = piece.lower_chainage_m + (USUAL.cover_free_m if lower else 0.0)
        for point in ground:
            if not lowest <= point.chainage_m <= highest:
                continue
            invert = piece.invert_at(point.chainage_m)
            if invert is not None:
                cover = point.level_m - invert - piece.bore_m
                found.append(Extreme(cover, point.chainage_m))
    return min(found, key=lambda extreme: extreme.value_m, default=None)


def _deepest(pieces: list[Piece], ground: list[GroundPoint]) -> Extreme | None:
    """The invert furthest below the sampled ground."""
    found: list[Extreme] = []
    for piece in pieces:
        for point in ground:
            if piece.lower_chainage_m <= point.chainage_m <= piece.upper_chainage_m:
                invert = piece.invert_at(point.chainage_m)
                if invert is not None:
                    found.append(Extreme(point.level_m - invert, point.chainage_m))
    return max(found, key=lambda extreme: extreme.value_m, default=None)
