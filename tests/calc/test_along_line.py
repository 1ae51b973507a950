"""Depths along a line: exact between stations, honest about gaps and about inverts in the air."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from worksprog.calc import along_line, earthworks

DEPTHS = st.lists(st.floats(0.05, 4.0), min_size=2, max_size=12)


def section(bottom: float, slope: float):
    return lambda depth: earthworks.trapezoid_area_m2(
        bottom_m=bottom, side_slope=slope, depth_m=depth
    )


@given(DEPTHS, st.floats(0.1, 3), st.floats(0, 3), st.floats(0, 0.4))
def test_the_sums_give_the_prismoidal_volume(depths, bottom, slope, deeper):
    chainage = [7.0 * k for k in range(len(depths))]
    along = along_line.depth_along(chainage, depths)
    by_sums = along_line.trapezoid_volume_m3(
        along, bottom_m=bottom, side_slope=slope, deeper_by_m=deeper
    )
    by_rule = along_line.volume_by_prismoids_m3(
        chainage, [depth + deeper for depth in depths], section(bottom, slope)
    )
    assert by_sums == pytest.approx(by_rule, rel=1e-9)
    ends = [section(bottom, slope)(depth + deeper) for depth in depths]
    assert along_line.volume_by_end_areas_m3(chainage, ends) >= by_rule * (1 - 1e-12)


@given(DEPTHS)
def test_more_stations_on_the_same_line_change_nothing(depths):
    chainage = np.arange(len(depths)) * 10.0
    finer = np.linspace(0, chainage[-1], 10 * (len(depths) - 1) + 1)
    one = along_line.depth_along(chainage, depths)
    other = along_line.depth_along(finer, np.interp(finer, chainage, depths))
    assert other.mean_m == pytest.approx(one.mean_m)
    assert other.square_m2 == pytest.approx(one.square_m2)
    assert one.square_m2 >= one.mean_m**2 * (1 - 1e-12)


def test_an_invert_above_the_ground_is_not_dug():
    along = along_line.depth_along([0, 100], [-1.0, 1.0])
    # A wedge of 50 m from 0 to 1 m deep, and 50 m with nothing to dig.
    assert along.mean_m * along.length_m == pytest.approx(25.0)
    assert along.square_m2 * along.length_m == pytest.approx(50 / 3)
    assert along.above_m == pytest.approx(50.0)
    assert along.deepest_m == 1.0


def test_what_the_survey_does_not_tell_is_taken_as_the_mean():
    assert along_line.depth_along([0, 40, 60, 100], [1.0, 1.0, math.nan, 5.0]) is None
    along = along_line.depth_along([0, 70, 100], [1.0, 2.0, math.nan])
    assert along.known == pytest.approx(0.7)
    assert along.mean_m == pytest.approx(1.5)
    assert along_line.depth_along([0, 10, 100], [1.0, 1.0, math.nan]) is None
    assert along_line.depth_along([0, 100], [-1.0, -0.5]) is None


def test_the_even_change_stands_for_the_same_volume():
    along = along_line.depth_along([0, 30], [0.6, 1.4])
    assert along.even_change_m == pytest.approx(0.8)
    assert along_line.depth_along([0, 30], [1.1, 1.1]).even_change_m == pytest.approx(0.0)


@pytest.mark.parametrize(
    ("bore", "outside", "depth", "width"),
    [
        (150, 0.172, 0.9, 0.572),  # outside + 0.40, no least width below 1 m
        (150, 0.172, 1.2, 0.80),
        (150, 0.172, 2.0, 0.90),
        (225, 0.26, 0.9, 0.66),
        (300, 0.345, 1.2, 0.845),  # outside + 0.50 is more than the least
        (450, 0.52, 1.2, 1.22),  # outside + 0.70
        (600, 0.69, 4.5, 1.39),
        (150, 0.172, 4.5, 1.00),
    ],
)
def test_width_goes_by_size_and_depth(bore, outside, depth, width):
    got = along_line.trench_width_m(bore_mm=bore, outside_m=outside, depth_m=depth)
    assert got == pytest.approx(width)


def test_mean_width_steps_where_the_trench_gets_that_deep():
    # 0.4 to 2.4 m to the invert, 0.1 m more to the bottom: 0.5 to 2.5 m over 100 m. The width is
    # 0.572 to 1.0 m deep (25 m), 0.80 to 1.75 m (37.5 m), 0.90 beyond (37.5 m).
    got = along_line.mean_trench_width_m(
        [0, 100], [0.4, 2.4], bore_mm=150, outside_m=0.172, deeper_by_m=0.1
    )
    faces = (25 * 0.75, 37.5 * 1.375, 37.5 * 2.125)
    by_hand = (faces[0] * 0.572 + faces[1] * 0.80 + faces[2] * 0.90) / sum(faces)
    assert got == pytest.approx(by_hand)


@pytest.mark.parametrize(
    ("chainage", "depth", "words"),
    [
        ([0], [1], "two stations"),
        ([0, 1], [1], "two stations"),
        ([0, 0], [1, 1], "must rise"),
        ([0, math.nan], [1, 1], "must rise"),
        ([0, 1], [1, math.inf], "not a number"),
    ],
)
def test_muddled_stations_are_refused(chainage, depth, words):
    with pytest.raises(ValueError, match=words):
        along_line.depth_along(chainage, depth)


def test_sections_that_do_not_fit_are_refused():
    with pytest.raises(ValueError, match="each with its chainage"):
        along_line.volume_by_end_areas_m3([0, 1], [1])
    with pytest.raises(ValueError, match="must rise"):
        along_line.volume_by_end_areas_m3([1, 0], [1, 1])
    with pytest.raises(ValueError, match="must not be negative"):
        along_line.volume_by_end_areas_m3([0, 1], [1, -1])
    with pytest.raises(ValueError, match="more than 0"):
        along_line.trench_width_m(bore_mm=150, outside_m=0.17, depth_m=0)
    with pytest.raises(ValueError, match="Nothing to dig"):
        along_line.mean_trench_width_m(
            [0, 1], [-1, -1], bore_mm=150, outside_m=0.17, deeper_by_m=0.1
        )
