"""The network brought into another club through the pages: places, levels and sizes the same."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import pytest
import shapely
from django.core.files.base import ContentFile
from django.test import Client
from django.urls import reverse

from tests.cast import Cast
from tests.course.survey_files import write_geopackage
from tests.drainage.drawn import draw_ditch, draw_node, draw_pipe
from tests.drainage.test_as_built import keep
from worksprog.clubs.models import Change
from worksprog.course.models import Feature, ImportDraft, Kind
from worksprog.drainage.exchange import SIZES, network_dxf, network_geopackage
from worksprog.drainage.models import DrainNode, DrainReach

LEVELS = ("upstream_invert_m", "downstream_invert_m")


@pytest.fixture
def network(cast: Cast) -> list[Feature]:
    club, by = cast.club, cast.manager
    bent = draw_pipe(
        club, by, "P1", (0.1234, 0.5678), (40.4321, 3.3333), (70.0004, 30.7777),
        upstream_invert_m=52.123, downstream_invert_m=51.456, material="twin wall", ks_mm=1.5,
    )  # fmt: skip
    keep(cast, bent, 52.13, 0.5)
    return [
        bent,
        draw_ditch(club, by, "D1", (70.0004, 30.7777), (120, 60), freeboard_m=0.2),
        draw_node(club, by, Kind.CHAMBER, "C1", 0.1234, 0.5678, cover=53.4, invert=52.1),
        draw_node(club, by, Kind.OUTFALL, "O1", 120, 60),
    ]


def bring(cast: Cast, data: bytes, name: str) -> tuple[Client, ImportDraft, str]:
    """Uploaded to the second club, which is empty; what its preview says."""
    client = Client()
    client.force_login(cast.stranger, backend="django.contrib.auth.backends.ModelBackend")
    answer = client.post(
        reverse("course:survey-new", args=["second"]),
        {"what": "features", "name": "Drains", "surveyed_on": "2026-03-14",
         "upload": ContentFile(data, name=name)},
        follow=True,
    )  # fmt: skip
    draft = ImportDraft.objects.get(club=cast.other_club)
    return client, draft, answer.content.decode()


def accept(client: Client, page: str, draft: ImportDraft) -> None:
    mark = page.split('name="mark" value="')[1].split('"')[0]
    address = reverse("course:survey-accept", args=["second", draft.uuid])
    assert address in page
    client.post(address, {"mark": mark})


@pytest.mark.parametrize(
    ("write", "name"), [(network_geopackage, "a.gpkg"), (network_dxf, "a.dxf")]
)
def test_the_network_comes_in_whole(
    cast: Cast, network: list[Feature], write: Any, name: str
) -> None:
    client, draft, page = bring(cast, write(cast.club), name)
    assert "2 pipes and ditches bring sizes, 2 of them inverts too" in page
    assert "1 chamber or outfall brings levels" in page
    assert "not brought in here" in page
    assert "Shapes are kept flat" not in page
    accept(client, page, draft)
    came = {row.ref: row for row in Feature.objects.filter(club=cast.other_club)}
    assert sorted(came) == ["C1", "D1", "O1", "P1"]
    for was in network:
        now = came[was.ref]
        assert shapely.hausdorff_distance(was.geometry, now.geometry) < 0.002
        if hasattr(was, "reach"):
            for figure in (*LEVELS, *_sizes(was)):
                assert getattr(now.reach, figure) == getattr(was.reach, figure), figure
            assert now.reach.club == cast.other_club
    assert (came["C1"].node.cover_level_m, came["C1"].node.invert_level_m) == (53.4, 52.1)
    assert not hasattr(came["O1"], "node")
    kinds = set(Change.objects.filter(club=cast.other_club).values_list("kind", flat=True))
    assert {"drainreach", "drainnode"} <= kinds


def _sizes(feature: Feature) -> list[str]:
    wrong = ("inside_diameter_mm", "ks_mm") if feature.kind == Kind.DITCH else SIZES[2:-1]
    return [name for name in SIZES if name not in wrong]


def test_a_figure_that_cannot_be_is_refused_with_its_place(cast: Cast, tmp_path: Path) -> None:
    line = shapely.LineString([(451000, 231000), (451050, 231000)])
    other = shapely.LineString([(451000, 231020), (451050, 231020)])
    third = shapely.LineString([(451000, 231040), (451050, 231040)])
    path = write_geopackage(
        tmp_path / "a.gpkg",
        {"pipes": [
            (line, {"ref": "A", "inside_diameter_mm": "6", "upstream_invert_m": "51.2"}),
            (other, {"ref": "B", "inside_diameter_mm": "150", "upstream_invert_m": "51,2"}),
            (third, {"ref": "C", "inside_diameter_mm": "150", "upstream_invert_m": "51.2"}),
        ]},
    )  # fmt: skip
    client, draft, page = bring(cast, path.read_bytes(), "a.gpkg")
    assert "layer “pipes”, feature 1" in page
    assert "inside_diameter_mm: " in page
    assert "upstream_invert_m: “51,2” is no number; a point is the decimal." in page
    accept(client, page, draft)
    (reach,) = DrainReach.objects.filter(club=cast.other_club)
    assert (reach.feature.ref, reach.upstream_invert_m, reach.downstream_invert_m) == (
        "C",
        51.2,
        None,
    )


def test_parts_of_a_line_do_not_share_its_levels(cast: Cast, tmp_path: Path) -> None:
    parts = shapely.MultiLineString(
        [
            [(451000, 231000, 52), (451050, 231000, 51.5)],
            [(451060, 231000, 51.4), (451090, 231000, 51)],
        ]
    )
    path = tmp_path / "a.gpkg"
    pyogrio.raw.write(
        path, np.array([shapely.to_wkb(parts)], dtype=object),
        field_data=[np.array([value], dtype=object) for value in ("52.000", "51.000", "225")],
        fields=np.array([*LEVELS, "inside_diameter_mm"], dtype=object),
        geometry_type="MultiLineString Z", driver="GPKG", layer="pipes", crs="EPSG:27700",
    )  # fmt: skip
    client, draft, page = bring(cast, path.read_bytes(), "a.gpkg")
    accept(client, page, draft)
    rows = DrainReach.objects.filter(club=cast.other_club).order_by("began_x_m")
    assert [(one.upstream_invert_m, one.downstream_invert_m) for one in rows] == [
        (52, 51.5),
        (51.4, 51),
    ]


def test_nothing_is_kept_of_shapes_when_figures_cannot_be_saved(
    cast: Cast, network: list[Feature], monkeypatch: pytest.MonkeyPatch
) -> None:
    client, draft, page = bring(cast, network_geopackage(cast.club), "a.gpkg")

    def broken(*args: Any, **kwargs: Any) -> None:
        raise RuntimeError("the disk is full")

    monkeypatch.setattr("worksprog.drainage.services.brought_in.save_records", broken)
    client.raise_request_exception = False
    accept(client, page, draft)
    assert not Feature.objects.filter(club=cast.other_club).exists()
    assert not DrainNode.objects.filter(club=cast.other_club).exists()
    assert ImportDraft.objects.filter(pk=draft.pk).exists()
