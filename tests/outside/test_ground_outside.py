"""Levels and slopes against surfaces known in closed form and a published window of levels."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import shapely

from worksprog.calc import ground


def test_level_and_fall_on_a_plane(outside: Callable[..., None]) -> None:
    """z = 60 + 0.03 x + 0.04 y falls 0.05 a metre straight down, whatever the triangles are."""
    rng = np.random.default_rng(17)
    corners = [[0, 0], [200, 0], [0, 200], [200, 200]]
    xy = np.round(np.vstack([corners, rng.uniform(0, 200, (500, 2))]), 3)
    z = 60 + 0.03 * xy[:, 0] + 0.04 * xy[:, 1]
    model = ground.ground_from_spot_heights(np.column_stack([xy, z]))
    source = "the plane itself: z = 60 + 0.03 x + 0.04 y (A)"
    outside(
        quantity="level on a plane at (123, 45)",
        expected=65.49,
        got=float(model.levels_at([123], [45])[0]),
        tolerance=0.001,
        unit="m",
        source=source,
    )
    line = shapely.LineString([(110, 130), (50, 50)])
    fall = ground.fall_of(ground.profile_along(model, line))
    assert fall.fall_m is not None
    outside(
        quantity="fall of 100 m straight down the plane",
        expected=5.0,
        got=fall.fall_m,
        tolerance=0.002,
        unit="m",
        source=source,
    )


def test_slope_of_a_published_window(outside: Callable[..., None]) -> None:
    window = np.array([[50, 45, 50], [30, 30, 30], [8, 10, 10]], dtype=float)[::-1]
    raster = ground.ground_from_grid(west=0, south=0, cell_m=5, levels=window)
    east, north = ground.slopes(raster)
    outside(
        quantity="slope of a 3 × 3 window of levels, Horn",
        expected=75.2577,
        got=math.degrees(math.atan(math.hypot(east[1, 1], north[1, 1]))),
        tolerance=1e-4,
        unit="°",
        source="a window used in published help on slope, Horn 1981 weights (T5, M/R)",
    )
