"""The crew's page in a real browser, with the network really cut, taps doubled and replies lost."""

from __future__ import annotations

import subprocess
from collections.abc import Callable, Iterator
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.contrib.sessions.models import Session
from django.test import Client
from playwright.sync_api import Browser, BrowserContext, Page, Route, expect

from tests.browser.conftest import FLAGS, PHONE, chromium_path
from tests.cast import PASSWORD, make_cast
from tests.hours.conftest import Site, make_site
from worksprog.hours.models import HourEntry
from worksprog.hours.services import approve_hours, query_hours

pytestmark = pytest.mark.django_db(transaction=True)
PAGE = "/c/first/hours/"
SMALL = {"width": 320, "height": 640}


@pytest.fixture
def site() -> Site:
    return make_site(make_cast())


def opened(page: Page, url: str = PAGE) -> Page:
    """The page, ready, with its worker in charge, so that it opens without a signal too."""
    page.goto(url)
    expect(page.locator("html[data-ready=yes]")).to_be_attached()
    page.evaluate(
        """async () => {
            await navigator.serviceWorker.ready;
            if (!navigator.serviceWorker.controller)
                await new Promise((done) =>
                    navigator.serviceWorker.addEventListener("controllerchange", done, {once: true}));
        }"""
    )
    return page


def job(page: Page, name: str = "Lay carrier C2–C3") -> None:
    page.locator("#jobs").get_by_role("button", name=name).click()


NO_SIGNAL = "Kept on this phone until there is signal: "


def save(page: Page, words: str = "Saved: ") -> None:
    page.locator("#save").click()
    expect(page.locator("#say")).to_contain_text(words)


def sent(page: Page) -> None:
    expect(page.locator("#standing")).not_to_contain_text("waiting")
    expect(page.locator("#queue-part")).to_be_hidden()


def test_the_usual_day_takes_under_six_taps(site: Site, page_as: Callable[..., Page]) -> None:
    day = site.cast.club.today() - timedelta(days=1)
    site.log(site.cast.other_staff, worked_on=day, quantity=24, today=day)
    page = opened(page_as(site.cast.staff, PHONE))
    page.evaluate("window.taps = 0; addEventListener('click', () => window.taps++, true)")
    expect(page.locator("#jobs")).to_contain_text("with A. Wick")
    expect(page.locator("#jobs")).to_contain_text("24 of 180 m done")
    job(page)
    page.get_by_role("button", name="as last time: 24 m").click()
    page.get_by_role("button", name="showers").click()
    save(page)
    sent(page)
    assert page.evaluate("window.taps") <= 5
    entry = HourEntry.objects.get(person=site.person())
    assert (entry.hours, entry.quantity, entry.ground) == (Decimal(8), 24, "showers")
    assert entry.worked_on == site.cast.club.today()
    expect(page.locator("#lately")).to_contain_text("Lay carrier C2–C3")


def test_steppers_typing_and_holding(site: Site, page_as: Callable[..., Page]) -> None:
    page = opened(page_as(site.cast.staff, PHONE))
    job(page)
    for _ in range(3):
        page.get_by_role("button", name="Half an hour less").click()
    expect(page.locator("#hours")).to_have_text("6.5")
    page.locator("#quantity").fill("12,5")
    page.get_by_role("button", name="More", exact=True).click()
    expect(page.locator("#quantity")).to_have_value("13.5")
    page.get_by_role("button", name="More", exact=True).click(delay=1200)
    assert float(page.locator("#quantity").input_value()) >= 17
    for typed in ("abc", "-5", "1e9", "."):
        page.locator("#quantity").fill(typed)
        page.locator("#quantity").blur()
        expect(page.locator("#quantity-words")).to_contain_text(f"“{typed}” is not a quantity")
        expect(page.locator("#quantity")).to_have_value(typed)
        page.locator("#save").click()
        expect(page.locator("#quantity")).to_be_focused()
    assert page.evaluate("document.querySelectorAll('#queue li').length") == 0
    assert not HourEntry.objects.exists()
    expect(page.locator("#hours")).to_have_text("6.5")
    page.locator("#quantity").fill("18")
    page.locator("#quantity").blur()
    expect(page.locator("#quantity-words")).to_be_hidden()
    save(page)
    sent(page)
    assert HourEntry.objects.get().quantity == 18


def test_no_signal_then_signal(site: Site, context_as: Callable[..., BrowserContext]) -> None:
    """Three entries saved with no network, over a reload with no network, arrive once each in order."""
    context = context_as(site.cast.staff, PHONE)
    page = opened(context.new_page())
    expect(page.locator("#kept-words")).to_be_hidden()
    context.set_offline(True)
    expect(page.locator("#kept-words")).to_contain_text("No signal: what you save is kept")
    job(page)
    save(page, NO_SIGNAL)
    expect(page.locator("#standing")).to_contain_text("1 waiting to send")
    page.reload()
    expect(page.locator("html[data-ready=yes]")).to_be_attached()
    expect(page.locator("#standing")).to_contain_text("1 waiting to send")
    for words in ("leaves", "mowing"):
        page.get_by_role("button", name="Other: leaves").click()
        page.locator("#routine").get_by_role("button", name=words, exact=True).click()
        save(page, NO_SIGNAL)
    expect(page.locator("#standing")).to_contain_text("3 waiting to send")
    assert not HourEntry.objects.exists()
    expect(page.locator("#kept-words")).to_have_text("Kept on this phone until there is signal.")
    context.set_offline(False)
    sent(page)
    expect(page.locator("#kept-words")).to_be_hidden()
    expect(page.locator("#say")).to_contain_text("Saved: ")
    logged = list(HourEntry.objects.order_by("id"))
    assert [entry.what for entry in logged] == ["Lay carrier C2–C3", "leaves", "mowing"]
    assert len({entry.client_id for entry in logged}) == 3


def test_a_double_tap_logs_once(site: Site, page_as: Callable[..., Page]) -> None:
    page = opened(page_as(site.cast.staff, PHONE))
    job(page)
    page.locator("#save").dblclick()
    page.evaluate("document.getElementById('form').requestSubmit()")
    expect(page.locator("#say")).to_contain_text("Saved")
    sent(page)
    assert HourEntry.objects.count() == 1


def test_a_lost_reply_logs_once(site: Site, page_as: Callable[..., Page]) -> None:
    """The server takes it in, the answer never comes back, the phone sends again."""
    page = page_as(site.cast.staff, PHONE)
    lost: list[int] = []

    def lose_the_reply(route: Route) -> None:
        if not lost:
            lost.append(route.fetch().status)
            route.abort()
        else:
            route.continue_()

    page.route("**/hours/intake/", lose_the_reply)
    opened(page)
    job(page)
    with page.expect_event("requestfailed"):
        save(page, NO_SIGNAL)
    assert lost == [200]
    assert HourEntry.objects.count() == 1
    page.evaluate("dispatchEvent(new Event('online'))")
    sent(page)
    assert HourEntry.objects.count() == 1


def test_changing_what_may_have_arrived_corrects_it(
    site: Site, page_as: Callable[..., Page]
) -> None:
    page = page_as(site.cast.staff, PHONE)
    lost: list[int] = []

    def lose_the_reply(route: Route) -> None:
        if not lost:
            lost.append(route.fetch().status)
            route.abort()
        else:
            route.continue_()

    page.route("**/hours/intake/", lose_the_reply)
    opened(page)
    job(page)
    with page.expect_event("requestfailed"):
        save(page, NO_SIGNAL)
    page.locator("#queue").get_by_role("button", name="Change").click()
    page.get_by_role("button", name="Half an hour less").click()
    save(page)
    sent(page)
    assert HourEntry.objects.get().hours == Decimal("7.5")


@pytest.fixture
def real_browser(
    browser: Browser, tmp_path: Path
) -> Iterator[Callable[[], tuple[subprocess.Popen[bytes], Browser]]]:
    """A Chromium of its own with a folder of its own, which can be killed and started again."""
    started: list[subprocess.Popen[bytes]] = []
    chromium = browser.browser_type

    def start() -> tuple[subprocess.Popen[bytes], Browser]:
        process = subprocess.Popen(
            [
                chromium_path(),
                *FLAGS,
                "--headless=new",
                "--remote-debugging-port=0",
                f"--user-data-dir={tmp_path / 'profile'}",
                "about:blank",
            ],
            stderr=subprocess.PIPE,
        )
        started.append(process)
        assert process.stderr is not None
        address = ""
        for line in process.stderr:
            if line.startswith(b"DevTools listening on "):
                address = line.split()[-1].decode()
                break
        return process, chromium.connect_over_cdp(address)

    yield start
    for process in started:
        process.kill()
        process.wait()
        assert process.stderr is not None
        process.stderr.close()


def sign_in(context: BrowserContext, user: Any, url: str) -> None:
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    value = client.cookies["sessionid"].value
    context.add_cookies(
        [{"name": "sessionid", "value": value, "url": url, "expires": 4_000_000_000}]
    )


def test_a_killed_browser_keeps_the_entries(
    site: Site, real_browser: Callable[[], Any], live_server: Any
) -> None:
    process, running = real_browser()
    context = running.contexts[0]
    sign_in(context, site.cast.staff, live_server.url)
    page = opened(context.new_page(), live_server.url + PAGE)
    context.set_offline(True)
    job(page)
    save(page, NO_SIGNAL)
    process.kill()
    process.wait()
    assert not HourEntry.objects.exists()

    _, running = real_browser()
    context = running.contexts[0]
    sign_in(context, site.cast.staff, live_server.url)
    page = context.new_page()
    page.goto(live_server.url + PAGE)
    expect(page.locator("html[data-ready=yes]")).to_be_attached()
    sent(page)
    assert HourEntry.objects.get().hours == 8


def test_signed_out_keeps_the_entries_and_says_so(
    site: Site, context_as: Callable[..., BrowserContext]
) -> None:
    context = context_as(site.cast.staff, PHONE)
    page = opened(context.new_page())
    Session.objects.all().delete()
    job(page)
    save(page, "Kept on this phone, not sent yet: ")
    expect(page.locator("#queue-words")).to_contain_text("You are signed out. Nothing is lost")
    assert not HourEntry.objects.exists()
    page.get_by_role("link", name="Sign in").click()
    expect(page.get_by_role("button", name="Sign in")).to_be_visible()
    page.fill("#id_username", site.cast.staff.email)
    page.fill("#id_password", PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(f"**{PAGE}")
    sent(page)
    assert HourEntry.objects.count() == 1


def test_another_person_on_the_same_phone_sends_nothing_of_mine(
    site: Site, context_as: Callable[..., BrowserContext], live_server: Any
) -> None:
    context = context_as(site.cast.staff, PHONE)
    page = opened(context.new_page())
    sign_in(context, site.cast.other_staff, live_server.url)
    job(page)
    save(page, "Kept on this phone, not sent yet: ")
    expect(page.locator("#queue-words")).to_contain_text("Signed in as A. Wick")
    page.reload()
    expect(page.locator("#standing")).to_contain_text("1 of another person on this phone")
    assert not HourEntry.objects.exists()


def test_a_day_over_24_hours_stays_to_be_mended(site: Site, page_as: Callable[..., Page]) -> None:
    """Hours come in from elsewhere while the form is open: the club refuses, at the same place."""
    page = opened(page_as(site.cast.staff, PHONE))
    job(page)
    site.log(hours=20, routine="events", worked_on=site.cast.club.today(), today=None)
    save(page, "Not taken: 8 h, Lay carrier C2–C3")
    expect(page.locator("#say")).to_contain_text("The day would have 28 h; 24 is the most.")
    expect(page.locator("#say")).not_to_contain_text("Saved")
    expect(page.locator("#say .notice")).to_have_class("notice warn")
    expect(page.locator("#say .notice")).to_be_in_viewport()
    expect(page.locator("#queue")).to_contain_text("The day would have 28 h; 24 is the most.")
    expect(page.locator("#standing")).to_contain_text("1 to mend")
    page.reload()
    page.locator("#queue").get_by_role("button", name="Change").click()
    for _ in range(8):
        page.get_by_role("button", name="Half an hour less").click()
    save(page)
    sent(page)
    assert HourEntry.objects.get(item=site.carrier).hours == 4


def test_what_is_on_its_way_is_not_called_saved(
    site: Site, context_as: Callable[..., BrowserContext]
) -> None:
    context = context_as(site.cast.staff, PHONE)
    page = context.new_page()
    held: list[Route] = []
    page.route("**/hours/intake/", lambda route: held.append(route))
    opened(page)
    job(page)
    with page.expect_request("**/hours/intake/"):
        save(page, "Kept on this phone, sending: 8 h, Lay carrier C2–C3")
    expect(page.locator("#say .notice")).to_have_class("notice")
    expect(page.locator("#say .notice")).to_be_in_viewport()
    job(page)
    expect(page.locator("#say")).to_contain_text("Kept on this phone, sending")
    assert not HourEntry.objects.exists()
    held[0].continue_()
    expect(page.locator("#say")).to_contain_text("Saved: 8 h, Lay carrier C2–C3")
    expect(page.locator("#say .notice")).to_have_class("notice good")
    assert HourEntry.objects.count() == 1


def test_a_refusal_is_mended_from_where_it_is_told(
    site: Site, page_as: Callable[..., Page]
) -> None:
    page = opened(page_as(site.cast.staff, PHONE))
    job(page)
    page.locator("#quantity").fill("999999")
    page.locator("#save").click()
    expect(page.locator("#quantity-words")).to_have_text(
        "That is more than is left of this job: 180 m. Is it right?"
    )
    save(page, "planned 180 m, done so far 0 m, entered 999,999 m")
    assert not HourEntry.objects.exists()
    page.get_by_role("button", name="Change it").click()
    page.locator("#quantity").fill("18")
    save(page)
    sent(page)
    assert HourEntry.objects.get().quantity == 18


def test_more_than_is_left_is_asked_about_and_saved_by_a_second_press(
    site: Site, page_as: Callable[..., Page]
) -> None:
    day = site.cast.club.today() - timedelta(days=1)
    site.log(site.cast.other_staff, quantity=62, worked_on=day, today=day)
    site.log(quantity=10, worked_on=day, today=day)
    page = opened(page_as(site.cast.staff, PHONE))
    job(page)
    page.locator("#quantity").fill("119")
    page.locator("#save").click()
    words = page.locator("#quantity-words")
    expect(words).to_have_text("That is more than is left of this job: 108 m. Is it right?")
    assert HourEntry.objects.count() == 2
    page.locator("#quantity").fill("120")
    page.locator("#save").click()
    expect(words).to_be_visible()
    page.get_by_role("button", name="It is right, save 8 h").click()
    expect(page.locator("#say")).to_contain_text("Saved: ")
    sent(page)
    assert HourEntry.objects.get(quantity=120).worked_on == site.cast.club.today()
    # One's own entry is not counted against itself, and 10 % over is no question.
    page.locator("#lately").get_by_role("button", name="Change: Lay carrier").first.click()
    page.locator("#quantity").fill("118")
    save(page)
    sent(page)
    assert HourEntry.objects.filter(quantity=118).count() == 1


def test_a_day_and_a_job_that_have_hours_already_say_so(
    site: Site, page_as: Callable[..., Page]
) -> None:
    today = site.cast.club.today()
    site.log(hours=14, worked_on=today, today=None)
    site.log(hours=7, routine="events", worked_on=today, today=None)
    page = opened(page_as(site.cast.staff, PHONE))
    job(page)
    expect(page.locator("#same-words")).to_have_text(
        "You have logged 14 h on this job that day already."
    )
    for _ in range(9):
        page.get_by_role("button", name="Half an hour more").click()
    expect(page.locator("#hours")).to_have_text("3.0")
    expect(page.locator("#hours-words")).to_have_text(
        "21 h are logged on that day already; it has 3 h left."
    )
    page.get_by_role("button", name="yesterday").click()
    expect(page.locator("#same-words")).to_be_hidden()
    expect(page.locator("#hours-words")).to_be_hidden()


def test_another_year_is_told_with_the_day(
    site: Site, context_as: Callable[..., BrowserContext]
) -> None:
    """The phone's clock stands two days into a year; what it then logs is refused by the club."""
    context = context_as(site.cast.staff, PHONE)
    page = context.new_page()
    year = site.cast.club.today().year + 1
    page.clock.set_fixed_time(f"{year}-01-02T12:00:00Z")
    opened(page)
    expect(page.locator("#standing")).not_to_contain_text(str(year))
    job(page)
    page.get_by_role("button", name="another day").click()
    save(page, "8 h, Lay carrier C2–C3, ")
    expect(page.locator("#say")).to_contain_text(f"31 Dec {year - 1}")


def test_a_deleted_job_stays_to_be_mended(
    site: Site, context_as: Callable[..., BrowserContext]
) -> None:
    context = context_as(site.cast.staff, PHONE)
    page = opened(context.new_page())
    context.set_offline(True)
    job(page)
    save(page, NO_SIGNAL)
    site.carrier.delete()
    context.set_offline(False)
    expect(page.locator("#queue")).to_contain_text("no longer in the programme")
    page.locator("#queue").get_by_role("button", name="Change").click()
    page.get_by_role("button", name="Other: leaves").click()
    page.locator("#routine").get_by_role("button", name="training", exact=True).click()
    save(page)
    sent(page)
    assert HourEntry.objects.get().routine == "training"


def test_change_and_withdraw_without_signal(
    site: Site, context_as: Callable[..., BrowserContext]
) -> None:
    day = site.cast.club.today()
    first = site.log(hours=5, worked_on=day, today=None)
    second = site.log(hours=2, routine="leaves", worked_on=day, today=None)
    query_hours(entry=second, by=site.cast.manager, reason="Only two?")
    context = context_as(site.cast.staff, PHONE)
    page = opened(context.new_page())
    expect(page.locator("#lately")).to_contain_text("Asked by the course manager: Only two?")
    context.set_offline(True)
    page.locator("#lately").get_by_role("button", name="Withdraw: Lay carrier").click()
    page.locator("#lately").get_by_role("button", name="Change: leaves").click()
    page.get_by_role("button", name="Half an hour more").click()
    save(page, NO_SIGNAL)
    expect(page.locator("#standing")).to_contain_text("2 waiting to send")
    context.set_offline(False)
    sent(page)
    first.refresh_from_db()
    second.refresh_from_db()
    assert (first.state, second.state, second.hours) == ("withdrawn", "logged", Decimal("2.5"))


def test_approved_meanwhile_says_so(site: Site, context_as: Callable[..., BrowserContext]) -> None:
    entry = site.log(hours=5, worked_on=site.cast.club.today(), today=None)
    context = context_as(site.cast.staff, PHONE)
    page = opened(context.new_page())
    approve_hours(club=site.cast.club, entries=[entry], by=site.cast.manager)
    page.locator("#lately").get_by_role("button", name="Withdraw").click()
    expect(page.locator("#queue")).to_contain_text("It is approved by now")
    page.locator("#queue").get_by_role("button", name="Leave as it was").click()
    sent(page)


@pytest.mark.parametrize("viewport", [PHONE, SMALL], ids=["390", "320"])
@pytest.mark.parametrize("text", [100, 200])
def test_fits_and_has_large_targets(
    site: Site, page_as: Callable[..., Page], viewport: dict[str, int], text: int
) -> None:
    page = opened(page_as(site.cast.staff, viewport))
    page.evaluate(f"document.documentElement.style.fontSize = '{text}%'")
    job(page)
    page.get_by_role("button", name="Other: leaves").click()
    assert page.evaluate("document.documentElement.scrollWidth") <= viewport["width"]
    sizes = page.evaluate(
        """() => [...document.querySelectorAll("main button, main summary, footer a")]
            .filter((one) => one.checkVisibility())
            .map((one) => [one.textContent, one.getBoundingClientRect().height])"""
    )
    assert [one for one in sizes if one[1] < 48] == []
    steps = page.locator(".stepper button")
    for place in range(steps.count()):
        box = steps.nth(place).bounding_box()
        assert box is not None
        assert box["width"] >= 56
        assert box["height"] >= 56
