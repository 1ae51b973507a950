"""From a file to rows: looked at first, saved whole or not at all."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from shapely import LineString, Point, box

from tests.cast import Cast
from tests.course.survey_files import ascii_grid, write_dxf, write_geopackage
from worksprog.calc import ground as calc_ground
from worksprog.clubs.models import Change
from worksprog.course import services_surveys as services
from worksprog.course.bridge import points_of
from worksprog.course.models import (
    Feature,
    GroundModel,
    ImportDraft,
    Kind,
    LayerMapping,
    Source,
    State,
    Survey,
)
from worksprog.course.queries import live_ground
from worksprog.course.reading.results import AxesSwapped, ReadError
from worksprog.runs.models import Run, RunState

pytestmark = pytest.mark.django_db
DAY = date(2026, 3, 14)


def table(
    step: int = 10, lift: float = 0.0, header: str = "easting,northing,level,code\n"
) -> bytes:
    rows = [
        f"{451000 + x},{213000 + y},{60 + 0.03 * x + 0.04 * y + lift:.3f},GL"
        for x in range(0, 201, step)
        for y in range(0, 201, step)
    ]
    return (header + "\n".join(rows) + "\n").encode()


def begin(
    cast: Cast,
    data: bytes,
    *,
    what: str = "spot_heights",
    file_name: str = "levels.csv",
    **more: Any,
) -> ImportDraft:
    return services.begin_import(
        club=cast.club,
        what=what,
        upload=ContentFile(data, name=file_name),
        **{"name": "March survey", "surveyed_on": DAY, "by": cast.manager, **more},
    )


def begin_file(cast: Cast, path: Path) -> ImportDraft:
    return begin(cast, path.read_bytes(), what="features", file_name=path.name)


def stored_files() -> list[str]:
    try:
        return default_storage.listdir("imports")[1]
    except FileNotFoundError:
        return []


@pytest.mark.django_db(transaction=True)
def test_spot_heights_from_file_to_survey(cast: Cast) -> None:
    draft = begin(cast, table() + b"451010,213020,high,X\n", surveyor="A. Surveyor")
    assert Survey.objects.count() == 0
    seen = services.preview(draft)
    assert (seen.count, len(seen.refusals)) == (441, 1)
    survey = services.accept_import(draft=draft, by=cast.manager, mark=seen.mark)
    xyz, codes = points_of(survey)
    assert len(xyz) == survey.count == 441
    assert set(codes) == {"GL"}
    assert xyz[0].tolist() == [451000, 213000, 60]
    assert survey.reading["refusals"] == [["line 443", "the level “high” is not a number"]]
    assert not ImportDraft.objects.exists()
    assert stored_files() == []
    assert Change.objects.filter(club=cast.club, kind="survey", by=cast.manager).count() == 1


def test_features_take_the_clubs_mapping_and_say_where_they_come_from(
    cast: Cast, tmp_path: Path
) -> None:
    path = write_dxf(
        tmp_path / "drains.dxf",
        [
            (LineString([(451100, 213100), (451180, 213140)]), "OLD DITCHES"),
            (Point(451300, 213300), "XX-7"),
        ],
    )
    draft = begin_file(cast, path)
    assert services.preview(draft).count == 1
    services.keep_mapping(
        club=cast.club,
        mapping={"XX-7": (Kind.TREE, State.EXISTING), "OLD DITCHES": (Kind.DITCH, State.REMOVED)},
        by=cast.manager,
    )
    survey = services.accept_import(draft=draft, by=cast.manager)
    ditch = Feature.objects.get(kind=Kind.DITCH)
    assert (ditch.state, ditch.source, ditch.survey, ditch.state_date) == (
        State.REMOVED,
        Source.SURVEYED,
        survey,
        DAY,
    )
    assert Feature.objects.filter(club=cast.club, kind=Kind.TREE).count() == 1
    again = services.preview(begin_file(cast, path))
    assert again.count == 1, "the ditch is told as removed, so a new survey may find it again"
    assert [refusal.reason for refusal in again.refusals] == ["is on the course already, as tree"]


@pytest.mark.parametrize(
    ("layer", "kind"),
    [
        ("DITCHES", "ditch"),
        ("Trees-2024", "tree"),
        ("tees", "tee"),
        ("buried services", "service"),
        ("HEDGE", "hedge"),
        ("KERBS", ""),
        ("P-SURF-01", ""),
        ("paths", "path"),
        ("bunkers", "bunker"),
    ],
)
def test_a_layer_name_that_says_its_kind_is_understood(layer: str, kind: str) -> None:
    assert services.guess_kind(layer) == kind


def test_a_kind_that_is_none_is_refused_and_nothing_kept(cast: Cast) -> None:
    with pytest.raises(ValidationError):
        services.keep_mapping(
            club=cast.club,
            mapping={"A": (Kind.TREE, State.EXISTING), "B": ("castle", State.EXISTING)},
            by=cast.manager,
        )
    assert not LayerMapping.objects.exists()


def test_all_or_nothing(cast: Cast, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write_geopackage(
        tmp_path / "a.gpkg", {"tees": [(box(451200, 213200, 451212, 213209), {"name": "x"})]}
    )
    draft = begin_file(cast, path)

    def fails(*args: Any, **more: Any) -> None:
        raise ValidationError("the last step fails")

    monkeypatch.setattr(services, "keep_mapping", fails)
    with pytest.raises(ValidationError, match="last step"):
        services.accept_import(draft=draft, by=cast.manager)
    assert not Survey.objects.exists()
    assert not Feature.objects.exists()
    assert ImportDraft.objects.filter(pk=draft.pk).exists()
    assert len(stored_files()) == 1


def test_what_was_not_looked_at_is_not_saved(cast: Cast, tmp_path: Path) -> None:
    path = write_dxf(
        tmp_path / "a.dxf", [(LineString([(451100, 213100), (451180, 213140)]), "DITCH")]
    )
    draft = begin_file(cast, path)
    mark = services.preview(draft).mark
    services.keep_mapping(
        club=cast.club, mapping={"DITCH": (Kind.PIPE, State.EXISTING)}, by=cast.manager
    )
    with pytest.raises(ValidationError, match="no longer what you looked at"):
        services.accept_import(draft=draft, by=cast.manager, mark=mark)
    assert not Feature.objects.exists()


def test_accepted_once_only(cast: Cast) -> None:
    draft = begin(cast, table())
    services.accept_import(draft=draft, by=cast.manager)
    with pytest.raises((ReadError, ValidationError)):
        services.accept_import(draft=draft, by=cast.manager)
    assert Survey.objects.count() == 1


def test_nothing_to_save_is_told(cast: Cast) -> None:
    draft = begin(cast, b"451010,213020,high\n451011,213021,low\n")
    with pytest.raises(ValidationError, match="nothing to save"):
        services.accept_import(draft=draft, by=cast.manager)


@pytest.mark.django_db(transaction=True)
def test_discarding_leaves_nothing_behind(cast: Cast) -> None:
    services.discard_import(draft=begin(cast, table()), by=cast.manager)
    assert not ImportDraft.objects.exists()
    assert stored_files() == []


@pytest.mark.parametrize(
    ("data", "what", "words"),
    [
        (b"%PDF-1.7", "spot_heights", "PDF"),
        (table(), "features", "holds spot heights"),
        (b"51.8,-1.2,61\n51.8,-1.3,61\n", "spot_heights", "degrees"),
        (b"", "spot_heights", "empty"),
    ],
)
def test_a_file_that_cannot_be_used_leaves_nothing(
    cast: Cast, data: bytes, what: str, words: str
) -> None:
    with pytest.raises(ReadError, match=words):
        begin(cast, data, what=what)
    assert not ImportDraft.objects.exists()
    assert stored_files() == []


def test_a_file_too_large_is_refused_before_it_is_stored(cast: Cast, settings: Any) -> None:
    settings.IMPORT_MAX_BYTES = 1000
    with pytest.raises(ReadError, match="the most that is taken"):
        begin(cast, table())
    assert stored_files() == []


def test_a_path_in_the_file_name_is_only_a_name(cast: Cast) -> None:
    draft = begin(cast, table(), file_name="..\\..\\etc\\levels.csv")
    assert draft.file_name == "levels.csv"
    assert draft.stored_as.startswith("imports/")


def test_exchanged_axes_are_mended_by_one_word(cast: Cast) -> None:
    services.accept_import(draft=begin(cast, table()), by=cast.manager)
    rows = "\n".join(f"{213000 + y},{451005},{61}" for y in range(0, 200, 10)).encode()
    draft = begin(cast, rows)
    with pytest.raises(AxesSwapped):
        services.preview(draft)
    services.exchange_axes(draft=draft, exchanged=True, by=cast.manager)
    assert services.preview(draft).count == 20


def test_another_clubs_course_does_not_matter(cast: Cast) -> None:
    services.accept_import(draft=begin(cast, table()), by=cast.manager)
    assert services.course_box(cast.other_club) is None
    assert services.course_box(cast.club) == (451000, 213000, 451200, 213200)


def test_ground_of_spot_heights(cast: Cast) -> None:
    survey = services.accept_import(draft=begin(cast, table()), by=cast.manager)
    model = services.build_ground(club=cast.club, surveys=[survey], by=cast.manager)
    assert model.contour_step_m == 0.5
    assert (model.lowest_m, model.highest_m) == (pytest.approx(60), pytest.approx(74))
    levels = {f["properties"]["level_m"] for f in model.contours["features"]}
    assert {60.5, 65.0, 73.5} <= levels
    assert {
        f["properties"]["level_m"] for f in model.contours["features"] if f["properties"]["fifth"]
    } >= {62.5, 65.0}
    assert bytes(model.shading or b"")[:8] == b"\x89PNG\r\n\x1a\n"
    (south, west), (north, east) = model.shading_bounds
    assert south < north
    assert west < east
    ground = live_ground(cast.club)
    assert ground is not None
    assert calc_ground.level_at(ground, 451123, 213045) == pytest.approx(60 + 3.69 + 1.8, abs=2e-3)
    assert live_ground(cast.other_club) is None


def test_where_two_surveys_meet_the_later_one_tells(cast: Cast) -> None:
    old = services.accept_import(draft=begin(cast, table()), by=cast.manager)
    new = services.accept_import(
        draft=begin(cast, table(lift=1.0), surveyed_on=date(2026, 9, 1)), by=cast.manager
    )
    services.build_ground(club=cast.club, surveys=[old, new], by=cast.manager)
    ground = live_ground(cast.club)
    assert ground is not None
    assert calc_ground.level_at(ground, 451100, 213100) == pytest.approx(68.0)


def test_ground_of_a_grid(cast: Cast) -> None:
    x, y = np.meshgrid(np.arange(100) * 2 + 1, np.arange(100)[::-1] * 2 + 1)
    draft = begin(cast, ascii_grid(60 + 0.03 * x + 0.04 * y), what="ground_grid", file_name="a.asc")
    survey = services.accept_import(draft=draft, by=cast.manager)
    model = services.build_ground(club=cast.club, surveys=[survey], by=cast.manager)
    assert model.method == GroundModel.Method.GRID
    ground = live_ground(cast.club)
    assert ground is not None
    assert calc_ground.level_at(ground, 451100, 213100) == pytest.approx(67.0, abs=2e-3)


def test_surveys_that_make_no_ground_are_told(cast: Cast) -> None:
    spots = Survey(club=cast.club, what="spot_heights", name="s", surveyed_on=DAY)
    grid = Survey(club=cast.club, what="ground_grid", name="g", surveyed_on=DAY)
    features = Survey(club=cast.club, what="features", name="f", surveyed_on=DAY)
    for surveys, words in (
        ([], "at least one"),
        ([features], "no levels"),
        ([spots, grid], "either one"),
    ):
        with pytest.raises(ValidationError, match=words):
            services.check_ground_surveys(surveys)


@pytest.mark.django_db(transaction=True)
def test_ground_as_a_job_is_made_once_however_often_it_is_begun(cast: Cast) -> None:
    survey = services.accept_import(draft=begin(cast, table()), by=cast.manager)
    run = services.request_ground(club=cast.club, surveys=[survey], by=cast.manager)
    run.refresh_from_db()
    assert run.state == RunState.DONE, run.error
    model = GroundModel.objects.get(club=cast.club)
    assert model.uuid == run.uuid
    assert model.made_by == cast.manager
    assert list(model.surveys.all()) == [survey]
    services.build_ground(club=cast.club, surveys=[survey], by=None, uuid=run.uuid)
    assert GroundModel.objects.count() == 1
    assert "441 levels" in run.outcome["words"]


@pytest.mark.django_db(transaction=True)
def test_a_job_whose_levels_make_no_ground_says_why(cast: Cast) -> None:
    rows = "\n".join(f"{451000 + x},{213000 + x},61" for x in range(0, 50, 5)).encode()
    survey = services.accept_import(draft=begin(cast, rows), by=cast.manager)
    run = services.request_ground(club=cast.club, surveys=[survey], by=cast.manager)
    run.refresh_from_db()
    assert run.state == RunState.FAILED
    assert "one line" in run.error
    assert Run.objects.count() == 1


def test_contours_are_drawn_anew_at_another_step(cast: Cast) -> None:
    survey = services.accept_import(draft=begin(cast, table()), by=cast.manager)
    model = services.build_ground(club=cast.club, surveys=[survey], by=cast.manager)
    services.draw_contours(model=model, step_m=2, by=cast.manager)
    model.refresh_from_db()
    assert model.contour_step_m == 2
    assert {f["properties"]["level_m"] % 2 for f in model.contours["features"]} == {0}
    with pytest.raises(ValidationError, match="larger"):
        services.draw_contours(model=model, step_m=0.001, by=cast.manager)


def test_what_is_on_the_course_already_is_not_brought_in_twice(cast: Cast, tmp_path: Path) -> None:
    ditch = LineString([(451100, 213100), (451180, 213140)])
    path = write_dxf(tmp_path / "a.dxf", [(ditch, "DITCH")])
    services.accept_import(draft=begin_file(cast, path), by=cast.manager)
    other = LineString([(451100, 213200), (451180, 213240)])
    path = write_dxf(tmp_path / "b.dxf", [(ditch, "DITCH"), (other, "DITCH")])
    seen = services.preview(begin_file(cast, path))
    assert seen.count == 1
    assert [r.reason for r in seen.refusals] == ["is on the course already, as ditch"]


def test_what_the_machine_does_by_itself_has_no_name(cast: Cast) -> None:
    survey = services.accept_import(draft=begin(cast, table(), by=None), by=None)
    model = services.build_ground(club=cast.club, surveys=[survey], by=None)
    assert (survey.imported_by, model.made_by) == (None, None)
