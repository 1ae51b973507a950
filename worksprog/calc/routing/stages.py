"""Stage-area tables made from what is known: a pond's outline and sides, or the ground inside it."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import shapely

from worksprog.calc.ground import Ground

MOST_CELLS = 250_000
Stages = tuple[tuple[float, float], ...]


def stages_from_outline(
    outline: shapely.Polygon, *, bank_m: float, depth_m: float, side_slope: float, count: int = 9
) -> Stages:
    """(level m, water surface m²) of a pond dug with even sides inside its outline.

    outline at bank level; depth_m from the bank to the bed; side_slope horizontal per 1 vertical.
    The outline is drawn in by side_slope times the depth below the bank. ValueError when the sides
    meet above the bed.
    """
    if not 0 < depth_m <= 20 or not 0 <= side_slope <= 20:
        raise ValueError("A depth lies above 0 and up to 20 m, a side slope from 0 to 20.")
    depths = np.linspace(depth_m, 0.0, count)
    areas = [
        float(outline.buffer(-side_slope * depth, join_style="mitre").area)
        if side_slope and depth
        else float(outline.area)
        for depth in depths.tolist()
    ]
    if areas[0] <= 0:
        raise ValueError(
            f"Sides of 1 in {side_slope:g} meet before a depth of {depth_m:g} m is reached: the "
            "pond is too narrow. Take it shallower or its sides steeper."
        )
    return tuple(
        (round(bank_m - depth, 3), round(area, 1))
        for depth, area in zip(depths.tolist(), areas, strict=True)
    )


def stages_from_ground(
    ground: Ground, outline: shapely.Polygon, *, count: int = 9
) -> tuple[Stages, float]:
    """Stages by the ground inside an outline, from its lowest place to its edge's lowest.

    The water surface at a level is the part of the outline whose ground lies below it. Returned
    with the lowest ground along the outline. ValueError where too little ground is known, or the
    ground inside is no hollow (a survey that shot only the water's edge knows nothing of the bed).
    """
    west, south, east, north = outline.bounds
    cell = max(0.25, math.sqrt((east - west) * (north - south) / MOST_CELLS))
    x, y = (
        part.ravel()
        for part in np.meshgrid(
            np.arange(west + cell / 2, east, cell), np.arange(south + cell / 2, north, cell)
        )
    )
    inside = shapely.contains_xy(outline, x, y)
    levels = ground.levels_at(x[inside], y[inside])
    known = levels[np.isfinite(levels)]
    if len(known) < 20 or len(known) < 0.8 * inside.sum():
        raise ValueError("Too little of the ground inside this outline is known.")
    edge = ground.levels_at(*_along(outline.exterior, cell))
    edge = edge[np.isfinite(edge)]
    if not len(edge):
        raise ValueError("The ground along this outline is not known.")
    bed, bank = float(known.min()), float(edge.min())
    if bank - bed < 0.1:
        raise ValueError(
            f"The ground inside lies at most {max(bank - bed, 0):.2f} m below the lowest place of "
            "the outline: that is no pond. Take its outline and sides instead."
        )
    steps = np.linspace(bed, bank, count)
    whole = float(outline.area)
    share = np.searchsorted(np.sort(known), steps, side="right") / len(known)
    return tuple(
        (round(level, 3), round(part * whole, 1))
        for level, part in zip(steps.tolist(), share.tolist(), strict=True)
    ), bank


def _along(ring: Any, step_m: float) -> tuple[Any, Any]:
    points = shapely.line_interpolate_point(ring, np.arange(0, ring.length, max(step_m, 0.5)))
    return shapely.get_x(points), shapely.get_y(points)
