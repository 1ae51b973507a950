"""The price book as a file: taken whole or not at all, with the reason for every row."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from worksprog.works.models import OutputRate, Price
from worksprog.works.price_file import decode, read_price_file, write_price_file
from worksprog.works.services import import_price_book, load_default_price_book

HEAD = "what,category,code,name,unit,low,likely,high,source\n"


def test_starting_book_is_not_confirmed_and_leaves_what_is_there(works, cast):
    assert Price.objects.filter(club=cast.club, is_confirmed=True).count() == 0
    source = Price.objects.filter(club=cast.club)[0].source
    assert source == "starting figure, not confirmed; replace by your own quotes"
    assert load_default_price_book(club=cast.club, by=cast.manager) == 0
    Price.objects.filter(club=cast.club, code="turf-tee").delete()
    assert load_default_price_book(club=cast.club, by=cast.manager) == 1


def test_the_demonstration_club_is_told_that_prices_are_invented(cast):
    cast.club.is_demo = True
    load_default_price_book(club=cast.club, by=cast.manager)
    source = Price.objects.filter(club=cast.club)[0].source
    assert source == "invented for the demonstration club; replace by your own quotes"


def test_round_trip(works, cast):
    prices = list(Price.objects.filter(club=cast.club))
    rates = list(OutputRate.objects.filter(club=cast.club))
    entries: list[Price | OutputRate] = [*prices, *rates]
    back = read_price_file(write_price_file(prices, rates))
    assert back.refusals == ()
    assert {(r.code, r.low, r.likely, r.high) for r in back.rows} == {
        (r.code, r.low, r.likely, r.high) for r in entries
    }


def test_import_changes_and_adds(works, cast):
    text = HEAD + (
        "price,material,turf-tee,Tee turf,m²,4.00,5.00,6.00,Quote of 3 Oct\n"
        "output,,lay_turf,Lay turf,m²,10,14,20,our own log\n"
        "price,plant,plant-dumper,Dumper,h,8,9.5,12,\n"
    )
    result = import_price_book(club=cast.club, text=text, dated=date(2026, 10, 3), by=cast.manager)
    assert (result.added, result.changed, result.refusals) == (1, 2, ())
    turf = Price.objects.get(club=cast.club, code="turf-tee")
    assert (turf.likely, turf.is_confirmed, turf.dated) == (
        Decimal("5.00"),
        True,
        date(2026, 10, 3),
    )
    assert OutputRate.objects.get(club=cast.club, code="lay_turf").likely == 14


def test_a_bad_row_stops_all_of_it(works, cast):
    text = HEAD + (
        "price,material,turf-tee,Tee turf,m²,4.00,5.00,6.00,\n"
        "price,stones,x,Stone,t,1,2,3,\n"
        "price,material,y,Sand,t,3,2,1,\n"
        "output,,z,Dig,m³,0,1,2,\n"
        "price,material,w,Turf,m²,one,2,3,\n"
        "cost,material,v,Turf,m²,1,2,3,\n"
        "price,material,bad code,Turf,m²,1,2,3,\n"
        "price,material,turf-tee,Twice,m²,1,2,3,\n"
        "price,material,u,,m²,1,2,3,\n"
        "price,material,t,Three places,m²,1.001,2,3,\n"
    )
    result = import_price_book(club=cast.club, text=text, dated=date(2026, 10, 3), by=cast.manager)
    assert [one.number for one in result.refusals] == [3, 4, 5, 6, 7, 8, 9, 10, 11]
    reasons = " / ".join(one.reason for one in result.refusals)
    for words in (
        "one of labour, plant, material",
        "must rise",
        "must be more than 0",
        "a number is expected, not 'one'",
        "'price' or 'output' is expected, not 'cost'",
        "letters, figures, hyphens",
        "stands in row 2 already",
        "from 1 to 120 characters",
        "2 decimal places",
    ):
        assert words in reasons
    assert Price.objects.get(club=cast.club, code="turf-tee").name != "Tee turf"


def test_other_separators_marks_and_decimal_commas():
    text = "\ufeffWhat;Category;Code;Name;Unit;Low;Likely;High\r\n"
    text += "price;material;turf;Turf;m2;1.234,50;2.000,25;3.000,00\r\n"
    book = read_price_file(decode(text.encode("utf-8")))
    assert book.refusals == ()
    assert (book.rows[0].low, book.rows[0].likely) == (Decimal("1234.50"), Decimal("2000.25"))
    assert decode("m²".encode("cp1252")) == "m²"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "empty"),
        ("code,name\nx,y\n", "lacks what, unit, low"),
        (HEAD, "no rows"),
        (HEAD + "price,material,a,A,t,1,2,3,\n" * 5001, "more than 5,000 rows"),
    ],
)
def test_what_is_no_price_file_is_told(cast, text, words):
    with pytest.raises(ValidationError, match=words):
        import_price_book(club=cast.club, text=text, dated=date(2026, 10, 3), by=cast.manager)


def test_formulas_are_not_written_for_spreadsheets(works, cast):
    price = Price.objects.get(club=cast.club, code="turf-tee")
    price.name = "=2+3"
    assert "'=2+3" in write_price_file([price], [])
