"""The way a trailer takes over the course: round greens, tees, bunkers, water and trees.

The course is laid out in square cells. A cell is closed where a wheel must not go, dear where it
had better not (a fairway), and open elsewhere; the cheapest way between two places is found by
Dijkstra over the eight neighbours of each cell (scipy), then pulled straight wherever the straight
line is no dearer, and measured along its corners. Cells make a way too long by a few per cent and
know nothing of soft ground or of the day's play: it is a planning figure, and driven on foot first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from math import hypot, isfinite

import numpy as np
import numpy.typing as npt
import shapely
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra
from shapely.geometry.base import BaseGeometry

STEEP_OVER_M = 10.0
DEAR = 2.0  # a metre over a fairway counts as two when the way is chosen
MOST_CELLS = 250_000
_STEPS = ((0, 1), (1, 0), (1, 1), (1, -1))

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class HaulWay:
    """A way from one place to another, in the order it is driven."""

    points: tuple[tuple[float, float], ...]
    length_m: float
    is_round: bool  # False: no open way was found, and it is the straight line


@dataclass(frozen=True)
class HaulGrid:
    """Cells of the course with what a metre over each counts; infinite where it is closed."""

    west: float
    south: float
    cell_m: float
    counts: Floats  # rows from south to north

    def ways_to(
        self, place: tuple[float, float], starts: Sequence[tuple[float, float]]
    ) -> list[HaulWay]:
        """The way from each start to the place."""
        goal = self._open_cell_near(place)
        reached, came_by = dijkstra(
            self._graph, directed=False, indices=np.array([goal]), return_predecessors=True
        )
        far, before = reached[0], came_by[0]
        ways = []
        for start in starts:
            cell = self._open_cell_near(start)
            if not isfinite(float(far[cell])):
                ways.append(_straight(start, place))
                continue
            cells = [cell]
            while cells[-1] != goal:
                cells.append(int(before[cells[-1]]))
            inner = self._pulled_straight([self._centre(one) for one in cells])
            # The ends are where the work is; the cells only lead between them.
            points = (start, *inner[1:-1], place) if len(inner) > 2 else (start, place)
            ways.append(HaulWay(points, _length(points), True))
        return ways

    @cached_property
    def _graph(self) -> csr_array:
        rows, columns = self.counts.shape
        numbers = np.arange(rows * columns).reshape(rows, columns)
        starts, ends, weights = [], [], []
        for up, right in _STEPS:
            low = slice(None, rows - up)
            high = slice(up, None)
            left = slice(max(0, -right), columns - max(0, right))
            moved = slice(max(0, right), columns + min(0, right))
            here, there = self.counts[low, left], self.counts[high, moved]
            weight = (here + there) / 2 * self.cell_m * hypot(up, right)
            may = np.isfinite(weight)
            starts.append(numbers[low, left][may])
            ends.append(numbers[high, moved][may])
            weights.append(weight[may])
        size = rows * columns
        return csr_array(
            (np.concatenate(weights), (np.concatenate(starts), np.concatenate(ends))),
            shape=(size, size),
        )

    def _centre(self, cell: int) -> tuple[float, float]:
        row, column = divmod(cell, self.counts.shape[1])
        return (
            self.west + (column + 0.5) * self.cell_m,
            self.south + (row + 0.5) * self.cell_m,
        )

    def _cell_of(self, x: Floats, y: Floats) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
        rows, columns = self.counts.shape
        column = np.clip(((x - self.west) // self.cell_m).astype(np.intp), 0, columns - 1)
        row = np.clip(((y - self.south) // self.cell_m).astype(np.intp), 0, rows - 1)
        return row, column

    def _open_cell_near(self, place: tuple[float, float]) -> int:
        """The open cell nearest to the place: works lie on what is closed, a tee or a bunker."""
        rows, columns = np.nonzero(np.isfinite(self.counts))
        x = self.west + (columns + 0.5) * self.cell_m
        y = self.south + (rows + 0.5) * self.cell_m
        nearest = int(np.argmin((x - place[0]) ** 2 + (y - place[1]) ** 2))
        return int(rows[nearest] * self.counts.shape[1] + columns[nearest])

    def _counted(self, start: tuple[float, float], end: tuple[float, float]) -> float:
        """Metres of the straight line, each times what it counts; infinite over closed cells."""
        length = hypot(end[0] - start[0], end[1] - start[1])
        parts = max(int(length / self.cell_m * 3), 1)
        share = (np.arange(parts) + 0.5) / parts
        row, column = self._cell_of(
            start[0] + share * (end[0] - start[0]), start[1] + share * (end[1] - start[1])
        )
        return float(self.counts[row, column].mean()) * length

    def _pulled_straight(self, points: list[tuple[float, float]]) -> list[tuple[float, float]]:
        """The same way with corners left out wherever the straight line counts no more."""
        kept, at = [points[0]], 0
        while at < len(points) - 1:
            along = np.cumsum(
                [0.0]
                + [self._counted(a, b) for a, b in zip(points[at:], points[at + 1 :], strict=False)]
            )
            reach = 1
            for step in range(len(points) - 1 - at, 1, -1):
                if self._counted(points[at], points[at + step]) <= along[step] + 1e-9:
                    reach = step
                    break
            at += reach
            kept.append(points[at])
        return kept


def _length(points: Sequence[tuple[float, float]]) -> float:
    return sum(hypot(b[0] - a[0], b[1] - a[1]) for a, b in pairwise(points))


def _straight(start: tuple[float, float], end: tuple[float, float]) -> HaulWay:
    return HaulWay((start, end), _length((start, end)), False)


def haul_grid(
    bounds: tuple[float, float, float, float],
    *,
    closed: Sequence[BaseGeometry] = (),
    dear: Sequence[BaseGeometry] = (),
    crossings: Sequence[BaseGeometry] = (),
    cell_m: float = 8.0,
) -> HaulGrid:
    """Cells over ``bounds`` (west, south, east, north).

    ``closed`` no wheel crosses: areas, and lines of open water. ``crossings`` open a cell again
    whatever lies there: bridges, and paths over a ditch. ``dear`` is driven where it saves much.
    The cells grow where there would be more than a quarter of a million.
    ValueError for bounds without extent or a cell that is not longer than nothing.
    """
    west, south, east, north = bounds
    if not (east > west and north > south) or not all(isfinite(value) for value in bounds):
        raise ValueError("The course has no extent: draw its features first.")
    if not (cell_m > 0 and isfinite(cell_m)):
        raise ValueError(f"A cell must be longer than nothing, not {cell_m:g} m.")
    cell_m = max(cell_m, ((east - west) * (north - south) / MOST_CELLS) ** 0.5)
    columns = int((east - west) // cell_m) + 1
    rows = int((north - south) // cell_m) + 1
    x = west + (np.arange(columns) + 0.5) * cell_m
    y = south + (np.arange(rows) + 0.5) * cell_m
    across, up = (grid.ravel() for grid in np.meshgrid(x, y))
    counts = np.ones(rows * columns)
    for shapes, count in ((dear, DEAR), (closed, np.inf), (crossings, 1.0)):
        if shapes:
            # A line closes every cell it comes through, so that no corner slips over it.
            near = 0.75 * cell_m
            joined = shapely.union_all(
                [one if one.area else one.buffer(near) for one in shapes if not one.is_empty]
            )
            shapely.prepare(joined)
            counts[shapely.contains_xy(joined, across, up)] = count
    if not np.isfinite(counts).any():
        raise ValueError("Nothing on the course is open to a trailer.")
    return HaulGrid(west, south, cell_m, counts.reshape(rows, columns))


def steepest(chainage_m: Floats, level_m: Floats, *, over_m: float = STEEP_OVER_M) -> float | None:
    """The steepest rise or fall over any ``over_m`` of a way, m per m; None where unknown.

    Levels in between are read straight from one known point to the next; a way shorter than
    ``over_m`` is taken as a whole. ValueError unless ``over_m`` is longer than nothing.
    """
    if not over_m > 0:
        raise ValueError("A gradient is told over some length.")
    known = ~np.isnan(level_m)
    if known.sum() < 2:
        return None
    along, level = chainage_m[known], level_m[known]
    span = min(over_m, float(along[-1] - along[0]))
    if span <= 0:
        return None
    starts = np.unique(np.concatenate([along, along - span]))
    starts = starts[(starts >= along[0]) & (starts + span <= along[-1] + 1e-9)]
    rise = np.interp(starts + span, along, level) - np.interp(starts, along, level)
    return float(np.abs(rise).max() / span)
