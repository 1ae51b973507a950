"""The price book as a file: read beside the book, with a reason for every row refused."""

from __future__ import annotations

import io
from datetime import date
from decimal import Decimal

import openpyxl
import pytest
from django.core.exceptions import ValidationError

from worksprog.clubs.spreadsheets import FileRefused, write_workbook
from worksprog.works.book_entries import TREND, entries_of
from worksprog.works.models import BookVersion, Price, PriceTrend
from worksprog.works.price_file import (
    COLUMNS,
    Wanted,
    price_sheet,
    read_price_file,
    write_price_csv,
)
from worksprog.works.services import load_default_price_book, read_price_draft, set_price

HEAD = "what,category,code,name,unit,low,likely,high,source,dated\n"
WANTED = Wanted(currency="GBP", today=date(2026, 10, 3))


def read(text: str, wanted: Wanted = WANTED):
    return read_price_file((HEAD + text).encode(), wanted)


def reason(text: str, wanted: Wanted = WANTED) -> str:
    book = read(text, wanted)
    assert book.rows == ()
    return book.refusals[0].reason


def xlsx(*rows, formats=()) -> bytes:
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    for place, number_format in formats:
        book.active[place].number_format = number_format
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def test_starting_book_is_not_confirmed_and_leaves_what_is_there(works, cast):
    assert Price.objects.filter(club=cast.club, is_confirmed=True).count() == 0
    source = Price.objects.filter(club=cast.club)[0].source
    assert source == "starting figure, not confirmed; replace by your own quotes"
    assert load_default_price_book(club=cast.club, by=cast.manager) == 0
    Price.objects.filter(club=cast.club, code="turf-tee").delete()
    assert load_default_price_book(club=cast.club, by=cast.manager) == 1


def test_the_starting_book_says_how_each_price_rises(works, cast):
    assert not Price.objects.filter(club=cast.club, trend=None).exists()
    stone = Price.objects.select_related("trend").get(club=cast.club, code="stone-single_size")
    assert stone.trend.name == "stone, sand and soil"
    assert not PriceTrend.objects.filter(club=cast.club).exclude(source__contains="not confirmed")


def test_the_demonstration_club_is_told_that_prices_are_invented(cast):
    cast.club.is_demo = True
    load_default_price_book(club=cast.club, by=cast.manager)
    source = Price.objects.filter(club=cast.club)[0].source
    assert source == "invented for the demonstration club; replace by your own quotes"


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_round_trip(works, cast, kind):
    set_price(
        club=cast.club,
        code="labour-foreman",
        category="labour",
        name="=Foreman",
        unit="h",
        low=Decimal("20"),
        likely=None,
        high=Decimal("30"),
        wage=Decimal("18.20"),
        on_cost_percent=Decimal("31.5"),
        supplier="-",
        trend=PriceTrend.objects.get(club=cast.club, name="wages"),
        dated=date(2026, 9, 1),
        by=cast.manager,
    )
    entries = [one for one in entries_of(cast.club) if one["what"] != TREND]
    if kind == "csv":
        data = write_price_csv(entries, "GBP").encode("utf-8-sig")
        assert b"'=Foreman" in data
    else:
        data = write_workbook([price_sheet(entries, "GBP")])
    back = read_price_file(data, WANTED)
    assert back.refusals == ()
    for before, after in zip(entries, [row.entry for row in back.rows], strict=True):
        assert {name: before.get(name, "") for name in after} == after
    foreman = next(one for one in entries if one["code"] == "labour-foreman")
    assert foreman["likely"] == "23.93"


def test_a_bad_row_says_why_and_the_good_ones_stand_apart():
    book = read(
        "price,material,turf-tee,Tee turf,m²,4.00,5.00,6.00,,2026-10-01\n"
        "price,stones,x,Stone,t,1,2,3,,2026-10-01\n"
        "price,material,y,Sand,t,3,2,1,,2026-10-01\n"
        "output,,z,Dig,m³,0,1,2,,2026-10-01\n"
        "price,material,w,Turf,m²,one,2,3,,2026-10-01\n"
        "cost,material,v,Turf,m²,1,2,3,,2026-10-01\n"
        "price,material,bad code,Turf,m²,1,2,3,,2026-10-01\n"
        "price,material,turf-tee,Twice,m²,1,2,3,,2026-10-01\n"
        "price,material,u,,m²,1,2,3,,2026-10-01\n"
        "price,material,t,Three places,m²,1.001,2,3,,2026-10-01\n"
        "price,material,s,Below,m²,-1,2,3,,2026-10-01\n"
        "price,material,r,Undated,m²,1,2,3,,\n"
        "price,material,q,Empty,m²,1,,3,,2026-10-01\n"
    )
    assert [one.number for one in book.refusals] == list(range(3, 15))
    assert [one.code for one in book.refusals][:2] == ["x", "y"]
    for refusal, words in zip(
        book.refusals,
        (
            "category: one of labour, plant, material",
            "must rise, not 3.00, 2.00, 1.00",
            "must be more than 0",
            "low: a number is expected, not 'one'",
            "'price' or 'output' is expected, not 'cost'",
            "letters, figures, hyphens",
            "stands in row 2 already",
            "name: from 1 to 120 characters",
            "low: at most 2 decimal places",
            "low: a number from 0 to 999,999,999 is expected, not '-1'",
            "a price without a date is not taken",
            "likely: a number is expected, and there is none",
        ),
        strict=True,
    ):
        assert words in refusal.reason
    assert [row.entry["code"] for row in book.rows] == ["turf-tee"]


def test_rows_without_a_date_take_the_one_of_the_form():
    row = "price,material,turf,Turf,m²,4.00,5.00,6.00,,\n"
    assert "without a date" in reason(row)
    wanted = Wanted(currency="GBP", today=date(2026, 10, 3), dated=date(2026, 9, 1))
    assert read(row, wanted).rows[0].entry["dated"] == "2026-09-01"


@pytest.mark.parametrize(
    ("written", "day"),
    [
        ("2026-07-01", "2026-07-01"),
        ("01/07/2026", "2026-07-01"),
        ("1.7.2026", "2026-07-01"),
        ("1 Jul 2026", "2026-07-01"),
        ("1 July 2026", "2026-07-01"),
    ],
)
def test_days_as_people_write_them(written, day):
    row = f"price,material,turf,Turf,m²,4.00,5.00,6.00,,{written}\n"
    assert read(row).rows[0].entry["dated"] == day


@pytest.mark.parametrize("written", ["July", "31/02/2026", "1026-07-01", "2030-01-01", "46204"])
def test_what_is_no_day_of_a_price_is_refused(written):
    assert reason(f"price,material,turf,Turf,m²,4,5,6,,{written}\n").startswith("dated: a day ")


@pytest.mark.parametrize(
    ("figure", "words"),
    [
        ("€5.00", "the book is kept in GBP; this figure is in €"),
        ("5.00 EUR", "the book is kept in GBP; this figure is in EUR"),
        ("$5", "this figure is in $"),
        ("5.00 each", "a number is expected, not one with 'each'"),
        ("=2+3", "G2 holds a formula (=2+3); formulas are never worked out here"),
        ("1e3", "a number is expected"),
        ("NaN", "a number is expected"),
        ("9999999999", "0 to 999,999,999"),
    ],
)
def test_figures_that_are_refused(figure, words):
    assert words in reason(f"price,material,turf,Turf,m²,4.00,{figure},9999.00,,2026-10-01\n")


@pytest.mark.parametrize("figure", ["£5.00", "5", "5.00 GBP", "GBP 5.00", " 5.0 "])
def test_the_clubs_own_currency_may_stand_beside_a_figure(figure):
    row = f"price,material,turf,Turf,m²,4.00,{figure},6.00,,2026-10-01\n"
    assert read(row).rows[0].entry["likely"] == "5.00"


def test_a_currency_mixed_in_is_refused_row_by_row():
    text = (
        "what,category,code,name,unit,low,likely,high,dated,currency\n"
        "price,material,a,A,t,1,2,3,2026-10-01,GBP\n"
        "price,material,b,B,t,1,2,3,2026-10-01,EUR\n"
        "price,material,c,C,t,1,2,3,2026-10-01,\n"
    )
    book = read_price_file(text.encode(), WANTED)
    assert [row.entry["code"] for row in book.rows] == ["a", "c"]
    assert book.refusals[0].reason == ("currency: the book is kept in GBP; this row is in EUR")


def test_a_spreadsheet_with_types_signs_and_formulas():
    heading = ["What", "Category", "Code", "Name", "Unit", "Low", "Likely", "High", "Dated"]
    day = date(2026, 7, 1)
    data = xlsx(
        heading,
        ["price", "material", "a", "Stone", "t", 1, 0.1 + 0.2 + 1.7, 3.5, day],
        ["price", "material", "b", "Sand", "t", 1, "=F2*2", 3, day],
        ["price", "material", "c", "Soil", "t", 1, 2, 3, day],
        ["price", "material", "d", "Turf", "t", 1, 2, 3, None],
        ["price", "material", "e", "Seed", "t", 1, 2, day, day],
        ["price", "material", "f", "Lime", "t", 1, 2, 3, 46204],
        formats=[("G4", "[$€-407] #,##0.00"), ("G2", '"£"#,##0.00'), ("I2", "dd/mm/yyyy")],
    )
    book = read_price_file(data, WANTED)
    assert [(row.number, row.entry["likely"], row.entry["dated"]) for row in book.rows] == [
        (2, "2.00", "2026-07-01")
    ]
    reasons = {one.code: one.reason for one in book.refusals}
    assert "likely: G3 holds a formula (=F2*2)" in reasons["b"]
    assert "likely: the book is kept in GBP; this figure is in €" in reasons["c"]
    assert "without a date" in reasons["d"]
    assert "high: a number is expected, not '2026-07-01'" in reasons["e"]
    assert "dated: a day such as" in reasons["f"]


def test_other_columns_are_not_looked_at_even_with_formulas():
    text = (
        "what,category,code,name,unit,low,likely,high,dated,our notes\n"
        "price,material,a,A,t,1,2,3,2026-10-01,=1+1\n"
    )
    assert len(read_price_file(text.encode(), WANTED).rows) == 1


def test_other_separators_marks_and_decimal_commas():
    text = "\ufeffWhat;Category;Code;Name;Unit;Low;Likely;High;Dated\r\n"
    text += "price;material;turf;Turf;m2;1.234,50;2.000,25;3 000,00;2026-10-01\r\n"
    entry = read_price_file(text.encode(), WANTED).rows[0].entry
    assert (entry["low"], entry["likely"], entry["high"]) == ("1234.50", "2000.25", "3000.00")
    text = HEAD + 'price,material,turf,Turf,m2,"1,234.50","2,000",3000,,2026-10-01\n'
    entry = read_price_file(text.encode(), WANTED).rows[0].entry
    assert (entry["low"], entry["likely"]) == ("1234.50", "2000.00")
    assert "a number is expected, not '1,5'" in reason(
        'price,material,turf,Turf,m2,"1,5",2,3,,2026-10-01\n'
    )


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "empty"),
        ("code,name\nx,y\n", "lacks what, unit, low"),
        (HEAD, "no rows"),
        (HEAD.replace("source", "low"), "has low more than once"),
        (HEAD + "price,material,a,A,t,1,2,3,,\n" * 100_000, "more than 5,000 rows"),
    ],
)
def test_what_is_no_price_file_is_told_and_nothing_is_kept(cast, text, words):
    with pytest.raises(ValidationError, match=words):
        read_price_draft(club=cast.club, data=text.encode(), file_name="p.csv", by=cast.manager)
    assert not BookVersion.objects.filter(club=cast.club).exists()
    with pytest.raises(FileRefused, match=words):
        read_price_file(text.encode(), WANTED)


def test_every_column_of_the_file_is_written():
    out = write_price_csv([], "GBP")
    assert out == ",".join(COLUMNS) + "\r\n"
