"""A real Chromium against a real server, signed in as one of the cast."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.test import Client
from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page, sync_playwright

# Playwright's own loop runs in this thread; the database is still only used from one thread at a time.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"

DESK = {"width": 1440, "height": 900}
PHONE = {"width": 390, "height": 844}
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]


def chromium_path() -> str:
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    if found is None:
        pytest.fail("Chromium is needed for the browser tests: apt-get install chromium")
    return found


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=chromium_path(), args=FLAGS)
        yield running
        running.close()


@pytest.fixture
def context_as(browser: Browser, live_server: Any) -> Iterator[Callable[..., BrowserContext]]:
    """Make a browser context signed in as ``user``; every context is closed at the end."""
    made: list[BrowserContext] = []

    def make(user: Any, viewport: dict[str, int] = DESK, **options: Any) -> BrowserContext:
        client = Client()
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        context = browser.new_context(
            viewport=viewport,  # type: ignore[arg-type]
            base_url=live_server.url,
            **options,
        )
        context.add_cookies(
            [
                {
                    "name": "sessionid",
                    "value": client.cookies["sessionid"].value,
                    "url": live_server.url,
                }
            ]
        )
        context.set_default_timeout(45_000)
        made.append(context)
        return context

    yield make
    for context in made:
        context.close()


@pytest.fixture
def page_as(context_as: Callable[..., BrowserContext]) -> Callable[..., Page]:
    """A page signed in as ``user``; what the page's own scripts complain of fails the test."""

    def make(user: Any, viewport: dict[str, int] = DESK, **options: Any) -> Page:
        page = context_as(user, viewport, **options).new_page()
        page.on("pageerror", lambda error: pytest.fail(f"the page's script failed: {error}"))
        return page

    return make


def fits(page: Page) -> bool:
    """Nothing has to be slid sideways."""
    return bool(page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"))


def blocked_on(page: Page) -> list[str]:
    """A list that grows by what the content security policy blocks from now on."""
    blocked: list[str] = []

    def listen(message: ConsoleMessage) -> None:
        if "Content Security Policy" in message.text:
            blocked.append(message.text)

    page.on("console", listen)
    return blocked
