"""What changes the drain network, what it refuses, and that who did it is kept."""

from __future__ import annotations

import math
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from shapely.geometry import Point

from tests.drainage.drawn import SOUTH, WEST, draw_node, draw_pipe, line
from worksprog.clubs.models import Change
from worksprog.course.models import Feature, Kind
from worksprog.course.services import change_feature, create_feature, split_feature
from worksprog.drainage.models import DesignStorm, DrainNode, DrainReach
from worksprog.drainage.queries import check_network
from worksprog.drainage.services import (
    Collision,
    mark_of,
    set_design_storm,
    set_node_levels,
    set_reach,
    swap_direction,
)


def test_set_reach_keeps_who_and_what(cast, drain):
    set_reach(feature=drain.upper, by=cast.manager, inside_diameter_mm=225.0)
    row = DrainReach.objects.get(feature=drain.upper)
    assert (row.inside_diameter_mm, row.upstream_invert_m) == (225.0, 52.0)
    change = Change.objects.filter(record_uuid=row.uuid, action="changed").get()
    assert change.by == cast.manager
    assert change.details["inside_diameter_mm"] == [300.0, 225.0]


@pytest.mark.parametrize(
    ("figures", "field"),
    [
        ({"upstream_invert_m": math.inf}, "upstream_invert_m"),
        ({"downstream_invert_m": 51000.0}, "downstream_invert_m"),
        ({"inside_diameter_mm": 0.3}, "inside_diameter_mm"),
        ({"ks_mm": 40.0}, "ks_mm"),
        ({"runoff_coefficient": 35.0}, "runoff_coefficient"),
        ({"catchment_ha": -1.0}, "catchment_ha"),
    ],
)
def test_set_reach_names_the_field_and_saves_nothing(cast, drain, figures, field):
    before = DrainReach.objects.values().get(feature=drain.upper)
    with pytest.raises(ValidationError) as refused:
        set_reach(feature=drain.upper, by=cast.manager, **figures)
    assert field in refused.value.message_dict
    assert DrainReach.objects.values().get(feature=drain.upper) == before


def test_levels_changed_since_they_were_seen_are_not_overwritten(cast, drain):
    row = DrainReach.objects.get(feature=drain.upper)
    seen = mark_of(drain.upper, row)
    set_reach(feature=drain.upper, by=cast.manager, seen=seen, catchment_ha=3.0)
    with pytest.raises(Collision):
        set_reach(feature=drain.upper, by=cast.manager, seen=seen, catchment_ha=4.0)
    row.refresh_from_db()
    assert row.catchment_ha == 3.0
    seen = mark_of(drain.upper, row)
    swap_direction(feature=drain.upper, by=cast.manager)
    with pytest.raises(Collision):
        set_reach(feature=drain.upper, by=cast.manager, seen=seen, upstream_invert_m=52.1)
    assert levels(cast.club, Feature.objects.get(pk=drain.upper.pk)) == (51.0, 52.0)


def test_the_first_levels_of_two_people_at_once(cast):
    node = draw_node(cast.club, cast.manager, Kind.CHAMBER, "C9", 0, 0)
    seen = mark_of(node, DrainNode(club=cast.club, feature=node))
    figures: Any = {"cover_level_m": 52.0, "invert_level_m": 51.0}
    set_node_levels(feature=node, by=cast.manager, seen=seen, **figures)
    with pytest.raises(Collision):
        set_node_levels(feature=node, by=cast.manager, seen=seen, **figures)


def test_set_reach_refuses_what_is_no_drain(cast, drain):
    with pytest.raises(ValidationError, match="neither a pipe nor a ditch"):
        set_reach(feature=drain.outfall, by=cast.manager, catchment_ha=1.0)


def test_a_ditch_without_bed_or_sides_is_refused(cast):
    feature = create_feature(
        club=cast.club, kind=Kind.DITCH, geometry=line((0, 0), (50, 0)), by=cast.manager, ref="D1"
    )
    with pytest.raises(ValidationError, match="neither a bed nor sloping sides"):
        set_reach(feature=feature, by=cast.manager, bottom_width_m=0.0, side_slope=0.0, depth_m=1.0)
    assert not DrainReach.objects.filter(feature=feature).exists()


def test_node_levels(cast, drain):
    row = set_node_levels(
        feature=drain.outfall, by=cast.manager, cover_level_m=51.0, invert_level_m=49.9, size="300"
    )
    assert row.invert_level_m == 49.9
    with pytest.raises(
        ValidationError, match=r"must lie above the invert; 49\.00 m is below 49\.90 m"
    ):
        set_node_levels(
            feature=drain.outfall, by=cast.manager, cover_level_m=49.0, invert_level_m=49.9
        )
    with pytest.raises(ValidationError, match="no chamber"):
        set_node_levels(
            feature=drain.upper, by=cast.manager, cover_level_m=51.0, invert_level_m=50.0
        )


def test_an_invert_far_below_its_cover_is_refused(cast, drain):
    with pytest.raises(ValidationError, match=r"would lie 12\.40 m below the cover") as refused:
        set_node_levels(
            feature=drain.chamber, by=cast.manager, cover_level_m=52.4, invert_level_m=40.0
        )
    assert "invert_level_m" in refused.value.message_dict
    assert DrainNode.objects.get(feature=drain.chamber).invert_level_m == 50.95
    row = set_node_levels(
        feature=drain.chamber, by=cast.manager, cover_level_m=52.5, invert_level_m=42.5
    )
    assert row.invert_level_m == 42.5


def levels(club, feature):
    reach = check_network(club).reach(str(feature.uuid))
    return reach.upstream_level_m, reach.downstream_level_m


def test_swapping_direction_leaves_levels_in_the_ground(cast, drain):
    swap_direction(feature=drain.upper, by=cast.manager)
    now = Feature.objects.get(pk=drain.upper.pk)
    assert now.geometry.coords[0] == drain.upper.geometry.coords[-1]
    assert levels(cast.club, now) == (51.0, 52.0)
    set_reach(feature=now, by=cast.manager, catchment_ha=2.0)
    assert levels(cast.club, now) == (51.0, 52.0)
    swap_direction(feature=now, by=cast.manager)
    assert levels(cast.club, now) == (52.0, 51.0)


def test_a_line_cut_short_leaves_its_lower_level_behind(cast, drain):
    split_feature(feature=drain.lower, cut=Point(WEST + 140, SOUTH), by=cast.manager)
    check = check_network(cast.club)
    upper = check.reach(str(drain.lower.uuid))
    assert (upper.upstream_level_m, upper.downstream_level_m) == (51.0, None)
    words = next(finding.words for finding in check.faults if drain.lower.ref in finding.words)
    assert "its downstream end as drawn now lies 40.0 m from any level entered" in words


def test_an_end_moved_a_little_keeps_its_level(cast, drain):
    change_feature(feature=drain.upper, by=cast.manager, geometry=line((0, 1.5), (100, 0)))
    assert levels(cast.club, drain.upper) == (52.0, 51.0)


def test_swapping_a_line_without_levels(cast):
    feature = create_feature(
        club=cast.club, kind=Kind.PIPE, geometry=line((0, 0), (50, 0)), by=cast.manager
    )
    assert swap_direction(feature=feature, by=cast.manager).version == 2
    node = draw_node(cast.club, cast.manager, Kind.CHAMBER, "C1", 0, 0)
    with pytest.raises(ValidationError, match="no direction"):
        swap_direction(feature=node, by=cast.manager)


def test_one_storm_is_live_and_earlier_ones_are_kept(cast):
    for intensity in (25.0, 32.0):
        set_design_storm(
            club=cast.club,
            by=cast.manager,
            name="1 in 10 year",
            return_period_years=10,
            intensity_mm_h=intensity,
        )
    assert list(DesignStorm.objects.order_by("pk").values_list("intensity_mm_h", "is_live")) == [
        (25.0, False),
        (32.0, True),
    ]
    with pytest.raises(ValidationError):
        set_design_storm(
            club=cast.club, by=cast.manager, name="x", return_period_years=10, intensity_mm_h=0
        )
    assert DesignStorm.objects.get(is_live=True).intensity_mm_h == 32.0


def test_the_model_refuses_a_freeboard_as_deep_as_the_ditch(cast):
    feature = draw_pipe(cast.club, cast.manager, "P9", (0, 0), (50, 0))
    with pytest.raises(ValidationError, match="no depth for water"):
        set_reach(feature=feature, by=cast.manager, depth_m=0.15, freeboard_m=0.15)
