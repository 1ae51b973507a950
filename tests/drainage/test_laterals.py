"""The page that lays out laterals, what it keeps, and what the estimate makes of it."""

from __future__ import annotations

import csv
import io

import numpy as np
import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.utils import timezone
from shapely import Polygon

from tests.cast import Cast
from tests.drainage.drawn import SOUTH, WEST, draw_pipe
from worksprog.calc.build_up import RECIPES
from worksprog.calc.ground import dump_ground, ground_from_spot_heights
from worksprog.calc.laterals import DrainWish, Wish
from worksprog.course.models import Feature, GroundModel, Kind, State
from worksprog.course.services import change_feature, create_feature, mark_of
from worksprog.drainage.models import LateralLayout
from worksprog.drainage.queries.laterals import carriers_near
from worksprog.drainage.services.laterals import keep_layout
from worksprog.works.measuring import Told, measure
from worksprog.works.models import WorkKind

AT = "/c/first/drainage/laterals/"
FIGURES = {
    "carrier": "", "pattern": "parallel", "spacing_m": "5", "angle_to_fall_deg": "0",
    "fall_bearing_deg": "", "edge_m": "0", "least_m": "3", "carry_on_m": "20", "bore_mm": "80",
    "ks_mm": "1.5", "least_depth_m": "0.6", "least_one_in": "200", "rate_mm_d": "10",
    "k_above_m_d": "0.2", "k_below_m_d": "0.02", "barrier_m": "1", "water_above_m": "0.3",
    "trench_m": "0.15", "backfill_m": "0.5", "backfill_k_m_d": "500", "density_t_m3": "1.6",
}  # fmt: skip


def box(x0: float, y0: float, x1: float, y1: float) -> Polygon:
    return Polygon([(WEST + x, SOUTH + y) for x, y in ((x0, y0), (x1, y0), (x1, y1), (x0, y1))])


@pytest.fixture
def area(cast: Cast) -> Feature:
    return create_feature(
        club=cast.club,
        kind=Kind.LATERALS,
        geometry=box(0, 0, 40, 20),
        by=cast.manager,
        ref="L1",
        state=State.PROPOSED,
    )


@pytest.fixture
def carrier(cast: Cast) -> Feature:
    return draw_pipe(
        cast.club, cast.manager, "C1", (-5, -1), (45, -1),
        upstream_invert_m=49.0, downstream_invert_m=48.5,
    )  # fmt: skip


@pytest.fixture
def ground(cast: Cast) -> GroundModel:
    """Falls 1 in 50 to the south, 50 m at the area's south edge."""
    x, y = (
        part.ravel() for part in np.meshgrid(np.arange(-60, 121, 5.0), np.arange(-60, 121, 5.0))
    )
    points = np.column_stack([WEST + x, SOUTH + y, 50 + 0.02 * y])
    return GroundModel.objects.create(
        club=cast.club,
        method="triangles",
        data=dump_ground(ground_from_spot_heights(points)),
        made_at=timezone.now(),
    )


def test_without_ground_the_bearing_is_asked_for(
    cast: Cast, as_manager: Client, area: Feature
) -> None:
    answer = as_manager.get(f"{AT}{area.uuid}/", FIGURES)
    assert answer.status_code == 422
    assert "enter the bearing" in answer.content.decode()
    tried = as_manager.get(f"{AT}{area.uuid}/", FIGURES | {"fall_bearing_deg": "180"})
    assert tried.status_code == 200
    assert "160.0 m" in tried.content.decode()


def test_an_area_opens_with_the_carrier_that_leaves_least_at_fault(
    cast: Cast, as_manager: Client, area: Feature, carrier: Feature, ground: GroundModel
) -> None:
    """The nearest, along the upper edge, lies above the drains; the lower one takes them all."""
    high = draw_pipe(
        cast.club, cast.manager, "C9", (-5, 20), (45, 20),
        upstream_invert_m=50.2, downstream_invert_m=50.1,
    )  # fmt: skip
    assert carriers_near(area)[0] == high
    opened = as_manager.get(f"{AT}{area.uuid}/")
    given = opened.context["form"].cleaned_data
    assert given["carrier"] == str(carrier.uuid)
    assert opened.context["laid"].faults == 0
    assert not LateralLayout.objects.exists()


def test_a_try_keeps_nothing_and_keeping_keeps(
    cast: Cast, as_manager: Client, area: Feature, carrier: Feature, ground: GroundModel
) -> None:
    given = FIGURES | {"carrier": str(carrier.uuid)}
    tried = as_manager.get(f"{AT}{area.uuid}/", given)
    text = tried.content.decode()
    assert "168.0 m" in text
    assert "runs in" in text
    assert not LateralLayout.objects.exists()
    answer = as_manager.post(f"{AT}{area.uuid}/", given)
    assert answer.status_code == 302
    kept = LateralLayout.objects.get()
    assert kept.length_m == pytest.approx(168.0)
    assert kept.joined == 8
    assert kept.carrier == carrier
    assert kept.mean_depth_m == pytest.approx(0.6, abs=0.01)
    again = as_manager.get(f"{AT}{area.uuid}/")
    assert again.context["form"].cleaned_data["spacing_m"] == 5
    assert as_manager.get(AT).status_code == 200


def test_the_carrier_must_lie_low_enough(
    cast: Cast, as_manager: Client, area: Feature, ground: GroundModel
) -> None:
    high = draw_pipe(
        cast.club, cast.manager, "C2", (-5, -1), (45, -1),
        upstream_invert_m=49.9, downstream_invert_m=49.8,
    )  # fmt: skip
    text = as_manager.get(f"{AT}{area.uuid}/", FIGURES | {"carrier": str(high.uuid)})
    assert "below the carrier&#x27;s invert" in text.content.decode()


@pytest.mark.parametrize(
    ("figures", "words"),
    [
        ({"spacing_m": "0.1"}, "spacing lies from 0.5"),
        ({"spacing_m": "wide"}, "Enter a number"),
        ({"least_one_in": "0"}, "above 0"),
        ({"k_above_m_d": "-1"}, "conductivity above"),
        ({"edge_m": "15"}, "no inside left"),
        ({"pattern": "herring"}, "choose the carrier"),
        ({"carrier": "00000000-0000-0000-0000-000000000000"}, "valid choice"),
        ({"least_m": "900"}, "No drain fits"),
    ],
)
def test_what_cannot_be_is_said_and_nothing_is_kept(
    cast: Cast,
    as_manager: Client,
    area: Feature,
    ground: GroundModel,
    figures: dict[str, str],
    words: str,
) -> None:
    answer = as_manager.post(f"{AT}{area.uuid}/", FIGURES | figures)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not LateralLayout.objects.exists()


def test_staff_may_look_and_not_keep(
    cast: Cast, as_staff: Client, area: Feature, ground: GroundModel
) -> None:
    assert as_staff.get(f"{AT}{area.uuid}/", FIGURES).status_code == 200
    assert as_staff.post(f"{AT}{area.uuid}/", FIGURES).status_code == 403


def test_places_and_levels_as_a_file(
    cast: Cast, as_manager: Client, area: Feature, carrier: Feature, ground: GroundModel
) -> None:
    address = f"{AT}{area.uuid}/laterals.csv"
    assert as_manager.get(address).status_code == 302
    as_manager.post(f"{AT}{area.uuid}/", FIGURES | {"carrier": str(carrier.uuid)})
    rows = list(csv.reader(io.StringIO(as_manager.get(address).content.decode("utf-8-sig"))))
    assert rows[0][1] == "head easting (m)"
    assert len(rows) == 9
    head = rows[1]
    assert float(head[2]) == pytest.approx(SOUTH + 20)
    assert float(head[3]) == pytest.approx(49.8, abs=0.01)
    assert float(head[7]) == pytest.approx(21)
    assert head[8] == "50"


def test_the_estimate_goes_by_the_layout_until_the_outline_changes(
    cast: Cast, as_manager: Client, area: Feature, ground: GroundModel
) -> None:
    def told() -> dict[str, float]:
        rows = {row.feature_id: row for row in LateralLayout.objects.all()}
        now = Feature.objects.get(pk=area.pk)
        recipe = RECIPES[WorkKind.LATERALS]
        found = measure(recipe, [now], told=Told(layouts=rows), ground=None)
        return {**found.measures, **found.parameters}

    assert told() == {"area_m2": pytest.approx(800)}
    as_manager.post(f"{AT}{area.uuid}/", FIGURES)
    assert told() == {
        "area_m2": pytest.approx(800),
        "length_m": pytest.approx(160),
        "spacing_m": 5,
        "lateral_mm": 80,
        "depth_m": pytest.approx(0.6, abs=0.01),
    }
    now = Feature.objects.get(pk=area.pk)
    change_feature(feature=now, by=cast.manager, seen=mark_of(now), geometry=box(0, 0, 40, 30))
    assert told() == {"area_m2": pytest.approx(1200)}
    assert "outline has changed" in as_manager.get(f"{AT}{area.uuid}/").content.decode()
    assert "outline has changed" in as_manager.get(AT).content.decode()


def test_only_an_area_for_laterals_takes_a_layout(cast: Cast, carrier: Feature) -> None:
    wish = Wish("parallel", 5, 0, 180)
    drain = DrainWish(0.6, 1 / 200, 0.08, 0.0015, 10, 5)
    with pytest.raises(ValidationError, match="no area for laterals"):
        keep_layout(area=carrier, carrier=None, wish=wish, drain=drain, inputs={}, by=cast.manager)


def test_the_map_panel_tells_the_layout(
    cast: Cast, as_manager: Client, area: Feature, ground: GroundModel
) -> None:
    address = f"/c/first/drainage/feature/{area.uuid}/panel/"
    assert "Lay them out" in as_manager.get(address).content.decode()
    as_manager.post(f"{AT}{area.uuid}/", FIGURES)
    assert "160.0 m" in as_manager.get(address).content.decode()
    lines = as_manager.get(f"{AT}lines.geojson").json()["features"]
    assert [one["geometry"]["type"] for one in lines] == ["MultiLineString"]
    assert len(lines[0]["geometry"]["coordinates"]) == 8
