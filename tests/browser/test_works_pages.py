"""A manager costs a job on screen; a committee member reads it on a phone."""

from __future__ import annotations

from datetime import date

import pytest
from shapely.geometry import LineString

from tests.browser.conftest import PHONE
from worksprog.clubs.records import save_record
from worksprog.course.models import Feature, Kind, State
from worksprog.works.models import Item
from worksprog.works.services import (
    create_phase,
    create_programme,
    create_project,
    load_default_price_book,
)

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def project(cast):
    by = cast.manager
    load_default_price_book(club=cast.club, by=by)
    pipe = Feature(
        club=cast.club,
        kind=Kind.PIPE,
        ref="C1",
        state=State.PROPOSED,
        geometry=LineString([(400000, 300000), (400000, 300120)]),
    )
    save_record(pipe, by=by)
    programme = create_programme(
        club=cast.club,
        name="Three winters",
        starts_on=date(2026, 9, 1),
        ends_on=date(2029, 4, 30),
        by=by,
    )
    row = create_project(programme=programme, code="BC", name="Brook carrier", by=by)
    create_phase(project=row, name="Lower carrier", by=by)
    return row


def no_sideways(page) -> bool:
    root = "document.documentElement"
    return bool(page.evaluate(f"{root}.scrollWidth <= {root}.clientWidth"))


def test_a_manager_adds_a_job_and_the_committee_reads_it(project, cast, page_as):
    page = page_as(cast.manager)
    page.goto(f"/c/{cast.club.slug}/works/")
    page.get_by_role("heading", name="BC Brook carrier").get_by_role("link").click()
    page.get_by_role("link", name="Add an item").click()
    page.get_by_role("link", name="Carrier pipe").click()
    page.get_by_label("Name").fill("Lay C1")
    page.get_by_label("Pipe C1 (proposed)").check()
    page.get_by_role("button", name="Add the item").click()
    page.get_by_role("heading", name="Lay C1").wait_for()
    assert page.get_by_text("120 m", exact=True).is_visible()
    item = Item.objects.get(name="Lay C1")
    estimate = item.estimates.get()
    money = f"£{estimate.money_likely:,.0f}"
    assert page.get_by_text(money, exact=True).first.is_visible()

    page.get_by_text("working", exact=True).first.click()
    assert page.get_by_text("quantity × price, to the penny").first.is_visible()
    assert page.get_by_text("No ground can be relied on").is_visible()

    page.get_by_role("link", name="Enter quantities").click()
    page.get_by_label("Pipe, nominal bore (mm)").fill("310")
    page.get_by_role("button", name="Keep and work out").click()
    assert page.get_by_text("choose one of 150").is_visible()
    page.get_by_label("Pipe, nominal bore (mm)").fill("225")
    page.get_by_role("button", name="Keep and work out").click()
    page.get_by_role("heading", name="Lay C1").wait_for()
    estimate.refresh_from_db()
    assert f"£{estimate.money_likely:,.0f}" != money
    assert estimate.lines.get(step="pipe").price.code == "pipe-twinwall-225"

    reader = page_as(cast.committee, PHONE)
    for address in ("", f"items/{item.uuid}/", f"projects/{project.uuid}/", "prices/"):
        reader.goto(f"/c/{cast.club.slug}/works/{address}")
        assert no_sideways(reader), address
    reader.goto(f"/c/{cast.club.slug}/works/items/{item.uuid}/")
    assert reader.get_by_role("cell", name="Lay and level the pipe").first.is_visible()
    assert reader.get_by_role("button", name="Measure and work out again").count() == 0
