"""The ground: levels everywhere from spot heights or from a regular grid, falls, contours, shading.

All coordinates are grid metres, all levels metres above the survey's datum. A level that is not
known (outside the surveyed ground) is NaN in arrays and None in single answers, never a guess.
"""

from __future__ import annotations

import io
import math
import zipfile
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import contourpy
import numpy as np
import numpy.typing as npt
import shapely
from scipy.spatial import Delaunay, QhullError, cKDTree

from worksprog.calc import grid
from worksprog.calc.working import Step, Working

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int32]
Bools = npt.NDArray[np.bool_]
Box = tuple[float, float, float, float]

MOST_RASTER_CELLS = 600_000
_EDGE_OF_MEDIAN = 8.0
_EDGE_AT_LEAST_M = 25.0


@dataclass(frozen=True, eq=False)
class TriangulatedGround:
    """Ground as triangles between spot heights; plane inside each triangle.

    points      (n, 3) easting, northing, level
    triangles   (m, 3) rows of ``points``, counter-clockwise
    neighbours  (m, 3) the triangle across the edge opposite each corner, -1 at the hull
    used        (m,) False for triangles that only bridge a bay of the surveyed outline
    """

    points: Floats
    triangles: Ints
    neighbours: Ints
    used: Bools

    @property
    def count(self) -> int:
        return len(self.points)

    @cached_property
    def bounds(self) -> Box:
        """West, south, east, north."""
        low, high = self.points[:, :2].min(axis=0), self.points[:, :2].max(axis=0)
        return float(low[0]), float(low[1]), float(high[0]), float(high[1])

    @property
    def spacing_m(self) -> float:
        """Side of the square that each spot height stands for on average."""
        corners = self.points[self.triangles[self.used], :2]
        area = float(np.abs(_twice_area(corners)).sum()) / 2
        return math.sqrt(area / len(self.points))

    @cached_property
    def _tree(self) -> Any:
        return cKDTree(self.points[:, :2])

    @cached_property
    def _triangle_at(self) -> Ints:
        """One triangle at each spot height: where a search starts."""
        first = np.zeros(len(self.points), dtype=np.int32)
        first[self.triangles.ravel()] = np.repeat(np.arange(len(self.triangles), dtype=np.int32), 3)
        return first

    def levels_at(self, x: npt.ArrayLike, y: npt.ArrayLike) -> Floats:
        """Levels at many points; NaN outside the surveyed ground.

        The search walks from the nearest spot height towards the point, triangle by triangle,
        which on a Delaunay triangulation always arrives.
        """
        at = np.column_stack([np.ravel(np.asarray(x, float)), np.ravel(np.asarray(y, float))])
        levels = np.full(len(at), np.nan)
        todo = np.flatnonzero(np.isfinite(at).all(axis=1))
        if not len(todo):
            return levels
        here = self._triangle_at[self._tree.query(at[todo])[1]]
        for _ in range(4 * int(math.sqrt(len(self.triangles))) + 40):
            corners = self.points[self.triangles[here]]
            weights = _edge_weights(corners[:, :, :2], at[todo])
            worst = weights.argmin(axis=1)
            arrived = weights[np.arange(len(todo)), worst] >= -1e-6
            total = weights.sum(axis=1)
            known = arrived & self.used[here] & (total > 0)
            levels[todo[known]] = (weights[known] * corners[known, :, 2]).sum(axis=1) / total[known]
            onward = self.neighbours[here, worst]
            going = ~arrived & (onward >= 0)
            todo, here = todo[going], onward[going]
            if not len(todo):
                break
        return levels


@dataclass(frozen=True, eq=False)
class GriddedGround:
    """Ground as levels at the crossings of a square grid; bilinear between them.

    west, south  the lowest-left crossing
    levels       (rows, columns), rows from south to north; NaN where there is no level
    """

    west: float
    south: float
    cell_m: float
    levels: Floats

    @property
    def count(self) -> int:
        return int(np.isfinite(self.levels).sum())

    @property
    def bounds(self) -> Box:
        rows, columns = self.levels.shape
        return (
            self.west,
            self.south,
            self.west + (columns - 1) * self.cell_m,
            self.south + (rows - 1) * self.cell_m,
        )

    @property
    def spacing_m(self) -> float:
        return self.cell_m

    def levels_at(self, x: npt.ArrayLike, y: npt.ArrayLike) -> Floats:
        """Levels at many points, bilinear; NaN outside and where one of four corners is unknown."""
        column = (np.ravel(np.asarray(x, float)) - self.west) / self.cell_m
        row = (np.ravel(np.asarray(y, float)) - self.south) / self.cell_m
        rows, columns = self.levels.shape
        inside = (column >= 0) & (row >= 0) & (column <= columns - 1) & (row <= rows - 1)
        levels = np.full(len(column), np.nan)
        column, row = column[inside], row[inside]
        left = np.minimum(column.astype(int), columns - 2)
        low = np.minimum(row.astype(int), rows - 2)
        along, up = column - left, row - low
        levels[inside] = (
            self.levels[low, left] * (1 - along) * (1 - up)
            + self.levels[low, left + 1] * along * (1 - up)
            + self.levels[low + 1, left] * (1 - along) * up
            + self.levels[low + 1, left + 1] * along * up
        )
        return levels


Ground = TriangulatedGround | GriddedGround


def _twice_area(corners: Floats) -> Floats:
    ab, ac = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    return np.asarray(ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0], dtype=float)


def _edge_weights(corners: Floats, at: Floats) -> Floats:
    """Twice the area each point spans with the edge opposite each corner; negative beyond it."""
    weights = np.empty((len(at), 3))
    for k in range(3):
        start, end = corners[:, (k + 1) % 3], corners[:, (k + 2) % 3]
        edge, to = end - start, at - start
        weights[:, k] = edge[:, 0] * to[:, 1] - edge[:, 1] * to[:, 0]
    return weights


def _without_bridges(points: Floats, triangles: Ints, neighbours: Ints, limit_m: float) -> Bools:
    """Take triangles off the outline while their outer edge is longer than the limit."""
    length = np.empty(triangles.shape)
    for k in range(3):
        ends = points[triangles[:, [(k + 1) % 3, (k + 2) % 3]], :2]
        length[:, k] = np.hypot(*(ends[:, 1] - ends[:, 0]).T)
    used = np.ones(len(triangles), dtype=bool)
    while True:
        outer = (neighbours < 0) | ~used[neighbours]
        drop = used & (outer & (length > limit_m)).any(axis=1)
        if not drop.any():
            return used
        used &= ~drop


def ground_from_spot_heights(
    xyz: npt.ArrayLike, *, longest_edge_m: float | None = None
) -> TriangulatedGround:
    """Triangulate spot heights (Delaunay).

    xyz             (n, 3) easting, northing, level in metres; kept to the millimetre
    longest_edge_m  an outer edge longer than this is no ground but a gap in the outline; when not
                    given, eight times the median edge and never under 25 m (common practice, no
                    source). Gaps inside the survey, such as ponds, are bridged.
    Points at one place count once, with their mean level.
    Raises ValueError for fewer than three points, points all in one line, or numbers not finite.
    """
    given = np.asarray(xyz, dtype=float)
    if given.ndim != 2 or given.shape[1] != 3:
        raise ValueError("Spot heights need an easting, a northing and a level each.")
    if not np.isfinite(given).all():
        raise ValueError("A spot height has a coordinate or level that is not a number.")
    given = np.round(given, 3)
    places, which = np.unique(given[:, :2], axis=0, return_inverse=True)
    counts = np.bincount(which.ravel(), minlength=len(places))
    levels = np.bincount(which.ravel(), weights=given[:, 2], minlength=len(places)) / counts
    points = np.column_stack([places, np.round(levels, 3)])
    if len(points) < 3:
        raise ValueError(f"A ground model needs three places with levels; there are {len(points)}.")
    centre = points[:, :2].mean(axis=0)
    try:
        mesh = Delaunay(points[:, :2] - centre)
    except QhullError as error:
        raise ValueError("The spot heights all lie in one line; they make no ground.") from error
    triangles = mesh.simplices.astype(np.int32)
    neighbours = mesh.neighbors.astype(np.int32)
    clockwise = _twice_area(points[triangles, :2]) < 0
    triangles[clockwise] = triangles[clockwise][:, [0, 2, 1]]
    neighbours[clockwise] = neighbours[clockwise][:, [0, 2, 1]]
    if longest_edge_m is None:
        ends = points[triangles[:, [0, 1]], :2]
        median = float(np.median(np.hypot(*(ends[:, 1] - ends[:, 0]).T)))
        longest_edge_m = max(_EDGE_OF_MEDIAN * median, _EDGE_AT_LEAST_M)
    used = _without_bridges(points, triangles, neighbours, longest_edge_m)
    if not used.any():
        raise ValueError(
            f"The spot heights are more than {longest_edge_m:.0f} m apart everywhere; "
            "allow longer edges to join them."
        )
    return TriangulatedGround(points, triangles, neighbours, used)


def ground_from_grid(
    *, west: float, south: float, cell_m: float, levels: npt.ArrayLike
) -> GriddedGround:
    """Ground from levels at the crossings of a square grid (see ``GriddedGround``).

    Raises ValueError for fewer than 2 × 2 crossings, no known level, or a cell that is not positive.
    """
    known = np.asarray(levels, dtype=float)
    if known.ndim != 2 or min(known.shape) < 2:
        raise ValueError("A grid of levels needs at least two rows and two columns.")
    if not (math.isfinite(cell_m) and cell_m > 0):
        raise ValueError("The cell of a grid must be longer than nothing.")
    if not np.isfinite(known).any():
        raise ValueError("The grid holds no level at all.")
    return GriddedGround(west, south, cell_m, np.where(np.isfinite(known), known, np.nan))


def level_at(ground: Ground, x: float, y: float) -> float | None:
    """The level at one place; None outside the surveyed ground."""
    level = float(ground.levels_at([x], [y])[0])
    return None if math.isnan(level) else level


@dataclass(frozen=True, eq=False)
class Profile:
    """Levels along a line, at its corners and every step between.

    chainage_m  distance from the start of the line
    level_m     NaN where the ground is not known
    """

    chainage_m: Floats
    x: Floats
    y: Floats
    level_m: Floats

    @property
    def length_m(self) -> float:
        return float(self.chainage_m[-1])


@dataclass(frozen=True)
class Fall:
    """How a line falls from its start to its end.

    fall_m      positive when the end is lower than the start; None when an end is not known
    gradient    fall over length (m/m), same sign
    rises_m     length along the line over which it goes against that fall
    unknown_m   length along the line without levels
    """

    length_m: float
    start_level_m: float | None
    end_level_m: float | None
    fall_m: float | None
    gradient: float | None
    lowest_m: float | None
    highest_m: float | None
    rises_m: float
    unknown_m: float

    def one_in(self) -> float | None:
        """The n of "1 in n"; None when level or not known."""
        return 1 / abs(self.gradient) if self.gradient else None


def profile_along(ground: Ground, line: Any, *, step_m: float = 1.0) -> Profile:
    """Levels along a shapely LineString, at its corners and at least every ``step_m``.

    On lines beyond 5 km the step grows so that 5,000 points do.
    Raises ValueError for a line without length or a step that is not positive.
    """
    if not step_m > 0:
        raise ValueError("The step along a line must be longer than nothing.")
    corners = shapely.get_coordinates(line)
    if len(corners) < 2 or not np.isfinite(corners).all():
        raise ValueError("A line needs two ends.")
    at_corner = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(corners, axis=0).T))])
    length = float(at_corner[-1])
    if length <= 0:
        raise ValueError("The line has no length: both ends are at one place.")
    steps = np.arange(0.0, length, max(step_m, length / 5000))
    chainage = np.unique(np.concatenate([at_corner, steps]))
    x = np.interp(chainage, at_corner, corners[:, 0])
    y = np.interp(chainage, at_corner, corners[:, 1])
    return Profile(chainage, x, y, ground.levels_at(x, y))


def _known(value: float) -> float | None:
    return None if math.isnan(value) else float(value)


def fall_of(profile: Profile) -> Fall:
    """Fall, gradient and the parts that go the wrong way, of levels along a line."""
    level, length = profile.level_m, profile.length_m
    start, end = _known(level[0]), _known(level[-1])
    fall = None if start is None or end is None else start - end
    span, drop = np.diff(profile.chainage_m), -np.diff(level)
    unknown = np.isnan(drop)
    # Triangles kept to the millimetre are not flatter than this: less is rounding, no rise.
    wrong_way = np.zeros_like(unknown) if fall is None else np.sign(drop) == -np.sign(fall or 1)
    against = wrong_way & (np.abs(drop) > 1e-4 * span)
    seen = level[~np.isnan(level)]
    return Fall(
        length_m=length,
        start_level_m=start,
        end_level_m=end,
        fall_m=fall,
        gradient=None if fall is None else fall / length,
        lowest_m=float(seen.min()) if len(seen) else None,
        highest_m=float(seen.max()) if len(seen) else None,
        rises_m=float(span[against].sum()),
        unknown_m=float(span[unknown].sum()),
    )


def fall_working(fall: Fall, *, method: str) -> Working:
    """How a fall along a line was found; ``method`` says where the levels come from."""
    unknown = "not known"
    steps = [
        Step("L", "length along the line, in plan", fall.length_m, "m", source="measured"),
        Step(
            "z1",
            "level at the start",
            unknown if fall.start_level_m is None else fall.start_level_m,
            "m",
            source=method,
        ),
        Step(
            "z2",
            "level at the end",
            unknown if fall.end_level_m is None else fall.end_level_m,
            "m",
            source=method,
        ),
        Step("Δz", "fall", unknown if fall.fall_m is None else fall.fall_m, "m", "z1 − z2"),
        Step("i", "gradient", unknown if fall.gradient is None else fall.gradient, "m/m", "Δz / L"),
    ]
    notes = []
    if fall.rises_m:
        notes.append(f"{fall.rises_m:.0f} m of the line go against the fall.")
    if fall.unknown_m:
        notes.append(f"{fall.unknown_m:.0f} m of the line lie outside the surveyed ground.")
    return Working("Fall along the line", tuple(steps), tuple(notes))


def as_grid(ground: Ground, *, cell_m: float | None = None) -> GriddedGround:
    """The ground as a regular raster of levels, for contours and shading.

    cell_m  when not given, half the spacing of the survey, between 0.5 and 5 m, and coarser where
            it takes that to stay within 600,000 cells
    """
    west, south, east, north = ground.bounds
    width, height = east - west, north - south
    if cell_m is None:
        cell_m = min(max(ground.spacing_m / 2, 0.5), 5.0)
        cell_m = max(cell_m, math.sqrt(width * height / MOST_RASTER_CELLS))
    columns, rows = max(int(width / cell_m) + 1, 2), max(int(height / cell_m) + 1, 2)
    if columns * rows > 10 * MOST_RASTER_CELLS:
        raise ValueError(f"A raster of {columns} by {rows} cells is too fine; use a wider cell.")
    if isinstance(ground, GriddedGround) and math.isclose(ground.cell_m, cell_m):
        return ground
    x, y = np.meshgrid(west + np.arange(columns) * cell_m, south + np.arange(rows) * cell_m)
    return GriddedGround(west, south, cell_m, ground.levels_at(x, y).reshape(rows, columns))


@dataclass(frozen=True)
class Contour:
    """One line of equal level, in grid metres."""

    level_m: float
    line: Any


def contours(raster: GriddedGround, *, step_m: float) -> tuple[Contour, ...]:
    """Lines of equal level every ``step_m``, lowest first, thinned by a sixth of a cell.

    Raises ValueError for a step that is not positive or would draw more than 500 levels.
    """
    if not (math.isfinite(step_m) and step_m > 0):
        raise ValueError("The step between contours must be more than nothing.")
    low, high = float(np.nanmin(raster.levels)), float(np.nanmax(raster.levels))
    first, last = math.ceil(low / step_m - 1e-9), math.floor(high / step_m + 1e-9)
    if last - first > 500:
        raise ValueError(f"A step of {step_m:g} m gives {last - first} contours; use a larger one.")
    rows, columns = raster.levels.shape
    corner = np.array([raster.west, raster.south])
    drawer = contourpy.contour_generator(
        x=np.arange(columns) * raster.cell_m,
        y=np.arange(rows) * raster.cell_m,
        z=np.ma.masked_invalid(raster.levels),
        name="serial",
        line_type=contourpy.LineType.Separate,
    )
    drawn: list[Contour] = []
    for number in range(first, last + 1):
        level = round(number * step_m, 6)
        lines: list[Any] = list(drawer.lines(level))
        pieces = [shapely.LineString(line) for line in lines if len(line) > 1]
        thinned = shapely.simplify(np.array(pieces, dtype=object), raster.cell_m / 6)
        moved = shapely.transform(thinned, lambda c: c + corner)
        drawn += [Contour(level, line) for line in moved if line.length >= raster.cell_m]
    return tuple(drawn)


def slopes(raster: GriddedGround) -> tuple[Floats, Floats]:
    """Rise per metre to the east and to the north, from the eight neighbours of each cell.

    Horn's weights 1-2-1; the cells at the rim repeat their outermost neighbours.
    Source: B. K. P. Horn, Hill shading and the reflectance map, Proc. IEEE 69 (1981).
    """
    z = np.pad(raster.levels, 1, mode="edge")
    east = (z[:-2, 2:] + 2 * z[1:-1, 2:] + z[2:, 2:]) - (
        z[:-2, :-2] + 2 * z[1:-1, :-2] + z[2:, :-2]
    )
    north = (z[2:, :-2] + 2 * z[2:, 1:-1] + z[2:, 2:]) - (
        z[:-2, :-2] + 2 * z[:-2, 1:-1] + z[:-2, 2:]
    )
    return east / (8 * raster.cell_m), north / (8 * raster.cell_m)


def hillshade(
    raster: GriddedGround,
    *,
    azimuth_deg: float = 315,
    altitude_deg: float = 45,
    exaggeration: float = 3,
) -> Floats:
    """How brightly each cell is lit, 0 to 1; NaN where the ground is not known.

    The cosine between the ground's upright and the light (Lambert): (sin h - a·s_e - b·s_n) over
    the length of (s_e, s_n, 1), where s are the slopes times ``exaggeration`` and the light stands
    at azimuth (clockwise from grid north) and altitude h. Level ground is lit by sin h.
    """
    east, north = slopes(raster)
    east, north = east * exaggeration, north * exaggeration
    azimuth, altitude = math.radians(azimuth_deg), math.radians(altitude_deg)
    towards_east = math.cos(altitude) * math.sin(azimuth)
    towards_north = math.cos(altitude) * math.cos(azimuth)
    lit = (math.sin(altitude) - towards_east * east - towards_north * north) / np.sqrt(
        east**2 + north**2 + 1
    )
    return np.asarray(np.clip(lit, 0, 1), dtype=float)


def shading_for_map(
    raster: GriddedGround, epsg: int, *, most_pixels: int = 700_000, exaggeration: float = 8
) -> tuple[Floats, tuple[tuple[float, float], tuple[float, float]]]:
    """The hillshade laid out by longitude and latitude, north at the top, and its bounds.

    A web map places a picture by its corners only, so the turn between grid north and true north
    has to be in the picture already. A golf course is gentle ground, so heights are exaggerated
    to be seen at all. Returns ((south, west), (north, east)) in degrees.
    """
    light = hillshade(raster, exaggeration=exaggeration)
    lit = GriddedGround(raster.west, raster.south, raster.cell_m, light)
    west, south, east, north = raster.bounds
    x = np.concatenate([np.linspace(west, east, 9)] * 2 + [[west] * 9, [east] * 9])
    y = np.concatenate([[south] * 9, [north] * 9] + [np.linspace(south, north, 9)] * 2)
    lon, lat = grid.to_lonlat(epsg, x, y)
    columns, rows = raster.levels.shape[1], raster.levels.shape[0]
    finer = min(2.0, math.sqrt(most_pixels / (columns * rows)))
    columns, rows = max(int(columns * finer), 2), max(int(rows * finer), 2)
    lons = np.linspace(lon.min(), lon.max(), columns)
    lats = np.linspace(lat.max(), lat.min(), rows)
    at_lon, at_lat = np.meshgrid(lons, lats)
    px, py = grid.from_lonlat(epsg, at_lon.ravel(), at_lat.ravel())
    picture = lit.levels_at(px, py).reshape(rows, columns)
    return picture, (
        (float(lat.min()), float(lon.min())),
        (float(lat.max()), float(lon.max())),
    )


def dump_ground(ground: Ground) -> bytes:
    """The ground as one compressed archive: millimetres as whole numbers, no Python objects."""
    buffer = io.BytesIO()
    if isinstance(ground, GriddedGround):
        np.savez_compressed(
            buffer,
            frame=np.array([ground.west, ground.south, ground.cell_m]),
            levels=ground.levels.astype(np.float32),
        )
    else:
        low = np.floor(ground.points.min(axis=0))
        np.savez_compressed(
            buffer,
            low=low,
            points_mm=np.round((ground.points - low) * 1000).astype(np.int32),
            triangles=ground.triangles,
            neighbours=ground.neighbours,
            used=ground.used,
        )
    return buffer.getvalue()


def load_ground(data: bytes) -> Ground:
    """The ground that ``dump_ground`` wrote. Raises ValueError for anything else."""
    try:
        with np.load(io.BytesIO(data), allow_pickle=False) as kept:
            if "levels" in kept.files:
                west, south, cell_m = (float(value) for value in kept["frame"])
                return GriddedGround(west, south, cell_m, kept["levels"].astype(float))
            points = np.round(kept["low"] + kept["points_mm"] / 1000.0, 3)
            return TriangulatedGround(points, kept["triangles"], kept["neighbours"], kept["used"])
    except (EOFError, KeyError, OSError, ValueError, zipfile.BadZipFile) as error:
        raise ValueError("This is not a ground model written by this program.") from error
