from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, affinity, box

from worksprog.calc.laterals import (
    DrainWish,
    WetGround,
    Wish,
    backfill_for,
    ellipse_spacing_m,
    equivalent_depths_m,
    fall_of_area,
    hooghoudt_spacing_m,
    lateral_working,
    lay_out,
    set_levels,
    spacing_working,
)

SOUTH = 180.0
PLOT = box(0, 0, 40, 20)
ALONG_SOUTH = LineString([(-5, -1), (45, -1)])
DRAIN = DrainWish(0.6, 1 / 200, 0.08, 0.0006, 10, 5)


def test_straight_down_the_fall_onto_a_carrier_below() -> None:
    layout = lay_out(PLOT, ALONG_SOUTH, Wish("parallel", 5, 0, SOUTH))
    assert len(layout.laterals) == layout.joined == 8
    assert layout.length_m == pytest.approx(8 * 21)
    first = layout.laterals[0]
    assert first.line[0][1] == pytest.approx(20)
    assert first.line[1][1] == pytest.approx(-1)
    assert first.carried_m == pytest.approx(1)
    xs = sorted(lateral.line[0][0] for lateral in layout.laterals)
    assert np.diff(xs) == pytest.approx([5] * 7)
    assert sorted(lateral.joins_at_m or -1 for lateral in layout.laterals) == pytest.approx(
        [x + 5 for x in xs]
    )


def test_beyond_reach_of_the_carrier_they_are_not_joined() -> None:
    layout = lay_out(PLOT, ALONG_SOUTH, Wish("parallel", 5, 0, SOUTH, carry_on_m=0.5))
    assert layout.joined == 0
    assert all(lateral.carried_m == 0 for lateral in layout.laterals)
    assert layout.length_m == pytest.approx(160)


def test_herringbone_runs_towards_the_carrier_from_both_sides() -> None:
    middle = LineString([(20, 22), (20, -2)])
    layout = lay_out(PLOT, middle, Wish("herring", 5, 45, SOUTH))
    assert layout.joined > 0
    for lateral in layout.laterals:
        (x0, y0), (x1, y1) = lateral.line
        assert y1 < y0
        assert abs(y1 - y0) == pytest.approx(abs(x1 - x0))
        if lateral.joins_at_m is not None:
            assert x1 == pytest.approx(20)
    sides = {math.copysign(1, lateral.line[0][0] - 20) for lateral in layout.laterals}
    assert sides == {-1.0, 1.0}
    # Every strip is covered: length × spacing is the area, but for the corners.
    assert sum(
        lateral.length_m - lateral.carried_m for lateral in layout.laterals
    ) * 5 == pytest.approx(PLOT.area, rel=0.1)


def test_a_lateral_ends_where_it_crosses_the_carrier() -> None:
    across = LineString([(-1, 10), (41, 10)])
    layout = lay_out(PLOT, across, Wish("parallel", 10, 0, SOUTH))
    upper = [lateral for lateral in layout.laterals if lateral.joins_at_m is not None]
    lower = [lateral for lateral in layout.laterals if lateral.joins_at_m is None]
    assert len(upper) == len(lower) == 4
    assert all(lateral.line[1][1] == pytest.approx(10) for lateral in upper)
    assert all(lateral.line[0][1] == pytest.approx(10) for lateral in lower)


def test_of_two_directions_the_one_that_reaches_the_carrier() -> None:
    east = LineString([(41, 30), (41, -30)])
    layout = lay_out(PLOT, east, Wish("parallel", 5, 60, SOUTH, carry_on_m=45))
    assert layout.joined == len(layout.laterals)
    assert all(lateral.line[1][0] > lateral.line[0][0] for lateral in layout.laterals)


def test_short_pieces_are_left_out_and_counted() -> None:
    layout = lay_out(PLOT, None, Wish("parallel", 5, 45, SOUTH, least_m=10))
    assert layout.left_out > 0
    assert all(lateral.length_m >= 10 for lateral in layout.laterals)


@settings(max_examples=40, deadline=None)
@given(turn=st.floats(0, 360), angle=st.floats(0, 90), spacing=st.floats(2, 12))
def test_turning_the_ground_turns_the_layout(turn: float, angle: float, spacing: float) -> None:
    wish = Wish("parallel", spacing, angle, SOUTH, least_m=0)
    plain = lay_out(PLOT, None, wish)
    turned = lay_out(
        affinity.rotate(PLOT, -turn, origin=(0, 0)),
        None,
        replace(wish, fall_bearing_deg=SOUTH + turn),
    )
    assert turned.length_m == pytest.approx(plain.length_m, abs=0.1)
    inside = shapely.buffer(PLOT, 0.001)
    assert all(inside.covers(LineString(lateral.line)) for lateral in plain.laterals)


@pytest.mark.parametrize(
    ("wish", "words"),
    [
        ({"spacing_m": 0.1}, "spacing lies from"),
        ({"angle_to_fall_deg": 120}, "along the contour"),
        ({"fall_bearing_deg": math.nan}, "clockwise from grid north"),
        ({"edge_m": -1}, "0 m or more"),
    ],
)
def test_a_wish_that_cannot_be(wish: dict[str, Any], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        replace(Wish("parallel", 5, 45, SOUTH), **wish)


def test_areas_that_cannot_be_laid_out() -> None:
    with pytest.raises(ValueError, match="choose the carrier"):
        lay_out(PLOT, None, Wish("herring", 5, 45, SOUTH))
    with pytest.raises(ValueError, match="no inside left"):
        lay_out(PLOT, None, Wish("parallel", 5, 45, SOUTH, edge_m=11))
    with pytest.raises(ValueError, match="more than"):
        lay_out(box(0, 0, 5000, 5000), None, Wish("parallel", 0.5, 0, SOUTH))


def test_the_fall_of_an_area_is_that_of_its_plane() -> None:
    x, y = (part.ravel() for part in np.meshgrid(np.arange(10.0), np.arange(10.0)))
    for bearing, gradient in ((180.0, 0.02), (45.0, 0.01), (300.0, 0.05)):
        radians = math.radians(bearing)
        levels = 50 - gradient * (x * math.sin(radians) + y * math.cos(radians))
        levels[7] = np.nan
        fall = fall_of_area(x, y, levels)
        assert fall.bearing_deg == pytest.approx(bearing)
        assert fall.gradient == pytest.approx(gradient)
    with pytest.raises(ValueError, match="Fewer than three"):
        fall_of_area(x[:2], y[:2], np.array([1.0, 2.0]))
    with pytest.raises(ValueError, match="in one line"):
        fall_of_area(np.arange(5.0), np.arange(5.0), np.arange(5.0))


def plane(gradient: float) -> object:
    return lambda _x, y: 10 + gradient * np.asarray(y)


def test_levels_follow_the_ground_where_it_falls_enough() -> None:
    layout = lay_out(PLOT, ALONG_SOUTH, Wish("parallel", 5, 0, SOUTH))
    levels = set_levels(
        layout,
        DRAIN,
        levels_at=plane(0.02),  # type: ignore[arg-type]
        carrier_invert_at=lambda _: 9.0,
    )
    one = levels[0]
    assert one.gradient == pytest.approx(0.02)
    assert one.upper_invert_m == pytest.approx(10.4 - 0.6)
    assert one.lower_invert_m == pytest.approx(10 - 0.02 - 0.6)
    assert one.deepest_m == pytest.approx(0.6)
    assert one.drop_m == pytest.approx(0.38)
    assert (one.verdict, one.is_fault) == ("runs in", False)
    assert one.flow_m3s == pytest.approx(0.010 / 86_400 * 5 * 21)
    assert lateral_working(layout.laterals[0], one, DRAIN).steps[-1].value == "runs in"


def test_on_flat_ground_the_least_gradient_makes_it_deeper() -> None:
    layout = lay_out(PLOT, ALONG_SOUTH, Wish("parallel", 5, 0, SOUTH))
    (one, *_) = set_levels(
        layout,
        DRAIN,
        levels_at=plane(0.0),  # type: ignore[arg-type]
        carrier_invert_at=lambda _: 9.545,
    )
    assert one.gradient == pytest.approx(1 / 200)
    assert one.deepest_m == pytest.approx(0.6 + 21 / 200)
    assert "0.25 m below the carrier" in one.verdict
    assert one.is_fault


def test_a_hollow_on_the_way_lowers_the_whole_drain() -> None:
    layout = lay_out(box(0, 0, 4, 20), ALONG_SOUTH, Wish("parallel", 5, 0, SOUTH))

    def hollow(_x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return 10 + 0.02 * y - np.where(abs(y - 10) < 2, 0.3, 0)

    (one,) = set_levels(layout, DRAIN, levels_at=hollow, carrier_invert_at=lambda _: None)
    assert one.upper_invert_m == pytest.approx(10.4 - 0.6 - 0.3, abs=0.03)
    assert "check that it runs in" in one.verdict


def test_without_ground_or_carrier_it_says_so() -> None:
    layout = lay_out(PLOT, None, Wish("parallel", 5, 0, SOUTH))
    (one, *_) = set_levels(layout, DRAIN, levels_at=None, carrier_invert_at=lambda _: None)
    assert one.gradient is None
    assert "meets no carrier" in one.verdict
    assert "no ground model" in one.verdict


def test_too_much_water_for_a_lateral_is_named() -> None:
    layout = lay_out(PLOT, ALONG_SOUTH, Wish("parallel", 5, 0, SOUTH))
    wish = replace(DRAIN, rate_mm_d=400, spacing_m=200)
    (one, *_) = set_levels(
        layout,
        wish,
        levels_at=plane(0.005),  # type: ignore[arg-type]
        carrier_invert_at=lambda _: 0.0,
    )
    assert "is more than its" in one.verdict


def test_spacing_rises_with_conductivity_and_falls_with_the_rate() -> None:
    ground = WetGround(0.2, 0.1, 2.0, 0.05, 0.5, 7.0)
    spacing = hooghoudt_spacing_m(ground)
    assert hooghoudt_spacing_m(replace(ground, k_below_m_d=0.2)) > spacing
    assert hooghoudt_spacing_m(replace(ground, rate_mm_d=10)) < spacing
    even = WetGround(0.2, 0.2, 2.0, 0.05, 0.5, 7.0)
    assert (
        ellipse_spacing_m(k_m_d=0.2, rate_mm_d=7, drain_m=2.0, water_m=2.5)
        >= hooghoudt_spacing_m(even) - 1e-9
    )


@given(spacing=st.floats(2, 300), barrier=st.floats(0.05, 20))
def test_the_equivalent_depth_is_never_more_than_the_depth(spacing: float, barrier: float) -> None:
    for by in ("series", "moody"):
        depth = equivalent_depths_m(np.array([spacing]), barrier_m=barrier, radius_m=0.05, by=by)  # type: ignore[arg-type]
        assert 0 <= depth[0] <= barrier


@pytest.mark.parametrize(
    ("figures", "words"),
    [
        ({"k_above_m_d": -1}, "conductivity above"),
        ({"rate_mm_d": 0}, "drainage rate"),
        ({"radius_m": math.inf}, "drain radius"),
        ({"k_above_m_d": 0, "barrier_m": 0}, "No soil that lets water through"),
    ],
)
def test_ground_that_cannot_be(figures: dict[str, float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        replace(WetGround(0.2, 0.1, 2.0, 0.05, 0.5, 7.0), **figures)


def test_soils_beyond_drains_are_told() -> None:
    with pytest.raises(ValueError, match="no spacing of pipes"):
        hooghoudt_spacing_m(WetGround(0.0001, 0.0001, 0.5, 0.05, 0.2, 20))
    with pytest.raises(ValueError, match="hardly needs laterals"):
        hooghoudt_spacing_m(WetGround(900, 900, 50, 0.05, 2, 0.5))
    assert "slow" in spacing_working(WetGround(0.04, 0.02, 1.0, 0.05, 0.5, 7)).notes[1]


def test_a_pipe_that_does_not_fit_its_backfill() -> None:
    with pytest.raises(ValueError, match="does not fit"):
        backfill_for(
            width_m=0.1,
            height_m=0.5,
            outside_diameter_m=0.12,
            density_t_m3=1.6,
            spacing_m=5,
            conductivity_m_d=100,
        )
