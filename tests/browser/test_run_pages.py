"""A long job's page follows the job, with and without its script."""

from __future__ import annotations

import itertools
from collections.abc import Callable

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from tests.browser.conftest import DESK, PHONE
from tests.cast import Cast
from tests.runs import jobs  # noqa: F401 - registers the jobs
from tests.runs.test_runs import hold
from worksprog.runs.models import Run

pytestmark = pytest.mark.django_db(transaction=True)


def a_run_at_work(cast: Cast) -> Run:
    run: Run = Run.objects.create(
        club=cast.club, kind="tests.adds", inputs={}, asked_by=cast.manager
    )
    hold(run, percent=40, words="Drawing the long section")
    return run


@pytest.mark.parametrize("viewport", [DESK, PHONE], ids=["desk", "phone"])
def test_the_page_follows_the_job_and_cancels_it(
    cast: Cast, page_as: Callable[..., Page], viewport: dict[str, int]
) -> None:
    run = a_run_at_work(cast)
    page = page_as(cast.manager, viewport)
    page.goto(f"/c/first/runs/{run.uuid}/")
    expect(page.get_by_text("Drawing the long section")).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= viewport["width"]
    Run.objects.filter(pk=run.pk).update(percent=75, words="Setting the pages")
    expect(page.get_by_text("Setting the pages")).to_be_visible()
    expect(page.locator("progress")).to_have_js_property("value", 75)
    page.get_by_role("button", name="Cancel this job").click()
    expect(page.get_by_text("stopping at its next step")).to_be_visible()
    expect(page.get_by_role("button", name="Cancel this job")).to_be_hidden()
    address = "/c/first/runs/"
    Run.objects.filter(pk=run.pk).update(
        state="done", claim=None, ended_at=run.asked_at, percent=100, outcome={"address": address}
    )
    expect(page.get_by_role("link", name="See what came of it")).to_have_attribute("href", address)
    expect(page.get_by_role("link", name="Look again")).to_be_hidden()


def test_without_its_script_the_page_is_looked_at_again(
    cast: Cast, context_as: Callable[..., BrowserContext]
) -> None:
    run = a_run_at_work(cast)
    page = context_as(cast.manager, java_script_enabled=False).new_page()
    page.goto(f"/c/first/runs/{run.uuid}/")
    Run.objects.filter(pk=run.pk).update(percent=75, words="Setting the pages")
    page.get_by_role("link", name="Look again").click()
    expect(page.get_by_text("Setting the pages")).to_be_visible()


def test_a_lost_answer_is_told_and_asked_for_again(
    cast: Cast, page_as: Callable[..., Page]
) -> None:
    run = a_run_at_work(cast)
    page = page_as(cast.manager)
    asked = itertools.count()
    page.route("**/state/", lambda route: route.abort() if next(asked) == 0 else route.continue_())
    page.goto(f"/c/first/runs/{run.uuid}/")
    told = page.get_by_text("No answer from the server; asking again.")
    expect(told).to_be_visible()
    expect(told).to_have_class("notice warn run-lost hidden", timeout=12_000)


def test_the_list_fits_a_phone(cast: Cast, page_as: Callable[..., Page]) -> None:
    a_run_at_work(cast)
    page = page_as(cast.manager, PHONE)
    page.goto("/c/first/runs/")
    expect(page.get_by_role("link", name="Adding up")).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    page.get_by_role("link", name="Adding up").click()
    expect(page.get_by_text("Drawing the long section")).to_be_visible()
