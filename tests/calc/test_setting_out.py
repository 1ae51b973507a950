"""Setting out: levels, depths, readings and laser settings against figures worked by hand."""

from __future__ import annotations

import pytest

from tests.calc.test_way import piece
from worksprog.calc.setting_out import LineOfSight, Wish, set_out
from worksprog.calc.way import Crossing, Way


@pytest.fixture
def way() -> Way:
    """P1 falls 1.0 m over 50 m, drops 0.2 m at C2, P2 falls 0.5 m over 50 m; straight east."""
    return Way(
        (
            piece("P1", 100, 50, (0, 0), (50, 0), upper_invert_m=53.0, lower_invert_m=52.0),
            piece("P2", 50, 0, (50, 0), (100, 0), upper_invert_m=51.8, lower_invert_m=51.3),
        )
    )


def at(found, chainage):
    return [one for one in found.stakes if abs(one.chainage_m - chainage) < 1e-6]


def test_stations_run_from_the_outfall_up_and_name_what_is_there(way):
    found = set_out(
        way, Wish(every_m=20), names=[(0, "outfall O1"), (50, "chamber C2"), (100, "chamber C1")],
        crossings=[Crossing(33.3, "SV1", "buried service")],
    )  # fmt: skip
    assert [round(one.chainage_m, 1) for one in found.stakes] == [
        0, 20, 33.3, 40, 50, 50, 60, 80, 100,
    ]  # fmt: skip
    assert at(found, 33.3)[0].what == ("crosses buried service SV1",)
    assert [one.what for one in at(found, 50)] == [
        ("chamber C2", "gradient changes", "drain below, P2"),
        ("chamber C2", "gradient changes", "drain above, P1"),
    ]


def test_levels_lie_straight_between_the_ends_of_a_reach(way):
    found = set_out(way, Wish(every_m=10))
    assert [at(found, c)[0].invert_m for c in (0, 10, 30)] == pytest.approx([51.3, 51.4, 51.6])
    assert [one.invert_m for one in at(found, 50)] == pytest.approx([51.8, 52.0])
    assert at(found, 70)[0].invert_m == pytest.approx(52.4)


def test_the_trench_goes_down_to_the_bed_under_the_wall(way):
    found = set_out(way, Wish(bed_m=0.1, wall_m=0.02), ground_at=lambda x, y: 53.5)
    stake = at(found, 30)[0]
    assert stake.bottom_m == pytest.approx(51.48)
    assert stake.dig_m == pytest.approx(2.02)
    assert found.deepest.chainage_m == 0
    assert found.deepest.dig_m == pytest.approx(53.5 - 51.18)


def test_a_wall_nobody_entered_is_seven_per_cent_of_the_bore(way):
    assert at(set_out(way, Wish(bed_m=0.1)), 0)[0].bottom_m == pytest.approx(51.3 - 0.1 - 0.021)


def test_a_ditch_is_dug_to_its_bed():
    ditch = Way((piece("D1", 50, 0, (0, 0), (50, 0), bore_m=None),))
    object.__setattr__(ditch.pieces[0], "kind", "ditch")
    stake = set_out(ditch, Wish(bed_m=0.1), ground_at=lambda x, y: 52.0).stakes[0]
    assert (stake.invert_m, stake.bottom_m, stake.dig_m) == (51.0, 51.0, 1.0)


def test_the_staff_reads_the_line_of_sight_less_the_level(way):
    sight = LineOfSight(52.0, 1.35)
    assert sight.level_m == pytest.approx(53.35)
    found = set_out(way, Wish(bed_m=0.1, wall_m=0.0, sight=sight))
    stake = at(found, 20)[0]
    assert stake.invert_reading_m == pytest.approx(53.35 - 51.5)
    assert stake.bottom_reading_m == pytest.approx(53.35 - 51.4)
    assert stake.reading_words == ""


@pytest.mark.parametrize(
    ("mark", "words"), [(49.0, "above the line of sight"), (57.0, "beyond a 5 m staff")]
)
def test_a_staff_that_cannot_be_read_is_told(way, mark, words):
    found = set_out(way, Wish(sight=LineOfSight(mark, 1.0)))
    assert found.stakes[0].reading_words == words


def test_pegs_beside_the_line_have_their_places(way):
    stake = at(set_out(way, Wish(offset_m=1.5)), 30)[0]
    assert stake.place == pytest.approx((70, 0))
    assert stake.left == pytest.approx((70, 1.5))
    assert stake.right == pytest.approx((70, -1.5))


def test_a_laser_is_set_once_for_each_run(way):
    runs = set_out(way, Wish()).runs
    assert [(run.lower_chainage_m, run.upper_chainage_m) for run in runs] == [(0, 50), (50, 100)]
    assert [run.percent for run in runs] == pytest.approx([1.0, 2.0])
    assert [run.one_in for run in runs] == pytest.approx([100, 50])
    assert runs[0].working().steps[-1].printed() == "1.000"


def test_reaches_of_one_gradient_are_one_run():
    way = Way(
        (
            piece("P1", 100, 50, (0, 0), (50, 0), upper_invert_m=53.0, lower_invert_m=52.5),
            piece("P2", 50, 0, (50, 0), (100, 0), upper_invert_m=52.5, lower_invert_m=52.0),
        )
    )
    found = set_out(way, Wish(every_m=25))
    assert [run.names for run in found.runs] == [("P2", "P1")]
    assert not any("gradient changes" in one.what for one in found.stakes)
    assert len(at(found, 50)) == 1


def test_a_missing_level_leaves_its_figures_open_and_is_named(way):
    broken = Way((piece("P1", 100, 50, (0, 0), (50, 0), upper_invert_m=None), way.pieces[1]))
    found = set_out(broken, Wish())
    assert found.missing == ("P1",)
    assert at(found, 80)[0].invert_m is None
    assert at(found, 80)[0].dig_m is None
    assert [run.names for run in found.runs] == [("P2",)]


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Wish(every_m=0), "0.5 to 100 m apart"),
        (lambda: Wish(bed_m=-0.1), "0 to 1 m thick"),
        (lambda: Wish(wall_m=2), "wall"),
        (lambda: Wish(offset_m=0), "up to 50 m"),
        (lambda: LineOfSight(52, 7), "staff reading"),
        (lambda: LineOfSight(float("nan"), 1), "bench mark"),
    ],
)
def test_wishes_that_cannot_be_are_refused(make, words):
    with pytest.raises(ValueError, match=words):
        make()


def test_too_many_stations_are_refused():
    long = Way((piece("P1", 5000, 0, (0, 0), (5000, 0)),))
    with pytest.raises(ValueError, match="more than 2,000"):
        set_out(long, Wish(every_m=1))
