"""Pipes: what is refused, and what must hold for every pipe."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from worksprog.calc.pipes import (
    MOST_FLOW_RATIO,
    PipeSection,
    capacity_working,
    diameters_for_flow,
    flattest_gradient,
    full_bore_flow_m3s,
    full_bore_velocity_ms,
    part_full,
    part_full_flow,
    velocity_working,
)

USUAL = {"diameter_m": 0.3, "gradient": 0.005, "roughness_m": 0.0006}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"gradient": 0.0}, "does not fall"),
        ({"gradient": -0.01}, "does not fall"),
        ({"gradient": math.nan}, "must be a number"),
        ({"gradient": 200}, "steeper than 1 in 1"),
        ({"roughness_m": 0.6}, "0.6 mm is 0.0006"),
        ({"roughness_m": -1e-4}, "cannot be"),
        ({"diameter_m": 300}, "300 mm is 0.3"),
        ({"diameter_m": 0}, "more than 0"),
        ({"diameter_m": 0.05, "gradient": 1e-5}, "not run turbulent"),
        ({"viscosity_m2s": 1.141}, "not water's"),
    ],
)
def test_it_refuses_in_words(change, words):
    with pytest.raises(ValueError, match=words):
        full_bore_velocity_ms(**{**USUAL, **change})


def test_section_refuses_roughness_in_millimetres():
    with pytest.raises(ValueError, match="metres"):
        PipeSection(diameter_m=0.3, roughness_m=0.6)


@given(
    diameter_m=st.floats(0.08, 1.5),
    one_in=st.floats(5, 1000),
    ks_mm=st.floats(0.03, 3.0),
    share=st.floats(0.01, 1.07),
)
def test_depth_at_a_flow_carries_that_flow(diameter_m, one_in, ks_mm, share):
    given_pipe = {
        "diameter_m": diameter_m,
        "gradient": 1 / one_in,
        "roughness_m": ks_mm / 1000,
    }
    full = full_bore_flow_m3s(**given_pipe)
    velocity = full_bore_velocity_ms(**given_pipe)
    got = part_full_flow(
        flow_m3s=share * full,
        full_flow_m3s=full,
        full_velocity_ms=velocity,
        diameter_m=diameter_m,
    )
    area = part_full(got.depth_ratio).area_ratio * math.pi * diameter_m**2 / 4
    assert got.velocity_ms * area == pytest.approx(share * full, rel=1e-9)
    assert got.depth_ratio <= 0.9382


def test_more_than_it_can_ever_carry_is_refused():
    with pytest.raises(ValueError, match=r"1\.0757 times at most"):
        part_full_flow(
            flow_m3s=0.1 * (MOST_FLOW_RATIO + 0.001),
            full_flow_m3s=0.1,
            full_velocity_ms=1.0,
            diameter_m=0.3,
        )


@given(diameter_m=st.floats(0.08, 1.5), one_in=st.floats(10, 500), ks_mm=st.floats(0.03, 3.0))
def test_least_bore_for_its_own_capacity_is_the_bore(diameter_m, one_in, ks_mm):
    capacity = full_bore_flow_m3s(
        diameter_m=diameter_m, gradient=1 / one_in, roughness_m=ks_mm / 1000
    )
    got = diameters_for_flow(np.array([capacity]), np.array([1 / one_in]), np.array([ks_mm / 1000]))
    assert got[0] == pytest.approx(diameter_m, rel=1e-9)


@given(diameter_m=st.floats(0.08, 1.5), velocity_ms=st.floats(0.3, 2.0))
def test_flattest_gradient_gives_that_velocity(diameter_m, velocity_ms):
    gradient = flattest_gradient(diameter_m=diameter_m, roughness_m=0.0006, velocity_ms=velocity_ms)
    reached = full_bore_velocity_ms(diameter_m=diameter_m, gradient=gradient, roughness_m=0.0006)
    assert reached == pytest.approx(velocity_ms, rel=1e-6)


def test_workings_end_in_the_result():
    section = PipeSection(0.3)
    capacity = capacity_working(section, 0.005)
    assert capacity.steps[-1].value == pytest.approx(full_bore_flow_m3s(**USUAL) * 1000, rel=1e-12)
    speed = velocity_working(section, flow_m3s=0.05, full_flow_m3s=0.0782, full_velocity_ms=1.106)
    assert speed.steps[-1].symbol == "V"
    assert 1.106 < float(speed.steps[-1].value) < 1.106 * 1.14
