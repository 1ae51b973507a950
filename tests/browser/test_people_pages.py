from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import DESK, PHONE
from tests.cast import Cast


@pytest.mark.parametrize("viewport", [DESK, PHONE], ids=["desk", "phone"])
@pytest.mark.django_db(transaction=True)
def test_club_page_fits_and_adds_a_person(
    cast: Cast, page_as: Callable[..., Page], viewport: dict[str, int]
) -> None:
    page = page_as(cast.manager, viewport)
    page.goto("/c/first/club/")
    assert page.evaluate("document.documentElement.scrollWidth") <= viewport["width"]
    page.fill("#id_email", "nell@first.example")
    page.fill("#id_first_name", "Nell")
    page.fill("#id_last_name", "Ford")
    page.get_by_role("button", name="Give the place").click()
    expect(page.get_by_text("was sent a link to choose a password")).to_be_visible()
