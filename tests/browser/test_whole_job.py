"""The whole job on the demonstration club, as each of its people: survey, drain, cost, date, hours, paper."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import DESK, PHONE
from worksprog.clubs.models import User
from worksprog.course.models import Feature, Survey
from worksprog.demo.build import build_demo_club
from worksprog.demo.ground import EAST, NORTH, level
from worksprog.hours.models import HourEntry
from worksprog.planning.models import PlannedItem
from worksprog.reports.models import Report
from worksprog.works.models import Item, Project

pytestmark = pytest.mark.django_db(transaction=True)
CLUB = "/c/ashlode-vale"
TOP, FOOT = (560.0, 262.0), (644.0, 236.0)  # a new branch into chamber C7, in local metres


def _levels(folder: Path) -> Path:
    """Sixty extra levels, two of them as a file from the field may have them."""
    rows = ["easting;northing;level;code"]
    for k in range(60):
        x, y = 560.0 + (k % 10) * 8, 230.0 + (k // 10) * 7
        height = f"{float(level(x, y)):.3f}".replace(".", ",")
        rows.append(f"{EAST + x:.1f};{NORTH + y:.1f};{height};GL".replace(".", ","))
    rows.append(f"{EAST + 600:.0f};{NORTH + 250:.0f};;GL")
    rows.append(f"{EAST + 602:.0f};{NORTH + 250:.0f};no level;GL")
    path = folder / "extra levels.csv"
    path.write_text("\ufeff" + "\n".join(rows), encoding="utf-8")
    return path


def _bring_in_a_survey(page: Page, folder: Path) -> None:
    page.goto(f"{CLUB}/course/surveys/")
    page.get_by_role("link", name="Bring in").first.click()
    page.get_by_label("spot heights").check()
    page.set_input_files("input[type=file]", _levels(folder))
    page.get_by_label("Name").fill("Extra levels by 9")
    page.locator("input[name=surveyed_on]").fill("2026-11-20")
    page.get_by_role("button", name="Read the file").click()
    expect(page.locator("main")).to_contain_text("60")
    expect(page.locator("main")).to_contain_text("no level")
    assert not Survey.objects.filter(name="Extra levels by 9").exists()
    page.get_by_role("button", name=re.compile("^Accept")).first.click()
    expect(page.locator("main")).to_contain_text("Extra levels by 9")
    assert Survey.objects.get(name="Extra levels by 9").count == 60


def _draw_a_drain(page: Page) -> Feature:
    page.goto(f"{CLUB}/course/map/")
    page.wait_for_selector("#map[data-ready=yes]")
    page.select_option("#draw-kind", "pipe")
    page.click("#draw-typed")
    for x, y in (TOP, FOOT):
        page.keyboard.type(f"{EAST + x} {NORTH + y}")
        page.keyboard.press("Enter")
    page.fill("#id_ref", "C9–C7")
    page.click("#draw-form button.main")
    expect(page.locator("#side-feature h1")).to_contain_text("C9–C7")
    return Feature.objects.get(ref="C9–C7")


def _check_it(page: Page, pipe: Feature) -> None:
    page.goto(f"{CLUB}/drainage/reach/{pipe.uuid}/")
    foot = Feature.objects.get(ref="C7").node.invert_level_m
    assert foot is not None
    page.locator("input[name=upstream_invert_m]").fill(f"{foot + 1.1:.2f}")
    page.locator("input[name=downstream_invert_m]").fill(f"{foot:.2f}")
    page.locator("input[name=inside_diameter_mm]").fill("225")
    page.locator("input[name=catchment_ha]").fill("0.7")
    page.locator("main form button.main, aside form button.main").first.click()
    expect(page.locator("body")).to_contain_text("carries it")
    page.locator("details.working > summary").first.click()
    expect(page.locator("details[open] table").first).to_be_visible()


def _cost_and_date_it(page: Page) -> Item:
    page.goto(f"{CLUB}/works/")
    page.get_by_role("heading", name="H8 Hole 8 drain").get_by_role("link").click()
    page.get_by_role("link", name="Add an item").first.click()
    page.get_by_role("link", name="Carrier pipe").click()
    page.get_by_label("Name").fill("Lay branch C9–C7")
    page.get_by_label("Pipe C9–C7 (proposed)").check()
    page.get_by_role("button", name="Add the item").click()
    expect(page.get_by_role("heading", name="Lay branch C9–C7")).to_be_visible()
    item = Item.objects.get(name="Lay branch C9–C7")
    estimate = item.estimates.get(is_live=True)
    assert estimate.quantity == pytest.approx(87.9, abs=0.1)
    expect(page.locator("main")).to_contain_text(f"£{estimate.money_likely:,.0f}")
    page.goto(f"{CLUB}/planning/")
    with page.expect_navigation():
        page.get_by_role("button", name="Make the plan again").click()
    planned = PlannedItem.objects.get(plan__is_live=True, item=item)
    below = PlannedItem.objects.get(plan__is_live=True, item__name="Lay carrier O3–C7")
    assert planned.start
    assert below.finish
    assert planned.start > below.finish, "never before the drain below it"
    return item


def _log_from_the_phone(page: Page) -> HourEntry:
    page.goto(f"{CLUB}/hours/")
    expect(page.locator("html[data-ready=yes]")).to_be_attached()
    page.locator("#jobs").get_by_role("button", name="Lay carrier C2–C3").click()
    page.get_by_role("button", name="Half an hour less").click()
    page.locator("#save").click()
    expect(page.locator("#say")).to_contain_text("Saved")
    expect(page.locator("#standing")).not_to_contain_text("waiting")
    return HourEntry.objects.get(
        person__user__email="staff@ashlodevale.example", item__isnull=False, worked_on=date.today()
    )


def _approve(page: Page, entry: HourEntry) -> None:
    page.goto(f"{CLUB}/hours/week/")
    page.get_by_role("button", name=re.compile("^Approve all")).click()
    expect(page.get_by_role("button", name=re.compile("^Approve all"))).to_have_count(0)
    entry.refresh_from_db()
    assert entry.state == "approved"


def _issue_a_paper(page: Page) -> Report:
    page.goto(f"{CLUB}/reports/")
    page.get_by_role("link", name="Draft a report").click()
    page.get_by_role("button", name="Keep the draft").click()
    expect(page.get_by_role("link", name="Issue it …")).to_be_visible()
    page.get_by_role("link", name="Issue it …").click()
    page.get_by_role("button", name="Issue it now").dblclick()
    page.get_by_role("link", name="See what came of it").click()
    expect(page.locator("body")).to_contain_text("No. 2")
    assert Report.objects.filter(state="issued").count() == 2
    return Report.objects.get(number=2)


def _decide(page: Page) -> None:
    page.goto(f"{CLUB}/reports/")
    page.get_by_role("link", name=re.compile("No. 1")).first.click()
    expect(page.locator("main")).to_contain_text("Release £13,600")
    page.goto(f"{CLUB}/reports/decisions/")
    first = page.locator("article.decision", has_text="Release £13,600")
    first.locator("input[value=agreed]").check()
    first.get_by_role("button").click()
    expect(page.locator("main")).to_contain_text("A. Crowe")
    assert Project.objects.get(code="UC").approved == 13600


def test_from_a_survey_to_the_committees_paper(
    page_as: Callable[..., Page], tmp_path: Path
) -> None:
    build_demo_club()
    people = {user.email.partition("@")[0]: user for user in User.objects.all()}

    manager = page_as(people["manager"], DESK)
    _bring_in_a_survey(manager, tmp_path)
    pipe = _draw_a_drain(manager)
    _check_it(manager, pipe)
    _cost_and_date_it(manager)

    entry = _log_from_the_phone(page_as(people["staff"], PHONE))
    _approve(manager, entry)
    report = _issue_a_paper(manager)
    pdf = manager.request.get(f"{CLUB}/reports/{report.uuid}/report.pdf")
    assert pdf.ok
    assert pdf.body().startswith(b"%PDF-")

    committee = page_as(people["committee"], PHONE)
    _decide(committee)
    assert committee.request.get(f"{CLUB}/works/prices/").status in (200, 403)
    assert committee.goto(f"{CLUB}/hours/week/").status == 403  # type: ignore[union-attr]
