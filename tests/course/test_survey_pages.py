"""The pages of surveys and the ground, as a person and as the map use them."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from shapely import LineString, Point, box

from tests.cast import Cast
from tests.course.survey_files import write_dxf
from tests.course.test_import_services import table
from worksprog.calc import grid
from worksprog.course import queries_surveys as reads
from worksprog.course import services_surveys as services
from worksprog.course.bridge import points_of
from worksprog.course.models import Feature, GroundModel, ImportDraft, Kind, LayerMapping, Survey
from worksprog.course.reading.spot_heights import read_spot_heights
from worksprog.course.services import create_feature

pytestmark = pytest.mark.django_db
C = "first"


def address(name: str, *args: Any) -> str:
    return reverse(f"course:{name}", args=[C, *args])


def send(client: Client, data: bytes, name: str = "levels.csv", **more: str) -> Any:
    facts = {"what": "spot_heights", "name": "March survey", "surveyed_on": "2026-03-14", **more}
    return client.post(address("survey-new"), {**facts, "upload": SimpleUploadedFile(name, data)})


@pytest.fixture
def surveyed(cast: Cast) -> Survey:
    draft = services.begin_import(
        club=cast.club,
        what="spot_heights",
        upload=ContentFile(table(), name="levels.csv"),
        name="Levels",
        surveyed_on=date(2026, 3, 14),
        by=cast.manager,
    )
    return services.accept_import(draft=draft, by=cast.manager)


@pytest.fixture
def grounded(cast: Cast, surveyed: Survey) -> GroundModel:
    return services.build_ground(club=cast.club, surveys=[surveyed], by=cast.manager)


def test_from_upload_to_saved_survey(cast: Cast, as_manager: Client) -> None:
    answer = send(as_manager, table() + b"451010,213020,high,X\n", surveyor="V. Levell")
    draft = ImportDraft.objects.get()
    assert answer["Location"] == address("survey-preview", draft.uuid)
    page = as_manager.get(answer["Location"])
    text = page.content.decode()
    assert "the level “high” is not a number" in text
    assert "line 443" in text
    assert len(page.context["drawn"]["points"]) == 441
    assert not Survey.objects.exists()
    mark = page.context["seen"].mark
    answer = as_manager.post(address("survey-accept", draft.uuid), {"mark": mark})
    survey = Survey.objects.get(club=cast.club)
    assert answer["Location"] == address("survey-detail", survey.uuid)
    detail = as_manager.get(answer["Location"]).content.decode()
    assert "V. Levell" in detail
    assert "line 443" in detail


def test_a_mark_that_is_old_or_missing_saves_nothing(cast: Cast, as_manager: Client) -> None:
    send(as_manager, table())
    draft = ImportDraft.objects.get()
    for data in ({}, {"mark": "0000000000000000"}):
        answer = as_manager.post(address("survey-accept", draft.uuid), data, follow=True)
        assert "no longer what you looked at" in answer.content.decode()
    assert not Survey.objects.exists()


@pytest.mark.parametrize(
    ("data", "more", "words"),
    [
        (b"%PDF-1.4 a plan", {}, "The file is a PDF"),
        (b"", {}, "The file is empty"),
        (b"51.81,-1.26,61\n51.82,-1.26,61\n", {}, "latitude and longitude"),
        (table(), {"what": "features"}, "a text table (CSV): that holds spot heights"),
        (table(), {"surveyed_on": "2999-01-01"}, "still to come"),
        (table(), {"what": "castles"}, "Select a valid choice"),
    ],
)
def test_a_file_that_cannot_be_used_is_told_on_the_form(
    cast: Cast, as_manager: Client, data: bytes, more: dict[str, str], words: str
) -> None:
    answer = send(as_manager, data, **more)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert "March survey" in answer.content.decode()
    assert not ImportDraft.objects.exists()


def test_a_file_too_large_is_told(cast: Cast, as_manager: Client, settings: Any) -> None:
    settings.IMPORT_MAX_BYTES = 2000
    answer = send(as_manager, table())
    assert answer.status_code == 422
    assert "the most that is taken is" in answer.content.decode()


def test_names_from_a_file_are_shown_as_text(cast: Cast, as_manager: Client) -> None:
    evil = "<script>alert(1)</script>"
    send(as_manager, f"easting,northing,level,code\n451010,213020,61,{evil}\n".encode())
    text = as_manager.get(
        address("survey-preview", ImportDraft.objects.get().uuid)
    ).content.decode()
    assert evil not in text
    assert "\\u003Cscript\\u003E" in text


def test_exchanged_axes_offer_one_button(cast: Cast, as_manager: Client, surveyed: Survey) -> None:
    rows = "\n".join(f"{213000 + y},451005,61" for y in range(0, 200, 10)).encode()
    send(as_manager, rows)
    draft = ImportDraft.objects.get()
    page = address("survey-preview", draft.uuid)
    assert "Read it with the axes exchanged" in as_manager.get(page).content.decode()
    as_manager.post(address("survey-axes", draft.uuid), {"exchanged": "yes"})
    assert as_manager.get(page).context["seen"].count == 20
    as_manager.post(address("survey-axes", draft.uuid), {})
    assert "Read it with the axes exchanged" in as_manager.get(page).content.decode()


def test_layers_are_given_their_kind_and_the_club_keeps_it(
    cast: Cast, as_manager: Client, tmp_path: Path
) -> None:
    path = write_dxf(
        tmp_path / "a.dxf",
        [
            (LineString([(451100, 213100), (451180, 213140)]), "P-07"),
            (Point(451300, 213300), "TREES"),
        ],
    )
    send(as_manager, path.read_bytes(), name="a.dxf", what="features")
    draft = ImportDraft.objects.get()
    page = as_manager.get(address("survey-preview", draft.uuid))
    assert [(row["name"], row["kind"]) for row in page.context["mapping"].rows()] == [
        ("P-07", ""),
        ("TREES", "tree"),
    ]
    facts = {"kind-0": "ditch", "state-0": "proposed", "kind-1": "", "state-1": "existing"}
    as_manager.post(address("survey-mapping", draft.uuid), facts)
    assert dict(LayerMapping.objects.values_list("layer", "kind")) == {"P-07": "ditch", "TREES": ""}
    page = as_manager.get(address("survey-preview", draft.uuid))
    assert page.context["counts"] == [("ditch", 1)]
    facts["kind-0"] = "castle"
    answer = as_manager.post(address("survey-mapping", draft.uuid), facts, follow=True)
    assert "Choose a kind and a state" in answer.content.decode()
    assert LayerMapping.objects.get(layer="P-07").kind == "ditch"


def test_discarding_from_the_page(cast: Cast, as_manager: Client) -> None:
    send(as_manager, table())
    as_manager.post(address("survey-discard", ImportDraft.objects.get().uuid))
    assert not ImportDraft.objects.exists()


def test_another_club_finds_nothing(cast: Cast, as_stranger: Client, surveyed: Survey) -> None:
    own = reverse("course:survey-detail", args=["second", surveyed.uuid])
    assert as_stranger.get(own).status_code == 404
    assert as_stranger.get(address("survey-detail", surveyed.uuid)).status_code == 404
    assert as_stranger.get(reverse("course:contours", args=["second"])).status_code == 404


@pytest.mark.django_db(transaction=True)
def test_the_ground_is_asked_for_and_made(cast: Cast, as_manager: Client, surveyed: Survey) -> None:
    assert "There are no levels yet" in as_manager.get(address("ground")).content.decode()
    answer = as_manager.post(address("ground-make"), {"surveys": [str(surveyed.uuid)]})
    assert "/runs/" in answer["Location"]
    assert GroundModel.objects.filter(club=cast.club).count() == 1
    assert as_manager.post(address("ground-make"), {}).status_code == 422
    text = as_manager.get(address("ground")).content.decode()
    assert "441 levels" in text


def test_fall_between_two_places(as_committee: Client, grounded: GroundModel) -> None:
    places = {"ae": "451110", "an": "213130", "be": "451050", "bn": "213050"}
    page = as_committee.get(address("ground"), places)
    text = page.content.decode()
    assert page.context["fall"].fall_m == pytest.approx(5.0, abs=2e-3)
    assert "1 in 20" in text
    assert "How the fall was found" in text
    text = as_committee.get(address("ground"), {**places, "be": "somewhere"}).content.decode()
    assert "Enter a number" in text
    text = as_committee.get(
        address("ground"), {**places, "be": "451110", "bn": "213130"}
    ).content.decode()
    assert "no length" in text
    text = as_committee.get(address("ground"), {**places, "be": "9e9"}).content.decode()
    assert "km apart" in text
    text = as_committee.get(address("ground"), {**places, "be": "nan"}).content.decode()
    assert "Enter a number" in text


def test_contours_and_shading_for_the_map(as_staff: Client, grounded: GroundModel) -> None:
    answer = as_staff.get(address("contours"))
    lines = json.loads(answer.content)
    assert lines["type"] == "FeatureCollection"
    lon, lat = lines["features"][0]["geometry"]["coordinates"][0]
    assert -1.27 < lon < -1.25
    assert 51.8 < lat < 51.83
    again = as_staff.get(address("contours"), headers={"if-none-match": answer["ETag"]})
    assert again.status_code == 304
    picture = as_staff.get(address("shading"))
    assert picture["Content-Type"] == "image/png"
    south, west, north, east = map(float, picture["X-Bounds"].split(","))
    assert south < 51.8134 < north
    assert west < -1.26 < east
    again = as_staff.get(address("shading"), headers={"if-none-match": picture["ETag"]})
    assert again.status_code == 304
    facts = as_staff.get(address("ground-facts")).json()
    assert facts["contours"] == address("contours")
    assert facts["levels"] == 441


def test_another_step_changes_the_contours_and_their_mark(
    as_manager: Client, grounded: GroundModel
) -> None:
    before = as_manager.get(address("contours"))["ETag"]
    as_manager.post(address("ground-step"), {"contour_step_m": "2"})
    assert as_manager.get(address("contours"))["ETag"] != before
    answer = as_manager.post(address("ground-step"), {"contour_step_m": "-1"}, follow=True)
    assert "0.05 to 50" in answer.content.decode()


def _lonlat(*points: tuple[float, float]) -> str:
    lon, lat = grid.to_lonlat(27700, [p[0] for p in points], [p[1] for p in points])
    return ";".join(f"{x:.8f},{y:.8f}" for x, y in zip(lon, lat, strict=True))


def test_level_at_a_point_and_along_a_line(as_staff: Client, grounded: GroundModel) -> None:
    told = as_staff.get(address("ground-level"), {"at": _lonlat((451050, 213050))}).json()
    assert told["level_m"] == pytest.approx(63.5, abs=0.01)
    assert told["easting"] == pytest.approx(451050, abs=0.01)
    told = as_staff.get(address("ground-level"), {"at": _lonlat((452050, 213050))}).json()
    assert told["level_m"] is None
    line = _lonlat((451110, 213130), (451050, 213050))
    told = as_staff.get(address("ground-line"), {"points": line}).json()
    assert told["fall_m"] == pytest.approx(5.0, abs=0.01)
    assert told["profile"][0][1] == pytest.approx(68.5, abs=0.01)


@pytest.mark.parametrize(
    ("name", "query", "words"),
    [
        ("ground-level", {}, "longitude,latitude"),
        ("ground-level", {"at": "here"}, "longitude,latitude"),
        ("ground-level", {"at": "nan,51"}, "longitude,latitude"),
        ("ground-level", {"at": "-1,95"}, "outside"),
        ("ground-line", {"points": "-1.26,51.81"}, "two ends"),
        ("ground-line", {"points": "-1.26,51.81;-1.26,51.81"}, "no length"),
        ("ground-line", {"points": "-1.26,51.81;-3.26,51.81"}, "longer than"),
        ("ground-line", {"points": ";".join(["-1.26,51.81"] * 300)}, "200 corners"),
    ],
)
def test_questions_without_sense_are_refused(
    as_staff: Client, grounded: GroundModel, name: str, query: dict[str, str], words: str
) -> None:
    answer = as_staff.get(address(name), query)
    assert answer.status_code == 400
    assert words in answer.json()["error"]


def test_without_ground_the_map_is_told_so(cast: Cast, as_staff: Client) -> None:
    assert as_staff.get(address("contours")).status_code == 404
    assert as_staff.get(address("shading")).status_code == 404
    line = {"points": "-1.26,51.81;-1.25,51.81"}
    assert "no ground yet" in as_staff.get(address("ground-line"), line).json()["error"]


def test_spot_heights_go_out_as_they_came_in(as_staff: Client, surveyed: Survey) -> None:
    answer = as_staff.get(address("survey-csv", surveyed.uuid))
    assert "levels.csv" in answer["Content-Disposition"]
    again = read_spot_heights(answer.content, epsg=27700)
    assert again.refusals == ()
    first = read_spot_heights(table(), epsg=27700)
    assert again.xyz.tolist() == first.xyz.tolist()
    assert again.codes == first.codes


def test_a_code_that_is_a_formula_goes_out_as_text(
    surveyed: Survey, monkeypatch: pytest.MonkeyPatch
) -> None:
    xyz, codes = points_of(surveyed)
    monkeypatch.setattr(reads, "points_of", lambda _: (xyz, ["=1+1", *codes[1:]]))
    text = reads.spot_heights_csv(surveyed)
    assert ",'=1+1\r\n" in text
    assert f",{codes[1]}\r\n" in text


def draw(cast: Cast) -> list[Feature]:
    given: tuple[dict[str, Any], ...] = (
        {
            "kind": Kind.DITCH,
            "ref": "D1",
            "geometry": LineString([(451100, 213100), (451180, 213140)]),
        },
        {"kind": Kind.TEE, "name": "Tee 4", "geometry": box(451200, 213200, 451212, 213209)},
        {"kind": Kind.TEE, "name": "Tee 5", "geometry": box(451300, 213200, 451312, 213209)},
    )
    return [create_feature(club=cast.club, by=cast.manager, **facts) for facts in given]


def test_features_go_out_as_geojson_and_geopackage(
    cast: Cast, as_staff: Client, tmp_path: Path
) -> None:
    assert as_staff.get(address("export-geopackage")).status_code == 302
    made = draw(cast)
    told = json.loads(as_staff.get(address("export-geojson")).content)
    assert {one["id"] for one in told["features"]} == {str(row.uuid) for row in made}
    path = tmp_path / "out.gpkg"
    path.write_bytes(as_staff.get(address("export-geopackage")).content)
    base = sqlite3.connect(path)
    layers = base.execute("SELECT table_name FROM gpkg_contents ORDER BY 1").fetchall()
    names = base.execute("SELECT name FROM tee ORDER BY 1").fetchall()
    base.close()
    assert layers == [("ditch",), ("tee",)]
    assert names == [("Tee 4",), ("Tee 5",)]


def test_what_goes_out_comes_in_again_at_another_club(cast: Cast, as_staff: Client) -> None:
    made = draw(cast)
    data = as_staff.get(address("export-geopackage")).content
    draft = services.begin_import(
        club=cast.other_club,
        what="features",
        upload=ContentFile(data, name="course.gpkg"),
        name="Handed over",
        surveyed_on=date(2026, 3, 14),
        by=cast.stranger,
    )
    services.accept_import(draft=draft, by=cast.stranger)
    theirs = Feature.objects.filter(club=cast.other_club)
    assert sorted(row.geometry.wkt for row in theirs) == sorted(row.geometry.wkt for row in made)
    assert set(theirs.values_list("ref", flat=True)) == {"D1", ""}


def test_pages_ask_the_database_little_however_large_the_club(
    cast: Cast,
    as_manager: Client,
    grounded: GroundModel,
    django_assert_max_num_queries: Callable[..., Any],
) -> None:
    def rounds() -> list[str]:
        survey = Survey.objects.filter(club=cast.club).first()
        assert survey is not None
        send(as_manager, table(lift=0.5), name="more.csv")
        draft = ImportDraft.objects.first()
        assert draft is not None
        return [
            address("surveys"),
            address("survey-new"),
            address("survey-detail", survey.uuid),
            address("survey-preview", draft.uuid),
            address("ground") + "?ae=451110&an=213130&be=451050&bn=213050",
            address("ground-make"),
            address("contours"),
            address("export-geojson"),
        ]

    for page in rounds():
        with django_assert_max_num_queries(15):
            assert as_manager.get(page).status_code == 200
    draw(cast)
    for number in range(12):
        draft = services.begin_import(
            club=cast.club,
            what="spot_heights",
            upload=ContentFile(table(step=50, lift=number), name="a.csv"),
            name=f"Survey {number}",
            surveyed_on=date(2026, 3, 14),
            by=cast.manager,
        )
        services.accept_import(draft=draft, by=cast.manager)
    for page in rounds():
        with django_assert_max_num_queries(15):
            assert as_manager.get(page).status_code == 200
