"""Water through time: rain led down the network, ponds as level pools, and the balance of it all."""

from __future__ import annotations

from worksprog.calc.routing.muskingum import (
    SOURCE_MUSKINGUM,
    Coefficients,
    coefficients,
    muskingum,
)
from worksprog.calc.routing.pond import (
    SOURCE_ORIFICE,
    SOURCE_POOL,
    SOURCE_WEIR,
    Outlet,
    Pond,
    PondTable,
    Pool,
    check_stages,
    inlet_flows_m3s,
    level_pool,
    orifice_flows_m3s,
    pond_working,
    weir_flows_m3s,
)
from worksprog.calc.routing.rain import RainCourse, days_of_rain, even_storm, nested_storm
from worksprog.calc.routing.result import Balance, Hydrograph, PondThrough, ReachThrough, Through
from worksprog.calc.routing.route import WaterMade, reach_working, route
from worksprog.calc.routing.stages import stages_from_ground, stages_from_outline

__all__ = [
    "SOURCE_MUSKINGUM",
    "SOURCE_ORIFICE",
    "SOURCE_POOL",
    "SOURCE_WEIR",
    "Balance",
    "Coefficients",
    "Hydrograph",
    "Outlet",
    "Pond",
    "PondTable",
    "PondThrough",
    "Pool",
    "RainCourse",
    "ReachThrough",
    "Through",
    "WaterMade",
    "check_stages",
    "coefficients",
    "days_of_rain",
    "even_storm",
    "inlet_flows_m3s",
    "level_pool",
    "muskingum",
    "nested_storm",
    "orifice_flows_m3s",
    "pond_working",
    "reach_working",
    "route",
    "stages_from_ground",
    "stages_from_outline",
    "weir_flows_m3s",
]
