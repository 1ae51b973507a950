"""A place tapped on the page of water, and shares taken over, in a real browser at both sizes."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import DESK, PHONE, blocked_on, fits
from tests.cast import Cast
from tests.course.test_import_services import begin, table
from tests.drainage.drawn import draw_pipe
from worksprog.calc.ground import dump_ground, ground_from_grid
from worksprog.course import services_surveys
from worksprog.course.models import GroundModel
from worksprog.course.services_water import build_water
from worksprog.drainage.models import DrainReach

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.mark.parametrize("viewport", [DESK, PHONE], ids=["desk", "phone"])
def test_a_tapped_place_shows_its_catchment(
    cast: Cast, page_as: Callable[..., Page], viewport: dict[str, int]
) -> None:
    survey = services_surveys.accept_import(draft=begin(cast, table()), by=cast.manager)
    model = services_surveys.build_ground(club=cast.club, surveys=[survey], by=cast.manager)
    build_water(model=model, by=cast.manager, path_from_m2=100)
    page = page_as(cast.manager, viewport)
    blocked = blocked_on(page)
    page.goto("/c/first/course/ground/water/")
    expect(page.locator("path.flow-path").first).to_be_attached()
    page.locator("[data-layer=distance]").check()
    expect(page.get_by_alt_text("Where levels are a guess")).to_be_attached()
    page.locator("#survey-map").click()
    expect(page.get_by_text("drain to it over the ground")).to_be_visible()
    expect(page.locator("path.catchment-drawn")).to_be_attached()
    assert fits(page)
    assert blocked == []


def test_shares_are_taken_over(cast: Cast, page_as: Callable[..., Page]) -> None:
    levels = 50 + 0.04 * np.tile(np.arange(51.0)[:, None], (1, 101))
    made = ground_from_grid(west=451000, south=231000, cell_m=2.0, levels=levels)
    GroundModel.objects.create(
        club=cast.club, method=GroundModel.Method.GRID, data=dump_ground(made), count=made.count
    )
    pipe = draw_pipe(cast.club, cast.manager, "P1", (0, 40), (200, 40))
    page = page_as(cast.manager, PHONE)
    page.goto("/c/first/drainage/catchments/")
    box = page.get_by_label("Take over for pipe P1")
    expect(box).not_to_be_checked()
    box.check()
    page.get_by_role("button", name="Take over those ticked").click()
    expect(page.get_by_text("Taken over for 1 reach;")).to_be_visible()
    assert fits(page)
    assert DrainReach.objects.get(feature=pipe).catchment_from == "ground"
