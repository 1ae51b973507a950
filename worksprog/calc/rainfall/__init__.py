"""Rain and what runs off: depths by duration, gauge records and their fits, times, run-off."""

from __future__ import annotations

from worksprog.calc.rainfall.balance import Ground, WaterBalance, balance_of_days
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
from worksprog.calc.rainfall.runoff import (
    SURFACES,
    Greenfield,
    curve_number_runoff_mm,
    curve_number_working,
)
from worksprog.calc.rainfall.storage import Held, held_back
from worksprog.calc.rainfall.table import (
    Depth,
    DepthTable,
    Refused,
    duration_words,
    read_depths,
    table_doubts,
    table_faults,
    text_of,
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
    "SURFACES",
    "Depth",
    "DepthTable",
    "DesignRain",
    "Greenfield",
    "Ground",
    "Held",
    "Refused",
    "TimeFormula",
    "WaterBalance",
    "WetSpell",
    "balance_of_days",
    "bransby_williams_min",
    "bransby_williams_times_min",
    "check_area",
    "check_intensity",
    "check_runoff_coefficient",
    "curve_number_runoff_mm",
    "curve_number_working",
    "duration_words",
    "entry_steps",
    "held_back",
    "kirpich_min",
    "kirpich_times_min",
    "nrcs_lag_tc_min",
    "rational_flow_m3s",
    "read_depths",
    "sheet_flow_min",
    "table_doubts",
    "table_faults",
    "text_of",
]
