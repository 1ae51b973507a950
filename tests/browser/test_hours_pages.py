"""The manager's week and the progress sheet in a real browser."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import DESK, PHONE
from tests.cast import make_cast
from tests.hours.conftest import Site, make_site
from worksprog.hours.models import HourEntry

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def site() -> Site:
    made = make_site(make_cast())
    today = made.cast.club.today()
    monday = today - timedelta(days=today.weekday())
    made.log(hours=15, quantity=24, worked_on=monday, today=today)
    made.log(made.cast.other_staff, hours=8, routine="leaves", worked_on=monday, today=today)
    return made


@pytest.mark.parametrize("viewport", [DESK, PHONE], ids=["desk", "phone"])
def test_ask_about_one_and_approve_the_rest(
    site: Site, page_as: Callable[..., Page], viewport: dict[str, int]
) -> None:
    page = page_as(site.cast.manager, viewport)
    page.goto("/c/first/hours/week/")
    assert page.evaluate("document.documentElement.scrollWidth") <= viewport["width"]
    expect(page.get_by_text("15 h, over 14 h in one day.")).to_be_visible()
    asked = page.locator(".entry", has_text="Lay carrier")
    asked.locator("summary").click()
    asked.get_by_label("What is in question").fill("Fifteen?")
    asked.get_by_role("button", name="Ask").click()
    expect(page.get_by_text("asked: Fifteen?")).to_be_visible()
    page.get_by_role("button", name="Approve all 1 that wait").click()
    expect(page.get_by_text("1 entry approved.")).to_be_visible()
    states = dict(HourEntry.objects.values_list("routine", "state"))
    assert states == {"": "queried", "leaves": "approved"}


@pytest.mark.parametrize("viewport", [DESK, PHONE], ids=["desk", "phone"])
def test_progress_draws_its_curves_within_the_policy(
    site: Site, page_as: Callable[..., Page], viewport: dict[str, int]
) -> None:
    page = page_as(site.cast.committee, viewport)
    complaints: list[str] = []
    page.on(
        "console",
        lambda line: complaints.append(line.text) if line.type in ("error", "warning") else None,
    )
    page.goto("/c/first/hours/progress/")
    for kind in ("hours", "money"):
        chart = page.locator(f"[data-chart={kind}][data-drawn=yes] svg")
        expect(chart).to_be_visible()
        expect(chart).to_contain_text("earned")
    assert page.evaluate("document.documentElement.scrollWidth") <= viewport["width"]
    working = page.locator("details.working").first
    working.locator("summary").click()
    expect(working.get_by_text("Lay carrier C2–C3")).to_be_visible()
    assert complaints == []
