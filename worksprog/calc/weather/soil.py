"""How wet the ground is, day by day: one store that rain fills, and drainage and air empty."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Soil:
    """A clay as the store takes it. All water in mm over field capacity (below it: negative).

    drains_in_d   days in which what is above field capacity falls to 1/e
    holds_mm      most above field capacity; more runs off
    dries_to_mm   most below field capacity
    bears_at_mm   the ground is worked while no more than this is above field capacity
    rain_stops_mm more rain than this in the day stops work in the ground
    open_stops_mm more rain than this stops any work out of doors
    evaporation_mm_d  by month, mm a day from short grass that lacks no water
    """

    drains_in_d: float
    holds_mm: float
    dries_to_mm: float
    bears_at_mm: float
    rain_stops_mm: float
    open_stops_mm: float
    evaporation_mm_d: tuple[float, ...]

    def __post_init__(self) -> None:
        if len(self.evaporation_mm_d) != 12:
            raise ValueError("Evaporation is given for twelve months.")
        for name in ("drains_in_d", "holds_mm", "dries_to_mm", "rain_stops_mm", "open_stops_mm"):
            if not getattr(self, name) > 0:
                raise ValueError(f"{name} must be above 0, not {getattr(self, name):g}.")
        if min(self.evaporation_mm_d) < 0:
            raise ValueError("Evaporation is not below 0.")


# Our own choice for clay under grass, no source; evaporation in round figures for lowland England,
# from memory. A club that keeps a book of days lost to wet ground sets them by it.
STATED_SOIL = Soil(
    drains_in_d=4.0,
    holds_mm=25.0,
    dries_to_mm=100.0,
    bears_at_mm=6.0,
    rain_stops_mm=6.0,
    open_stops_mm=12.0,
    evaporation_mm_d=(0.4, 0.6, 1.2, 2.0, 2.8, 3.3, 3.3, 2.8, 1.8, 0.9, 0.5, 0.3),
)


@njit(cache=True, nogil=True)
def _fill(
    rain: Floats,
    air: Floats,
    keeps: float,
    holds: float,
    dries_to: float,
    first: float,
    out: Floats,
) -> None:
    water = first
    for day in range(len(rain)):
        if water > 0.0:
            water = water * keeps
        drawn = air[day]
        if water < 0.0:
            drawn = drawn * (1.0 + water / dries_to)
        water = min(max(water + rain[day] - drawn, -dries_to), holds)
        out[day] = water


def wetness(
    rain_mm: Floats, evaporation_mm: Floats, soil: Soil, *, first_mm: float = 0.0
) -> Floats:
    """Water over field capacity at the end of each day, mm.

    Each day, what is above field capacity falls by e^(-1/T); then the rain comes in and the air
    draws its evaporation, less of it the drier the ground (in proportion to what is left of the
    store below field capacity). ValueError for series of unequal length or with gaps.
    """
    if rain_mm.shape != evaporation_mm.shape:
        raise ValueError("Rain and evaporation are of the same days.")
    if not np.isfinite(rain_mm).all() or (rain_mm < 0).any():
        raise ValueError("Rain is a number of 0 mm or more on every day.")
    out = np.empty(len(rain_mm))
    _fill(
        np.ascontiguousarray(rain_mm),
        np.ascontiguousarray(evaporation_mm),
        exp(-1 / soil.drains_in_d),
        soil.holds_mm,
        soil.dries_to_mm,
        first_mm,
        out,
    )
    return out
