"""Where water runs over the ground: filled levels, directions, what gathers, wetness, one drop's way.

The surface only: soil, drains under it, culverts and grass are not known here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely

from worksprog.calc.ground import kernel
from worksprog.calc.ground.model import Bools, Floats, GriddedGround, Ground, as_grid

LEAST_SLOPE = 0.001
MOST_WATER_CELLS = 1_000_000
_CELL_OF_SPACING = 4
Cells = npt.NDArray[np.int32]
Codes = npt.NDArray[np.int8]


@dataclass(frozen=True, eq=False)
class RunningWater:
    """How water runs over a raster of levels.

    raster  the levels as given (burned in where drains were)
    filled  levels with every closed hollow filled to its spill
    down    the neighbour each cell gives to (``kernel``); -1 where water leaves, -2 no ground
    order   cells from the outlets upwards: each comes after the one it gives to
    """

    raster: GriddedGround
    filled: Floats
    down: Codes
    order: Cells

    @cached_property
    def cells(self) -> Cells:
        """How many cells' water passes each cell, itself among them; 0 where there is no ground.

        At the places where water leaves these add up to all cells with ground.
        """
        return np.asarray(kernel.gather(self.down, self.order))

    @property
    def cell_area_m2(self) -> float:
        return self.raster.cell_m**2

    def place_of(self, cell: int) -> tuple[float, float]:
        return place_of(self.raster, cell)


def place_of(raster: GriddedGround, cell: int) -> tuple[float, float]:
    """Easting and northing of the middle of a cell."""
    row, column = divmod(int(cell), raster.levels.shape[1])
    return raster.west + column * raster.cell_m, raster.south + row * raster.cell_m


def cell_at(raster: GriddedGround, x: float, y: float) -> int:
    """The cell at a place. Raises ValueError outside the raster or where no level is known."""
    rows, columns = raster.levels.shape
    column, row = (x - raster.west) / raster.cell_m, (y - raster.south) / raster.cell_m
    if not (math.isfinite(row) and math.isfinite(column)):
        raise ValueError("A place needs an easting and a northing.")
    r, c = round(row), round(column)
    if not (0 <= r < rows and 0 <= c < columns) or math.isnan(raster.levels[r, c]):
        raise ValueError(
            f"Easting {x:.1f}, northing {y:.1f} lies outside the ground whose levels are known."
        )
    return int(r * columns + c)


def as_water_grid(ground: Ground, *, cell_m: float | None = None) -> GriddedGround:
    """The raster on which water is followed.

    A quarter of the survey's spacing, between 0.5 and 2 m, coarser where it takes that to stay
    within a million cells (common practice, no source: finer cells know no more than the survey).
    A ground that is a grid already is taken as it is, up to nine million cells.
    """
    if isinstance(ground, GriddedGround) and cell_m is None and ground.levels.size <= 9_000_000:
        return ground
    west, south, east, north = ground.bounds
    if cell_m is None:
        cell_m = min(max(ground.spacing_m / _CELL_OF_SPACING, 0.5), 2.0)
        cell_m = max(cell_m, math.sqrt((east - west) * (north - south) / MOST_WATER_CELLS))
    return as_grid(ground, cell_m=cell_m)


def run_water(
    raster: GriddedGround,
    *,
    outlets: npt.ArrayLike | None = None,
    through_hollows: bool = True,
) -> RunningWater:
    """Fill the hollows of a raster and find each cell's way down, in O(n log n) for n cells.

    Filling: flooded inwards from the outlets by a priority queue (priority-flood), so that every
    closed hollow stands full to its spill. Outlets are the cells of the rim, those beside missing
    ground (NaN), and any marked in ``outlets``: beyond them nothing is known, so water leaves.
    Directions (D8): to the one of eight neighbours on the filled levels with the steepest fall,
    drop / distance, the diagonal distance √2 cells. Slopes within 1e-10 are equal; of equals the
    first is taken in the order S, W, N, E, SW, NW, NE, SE. A cell that no neighbour lies below —
    on a flat or a filled hollow — gives the way the flood came, which is a way with fewest steps
    to where the flat spills. A rim cell gives inwards where that is lower.

    outlets          mask in which water is taken away whatever lies lower, drains for instance
    through_hollows  False leaves hollows as they are: water ends at their lowest cell, and on
                     flats at every cell without a lower neighbour
    Raises ValueError for a mask of another shape.
    """
    levels = np.ascontiguousarray(raster.levels, dtype=np.float64)
    mask = np.zeros(levels.shape, dtype=np.bool_) if outlets is None else np.asarray(outlets, bool)
    if mask.shape != levels.shape:
        raise ValueError(
            f"The outlets are {mask.shape}, the levels {levels.shape}: not one raster."
        )
    if through_hollows:
        filled, order, met = kernel.fill(levels, mask)
    else:
        filled = levels
        order = np.argsort(levels, axis=None, kind="stable").astype(np.int32)
        order = order[: int(np.isfinite(levels).sum())]
        met = np.where(np.isnan(levels), kernel.NO_GROUND, kernel.LEAVES).astype(np.int8)
    down = kernel.directions(filled, met, mask, raster.cell_m)
    return RunningWater(raster, filled, down, order)


def wetness_of(water: RunningWater, *, least_slope: float = LEAST_SLOPE) -> npt.NDArray[np.float32]:
    """The topographic wetness index ln(a / tan b) of each cell; NaN where there is no ground.

    a      area above the cell per metre of contour: cells · cell_m² / cell_m (m)
    tan b  slope of the ground as given, Horn's weights; a missing neighbour is mirrored across
    Slopes under ``least_slope`` count as that, for the index has no end on level ground.
    Source: K. J. Beven and M. J. Kirkby, Hydrological Sciences Bulletin 24 (1979).
    Tells where ground tends to be wet by its shape alone; drains and soil are not in it.
    """
    if not least_slope > 0:
        raise ValueError("The least slope must be more than nothing.")
    raster = water.raster
    return np.asarray(kernel.wetness(raster.levels, water.cells, raster.cell_m, least_slope))


@dataclass(frozen=True, eq=False)
class Way:
    """A drop of rain's way over the ground, from where it falls to where it leaves.

    line     shapely LineString through cell middles; None when it leaves where it falls
    stood_m  length of it through hollows, which must be full before water runs on
    """

    line: Any
    length_m: float
    start_level_m: float
    end_level_m: float
    stood_m: float

    @property
    def fall_m(self) -> float:
        return self.start_level_m - self.end_level_m


def way_cells(down: Codes, start: int) -> list[int]:
    columns, flat = down.shape[1], down.ravel()
    steps = kernel.ROW * columns + kernel.COLUMN
    found, cell = [start], start
    while flat[cell] >= 0:
        cell += int(steps[flat[cell]])
        found.append(cell)
    return found


def way_from(water: RunningWater, x: float, y: float) -> Way:
    """The way from a place down to where its water leaves. ValueError outside the ground."""
    start = cell_at(water.raster, x, y)
    return way_through(water, way_cells(water.down, start))


def way_through(water: RunningWater, cells: list[int]) -> Way:
    levels, filled = water.raster.levels.ravel(), water.filled.ravel()
    points = [water.place_of(cell) for cell in cells]
    line = shapely.LineString(points) if len(points) > 1 else None
    stood = sum(
        math.dist(points[at], points[at + 1])
        for at, cell in enumerate(cells[:-1])
        if filled[cell] > levels[cell]
    )
    return Way(
        line,
        float(line.length) if line is not None else 0.0,
        float(levels[cells[0]]),
        float(levels[cells[-1]]),
        stood,
    )


@dataclass(frozen=True, eq=False)
class FlowPath:
    """A line along which water gathers, from its head or a meeting down to the next meeting."""

    line: Any
    area_m2: float


def flow_paths(water: RunningWater, *, least_area_m2: float) -> tuple[FlowPath, ...]:
    """Lines where the water of at least this area passes; each with the area at its lower end."""
    if not least_area_m2 > 0:
        raise ValueError("A flow path needs an area above it of more than nothing.")
    cells, flat, columns = water.cells.ravel(), water.down.ravel(), water.down.shape[1]
    steps = kernel.ROW * columns + kernel.COLUMN
    wet: Bools = cells * water.cell_area_m2 >= least_area_m2
    of_path = np.flatnonzero(wet)
    giving = of_path[flat[of_path] >= 0]
    below = giving + steps[flat[giving]]
    met = np.zeros(len(flat), dtype=np.int8)
    np.add.at(met, below, 1)
    found = []
    for head in giving[met[giving] != 1]:
        path = [int(head)]
        while flat[path[-1]] >= 0:
            path.append(path[-1] + int(steps[flat[path[-1]]]))
            if met[path[-1]] > 1:
                break
        last = path[-2] if met[path[-1]] > 1 else path[-1]
        line = shapely.LineString([water.place_of(cell) for cell in path])
        found.append(FlowPath(line, float(cells[last]) * water.cell_area_m2))
    return tuple(found)
