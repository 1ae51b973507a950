"""The price book: set by hand, begun from the starting list; every change keeps a version."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
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
from worksprog.works.book_entries import OUTPUT, put
from worksprog.works.default_trends import DEFAULT_TRENDS, usual_trend
from worksprog.works.models import (
    OutputRate,
    Price,
    PriceTrend,
    SwayedBy,
)
from worksprog.works.services.book_versions import keep_version

DEMO_SOURCE = "invented for the demonstration club; replace by your own quotes"
START_SOURCE = "starting figure, not confirmed; replace by your own quotes"


def _was(row: Price | OutputRate | PriceTrend, before: Decimal | None) -> str:
    name = str(row.name)
    if before is None:
        return f"{name}: added"
    if before == row.likely:
        return f"{name}: changed"
    return f"{name}: {before:,.2f} → {row.likely:,.2f}"


@transaction.atomic
def set_price(
    *,
    club: Club,
    code: str,
    category: str,
    name: str,
    unit: str,
    low: Decimal,
    likely: Decimal | None,
    high: Decimal,
    dated: date,
    by: User | None,
    source: str = "",
    is_confirmed: bool = True,
    supplier: str = "",
    trend: PriceTrend | None = None,
    wage: Decimal | None = None,
    on_cost_percent: Decimal | None = None,
    hire: Decimal | None = None,
    fuel: Decimal | None = None,
) -> Price:
    """Set or add a price; estimates that stand keep theirs until they are built again.

    likely  may be left out where a wage with its on-cost, or a hire with its fuel, comes to it
    """
    price = Price.objects.filter(club=club, code=code).first() or Price(club=club, code=code)
    before = price.likely if price.pk else None
    price.category, price.name, price.unit = category, name, unit
    price.source, price.dated, price.is_confirmed = source, dated, is_confirmed
    price.supplier, price.trend = supplier, trend
    price.wage, price.on_cost_percent = wage, on_cost_percent
    price.hire, price.fuel = hire, fuel
    found = price.made_of if likely is None else likely
    if found is None:
        raise ValidationError(
            {"likely": "A likely price is expected, or the wage or hire that it follows from."}
        )
    price.low, price.likely, price.high = low, found, high
    save_record(price, by=by)
    keep_version(club=club, by=by, words=_was(price, before))
    return price


@transaction.atomic
def name_suppliers(
    *,
    club: Club,
    suppliers: Mapping[str, str],
    by: User | None,
    made_at: datetime | None = None,
) -> int:
    """Say from whom prices are, by their codes; how many were changed. One version of the book."""
    moved = []
    for price in Price.objects.filter(club=club, code__in=suppliers):
        if price.supplier != suppliers[price.code]:
            price.supplier = suppliers[price.code]
            price.full_clean(validate_unique=False)
            moved.append(price)
    if moved:
        update_records(moved, fields=("supplier",), by=by, label="Price book: suppliers")
        keep_version(club=club, by=by, words="suppliers named", made_at=made_at)
    return len(moved)


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
    swayed_by: str = SwayedBy.HANDS,
) -> OutputRate:
    """Set or add an output rate, in units an hour."""
    rate = OutputRate.objects.filter(club=club, code=code).first() or OutputRate(
        club=club, code=code
    )
    before = rate.likely if rate.pk else None
    rate.name, rate.unit = name, unit
    rate.low, rate.likely, rate.high = low, likely, high
    rate.source, rate.dated, rate.is_confirmed = source, dated, is_confirmed
    rate.swayed_by = swayed_by
    save_record(rate, by=by)
    keep_version(club=club, by=by, words=_was(rate, before))
    return rate


@transaction.atomic
def set_trend(*, trend: PriceTrend, by: User | None) -> PriceTrend:
    """Keep how a group of prices rises."""
    old = PriceTrend.objects.filter(pk=trend.pk).first() if trend.pk else None
    save_record(trend, by=by)
    words = _was(trend, old.likely if old else None)
    keep_version(club=trend.club, by=by, words=f"How prices rise, {words}")
    return trend


@transaction.atomic
def load_default_price_book(
    *,
    club: Club,
    by: User | None,
    dated: date | None = None,
    made_at: datetime | None = None,
) -> int:
    """Add the starting list, all of it not confirmed; what the club has is left as it is.

    Returns how many prices and output rates were added.
    """
    source = DEMO_SOURCE if club.is_demo else START_SOURCE
    day = dated or club.today()
    trends = _start_trends(club, day, by)
    have = set(Price.objects.filter(club=club).values_list("code", flat=True))
    have_rates = set(OutputRate.objects.filter(club=club).values_list("code", flat=True))
    # The list's own figures are in the currency of the club that takes them up.
    wanted = price_file.Wanted(currency=club.currency, today=day, dated=day)
    prices: list[Price] = []
    rates: list[OutputRate] = []
    for row in price_file.read_price_file(price_file.DEFAULT_BOOK.read_bytes(), wanted).rows:
        entry, code = row.entry, row.entry["code"]
        common: dict[str, Any] = {"club": club, "code": code, "source": source}
        if entry["what"] == OUTPUT and code not in have_rates:
            rate = OutputRate(**common)
            put(rate, entry, trends)
            rates.append(rate)
        elif entry["what"] != OUTPUT and code not in have:
            price = Price(**common)
            put(price, entry, trends)
            price.trend = price.trend or trends.get(usual_trend(price.category, code))
            prices.append(price)
    for new in (*prices, *rates):
        new.full_clean(validate_unique=False)
    save_records(prices, by=by, label="Starting price book: prices")
    save_records(rates, by=by, label="Starting price book: output rates")
    keep_version(club=club, by=by, words="starting list", made_at=made_at)
    return len(prices) + len(rates)


def _start_trends(club: Club, day: date, by: User | None) -> dict[str, PriceTrend]:
    """The club's trends by name, with those of the starting list that it lacks."""
    trends = {trend.name: trend for trend in PriceTrend.objects.filter(club=club)}
    source = DEMO_SOURCE if club.is_demo else START_SOURCE.replace("quotes", "index or experience")
    new = [
        PriceTrend(
            club=club, name=name, low=low, likely=likely, high=high, source=source, dated=day
        )
        for name, low, likely, high in DEFAULT_TRENDS
        if name not in trends
    ]
    for trend in save_records(new, by=by, label="Starting price book: how prices rise"):
        trends[trend.name] = trend
    return trends
