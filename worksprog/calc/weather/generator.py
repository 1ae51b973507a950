"""Daily rain made by chance, month by month: wet after dry, wet after wet, and how much.

A two-state Markov chain of the first order with gamma amounts (the way of Richardson, Water
Resources Research 17(1), 1981: from memory, and he took an exponential law for the amounts).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isfinite, log, sqrt

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

WET_MM = 0.2
FEWEST_WET_DAYS = 20
MONTH_OF_DAY = np.array(
    [(dt.date(2025, 7, 1) + dt.timedelta(days=n)).month for n in range(365)], dtype=np.int64
)


@dataclass(frozen=True)
class MonthRain:
    """How it rains in one month.

    wet_after_dry, wet_after_wet  chance that a day is wet (0.2 mm or more)
    mean_mm                       mean rain of a wet day, mm
    shape                         of the gamma law of a wet day's rain; 1 is exponential

    ValueError for a chance outside 0 to 1, a mean or shape that is not above 0.
    """

    wet_after_dry: float
    wet_after_wet: float
    mean_mm: float
    shape: float

    def __post_init__(self) -> None:
        for name, chance in (("dry", self.wet_after_dry), ("wet", self.wet_after_wet)):
            if not 0 < chance < 1:
                raise ValueError(
                    f"The chance of rain after a {name} day lies between 0 and 1, not at {chance:g}."
                )
        for name, value in (("mean rain of a wet day", self.mean_mm), ("shape", self.shape)):
            if not (isfinite(value) and value > 0):
                raise ValueError(f"The {name} must be above 0, not {value:g}.")

    @property
    def wet_share(self) -> float:
        """Share of wet days in the long run: p₀₁ / (1 + p₀₁ - p₁₁)."""
        return self.wet_after_dry / (1 + self.wet_after_dry - self.wet_after_wet)

    @property
    def wet_sd_mm(self) -> float:
        """Standard deviation of a wet day's rain: mean / √shape."""
        return self.mean_mm / sqrt(self.shape)


# January to December; about 680 mm a year. Our own round figures for lowland England, no source:
# the club's own gauge takes their place as soon as it has years enough.
STATED_MONTHS: tuple[MonthRain, ...] = (
    MonthRain(0.38, 0.68, 3.7, 0.75),
    MonthRain(0.34, 0.65, 3.4, 0.75),
    MonthRain(0.31, 0.60, 3.4, 0.75),
    MonthRain(0.30, 0.58, 3.5, 0.75),
    MonthRain(0.28, 0.57, 3.9, 0.72),
    MonthRain(0.27, 0.55, 4.4, 0.70),
    MonthRain(0.26, 0.54, 4.5, 0.68),
    MonthRain(0.27, 0.56, 4.8, 0.68),
    MonthRain(0.29, 0.59, 4.4, 0.70),
    MonthRain(0.35, 0.65, 4.5, 0.72),
    MonthRain(0.39, 0.68, 4.1, 0.75),
    MonthRain(0.39, 0.69, 3.9, 0.75),
)


def draw_years(months: Sequence[MonthRain], years: int, seed: int) -> Floats:
    """Rain in mm of ``years`` years of 365 days, each from 1 July. ValueError without 12 months."""
    if len(months) != 12:
        raise ValueError(f"Twelve months are expected, not {len(months)}.")
    if years < 1:
        raise ValueError(f"At least one year is drawn, not {years}.")
    chance = np.random.Generator(np.random.PCG64([seed, 1]))
    rain = np.zeros((years, len(MONTH_OF_DAY)))
    wet = chance.random(years) < months[MONTH_OF_DAY[0] - 1].wet_share
    for day, number in enumerate(MONTH_OF_DAY):
        month = months[number - 1]
        wet = chance.random(years) < np.where(wet, month.wet_after_wet, month.wet_after_dry)
        amounts = chance.gamma(month.shape, month.mean_mm / month.shape, years)
        rain[:, day] = np.where(wet, amounts, 0.0)
    return rain


def fit_months(rain_mm: Mapping[dt.date, float]) -> tuple[MonthRain, ...]:
    """The twelve months of a record: chances by counting, the gamma law by Thom's estimate.

    Thom (Monthly Weather Review 86, 1958; from memory): A = ln x̄ - mean ln x,
    shape = (1 + √(1 + 4A/3)) / 4A. The chances are counted with one day of each kind added, so
    that none is 0 or 1. ValueError naming a month with fewer than 20 wet days.
    """
    counts = np.zeros((12, 2, 2))
    amounts: list[list[float]] = [[] for _ in range(12)]
    for day, rain in rain_mm.items():
        is_wet = rain >= WET_MM
        if is_wet:
            amounts[day.month - 1].append(rain)
        before = rain_mm.get(day - dt.timedelta(days=1))
        if before is not None:
            counts[day.month - 1, int(before >= WET_MM), int(is_wet)] += 1
    months = []
    for number in range(12):
        wet = np.array(amounts[number])
        if len(wet) < FEWEST_WET_DAYS:
            raise ValueError(
                f"Month {number + 1} of the record has {len(wet)} wet days; at least "
                f"{FEWEST_WET_DAYS} are needed to say how it rains."
            )
        mean = float(wet.mean())
        spread = max(log(mean) - float(np.log(wet).mean()), 1e-3)
        shape = (1 + sqrt(1 + 4 * spread / 3)) / (4 * spread)
        after_dry, after_wet = ((row[1] + 1) / (row.sum() + 2) for row in counts[number])
        months.append(MonthRain(float(after_dry), float(after_wet), mean, shape))
    return tuple(months)
