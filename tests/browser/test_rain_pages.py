"""Rain as it is used: a table with a slip is mended; a record is brought, looked at and kept."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import DESK, PHONE
from tests.cast import Cast

GRID = "duration, 2, 10\n15 min, 8, 13\n1 h, {slip}, 21\n1 day, 34, 52"
YEARS = "year, 15 min, 1 h\n" + "\n".join(
    f"{1995 + n}, {6 + (n * 7) % 5}, {14 + (n * 11) % 9}" for n in range(24)
)


@pytest.mark.parametrize("viewport", [DESK, PHONE], ids=["desk", "phone"])
@pytest.mark.django_db(transaction=True)
def test_a_table_is_mended_and_kept(
    cast: Cast, page_as: Callable[..., Page], viewport: dict[str, int]
) -> None:
    page = page_as(cast.manager, viewport)
    page.goto("/c/first/drainage/rain/")
    page.get_by_role("link", name="Enter a table").click()
    page.get_by_label("Name").fill("Local")
    page.get_by_label("Depths (mm)").fill(GRID.format(slip="1.3"))
    page.get_by_role("button", name="Read it").click()
    expect(page.get_by_text("1.3 mm in 1 h follows 8 mm in 15 min")).to_be_visible()
    page.get_by_label("Depths (mm)").fill(GRID.format(slip="13"))
    page.get_by_role("button", name="Read it").click()
    page.get_by_role("button", name="Keep this table").click()
    expect(page.get_by_text("Local is kept.")).to_be_visible()
    expect(page.get_by_role("cell", name="52.0 mm/h")).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= viewport["width"]


@pytest.mark.django_db(transaction=True)
def test_a_record_is_brought_and_fitted(cast: Cast, page_as: Callable[..., Page]) -> None:
    page = page_as(cast.manager, PHONE)
    page.goto("/c/first/drainage/rain/gauge/new/")
    page.get_by_label("Name").fill("Yard")
    page.get_by_label("or a file").set_input_files(
        {"name": "yard.csv", "mimeType": "text/csv", "buffer": YEARS.encode()}
    )
    page.get_by_role("button", name="Read it").click()
    expect(page.get_by_text("24 years")).to_be_visible()
    page.get_by_role("button", name="Keep this record").click()
    expect(page.locator('[data-chart="fit"] svg')).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    page.get_by_role("button", name="Keep these depths as a table").click()
    expect(
        page.get_by_text("Fitted to the gauge: Yard, Gumbel by L-moments, 24 years.")
    ).to_be_visible()
