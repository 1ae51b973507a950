"""A pond is described and a rain led through it, on a desk and on a phone."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect
from shapely import Polygon

from tests.browser.conftest import DESK, PHONE
from tests.cast import Cast
from tests.drainage.drawn import SOUTH, WEST, draw_node, draw_pipe
from worksprog.course.models import Kind, State
from worksprog.course.services import create_feature


@pytest.mark.parametrize("viewport", [DESK, PHONE], ids=["desk", "phone"])
@pytest.mark.django_db(transaction=True)
def test_a_pond_and_a_rain(
    cast: Cast, page_as: Callable[..., Page], viewport: dict[str, int]
) -> None:
    corners = ((100, -10), (125, -10), (125, 10), (100, 10))
    create_feature(
        club=cast.club, kind=Kind.POND, by=cast.manager, ref="PD1", state=State.EXISTING,
        geometry=Polygon([(WEST + x, SOUTH + y) for x, y in corners]),
    )  # fmt: skip
    draw_pipe(cast.club, cast.manager, "U1", (0, 0), (100, 0), inside_diameter_mm=450.0)
    draw_pipe(
        cast.club, cast.manager, "L1", (125, 0), (220, 0), upstream_invert_m=49.5,
        downstream_invert_m=48.5, inside_diameter_mm=150.0, catchment_ha=0.0,
    )  # fmt: skip
    draw_node(cast.club, cast.manager, Kind.OUTFALL, "O1", 220, 0)

    page = page_as(cast.manager, viewport)
    page.goto("/c/first/drainage/ponds/")
    page.get_by_role("link", name="Pond PD1").click()
    page.get_by_label("Bank (m)", exact=True).fill("51")
    page.get_by_role("button", name="Fill the table below").click()
    first = page.get_by_role("group", name="Outlet 1")
    first.get_by_label("Kind").select_option("pipe")
    first.get_by_label("Invert or crest (m)").fill("52")
    first.get_by_label("Inside diameter (mm)").fill("150")
    page.get_by_role("button", name="Keep the pond").click()
    expect(page.get_by_text("lies at or above the bank, 51.00 m")).to_be_visible()
    first.get_by_label("Invert or crest (m)").fill("49.6")
    page.get_by_role("button", name="Keep the pond").click()
    expect(page.get_by_role("img", name="Volume by level of PD1")).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= viewport["width"]

    page.get_by_role("link", name="Lead a storm through the network").click()
    page.get_by_role("button", name="Lead it through").click()
    expect(page.get_by_text("it agrees within")).to_be_visible()
    for chart in ("rain", "flow-0", "pond-0", "level-0"):
        expect(page.locator(f"[data-chart={chart}] svg")).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= viewport["width"]
