"""A small programme on a few features, built through the services."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import pytest
from shapely.geometry import LineString, Point, Polygon

from tests.cast import Cast
from worksprog.clubs.records import save_record
from worksprog.course.models import Feature, Kind, State
from worksprog.drainage.models import DrainReach
from worksprog.works.models import Item, Phase, Programme, Project, WorkKind
from worksprog.works.services import (
    create_item,
    create_phase,
    create_programme,
    create_project,
    load_default_price_book,
)


@dataclass
class Works:
    programme: Programme
    project: Project
    phase: Phase
    pipe: Feature
    tee: Feature
    carrier: Item
    tee_item: Item


def draw(cast: Cast, kind: str, geometry, ref: str = "", **facts) -> Feature:
    feature = Feature(
        club=cast.club, kind=kind, ref=ref, geometry=geometry, state=State.PROPOSED, **facts
    )
    return save_record(feature, by=cast.manager)


def move(feature: Feature, geometry, by) -> Feature:
    feature.geometry = geometry
    feature.version += 1
    return save_record(feature, by=by)


@pytest.fixture
def works(cast: Cast) -> Works:
    by = cast.manager
    load_default_price_book(club=cast.club, by=by, dated=date(2026, 9, 1))
    programme = create_programme(
        club=cast.club,
        name="Five winters",
        starts_on=date(2026, 9, 1),
        ends_on=date(2031, 4, 30),
        by=by,
    )
    project = create_project(programme=programme, code="BC", name="Brook carrier", by=by)
    phase = create_phase(project=project, name="Lower carrier", by=by)
    pipe = draw(cast, Kind.PIPE, LineString([(400000, 300000), (400000, 300250)]), ref="C1")
    reach = DrainReach(
        club=cast.club,
        feature=pipe,
        upstream_invert_m=40.0,
        downstream_invert_m=38.0,
        inside_diameter_mm=296,
    )
    save_record(reach, by=by)
    chamber = draw(cast, Kind.CHAMBER, Point(400000, 300000), ref="CH1")
    tee = draw(
        cast,
        Kind.TEE,
        Polygon([(400100, 300000), (400120, 300000), (400120, 300013), (400100, 300013)]),
        ref="T8",
    )
    carrier = create_item(
        phase=phase,
        kind=WorkKind.CARRIER_PIPE,
        name="Lay C1",
        features=[pipe, chamber],
        by=by,
    )
    tee_item = create_item(
        phase=phase, kind=WorkKind.TEE_REBUILD, name="Rebuild tee 8", features=[tee], by=by
    )
    return Works(programme, project, phase, pipe, tee, carrier, tee_item)
