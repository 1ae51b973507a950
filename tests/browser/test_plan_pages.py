"""The manager plans a winter on screen; the committee reads it on a phone and with no mouse."""

from __future__ import annotations

import datetime as dt

import pytest

from tests.browser.conftest import PHONE
from worksprog.clubs.records import save_record
from worksprog.planning.models import Plan
from worksprog.planning.services import load_default_windows, load_usual_year, make_plan
from worksprog.works.models import Estimate
from worksprog.works.services import (
    create_item,
    create_phase,
    create_programme,
    create_project,
    link_items,
)

pytestmark = pytest.mark.django_db(transaction=True)
STARTS = dt.date(2026, 9, 1)


@pytest.fixture
def programme(cast, monkeypatch):
    monkeypatch.setattr("worksprog.clubs.models.Club.today", lambda club: dt.date(2026, 9, 7))
    by = cast.manager
    load_default_windows(club=cast.club, by=by)
    load_usual_year(club=cast.club, crew_h=222, by=by)
    row = create_programme(
        club=cast.club, name="Two winters", starts_on=STARTS, ends_on=dt.date(2028, 8, 31), by=by
    )
    project = create_project(programme=row, code="BC", name="Brook carrier", by=by)
    phase = create_phase(project=project, name="Lower", by=by)
    jobs = []
    for name, kind, hours in [
        ("Dig the lower ditch", "ditch_dug", 90),
        ("Lay the carrier", "carrier_pipe", 60),
        ("Thin the copse", "tree_thinning", 40),
    ]:
        item = create_item(phase=phase, kind=kind, name=name, by=by)
        save_record(Estimate(club=cast.club, item=item, labour_likely_h=hours, made_by=by), by=by)
        jobs.append(item)
    link_items(first=jobs[0], then=jobs[1], by=by)
    return row


def fits(page) -> bool:
    return bool(page.evaluate("document.documentElement.scrollWidth <= innerWidth"))


def complaints_of(page) -> list[str]:
    found: list[str] = []
    page.on(
        "console",
        lambda message: (
            found.append(message.text) if message.type in ("error", "warning") else None
        ),
    )
    return found


def test_the_manager_plans_tries_other_hours_and_keeps_a_baseline(programme, cast, page_as):
    page = page_as(cast.manager)
    complaints = complaints_of(page)
    page.goto(f"/c/{cast.club.slug}/planning/")
    page.get_by_role("button", name="Make the plan").click()
    page.get_by_text("The plan is made: 3 jobs have dates.").wait_for()
    chart = page.locator("[data-chart=winters] svg")
    chart.wait_for()
    assert chart.get_by_text("Lay the carrier", exact=False).count() == 1
    assert page.locator("[data-chart=hours] svg").count() == 1

    page.get_by_label("Job", exact=True).select_option(label="Dig the lower ditch")
    page.get_by_label("Hours still to be worked").fill("190")
    page.get_by_role("button", name="See what would move").click()
    page.get_by_text("3 jobs would move").wait_for()
    assert page.locator("[data-tried] tbody tr").count() == 3
    assert Plan.objects.count() == 1

    page.get_by_label("Keep this plan as a baseline named").fill("Agreed in May")
    page.get_by_role("button", name="Keep as baseline").click()
    page.get_by_text("Kept for ever as “Agreed in May”.").wait_for()
    estimate = Estimate.objects.get(item__name="Dig the lower ditch")
    estimate.labour_likely_h = 190
    save_record(estimate, by=cast.manager)
    page.reload()
    page.get_by_text("changed after this plan was made").wait_for()
    page.get_by_role("button", name="Make the plan again").click()
    page.get_by_role("heading", name="What moved").wait_for()
    row = page.locator("table.plan-dates tr", has_text="Lay the carrier")
    assert "later" in row.inner_text()
    assert complaints == []


def test_the_committee_reads_the_plan_on_a_phone(programme, cast, page_as):
    make_plan(programme=programme, by=cast.manager, today=dt.date(2026, 9, 7))
    page = page_as(cast.committee, PHONE)
    complaints = complaints_of(page)
    for sheet in ("", "crew/", "windows/"):
        page.goto(f"/c/{cast.club.slug}/planning/{sheet}")
        if not sheet:
            page.locator("[data-chart=winters] svg").wait_for()
        assert fits(page)
    page.goto(f"/c/{cast.club.slug}/planning/")
    assert page.get_by_role("button", name="Make the plan again").count() == 0
    link = page.locator("table.plan-dates").get_by_role("link", name="Thin the copse")
    link.focus()
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="Thin the copse").wait_for()
    page.get_by_text("1 September to 29 February").wait_for()
    assert fits(page)
    assert complaints == []
