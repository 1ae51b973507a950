"""Levels everywhere, from spot heights or from a regular grid."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.spatial import Delaunay, QhullError, cKDTree

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
