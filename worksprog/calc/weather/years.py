"""Years of weather to draw from: own years where the gauge has enough of them, else made ones.

A year runs from 1 July, when the ground is driest, to 30 June: a winter is never cut in two.
29 February is as 28 February.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from worksprog.calc.weather.generator import (
    MONTH_OF_DAY,
    STATED_MONTHS,
    MonthRain,
    draw_years,
    fit_months,
)
from worksprog.calc.weather.soil import STATED_SOIL, Soil, wetness

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

YEAR_DAYS = 365
MOST_MISSING_DAYS = 10
FEWEST_OWN_YEARS = 8  # fewer show too little of what winters can be, so they only fit the generator
FEWEST_YEARS_TO_FIT = 3
MADE_YEARS = 200


class Source(StrEnum):
    OWN = "own"
    FITTED = "fitted"
    STATED = "stated"


@dataclass(frozen=True)
class WorkableYears:
    """Years of days: whether the ground bears work, and whether work out of doors goes on.

    months  how it rains, where the years were made by chance
    """

    source: Source
    names: tuple[str, ...]
    rain_mm: Floats
    water_mm: Floats
    ground: Bools
    open_air: Bools
    months: tuple[MonthRain, ...] = ()

    def share_by_month(self, which: Bools) -> tuple[float, ...]:
        """Share of workable days, January to December."""
        return tuple(float(which[:, month == MONTH_OF_DAY].mean()) for month in range(1, 13))

    def rain_by_month(self) -> tuple[float, ...]:
        """Mean rain of each month in mm."""
        return tuple(
            float(self.rain_mm[:, month == MONTH_OF_DAY].sum(axis=1).mean())
            for month in range(1, 13)
        )


def whole_years(rain_mm: Mapping[dt.date, float]) -> tuple[tuple[int, ...], Floats]:
    """The years from July to June of a record that miss at most 10 days, and their rain.

    A missing day is as the same day of the next year that has it.
    """
    if not rain_mm:
        return (), np.zeros((0, YEAR_DAYS))
    first, last = min(rain_mm).year - 1, max(rain_mm).year
    rows = np.full((last - first + 1, YEAR_DAYS), np.nan)
    for day, rain in rain_mm.items():
        if (day.month, day.day) != (2, 29):
            rows[block_year(day) - first, day_of_block(day)] = rain
    kept = np.isnan(rows).sum(axis=1) <= MOST_MISSING_DAYS
    years = tuple(int(first + row) for row in np.flatnonzero(kept))
    rows = rows[kept]
    for step in range(1, len(rows)):
        rows = np.where(np.isnan(rows), np.roll(rows, -step, axis=0), rows)
    return years, np.nan_to_num(rows)


def block_year(day: dt.date) -> int:
    """The year in whose July the block of a day began."""
    return day.year if day.month >= 7 else day.year - 1


def day_of_block(day: dt.date) -> int:
    """0 on 1 July to 364 on 30 June."""
    if (day.month, day.day) == (2, 29):
        day = day.replace(day=28)
    common = dt.date(2025 if day.month >= 7 else 2026, day.month, day.day)
    return (common - dt.date(2025, 7, 1)).days


def workable_years(
    rain_mm: Mapping[dt.date, float] | None = None,
    *,
    seed: int = 1,
    soil: Soil = STATED_SOIL,
    stated: tuple[MonthRain, ...] = STATED_MONTHS,
) -> WorkableYears:
    """Own years from eight on; from three on 200 years made as it rained in them; else 200 made by
    the stated months. The wetness store runs through the years one after the other."""
    names, rain = whole_years(rain_mm or {})
    months: tuple[MonthRain, ...] = ()
    if len(names) >= FEWEST_OWN_YEARS:
        source, labels = Source.OWN, tuple(f"{year}/{(year + 1) % 100:02d}" for year in names)
    else:
        source, months = Source.STATED, stated
        if len(names) >= FEWEST_YEARS_TO_FIT:
            source, months = Source.FITTED, fit_months(rain_mm or {})
        rain = draw_years(months, MADE_YEARS, seed)
        labels = tuple(f"made year {number}" for number in range(1, MADE_YEARS + 1))
    air = np.tile(np.array(soil.evaporation_mm_d)[MONTH_OF_DAY - 1], len(rain))
    flat = rain.reshape(-1)
    settled = wetness(flat[:YEAR_DAYS], air[:YEAR_DAYS], soil)[-1]
    water = wetness(flat, air, soil, first_mm=float(settled)).reshape(rain.shape)
    # Work begins on what the night left: a day is judged by the evening before and its own rain.
    before = np.concatenate(([settled], water.reshape(-1)[:-1])).reshape(rain.shape)
    return WorkableYears(
        source=source,
        names=labels,
        rain_mm=rain,
        water_mm=water,
        ground=(before <= soil.bears_at_mm) & (rain <= soil.rain_stops_mm),
        open_air=rain <= soil.open_stops_mm,
        months=months,
    )


@dataclass(frozen=True)
class Blocks:
    """Each day of a calendar by the number of its block and its day within it."""

    first_year: int
    block: Ints
    day: Ints

    @property
    def count(self) -> int:
        return int(self.block[-1]) + 1


def blocks_of(first_day: dt.date, days: int) -> Blocks:
    dates = [first_day + dt.timedelta(days=n) for n in range(days)]
    first = block_year(first_day)
    return Blocks(
        first,
        np.array([block_year(day) - first for day in dates], dtype=np.int64),
        np.array([day_of_block(day) for day in dates], dtype=np.int64),
    )
