"""The long section: chainages from the outfall, levels along it, cover and depth."""

from __future__ import annotations

import numpy as np
import pytest

from tests.calc.drains import STORM, ditch, outfall, pipe
from worksprog.calc.long_section import lay_out_long_section
from worksprog.calc.network import Node, check_drains


def plane(points):
    """Ground that falls 1 in 100 along x from 62 m, known only to the north of y = −500."""
    levels = 62.0 - points[:, 0] / 100
    return np.where(points[:, 1] < -500, np.nan, levels)


@pytest.fixture
def drain():
    """C1 → C2 → O1: two 100 m pipes, the lower one proposed, with a 0.2 m drop at C2."""
    reaches = [
        pipe("P1", (0, 0), (100, 0), upstream_invert_m=61, downstream_invert_m=60),
        pipe(
            "P2",
            (100, 0),
            (200, 0),
            upstream_invert_m=59.8,
            downstream_invert_m=58.8,
            standing=False,
        ),
    ]
    nodes = [
        Node("C1", "C1", "chamber", 0, 0, cover_m=62.3),
        Node("C2", "C2", "chamber", 100, 0),
        outfall(200, 0),
    ]
    return check_drains(reaches, nodes, STORM)


def test_stations_from_the_top_down_with_chainage_from_the_outfall(drain):
    section = lay_out_long_section(drain, "P1", levels_at=plane)
    assert [(s.name, s.chainage_m) for s in section.stations] == [
        ("C1", 200.0),
        ("C2", 100.0),
        ("O1", 0.0),
    ]
    assert [s.ground_m for s in section.stations] == [62.3, pytest.approx(61), pytest.approx(60)]
    assert [s.invert_m for s in section.stations] == [61, 59.8, 58.8]
    assert section.stations[1].depth_m == pytest.approx(1.2)
    assert (section.top_name, section.outfall_name, section.length_m) == ("C1", "O1", 200.0)
    assert section.standing_m == 100.0


def test_ground_is_sampled_at_most_five_metres_apart(drain):
    section = lay_out_long_section(drain, "P1", levels_at=plane)
    chainages = [point.chainage_m for point in section.ground]
    assert chainages == sorted(chainages, reverse=True)
    assert max(-np.diff(chainages)) <= 5.0 + 1e-9
    assert len(chainages) == len(set(chainages)) == 41


def test_cover_and_depth(drain):
    section = lay_out_long_section(drain, "P1", levels_at=plane)
    # ground − (invert + bore): 62 − 61.3 = 0.7 along the upper pipe, 0.9 along the lower
    assert section.least_cover is not None
    assert section.least_cover.value_m == pytest.approx(0.7)
    assert section.deepest_invert is not None
    assert section.deepest_invert.value_m == pytest.approx(1.2)
    assert (section.lowest_m, section.highest_m) == (58.8, 62.3)


def test_without_ground_there_is_no_cover(drain):
    section = lay_out_long_section(drain, "P1")
    assert section.ground == ()
    assert section.least_cover is None
    assert section.stations[0].ground_m == 62.3
    assert section.stations[1].depth_m is None


def test_unknown_ground_is_left_out_not_drawn(drain):
    reach = pipe("P1", (0, -600), (100, -600))
    check = check_drains([reach], [outfall(100, -600)], STORM)
    assert lay_out_long_section(check, "P1", levels_at=plane).ground == ()


def test_down_a_ditch_from_where_the_pipe_enters():
    brook = ditch("D1", (0, 0), (200, 0), upstream_invert_m=50, downstream_invert_m=49)
    side = pipe("P1", (80, 60), (80, 0), upstream_invert_m=51, downstream_invert_m=50)
    check = check_drains([brook, side], [outfall(200, 0)], STORM)
    section = lay_out_long_section(check, "P1", levels_at=plane)
    assert section.length_m == pytest.approx(60 + 120)
    lower = section.pieces[1]
    assert lower.upper_invert_m == pytest.approx(49.6)
    assert lower.invert_at(60) == pytest.approx(49.3)
    assert section.stations[1].invert_m == pytest.approx(49.6)


def test_a_missing_level_leaves_a_gap(drain):
    check = check_drains(
        [pipe("P1", (0, 0), (100, 0), upstream_invert_m=None)], [outfall(100, 0)], STORM
    )
    section = lay_out_long_section(check, "P1", levels_at=plane)
    assert section.pieces[0].invert_at(50) is None
    assert section.stations[0].invert_m is None
    assert section.least_cover is None


def test_an_unknown_reach_is_refused(drain):
    with pytest.raises(KeyError):
        lay_out_long_section(drain, "P9")


def test_no_cover_is_asked_where_a_pipe_comes_out_in_a_bank():
    """The brook's bed at its outfall is no cover over the pipe."""
    reaches = [
        ditch("D1", (0, 0), (200, 0), upstream_invert_m=50, downstream_invert_m=49),
        pipe("P1", (80, 60), (80, 0), upstream_invert_m=51, downstream_invert_m=50.2),
    ]
    check = check_drains(reaches, [outfall(200, 0), outfall(80, 0, "MO")], STORM)

    def banks(points):
        return np.where(points[:, 1] < 2, 49.9, 52.5)

    section = lay_out_long_section(check, "P1", levels_at=banks)
    assert (section.length_m, section.outfall_name) == (60.0, "MO")
    assert section.stations[-1].invert_m == 50.2
    assert section.least_cover is not None
    assert section.least_cover.chainage_m == pytest.approx(60)
    assert section.least_cover.value_m == pytest.approx(52.5 - 51.3)
