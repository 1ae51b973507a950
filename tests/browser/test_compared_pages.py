"""What an estimate would come to, and by whose hands, on the item's sheet in a real browser."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from decimal import Decimal

import pytest
from playwright.sync_api import Page, expect
from shapely.geometry import LineString

from tests.browser.conftest import DESK, PHONE, blocked_on, fits
from tests.cast import Cast
from tests.works.conftest import Works, move
from tests.works.conftest import works as works
from worksprog.works.models import Estimate
from worksprog.works.services import approve_project, build_estimate

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.mark.parametrize("viewport", [DESK, PHONE], ids=["desk", "phone"])
def test_it_tells_what_moved_and_a_click_chooses(
    works: Works, cast: Cast, page_as: Callable[..., Page], viewport: dict[str, int]
) -> None:
    first = build_estimate(item=works.carrier, by=cast.manager)
    approve_project(
        project=works.project, amount=Decimal(1), approved_on=date(2026, 6, 11), by=cast.manager
    )
    move(works.pipe, LineString([(400000, 300000), (400000, 300280)]), cast.manager)
    page = page_as(cast.manager, viewport)
    blocked = blocked_on(page)
    page.goto(f"/c/first/works/projects/{works.project.uuid}/")
    expect(page.get_by_text("Worked out now it would differ by")).to_be_visible()
    page.goto(f"/c/first/works/items/{works.carrier.uuid}/")
    expect(page.get_by_text("Worked out now it would come to")).to_be_visible()
    expect(page.get_by_role("button", name="Choose mixed")).to_be_visible()
    assert fits(page)
    page.get_by_role("link", name="Step by step, and choose a mix").click()
    page.get_by_role("checkbox", name="Make good, rake and seed the strip").check()
    page.get_by_role("button", name="Work out this mix").click()
    expect(page.get_by_role("checkbox", name="Make good, rake and seed the strip")).to_be_checked()
    assert fits(page)
    assert list(Estimate.objects.filter(item=works.carrier)) == [first]
    page.get_by_role("button", name="Choose mixed").click()
    expect(page.get_by_text("Estimate 2 is worked out by these hands")).to_be_visible()
    works.carrier.refresh_from_db()
    assert "make-good" in works.carrier.contract_steps
    page.get_by_role("link", name="compare revision 1 with 2").click()
    expect(page.get_by_text("All lines, GBP before tax")).to_be_visible()
    assert fits(page)
    assert blocked == []


def test_ranges_stand_on_one_line_on_a_phone(
    works: Works, cast: Cast, page_as: Callable[..., Page]
) -> None:
    build_estimate(item=works.carrier, by=cast.manager)
    page = page_as(cast.manager, PHONE)
    page.goto(f"/c/first/works/items/{works.carrier.uuid}/hands/")
    assert fits(page)
    told = page.evaluate("""() => [...document.querySelectorAll("table.hands td small")].map(
      small => {
        const [low, high] = [...small.children].map(one => one.getBoundingClientRect());
        const cell = small.closest("td").getBoundingClientRect();
        const inside = low.left >= cell.left - 1 && high.right <= cell.right + 1;
        return [small.textContent, Math.abs(low.top - high.top) < 2, inside];
      })""")
    assert len(told) >= 6
    assert [one for one in told if not (one[1] and one[2])] == []
    assert "0.0 to 0.0" not in page.locator("table.hands").inner_text()
