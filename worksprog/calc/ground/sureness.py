"""How far the nearest surveyed level is: where levels between are a guess."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from worksprog.calc.ground.model import Floats, GriddedGround, Ground

GUESS_OF_SPACING = 0.75


def distance_to_survey(ground: Ground, raster: GriddedGround) -> Floats:
    """Distance in plan from each cell of a raster to the nearest surveyed level (m); NaN where the
    raster has no level.

    A ground delivered as a grid counts its crossings as surveyed: what they were made of is not
    known here.
    """
    if isinstance(ground, GriddedGround):
        row, column = np.nonzero(np.isfinite(ground.levels))
        points = np.column_stack(
            [ground.west + column * ground.cell_m, ground.south + row * ground.cell_m]
        )
    else:
        points = ground.points[:, :2]
    away = np.full(raster.levels.shape, np.nan)
    row, column = np.nonzero(np.isfinite(raster.levels))
    at = np.column_stack([raster.west + column * raster.cell_m, raster.south + row * raster.cell_m])
    away[row, column] = cKDTree(points).query(at)[0] if len(at) else 0.0
    return away


def guess_from_m(ground: Ground) -> float:
    """The distance from the nearest surveyed level beyond which a level is called a guess.

    Three quarters of the survey's own spacing: between levels taken in even squares no place is
    farther than 1 / √2 of it, so what lies beyond is a gap in this survey (our own rule).
    """
    return GUESS_OF_SPACING * ground.spacing_m
