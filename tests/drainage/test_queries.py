"""The network as read from the club's rows."""

from __future__ import annotations

import datetime

import numpy as np
import pytest
from django.utils import timezone
from shapely.geometry import Polygon

from tests.drainage.drawn import SOUTH, WEST, draw_ditch, draw_node, draw_pipe, line
from worksprog.calc.ground import dump_ground, ground_from_spot_heights
from worksprog.clubs.records import save_record
from worksprog.course.models import GroundModel, Kind, State
from worksprog.course.services import create_feature, set_feature_state
from worksprog.drainage.drawing import draw_long_section, draw_network
from worksprog.drainage.queries import (
    check_network,
    implied_order,
    levels_at_node,
    live_storm,
    long_section_of,
    services_near,
)
from worksprog.drainage.services import set_design_storm, set_node_levels, set_reach


def test_the_check_of_a_drawn_drain(cast, drain, django_assert_num_queries):
    set_design_storm(
        club=cast.club, by=cast.manager, name="1 in 10 year", return_period_years=10,
        intensity_mm_h=36.0,
    )  # fmt: skip
    with django_assert_num_queries(4):
        check = check_network(cast.club)
    assert check.findings == ()
    lower = check.reach(str(drain.lower.uuid))
    assert lower.flow_m3s == pytest.approx(2 * 0.5 * 36 / 360)
    assert lower.capacity_m3s == pytest.approx(0.11101, abs=1e-5)
    assert lower.verdict == "carries it, 9 % to spare"
    assert lower.outfall_name == "O1"


def test_another_clubs_drains_are_not_read(cast, drain):
    assert check_network(cast.other_club).reaches == ()


def test_the_usual_storm_until_one_is_set(cast, drain):
    assert live_storm(cast.club).pk is None
    assert check_network(cast.club).storm.intensity_mm_h == 30.0


def test_removed_drains_are_left_out(cast, drain):
    set_feature_state(
        feature=drain.lower, state=State.REMOVED, on=datetime.date(2026, 1, 5), by=cast.manager
    )
    check = check_network(cast.club)
    assert [reach.name for reach in check.reaches] == ["P1"]
    assert [finding.kind for finding in check.faults] == ["dead_end"]


def test_on_a_date_only_what_stands_then(cast, drain):
    day = datetime.date(2026, 10, 1)
    assert [reach.name for reach in check_network(cast.club, day).reaches] == ["P2"]
    set_feature_state(feature=drain.upper, state=State.AS_BUILT, on=day, by=cast.manager)
    assert len(check_network(cast.club, day).reaches) == 2
    assert len(check_network(cast.club, day - datetime.timedelta(days=1)).reaches) == 1


def test_states_given_by_those_who_know_the_programme_stand_first(cast, drain):
    check = check_network(
        cast.club,
        datetime.date(2026, 10, 1),
        states={drain.upper.uuid: State.AS_BUILT, drain.lower.uuid: State.REMOVED},
    )
    assert [(reach.name, reach.standing) for reach in check.reaches] == [("P1", True)]


def test_implied_order_is_below_then_above(cast, drain):
    assert implied_order(cast.club) == [(drain.lower.uuid, drain.upper.uuid)]


def test_a_line_without_levels_is_named_not_dropped(cast):
    create_feature(club=cast.club, kind=Kind.DITCH, geometry=line((0, 0), (60, 0)), by=cast.manager)
    check = check_network(cast.club)
    assert check.reaches[0].name == "the ditch of 60 m without a reference"
    assert {finding.kind for finding in check.faults} == {
        "dead_end", "missing_level", "missing_section",
    }  # fmt: skip


def test_a_pond_takes_the_water(cast):
    draw_pipe(cast.club, cast.manager, "P1", (0, 0), (100, 0))
    edge = [(95, -20), (160, -20), (160, 20), (95, 20)]
    create_feature(
        club=cast.club, kind=Kind.POND, by=cast.manager, name="Mill pond",
        geometry=Polygon([(WEST + x, SOUTH + y) for x, y in edge]),
    )  # fmt: skip
    check = check_network(cast.club)
    assert check.faults == ()
    assert check.reaches[0].outfall_name == "Mill pond"
    draw_pipe(cast.club, cast.manager, "P2", (150, 0), (240, 0))
    draw_node(cast.club, cast.manager, Kind.OUTFALL, "O1", 240, 0)
    check = check_network(cast.club)
    assert [finding.kind for finding in check.findings] == ["from_pond"]
    assert check.findings[0].words.startswith("P2 starts in Mill pond.")
    assert check.faults == ()
    assert check.reaches[1].faults == ()


def test_a_pipe_into_a_ditch(cast):
    draw_ditch(cast.club, cast.manager, "D1", (0, 0), (200, 0))
    draw_pipe(cast.club, cast.manager, "P1", (80, 60), (80, 0.3), downstream_invert_m=49.8)
    draw_node(cast.club, cast.manager, Kind.OUTFALL, "O1", 200, 0)
    check = check_network(cast.club)
    assert check.faults == ()
    into = next(reach for reach in check.reaches if reach.name == "D1")
    assert into.area_above_ha == pytest.approx(3.0)


def make_ground(cast):
    """A plane: 53 m at the west, falling 1 in 100 eastwards."""
    x, y = np.meshgrid(np.arange(-50, 260, 10.0), np.arange(-50, 60, 10.0))
    points = np.column_stack([WEST + x.ravel(), SOUTH + y.ravel(), 53.0 - x.ravel() / 100])
    model = GroundModel(
        club=cast.club, method=GroundModel.Method.TRIANGLES, made_at=timezone.now(), made_by=cast.manager,
        data=dump_ground(ground_from_spot_heights(points)), count=len(points), lowest_m=50.5, highest_m=53.5,
        contours={"type": "FeatureCollection", "features": []}, shading_bounds=[[0, 0], [1, 1]],
    )  # fmt: skip
    return save_record(model, by=cast.manager)


def test_long_section_over_the_ground(cast, drain):
    make_ground(cast)
    section = long_section_of(cast.club, drain.upper.uuid)
    assert [station.name for station in section.stations] == ["C1", "C2", "O1"]
    assert section.stations[0].ground_m == 53.2  # the surveyed cover stands before the model
    assert section.stations[2].ground_m == pytest.approx(51.0, abs=0.01)
    assert section.least_cover is not None
    assert section.least_cover.value_m == pytest.approx(0.7, abs=0.01)
    assert section.standing_m == pytest.approx(100)


def test_the_drawing_says_what_it_shows(cast, drain):
    make_ground(cast)
    drawing = draw_long_section(long_section_of(cast.club, drain.upper.uuid))
    assert drawing.startswith("<svg")
    assert "Long section from C1 to O1, 200 m, of which 100 m stand" in drawing
    assert "300 mm 1 in 100" in drawing
    assert "Vertical scale ×15." in drawing  # 3.2 m of levels over 200 m
    assert drawing.count('stroke-dasharray="6 4"') == 2  # invert and crown of what is not built
    assert "style=" not in drawing


def test_names_are_escaped_in_drawings(cast, drain):
    drain.lower.ref = "<b>&x"
    save_record(drain.lower, by=cast.manager)
    check = check_network(cast.club)
    assert "&lt;b&gt;&amp;x" in draw_network(check, addresses={})
    assert "<b>" not in draw_network(check, addresses={})


def test_the_drawing_of_a_drain_without_levels(cast):
    feature = create_feature(
        club=cast.club, kind=Kind.PIPE, geometry=line((0, 0), (60, 0)), by=cast.manager, ref="P1"
    )
    drawing = draw_long_section(long_section_of(cast.club, feature.uuid))
    assert "level missing" in drawing
    assert "nan" not in drawing


def test_the_levels_that_rule_at_a_chamber(cast, drain):
    told = levels_at_node(check_network(cast.club), str(drain.chamber.uuid))
    assert (told.own, told.taken, told.odd) == (("P1", "P2"), (), ())
    set_reach(feature=drain.lower, by=cast.manager, upstream_invert_m=None)
    set_node_levels(feature=drain.chamber, by=cast.manager, cover_level_m=52.4, invert_level_m=45.0)
    told = levels_at_node(check_network(cast.club), str(drain.chamber.uuid))
    assert (told.own, told.taken) == (("P1",), ("P2",))
    deep, far = told.odd
    assert "7.40 m below the cover" in deep
    assert "45.00 m, lies 6.00 m below the level at which P1 arrives, 51.00 m" in far


@pytest.mark.parametrize(("invert", "count"), [(50.71, 0), (51.29, 0), (50.69, 2), (51.31, 2)])
def test_a_node_a_little_off_its_reaches_is_no_news(cast, drain, invert, count):
    set_node_levels(
        feature=drain.chamber, by=cast.manager, cover_level_m=52.4, invert_level_m=invert
    )
    told = levels_at_node(check_network(cast.club), str(drain.chamber.uuid))
    assert len(told.odd) == count


def test_services_near(cast, drain):
    close = create_feature(
        club=cast.club, kind=Kind.SERVICE, geometry=line((50, -30), (50, 30)), by=cast.manager,
        name="Irrigation main",
    )  # fmt: skip
    create_feature(
        club=cast.club, kind=Kind.SERVICE, geometry=line((0, 40), (100, 40)), by=cast.manager
    )
    assert services_near(cast.club, drain.upper) == [close]
