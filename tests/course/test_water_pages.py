"""Water on the ground: worked out by a job, shown with its hollows, asked for one place."""

from __future__ import annotations

import io

import numpy as np
import pytest
import shapely
from django.core.exceptions import ValidationError
from django.test import Client
from PIL import Image

from tests.cast import Cast
from worksprog.calc.ground import dump_ground, ground_from_spot_heights
from worksprog.course.models import GroundModel, GroundWater, Hole, Kind
from worksprog.course.queries_water import live_water
from worksprog.course.services import create_feature, save_hole
from worksprog.course.services_water import build_water, least_depth_of, request_water
from worksprog.runs.models import Run
from worksprog.runs.services import perform_run

PAGE = "/c/first/course/ground/water/"
WEST, SOUTH = 451000.0, 231000.0


@pytest.fixture
def ground(cast: Cast) -> GroundModel:
    """120 × 100 m falling 1 in 50 to the south, with a bowl 1 m deep and a gap of 30 m in it."""
    x, y = np.meshgrid(np.arange(0, 121, 5.0), np.arange(0, 101, 5.0))
    x, y = x.ravel(), y.ravel()
    z = 60 + 0.02 * y - np.clip(1.2 * (1 - np.hypot(x - 40, y - 50) / 20), 0, None)
    kept = (np.abs(x - 90) >= 15) | (np.abs(y - 50) >= 15)
    xyz = np.column_stack([x[kept] + WEST, y[kept] + SOUTH, z[kept]])
    made = ground_from_spot_heights(xyz)
    return GroundModel.objects.create(
        club=cast.club, method=GroundModel.Method.TRIANGLES, data=dump_ground(made),
        count=made.count, lowest_m=59.8, highest_m=62.0,
        shading_bounds=[[51.97, -1.26], [51.98, -1.25]],
    )  # fmt: skip


def test_layers_are_worked_out_and_kept(cast: Cast, ground: GroundModel) -> None:
    kept = build_water(model=ground, by=cast.manager)
    (hollow,) = kept.hollows
    # The bowl's rim falls with the plane: it spills where 0.02 · 20 m below its middle's level.
    assert 0.6 < hollow["depth_m"] < 0.95
    assert shapely.geometry.shape(hollow["outline"]).area == pytest.approx(hollow["area_m2"])
    assert hollow["lowest"] == pytest.approx([WEST + 40, SOUTH + 50], abs=2.5)
    assert 0.02 < kept.guess_share < 0.12
    for picture in (kept.wetness, kept.distance):
        assert Image.open(io.BytesIO(bytes(picture))).size[0] > 50
    hatched = np.asarray(Image.open(io.BytesIO(bytes(kept.distance))))[..., 3] > 128
    row, column = np.argwhere(hatched).mean(axis=0) / hatched.shape
    assert (column, 1 - row) == pytest.approx((90 / 120, 50 / 100), abs=0.05)
    kinds = {one["properties"]["is"] for one in kept.lines["features"]}
    assert kinds == {"hollow", "path"}
    again = build_water(model=ground, by=cast.manager, path_from_m2=900_000)
    assert again.pk == kept.pk
    assert {one["properties"]["is"] for one in again.lines["features"]} == {"hollow"}
    with pytest.raises(ValidationError, match="10 m²"):
        build_water(model=ground, by=cast.manager, path_from_m2=0)


def test_the_job_keeps_them(cast: Cast, ground: GroundModel) -> None:
    run = request_water(club=cast.club, by=cast.manager, path_from_m2=500)
    perform_run(run.uuid)
    run.refresh_from_db()
    assert run.state == "done", run.words
    assert GroundWater.objects.get().path_from_m2 == 500


def test_a_job_without_ground_is_refused(cast: Cast, as_manager: Client) -> None:
    with pytest.raises(ValidationError, match="no ground yet"):
        request_water(club=cast.club, by=cast.manager)
    answer = as_manager.post(f"{PAGE}make/", follow=True)
    assert "no ground yet" in answer.content.decode()
    assert not Run.objects.exists()


def test_page_without_ground_and_without_layers(
    cast: Cast, as_manager: Client, as_staff: Client
) -> None:
    assert "There are no levels yet" in as_manager.get(PAGE).content.decode()
    answer = as_manager.get(PAGE, {"e": "451000", "n": "231000"})
    assert answer.status_code == 200
    for part in ("lines.geojson", "wetness.png", "distance.png"):
        assert as_staff.get(PAGE + part).status_code == 404


def test_page_of_hollows(cast: Cast, ground: GroundModel, as_staff: Client) -> None:
    assert "not been worked out" in as_staff.get(PAGE).content.decode()
    build_water(model=ground, by=cast.manager)
    hole = save_hole(hole=Hole(club=cast.club, number=7), by=cast.manager)
    create_feature(
        club=cast.club, kind=Kind.FAIRWAY, by=cast.manager, holes=[hole], ref="F7",
        geometry=shapely.box(WEST + 20, SOUTH + 30, WEST + 45, SOUTH + 70),
    )  # fmt: skip
    text = as_staff.get(PAGE).content.decode()
    assert "on hole 7, fairway" in text
    assert "shape of the ground alone" in text
    assert "lies more than" in text
    answer = as_staff.get(f"{PAGE}lines.geojson")
    assert answer.json()["features"][-1]["properties"]["is"] == "hollow"
    assert (
        as_staff.get(f"{PAGE}wetness.png", headers={"If-None-Match": answer["ETag"]}).status_code
        == 304
    )
    assert as_staff.post(f"{PAGE}make/").status_code == 403


def test_a_hollow_in_a_ditch_is_told_apart(
    cast: Cast, ground: GroundModel, as_staff: Client
) -> None:
    build_water(model=ground, by=cast.manager)
    create_feature(
        club=cast.club, kind=Kind.DITCH, by=cast.manager, ref="D1",
        geometry=shapely.LineString([(WEST + 40, SOUTH + 90), (WEST + 40, SOUTH + 5)]),
    )  # fmt: skip
    text = as_staff.get(PAGE).content.decode()
    assert "1 more lie in a ditch or pond" in text
    assert "No closed hollow" in text


def test_catchment_of_a_place(cast: Cast, ground: GroundModel, as_staff: Client) -> None:
    answer = as_staff.get(PAGE, {"e": str(WEST + 40), "n": str(SOUTH + 50)})
    told = answer.context["told"]
    assert told.level_m == pytest.approx(59.8, abs=0.02)
    assert told.survey_m == pytest.approx(0, abs=0.01)
    assert told.catchment.area_m2 > 30 * 50
    assert told.catchment.at_spill
    assert told.catchment.mean_fall is not None
    text = answer.content.decode()
    assert "How the catchment was found" in text
    assert "edge of the surveyed ground" in text
    assert {one["properties"]["is"] for one in answer.context["drawn"]["features"]} == {
        "catchment", "longest", "way", "place",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"e": "1", "n": "2"}, "lies outside the ground"),
        ({"e": "451040"}, "required"),
        ({"e": "east", "n": "231050"}, "number"),
        ({"e": "nan", "n": "231050"}, "number"),
    ],
)
def test_a_place_that_is_none_is_named(
    cast: Cast, ground: GroundModel, as_staff: Client, asked: dict[str, str], words: str
) -> None:
    answer = as_staff.get(PAGE, asked)
    assert answer.status_code == 200
    assert words in answer.content.decode()


def test_shallow_hollows_follow_the_accuracy_of_the_survey(cast: Cast, ground: GroundModel) -> None:
    assert least_depth_of(ground) == 0.05
    assert live_water(cast.club) is None
