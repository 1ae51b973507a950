"""Do the coordinates of a file lie on this course, in this grid, the right way round?"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from worksprog.calc import grid
from worksprog.course.reading.results import AxesSwapped, ReadError

Box = tuple[float, float, float, float]
Floats = npt.NDArray[np.float64]
REACH_M = 5_000.0  # a survey may take in the brook below and the road above, not the next town


def _away(x: Floats, y: Floats, epsg: int, near: Box | None) -> Floats:
    if near is not None:
        return grid.distance_to_box_m(x, y, near) - REACH_M
    extent = grid.grid_extent(epsg)
    if extent is None:
        return np.full(len(x), -1.0)
    return grid.distance_to_box_m(x, y, extent)


def _mostly(good: npt.NDArray[np.bool_]) -> bool:
    return bool(good.mean() > 0.5)


def looks_like_degrees(x: Floats, y: Floats) -> bool:
    """Eastings and northings of any course are larger than any longitude or latitude."""
    return bool(len(x)) and _mostly((np.abs(x) <= 180) & (np.abs(y) <= 180))


def lies_near(x: Floats, y: Floats, epsg: int, near: Box | None) -> bool:
    """True when most of the points are within reach of the course."""
    return bool(len(x)) and _mostly(_away(x, y, epsg, near) <= 0)


def far_ones(x: Floats, y: Floats, epsg: int, near: Box | None) -> dict[int, str]:
    """Reasons for single points that are out of reach while the rest are on the course."""
    away = _away(x, y, epsg, near)
    measured_from = "the course" if near is not None else f"the area of EPSG {epsg}"
    offset = REACH_M if near is not None else 0.0
    return {
        int(i): f"lies {(away[i] + offset) / 1000:,.1f} km from {measured_from} "
        f"({x[i]:.1f}, {y[i]:.1f})"
        for i in np.flatnonzero(away > 0)
    }


def check_place(x: Floats, y: Floats, epsg: int, near: Box | None) -> None:
    """Refuse a file whose points are mostly not where the course is.

    near  west, south, east, north of what the club has already; None for a first survey, which
          is held against the area the club's grid is meant for
    Raises AxesSwapped when exchanging easting and northing brings it to the course, ReadError
    for degrees and for another grid.
    """
    if not len(x):
        return
    name = f"EPSG {epsg} ({grid.describe_grid(epsg).name})"
    if looks_like_degrees(x, y):
        raise ReadError(
            f"The coordinates look like latitude and longitude in degrees (first: {x[0]:.5f}, "
            f"{y[0]:.5f}). Expected eastings and northings in metres, {name}. "
            "Nothing was saved; export the file again in that grid."
        )
    if lies_near(x, y, epsg, near):
        return
    if lies_near(y, x, epsg, near):
        raise AxesSwapped(
            f"Easting and northing look exchanged: the first point reads {x[0]:.1f} east, "
            f"{y[0]:.1f} north, and lies on the course the other way round. "
            "Nothing was saved; read it again with the axes exchanged if that is so."
        )
    middle_x, middle_y = float(np.median(x)), float(np.median(y))
    if near is None:
        where = f"outside the area of {name}"
    else:
        away = float(grid.distance_to_box_m([middle_x], [middle_y], near)[0]) / 1000
        where = f"{away:,.0f} km from the course in {name}"
    raise ReadError(
        f"The points lie {where}: their middle reads {middle_x:.1f}, {middle_y:.1f}. "
        "The file is probably in another grid. Nothing was saved; export it again in the club's grid."
    )
