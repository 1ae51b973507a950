"""A promise is reckoned from the log on screen; a committee member reads its worth on a phone."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from shapely.geometry import box

from tests.browser.conftest import PHONE
from tests.browser.test_works_pages import no_sideways
from worksprog.clubs.records import save_record
from worksprog.course.models import Feature, Kind
from worksprog.hours.models import HourEntry
from worksprog.works.models import Benefit
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
def project(cast):
    by = cast.manager
    load_default_price_book(club=cast.club, by=by)
    woods = [
        save_record(
            Feature(
                club=cast.club, kind=Kind.WOOD, ref=ref, geometry=box(0, 0, 60, 20), stems=stems
            ),
            by=by,
        )
        for ref, stems in (("W1", 50), ("W2", 150))
    ]
    today = cast.club.today()
    programme = create_programme(
        club=cast.club,
        name="Three winters",
        starts_on=today,
        ends_on=today + timedelta(days=1000),
        by=by,
    )
    row = create_project(programme=programme, code="CT", name="Copse thinning", by=by)
    phase = create_phase(project=row, name="First winter", by=by)
    item = create_item(
        phase=phase, kind="tree_thinning", name="Thin W1", features=woods[:1], by=by,
        parameters={"stems": 20}, not_before=date(today.year, 1, 1),
    )  # fmt: skip
    build_estimate(item=item, by=by)
    monday = today - timedelta(days=today.weekday())
    HourEntry.objects.bulk_create(
        HourEntry(
            club=cast.club,
            person=cast.membership(cast.staff),
            routine="leaves",
            worked_on=monday - timedelta(weeks=n),
            hours=20,
        )
        for n in range(1, 53)
    )
    return row


def test_a_promise_from_the_log_and_its_worth(project, cast, page_as):
    page = page_as(cast.manager)
    page.goto(f"/c/{cast.club.slug}/works/projects/{project.uuid}/")
    page.get_by_role("link", name="Add a promise").click()
    page.get_by_role("button", name="Take 104 h").click()
    assert page.get_by_label("Hours a year, low").input_value() == "52"
    assert page.get_by_label("Hours a year, high").input_value() == "156"
    assert "20 stems to fell of 200" in page.get_by_label("How it was reckoned").input_value()
    page.get_by_label("Begins on").fill(str(cast.club.today()))
    page.get_by_role("button", name="Keep the promise").click()
    page.get_by_text("104 h of routine work a year").wait_for()
    assert Benefit.objects.get().hours_likely == 104

    phone = page_as(cast.committee, PHONE)
    phone.goto(f"/c/{cast.club.slug}/works/worth/")
    phone.locator('[data-chart="years"][data-drawn] svg').wait_for()
    phone.locator('[data-chart="swings"][data-drawn] svg').wait_for()
    assert phone.get_by_text("An hour saved is money only when").first.is_visible()
    assert no_sideways(phone)
    assert phone.get_by_role("link", name="Change what the money rests on").count() == 0
    phone.get_by_role("link", name="Measured against promised").click()
    phone.get_by_text("No work that promises it is in play yet.").wait_for()
    assert no_sideways(phone)
