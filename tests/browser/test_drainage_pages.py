"""The drain pages as they are used: a manager mends a drain, a committee member opens a working."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import DESK, PHONE
from tests.cast import Cast
from tests.drainage.drawn import draw_node, draw_pipe
from worksprog.course.models import Kind, State


def draw(cast: Cast) -> None:
    draw_pipe(cast.club, cast.manager, "P2", (100, 0), (200, 0))
    draw_pipe(
        cast.club, cast.manager, "P1", (0, 0), (100, 0), state=State.PROPOSED,
        upstream_invert_m=None, downstream_invert_m=51.0,
    )  # fmt: skip
    draw_node(cast.club, cast.manager, Kind.OUTFALL, "O1", 200, 0)


@pytest.mark.parametrize("viewport", [DESK, PHONE], ids=["desk", "phone"])
@pytest.mark.django_db(transaction=True)
def test_a_manager_mends_a_drain(
    cast: Cast, page_as: Callable[..., Page], viewport: dict[str, int]
) -> None:
    draw(cast)
    page = page_as(cast.manager, viewport)
    page.goto("/c/first/drainage/")
    expect(page.get_by_text("P1: the upstream level is missing")).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= viewport["width"]
    page.get_by_role("link", name="P1", exact=True).click()
    page.get_by_label("Upstream invert (m)").fill("52")
    page.get_by_role("button", name="Keep and check again").click()
    expect(page.get_by_text("Kept. P1: carries it, 62 % to spare.")).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= viewport["width"]
    page.get_by_role("link", name="Long section to the outfall").click()
    expect(page.get_by_role("heading", name="Long section from head of P1 to O1")).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= viewport["width"]


@pytest.mark.django_db(transaction=True)
def test_a_committee_member_opens_a_working(cast: Cast, page_as: Callable[..., Page]) -> None:
    draw(cast)
    page = page_as(cast.committee)
    page.goto("/c/first/drainage/")
    page.get_by_role("link", name="P2", exact=True).click()
    formula = page.get_by_text("log₁₀")
    expect(formula).to_be_hidden()
    page.get_by_text("Capacity, pipe running full").click()
    expect(formula).to_be_visible()
    expect(page.get_by_role("button", name="Keep and check again")).to_have_count(0)
