"""Ground delivered as a grid of levels: GeoTIFF or ASCII grid."""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import rasterio
from rasterio.errors import NotGeoreferencedWarning, RasterioError

from worksprog.calc import grid
from worksprog.calc.ground import GriddedGround, ground_from_grid
from worksprog.course.reading import files
from worksprog.course.reading.files import Sort
from worksprog.course.reading.place import Box, check_place
from worksprog.course.reading.results import ReadError, many
from worksprog.course.reading.spot_heights import HIGHEST_M, LOWEST_M

MOST_CELLS = 25_000_000
KEPT_CELLS = 2_000_000
AROUND_M = 300.0


@dataclass(frozen=True, eq=False)
class GridRead:
    """ground: levels in the club's grid; cells: how many of them are known."""

    ground: GriddedGround
    cells: int
    notices: tuple[str, ...]


def read_ground_grid(
    path: Path, sort: Sort, *, epsg: int, near: Box | None = None, keep: Box | None = None
) -> GridRead:
    """Read a grid of levels.

    epsg  the club's grid; a file that states another is converted, one that states none is taken
          as being in it
    near  west, south, east, north of the course, to tell a wrong grid; None for a first survey
    keep  the part wanted, kept with 300 m around it; None keeps all
    Raises ReadError when the file as a whole cannot be used.
    """
    notices: list[str] = []
    ending, driver = (".tif", "GTiff") if sort is Sort.GEOTIFF else (".asc", "AAIGrid")
    with files.private_copy(path, ending) as copy:
        levels, west, north, step_x, step_y, crs = _opened(copy, driver, notices)
    levels = _only_levels(levels, notices)
    if not np.isfinite(levels).any():
        raise ReadError("The grid holds no level: every cell is marked as having none.")
    if not math.isclose(step_x, step_y, rel_tol=1e-4):
        raise ReadError(
            f"The grid's cells are not square ({step_x:g} by {step_y:g}); expected square cells."
        )
    rows = levels.shape[0]
    source = GriddedGround(
        west=west + step_x / 2,
        south=north - (rows - 0.5) * step_y,
        cell_m=step_x,
        levels=levels[::-1],
    )
    stated = None if crs is None else pyproj.CRS.from_user_input(crs)
    own = pyproj.CRS.from_epsg(epsg)
    if stated is None:
        notices.append(f"The file does not state its grid; taken as EPSG {epsg}.")
    if stated is None or stated.to_epsg() == epsg or stated.equals(own, ignore_axis_order=True):
        _check_corners(source, epsg, near)
        ground = source
    else:
        ground = _converted(source, crs or "", epsg, near, keep)
        notices.append(f"The grid is in {stated.name}; it was converted to EPSG {epsg}.")
    ground = _near_only(ground, keep, notices)
    ground = _coarser(ground, notices)
    try:
        ground = ground_from_grid(
            west=ground.west, south=ground.south, cell_m=ground.cell_m, levels=ground.levels
        )
    except ValueError as error:
        raise ReadError(f"{error} Nothing was saved.") from error
    empty = ground.levels.size - ground.count
    if empty:
        notices.append(f"{many(empty, 'cell')} of {ground.levels.size:,} have no level.")
    return GridRead(ground, ground.count, tuple(notices))


def _opened(
    path: Path, driver: str, notices: list[str]
) -> tuple[Any, float, float, float, float, str | None]:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", NotGeoreferencedWarning)
            with rasterio.open(path, driver=driver) as file:
                if file.width * file.height > MOST_CELLS:
                    raise ReadError(
                        f"The grid has {file.width:,} by {file.height:,} cells; the most that is "
                        f"taken is {MOST_CELLS:,}. Deliver the part around the course."
                    )
                if file.count >= 3 and file.dtypes[0] == "uint8":
                    raise ReadError("The file is a coloured picture, not a grid of levels.")
                if file.count > 1:
                    notices.append(f"The file has {file.count} bands; the first one was read.")
                place = file.transform
                if place.is_identity:
                    raise ReadError("The file does not say where it lies (no georeference).")
                if place.b or place.d:
                    raise ReadError("The grid is turned against the map grid; deliver it straight.")
                if place.a <= 0 or place.e >= 0:
                    raise ReadError("The grid's rows do not run from north to south.")
                levels = file.read(1, masked=True).astype("float64").filled(np.nan)
                crs = file.crs.to_wkt() if file.crs else None
                return levels, place.c, place.f, place.a, -place.e, crs
    except (RasterioError, ValueError) as error:
        if isinstance(error, ReadError):
            raise
        raise ReadError("The grid is damaged or cut short and cannot be read.") from error


def _only_levels(levels: Any, notices: list[str]) -> Any:
    wild = np.isfinite(levels) & ((levels < LOWEST_M) | (levels > HIGHEST_M))
    if wild.any():
        notices.append(
            f"{many(int(wild.sum()), 'cell')} hold values that are no levels (such as "
            f"{levels[wild][0]:g}); they count as empty."
        )
    return np.where(wild | ~np.isfinite(levels), np.nan, levels)


def _corners(ground: GriddedGround) -> tuple[Any, Any]:
    """A spread of places over the grid, so that one far corner does not decide."""
    west, south, east, north = ground.bounds
    x, y = np.meshgrid(np.linspace(west, east, 9), np.linspace(south, north, 9))
    return x.ravel(), y.ravel()


def _check_corners(ground: GriddedGround, epsg: int, near: Box | None) -> None:
    x, y = _corners(ground)
    if near is not None:
        west, south, east, north = ground.bounds
        overlaps = west <= near[2] and east >= near[0] and south <= near[3] and north >= near[1]
        if overlaps:
            return
    check_place(x, y, epsg, near)


def _converted(
    source: GriddedGround, crs: str, epsg: int, near: Box | None, keep: Box | None
) -> GriddedGround:
    """Levels sampled at the crossings of a grid of the club's own, of about the same cell."""
    target = f"EPSG:{epsg}"
    x, y = _corners(source)
    try:
        px, py = grid.convert(crs, target, x, y)
    except ValueError as error:
        raise ReadError(f"The grid does not lie where EPSG {epsg} can show it.") from error
    check_place(px, py, epsg, near)
    west, south, east, north = px.min(), py.min(), px.max(), py.max()
    cell = math.sqrt((east - west) * (north - south) / source.levels.size)
    if keep is not None:
        west, south = max(west, keep[0] - AROUND_M), max(south, keep[1] - AROUND_M)
        east, north = min(east, keep[2] + AROUND_M), min(north, keep[3] + AROUND_M)
    columns, rows = int((east - west) / cell) + 1, int((north - south) / cell) + 1
    if columns < 2 or rows < 2:
        raise ReadError("The grid does not reach the course.")
    at_x, at_y = np.meshgrid(west + np.arange(columns) * cell, south + np.arange(rows) * cell)
    sx, sy = grid.convert(target, crs, at_x.ravel(), at_y.ravel())
    levels = source.levels_at(sx, sy).reshape(rows, columns)
    return GriddedGround(float(west), float(south), cell, levels)


def _near_only(ground: GriddedGround, keep: Box | None, notices: list[str]) -> GriddedGround:
    if keep is None:
        return ground
    west, south, east, north = ground.bounds
    cell, (rows, columns) = ground.cell_m, ground.levels.shape
    left = max(int((keep[0] - AROUND_M - west) / cell), 0)
    low = max(int((keep[1] - AROUND_M - south) / cell), 0)
    right = columns - max(int((east - keep[2] - AROUND_M) / cell), 0)
    top = rows - max(int((north - keep[3] - AROUND_M) / cell), 0)
    if right - left < 2 or top - low < 2:
        raise ReadError("The grid does not reach the course.")
    if (left, low, right, top) == (0, 0, columns, rows):
        return ground
    notices.append(f"Only the part within {AROUND_M:.0f} m around the course is kept.")
    return GriddedGround(
        west + left * cell, south + low * cell, cell, ground.levels[low:top, left:right]
    )


def _coarser(ground: GriddedGround, notices: list[str]) -> GriddedGround:
    """Means of whole blocks of cells where the grid is finer than is worth keeping."""
    block = math.ceil(math.sqrt(ground.levels.size / KEPT_CELLS))
    if block <= 1:
        return ground
    rows, columns = (size // block for size in ground.levels.shape)
    blocks = ground.levels[: rows * block, : columns * block].reshape(rows, block, columns, block)
    known = np.isfinite(blocks)
    total = np.where(known, blocks, 0).sum(axis=(1, 3))
    count = known.sum(axis=(1, 3))
    levels = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    cell, shift = ground.cell_m * block, (block - 1) / 2 * ground.cell_m
    notices.append(f"Cells of {ground.cell_m:g} m were averaged to cells of {cell:g} m.")
    return GriddedGround(ground.west + shift, ground.south + shift, cell, levels)
