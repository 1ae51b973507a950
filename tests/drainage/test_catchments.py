"""What drains to each reach by the ground, and its taking over."""

from __future__ import annotations

import uuid

import numpy as np
import pytest
import shapely
from django.core.exceptions import ValidationError
from django.test import Client

from tests.cast import Cast
from tests.drainage.drawn import SOUTH, WEST, draw_ditch, draw_pipe
from worksprog.calc.ground import dump_ground, ground_from_grid
from worksprog.course.models import Feature, GroundModel, Kind
from worksprog.course.services import create_feature
from worksprog.drainage.models import DrainReach
from worksprog.drainage.queries.catchments import shares_by_ground
from worksprog.drainage.services import set_reach
from worksprog.drainage.services.catchments import take_ground_catchments

PAGE = "/c/first/drainage/catchments/"


@pytest.fixture
def ground(cast: Cast) -> GroundModel:
    """200 × 100 m on cells of 2 m, falling 1 in 50 to the south."""
    levels = 50 + 0.04 * np.tile(np.arange(51.0)[:, None], (1, 101))
    made = ground_from_grid(west=WEST, south=SOUTH, cell_m=2.0, levels=levels)
    return GroundModel.objects.create(
        club=cast.club, method=GroundModel.Method.GRID, data=dump_ground(made), count=made.count,
        lowest_m=50, highest_m=52,
    )  # fmt: skip


@pytest.fixture
def across(cast: Cast, ground: GroundModel) -> tuple[Feature, Feature]:
    """A pipe across the upper half of the ground's west, a ditch across all of it below."""
    upper = draw_pipe(cast.club, cast.manager, "P1", (-5, 60.5), (100.5, 60.5))
    lower = draw_ditch(cast.club, cast.manager, "D1", (-5, 20.5), (205, 20.5))
    return upper, lower


def test_each_reach_gets_its_own_share(cast: Cast, across: tuple[Feature, Feature]) -> None:
    shares = shares_by_ground(cast.club)
    ditch, pipe = shares.reaches
    assert (ditch.feature.ref, pipe.feature.ref) == ("D1", "P1")
    # 51 columns of 21 rows for the pipe's row and above; one more row falls back into the trench.
    assert pipe.area_ha == pytest.approx(51 * 22 * 4 / 10_000, abs=0.01)
    assert ditch.area_ha == pytest.approx((51 * 20 + 50 * 42) * 4 / 10_000, abs=0.03)
    assert pipe.path_m == pytest.approx(40, abs=1.1)
    assert pipe.fall_m == pytest.approx(0.8, abs=0.05)
    whole = pipe.area_ha + ditch.area_ha + shares.rest_ha
    assert whole == pytest.approx(shares.whole_ha, abs=0.002)
    assert pipe.outside_m == pytest.approx(4, abs=1)
    assert pipe.edge_m > 100


def test_taken_over_on_the_word(
    cast: Cast, across: tuple[Feature, Feature], as_manager: Client, as_staff: Client
) -> None:
    upper, lower = across
    assert "differs" in as_manager.get(PAGE).content.decode()
    assert as_staff.post(PAGE, {"all": "1"}).status_code == 403
    as_manager.post(PAGE, {"reach": [str(upper.uuid)]})
    row = DrainReach.objects.get(feature=upper)
    share = next(one for one in shares_by_ground(cast.club).reaches if one.feature == upper)
    assert row.catchment_from == "ground"
    assert (row.catchment_ha, row.flow_path_m, row.flow_path_fall_m) == (
        share.area_ha, share.path_m, share.fall_m,
    )  # fmt: skip
    assert share.taken
    assert DrainReach.objects.get(feature=lower).catchment_ha == 2.0
    answer = as_manager.post(PAGE, {"all": "1"}, follow=True)
    assert "Taken over for 1 reach;" in answer.content.decode()
    answer = as_manager.post(PAGE, {"all": "1"}, follow=True)
    assert "on the record already" in answer.content.decode()


def test_a_figure_entered_by_hand_is_no_longer_the_grounds(
    cast: Cast, across: tuple[Feature, Feature]
) -> None:
    upper, _ = across
    take_ground_catchments(club=cast.club, by=cast.manager, reaches=[upper.uuid])
    assert set_reach(feature=upper, by=cast.manager, ks_mm=1.5).catchment_from == "ground"
    assert set_reach(feature=upper, by=cast.manager, catchment_ha=9.0).catchment_from == "entered"


def test_a_pond_gives_to_the_reach_that_leaves_it(
    cast: Cast, ground: GroundModel, across: tuple[Feature, Feature]
) -> None:
    before = {one.feature.ref: one.area_ha for one in shares_by_ground(cast.club).reaches}
    create_feature(
        club=cast.club, kind=Kind.POND, by=cast.manager, ref="PD1",
        geometry=shapely.box(WEST + 140, SOUTH + 60, WEST + 160, SOUTH + 70),
    )  # fmt: skip
    assert shares_by_ground(cast.club).pond_ha > 0
    draw_pipe(cast.club, cast.manager, "P2", (150, 60.2), (150, 50))
    after = {one.feature.ref: one for one in shares_by_ground(cast.club).reaches}
    assert shares_by_ground(cast.club).pond_ha == 0
    assert after["P2"].ponds == ("pond PD1",)
    # What the pond and its outlet take is no longer the ditch's.
    assert after["P2"].area_ha + after["D1"].area_ha == pytest.approx(before["D1"], abs=0.002)
    assert after["P2"].area_ha > 0.0042 * 18


def test_what_cannot_be_is_named(cast: Cast, as_manager: Client) -> None:
    assert "No pipe or ditch is drawn yet" in as_manager.get(PAGE).content.decode()
    draw_pipe(cast.club, cast.manager, "P1", (0, 0), (50, 0))
    assert "There is no ground yet" in as_manager.get(PAGE).content.decode()
    answer = as_manager.post(PAGE, {"all": "1"}, follow=True)
    assert "There is no ground yet" in answer.content.decode()


def test_a_reach_off_the_ground_keeps_what_it_has(
    cast: Cast, across: tuple[Feature, Feature], as_manager: Client
) -> None:
    far = draw_pipe(cast.club, cast.manager, "P9", (900, 900), (950, 900), catchment_ha=0.7)
    assert "lies outside the surveyed ground" in as_manager.get(PAGE).content.decode()
    with pytest.raises(ValidationError, match="P9: outside"):
        take_ground_catchments(club=cast.club, by=cast.manager, reaches=[across[0].uuid, far.uuid])
    assert DrainReach.objects.get(feature=across[0]).catchment_from == "entered"
    take_ground_catchments(club=cast.club, by=cast.manager)
    assert DrainReach.objects.get(feature=far).catchment_ha == 0.7
    with pytest.raises(ValidationError, match="no longer in the network"):
        take_ground_catchments(club=cast.club, by=cast.manager, reaches=[uuid.uuid4()])
    with pytest.raises(ValidationError, match="nothing was taken"):
        take_ground_catchments(club=cast.club, by=cast.manager, reaches=[])
    answer = as_manager.post(PAGE, {"reach": ["nonsense"]}, follow=True)
    assert "tick again" in answer.content.decode()
