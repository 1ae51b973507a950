"""Rows into the build-up's own terms: what the book says, and lines there and back."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from worksprog.calc import build_up as calc
from worksprog.calc.ranges import ThreePoint
from worksprog.works.models import EstimateLine, LearntRate, OutputRate, Price


def _money(row: Price) -> calc.MoneyRange:
    return calc.MoneyRange(row.low, row.likely, row.high)


def crew_rate_of(row: LearntRate) -> calc.CrewRate:
    """A learnt rate as the build-up takes it."""
    told = row.posterior
    return calc.CrewRate(row.factor_likely, told.get("narrowing", 1.0), told.get("words", "learnt"))


def book_of_rows(
    prices: Iterable[Price],
    rates: Iterable[OutputRate],
    learnt: Iterable[LearntRate] = (),
) -> calc.Book:
    """The club's rows as the build-up's price book, with the rates its crew's hours have taught."""

    def source(row: Price | OutputRate) -> str:
        text = f"{row.source or 'price book'}, {row.dated:%b %Y}"
        return text if row.is_confirmed else f"{text}, not confirmed"

    return calc.Book(
        prices={
            row.code: calc.Price(row.code, row.name, row.unit, _money(row), source(row))
            for row in prices
        },
        rates={
            row.code: calc.OutputRate(
                row.code,
                row.name,
                row.unit,
                ThreePoint(float(row.low), float(row.likely), float(row.high)),
                source(row),
            )
            for row in rates
        },
        crew={row.kind: crew_rate_of(row) for row in learnt},
    )


def line_to_row(line: calc.Line, row: EstimateLine, *, price: Price | None) -> EstimateLine:
    """Put a worked-out line into its row."""
    row.category = line.category.value
    row.step = line.key
    row.description = line.description
    row.price = price
    row.unit = line.unit
    row.quantity_low, row.quantity_likely, row.quantity_high = (
        line.quantity.low,
        line.quantity.likely,
        line.quantity.high,
    )
    measured = line.measured or line.quantity
    row.measured_low, row.measured_likely, row.measured_high = (
        measured.low,
        measured.likely,
        measured.high,
    )
    row.measured_unit = line.measured_unit or line.unit
    output = line.output
    row.output_code = output.code if output else ""
    row.output_low = output.per_hour.low if output else None
    row.output_likely = output.per_hour.likely if output else None
    row.output_high = output.per_hour.high if output else None
    row.rate_low, row.rate_likely, row.rate_high = (
        line.unit_price.low,
        line.unit_price.likely,
        line.unit_price.high,
    )
    row.amount_low, row.amount_likely, row.amount_high = (
        line.amount.low,
        line.amount.likely,
        line.amount.high,
    )
    row.working = line.working.as_rows()
    return row


def row_to_line(row: EstimateLine) -> calc.Line:
    """A row as the build-up knows it, its amounts worked out anew from quantity and price."""
    output = None
    if row.output_low is not None and row.output_likely is not None and row.output_high is not None:
        per_hour = ThreePoint(row.output_low, row.output_likely, row.output_high)
        output = calc.OutputRate(row.output_code, row.output_code, row.measured_unit, per_hour, "")
    return calc.price_line(
        key=row.step,
        category=calc.Category(row.category),
        description=row.description,
        quantity=ThreePoint(row.quantity_low, row.quantity_likely, row.quantity_high),
        unit=row.unit,
        unit_price=calc.MoneyRange(
            Decimal(row.rate_low), Decimal(row.rate_likely), Decimal(row.rate_high)
        ),
        measured=ThreePoint(row.measured_low, row.measured_likely, row.measured_high)
        if row.measured_unit
        else None,
        measured_unit=row.measured_unit,
        output=output,
    )
