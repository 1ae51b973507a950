"""Closed hollows: where water stands after rain until it seeps away, is drained or spills over."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely
from scipy import ndimage

from worksprog.calc.ground.model import GriddedGround
from worksprog.calc.ground.running import RunningWater
from worksprog.calc.working import Step, Working


@dataclass(frozen=True, eq=False)
class Hollow:
    """A closed hollow, full to its spill.

    spill_m  level at which it runs over
    lowest   easting and northing of its lowest cell
    """

    depth_m: float
    area_m2: float
    volume_m3: float
    spill_m: float
    lowest: tuple[float, float]
    outline: Any

    def working(self, cell_m: float) -> Working:
        cells = self.area_m2 / cell_m**2
        steps = (
            Step("c", "side of a cell", cell_m, "m", source="chosen by the spacing of the survey"),
            Step("zs", "level at which it spills", self.spill_m, "m", source="ground model"),
            Step(
                "zl", "lowest level in it", self.spill_m - self.depth_m, "m", source="ground model"
            ),
            Step("d", "greatest depth", self.depth_m, "m", "zs − zl"),
            Step("n", "cells under water", cells, ""),
            Step("A", "area", self.area_m2, "m²", "n · c²"),
            Step("V", "volume", self.volume_m3, "m³", "Σ (zs − z) · c²"),
        )
        return Working("Hollow, full to its spill", steps)


def hollows_of(
    water: RunningWater, *, least_depth_m: float = 0.05, least_area_m2: float = 10.0
) -> tuple[Hollow, ...]:
    """The closed hollows, largest volume first.

    depth = filled − level; a hollow is the touching cells (diagonals too) with any depth; its
    volume is Σ depth · cell². Those shallower than ``least_depth_m`` or smaller than
    ``least_area_m2`` are left out: they are within what levels and cells can tell.
    A hollow cut by the rim or by missing ground is not closed and is not found.
    """
    levels, filled, cell_m = water.raster.levels, water.filled, water.raster.cell_m
    depth = np.nan_to_num(filled - levels)
    marks, _ = ndimage.label(depth > 1e-9, structure=np.ones((3, 3)))
    found = []
    for number, box in enumerate(ndimage.find_objects(marks), start=1):
        mine = marks[box] == number
        deep = np.where(mine, depth[box], 0)
        area = float(mine.sum()) * cell_m**2
        deepest = int(deep.argmax())
        if deep.ravel()[deepest] < least_depth_m or area < least_area_m2:
            continue
        row, column = divmod(deepest, mine.shape[1])
        row, column = row + box[0].start, column + box[1].start
        found.append(
            Hollow(
                float(deep.max()),
                area,
                float(deep.sum()) * cell_m**2,
                float(filled[row, column]),
                (water.raster.west + column * cell_m, water.raster.south + row * cell_m),
                outline_of(water.raster, mine, at=(box[0].start, box[1].start)),
            )
        )
    return tuple(sorted(found, key=lambda one: -one.volume_m3))


def outline_of(
    raster: GriddedGround, mask: npt.NDArray[np.bool_], *, at: tuple[int, int] = (0, 0)
) -> Any:
    """The outline of marked cells as a shapely Polygon or MultiPolygon, along cell edges.

    ``at`` is the row and column of the mask's first cell in the raster.
    """
    runs = np.array(list(_runs(mask)), dtype=float).reshape(-1, 3)
    half = raster.cell_m / 2
    low = raster.south + (runs[:, 0] + at[0]) * raster.cell_m - half
    left = raster.west + (runs[:, 1] + at[1]) * raster.cell_m - half
    right = raster.west + (runs[:, 2] + at[1]) * raster.cell_m - half
    return shapely.union_all(shapely.box(left, low, right, low + raster.cell_m))


def _runs(mask: npt.NDArray[np.bool_]) -> Iterator[tuple[int, int, int]]:
    """(row, first column, column after the last) of each run of marked cells."""
    edges = np.diff(np.pad(mask.astype(np.int8), ((0, 0), (1, 1))), axis=1)
    starts, ends = np.argwhere(edges == 1), np.argwhere(edges == -1)
    for (row, first), (_, last) in zip(starts.tolist(), ends.tolist(), strict=True):
        yield row, first, last
