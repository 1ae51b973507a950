"""Points on a polyline at exact chainages; pegs square off it."""

from __future__ import annotations

import math

import pytest

from tests.calc.drains import STORM, outfall, pipe
from worksprog.calc.network import check_drains
from worksprog.calc.way import Way, WayPiece, crossing_lines, joining_drains, way_of


def piece(key: str, upper: float, lower: float, *line: tuple[float, float], **facts) -> WayPiece:
    usual = {"upper_invert_m": 52.0, "lower_invert_m": 51.0, "bore_m": 0.3}
    return WayPiece(key, key, "pipe", upper, lower, line, **{**usual, **facts})


@pytest.fixture
def elbow() -> Way:
    """30 m east, then 40 m south, to the outfall at (30, −40)."""
    return Way((piece("P1", 70, 0, (0, 0), (30, 0), (30, -40)),))


@pytest.mark.parametrize(
    ("chainage", "place"),
    [
        (70, (0, 0)),
        (60, (10, 0)),
        (40, (30, 0)),
        (39, (30, -1)),
        (12.5, (30, -27.5)),
        (0, (30, -40)),
    ],
)
def test_a_chainage_is_measured_along_the_line_from_the_outfall(elbow, chainage, place):
    assert elbow.place_at(chainage) == pytest.approx(place, abs=1e-9)
    assert elbow.chainage_of(place) == pytest.approx((chainage, 0.0), abs=1e-9)


def test_pegs_stand_square_off_the_line_left_and_right_of_one_who_looks_downstream(elbow):
    assert elbow.peg_at(55, 2, "left") == pytest.approx((15, 2))
    assert elbow.peg_at(55, 2, "right") == pytest.approx((15, -2))
    assert elbow.peg_at(10, 2, "left") == pytest.approx((32, -30))
    assert elbow.peg_at(0, 2, "right") == pytest.approx((28, -40))


def test_a_peg_at_a_bend_is_as_far_from_both_legs(elbow):
    outer, inner = elbow.peg_at(40, 3, "left"), elbow.peg_at(40, 3, "right")
    assert outer == pytest.approx((33, 3))
    assert inner == pytest.approx((27, -3))


def test_a_peg_where_the_line_turns_back_stays_near():
    sharp = Way((piece("P1", 20, 0, (0, 0), (10, 0), (0, 0.5)),))
    peg = sharp.peg_at(10.0, 2, "left")
    assert math.dist(peg, sharp.place_at(10.0)) == pytest.approx(2)


def test_bends_are_told_and_straight_corners_are_not():
    line = Way((piece("P1", 70, 20, (0, 0), (10, 0), (30, 0), (30, -20)),
                piece("P2", 20, 0, (30, -20), (30, -30), (30, -40))))  # fmt: skip
    assert line.bends() == pytest.approx((40.0,))


def test_a_bend_at_a_joint_counts():
    line = Way((piece("P1", 70, 40, (0, 0), (30, 0)), piece("P2", 40, 0, (30, 0), (30, -40))))
    assert line.bends() == pytest.approx((40.0,))


def test_beyond_the_ends_is_refused(elbow):
    with pytest.raises(ValueError, match=r"runs from 0 at the outfall to 70\.0 m"):
        elbow.place_at(70.5)
    with pytest.raises(ValueError, match="0 m or more"):
        elbow.peg_at(10, -1, "left")


def test_a_drain_that_enters_part_way_starts_there_and_takes_the_level_between():
    reaches = [
        pipe("P1", (0, 0), (100, 0), upstream_invert_m=61, downstream_invert_m=60),
        pipe("P2", (40, 30), (40, 0), upstream_invert_m=61.5, downstream_invert_m=60.7),
    ]
    check = check_drains(reaches, [outfall(100, 0)], STORM)
    way = way_of(check, "P2")
    assert way.length_m == pytest.approx(90)
    assert way.pieces[1].line[0] == pytest.approx((40, 0))
    assert way.pieces[1].upper_invert_m == pytest.approx(60.6)
    joins = joining_drains(check, way_of(check, "P1"))
    assert [(one.name, one.what, one.joins) for one in joins] == [("P2", "pipe joins", True)]
    assert joins[0].chainage_m == pytest.approx(60)
    assert joins[0].level_m == pytest.approx(60.7)


def test_what_crosses_is_found_and_what_only_touches_with_an_end_is_not(elbow):
    lines = [
        ("SV1", "buried service", ((10, -5), (10, 5))),
        ("P7", "pipe", ((20, -5), (20, 5))),
        ("P8", "pipe", ((30, -20), (50, -20))),
        ("P9", "pipe", ((100, 0), (120, 0))),
    ]
    found = crossing_lines(elbow, lines)
    assert [(one.name, one.chainage_m) for one in found] == [
        ("SV1", pytest.approx(60)),
        ("P7", pytest.approx(50)),
    ]
