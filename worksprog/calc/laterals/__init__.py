"""Laterals: how far apart, how they lie in an area, how deep, and what they bring."""

from __future__ import annotations

from worksprog.calc.laterals.layout import (
    AreaFall,
    Lateral,
    Layout,
    Pattern,
    Wish,
    fall_of_area,
    lay_out,
)
from worksprog.calc.laterals.levels import DrainWish, LateralLevels, lateral_working, set_levels
from worksprog.calc.laterals.spacing import (
    Backfill,
    WetGround,
    backfill_for,
    drain_flow_m3s,
    ellipse_spacing_m,
    equivalent_depths_m,
    hooghoudt_spacing_m,
    spacing_working,
)

__all__ = [
    "AreaFall",
    "Backfill",
    "DrainWish",
    "Lateral",
    "LateralLevels",
    "Layout",
    "Pattern",
    "WetGround",
    "Wish",
    "backfill_for",
    "drain_flow_m3s",
    "ellipse_spacing_m",
    "equivalent_depths_m",
    "fall_of_area",
    "hooghoudt_spacing_m",
    "lateral_working",
    "lay_out",
    "set_levels",
    "spacing_working",
]
