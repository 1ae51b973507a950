"""Places, levels and falls of what was built, against figures worked by hand."""

from __future__ import annotations

import math

import pytest

from worksprog.calc import as_built
from worksprog.calc.as_built import BuiltLevel, DesignLine, Stretch
from worksprog.calc.ditches import DitchSection
from worksprog.calc.pipes import PipeSection

# An L: 30 m east, then 40 m north; it falls 0.35 m over 70 m, which is 1 in 200.
LINE = DesignLine(((0.0, 0.0), (30.0, 0.0), (30.0, 40.0)), 50.35, 50.00)


def stretch(upper: float, lower: float, *, over: float = 10.0, accuracy: float = 0.01) -> Stretch:
    (found,) = as_built.stretches_between(
        [BuiltLevel("b", 40 + over, lower, accuracy), BuiltLevel("a", 40, upper, accuracy)]
    )
    return found


def test_a_point_beside_the_line() -> None:
    right = LINE.locate(10.0, -0.4)
    assert right.chainage_m == pytest.approx(10)
    assert right.offset_m == pytest.approx(0.4)
    left = LINE.locate(29.8, 20.0)
    assert left.chainage_m == pytest.approx(50)
    assert left.offset_m == pytest.approx(-0.2)
    assert LINE.locate(-3, -4).chainage_m == 0
    assert abs(LINE.locate(-3, -4).offset_m) == pytest.approx(5)
    assert abs(LINE.locate(30, 43).offset_m) == pytest.approx(3)


def test_turning_the_line_turns_chainage_and_side() -> None:
    back = DesignLine(LINE.line[::-1], 50.00, 50.35)
    for x, y in ((10.0, -0.4), (29.8, 20.0), (12.0, 1.0)):
        there, here = LINE.locate(x, y), back.locate(x, y)
        assert here.chainage_m == pytest.approx(LINE.length_m - there.chainage_m)
        assert here.offset_m == pytest.approx(-there.offset_m)


def test_chainage_and_place_are_inverse() -> None:
    for chainage in (0.0, 12.5, 30.0, 55.0, 70.0):
        assert LINE.locate(*LINE.place_at(chainage)).chainage_m == pytest.approx(chainage)
    with pytest.raises(ValueError, match=r"from 0 at its upper end to 70\.0 m"):
        LINE.place_at(71)
    with pytest.raises(ValueError, match="not on this drain"):
        LINE.place_at(float("nan"))


def test_design_level_and_difference() -> None:
    assert LINE.level_at(40) == pytest.approx(50.15)
    found = as_built.difference_from(LINE, BuiltLevel("a", 40, 50.183, 0.005))
    assert found.difference_m == pytest.approx(0.033)
    assert found.words == "33 mm higher than drawn"
    # A place good to 3 m on a fall of 1 in 200: 15 mm; with ± 8 mm of the level, 17 mm.
    loose = as_built.difference_from(LINE, BuiltLevel("a", 40, 50.16, 0.008, plan_accuracy_m=3))
    assert loose.accuracy_m == pytest.approx(0.017)
    assert loose.words == "as drawn, within ± 17 mm"
    assert as_built.difference_from(DesignLine(LINE.line), BuiltLevel("a", 40, 50)) is None


def test_backfall_beyond_the_accuracy() -> None:
    found = as_built.stretches_between(
        [BuiltLevel("a", 40, 62.100, 0.01), BuiltLevel("b", 52, 62.123, 0.01)]
    )[0]
    assert found.backfall == "yes"
    assert found.words == "backfall of 23 mm between chainage 40 and 52"
    assert found.gradient_words == "rises 1 in 522"


def test_what_two_levels_cannot_tell() -> None:
    """± 10 mm twice is ± 14.1 mm: a rise of 12 mm is none for certain, nor is a fall of 12 mm."""
    up, down = stretch(62.000, 62.012), stretch(62.012, 62.000)
    assert up.fall_accuracy_m == pytest.approx(0.01 * math.sqrt(2))
    assert (up.backfall, down.backfall) == ("maybe", "flat")
    assert "cannot be told: it rises 12 mm, within ± 14 mm" in up.words
    assert "cannot be told: it falls 12 mm, within ± 14 mm" in down.words


def test_how_uncertain_a_gradient_is() -> None:
    """50 mm over 10 m by levels of ± 10 mm: 1 in 200, anywhere from 1 in 156 to 1 in 279."""
    found = stretch(62.050, 62.000)
    assert found.gradient == pytest.approx(0.005)
    assert found.gradient_accuracy == pytest.approx(0.0014142, rel=1e-4)
    assert found.gradient_words == "1 in 200 (1 in 156 to 1 in 279)"


def test_one_place_levelled_twice_counts_once() -> None:
    found = as_built.stretches_between(
        [BuiltLevel("a", 0, 51), BuiltLevel("old", 20, 50), BuiltLevel("new", 20.01, 50.9)]
    )
    assert [(one.upper.key, one.lower.key) for one in found] == [("a", "new")]


def test_capacity_as_built() -> None:
    """300 mm, ks 0.6, 1 in 200 carries 78 l/s by Colebrook–White (see the pipe tests)."""
    section = PipeSection(0.3, 0.0006)
    exact = stretch(62.050, 62.000, accuracy=0.0)
    found = as_built.built_capacity(exact, section, 0.070)
    assert found.capacity_m3s == pytest.approx(0.0783, rel=0.01)
    assert found.carries == "carries"
    loose = as_built.built_capacity(stretch(62.050, 62.000), section, 0.070)
    assert loose.least_m3s < 0.070 < loose.capacity_m3s
    assert "not certain" in loose.words
    flatter = as_built.built_capacity(stretch(62.020, 62.000, accuracy=0.001), section, 0.070)
    assert flatter.carries == "too_small"
    back = as_built.built_capacity(stretch(62.000, 62.050), section, 0.070)
    assert (back.capacity_m3s, back.carries) == (0.0, "too_small")
    assert as_built.built_capacity(exact, None, 0.07).carries == "unknown"
    ditch = as_built.built_capacity(exact, DitchSection(0.5, 1.5, 0.9), 0.070)
    assert ditch.carries == "carries"


def test_depth_below_a_peg() -> None:
    assert as_built.level_below_peg(peg_level_m=63.40, below_peg_m=1.285) == pytest.approx(62.115)
    with pytest.raises(ValueError, match=r"Were it feet, it would be 4\.27 m"):
        as_built.level_below_peg(peg_level_m=63.4, below_peg_m=14)
    with pytest.raises(ValueError, match="0 to 12"):
        as_built.level_below_peg(peg_level_m=63.4, below_peg_m=-1)


def test_invert_under_a_crown() -> None:
    exact = as_built.invert_from_crown(crown_m=62.0, accuracy_m=0.01, bore_m=0.3, wall_m=0.02)
    assert (exact.level_m, exact.accuracy_m) == pytest.approx((61.68, 0.01))
    guessed = as_built.invert_from_crown(crown_m=62.0, accuracy_m=0.012, bore_m=0.3)
    assert guessed.level_m == pytest.approx(61.679)
    assert guessed.accuracy_m == pytest.approx(0.015)  # 12 mm and 3 % of 300 mm
    with pytest.raises(ValueError, match="wall"):
        as_built.invert_from_crown(crown_m=62, accuracy_m=0, bore_m=0.1, wall_m=0.1)


def test_feet_are_heard() -> None:
    assert "looks like feet" in as_built.feet_said(62.1 / 0.3048, 62.1)
    assert "looks like feet" in as_built.feet_said(4.1, 1.25)
    assert as_built.feet_said(62.3, 62.1) == ""
    assert as_built.feet_said(70.0, 62.1) == ""


def test_out_of_line_only_beyond_the_position() -> None:
    assert BuiltLevel("a", 0, 1, offset_m=0.2).out_of_line
    assert not BuiltLevel("a", 0, 1, offset_m=-0.2, plan_accuracy_m=0.1).out_of_line


def test_what_is_missing_before_closing() -> None:
    levels = [BuiltLevel("a", 0.5, 52), BuiltLevel("b", 40, 51)]
    assert as_built.missing_levels(levels, 70) == [
        "no level within 2 m of its lower end",
        "no level between chainage 0.5 and 40, more than 30 m",
    ]
    assert as_built.ends_of(levels, 70) == (52, None)
    assert as_built.missing_levels([], 70) == ["no level has been taken on it"]


def test_two_levels_alike_to_the_millimetre_tell_no_gradient() -> None:
    for level in (stretch(50, 50, accuracy=0.0), stretch(50, 50 + math.sqrt(0.0002))):
        assert level.backfall in ("flat", "maybe", "yes")
        assert "1 in 0" not in level.gradient_words
    assert "level at the most" in stretch(50, 50, accuracy=0.0).gradient_words


def test_a_drop_between_two_levels_carries_what_the_steepest_drain_does() -> None:
    drop, steep = stretch(51, 50, over=0.5), stretch(51, 50, over=1.0)
    for section in (PipeSection(0.3), DitchSection(0.5, 1.5, 0.6)):
        carries = as_built.built_capacity(drop, section, 0.05)
        assert carries.carries == "carries"
        assert carries.capacity_m3s == pytest.approx(
            as_built.built_capacity(steep, section, 0.05).capacity_m3s
        )
