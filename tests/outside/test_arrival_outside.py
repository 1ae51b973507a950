"""Times of concentration against published examples and the formulas worked by hand."""

from __future__ import annotations

import pytest

from worksprog.calc.rainfall import (
    bransby_williams_min,
    kirpich_min,
    nrcs_lag_tc_min,
    sheet_flow_min,
)

FOOT_M = 0.3048


@pytest.mark.parametrize(
    ("length_m", "gradient", "minutes"), [(500, 0.02, 10.53), (2000 * FOOT_M, 0.04, 9.38)]
)
def test_kirpich(outside, length_m, gradient, minutes):
    outside(
        quantity=f"Kirpich, {length_m:g} m at {gradient:g}: time of concentration",
        expected=minutes,
        got=kirpich_min(length_m=length_m, gradient=gradient),
        tolerance=0.002,
        relative=True,
        unit="min",
        source="Kirpich 1940 worked in metres and in feet (A)",
    )


def test_bransby_williams(outside):
    outside(
        quantity="Bransby-Williams, 1 km, 50 ha, 1 in 100: time of concentration",
        expected=39.3,
        got=bransby_williams_min(length_m=1000, area_ha=50, gradient=0.01),
        tolerance=0.02,
        relative=True,
        unit="min",
        source="derivation from hours and miles in a hydrologist's public note (C)",
    )


@pytest.mark.parametrize(
    ("feet", "percent", "number", "hours", "source"),
    [
        (3865, 4.79, 63, 1.14, "NEH 630 chapter 15, page 18 (C2)"),
        (6500, 1.3, 92, 1.34, "McCuen, example 9-23 (C2)"),
    ],
)
def test_nrcs_lag(outside, feet, percent, number, hours, source):
    found = nrcs_lag_tc_min(length_m=feet * FOOT_M, gradient=percent / 100, curve_number=number)
    outside(
        quantity=f"NRCS lag, {feet} ft, {percent} %, CN {number}: time of concentration",
        expected=hours,
        got=found / 60,
        tolerance=0.01,
        relative=True,
        unit="h",
        source=source,
    )


def test_sheet_flow(outside):
    found = sheet_flow_min(length_m=100 * FOOT_M, gradient=0.08, manning_n=0.15, rain_mm=3.6 * 25.4)
    outside(
        quantity="Sheet flow, 100 ft, n 0.15, 3.6 in, 8 %: travel time",
        expected=0.09,
        got=found / 60,
        tolerance=0.005,
        unit="h",
        source="NEH 630 chapter 15 (C2)",
    )
