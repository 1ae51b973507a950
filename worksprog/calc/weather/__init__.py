"""Days on which the ground can be worked: daily rain, a soil-wetness store, years to draw from."""

from __future__ import annotations

from worksprog.calc.weather.generator import STATED_MONTHS, MonthRain, draw_years, fit_months
from worksprog.calc.weather.soil import STATED_SOIL, Soil, wetness
from worksprog.calc.weather.years import (
    YEAR_DAYS,
    Blocks,
    Source,
    WorkableYears,
    blocks_of,
    day_of_block,
    whole_years,
    workable_years,
)

__all__ = [
    "STATED_MONTHS",
    "STATED_SOIL",
    "YEAR_DAYS",
    "Blocks",
    "MonthRain",
    "Soil",
    "Source",
    "WorkableYears",
    "blocks_of",
    "day_of_block",
    "draw_years",
    "fit_months",
    "wetness",
    "whole_years",
    "workable_years",
]
