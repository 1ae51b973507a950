"""Contours and shading: the ground as it is drawn."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import contourpy
import numpy as np
import shapely

from worksprog.calc import grid
from worksprog.calc.ground.model import Floats, GriddedGround


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
    return laid_out_for_map(lit, epsg, most_pixels=most_pixels)


def laid_out_for_map(
    values: GriddedGround, epsg: int, *, most_pixels: int = 700_000
) -> tuple[Floats, tuple[tuple[float, float], tuple[float, float]]]:
    """Any values of a raster laid out by longitude and latitude, north at the top, and its bounds.

    Values between cells are bilinear. Returns ((south, west), (north, east)) in degrees.
    """
    west, south, east, north = values.bounds
    x = np.concatenate([np.linspace(west, east, 9)] * 2 + [[west] * 9, [east] * 9])
    y = np.concatenate([[south] * 9, [north] * 9] + [np.linspace(south, north, 9)] * 2)
    lon, lat = grid.to_lonlat(epsg, x, y)
    columns, rows = values.levels.shape[1], values.levels.shape[0]
    finer = min(2.0, math.sqrt(most_pixels / (columns * rows)))
    columns, rows = max(int(columns * finer), 2), max(int(rows * finer), 2)
    lons = np.linspace(lon.min(), lon.max(), columns)
    lats = np.linspace(lat.max(), lat.min(), rows)
    at_lon, at_lat = np.meshgrid(lons, lats)
    px, py = grid.from_lonlat(epsg, at_lon.ravel(), at_lat.ravel())
    picture = values.levels_at(px, py).reshape(rows, columns)
    return picture, (
        (float(lat.min()), float(lon.min())),
        (float(lat.max()), float(lon.max())),
    )
