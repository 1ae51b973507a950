"""What the arithmetic of volumes and ranges must always keep, and what it refuses."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from worksprog.calc import earthworks, timber
from worksprog.calc.build_up import labour
from worksprog.calc.ranges import Shape, ThreePoint, mean_and_sd, sum_ranges

POINTS = st.lists(st.floats(0, 1e4), min_size=3, max_size=3).map(lambda v: ThreePoint(*sorted(v)))


@given(st.lists(POINTS, min_size=1, max_size=8), st.floats(0, 1), st.sampled_from(list(Shape)))
def test_sum_lies_within_its_corners_and_correlation_widens_it(points, rho, shape):
    total = sum_ranges(points, shape=shape, correlation=rho)
    slack = 1e-9 * (1 + total.corners.high)
    assert total.corners.low - slack <= total.mean <= total.corners.high + slack
    assert sum_ranges(points, shape=shape, correlation=0).sd <= total.sd + slack
    assert total.sd <= sum(mean_and_sd(point, shape)[1] for point in points) + slack
    assert total.not_exceeded(0.2) <= total.not_exceeded(0.8) + slack


@given(
    st.floats(1, 500), st.floats(0.1, 2), st.floats(0, 3), st.floats(0.2, 2.5), st.floats(0.2, 2.5)
)
def test_end_area_is_never_less_than_prismoidal(length, bottom, slope, first, last):
    ditch = earthworks.ditch_volume(
        length_m=length,
        bottom_m=bottom,
        side_slope=slope,
        depth_start_m=first,
        depth_end_m=last,
    )
    assert ditch.end_area_m3 >= ditch.dig_m3 * (1 - 1e-12)
    turned = earthworks.ditch_volume(
        length_m=length, bottom_m=bottom, side_slope=slope, depth_start_m=last, depth_end_m=first
    )
    assert turned.dig_m3 == pytest.approx(ditch.dig_m3)


@given(
    st.floats(1, 500), st.floats(0.1, 0.5), st.floats(0.0, 0.3), st.floats(0, 0.3), st.floats(0, 2)
)
def test_trench_balances(length, outside, bed, over, deeper):
    trench = earthworks.trench_balance(
        length_m=length,
        width_m=outside + 0.3,
        depth_m=bed + outside + over + deeper + 1e-9,
        pipe_outside_m=outside,
        bed_m=bed,
        over_crown_m=over,
    )
    assert trench.dig_m3 == pytest.approx(trench.pipe_m3 + trench.stone_m3 + trench.backfill_m3)
    assert trench.surplus_m3 == pytest.approx(trench.pipe_m3 + trench.stone_m3)


def test_firmer_backfill_leaves_less_over():
    common = {"length_m": 10, "width_m": 0.7, "depth_m": 1.2, "pipe_outside_m": 0.3, "bed_m": 0.1}
    loose = earthworks.trench_balance(**common, over_crown_m=0.1, compacted_per_bank=1.0)
    firm = earthworks.trench_balance(**common, over_crown_m=0.1, compacted_per_bank=0.9)
    assert firm.surplus_m3 < loose.surplus_m3


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"depth_m": 0.4}, "0.545 m, the trench is 0.4 m deep"),
        ({"width_m": 0.3}, "does not go into a trench"),
        ({"length_m": 0}, "length must be more than 0"),
        ({"compacted_per_bank": 0.1}, "bring in fill"),
        ({"depth_m": float("nan")}, "depth must be more than 0"),
    ],
)
def test_trench_refuses(change, words):
    good = {
        "length_m": 100,
        "width_m": 0.6,
        "depth_m": 1.5,
        "pipe_outside_m": 0.345,
        "bed_m": 0.1,
        "over_crown_m": 0.1,
    }
    with pytest.raises(ValueError, match=words):
        earthworks.trench_balance(**{**good, **change})


def test_loads_are_whole_and_not_one_too_many():
    assert earthworks.loads(loose_m3=0, load_m3=8) == 0
    assert earthworks.loads(loose_m3=24, load_m3=8) == 3
    assert earthworks.loads(loose_m3=24.1, load_m3=8) == 4
    assert earthworks.loads(loose_m3=0.3, load_m3=0.1) == 3


@pytest.mark.parametrize("values", [(2, 1, 3), (1, 3, 2), (float("nan"), 1, 2), (0, 1, 1e400)])
def test_three_point_refuses_what_does_not_rise(values):
    with pytest.raises(ValueError, match="Low, likely and high"):
        ThreePoint(*values)


def test_range_arithmetic():
    quotient = ThreePoint(10, 20, 30).over_range(ThreePoint(2, 4, 5))
    assert (quotient.low, quotient.likely, quotient.high) == (2, 5, 15)
    with pytest.raises(ValueError, match="above 0"):
        ThreePoint(1, 2, 3).over_range(ThreePoint(0, 1, 2))
    with pytest.raises(ValueError, match="correlation"):
        sum_ranges([], correlation=1.2)
    with pytest.raises(ValueError, match="chance"):
        sum_ranges([ThreePoint(1, 2, 3)]).not_exceeded(80)
    assert sum_ranges([ThreePoint.exactly(5)]).not_exceeded(0.8) == 5


def test_newton_lies_between_huber_and_smalian():
    newton = timber.newton_m3(
        length_m=4, butt_diameter_m=0.4, middle_diameter_m=0.3, top_diameter_m=0.25
    )
    huber = timber.huber_m3(length_m=4, middle_diameter_m=0.3)
    smalian = timber.smalian_m3(length_m=4, butt_diameter_m=0.4, top_diameter_m=0.25)
    assert newton == pytest.approx((2 * huber + smalian) / 3)
    rough = timber.standing_m3(breast_height_diameter_m=0.3, height_m=18)
    assert rough.low < rough.likely < rough.high
    with pytest.raises(ValueError, match="length of a log"):
        timber.huber_m3(length_m=0, middle_diameter_m=0.3)
    with pytest.raises(ValueError, match="at the top"):
        timber.smalian_m3(length_m=1, butt_diameter_m=0.3, top_diameter_m=-0.1)


def test_labour_refuses_impossible_availability():
    with pytest.raises(ValueError, match="Availability"):
        labour.duration_days(man_days=10, crew=2, availability=1.2)
    with pytest.raises(ValueError, match="crew"):
        labour.duration_days(man_days=10, crew=0, availability=0.8)
