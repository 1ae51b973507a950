"""Pipes against published rows, the circle's own geometry and the ``fluids`` library."""

from __future__ import annotations

import math

import numpy as np
import pytest
from fluids.friction import friction_factor
from fluids.open_flow import V_Manning

from worksprog.calc.pipes import (
    DEPTH_RATIO_AT_MOST_FLOW,
    depth_ratios_for_flow,
    flattest_gradient,
    full_bore_flow_m3s,
    full_bore_velocity_ms,
    manning_full_velocity_ms,
    part_full,
)

SHEET = "public calculation sheet to a public sewerage manual's Colebrook–White (C2)"


def test_hamill_velocity(outside):
    outside(
        quantity="Pipe 1.2 m, ks 0.6 mm, 1 in 250: velocity full",
        expected=2.363,
        got=full_bore_velocity_ms(
            diameter_m=1.2, gradient=1 / 250, roughness_m=0.0006, viscosity_m2s=1.005e-6
        ),
        tolerance=0.002,
        relative=True,
        unit="m/s",
        source="Hamill, Understanding Hydraulics, ch. 6 (C2)",
    )


@pytest.mark.parametrize(
    ("diameter_mm", "one_in", "ks_mm", "velocity", "flow"),
    [
        (300, 200, 0.6, 1.11, 78.3),
        (375, 200, 0.6, 1.28, 141.1),
        (375, 60, 0.6, 2.34, 258.7),
        (450, 200, 0.6, 1.43, 228.0),
        (450, 150, 0.6, 1.66, 263.6),
        (600, 200, 0.6, 1.72, 485.7),
        (900, 150, 0.6, 2.56, 1625.9),
        (450, 300, 3.0, 0.94, 149.3),
    ],
)
def test_published_rows(outside, diameter_mm, one_in, ks_mm, velocity, flow):
    given = {
        "diameter_m": diameter_mm / 1000,
        "gradient": 1 / one_in,
        "roughness_m": ks_mm / 1000,
    }
    what = f"Pipe {diameter_mm} mm, ks {ks_mm} mm, 1 in {one_in}"
    outside(
        quantity=f"{what}: capacity",
        expected=flow,
        got=full_bore_flow_m3s(**given) * 1000,
        tolerance=0.003,
        relative=True,
        unit="l/s",
        source=SHEET,
    )
    outside(
        quantity=f"{what}: velocity",
        expected=velocity,
        got=full_bore_velocity_ms(**given),
        tolerance=0.0065,  # printed to two decimals
        unit="m/s",
        source=SHEET,
    )


def _by_friction_factor(diameter_m: float, gradient: float, ks_m: float) -> float:
    """Darcy–Weisbach iterated with the library's Colebrook factor: another road to V."""
    velocity = 1.0
    for _ in range(60):
        factor = friction_factor(
            Re=velocity * diameter_m / 1.141e-6, eD=ks_m / diameter_m, Method="Colebrook"
        )
        velocity = math.sqrt(2 * 9.81 * diameter_m * gradient / factor)
    return velocity


def test_against_fluids_over_a_grid(outside):
    worst = 0.0
    for diameter_m in (0.08, 0.1, 0.145, 0.225, 0.3, 0.45, 0.6, 0.9):
        for one_in in (20, 50, 100, 200, 400, 1000):
            for ks_mm in (0.03, 0.6, 1.5, 3.0):
                mine = full_bore_velocity_ms(
                    diameter_m=diameter_m, gradient=1 / one_in, roughness_m=ks_mm / 1000
                )
                theirs = _by_friction_factor(diameter_m, 1 / one_in, ks_mm / 1000)
                worst = max(worst, abs(mine / theirs - 1))
    outside(
        quantity="192 pipes, 80 to 900 mm, 1 in 20 to 1000: worst departure",
        expected=0.0,
        got=worst,
        tolerance=1e-4,
        source="fluids 1.3, Colebrook friction factor iterated with Darcy–Weisbach (R)",
    )


def test_300_mm_at_1_in_100(outside):
    outside(
        quantity="Pipe 300 mm, ks 0.6 mm, 1 in 100: velocity",
        expected=1.5705,
        got=full_bore_velocity_ms(diameter_m=0.3, gradient=0.01, roughness_m=0.0006),
        tolerance=1e-4,
        relative=True,
        unit="m/s",
        source="fluids, Darcy–Weisbach iteration (R)",
    )
    outside(
        quantity="Pipe 300 mm, ks 0.6 mm, 1 in 100: capacity",
        expected=111.01,
        got=full_bore_flow_m3s(diameter_m=0.3, gradient=0.01, roughness_m=0.0006) * 1000,
        tolerance=1e-4,
        relative=True,
        unit="l/s",
        source="fluids, Darcy–Weisbach iteration (R)",
    )


def test_manning_full_pipe(outside):
    outside(
        quantity="Manning, R 0.075 m, S 0.01, n 0.012: velocity",
        expected=V_Manning(Rh=0.075, S=0.01, n=0.012),
        got=manning_full_velocity_ms(diameter_m=0.3, gradient=0.01, manning_n=0.012),
        tolerance=1e-9,
        relative=True,
        unit="m/s",
        source="fluids.open_flow.V_Manning (R, 1.48204)",
    )


@pytest.mark.parametrize(
    ("depth", "area", "radius", "velocity", "flow"),
    [
        (0.10, 0.0520, 0.2541, 0.4012, 0.0209),
        (0.20, 0.1424, 0.4824, 0.6151, 0.0876),
        (0.25, 0.1955, 0.5865, 0.7007, 0.1370),
        (0.30, 0.2523, 0.6838, 0.7761, 0.1958),
        (0.40, 0.3735, 0.8569, 0.9022, 0.3370),
        (0.50, 0.5000, 1.0000, 1.0000, 0.5000),
        (0.60, 0.6265, 1.1106, 1.0724, 0.6718),
        (0.70, 0.7477, 1.1849, 1.1198, 0.8372),
        (0.75, 0.8045, 1.2067, 1.1335, 0.9119),
        (0.80, 0.8576, 1.2168, 1.1397, 0.9775),
        (0.90, 0.9480, 1.1921, 1.1243, 1.0658),
        (0.95, 0.9813, 1.1458, 1.0950, 1.0745),
    ],
)
def test_part_full_table(outside, depth, area, radius, velocity, flow):
    got = part_full(depth)
    for name, expected, value in (
        ("A/Af", area, got.area_ratio),
        ("R/Rf", radius, got.radius_ratio),
        ("V/Vf", velocity, got.velocity_ratio),
        ("Q/Qf", flow, got.flow_ratio),
    ):
        outside(
            quantity=f"Part-full pipe, y/D {depth}: {name}",
            expected=expected,
            got=value,
            tolerance=6e-5,
            source="geometry of the circle, Manning (A)",
        )


def test_part_full_maxima(outside):
    depths = np.linspace(0.5, 1.0, 50_001)
    ratios = [part_full(float(depth)) for depth in depths]
    most_flow = max(ratios, key=lambda ratio: ratio.flow_ratio)
    most_velocity = max(ratios, key=lambda ratio: ratio.velocity_ratio)
    for quantity, expected, got in (
        ("Part-full pipe: greatest Q/Qf", 1.0757, most_flow.flow_ratio),
        ("Part-full pipe: depth of greatest flow", 0.9382, most_flow.depth_ratio),
        ("Part-full pipe: greatest V/Vf", 1.1400, most_velocity.velocity_ratio),
        ("Part-full pipe: depth of greatest velocity", 0.8128, most_velocity.depth_ratio),
    ):
        outside(
            quantity=quantity,
            expected=expected,
            got=got,
            tolerance=1e-4,
            source="geometry of the circle, Manning (A)",
        )
    assert abs(DEPTH_RATIO_AT_MOST_FLOW - most_flow.depth_ratio) < 2e-5


def test_half_full_is_exact(outside):
    outside(
        quantity="Half-full pipe: depth ratio from Q/Qf 0.5",
        expected=0.5,
        got=float(depth_ratios_for_flow(np.asarray(0.5))),
        tolerance=1e-12,
        source="symmetry (A)",
    )


def test_bore_matters(outside):
    outside(
        quantity="263 mm bore over 300 mm bore, 1 in 200: capacity",
        expected=0.7062,
        got=full_bore_flow_m3s(diameter_m=0.263, gradient=0.005, roughness_m=0.0006)
        / full_bore_flow_m3s(diameter_m=0.3, gradient=0.005, roughness_m=0.0006),
        tolerance=1e-3,
        relative=True,
        source="arithmetic on Colebrook–White (A)",
    )


@pytest.mark.parametrize(
    ("diameter_mm", "ks_mm", "velocity", "one_in"),
    [
        (300, 0.6, 1.0, 244),
        (150, 0.6, 0.75, 177),
        (100, 1.5, 0.6, 122),
        (450, 1.5, 1.0, 324),
    ],
)
def test_flattest_gradient(outside, diameter_mm, ks_mm, velocity, one_in):
    outside(
        quantity=f"Flattest gradient for {velocity} m/s, {diameter_mm} mm, ks {ks_mm} mm: 1 in",
        expected=one_in,
        got=1
        / flattest_gradient(
            diameter_m=diameter_mm / 1000, roughness_m=ks_mm / 1000, velocity_ms=velocity
        ),
        tolerance=1.0,
        source="independent root by brentq (R)",
    )
