"""The price book: set by hand, begun from the starting list, brought in by file."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from worksprog.clubs.models import Club, User
from worksprog.clubs.records import (
    save_record,
    save_records,
    update_records,
)
from worksprog.works import price_file
from worksprog.works.models import (
    OutputRate,
    Price,
)

DEMO_SOURCE = "invented for the demonstration club; replace by your own quotes"
START_SOURCE = "starting figure, not confirmed; replace by your own quotes"


@transaction.atomic
def set_price(
    *,
    club: Club,
    code: str,
    category: str,
    name: str,
    unit: str,
    low: Decimal,
    likely: Decimal,
    high: Decimal,
    dated: date,
    by: User | None,
    source: str = "",
    is_confirmed: bool = True,
) -> Price:
    """Set or add a price; estimates that stand keep theirs until they are built again."""
    price = Price.objects.filter(club=club, code=code).first() or Price(club=club, code=code)
    price.category, price.name, price.unit = category, name, unit
    price.low, price.likely, price.high = low, likely, high
    price.source, price.dated, price.is_confirmed = source, dated, is_confirmed
    return save_record(price, by=by)


@transaction.atomic
def set_output_rate(
    *,
    club: Club,
    code: str,
    name: str,
    unit: str,
    low: Decimal,
    likely: Decimal,
    high: Decimal,
    dated: date,
    by: User | None,
    source: str = "",
    is_confirmed: bool = True,
) -> OutputRate:
    """Set or add an output rate, in units an hour."""
    rate = OutputRate.objects.filter(club=club, code=code).first() or OutputRate(
        club=club, code=code
    )
    rate.name, rate.unit = name, unit
    rate.low, rate.likely, rate.high = low, likely, high
    rate.source, rate.dated, rate.is_confirmed = source, dated, is_confirmed
    return save_record(rate, by=by)


@transaction.atomic
def load_default_price_book(*, club: Club, by: User | None, dated: date | None = None) -> int:
    """Add the starting list, all of it not confirmed; what the club has is left as it is.

    Returns how many entries were added.
    """
    text = price_file.DEFAULT_BOOK.read_text(encoding="utf-8")
    source = DEMO_SOURCE if club.is_demo else START_SOURCE
    day = dated or club.today()
    have = set(Price.objects.filter(club=club).values_list("code", flat=True))
    have_rates = set(OutputRate.objects.filter(club=club).values_list("code", flat=True))
    prices: list[Price] = []
    rates: list[OutputRate] = []
    for row in price_file.read_price_file(text).rows:
        common: dict[str, Any] = {
            "club": club,
            "code": row.code,
            "name": row.name,
            "unit": row.unit,
            "low": row.low,
            "likely": row.likely,
            "high": row.high,
            "source": source,
            "dated": day,
            "is_confirmed": False,
        }
        if row.is_rate and row.code not in have_rates:
            rates.append(OutputRate(**common))
        elif not row.is_rate and row.code not in have:
            prices.append(Price(**common, category=row.category))
    for entry in (*prices, *rates):
        entry.full_clean(validate_unique=False)
    save_records(prices, by=by, label="Starting price book: prices")
    save_records(rates, by=by, label="Starting price book: output rates")
    return len(prices) + len(rates)


@dataclass(frozen=True)
class BookImport:
    """What a file brought; nothing is saved when a row was refused."""

    added: int
    changed: int
    refusals: tuple[price_file.Refusal, ...]


@transaction.atomic
def import_price_book(*, club: Club, text: str, dated: date, by: User | None) -> BookImport:
    """Take a price file: all of it, or nothing and the reason for every row refused.

    ValidationError when the file is not a price file at all.
    """
    try:
        book_file = price_file.read_price_file(text)
    except ValueError as error:
        raise ValidationError(str(error)) from error
    refusals = list(book_file.refusals)
    prices = {row.code: row for row in Price.objects.filter(club=club)}
    rates = {row.code: row for row in OutputRate.objects.filter(club=club)}
    new: list[Price | OutputRate] = []
    old: list[Price | OutputRate] = []
    for row in book_file.rows:
        found: Price | OutputRate | None = (rates if row.is_rate else prices).get(row.code)
        entry: Price | OutputRate = found or (
            OutputRate(club=club, code=row.code) if row.is_rate else Price(club=club, code=row.code)
        )
        if isinstance(entry, Price):
            entry.category = row.category
        entry.name, entry.unit = row.name, row.unit
        entry.low, entry.likely, entry.high = row.low, row.likely, row.high
        entry.source, entry.dated, entry.is_confirmed = row.source, dated, True
        try:
            entry.full_clean(validate_unique=False)
        except ValidationError as error:
            refusals.append(price_file.Refusal(row.number, "; ".join(error.messages)))
        (old if found else new).append(entry)
    if refusals:
        return BookImport(0, 0, tuple(sorted(refusals, key=lambda one: one.number)))
    for model, label in ((Price, "prices"), (OutputRate, "output rates")):
        words = f"Price file: {label}"
        fields = ["name", "unit", "low", "likely", "high", "source", "dated", "is_confirmed"]
        if model is Price:
            fields.append("category")
        update_records(
            [row for row in old if isinstance(row, model)], fields=fields, by=by, label=words
        )
        save_records([row for row in new if isinstance(row, model)], by=by, label=words)
    return BookImport(len(new), len(old), ())
