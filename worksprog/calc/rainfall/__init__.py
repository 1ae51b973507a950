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

__all__ = [
    "MOST_CATCHMENT_HA",
    "SOURCE_RATIONAL",
    "DesignRain",
    "WetSpell",
    "check_area",
    "check_intensity",
    "check_runoff_coefficient",
    "rational_flow_m3s",
]
