"""The ground: levels everywhere from spot heights or a grid, falls, contours, shading; and where
water runs over it: hollows, ways, catchments, wetness.

All coordinates are grid metres, all levels metres above the survey's datum. A level that is not
known (outside the surveyed ground) is NaN in arrays and None in single answers, never a guess.
"""

from worksprog.calc.ground.along import Fall, Profile, fall_of, fall_working, profile_along
from worksprog.calc.ground.catchments import (
    Catchment,
    Drain,
    Shares,
    catchment_of,
    shares_of,
)
from worksprog.calc.ground.hollows import Hollow, hollows_of, outline_of
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
    laid_out_for_map,
    shading_for_map,
    slopes,
)
from worksprog.calc.ground.running import (
    FlowPath,
    RunningWater,
    Way,
    as_water_grid,
    flow_paths,
    run_water,
    way_from,
    wetness_of,
)
from worksprog.calc.ground.sureness import distance_to_survey, guess_from_m

__all__ = [
    "MOST_RASTER_CELLS",
    "Bools",
    "Box",
    "Catchment",
    "Contour",
    "Drain",
    "Fall",
    "Floats",
    "FlowPath",
    "GriddedGround",
    "Ground",
    "Hollow",
    "Ints",
    "Profile",
    "RunningWater",
    "Shares",
    "TriangulatedGround",
    "Way",
    "as_grid",
    "as_water_grid",
    "catchment_of",
    "contours",
    "distance_to_survey",
    "dump_ground",
    "fall_of",
    "fall_working",
    "flow_paths",
    "ground_from_grid",
    "ground_from_spot_heights",
    "guess_from_m",
    "hillshade",
    "hollows_of",
    "laid_out_for_map",
    "level_at",
    "load_ground",
    "outline_of",
    "profile_along",
    "run_water",
    "shading_for_map",
    "shares_of",
    "slopes",
    "way_from",
    "wetness_of",
]
