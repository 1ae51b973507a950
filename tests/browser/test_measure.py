"""Levels on the bank in a real browser, with the network really cut."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.sessions.models import Session
from PIL import Image
from playwright.sync_api import BrowserContext, Page, expect

from tests.browser.conftest import PHONE
from tests.browser.test_phone_hours import opened
from tests.cast import Cast, make_cast
from tests.drainage.drawn import SOUTH, WEST, draw_flat_ground, draw_pipe
from worksprog.calc.grid import to_lonlat
from worksprog.course.models import Feature, State
from worksprog.course.services import set_feature_state
from worksprog.drainage.models import AsBuiltLevel
from worksprog.drainage.services.as_built import Measured, measure_level

pytestmark = pytest.mark.django_db(transaction=True)
PAGE = "/c/first/drainage/measure/"


@pytest.fixture
def cast() -> Cast:
    return make_cast()


@pytest.fixture
def drain(cast: Cast) -> Feature:
    """P1 falls 1 m over 100 m; P2 lies 300 m off."""
    draw_pipe(cast.club, cast.manager, "P2", (0, 300), (100, 300))
    return draw_pipe(
        cast.club, cast.manager, "P1", (0, 0), (100, 0), state=State.ON_SITE,
        upstream_invert_m=52.0, downstream_invert_m=51.0,
    )  # fmt: skip


def picture() -> Any:
    written = io.BytesIO()
    Image.new("RGB", (2000, 1000), "olive").save(written, "JPEG")
    return {"name": "IMG.jpg", "mimeType": "image/jpeg", "buffer": written.getvalue()}


def choose(page: Page, name: str) -> None:
    page.locator("#drains").get_by_role("button", name=name).click()


def fill(page: Page, level: str, chainage: str) -> None:
    page.locator("#level").fill(level)
    page.locator("#chainage").fill(chainage)


def test_no_signal_then_signal(
    cast: Cast, drain: Feature, context_as: Callable[..., BrowserContext]
) -> None:
    """Two levels and a photo, over a reload with no network, are told at once and kept once each."""
    context = context_as(cast.staff, PHONE)
    page = opened(context.new_page(), PAGE)
    context.set_offline(True)
    expect(page.locator("#kept-words")).to_contain_text("No signal: levels you take are kept")
    choose(page, "P1")
    fill(page, "51.600", "40")
    expect(page.locator("#answer")).to_contain_text("The first level here")
    expect(page.locator("#answer")).to_contain_text("As drawn, within ± 10 mm")
    page.locator("#photo").set_input_files(picture())
    expect(page.locator("#photo-words")).to_contain_text("without its place")
    page.locator("#save").dblclick()
    expect(page.locator("#say")).to_contain_text("Kept on this phone until there is signal")
    page.reload()
    expect(page.locator("html[data-ready=yes]")).to_be_attached()
    expect(page.locator("#standing")).to_contain_text("1 waiting to send")
    choose(page, "P1")
    fill(page, "51.623", "52")
    expect(page.locator("#answer.stop")).to_contain_text(
        "Stop: backfall of 23 mm since chainage 40."
    )
    page.locator("#save").click()
    expect(page.locator("#standing")).to_contain_text("2 waiting to send")
    assert not AsBuiltLevel.objects.exists()
    context.set_offline(False)
    expect(page.locator("#queue-part")).to_be_hidden()
    expect(page.locator("#taken")).to_contain_text("51.623 m")
    rows = list(AsBuiltLevel.objects.order_by("id"))
    assert [(row.level_m, row.chainage_m) for row in rows] == [(51.6, 40), (51.623, 52)]
    assert [bool(row.photo) for row in rows] == [True, False]
    with Image.open(rows[0].photo) as kept:
        assert kept.size == (1600, 800)
    rows[0].photo.close()


def test_a_lost_reply_keeps_once(cast: Cast, drain: Feature, page_as: Callable[..., Page]) -> None:
    page = page_as(cast.staff, PHONE)
    lost: list[int] = []

    def lose_the_reply(route) -> None:
        if not lost:
            lost.append(route.fetch().status)
            route.abort()
        else:
            route.continue_()

    page.route("**/measure/intake/", lose_the_reply)
    opened(page, PAGE)
    choose(page, "P1")
    fill(page, "51.6", "40")
    with page.expect_event("requestfailed"):
        page.locator("#save").click()
    expect(page.locator("#say")).to_contain_text("Kept on this phone until there is signal")
    assert AsBuiltLevel.objects.count() == 1
    page.evaluate("dispatchEvent(new Event('online'))")
    expect(page.locator("#queue-part")).to_be_hidden()
    assert lost == [200]
    assert AsBuiltLevel.objects.count() == 1


def test_nearest_first_and_where_one_stands(
    cast: Cast, drain: Feature, context_as: Callable[..., BrowserContext]
) -> None:
    lon, lat = to_lonlat(cast.club.epsg, [WEST + 30], [SOUTH + 298])
    place = {"longitude": float(lon[0]), "latitude": float(lat[0]), "accuracy": 3.0}
    context = context_as(cast.staff, PHONE, geolocation=place, permissions=["geolocation"])
    page = opened(context.new_page(), PAGE)
    expect(page.locator("#drains strong").first).to_have_text("P1")
    page.locator("#near").click()
    expect(page.locator("#drains strong").first).to_have_text("P2")
    expect(page.locator("#drains small").first).to_contain_text("2 m away")
    choose(page, "P2")
    page.get_by_role("button", name="depth below a peg").click()
    page.get_by_role("button", name="where I stand").click()
    expect(page.locator("#here-words")).to_contain_text("Chainage 30, 2.0 m off the line")
    page.locator("#peg").fill("52,10")
    page.locator("#below").fill("4.6")
    page.locator("#save").click()
    expect(page.locator("#wrong")).to_contain_text("looks like feet")
    page.locator("#below").fill("1.40")
    expect(page.locator("#wrong")).to_be_hidden()
    page.locator("#save").click()
    expect(page.locator("#say")).to_contain_text("Kept. P2")
    expect(page.locator("#queue-part")).to_be_hidden()
    row = AsBuiltLevel.objects.get()
    assert (row.level_m, row.plan_accuracy_m) == (pytest.approx(50.7), 3.0)
    assert (row.x_m, row.y_m) == pytest.approx((WEST + 30, SOUTH + 298), abs=0.02)


def test_what_cannot_be_is_told_on_the_phone(
    cast: Cast, drain: Feature, page_as: Callable[..., Page]
) -> None:
    page = opened(page_as(cast.staff, PHONE), PAGE)
    choose(page, "P1")
    for level, chainage, words in (
        ("", "40", "Enter the level in metres"),
        ("abc", "40", "“abc” is no number"),
        ("51.6", "140", "from 0 at the upper end to 100.0 m"),
        ("163.5", "10", "111.60 m above the design here (51.90 m)"),
        ("169.6", "40", "looks like feet"),
        ("9900", "40", "cannot be one"),
    ):
        fill(page, level, chainage)
        page.locator("#save").click()
        expect(page.locator("#wrong")).to_contain_text(words)
    page.locator("#photo").set_input_files(
        {"name": "a.jpg", "mimeType": "image/jpeg", "buffer": b"no picture"}
    )
    expect(page.locator("#photo-words")).to_contain_text("no photo that can be read")
    assert not AsBuiltLevel.objects.exists()


def test_the_ground_the_keyboard_and_a_correction(
    cast: Cast, drain: Feature, page_as: Callable[..., Page]
) -> None:
    draw_flat_ground(cast.club, 53.0)
    page = opened(page_as(cast.staff, {"width": 320, "height": 640}), PAGE)
    choose(page, "P1")
    page.locator("#of").get_by_role("button", name="cover").press("Enter")
    expect(page.locator("#of :focus")).to_have_text("cover or ground")
    page.locator("#of").get_by_role("button", name="invert").press("Enter")
    fill(page, "53.5", "40")
    expect(page.locator("#answer.stop")).to_contain_text("0.50 m above the ground here (53.00 m)")
    expect(page.locator("#answer")).not_to_contain_text("alls ")
    assert page.locator("#save").evaluate("one => getComputedStyle(one).position") == "static"
    page.locator("#save").click()
    assert not AsBuiltLevel.objects.exists()
    page.get_by_role("button", name="Keep it all the same").click()
    expect(page.locator("#say")).to_contain_text("Kept. P1")
    page.locator("#taken").get_by_role("button", name="Correct").click()
    page.locator("#level").fill("51.61")
    page.locator("#save").click()
    expect(page.locator("#wrong")).to_contain_text("Say why")
    page.locator("#reason").fill("staff misread")
    page.locator("#save").click()
    expect(page.locator("#taken")).to_contain_text("51.610 m")
    expect(page.locator("#taken")).not_to_contain_text("53.500 m")
    expect(page.locator("#say")).to_contain_text("Kept. P1, 51.610 m")
    assert AsBuiltLevel.objects.get(level_m=51.61).corrects == AsBuiltLevel.objects.get(
        level_m=53.5
    )
    # Another person's level, sent meanwhile, is set against this one.
    measure_level(
        feature=drain, by=cast.manager,
        measured=Measured("invert", "level", cast.club.today(), level_m=51.41, chainage_m=60),
    )  # fmt: skip
    fill(page, "51.60", "60.5")
    page.locator("#save").click()
    expect(page.locator("#say .warn")).to_contain_text("wo people's levels at chainage 60.5 do not")


def test_a_drain_that_is_gone(
    cast: Cast, drain: Feature, context_as: Callable[..., BrowserContext]
) -> None:
    context = context_as(cast.staff, PHONE)
    page = opened(context.new_page(), PAGE)
    context.set_offline(True)
    choose(page, "P1")
    fill(page, "50.63", "40")
    page.locator("#save").click()
    expect(page.locator("#say")).to_contain_text("Kept on this phone until there is signal")
    page.get_by_role("link", name="Register of drains").click()
    expect(page.locator("#say")).to_contain_text("opens when there is")
    expect(page.get_by_role("link", name="Hours")).to_be_visible()
    set_feature_state(feature=drain, state=State.REMOVED, on=cast.club.today(), by=cast.manager)
    context.set_offline(False)
    expect(page.locator("#queue")).to_contain_text("no longer on the course")
    expect(page.locator("#say")).not_to_contain_text("than drawn")
    expect(page.locator("#queue")).to_contain_text("P1, chainage 40")
    page.locator("#queue").get_by_role("button", name="Change").click()
    expect(page.locator("#moving")).to_contain_text("taken on P1")
    choose(page, "P2")
    expect(page.locator("#level")).to_have_value("50.63")
    page.locator("#save").click()
    expect(page.locator("#queue-part")).to_be_hidden()
    assert AsBuiltLevel.objects.get().feature.ref == "P2"


def test_signed_out_is_told(cast: Cast, drain: Feature, page_as: Callable[..., Page]) -> None:
    page = opened(page_as(cast.staff, PHONE), PAGE)
    choose(page, "P1")
    Session.objects.all().delete()
    fill(page, "51.6", "40")
    page.locator("#save").click()
    expect(page.locator("#say")).to_contain_text("On this phone until you sign in: P1")
    expect(page.locator("#kept-words")).to_have_text("Kept on this phone until you sign in.")
    expect(page.locator("#queue-words").get_by_role("link", name="Sign in")).to_be_visible()
