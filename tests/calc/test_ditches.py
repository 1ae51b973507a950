"""Ditches: what is refused, and what must hold for every ditch."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from worksprog.calc.ditches import (
    DitchSection,
    capacity_working,
    critical_depth_m,
    ditch_capacity,
    normal_depth_m,
    uniform_flow,
    velocity_working,
)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"bed_width_m": -1}, "bed width"),
        ({"bed_width_m": 0, "side_slope": 0}, "neither"),
        ({"depth_m": 0}, "depth"),
        ({"freeboard_m": 0.9}, "leaves no water"),
        ({"side_slope": 45}, "horizontal"),
        ({"manning_n": 35}, "Manning"),
    ],
)
def test_it_refuses_in_words(change, words):
    usual = {"bed_width_m": 0.5, "side_slope": 1.5, "depth_m": 0.9}
    with pytest.raises(ValueError, match=words):
        DitchSection(**{**usual, **change})


@pytest.mark.parametrize("gradient", [0.0, -0.001, 5.0])
def test_it_refuses_a_ditch_that_does_not_fall(gradient):
    with pytest.raises(ValueError, match=r"fall|steeper"):
        ditch_capacity(DitchSection(0.5, 1.5, 0.9), gradient=gradient)


@given(
    bed=st.floats(0, 3),
    slope=st.floats(0.3, 4),
    one_in=st.floats(20, 2000),
    flow=st.floats(0.001, 20),
)
def test_normal_depth_carries_the_flow(bed, slope, one_in, flow):
    section = DitchSection(bed, slope, 1.0)
    depth = normal_depth_m(section, flow_m3s=flow, gradient=1 / one_in)
    assert uniform_flow(section, gradient=1 / one_in, depth_m=depth).flow_m3s == pytest.approx(
        flow, rel=1e-8
    )


def test_freeboard_takes_capacity():
    with_freeboard = DitchSection(0.5, 1.5, 0.9, freeboard_m=0.3)
    brim = DitchSection(0.5, 1.5, 0.9)
    kept = ditch_capacity(with_freeboard, gradient=0.005).flow_m3s
    assert kept == pytest.approx(0.78632, rel=1e-4)
    assert ditch_capacity(brim, gradient=0.005).flow_m3s > 2 * kept


def test_critical_depth_of_a_rectangle():
    """For a rectangle yc = (q²/g)^⅓ exactly."""
    section = DitchSection(2.0, 0.0, 2.0)
    assert critical_depth_m(section, flow_m3s=4.0) == pytest.approx(
        (2.0**2 / 9.81) ** (1 / 3), rel=1e-9
    )


def test_workings_end_in_the_result():
    section = DitchSection(0.5, 1.5, 0.9, freeboard_m=0.3)
    assert float(capacity_working(section, 0.005).steps[-1].value) == pytest.approx(786.3, abs=0.1)
    speed = velocity_working(section, flow_m3s=0.2, gradient=0.005)
    assert float(speed.steps[-1].value) == pytest.approx(0.659, abs=0.001)
    assert "tranquil" in speed.notes[0]
    steep = velocity_working(section, flow_m3s=0.2, gradient=0.08)
    assert "shoots" in steep.notes[0]
