"""The pages of the price book: files, versions, trends, and the club's money."""

from __future__ import annotations

import io
from datetime import date
from decimal import Decimal

import openpyxl
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from worksprog.clubs.models import Club
from worksprog.clubs.spreadsheets import XLSX
from worksprog.works.models import BookVersion, Price, PriceDraft, PriceTrend
from worksprog.works.services import build_estimate, set_trend

HEAD = b"what,category,code,name,unit,low,likely,high,dated\n"
GOOD = b"price,material,turf-tee,Tee turf,m2,4.00,5.00,6.00,2026-10-03\n"
BAD = b"price,none,a,A,t,1,2,3,2026-10-03\n"
MOST_QUERIES = 15


def url(name, cast, *rest):
    return reverse(f"works:{name}", args=[cast.club.slug, *rest])


def text_of(response):
    return " ".join(response.content.decode().split())


def bring(client, cast, data: bytes, name="p.csv", **more):
    return client.post(url("import-prices", cast), {"file": SimpleUploadedFile(name, data), **more})


def test_a_file_is_read_looked_at_and_taken_once(works, cast, as_manager):
    page = bring(as_manager, cast, HEAD + GOOD)
    draft = PriceDraft.objects.get()
    address = url("price-file", cast, draft.uuid)
    assert (page.status_code, page["Location"]) == (302, address)
    page = as_manager.get(address)
    words = text_of(page)
    assert "Changed (1)" in words
    was = Price.objects.get(club=cast.club, code="turf-tee").likely
    assert f"<s>{was:.2f}</s> 5.00" in words
    assert "Take 1 into the book" in words
    assert "waits; nothing of it is in the book yet" in text_of(as_manager.get(url("prices", cast)))
    seen = page.context["preview"].seen
    first = as_manager.post(address, {"seen": seen})
    again = as_manager.post(address, {"seen": seen})
    assert first["Location"] == again["Location"]
    page = as_manager.get(first["Location"])
    assert "taken already, as price book 2" in text_of(page)
    assert "Price book 1 against 2" in text_of(page)
    assert Price.objects.get(club=cast.club, code="turf-tee").likely == 5
    assert "Taken into the book on" in text_of(as_manager.get(address))


def test_refused_rows_are_shown_and_left_out_only_knowingly(works, cast, as_manager):
    bring(as_manager, cast, HEAD + BAD + GOOD)
    draft = PriceDraft.objects.get()
    address = url("price-file", cast, draft.uuid)
    page = as_manager.get(address)
    assert "Refused (1)" in text_of(page)
    assert "one of labour, plant, material, haulage, contractor is expected" in text_of(page)
    seen = page.context["preview"].seen
    page = as_manager.post(address, {"seen": seen})
    assert page.status_code == 422
    assert "say that they are to be left out" in text_of(page)
    assert as_manager.post(address, {"seen": seen, "leave_out": "on"}).status_code == 302


def test_a_file_of_refused_rows_alone_offers_nothing_to_take(works, cast, as_manager):
    bring(as_manager, cast, HEAD + BAD)
    draft = PriceDraft.objects.get()
    page = as_manager.get(url("price-file", cast, draft.uuid))
    assert "No row of this file can be taken" in text_of(page)
    assert as_manager.post(url("drop-price-file", cast, draft.uuid)).status_code == 302
    assert not PriceDraft.objects.exists()


def test_a_page_that_is_out_of_date_is_not_taken(works, cast, as_manager):
    bring(as_manager, cast, HEAD + GOOD)
    draft = PriceDraft.objects.get()
    address = url("price-file", cast, draft.uuid)
    seen = as_manager.get(address).context["preview"].seen
    turf = Price.objects.get(club=cast.club, code="turf-tee")
    turf.likely = turf.high
    turf.save()
    page = as_manager.post(address, {"seen": seen})
    assert page.status_code == 409
    assert "The book was changed after this page was made" in text_of(page)
    assert as_manager.post(address, {"seen": page.context["preview"].seen}).status_code == 302


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"x", "The heading lacks what"),
        (HEAD + GOOD * 100_000, "more than 5,000 rows"),
        (b"PK\x03\x04", "cannot be read as one"),
    ],
)
def test_what_is_no_price_file_stays_on_the_form(works, cast, as_manager, data, words):
    page = bring(as_manager, cast, data)
    assert page.status_code == 422
    assert words in text_of(page)
    assert not PriceDraft.objects.exists()


def test_the_book_as_a_file_comes_back_as_it_went(works, cast, as_manager):
    for name in ("export-prices", "export-prices-xlsx"):
        book = as_manager.get(url(name, cast))
        bring(as_manager, cast, book.content, name=name)
        preview = as_manager.get(url("price-file", cast, PriceDraft.objects.first().uuid)).context[
            "preview"
        ]
        assert (preview.added, preview.changed, preview.refused) == ([], [], [])
        assert len(preview.confirmed) + preview.same == book_count(cast)
    assert book["Content-Type"] == XLSX
    sheet = openpyxl.load_workbook(io.BytesIO(book.content)).active
    assert sheet["R2"].value == "GBP"
    assert isinstance(sheet["F2"].value, float | int)
    assert sheet["Q2"].is_date


def book_count(cast):
    return sum(
        entry["what"] != "trend"
        for entry in BookVersion.objects.get(club=cast.club, number=1).entries
    )


def test_versions_are_listed_looked_at_and_compared(works, cast, as_committee, as_manager):
    build_estimate(item=works.carrier, by=cast.manager)
    bring(as_manager, cast, HEAD + GOOD + b"price,plant,dumper,Dumper,h,8,9,10,2026-10-03\n")
    draft = PriceDraft.objects.get()
    address = url("price-file", cast, draft.uuid)
    seen = as_manager.get(address).context["preview"].seen
    as_manager.post(address, {"seen": seen})
    words = text_of(as_committee.get(url("book-versions", cast)))
    assert "p.csv: 1 added, 1 changed" in words
    assert "1 live" in words
    first = BookVersion.objects.get(club=cast.club, number=1)
    words = text_of(as_committee.get(url("book-version", cast, first.uuid)))
    assert "Price book 1" in words
    assert "not confirmed" in words
    compare = url("compare-books", cast)
    for query, expected in (
        ("", "1 added, 1 changed"),
        ("?old=1&new=2", "1 added, 1 changed"),
        ("?old=2&new=1", "1 changed, 1 gone"),
        ("?old=2&new=2", "Nothing differs"),
        ("?old=x&new=", "1 added, 1 changed"),
    ):
        assert expected in text_of(as_committee.get(compare + query)), query
    assert as_committee.get(compare + "?old=1&new=9").status_code == 404


def test_a_club_without_a_book_has_no_versions(cast, as_manager):
    assert "No version yet" in text_of(as_manager.get(url("book-versions", cast)))
    assert as_manager.get(url("compare-books", cast)).status_code == 404


def test_a_group_of_prices_is_kept_and_refused_in_words(works, cast, as_manager):
    wages = PriceTrend.objects.get(club=cast.club, name="wages")
    data = {"name": "wages", "low": "5", "likely": "4", "high": "6", "dated": "2026-10-01"}
    page = as_manager.post(url("trend", cast, wages.uuid), data)
    assert page.status_code == 422
    assert "must rise" in text_of(page)
    data["low"] = "-100"
    assert "cannot fall by 100" in text_of(as_manager.post(url("trend", cast, wages.uuid), data))
    data["low"] = "-1"
    assert as_manager.post(url("trend", cast, wages.uuid), data).status_code == 302
    newest = BookVersion.objects.filter(club=cast.club).first()
    assert newest.words == "How prices rise, wages: 3.50 → 4.00"
    page = as_manager.post(url("new-trend", cast), data)
    assert page.status_code == 422
    set_trend(
        trend=PriceTrend(
            club=cast.club, name="timber", low=1, likely=2, high=3, dated=date(2026, 10, 1)
        ),
        by=cast.manager,
    )
    assert "timber" in text_of(as_manager.get(url("prices", cast)))


def test_a_price_is_made_of_its_parts_on_the_page(works, cast, as_manager):
    crew = Price.objects.get(club=cast.club, code="labour-crew")
    data = {
        "category": "labour",
        "name": crew.name,
        "unit": "h",
        "low": "15",
        "likely": "",
        "high": "25",
        "wage": "14.5",
        "on_cost_percent": "32",
        "dated": "2026-10-01",
        "trend": str(crew.trend_id),
    }
    address = url("price", cast, crew.uuid)
    assert as_manager.post(address, data).status_code == 302
    crew.refresh_from_db()
    assert (crew.likely, crew.trend.name) == (Decimal("19.14"), "wages")
    assert "w (1 + c / 100)" in text_of(as_manager.get(address))
    assert "14.50 wage + 32 %" in text_of(as_manager.get(url("prices", cast)))
    page = as_manager.post(address, {**data, "likely": "20"})
    assert page.status_code == 422
    assert "comes to 19.14, not 20.00" in text_of(page)
    page = as_manager.post(address, {**data, "wage": "", "on_cost_percent": ""})
    assert "A likely price is expected" in text_of(page)
    stranger = PriceTrend.objects.create(
        club=cast.other_club, name="x", low=1, likely=2, high=3, dated=date(2026, 1, 1)
    )
    page = as_manager.post(address, {**data, "trend": str(stranger.pk)})
    assert page.status_code == 422


def test_the_clubs_money(works, cast, as_manager, as_committee):
    address = url("money", cast)
    assert "120.00" in text_of(as_committee.get(address)), "20 % of 600"
    data = {
        "currency": "GBP",
        "year_start_month": "10",
        "tax_name": "GST",
        "tax_percent": "12.5",
        "tax_recovered_percent": "40",
    }
    assert as_committee.post(address, data).status_code == 403
    assert as_manager.post(address, data).status_code == 302
    club = Club.objects.get(pk=cast.club.pk)
    assert (club.tax_name, club.tax_percent, club.year_start_month) == ("GST", Decimal("12.5"), 10)
    words = text_of(as_manager.get(address))
    assert "75.00" in words and "30.00" in words and "1,045.00" in words
    page = as_manager.post(address, {**data, "currency": "EUR"})
    assert page.status_code == 422
    assert "prices in GBP. Another currency would rename them" in text_of(page)
    page = as_manager.post(address, {**data, "tax_percent": "101", "year_start_month": "13"})
    assert page.status_code == 422
    Price.objects.filter(club=cast.club).delete()
    assert as_manager.post(address, {**data, "currency": "EUR"}).status_code == 302


def test_the_pages_take_few_queries(works, cast, as_manager):
    bring(as_manager, cast, HEAD + GOOD)
    draft = PriceDraft.objects.get()
    first = BookVersion.objects.get(club=cast.club)
    for address in (
        url("prices", cast),
        url("price-file", cast, draft.uuid),
        url("import-prices", cast),
        url("book-versions", cast),
        url("book-version", cast, first.uuid),
        url("compare-books", cast),
        url("money", cast),
    ):
        with CaptureQueriesContext(
            connection,
        ) as queries:
            assert as_manager.get(address).status_code == 200
        assert len(queries) <= MOST_QUERIES, address


def test_the_item_names_its_book_and_the_programme_adds_the_tax(works, cast, as_manager):
    estimate = build_estimate(item=works.carrier, by=cast.manager)
    page = as_manager.get(url("item", cast, works.carrier.uuid))
    assert f'with <a href="{url("book-version", cast, estimate.book.uuid)}">price book 1</a>' in (
        text_of(page)
    )
    Club.objects.filter(pk=cast.club.pk).update(tax_recovered_percent=30)
    page = as_manager.get(url("programme", cast))
    tax = page.context["tax"]
    heads = page.context["sheet"].totals.by_category
    assert tax.net == sum(heads.values()) == estimate.money_likely
    assert tax.bought == tax.net - heads["labour"]
    words = text_of(page)
    for figure in (f"£{tax.tax:,.2f}", f"−£{tax.recovered:,.2f}", f"£{tax.cost:,.2f}"):
        assert figure in words
    Club.objects.filter(pk=cast.club.pk).update(tax_percent=0)
    assert "less what comes back" not in text_of(as_manager.get(url("programme", cast)))
