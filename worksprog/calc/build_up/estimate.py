"""From measures and parameters, through a recipe and a price book, to lines and totals."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from decimal import Decimal

from worksprog.calc.build_up.crew_rates import by_crew_rates, crew_codes
from worksprog.calc.build_up.hands import CONTRACTOR_LABOUR, Hands, given_to_contractor
from worksprog.calc.build_up.parts import (
    PENNY,
    BasedOn,
    Book,
    Category,
    Derived,
    Estimate,
    Line,
    LineRecipe,
    MoneyRange,
    OutputRate,
    Recipe,
    to_penny,
)
from worksprog.calc.ranges import RangeSum, Shape, ThreePoint, sum_ranges
from worksprog.calc.working import Step, Working

MOST_QUANTITY = 1e9  # beyond it a figure is a slip, and pennies no longer tell
CORRELATION = 0.25  # between the lines of one item: one crew, one ground, one winter


def _times(quantity: float, price: Decimal, penny: Decimal) -> Decimal:
    return to_penny(Decimal(repr(quantity)) * price, penny)


def price_line(
    *,
    key: str,
    category: Category,
    description: str,
    quantity: ThreePoint,
    unit: str,
    unit_price: MoneyRange,
    steps: tuple[Step, ...] = (),
    price_source: str = "",
    price_code: str = "",
    measured: ThreePoint | None = None,
    measured_unit: str = "",
    output: OutputRate | None = None,
    penny: Decimal = PENNY,
) -> Line:
    """A line from its quantity and unit price: amount = quantity x price, to the penny.

    Low goes with low and high with high. ValueError when a quantity or price is below 0.
    """
    if quantity.low < 0 or unit_price.low < 0:
        raise ValueError(f"'{description}': quantity and price must not be below 0.")
    if quantity.high > MOST_QUANTITY:
        raise ValueError(
            f"'{description}': a quantity of up to {MOST_QUANTITY:,.0f} is expected, not "
            f"{quantity.high:g}."
        )
    amount = MoneyRange(
        _times(quantity.low, unit_price.low, penny),
        _times(quantity.likely, unit_price.likely, penny),
        _times(quantity.high, unit_price.high, penny),
    )
    hours = quantity if category is Category.LABOUR else ThreePoint.exactly(0.0)
    shown = (
        *steps,
        Step("p", "price of one unit", float(unit_price.likely), f"per {unit}", "", price_source),
        Step("A", "amount, likely", f"{amount.likely:,}", "", "quantity × price, to the penny"),
        Step("", "amount, low to high", f"{amount.low:,} to {amount.high:,}"),
    )
    return Line(
        key=key,
        category=category,
        description=description,
        quantity=quantity,
        unit=unit,
        unit_price=unit_price,
        labour_h=hours,
        amount=amount,
        working=Working(description, shown),
        price_code=price_code,
        measured=measured if measured is not None else quantity,
        measured_unit=measured_unit or unit,
        output=output,
    )


def total_lines(lines: Iterable[Line]) -> tuple[ThreePoint, MoneyRange]:
    """Labour hours and money of all lines: sums of what the lines show, so columns add up."""
    hours, money = ThreePoint.exactly(0.0), MoneyRange.nothing()
    for line in lines:
        hours, money = hours.plus(line.labour_h), money.plus(line.amount)
    return hours, money


def total_by_category(lines: Iterable[Line]) -> dict[Category, MoneyRange]:
    totals = {category: MoneyRange.nothing() for category in Category}
    for line in lines:
        totals[line.category] = totals[line.category].plus(line.amount)
    return totals


def gather_values(
    recipe: Recipe,
    measures: Mapping[str, float],
    parameters: Mapping[str, float],
    told: Mapping[str, str],
) -> tuple[dict[str, ThreePoint], tuple[Step, ...]]:
    """Every measure and parameter of the recipe with its range, and the steps that tell whence.

    ValueError: a measure that is missing and has nothing usual, below 0, or unknown names.
    """
    known = {m.name for m in recipe.measures} | {p.name for p in recipe.parameters}
    strange = sorted((set(measures) | set(parameters)) - known)
    if strange:
        raise ValueError(f"{recipe.title} is not measured by {', '.join(strange)}.")
    values: dict[str, ThreePoint] = {}
    steps: list[Step] = []
    for measure in recipe.measures:
        value = measures.get(measure.name, measure.assumed)
        if value is None:
            raise ValueError(
                f"{recipe.title} needs the {measure.label}: choose a feature it can be "
                "measured from, or enter it."
            )
        if not value >= 0:
            raise ValueError(f"{recipe.title}: the {measure.label} must not be below 0.")
        based_on = BasedOn.MEASURED if measure.name in measures else BasedOn.ASSUMED
        source = told.get(measure.name, based_on.value)
        values[measure.name] = ThreePoint.exactly(value)
        steps.append(Step("", measure.label, value, measure.unit, "", source))
    for parameter in recipe.parameters:
        if parameter.name in parameters:
            value = parameter.checked(parameters[parameter.name])
            values[parameter.name] = ThreePoint.exactly(value)
            source = told.get(parameter.name, BasedOn.ENTERED.value)
        else:
            values[parameter.name] = parameter.usual
            source = f"{BasedOn.ASSUMED}"
            if not parameter.usual.is_certain:
                source += f", {parameter.usual.low:g} to {parameter.usual.high:g}"
        likely = values[parameter.name].likely
        steps.append(Step("", parameter.label, likely, parameter.unit, "", source))
    return values, tuple(steps)


def _line(
    recipe_line: LineRecipe,
    derived: Mapping[str, Derived],
    values: Mapping[str, ThreePoint],
    book: Book,
    penny: Decimal,
    hands: Hands,
) -> Line | None:
    category, price_code = recipe_line.category, recipe_line.price
    if recipe_line.key in hands.within_a_rate:
        return None
    by_rate = recipe_line.key in hands.by_rate
    if by_rate:
        category, price_code = Category.CONTRACTOR, recipe_line.contract_rate
    elif recipe_line.key in hands.by_hours:
        category, price_code = Category.CONTRACTOR, CONTRACTOR_LABOUR
    what = recipe_line.description
    quantity, named = derived[recipe_line.quantity].range, derived[recipe_line.quantity].step
    if quantity.high == 0:
        return None
    steps = [Step("q", named.meaning, quantity.likely, named.unit, named.formula, named.source)]
    unit = named.unit
    if recipe_line.waste:
        waste = values[recipe_line.waste]
        share = ThreePoint(1 + waste.low, 1 + waste.likely, 1 + waste.high)
        quantity = quantity.times_range(share)
        steps.append(Step("q", "with waste", quantity.likely, unit, f"q × (1 + {waste.likely:g})"))
    measured, measured_unit, output = quantity, unit, None
    if recipe_line.rate and not by_rate:
        output = rate = book.rate(recipe_line.rate, used_for=what)
        if rate.unit != unit:
            raise ValueError(
                f"'{what}' is counted in {unit}, but the output rate '{rate.code}' is in "
                f"{rate.unit} an hour."
            )
        quantity = quantity.over_range(rate.per_hour)
        steps.append(
            Step("r", f"output: {rate.name}", rate.per_hour.likely, f"{unit}/h", "", rate.source)
        )
        steps.append(Step("t", "hours", quantity.likely, "h", "q / r"))
        unit = "h"
    if "{" in price_code:
        chosen = {name: f"{value.likely:g}" for name, value in values.items()}
        price_code = price_code.format(**chosen)
    price = book.price(price_code, used_for=what)
    if price.unit != unit:
        raise ValueError(
            f"'{what}' is counted in {unit}, but the price book's '{price.code}' is a price "
            f"per {price.unit}."
        )
    return price_line(
        key=recipe_line.key,
        category=category,
        description=what,
        quantity=quantity,
        unit=unit,
        unit_price=price.amount,
        steps=tuple(steps),
        price_source=price.source,
        price_code=price.code,
        measured=measured,
        measured_unit=measured_unit,
        output=output,
        penny=penny,
    )


def build_up(
    recipe: Recipe,
    *,
    measures: Mapping[str, float],
    parameters: Mapping[str, float],
    book: Book,
    told: Mapping[str, str] | None = None,
    by_contractor: bool = False,
    contract_steps: Collection[str] = (),
    penny: Decimal = PENNY,
) -> Estimate:
    """The whole build-up of one item, every line and total with its working.

    ``told`` says of a measure or parameter where it came from, for the working. ``by_contractor``:
    the steps are a contractor's, priced as such, and take none of the crew's hours;
    ``contract_steps``: these of them are, the crew does the others. What the crew's hours have
    taught of this kind of work (``book.crew``) stands in place of the book's output rates.

    The low case takes every uncertain figure at the end that makes less of it and the high case
    at the other, so they are the corners of what may come; the working adds mean and spread.
    ValueError: something to measure is missing, a parameter out of bounds, a price or output rate
    not in the book, or priced by another unit.
    """
    values, given = gather_values(recipe, measures, parameters, told or {})
    derived = recipe.derive(values)
    hands = given_to_contractor(recipe, book, everything=by_contractor, steps=contract_steps)
    book, learnt = by_crew_rates(recipe, book, hands)
    lines = tuple(
        line
        for line in (_line(each, derived, values, book, penny, hands) for each in recipe.lines)
        if line is not None
    )
    hours, money = total_lines(lines)
    everything = (*given, *(one.step for one in derived.values()))
    return Estimate(
        kind=recipe.kind,
        derived=derived,
        given=everything,
        lines=lines,
        labour_h=hours,
        money=money,
        by_category=total_by_category(lines),
        working=total_working(
            recipe.title,
            lines,
            given=everything,
            notes=recipe.assumes,
        ),
        learnt=learnt,
        learnt_codes=crew_codes(recipe, hands) if learnt is not None else frozenset(),
    )


def spread_of(lines: Iterable[Line]) -> tuple[RangeSum, RangeSum]:
    """Labour hours and money of the lines as mean and spread."""
    listed = tuple(lines)
    labour = [line.labour_h for line in listed if line.labour_h.high > 0]
    return (
        sum_ranges(labour, shape=Shape.BETA_PERT, correlation=CORRELATION, unit="h"),
        sum_ranges(
            [line.amount.as_points() for line in listed],
            shape=Shape.BETA_PERT,
            correlation=CORRELATION,
        ),
    )


def total_working(
    title: str,
    lines: Iterable[Line],
    *,
    given: tuple[Step, ...] = (),
    drawn: tuple[Step, ...] = (),
    notes: tuple[str, ...] = (),
) -> Working:
    """How hours and money were added up, and how sure they are.

    ``drawn`` is what a simulation of the lines told; mean, spread and 8 in 10 by the closed form
    and a normal curve stand beside it as a check.
    """
    listed = tuple(lines)
    hours, money = total_lines(listed)
    hours_spread, spread = spread_of(listed)
    steps = (
        *given,
        *(
            Step(line.category.value, line.description, f"{line.amount.likely:,}", "")
            for line in listed
        ),
        Step("H", "labour, likely", hours.likely, "h", "sum of the labour lines"),
        Step("", "labour, low to high", f"{hours.low:,.1f} to {hours.high:,.1f}", "h"),
        Step("", "money, low to high", f"{money.low:,} to {money.high:,}"),
        *drawn,
        Step(
            "",
            "check by the closed form: labour, 8 in 10 within",
            hours_spread.not_exceeded(0.8),
            "h",
            "µ + 0.842 σ of the labour lines",
            "normal curve",
        ),
        *spread.working.steps,
        Step(
            "",
            "check by the closed form: money, 8 in 10 within",
            spread.not_exceeded(0.8),
            "",
            "µ + 0.842 σ",
            "normal curve",
        ),
        Step("T", "money, likely", f"{money.likely:,}", "", "sum of the lines, each to the penny"),
    )
    return Working(f"{title}: hours and money", steps, (*notes, "Before tax."))
