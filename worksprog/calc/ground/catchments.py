"""What drains to a place, and to each drain of a network at once."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely
from scipy import ndimage

from worksprog.calc.ground import kernel
from worksprog.calc.ground.hollows import outline_of
from worksprog.calc.ground.model import GriddedGround
from worksprog.calc.ground.running import (
    RunningWater,
    Way,
    cell_at,
    run_water,
    way_cells,
    way_through,
)
from worksprog.calc.working import Step, Working

BURNED_M = 0.5


@dataclass(frozen=True, eq=False)
class Catchment:
    """The ground whose water passes a place or reaches a drain first.

    longest    the longest way water takes over it; its fall over its length is the mean fall
    edge_m     length of the surveyed ground's edge that it touches: beyond it more may drain here
    at_spill   the place lies in a hollow, so it is taken where that spills
    """

    area_m2: float
    outline: Any
    longest: Way
    edge_m: float
    at_spill: bool = False

    @property
    def mean_fall(self) -> float | None:
        """Fall per metre along the longest way; None where there is no way to speak of."""
        return self.longest.fall_m / self.longest.length_m if self.longest.length_m else None

    def working(self, cell_m: float) -> Working:
        path = self.longest
        steps = [
            Step("c", "side of a cell", cell_m, "m", source="chosen by the spacing of the survey"),
            Step("n", "cells whose water comes here", self.area_m2 / cell_m**2, ""),
            Step("A", "area", self.area_m2 / 10_000, "ha", "n · c² / 10,000"),
            Step("L", "longest way over the ground", path.length_m, "m", "Σ steps, c or √2 · c"),
            Step("z1", "level where it begins", path.start_level_m, "m", source="ground model"),
            Step("z2", "level where it ends", path.end_level_m, "m", source="ground model"),
            Step("H", "fall along it", path.fall_m, "m", "z1 − z2"),
        ]
        if self.mean_fall is not None:
            steps.append(Step("S", "mean fall", self.mean_fall, "m/m", "H / L"))
        notes = ["Each cell gives to that of its eight neighbours to which the fall is steepest."]
        if self.at_spill:
            notes.append("The place lies in a hollow: taken where that spills, once it is full.")
        if self.edge_m:
            notes.append(
                f"It touches {self.edge_m:.0f} m of the edge of the surveyed ground; "
                "what lies beyond may drain here too."
            )
        return Working("Catchment by the ground", tuple(steps), tuple(notes))


def _edge_cells(raster: GriddedGround) -> npt.NDArray[np.bool_]:
    known = np.pad(np.isfinite(raster.levels), 1)
    inner = known[:-2, 1:-1] & known[2:, 1:-1] & known[1:-1, :-2] & known[1:-1, 2:]
    return np.asarray(np.isfinite(raster.levels) & ~inner)


def catchment_of(water: RunningWater, x: float, y: float, *, within_m: float = 0.0) -> Catchment:
    """What drains to a place over the ground, hollows on the way full.

    within_m  look for the cell where most water passes within this distance: a finger on a map
              seldom meets the very line of a flow path
    A place in a closed hollow has the hollow's whole catchment, taken where it spills: on filled
    ground the single cell would have a chance part of it.
    Raises ValueError for a place outside the ground.
    """
    raster = water.raster
    start = cell_at(raster, x, y)
    if within_m > 0:
        start = _most_water_near(water, start, within_m)
    levels, filled = raster.levels.ravel(), water.filled.ravel()
    asked = start
    start = next(cell for cell in way_cells(water.down, start) if filled[cell] <= levels[cell])
    cells, away = kernel.upstream(water.down, start)
    rows, columns = np.divmod(cells, water.down.shape[1])
    low, left = int(rows.min()), int(columns.min())
    mask = np.zeros((int(rows.max()) - low + 1, int(columns.max()) - left + 1), dtype=bool)
    mask[rows - low, columns - left] = True
    edge = _edge_cells(raster).ravel()[cells]
    top = int(cells[int(away.argmax())])
    way = way_cells(water.down, top)
    return Catchment(
        len(cells) * water.cell_area_m2,
        outline_of(raster, mask, at=(low, left)),
        way_through(water, way[: way.index(start) + 1]),
        float(edge.sum()) * raster.cell_m,
        start != asked,
    )


def _most_water_near(water: RunningWater, start: int, within_m: float) -> int:
    columns = water.down.shape[1]
    row, column = divmod(start, columns)
    reach = int(within_m / water.raster.cell_m)
    low, left = max(row - reach, 0), max(column - reach, 0)
    window = water.cells[low : row + reach + 1, left : column + reach + 1]
    r, c = np.ogrid[: window.shape[0], : window.shape[1]]
    near = np.hypot(r + low - row, c + left - column) * water.raster.cell_m <= within_m
    best = int(np.where(near, window, -1).argmax())
    return int((best // window.shape[1] + low) * columns + best % window.shape[1] + left)


@dataclass(frozen=True)
class Drain:
    """A reach as the ground sees it: its line, and the ponds that it drains.

    key    whose share it is
    shape  shapely LineString, or Polygon of a pond, in grid metres
    """

    key: str
    shape: Any


@dataclass(frozen=True, eq=False)
class Shares:
    """Each drain's own share of the ground; with the rest they are the whole of it.

    catchments  by key; a drain that no ground drains to has none
    outside     keys whose drains lie wholly outside the surveyed ground
    partly      keys with part of the drain outside it, and how long that part is (m)
    rest_m2     ground whose water leaves without meeting a drain
    """

    catchments: dict[str, Catchment]
    outside: tuple[str, ...]
    partly: dict[str, float]
    rest_m2: float
    whole_m2: float
    cell_m: float


def touched_cells(raster: GriddedGround, shape: Any) -> npt.NDArray[np.int32]:
    """Every cell that a line or polygon touches, also at a corner only.

    A line's cells then hang together by their sides, and no way by eight neighbours slips through.
    """
    rows, columns = raster.levels.shape
    west, south, east, north = shape.bounds
    cell_m = raster.cell_m
    left = max(math.floor((west - raster.west) / cell_m - 0.5), 0)
    right = min(math.ceil((east - raster.west) / cell_m + 0.5), columns - 1)
    low = max(math.floor((south - raster.south) / cell_m - 0.5), 0)
    high = min(math.ceil((north - raster.south) / cell_m + 0.5), rows - 1)
    if left > right or low > high:
        return np.empty(0, dtype=np.int32)
    # Lines are followed in short pieces: a long slanting one has a box with far more cells.
    if shape.geom_type == "LineString" and (right - left + 1) * (high - low + 1) > 4096:
        middle = shapely.line_interpolate_point(shape, 0.5, normalized=True)
        halves = _halves(shape, middle)
        if halves is not None:
            return np.unique(np.concatenate([touched_cells(raster, half) for half in halves]))
    r, c = np.meshgrid(np.arange(low, high + 1), np.arange(left, right + 1), indexing="ij")
    x, y, half = raster.west + c * cell_m, raster.south + r * cell_m, cell_m / 2
    shapely.prepare(shape)
    hit = shapely.intersects(shape, shapely.box(x - half, y - half, x + half, y + half))
    return np.asarray((r * columns + c)[hit], dtype=np.int32)


def _halves(line: Any, middle: Any) -> tuple[Any, Any] | None:
    points = shapely.get_coordinates(line)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    if along[-1] <= 0:
        return None
    at = int(np.searchsorted(along, along[-1] / 2, side="right"))
    here = shapely.get_coordinates(middle)
    return (
        shapely.LineString(np.vstack([points[:at], here])),
        shapely.LineString(np.vstack([here, points[at:]])),
    )


def shares_of(
    raster: GriddedGround, drains: Sequence[Drain], *, burned_m: float = BURNED_M
) -> Shares:
    """Each drain's own share of the ground: cells go to the first drain their water reaches.

    The cells a drain touches are lowered by ``burned_m``, so that the ground beside it gives in,
    and take their water away: nothing runs on over the ground from them, and hollows spill into
    them. Where several drains touch one cell it counts for the first given. Of two drains that
    cross, each has its own ground; pipes are met from above like ditches.
    Hollows are filled, so a share includes ground behind them. Raises ValueError for no drains or
    two of one key.
    """
    if not drains:
        raise ValueError("There is no drain to which the ground could be shared out.")
    if len({drain.key for drain in drains}) < len(drains):
        raise ValueError("Two drains have one key.")
    if not burned_m >= 0:
        raise ValueError("Drains are burned in by a depth of nothing or more.")
    marks = np.zeros(raster.levels.size, dtype=np.int32)
    known = np.isfinite(raster.levels).ravel()
    outside, partly = [], {}
    for number, drain in enumerate(drains, start=1):
        cells = touched_cells(raster, drain.shape)
        on_ground = cells[known[cells]]
        if not len(on_ground):
            outside.append(drain.key)
            continue
        off_m = _off_ground_m(raster, drain.shape, known)
        if off_m > raster.cell_m:
            partly[drain.key] = off_m
        marks[on_ground[marks[on_ground] == 0]] = number
    drained = marks.reshape(raster.levels.shape)
    burned = replace(raster, levels=raster.levels - burned_m * (drained > 0))
    water = run_water(burned, outlets=drained > 0)
    first, away = kernel.hand_up(water.down, water.order, drained)
    first[np.isnan(raster.levels)] = 0
    as_given = replace(water, raster=raster)
    catchments = _catchments(as_given, first, away, [drain.key for drain in drains])
    cell_area = raster.cell_m**2
    return Shares(
        catchments,
        tuple(outside),
        partly,
        float((known.reshape(first.shape) & (first == 0)).sum()) * cell_area,
        float(known.sum()) * cell_area,
        raster.cell_m,
    )


def _off_ground_m(raster: GriddedGround, shape: Any, known: npt.NDArray[np.bool_]) -> float:
    """How much of a line's length lies where no level is known, by points half a cell apart."""
    steps = max(int(shape.length / (raster.cell_m / 2)), 1)
    outline = shape if shape.geom_type == "LineString" else shape.exterior
    points = shapely.line_interpolate_point(
        outline, (np.arange(steps) + 0.5) / steps, normalized=True
    )
    at = shapely.get_coordinates(points)
    rows, columns = raster.levels.shape
    column = np.rint((at[:, 0] - raster.west) / raster.cell_m).astype(int)
    row = np.rint((at[:, 1] - raster.south) / raster.cell_m).astype(int)
    inside = (row >= 0) & (column >= 0) & (row < rows) & (column < columns)
    there = np.zeros(len(at), dtype=bool)
    there[inside] = known[row[inside] * columns + column[inside]]
    return float(outline.length) * float((~there).mean())


def _catchments(
    water: RunningWater, first: npt.NDArray[np.int32], away: Any, keys: Sequence[str]
) -> dict[str, Catchment]:
    edge = _edge_cells(water.raster)
    found = {}
    boxes: list[Any] = list(ndimage.find_objects(first, max_label=len(keys)))
    for number, box in enumerate(boxes, start=1):
        if box is None:
            continue
        mask = first[box] == number
        top = int(np.where(mask, away[box], -1).argmax())
        row, column = divmod(top, mask.shape[1])
        start = (row + box[0].start) * first.shape[1] + column + box[1].start
        found[keys[number - 1]] = Catchment(
            float(mask.sum()) * water.cell_area_m2,
            outline_of(water.raster, mask, at=(box[0].start, box[1].start)),
            way_through(water, way_cells(water.down, start)),
            float((edge[box] & mask).sum()) * water.raster.cell_m,
        )
    return found
