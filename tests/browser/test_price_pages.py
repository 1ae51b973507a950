"""A price file brought in by hand: looked at, taken by a double click, once; at both sizes."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.browser.conftest import PHONE
from worksprog.works.models import BookVersion, Price
from worksprog.works.services import load_default_price_book

pytestmark = pytest.mark.django_db(transaction=True)

FILE = (
    "what,category,code,name,unit,low,likely,high,dated\n"
    "price,material,turf-tee,Tee turf,m²,4.00,5.00,6.00,2026-10-03\n"
    "price,material,turf-lawn,Lawn turf,m²,4.00,5.00,6.00,\n"
)


def no_sideways(page) -> bool:
    root = "document.documentElement"
    return bool(page.evaluate(f"{root}.scrollWidth <= {root}.clientWidth"))


def test_a_file_is_looked_at_and_taken_once(cast, page_as, tmp_path: Path):
    load_default_price_book(club=cast.club, by=cast.manager)
    file = tmp_path / "list.csv"
    file.write_text(FILE, encoding="utf-8")
    page = page_as(cast.manager)
    page.goto(f"/c/{cast.club.slug}/works/prices/")
    page.get_by_role("link", name="Bring in a file").click()
    page.get_by_label("CSV or XLSX file").set_input_files(file)
    page.get_by_role("button", name="Read the file").click()
    page.get_by_text("a price without a date is not taken").wait_for()
    assert page.get_by_role("row", name="Tee turf").is_visible()
    for size in (PHONE, {"width": 1440, "height": 900}):
        page.set_viewport_size(size)
        assert no_sideways(page)
    take = page.get_by_role("button", name="Take 1 into the book")
    take.click()
    assert page.get_by_role("heading", name="Changed (1)").is_visible(), "the box was not ticked"
    page.get_by_label("Leave out the 1 refused").check()
    take.dblclick()
    page.get_by_role("heading", name="Price book 1 against 2").wait_for()
    assert BookVersion.objects.filter(club=cast.club).count() == 2
    assert Price.objects.get(club=cast.club, code="turf-tee").likely == 5
    for address in ("", "versions/", "import/"):
        page.set_viewport_size(PHONE)
        page.goto(f"/c/{cast.club.slug}/works/prices/{address}")
        assert no_sideways(page), address
