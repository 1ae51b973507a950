"""300 jobs measured again from the map and priced again by the book: 1 s at most."""

from __future__ import annotations

import time
from datetime import date
from math import cos, pi, sin

import numpy as np
import pytest
from shapely.geometry import LineString, Point, Polygon

from tests.cast import Cast, make_cast
from worksprog.calc.ground import dump_ground, ground_from_spot_heights
from worksprog.course.models import Feature, GroundModel, Kind, State
from worksprog.drainage.models import DrainNode, DrainReach
from worksprog.works import queries
from worksprog.works.models import EstimateLine, Item, Phase, Programme, Project, WorkKind
from worksprog.works.services import build_estimates, load_default_price_book

MOST_S = 1.0
ITEMS = 300
EAST, NORTH = 412_000.0, 318_000.0
# As a large programme has them: mostly drains, some of everything else.
MIXED = (
    *(WorkKind.CARRIER_PIPE, WorkKind.LATERALS, WorkKind.DITCH_DUG, WorkKind.BUNKER_FILLED),
    *(WorkKind.CARRIER_PIPE, WorkKind.TEE_REBUILD, WorkKind.TREE_THINNING, WorkKind.PATH),
    *(WorkKind.CARRIER_PIPE, WorkKind.CHAMBER, WorkKind.MOUNDING, WorkKind.SEEDING),
)


def _shape(kind: str, x: float, y: float) -> tuple[str, object]:
    match kind:
        case WorkKind.CARRIER_PIPE:
            return Kind.PIPE, LineString([(x, y), (x + 40, y + 8), (x + 90, y)])
        case WorkKind.DITCH_DUG:
            return Kind.DITCH, LineString([(x, y), (x + 60, y + 12)])
        case WorkKind.PATH:
            return Kind.PATH, LineString([(x, y), (x + 60, y + 12)])
        case WorkKind.CHAMBER:
            return Kind.CHAMBER, Point(x, y)
        case WorkKind.TREE_THINNING:
            return Kind.TREE, Point(x, y)
    on = {
        WorkKind.TEE_REBUILD: Kind.TEE,
        WorkKind.MOUNDING: Kind.MOUND,
        WorkKind.LATERALS: Kind.LATERALS,
        WorkKind.BUNKER_FILLED: Kind.BUNKER,
        WorkKind.SEEDING: Kind.FAIRWAY,
    }[WorkKind(kind)]
    rim = [(x + 9 * cos(2 * pi * k / 24), y + 7 * sin(2 * pi * k / 24)) for k in range(24)]
    return on, Polygon(rim)


def _programme(kinds: tuple[str, ...]) -> tuple[Cast, Programme]:
    cast = make_cast()
    club = cast.club
    load_default_price_book(club=club, by=cast.manager, dated=date(2026, 2, 2))
    random = np.random.default_rng(4)
    x, y = random.uniform(-50, 900, 8_000), random.uniform(-50, 900, 8_000)
    level = 52 + 0.01 * x + 0.6 * np.sin(x / 40) + 0.4 * np.cos(y / 30)
    ground = ground_from_spot_heights(np.column_stack([x + EAST, y + NORTH, level]))
    GroundModel.objects.create(
        club=club, method=GroundModel.Method.TRIANGLES, data=dump_ground(ground)
    )
    programme = Programme.objects.create(
        club=club, name="Large", starts_on=date(2026, 9, 1), ends_on=date(2031, 8, 31)
    )
    project = Project.objects.create(club=club, programme=programme, code="A", name="All")
    phase = Phase.objects.create(club=club, project=project, name="All")
    drawn, items = [], []
    for k in range(ITEMS):
        kind = kinds[k % len(kinds)]
        on, shape = _shape(kind, EAST + 40 * (k % 20), NORTH + 50 * (k // 20))
        drawn.append(Feature(club=club, kind=on, ref=f"F{k}", geometry=shape, state=State.PROPOSED))
        items.append(Item(club=club, phase=phase, kind=kind, name=f"Job {k}", order=k))
    Feature.objects.bulk_create(drawn)
    Item.objects.bulk_create(items)
    Item.features.through.objects.bulk_create(
        Item.features.through(item_id=item.pk, feature_id=feature.pk)
        for item, feature in zip(items, drawn, strict=True)
    )
    DrainReach.objects.bulk_create(
        DrainReach(
            club=club, feature=feature, upstream_invert_m=50.4, downstream_invert_m=49.9,
            inside_diameter_mm=296.0, bottom_width_m=0.5, side_slope=1.5,
        )
        for feature in drawn
        if feature.kind in (Kind.PIPE, Kind.DITCH)
    )  # fmt: skip
    DrainNode.objects.bulk_create(
        DrainNode(club=club, feature=feature, invert_level_m=50.2)
        for feature in drawn
        if feature.kind == Kind.CHAMBER
    )
    return cast, programme


@pytest.mark.benchmark(timer=time.process_time)
@pytest.mark.django_db
@pytest.mark.parametrize("kinds", [(WorkKind.CARRIER_PIPE,), MIXED], ids=["carriers", "all kinds"])
def test_measured_and_priced_again(benchmark, kinds, django_assert_max_num_queries):
    _, programme = _programme(kinds)

    def again() -> list[float]:
        own = Item.objects.filter(phase__project__programme=programme)
        items = list(own.select_related("club"))
        book = queries.price_book(programme.club)
        measured = queries.measure_items(items)
        with django_assert_max_num_queries(0):
            return [
                float(queries.work_out(item, measured[item.pk], book).money.likely)
                for item in items
            ]

    money = benchmark.pedantic(again, rounds=5, warmup_rounds=1)
    assert len(money) == ITEMS and min(money) > 0
    assert benchmark.stats.stats.min <= MOST_S


@pytest.mark.django_db
def test_and_every_estimate_kept(benchmark):
    cast, programme = _programme(MIXED)
    assert build_estimates(programme=programme, by=cast.manager).built == ITEMS
    Feature.objects.filter(kind=Kind.PIPE).update(version=2)
    DrainReach.objects.update(downstream_invert_m=49.7)

    def again() -> int:
        return build_estimates(programme=programme, by=cast.manager).built

    assert benchmark.pedantic(again, rounds=1) == ITEMS
    assert EstimateLine.objects.count() > 6 * ITEMS
