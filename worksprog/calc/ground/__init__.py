"""The ground: levels everywhere from spot heights or from a regular grid, falls, contours, shading.

All coordinates are grid metres, all levels metres above the survey's datum. A level that is not
known (outside the surveyed ground) is NaN in arrays and None in single answers, never a guess.
"""

from worksprog.calc.ground.along import Fall, Profile, fall_of, fall_working, profile_along
from worksprog.calc.ground.kept import dump_ground, load_ground
from worksprog.calc.ground.model import (
    MOST_RASTER_CELLS,
    Bools,
    Box,
    Floats,
    GriddedGround,
    Ground,
    Ints,
    TriangulatedGround,
    as_grid,
    ground_from_grid,
    ground_from_spot_heights,
    level_at,
)
from worksprog.calc.ground.picture import (
    Contour,
    contours,
    hillshade,
    shading_for_map,
    slopes,
)

__all__ = [
    "MOST_RASTER_CELLS",
    "Bools",
    "Box",
    "Contour",
    "Fall",
    "Floats",
    "GriddedGround",
    "Ground",
    "Ints",
    "Profile",
    "TriangulatedGround",
    "as_grid",
    "contours",
    "dump_ground",
    "fall_of",
    "fall_working",
    "ground_from_grid",
    "ground_from_spot_heights",
    "hillshade",
    "level_at",
    "load_ground",
    "profile_along",
    "shading_for_map",
    "slopes",
]
