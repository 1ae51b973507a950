"""Rain and what runs off: design rain, the rational method."""

from __future__ import annotations

from worksprog.calc.rainfall.design import DesignRain
from worksprog.calc.rainfall.rational import (
    MOST_CATCHMENT_HA,
    SOURCE_RATIONAL,
    WetSpell,
    check_area,
    check_intensity,
    check_runoff_coefficient,
    rational_flow_m3s,
)
from worksprog.calc.rainfall.time_to_gather import (
    TimeFormula,
    bransby_williams_min,
    bransby_williams_times_min,
    entry_steps,
    kirpich_min,
    kirpich_times_min,
    nrcs_lag_tc_min,
    sheet_flow_min,
)

__all__ = [
    "MOST_CATCHMENT_HA",
    "SOURCE_RATIONAL",
    "DesignRain",
    "TimeFormula",
    "WetSpell",
    "bransby_williams_min",
    "bransby_williams_times_min",
    "check_area",
    "check_intensity",
    "check_runoff_coefficient",
    "entry_steps",
    "kirpich_min",
    "kirpich_times_min",
    "nrcs_lag_tc_min",
    "rational_flow_m3s",
    "sheet_flow_min",
]
