"""Ponds and water led through time: what is kept, what is refused, what the pages say."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.utils import timezone
from shapely import Polygon

from tests.cast import Cast
from tests.drainage.drawn import SOUTH, WEST, draw_node, draw_pipe
from worksprog.calc.ground import dump_ground, ground_from_spot_heights
from worksprog.course.models import Feature, GroundModel, Hole, Kind, State
from worksprog.course.services import create_feature
from worksprog.drainage.models import Pond, PondOutlet, Routing
from worksprog.drainage.queries import water as queries
from worksprog.drainage.queries.water import RainWish, ponds_of, route_network
from worksprog.drainage.services.water import (
    MOST_ROUTINGS,
    OutletWish,
    keep_routing,
    mark_of_pond,
    set_pond,
)
from worksprog.runs.models import Run

AT = "/c/first/drainage/"
STAGES = [(48.0, 200.0), (49.5, 400.0), (51.0, 600.0)]
STORM = RainWish("storm", 1.0, (), 11.0, 60.0, None)
FORM = {"kind": "storm", "duration_h": "1", "days_mm": "", "after_h": "11", "step_min": "1",
        "share": "", "place": ""}  # fmt: skip
POND_FORM = {
    "bank_level_m": "51", "resting_level_m": "", "stages": "48 200\n49.5; 400\n\n51, 600\n",
    "out0-kind": "pipe", "out0-level_m": "49.5", "out0-diameter_mm": "150", "out0-reach": "",
    "out1-kind": "weir", "out1-level_m": "50.5", "out1-width_m": "2", "out1-reach": "",
}  # fmt: skip


@dataclass
class Vale:
    """U1 → PD1 → L1 → O1; L1 starts at the pond's far edge."""

    upper: Feature
    lower: Feature
    pond: Feature


@pytest.fixture
def vale(cast: Cast) -> Vale:
    club, by = cast.club, cast.manager
    hole = Hole.objects.create(club=club, number=7, par=4)
    pond = create_feature(
        club=club,
        kind=Kind.POND,
        geometry=Polygon(
            [(WEST + x, SOUTH + y) for x, y in ((100, -10), (125, -10), (125, 10), (100, 10))]
        ),
        by=by,
        ref="PD1",
        state=State.EXISTING,
    )
    upper = draw_pipe(club, by, "U1", (0, 0), (100, 0), catchment_ha=4.0, inside_diameter_mm=450.0)
    upper.holes.add(hole)
    lower = draw_pipe(
        club, by, "L1", (125, 0), (220, 0), upstream_invert_m=49.5, downstream_invert_m=48.5,
        inside_diameter_mm=150.0, catchment_ha=0.0,
    )  # fmt: skip
    draw_node(club, by, Kind.CHAMBER, "C1", 0, 0, cover=53.0)
    draw_node(club, by, Kind.OUTFALL, "O1", 220, 0)
    return Vale(upper, lower, pond)


@pytest.fixture
def described(cast: Cast, vale: Vale) -> Vale:
    set_pond(
        feature=vale.pond, by=cast.manager, stages=STAGES, bank_level_m=51.0,
        resting_level_m=None,
        outlets=[
            OutletWish("pipe", 49.5, diameter_mm=150.0, reach=vale.lower),
            OutletWish("weir", 50.5, width_m=2.0),
        ],
    )  # fmt: skip
    return vale


def test_a_pond_is_kept_with_its_outlets_and_changed(cast: Cast, described: Vale) -> None:
    row = Pond.objects.get(feature=described.pond)
    assert [outlet.kind for outlet in row.outlets.all()] == ["pipe", "weir"]
    set_pond(
        feature=described.pond, by=cast.manager, stages=STAGES, bank_level_m=None,
        resting_level_m=49.0, outlets=[OutletWish("orifice", 49.6, diameter_mm=200.0)],
    )  # fmt: skip
    row.refresh_from_db()
    assert row.bank_level_m is None
    assert [(one.kind, one.diameter_mm) for one in row.outlets.all()] == [("orifice", 200.0)]
    found, refused = ponds_of(cast.club)
    assert found[0].bank_level_m == 51.0
    assert found[0].start_m == 49.0
    assert not refused


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"outlets": [OutletWish("pipe", 51.2, diameter_mm=150.0)]}, "pipe at 51.20 m lies at or"),
        ({"stages": [(48.0, 1.0), (47.0, 2.0)]}, "stage 2: stages must rise"),
        ({"stages": [(48.0, 1.0)]}, "at least two stages"),
        ({"resting_level_m": 40.0}, "usual water level 40.00"),
        ({"outlets": [OutletWish("weir", 50.0)]}, "width of its crest"),
        ({"bank_level_m": 47.0}, "not above the lowest stage"),
        ({"bank_level_m": 167.3}, "lies 116.30 m above the highest stage"),
        ({"bank_level_m": 52.0, "resting_level_m": 51.5}, "to 51.00 m .highest stage."),
    ],
)
def test_a_pond_that_cannot_be_is_refused(
    cast: Cast, described: Vale, changes: dict[str, Any], words: str
) -> None:
    given: dict[str, Any] = {
        "stages": STAGES,
        "bank_level_m": 51.0,
        "resting_level_m": None,
        "outlets": [],
    }
    with pytest.raises(ValidationError, match=words):
        set_pond(feature=described.pond, by=cast.manager, **(given | changes))
    assert PondOutlet.objects.count() == 2


def test_a_pond_changed_in_the_meantime_is_not_overwritten(cast: Cast, described: Vale) -> None:
    seen = mark_of_pond(None, [])
    with pytest.raises(ValidationError, match="Somebody else changed"):
        set_pond(
            feature=described.pond, by=cast.manager, stages=STAGES, bank_level_m=None,
            resting_level_m=None, outlets=[], seen=seen,
        )  # fmt: skip
    with pytest.raises(ValidationError, match="is no pond"):
        set_pond(
            feature=described.upper, by=cast.manager, stages=STAGES, bank_level_m=None,
            resting_level_m=None, outlets=[],
        )  # fmt: skip


def test_the_page_of_a_pond_keeps_and_tells(
    cast: Cast, as_manager: Client, as_staff: Client, vale: Vale
) -> None:
    address = f"{AT}ponds/{vale.pond.uuid}/"
    assert "not entered yet" in as_manager.get(address).content.decode()
    seen = as_manager.get(address).context["form"].initial["seen"]
    answer = as_manager.post(address, POND_FORM | {"seen": seen})
    assert answer.status_code == 302
    text = as_manager.get(address).content.decode()
    assert "pond-drawing" in text
    assert "weir 2 m, 50.50 m" in text
    assert "Local codes and licensed practice decide" in text
    again = as_manager.post(address, POND_FORM | {"seen": seen})
    assert again.status_code == 422
    assert "Somebody else changed" in again.content.decode()
    assert as_staff.get(address).status_code == 200
    assert as_staff.post(address, POND_FORM).status_code == 403
    assert "275" not in as_manager.get(f"{AT}ponds/").content.decode()
    panel = as_manager.get(f"{AT}feature/{vale.pond.uuid}/panel/").content.decode()
    assert "Room before the bank" in panel


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"out0-level_m": "51.5"}, "pipe at 51.50 m lies at or above the bank, 51.00 m"),
        ({"out1-width_m": ""}, "Needed for this kind"),
        ({"stages": "48 200\nfifty 300"}, "Line 2"),
        ({"stages": "48 200\n47 300"}, "stages must rise"),
        ({"out0-diameter_mm": "1"}, "greater than or equal to 10"),
    ],
)
def test_what_is_entered_wrong_is_said_and_nothing_is_kept(
    cast: Cast, as_manager: Client, vale: Vale, changes: dict[str, Any], words: str
) -> None:
    answer = as_manager.post(f"{AT}ponds/{vale.pond.uuid}/", POND_FORM | changes)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not Pond.objects.exists()


def test_stages_are_made_from_the_outline_and_kept_by_nobody(
    cast: Cast, as_manager: Client, vale: Vale
) -> None:
    address = f"{AT}ponds/{vale.pond.uuid}/"
    figures = {"make": "outline", "bank_m": "51", "depth_m": "1.5", "side_slope": "3"}
    answer = as_manager.get(address, figures)
    lines = answer.context["form"].initial["stages"].splitlines()
    assert lines[0].split() == ["49.500", "176.0"]
    assert lines[-1].split() == ["51.000", "500.0"]
    assert not Pond.objects.exists()
    for changes, words in (
        ({"bank_m": ""}, "The ground does not tell it"),
        ({"side_slope": "9"}, "too narrow"),
        ({"make": "ground"}, "no ground yet"),
        ({"depth_m": ""}, "Enter the depth"),
    ):
        answer = as_manager.get(address, figures | changes)
        assert answer.status_code == 422
        assert words in answer.content.decode()


def test_stages_are_made_from_the_ground(cast: Cast, as_manager: Client, vale: Vale) -> None:
    x, y = (part.ravel() for part in np.meshgrid(np.arange(80, 146.0), np.arange(-30, 31.0)))
    levels = 50 + np.hypot(x - 112, y) / 10
    ground = ground_from_spot_heights(np.column_stack([WEST + x, SOUTH + y, levels]))
    GroundModel.objects.create(
        club=cast.club, method="triangles", data=dump_ground(ground), made_at=timezone.now()
    )
    answer = as_manager.get(f"{AT}ponds/{vale.pond.uuid}/", {"make": "ground"})
    assert answer.status_code == 200
    assert answer.context["form"].initial["bank_level_m"] == pytest.approx(51.0, abs=0.02)
    assert queries.bank_from_ground(vale.pond) == pytest.approx(51.56, abs=0.1)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"stages": [(164.0, 200.0), (167.0, 600.0)]}, "the highest stage, 167.00 m, lies 11"),
        ({"stages": [(164.0, 200.0), (167.0, 600.0)]}, "167 looks like feet"),
        ({"stages": [(20.0, 200.0), (51.0, 600.0)]}, "lowest stage, 20.00 m, lies 3"),
        ({"outlets": [OutletWish("weir", 12.0, width_m=1.0)]}, "outlet at 12 m, 12.00 m"),
    ],
)
def test_levels_far_from_the_ground_are_refused(
    cast: Cast, vale: Vale, changes: dict[str, Any], words: str
) -> None:
    x, y = (part.ravel() for part in np.meshgrid(np.arange(80, 146.0), np.arange(-30, 31.0)))
    ground = ground_from_spot_heights(
        np.column_stack([WEST + x, SOUTH + y, 50 + np.hypot(x - 112, y) / 10])
    )
    GroundModel.objects.create(
        club=cast.club, method="triangles", data=dump_ground(ground), made_at=timezone.now()
    )
    given: dict[str, Any] = {
        "stages": STAGES, "bank_level_m": None, "resting_level_m": None, "outlets": []
    }  # fmt: skip
    with pytest.raises(ValidationError, match=words):
        set_pond(feature=vale.pond, by=cast.manager, **(given | changes))
    assert not Pond.objects.exists()
    set_pond(feature=vale.pond, by=cast.manager, **given)


def test_rain_led_through_is_kept_and_opened_again(
    cast: Cast, as_manager: Client, as_committee: Client, described: Vale
) -> None:
    answer = as_manager.post(f"{AT}through/", FORM)
    assert answer.status_code == 302
    row = Routing.objects.get()
    assert RainWish.of(row.inputs) == STORM
    assert row.result["balance"]["holds"]
    pond = row.result["ponds"][0]
    assert 49.5 < pond["peak_m"] < 51.0
    assert pond["peak_outflow_m3s"] < pond["peak_inflow_m3s"]
    text = as_committee.get(answer["Location"]).content.decode()
    assert "m³ came" in text
    assert "Take this result away" not in text
    assert row.name in as_committee.get(f"{AT}through/").content.decode()
    assert as_committee.post(f"{AT}through/", FORM).status_code == 403
    assert as_committee.post(f"{AT}through/{row.uuid}/forget/").status_code == 403
    assert as_manager.post(f"{AT}through/{row.uuid}/forget/").status_code == 302
    assert not Routing.objects.exists()


def test_a_drain_that_is_too_small_names_place_hole_and_hours(cast: Cast, vale: Vale) -> None:
    draw_pipe(cast.club, cast.manager, "S1", (500, 0), (600, 0), inside_diameter_mm=100.0,
              catchment_ha=5.0)  # fmt: skip
    small = Feature.objects.get(ref="S1")
    small.holes.add(Hole.objects.get(number=7))
    routed = route_network(cast.club, STORM)
    place = routed.kept["places"][0]
    assert place["reach"] == "S1"
    assert place["holes"] == [7]
    assert place["hours"] > 1
    assert place["low_spot"] == {}
    assert routed.kept["ponds_without_table"][0]["name"] == "Pond PD1"
    assert routed.through.balance.at_dead_ends_m3 > 0
    soaked = route_network(cast.club, RainWish("days", 1.0, (40.0, 40.0), 24.0, 300.0, 1.0))
    fell = 10 * (4.0 + 5.0) * 80.0
    assert soaked.through.balance.came_m3 == pytest.approx(fell, rel=1e-6)


def test_the_hollow_that_held_back_water_lies_in_is_told() -> None:
    hollow = Polygon([(0, 0), (10, 0), (10, 10), (0, 10)])
    facts = {"depth_m": 0.2, "area_m2": 100.0, "volume_m3": 10.0}
    near = queries._low_spot([(hollow, facts)], (20.0, 5.0), 25.0)
    assert near["filled"] == pytest.approx(2.5)
    assert queries._low_spot([(hollow, facts)], (30.0, 5.0), 25.0) == {}


def test_a_pond_whose_table_no_longer_holds_is_said(cast: Cast, described: Vale) -> None:
    Pond.objects.update(bank_level_m=49.0)
    routed = route_network(cast.club, STORM)
    assert not routed.through.ponds
    assert "at or above the bank" in routed.kept["notes"][-1]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"kind": "days", "days_mm": "10, wet"}, "Day 2: a number of mm was expected; “wet”"),
        ({"kind": "days", "days_mm": "2,5,3"}, "“2,5,3” can be read as 3 days (2, 5, 3 mm) or"),
        ({"kind": "days", "days_mm": ""}, "at least one day"),
        ({"kind": "days", "days_mm": "10, 900"}, "Day 2"),
        ({"duration_h": "0"}, "greater than or equal to"),
        ({"duration_h": "160", "after_h": "700"}, "31 days"),
        ({"share": "3"}, "less than or equal to 1"),
    ],
)
def test_rain_that_cannot_be_is_said(
    cast: Cast, as_manager: Client, described: Vale, changes: dict[str, Any], words: str
) -> None:
    answer = as_manager.post(f"{AT}through/", FORM | changes)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not Routing.objects.exists()


def test_days_that_are_not_asked_for_are_not_kept(
    cast: Cast, as_manager: Client, described: Vale
) -> None:
    answer = as_manager.post(f"{AT}through/", FORM | {"days_mm": "NaN"})
    assert answer.status_code == 302
    assert Routing.objects.get().inputs["days_mm"] == []
    refused = as_manager.post(f"{AT}through/", FORM | {"kind": "days", "days_mm": "NaN"})
    assert refused.status_code == 422


def test_without_drains_it_says_so(cast: Cast, as_manager: Client) -> None:
    assert "No pipe or ditch" in as_manager.get(f"{AT}through/").content.decode()
    answer = as_manager.post(f"{AT}through/", FORM)
    assert answer.status_code == 422
    assert "No pond is drawn" in as_manager.get(f"{AT}ponds/").content.decode()


@pytest.mark.django_db(transaction=True)
def test_a_large_network_goes_to_a_worker(
    cast: Cast, as_manager: Client, described: Vale, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(queries, "LARGE", 10)
    answer = as_manager.post(f"{AT}through/", FORM)
    run = Run.objects.get()
    assert str(run.uuid) in answer["Location"]
    assert run.state == "done", run.words
    row = Routing.objects.get()
    assert row.uuid == run.uuid
    assert run.outcome["address"].endswith(f"/through/{row.uuid}/")
    assert keep_routing(club=cast.club, wish=STORM, by=None, uuid=run.uuid) == row
    assert Routing.objects.count() == 1


def test_the_oldest_results_make_room(cast: Cast, described: Vale) -> None:
    first = keep_routing(club=cast.club, wish=STORM, by=cast.manager)
    Routing.objects.bulk_create(
        Routing(club=cast.club, name=str(at), kept_at=timezone.now(), result={})
        for at in range(MOST_ROUTINGS - 1)
    )
    keep_routing(club=cast.club, wish=STORM, by=cast.manager)
    assert Routing.objects.count() == MOST_ROUTINGS
    assert not Routing.objects.filter(pk=first.pk).exists()


def test_days_of_rain_say_how_each_day_falls(
    cast: Cast, as_manager: Client, described: Vale
) -> None:
    days = FORM | {"kind": "days", "days_mm": "10, 25"}
    told = as_manager.post(f"{AT}through/", days, follow=True).content.decode()
    assert "spread evenly over its 24 hours" in told
    told = as_manager.post(f"{AT}through/", days | {"half_in_h": "4"}, follow=True).content.decode()
    assert "falls in 4 hours about noon" in told
    _, fierce = Routing.objects.order_by("pk")
    assert fierce.inputs["half_in_h"] == 4.0
