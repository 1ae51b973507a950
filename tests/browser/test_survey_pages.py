"""A survey file brought in and the ground asked for a fall, in a real browser at both sizes."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import DESK, PHONE, blocked_on, fits
from tests.cast import Cast
from tests.course.test_import_services import table
from worksprog.course.models import GroundModel, Survey

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.mark.parametrize("viewport", [DESK, PHONE], ids=["desk", "phone"])
def test_from_file_to_fall(
    cast: Cast, page_as: Callable[..., Page], tmp_path: Path, viewport: dict[str, int]
) -> None:
    path = tmp_path / "levels.csv"
    path.write_bytes(table() + b"451010,213020,high,X\n")
    page = page_as(cast.manager, viewport)
    blocked = blocked_on(page)
    page.goto("/c/first/course/surveys/")
    page.get_by_role("link", name="Bring in a survey file").click()
    page.get_by_label("File", exact=True).set_input_files(path)
    page.get_by_label("Name").fill("March survey")
    page.get_by_label("Surveyed on").fill("2026-03-14")
    page.get_by_role("button", name="Read the file").click()

    expect(page.get_by_text("the level “high” is not a number")).to_be_visible()
    expect(page.locator("#survey-map canvas")).to_be_visible()
    assert Survey.objects.count() == 0
    assert fits(page)
    page.get_by_role("button", name="Accept and save").click()
    expect(page.get_by_role("heading", name="March survey")).to_be_visible()
    assert Survey.objects.get().count == 441

    page.get_by_role("link", name="Make the ground").click()
    page.get_by_label("March survey").check()
    page.get_by_role("button", name="Make the ground").click()
    page.get_by_role("link", name="See what came of it").click()
    assert GroundModel.objects.count() == 1
    place = page.locator("#survey-map")
    expect(place.locator("img.leaflet-image-layer")).to_be_visible()
    box = place.bounding_box()
    assert box is not None
    hint = page.locator("#map-hint")
    place.click(position={"x": box["width"] * 0.6, "y": box["height"] * 0.4})
    expect(hint).to_contain_text("Now click where the line ends")
    place.click(position={"x": box["width"] * 0.45, "y": box["height"] * 0.6})
    expect(page.locator("#fall .big-fig").first).to_contain_text("m")
    assert "ae=" in page.url
    assert fits(page)
    told = page.locator("#fall .big-fig").first.inner_text()
    page.reload()
    expect(page.locator("#fall .big-fig").first).to_have_text(told)
    assert blocked == []


def test_a_file_too_large_is_told_before_it_travels(
    cast: Cast, page_as: Callable[..., Page], tmp_path: Path, settings: object
) -> None:
    settings.IMPORT_MAX_BYTES = 1024 * 1024  # type: ignore[attr-defined]
    path = tmp_path / "large.csv"
    path.write_bytes(b"0" * (2 * 1024 * 1024))
    page = page_as(cast.manager)
    page.goto("/c/first/course/surveys/new/")
    page.get_by_label("File", exact=True).set_input_files(path)
    expect(page.locator("#file-words")).to_contain_text(
        "This file has 2 MB; the most that is taken is 1 MB"
    )
    page.get_by_label("Name").fill("Too large")
    page.get_by_label("Surveyed on").fill("2026-03-14")
    page.get_by_role("button", name="Read the file").click()
    assert page.url.endswith("/surveys/new/")
    expect(page.get_by_role("button", name="Read the file")).to_be_enabled()
