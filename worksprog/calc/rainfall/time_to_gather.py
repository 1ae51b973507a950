"""Time of concentration: how long the water of the furthest part takes to arrive.

Each formula was fitted to its own catchments; two that agree are worth more than either. Where the
published constants differ in their last digit, the printed form named here is taken.
"""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from worksprog.calc.working import Step

Floats = NDArray[np.float64]
TimeFormula = Literal["bransby", "kirpich"]

FOOT_M = 0.3048
SOURCE_KIRPICH = "Kirpich 1940, tc = 0.0195 L^0.77 S^-0.385 (small farm catchments, from memory)"
SOURCE_BRANSBY = "Bransby-Williams 1922, tc = 14.6 L A^-0.1 S^-0.2 (L km, A km²)"
SOURCE_NRCS_LAG = "NRCS lag, NEH 630 chapter 15, equation 15-4"


def _check(**given: float) -> None:
    for name, value in given.items():
        if not math.isfinite(value) or value <= 0:
            raise ValueError(f"The {name.replace('_', ' ')} must be above 0; {value} was given.")


def _check_slope(gradient: float) -> None:
    _check(gradient=gradient)
    if gradient > 1:
        raise ValueError(
            f"A gradient of {gradient:g} is steeper than 1 in 1. It is metres per metre: 2 % is 0.02."
        )


def kirpich_times_min(length_m: ArrayLike, gradient: ArrayLike) -> Floats:
    """tc = 0.0195 L^0.77 S^-0.385 (min; L m, S m/m), whole arrays, unguarded."""
    length = np.asarray(length_m, dtype=np.float64)
    return np.asarray(0.0195 * length**0.77 * np.asarray(gradient, dtype=np.float64) ** -0.385)


def kirpich_min(*, length_m: float, gradient: float) -> float:
    """Kirpich's time of concentration (min).

    length_m  longest flow path, m; gradient  its mean, m/m
    Fitted to farm catchments of 0.4 to 45 ha falling 3 to 10 % (from memory). ValueError for
    values that are no length or gradient.
    """
    _check(length_m=length_m)
    _check_slope(gradient)
    return float(kirpich_times_min(length_m, gradient))


def bransby_williams_times_min(
    length_m: ArrayLike, area_ha: ArrayLike, gradient: ArrayLike
) -> Floats:
    """tc = 14.6 L A^-0.1 S^-0.2 (min; L km, A km², S m/m), whole arrays, unguarded."""
    length_km = np.asarray(length_m, dtype=np.float64) / 1000
    area_km2 = np.asarray(area_ha, dtype=np.float64) / 100
    return np.asarray(
        14.6 * length_km * area_km2**-0.1 * np.asarray(gradient, dtype=np.float64) ** -0.2
    )


def bransby_williams_min(*, length_m: float, area_ha: float, gradient: float) -> float:
    """Bransby-Williams' time of concentration (min); S in m/m goes with 14.6, not with 58.

    length_m  longest flow path, m; area_ha  catchment, ha; gradient  mean of the path, m/m
    ValueError for values that are no length, area or gradient.
    """
    _check(length_m=length_m, area_ha=area_ha)
    _check_slope(gradient)
    return float(bransby_williams_times_min(length_m, area_ha, gradient))


def nrcs_lag_tc_min(*, length_m: float, gradient: float, curve_number: float) -> float:
    """tc = L^0.8 (1000/CN - 9)^0.7 / (1140 Y^0.5) hours (L ft, Y %), given and returned in SI (min).

    Valid for curve numbers from 50 to 95 (NEH 630 chapter 15); ValueError outside.
    """
    _check(length_m=length_m)
    _check_slope(gradient)
    if not 50 <= curve_number <= 95:
        raise ValueError(f"The lag formula holds for curve numbers 50 to 95, not {curve_number:g}.")
    feet, percent = length_m / FOOT_M, gradient * 100
    return float(60 * feet**0.8 * (1000 / curve_number - 9) ** 0.7 / (1140 * percent**0.5))


def sheet_flow_min(*, length_m: float, gradient: float, manning_n: float, rain_mm: float) -> float:
    """Travel time of a thin sheet, t = 0.007 (n L)^0.8 / (P^0.5 S^0.4) hours (L ft, P in), in min.

    rain_mm  the 1 in 2 year, 24-hour rain. Valid for the first 30 m (100 ft); ValueError beyond.
    Source: NRCS, NEH 630 chapter 15.
    """
    _check(length_m=length_m, manning_n=manning_n, rain_mm=rain_mm)
    _check_slope(gradient)
    if length_m > 100 * FOOT_M + 1e-9:
        raise ValueError(
            f"Water runs as a sheet for about 30 m at most; {length_m:g} m was given. Take the "
            "rest of the way by another formula."
        )
    feet, inches = length_m / FOOT_M, rain_mm / 25.4
    return float(60 * 0.007 * (manning_n * feet) ** 0.8 / (inches**0.5 * gradient**0.4))


def entry_steps(
    *, length_m: float, fall_m: float, area_ha: float, chosen: TimeFormula
) -> tuple[Step, ...]:
    """Both formulas for one catchment, the chosen one named."""
    gradient = fall_m / length_m
    both: tuple[tuple[TimeFormula, str, float, str], ...] = (
        (
            "bransby",
            "by Bransby-Williams",
            bransby_williams_min(length_m=length_m, area_ha=area_ha, gradient=gradient),
            SOURCE_BRANSBY,
        ),
        (
            "kirpich",
            "by Kirpich",
            kirpich_min(length_m=length_m, gradient=gradient),
            SOURCE_KIRPICH,
        ),
    )
    return (
        Step("Lf", "longest flow path over the ground", length_m, "m"),
        Step("Sf", "its mean gradient", gradient, "m/m", formula="fall / length"),
        *(
            Step("te", f"{words}{', taken' if name == chosen else ''}", value, "min", source=source)
            for name, words, value, source in both
        ),
    )
