"""Water levels against an independent integrator, a friction library and the published culvert tables."""

from __future__ import annotations

import math

import numpy as np
import pytest
from fluids.friction import Colebrook
from scipy.integrate import solve_ivp
from scipy.optimize import minimize_scalar

from tests.calc.drains import STORM, pipe
from worksprog.calc import pipes
from worksprog.calc.culverts import INLETS, InletShape, inlet_ratio
from worksprog.calc.ditches import DitchSection
from worksprog.calc.network import Node, check_drains
from worksprog.calc.network.backwater import water_profile
from worksprog.calc.pipes import PipeSection

FOOT_M = 0.3048
CHOW = DitchSection(20 * FOOT_M, 2, 3, manning_n=0.025)
CHOW_FLOW = 400 * FOOT_M**3
GOLF = DitchSection(0.5, 1.5, 1.4, manning_n=0.035)


def ditch_depth_by_integration(section, flow, gradient, length, tail):
    """dy/dx = (Sf − S)/(1 − F²) upstream, by an adaptive Runge-Kutta of the fifth order."""

    def rate(_, y):
        depth = y[0]
        area = (section.bed_width_m + section.side_slope * depth) * depth
        width = section.bed_width_m + 2 * section.side_slope * depth
        wet = section.bed_width_m + 2 * depth * math.hypot(1, section.side_slope)
        lost = (flow * section.manning_n / area) ** 2 / (area / wet) ** (4 / 3)
        return [(lost - gradient) / (1 - flow**2 * width / (9.81 * area**3))]

    found = solve_ivp(rate, (0, length), [tail], rtol=1e-10, atol=1e-12)
    return found.y[0, -1]


@pytest.mark.parametrize(
    ("what", "section", "flow", "gradient", "length", "tail"),
    [
        ("20 ft bed, 400 cfs, dammed to 5 ft, 300 m up", CHOW, CHOW_FLOW, 0.0016, 300, 5 * FOOT_M),
        ("20 ft bed, 400 cfs, dammed to 5 ft, 600 m up", CHOW, CHOW_FLOW, 0.0016, 600, 5 * FOOT_M),
        ("0.5 m bed, 200 l/s, drawn down to 0.22 m, 20 m up", GOLF, 0.2, 0.005, 20, 0.22),
        ("0.5 m bed, 200 l/s, level bed, 60 m up", GOLF, 0.2, 0.0, 60, 0.4),
        ("0.5 m bed, 200 l/s, rising bed, 60 m up", GOLF, 0.2, -0.002, 60, 0.6),
        ("0.5 m bed, 200 l/s, 1 in 40 drowned to 0.9 m, 20 m up", GOLF, 0.2, 0.025, 20, 0.9),
    ],
)
def test_backwater_in_a_ditch(outside, what, section, flow, gradient, length, tail):
    got = water_profile(
        section, flow_m3s=flow, gradient=gradient, length_m=length, tailwater_m=tail
    )
    outside(
        quantity=f"Backwater, {what}: depth",
        expected=ditch_depth_by_integration(section, flow, gradient, length, tail),
        got=got.upper_m,
        tolerance=0.005,
        unit="m",
        source="the differential equation by scipy's Runge-Kutta (R)",
    )


@pytest.mark.parametrize("flow_m3s", [0.05, 0.12, 0.2])
def test_pressure_line_of_a_drowned_pipe(outside, flow_m3s):
    area = flow_m3s * 360 / 30 / 0.5
    reach = pipe("P1", (0, 0), (100, 0), catchment_ha=area)
    flood = Node("O1", "O1", "outfall", 100, 0, water_m=53.0)
    got = check_drains([reach], [flood], STORM).reach("P1")
    velocity = flow_m3s / (math.pi * 0.3**2 / 4)
    factor = Colebrook(velocity * 0.3 / pipes.VISCOSITY_15C_M2S, 0.0006 / 0.3)
    outside(
        quantity=f"300 mm pipe, 100 m, {flow_m3s * 1000:.0f} l/s, drowned: rise of the water",
        expected=factor * 100 / 0.3 * velocity**2 / (2 * 9.81),
        got=got.water_up_m - got.water_down_m,
        tolerance=0.002,
        relative=True,
        unit="m",
        source="Darcy-Weisbach with fluids.friction.Colebrook (R)",
    )


@pytest.mark.parametrize("share", [0.2, 0.6, 1.0])
def test_critical_depth_is_that_of_least_energy(outside, share):
    bore, flow = 0.45, share * 0.3

    def energy(depth):
        theta = 2 * math.acos(1 - 2 * depth / bore)
        area = bore**2 * (theta - math.sin(theta)) / 8
        return depth + (flow / area) ** 2 / (2 * 9.81)

    least = minimize_scalar(energy, bounds=(0.02, bore * 0.9999), method="bounded")
    outside(
        quantity=f"450 mm pipe, {flow * 1000:.0f} l/s: critical depth",
        expected=float(least.x),
        got=pipes.critical_depth_m(diameter_m=bore, flow_m3s=flow),
        tolerance=1e-4,
        unit="m",
        source="least specific energy, by a minimiser (A)",
    )


ELLIPSE = InletShape("thin wall projecting", 1, 0.0340, 1.5, 0.0496, 0.53, 0.9)
HDS5 = "FHWA HDS-5 (2001), appendix A, worked table of a long ellipse at 2 %, feet (C)"


@pytest.mark.parametrize(
    ("load", "critical_ratio", "published"),
    [(0.05, 0.12, 0.11), (0.30, 0.27, 0.27), (1.18, 0.55, 0.58), (4.0, 0.0, 1.31),
     (6.0, 0.0, 2.31), (8.0, 0.0, 3.69)],
)  # fmt: skip
def test_inlet_control_of_the_published_table(outside, load, critical_ratio, published):
    outside(
        quantity=f"Inlet control, thin wall, load {load:g}: headwater over height",
        expected=published,
        got=inlet_ratio(ELLIPSE, load=load, critical_ratio=critical_ratio, gradient=0.02),
        tolerance=0.0105,  # both are printed to a hundredth, and summed from rounded parts
        source=HDS5,
    )


@pytest.mark.parametrize(
    ("flow_m3s", "level_m"), [(11.327, 32.96), (16.990, 33.93), (19.822, 34.71), (22.654, 35.52)]
)
def test_inlet_control_of_a_published_example(outside, flow_m3s, level_m):
    """A square-edged box: what differs from a round culvert is its constants and critical depth."""
    side = 2.134
    box = InletShape("headwall without flare", 1, 0.061, 0.75, 0.0423, 0.82, 0.5)
    critical = 1.5 * ((flow_m3s / side) ** 2 / 9.81) ** (1 / 3)
    ratio = inlet_ratio(
        box,
        load=1.811 * flow_m3s / (side**2 * math.sqrt(side)),
        critical_ratio=critical / side,
        gradient=0.05,
    )
    outside(
        quantity=f"Box culvert 2.134 m, {flow_m3s:g} m³/s, inlet control: headwater",
        expected=level_m - 30.480,
        got=ratio * side,
        tolerance=0.10,
        relative=True,
        unit="m",
        source="FHWA HDS-5 (2001), chapter III, example 4, read off a chart good to 10 % (C)",
    )


def test_the_constants_are_the_published_ones(outside):
    """Table 9, charts 1 and 2: circular concrete and corrugated metal."""
    table = {
        "square": (0.0098, 2.0, 0.0398, 0.67),
        "groove": (0.0018, 2.0, 0.0292, 0.74),
        "project": (0.0340, 1.50, 0.0553, 0.54),
        "mitred": (0.0210, 1.33, 0.0463, 0.75),
    }
    worst = max(
        float(np.abs(np.subtract((one.k, one.m, one.c, one.y), table[name])).max())
        for name, one in INLETS.items()
    )
    outside(
        quantity="Inlet constants K, M, c, Y of four inlets: worst departure",
        expected=0.0,
        got=worst,
        tolerance=1e-12,
        source="FHWA HDS-5 (2001), appendix A, table 9 (C)",
    )


def test_a_full_culvert_by_the_approximate_method(outside):
    """HDS-5, equations 4 to 7: with a drowned outlet the backwater is its H + ho − L S."""
    section, flow, length, gradient, tail = PipeSection(0.45), 0.3, 12.0, 0.01, 0.6
    upper = water_profile(
        section, flow_m3s=flow, gradient=gradient, length_m=length, tailwater_m=tail
    ).upper_m
    velocity = flow / section.area_m2
    factor = Colebrook(velocity * 0.45 / pipes.VISCOSITY_15C_M2S, 0.0006 / 0.45)
    head = (1 + 0.5 + factor * length / 0.45) * velocity**2 / (2 * 9.81)
    outside(
        quantity="450 mm culvert, 300 l/s, drowned outlet: headwater by outlet control",
        expected=head + tail - length * gradient,
        got=upper + 1.5 * velocity**2 / (2 * 9.81),
        tolerance=0.002,
        relative=True,
        unit="m",
        source="FHWA HDS-5 (2001), chapter III, friction by fluids.friction.Colebrook (R)",
    )
