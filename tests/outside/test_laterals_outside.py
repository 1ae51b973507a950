"""Spacing and flow of laterals against published and analytic figures."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from worksprog.calc.laterals import (
    WetGround,
    backfill_for,
    drain_flow_m3s,
    ellipse_spacing_m,
    equivalent_depths_m,
    hooghoudt_spacing_m,
)

ILRI = "ILRI Publication 16, chapter 8, example 8.1 (M)"
DEPTH_TABLE = (
    # spacing m, d by the series, d by Moody's approximation; D 5 m, r 0.1 m
    (10, 1.132, 1.137),
    (15, 1.500, 1.526),
    (20, 1.812, 1.894),
    (25, 2.076, 2.162),
    (30, 2.299, 2.388),
    (40, 2.658, 2.747),
    (50, 2.933, 3.019),
    (75, 3.402, 3.478),
    (100, 3.697, 3.765),
)


@pytest.mark.parametrize("by", ["series", "moody"])
def test_spacing_of_the_published_example(outside: Callable[..., None], by: str) -> None:
    ground = WetGround(0.14, 0.14, 5.0, 0.1, 0.6, 2.0)
    outside(
        quantity=f"drain spacing, equivalent depth by {by}",
        expected=30.0,
        got=hooghoudt_spacing_m(ground, by=by),  # type: ignore[arg-type]
        tolerance=0.03,
        relative=True,
        unit="m",
        source=ILRI,
    )


def test_printed_equivalent_depth(outside: Callable[..., None]) -> None:
    outside(
        quantity="equivalent depth at 30 m, D 5 m",
        expected=2.38,
        got=float(equivalent_depths_m(np.array([30.0]), barrier_m=5, radius_m=0.1, by="moody")[0]),
        tolerance=0.01,
        unit="m",
        source="Hooghoudt's printed table (M)",
    )


@pytest.mark.parametrize(("spacing", "series", "moody"), DEPTH_TABLE)
def test_equivalent_depth(
    outside: Callable[..., None], spacing: float, series: float, moody: float
) -> None:
    for by, expected in (("series", series), ("moody", moody)):
        got = equivalent_depths_m(np.array([float(spacing)]), barrier_m=5, radius_m=0.1, by=by)  # type: ignore[arg-type]
        outside(
            quantity=f"equivalent depth at {spacing} m by {by}",
            expected=expected,
            got=float(got[0]),
            tolerance=0.001,
            unit="m",
            source="evaluated apart from this program (R)",
        )


def test_limits(outside: Callable[..., None]) -> None:
    outside(
        quantity="spacing, drains on the barrier",
        expected=7.0711,
        got=hooghoudt_spacing_m(WetGround(0.5, 0.0, 0.0, 0.05, 0.5, 10.0)),
        tolerance=1e-4,
        unit="m",
        source="L = 2 h √(K/q) (A)",
    )
    for rate, expected in ((7.0, 5.88), (10.0, 4.88)):
        outside(
            quantity=f"spacing in clay at {rate:g} mm/d",
            expected=expected,
            got=hooghoudt_spacing_m(WetGround(0.2, 0.02, 1.0, 0.04, 0.5, rate)),
            tolerance=0.01,
            unit="m",
            source="evaluated apart from this program (R)",
        )
    outside(
        quantity="spacing by the ellipse",
        expected=22.3607,
        got=ellipse_spacing_m(k_m_d=0.5, rate_mm_d=7, drain_m=1.5, water_m=2.0),
        tolerance=1e-4,
        unit="m",
        source="identity with Hooghoudt at d = D (A)",
    )


@pytest.mark.parametrize(("rate", "expected"), [(7.0, 0.81019), (10.0, 1.15741), (12.7, 1.46991)])
def test_drain_flow(outside: Callable[..., None], rate: float, expected: float) -> None:
    outside(
        quantity=f"drain flow of 1 ha at {rate:g} mm/d",
        expected=expected,
        got=drain_flow_m3s(rate_mm_d=rate, area_m2=10_000) * 1000,
        tolerance=1e-5,
        unit="l/s",
        source="arithmetic (A)",
    )


def test_backfill(outside: Callable[..., None]) -> None:
    fill = backfill_for(
        width_m=0.15,
        height_m=0.5,
        outside_diameter_m=0.092,
        density_t_m3=1.6,
        spacing_m=5,
        conductivity_m_d=500,
    )
    outside(
        quantity="permeable backfill of a lateral",
        expected=0.0684,
        got=fill.volume_m3_m,
        tolerance=1e-4,
        unit="m³/m",
        source="width × depth less the pipe (A)",
    )
    outside(
        quantity="the same by weight",
        expected=0.109,
        got=fill.mass_t_m,
        tolerance=1e-3,
        unit="t/m",
        source="at 1.6 t/m³ (A)",
    )
