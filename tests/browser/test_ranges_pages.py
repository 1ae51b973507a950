"""The sheet of hours and money by chance, at a desk and on a phone."""

from __future__ import annotations

from datetime import date

import pytest
from shapely.geometry import LineString

from tests.browser.conftest import DESK, PHONE, blocked_on, fits
from worksprog.clubs.records import save_record
from worksprog.course.models import Feature, Kind, State
from worksprog.works.models import WorkKind
from worksprog.works.services import (
    build_estimates,
    create_item,
    create_phase,
    create_programme,
    create_project,
    load_default_price_book,
)

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def programme(cast):
    by = cast.manager
    load_default_price_book(club=cast.club, by=by)
    made = create_programme(
        club=cast.club,
        name="Three winters",
        starts_on=date(2026, 9, 1),
        ends_on=date(2029, 4, 30),
        by=by,
    )
    for code in ("ED", "WD"):
        ditch = Feature(
            club=cast.club,
            kind=Kind.DITCH,
            ref=f"{code}1",
            state=State.PROPOSED,
            geometry=LineString([(400000, 300000), (400000, 300120)]),
        )
        save_record(ditch, by=by)
        project = create_project(programme=made, code=code, name=f"Ditch {code}", by=by)
        create_item(
            phase=create_phase(project=project, name="All of it", by=by),
            kind=WorkKind.DITCH_DUG,
            name=f"Dig {code}1",
            features=[ditch],
            parameters={"mean_depth_m": 0.9},
            by=by,
        )
    assert build_estimates(programme=made, by=by).not_built == ()
    return made


@pytest.mark.parametrize("viewport", [DESK, PHONE], ids=["desk", "phone"])
def test_charts_are_drawn_and_a_project_is_chosen(viewport, cast, programme, page_as):
    page = page_as(cast.manager, viewport)
    blocked = blocked_on(page)
    page.goto(f"/c/{cast.club.slug}/works/ranges/")
    charts = page.locator("[data-chart][data-drawn]")
    page.wait_for_function(
        "document.querySelectorAll('[data-chart]').length > 3 && "
        "[...document.querySelectorAll('[data-chart]')].every(one => one.dataset.drawn)"
    )
    assert charts.count() == page.locator("[data-chart]").count()
    assert page.locator('[data-chart="money"] svg').get_by_text("P80", exact=False).count() == 1
    assert fits(page)
    for place in page.locator("[data-chart] svg").all():
        assert place.bounding_box()["width"] <= viewport["width"]
    page.get_by_label("Show", exact=True).select_option(label="ED Ditch ED")
    page.get_by_role("button", name="Show", exact=True).click()
    page.get_by_role("heading", name="ED Ditch ED: what drives the spread").wait_for()
    assert fits(page) and blocked == []


def test_another_sway_is_set_and_widens_the_range(cast, programme, page_as):
    page = page_as(cast.manager)
    page.goto(f"/c/{cast.club.slug}/works/ranges/")
    before = page.locator(".keyfigures .big-fig").nth(2).inner_text()
    page.get_by_role("link", name="Change what is assumed").first.click()
    page.get_by_label("Every figure with every other").fill("0.6")
    page.get_by_role("button", name="Keep it").click()
    assert "at most 1 can be shared out" in page.locator("main").inner_text()
    for label in ("ground of their project", "weather of their winter", "crew's hands", "supplier"):
        page.get_by_label(label, exact=False).fill("0.3")
    page.get_by_role("button", name="Keep it").click()
    page.get_by_role("heading", name="Hours and money by chance").wait_for()
    after = page.locator(".keyfigures .big-fig").nth(2).inner_text()

    def pounds(text: str) -> int:
        return int(text.replace("£", "").replace(",", ""))

    assert pounds(after) > pounds(before)
