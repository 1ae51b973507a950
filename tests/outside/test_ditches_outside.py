"""Ditches against a published worked example, hand arithmetic and the ``fluids`` library."""

from __future__ import annotations

import math

import pytest
from fluids.open_flow import V_Manning

from worksprog.calc.ditches import (
    DitchSection,
    critical_depth_m,
    ditch_capacity,
    normal_depth_m,
    uniform_flow,
)

FOOT = 0.3048
CHOW = DitchSection(bed_width_m=20 * FOOT, side_slope=2, depth_m=3, manning_n=0.025)
CHOW_FLOW = 400 * FOOT**3
GOLF = DitchSection(bed_width_m=0.5, side_slope=1.5, depth_m=0.9, manning_n=0.035, freeboard_m=0.3)


def test_chow_normal_depth(outside):
    depth = normal_depth_m(CHOW, flow_m3s=CHOW_FLOW, gradient=0.0016)
    outside(
        quantity="Ditch 20 ft bed, 2:1, 400 cfs: normal depth",
        expected=3.36,
        got=depth / FOOT,
        tolerance=0.005,
        relative=True,
        unit="ft",
        source="Chow 1959, example 6-2 (M)",
    )
    outside(
        quantity="Ditch 20 ft bed, 2:1, 400 cfs: velocity",
        expected=4.46,
        got=uniform_flow(CHOW, gradient=0.0016, depth_m=depth).velocity_ms / FOOT,
        tolerance=0.005,
        relative=True,
        unit="ft/s",
        source="Chow 1959, example 6-2 (M)",
    )


def test_chow_critical_depth(outside):
    outside(
        quantity="Ditch 20 ft bed, 2:1, 400 cfs: critical depth",
        expected=2.15,
        got=critical_depth_m(CHOW, flow_m3s=CHOW_FLOW) / FOOT,
        tolerance=0.005,
        relative=True,
        unit="ft",
        source="Chow 1959, example 4-2 (M)",
    )


@pytest.mark.parametrize(
    ("manning_n", "flow_m3s"), [(0.035, 0.78632), (0.08, 0.34401), (0.10, 0.27521)]
)
def test_golf_ditch_capacity(outside, manning_n, flow_m3s):
    section = DitchSection(
        bed_width_m=0.5, side_slope=1.5, depth_m=0.9, manning_n=manning_n, freeboard_m=0.3
    )
    outside(
        quantity=f"Ditch 0.5 m bed, 1.5:1, 0.6 m of water, n {manning_n}: capacity",
        expected=flow_m3s,
        got=ditch_capacity(section, gradient=1 / 200).flow_m3s,
        tolerance=1e-4,
        relative=True,
        unit="m3/s",
        source="Manning by hand (A)",
    )


def test_golf_ditch_depths(outside):
    outside(
        quantity="Same ditch, 200 l/s: normal depth",
        expected=0.3130,
        got=normal_depth_m(GOLF, flow_m3s=0.2, gradient=1 / 200),
        tolerance=1e-3,
        relative=True,
        unit="m",
        source="Manning by hand (A)",
    )
    outside(
        quantity="Same ditch, 200 l/s: critical depth",
        expected=0.2051,
        got=critical_depth_m(GOLF, flow_m3s=0.2),
        tolerance=1e-3,
        relative=True,
        unit="m",
        source="Q² T = g A³ by hand (A)",
    )


def test_against_fluids_over_a_grid(outside):
    worst = 0.0
    for bed in (0.0, 0.3, 0.6, 1.5):
        for slope in (0.5, 1.0, 1.5, 3.0):
            for depth in (0.1, 0.4, 1.0):
                for one_in in (50, 200, 1000):
                    section = DitchSection(bed, slope, 1.0, manning_n=0.035)
                    area = (bed + slope * depth) * depth
                    perimeter = bed + 2 * math.hypot(depth, slope * depth)
                    theirs = V_Manning(Rh=area / perimeter, S=1 / one_in, n=0.035)
                    mine = uniform_flow(section, gradient=1 / one_in, depth_m=depth)
                    worst = max(worst, abs(mine.velocity_ms / theirs - 1))
    outside(
        quantity="144 ditches, bed 0 to 1.5 m, 1 in 50 to 1000: worst departure",
        expected=0.0,
        got=worst,
        tolerance=1e-12,
        source="fluids.open_flow.V_Manning on hand geometry (R)",
    )
