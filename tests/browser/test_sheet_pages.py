"""The long section as it is read with a pointer, a keyboard and a thumb; the table to set out by."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import DESK, PHONE
from tests.browser.test_drainage_pages import draw
from tests.cast import Cast
from tests.drainage.drawn import draw_node, draw_pipe
from worksprog.course.models import Kind


def reading(page: Page, name: str) -> str:
    return page.locator(f'[data-reads="{name}"]').inner_text()


@pytest.mark.parametrize("viewport", [DESK, PHONE], ids=["desk", "phone"])
@pytest.mark.django_db(transaction=True)
def test_pointing_and_sliding_read_the_section(
    cast: Cast, page_as: Callable[..., Page], viewport: dict[str, int]
) -> None:
    top = draw_pipe(
        cast.club, cast.manager, "P1", (0, 0), (100, 0), upstream_invert_m=52.0,
        downstream_invert_m=51.0,
    )  # fmt: skip
    draw_pipe(cast.club, cast.manager, "P2", (100, 0), (200, 0))
    draw_node(cast.club, cast.manager, Kind.OUTFALL, "O1", 200, 0)
    page = page_as(cast.committee, viewport)
    page.goto(f"/c/first/drainage/reach/{top.uuid}/long-section/")
    slider = page.get_by_role("slider")
    slider.focus()
    assert reading(page, "chainage") == "200.0 m"
    assert reading(page, "invert") == "52.00 m"
    for _ in range(20):
        slider.press("ArrowRight")
    assert reading(page, "chainage") == "190.0 m"
    assert reading(page, "invert") == "51.90 m"
    slider.press("End")
    assert (reading(page, "chainage"), reading(page, "invert")) == ("0.0 m", "50.00 m")
    assert "invert 50.00 m" in slider.get_attribute("aria-valuetext")

    drawing = page.locator("[data-section] svg")
    place = drawing.bounding_box()
    left, right, *_ = (float(part) for part in drawing.get_attribute("data-frame").split())
    per_px = place["width"] / 900
    page.mouse.move(place["x"] + (left + (right - left) / 4) * per_px, place["y"] + 60)
    assert abs(float(reading(page, "chainage").split()[0]) - 150) < 1.5
    assert reading(page, "drain") == "P1, 300 mm pipe"
    assert page.evaluate("document.documentElement.scrollWidth") <= viewport["width"]


@pytest.mark.parametrize("viewport", [DESK, PHONE], ids=["desk", "phone"])
@pytest.mark.django_db(transaction=True)
def test_from_the_section_to_its_sheets_and_stakes(
    cast: Cast, page_as: Callable[..., Page], viewport: dict[str, int]
) -> None:
    draw(cast)
    page = page_as(cast.manager, viewport)
    page.goto("/c/first/drainage/")
    page.get_by_role("link", name="P2", exact=True).click()
    page.get_by_role("link", name="Long section to the outfall").click()
    page.get_by_role("link", name="Sheets to scale, PDF and SVG").click()
    page.get_by_label("Paper").select_option("A4")
    page.get_by_label("Scale along").select_option("500")
    page.get_by_role("button", name="Draw").click()
    expect(page.get_by_text("1 sheet of A4, 1:500 along")).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= viewport["width"]
    page.get_by_role("link", name="Setting out").click()
    page.get_by_label("A station every (m)").fill("25")
    page.get_by_label("Level of the bench mark (m)").fill("52.5")
    page.get_by_role("button", name="Set out").click()
    expect(page.get_by_role("alert")).to_contain_text("needs both")
    page.get_by_label("Staff read on it (m)").fill("1.25")
    page.get_by_role("button", name="Set out").click()
    expect(page.get_by_text("Height of the line of sight: 52.500 + 1.250")).to_be_visible()
    assert page.locator("table.stakes tbody tr").count() == 5
    assert page.evaluate("document.documentElement.scrollWidth") <= viewport["width"]
