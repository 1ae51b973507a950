from __future__ import annotations

from datetime import date
from typing import Any

import pytest
import shapely
from django.core.exceptions import ValidationError

from tests.cast import Cast
from worksprog.clubs.models import Change
from worksprog.course.models import Feature, Hole, State
from worksprog.course.services import (
    Collision,
    change_feature,
    create_feature,
    drop_feature,
    join_features,
    mark_of,
    save_hole,
    set_feature_state,
    split_feature,
    turn_round,
)

E, N = 451_000.0, 287_000.0
ON = date(2026, 11, 24)
pytestmark = pytest.mark.django_db


def line(*points: tuple[float, float]) -> shapely.LineString:
    return shapely.LineString([(E + x, N + y) for x, y in points])


def square(x: float, y: float, side: float) -> shapely.Polygon:
    return shapely.box(E + x, N + y, E + x + side, N + y + side)


def make(cast: Cast, kind: str, geometry: Any, **facts: Any) -> Feature:
    feature = create_feature(club=cast.club, kind=kind, geometry=geometry, by=cast.manager, **facts)
    return Feature.objects.get(pk=feature.pk)


def test_a_snapped_point_is_the_very_point(cast: Cast) -> None:
    """What a browser sends is rounded to a centimetre; a drain's ends must still meet."""
    chamber = make(cast, "chamber", shapely.Point(E + 0.123456, N + 0.654321))
    pipe = make(cast, "pipe", line((0.13, 0.66), (50, 0)))
    assert pipe.geometry.coords[0] == chamber.geometry.coords[0]
    assert pipe.geometry.coords[1] == (E + 50, N)


def test_a_point_further_off_stays_where_it_was_drawn(cast: Cast) -> None:
    make(cast, "chamber", shapely.Point(E, N))
    pipe = make(cast, "pipe", line((0.05, 0), (50, 0)))
    assert pipe.geometry.coords[0] == (E + 0.05, N)


def test_swapped_axes_are_told(cast: Cast) -> None:
    make(cast, "chamber", shapely.Point(E, N))
    with pytest.raises(ValidationError, match="km from everything else"):
        make(cast, "chamber", shapely.Point(N, E))
    assert Feature.objects.count() == 1


def test_one_point_far_away_is_named(cast: Cast) -> None:
    far = shapely.LineString([(E, N), (E + 370, 999_999)])
    with pytest.raises(ValidationError, match="the other points of the shape"):
        make(cast, "pipe", shapely.LineString([(E, N), (E + 9, N), (E + 370, 999_999)]))
    make(cast, "chamber", shapely.Point(E, N))
    with pytest.raises(ValidationError, match=r"Point 2, 4.*, 999999.0, lies .* km from everyth"):
        make(cast, "pipe", far)
    pipe = make(cast, "pipe", line((0, 0), (50, 0)))
    with pytest.raises(ValidationError, match="Point 2"):
        change_feature(feature=pipe, by=cast.manager, geometry=far)
    assert Feature.objects.count() == 2


def test_a_shape_of_the_wrong_sort_is_refused(cast: Cast) -> None:
    with pytest.raises(ValidationError, match="not a Polygon"):
        make(cast, "pipe", square(0, 0, 5))


def test_the_second_of_two_hands_is_told_and_loses_nothing(cast: Cast) -> None:
    pipe = make(cast, "pipe", line((0, 0), (50, 0)), ref="P1")
    seen = mark_of(pipe)
    change_feature(feature=pipe, by=cast.staff, seen=seen, geometry=line((0, 0), (60, 0)))
    with pytest.raises(Collision) as caught:
        change_feature(feature=pipe, by=cast.manager, seen=seen, geometry=line((0, 0), (70, 0)))
    assert caught.value.feature.length_m == pytest.approx(60)
    now = Feature.objects.get(pk=pipe.pk)
    assert now.length_m == pytest.approx(60)
    change_feature(feature=now, by=cast.manager, seen=mark_of(now), geometry=line((0, 0), (70, 0)))
    assert Feature.objects.get(pk=pipe.pk).length_m == pytest.approx(70)


def test_a_change_of_words_collides_too_but_is_no_change_of_shape(cast: Cast) -> None:
    pipe = make(cast, "pipe", line((0, 0), (50, 0)), ref="P1")
    seen = mark_of(pipe)
    assert change_feature(feature=pipe, by=cast.manager, seen=seen, name="Carrier").version == 1
    with pytest.raises(Collision):
        change_feature(feature=pipe, by=cast.staff, seen=seen, name="Drain")
    now = Feature.objects.get(pk=pipe.pk)
    assert change_feature(feature=now, by=cast.manager, width_m=2).version == 2


def test_a_line_splits_where_it_is_cut(cast: Cast) -> None:
    hole = save_hole(hole=Hole(club=cast.club, number=3), by=cast.manager)
    pipe = make(
        cast, "pipe", line((0, 0), (60, 0), (60, 40)), ref="P1", holes=[hole], state="on_site"
    )
    kept, new = split_feature(feature=pipe, cut=shapely.Point(E + 30, N + 2), by=cast.manager)
    assert (kept.pk, kept.ref, kept.length_m) == (pipe.pk, "P1", pytest.approx(30))
    assert (new.ref, new.state, new.length_m) == ("P1b", "on_site", pytest.approx(70))
    assert kept.geometry.coords[-1] == new.geometry.coords[0]
    assert [one.number for one in new.holes.all()] == [3]
    assert kept.version == 2


@pytest.mark.parametrize("x", [0, 60])
def test_a_line_is_not_split_at_its_end(cast: Cast, x: float) -> None:
    pipe = make(cast, "pipe", line((0, 0), (60, 0)))
    with pytest.raises(ValidationError, match="between its ends"):
        split_feature(feature=pipe, cut=shapely.Point(E + x, N), by=cast.manager)
    assert Feature.objects.count() == 1


def test_an_area_splits_along_a_line_right_across(cast: Cast) -> None:
    wood = make(cast, "wood", square(0, 0, 100), stems=40, ref="W1")
    parts = split_feature(feature=wood, cut=line((30, -5), (30, 105)), by=cast.manager)
    assert [round(part.area_m2) for part in parts] == [7000, 3000]
    with pytest.raises(ValidationError, match="side to side"):
        split_feature(feature=parts[1], cut=line((10, -5), (10, 50)), by=cast.manager)


def test_two_pipes_that_follow_each_other_become_one(cast: Cast) -> None:
    upper = make(cast, "pipe", line((0, 0), (40, 0)), ref="P1")
    lower = make(cast, "pipe", line((40.2, 0), (100, 0)), ref="P2")
    kept = join_features(first=lower, second=upper, on=ON, by=cast.manager)
    assert kept.pk == lower.pk
    assert [x - E for x, _ in kept.geometry.coords] == pytest.approx([0, 40.2, 100])
    gone = Feature.objects.get(pk=upper.pk)
    assert (gone.state, gone.state_date) == (State.REMOVED, ON)
    assert "Joined into Pipe P2" in gone.notes


def test_pipes_that_run_against_each_other_are_not_joined(cast: Cast) -> None:
    one = make(cast, "pipe", line((0, 0), (40, 0)))
    two = make(cast, "pipe", line((100, 0), (40, 0)))
    with pytest.raises(ValidationError, match="turn one of them round"):
        join_features(first=one, second=two, on=ON, by=cast.manager)
    turn_round(feature=two, by=cast.manager)
    kept = join_features(first=one, second=two, on=ON, by=cast.manager)
    assert [x - E for x, _ in kept.geometry.coords] == [0, 40, 100]


def test_paths_join_either_way_round(cast: Cast) -> None:
    one = make(cast, "path", line((0, 0), (40, 0)))
    two = make(cast, "path", line((100, 0), (40, 0)))
    kept = join_features(first=one, second=two, on=ON, by=cast.manager)
    assert [x - E for x, _ in kept.geometry.coords] == [0, 40, 100]


def test_things_apart_or_unlike_are_not_joined(cast: Cast) -> None:
    one = make(cast, "pipe", line((0, 0), (40, 0)))
    far = make(cast, "pipe", line((50, 0), (90, 0)))
    ditch = make(cast, "ditch", line((40, 0), (90, 10)))
    with pytest.raises(ValidationError, match=r"10\.0 m apart"):
        join_features(first=one, second=far, on=ON, by=cast.manager)
    with pytest.raises(ValidationError, match="stay two features"):
        join_features(first=one, second=ditch, on=ON, by=cast.manager)
    with pytest.raises(ValidationError, match="Choose another"):
        join_features(first=one, second=one, on=ON, by=cast.manager)


def test_areas_side_by_side_become_one(cast: Cast) -> None:
    one = make(cast, "wood", square(0, 0, 20), stems=10)
    two = make(cast, "wood", square(20.2, 0, 20), stems=5)
    kept = join_features(first=one, second=two, on=ON, by=cast.manager)
    assert kept.geometry.geom_type == "Polygon"
    assert kept.area_m2 == pytest.approx(20 * 20 * 2 + 0.2 * 20, rel=0.01)
    assert kept.stems == 15


def test_state_is_kept_with_its_day_and_who(cast: Cast) -> None:
    tee = make(cast, "tee", square(0, 0, 9), ref="T8")
    set_feature_state(feature=tee, state=State.GROWING_IN, on=ON, by=cast.manager)
    change = Change.objects.filter(record_uuid=tee.uuid, action="changed").get()
    assert change.by == cast.manager
    assert change.details["state"] == ["existing", "growing_in"]


def test_a_mistake_is_dropped_and_kept_in_the_record(cast: Cast) -> None:
    tee = make(cast, "tee", square(0, 0, 9), ref="T1")
    seen = mark_of(tee)
    drop_feature(feature=tee, by=cast.manager, seen=seen)
    assert not Feature.objects.exists()
    change = Change.objects.get(record_uuid=tee.uuid, action="removed")
    assert (change.by, change.details["ref"]) == (cast.manager, "T1")


def test_what_changed_meanwhile_is_not_dropped(cast: Cast) -> None:
    tee = make(cast, "tee", square(0, 0, 9))
    seen = mark_of(tee)
    change_feature(feature=tee, by=cast.manager, name="Medal tee")
    with pytest.raises(Collision):
        drop_feature(feature=tee, by=cast.manager, seen=seen)
    assert Feature.objects.exists()
