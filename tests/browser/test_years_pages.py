"""Costs by year: drawn and readable at both sizes, and a class set on screen."""

from __future__ import annotations

from datetime import date

import pytest
from shapely.geometry import LineString

from tests.browser.conftest import PHONE
from worksprog.clubs.records import save_record
from worksprog.course.models import Feature, Kind, State
from worksprog.works.models import Item, WorkKind
from worksprog.works.services import (
    build_estimate,
    create_item,
    create_phase,
    create_programme,
    create_project,
    load_default_price_book,
)

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def item(cast) -> Item:
    by = cast.manager
    load_default_price_book(club=cast.club, by=by)
    line = LineString([(400000, 300000), (400000, 300120)])
    path = Feature(club=cast.club, kind=Kind.PATH, state=State.PROPOSED, geometry=line)
    save_record(path, by=by)
    programme = create_programme(
        club=cast.club,
        name="Three winters",
        starts_on=date(2026, 9, 1),
        ends_on=date(2029, 4, 30),
        by=by,
    )
    project = create_project(programme=programme, code="PA", name="Paths", by=by)
    phase = create_phase(project=project, name="First", by=by)
    made = create_item(phase=phase, kind=WorkKind.PATH, name="Path to 3", features=[path], by=by)
    made.started_on, made.finished_on = date(2027, 3, 22), date(2027, 4, 9)
    save_record(made, by=by)
    build_estimate(item=made, by=by)
    return made


def no_sideways(page) -> bool:
    root = "document.documentElement"
    return bool(page.evaluate(f"{root}.scrollWidth <= {root}.clientWidth"))


def test_the_years_are_drawn_and_a_class_is_set(item, cast, page_as):
    page = page_as(cast.manager)
    page.goto(f"/c/{cast.club.slug}/works/years/")
    page.locator("[data-chart=years][data-drawn=yes] svg").wait_for()
    drawn = page.locator("[data-chart=years] svg")
    assert drawn.get_by_text("2026/27", exact=True).count() == 1
    assert drawn.get_by_text("2027/28", exact=True).count() == 1
    page.get_by_text("The year 2026/27").click()
    assert page.get_by_text("escalation, straight-line check").first.is_visible()
    page.get_by_role("link", name="Change allowance and contingency").click()
    page.get_by_label("Design allowance").fill("10")
    page.get_by_role("button", name="Keep these").click()
    page.get_by_role("heading", name="Costs by financial year").wait_for()

    page.goto(f"/c/{cast.club.slug}/works/items/{item.uuid}/")
    page.get_by_role("link", name="its class").click()
    page.get_by_label("Class").select_option("3")
    page.get_by_role("button", name="Keep the class").click()
    page.get_by_text("Set by the manager").wait_for()

    reader = page_as(cast.committee, PHONE)
    for address in ("years/", f"items/{item.uuid}/class/"):
        reader.goto(f"/c/{cast.club.slug}/works/{address}")
        assert no_sideways(reader), address
    assert reader.get_by_role("button", name="Keep the class").count() == 0
