"""Estimates: lines follow from quantities, pennies add up, and gaps are named."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from worksprog.calc.build_up import (
    RECIPES,
    Book,
    Category,
    MoneyRange,
    OutputRate,
    Price,
    build_up,
    price_line,
    to_penny,
    total_lines,
)
from worksprog.calc.ranges import ThreePoint

CREW = Price(
    "labour-crew",
    "Crew",
    "h",
    MoneyRange(Decimal("18.00"), Decimal("20.00"), Decimal("24.00")),
    "by hand",
)


def book_for(*kinds: str) -> Book:
    """A book in which every unit costs 9, 10 or 12 and every output is 4, 5 or 8 an hour."""
    prices, rates = {"labour-crew": CREW}, {}
    ten = MoneyRange(Decimal(9), Decimal(10), Decimal(12))
    for kind in kinds:
        recipe = RECIPES[kind]
        usual = {p.name: f"{p.usual.likely:g}" for p in recipe.parameters}
        units = {one.name: one.unit for one in recipe.quantities}
        for line in recipe.lines:
            unit = units[line.quantity]
            if line.rate:
                rates[line.rate] = OutputRate(
                    line.rate, line.rate, unit, ThreePoint(4, 5, 8), "by hand"
                )
            code = line.price.format(**usual)
            prices.setdefault(code, Price(code, code, "h" if line.rate else unit, ten, "by hand"))
    return Book(prices, rates)


def test_seeding_by_hand():
    """1,000 m² at 25, 30, 40 g: 30 kg; hours 1000 / 5 = 200 for each of three labour lines."""
    estimate = build_up(
        RECIPES["seeding"], measures={"area_m2": 1000}, parameters={}, book=book_for("seeding")
    )
    assert estimate.labour_h == ThreePoint(3 * 1000 / 8, 3 * 1000 / 5, 3 * 1000 / 4)
    by_key = {line.key: line for line in estimate.lines}
    assert by_key["seed"].quantity == ThreePoint(25, 30, 40)
    assert by_key["seed"].amount == MoneyRange(
        Decimal("225.00"), Decimal("300.00"), Decimal("480.00")
    )
    assert by_key["prepare"].amount.likely == Decimal("4000.00")
    assert by_key["prepare"].amount.low == Decimal("2250.00")  # 125 h at 18
    assert by_key["prepare"].amount.high == Decimal("6000.00")  # 250 h at 24
    # 3 x 4,000 labour + 200 h tractor at 10 + 300 seed + 1,000 m² feed at 10
    assert estimate.money.likely == Decimal("24300.00")
    assert estimate.by_category[Category.LABOUR].likely == Decimal("12000.00")


@pytest.mark.parametrize("kind", sorted(RECIPES))
def test_every_recipe_adds_up_and_opens_its_working(kind):
    recipe = RECIPES[kind]
    measures = {measure.name: 40.0 for measure in recipe.measures if measure.assumed in (None, 0.0)}
    measures.pop("depth_change_m", None)
    estimate = build_up(recipe, measures=measures, parameters={}, book=book_for(kind))
    assert estimate.lines
    hours, money = total_lines(estimate.lines)
    assert (hours, money) == (estimate.labour_h, estimate.money)
    assert sum((m.likely for m in estimate.by_category.values()), Decimal(0)) == money.likely
    assert 0 < hours.low < hours.likely < hours.high
    assert Decimal(0) < money.low < money.likely < money.high
    assert recipe.progress in estimate.derived
    assert estimate.working.steps[-1].value == f"{money.likely:,}"
    for line in estimate.lines:
        assert line.amount.likely == to_penny(line.amount.likely)
        assert len(line.working.steps) >= 4
        if line.category is not Category.LABOUR:
            assert line.labour_h.high == 0
    keys = [line.key for line in recipe.lines]
    assert len(set(keys)) == len(keys)


def test_more_length_never_costs_less():
    book = book_for("carrier_pipe")
    totals = [
        build_up(
            RECIPES["carrier_pipe"], measures={"length_m": length}, parameters={}, book=book
        ).money.likely
        for length in (10, 50, 51, 250)
    ]
    assert totals == sorted(totals)
    assert totals[3] == pytest.approx(totals[1] * 5, rel=Decimal("0.001"))


def test_spoil_carted_away_goes_in_whole_loads():
    book = book_for("ditch_dug")
    estimate = build_up(
        RECIPES["ditch_dug"],
        measures={"length_m": 100},
        parameters={"carted_share": 1.0, "bulking": 1.3, "load_m3": 10},
        book=book,
    )
    # (0.5 + 1.5 x 0.9) x 0.9 x 100 = 166.5 m³ in the bank, 216.45 loose: 22 loads
    loads = next(line for line in estimate.lines if line.key == "cart-away")
    assert loads.quantity == ThreePoint.exactly(22)
    assert "cart-trailer" not in {line.key for line in estimate.lines}


def test_halves_go_to_the_even_penny():
    assert [to_penny(Decimal(v)) for v in ("0.005", "0.015", "0.025", "0.0251")] == [
        Decimal("0.00"),
        Decimal("0.02"),
        Decimal("0.02"),
        Decimal("0.03"),
    ]


def test_a_line_refuses_less_than_nothing():
    with pytest.raises(ValueError, match="must not be below 0"):
        price_line(
            key="x",
            category=Category.MATERIAL,
            description="Stone",
            quantity=ThreePoint(-1, 0, 1),
            unit="t",
            unit_price=MoneyRange.exactly(Decimal(1)),
        )


@pytest.mark.parametrize(
    ("kind", "measures", "parameters", "words"),
    [
        ("carrier_pipe", {}, {}, "needs the length along the line"),
        ("carrier_pipe", {"length_m": -3}, {}, "must not be below 0"),
        ("carrier_pipe", {"length_m": 3, "stems": 1}, {}, "not measured by stems"),
        ("carrier_pipe", {"length_m": 3}, {"pipe_mm": 310}, "choose one of 150, 225, 300"),
        ("carrier_pipe", {"length_m": 3}, {"bulking": 3}, "from 1 to 1.8"),
        ("carrier_pipe", {"length_m": 3, "mean_depth_m": 0.3}, {}, "deep"),
        ("laterals", {}, {}, "length or an area"),
        ("path", {}, {}, "length or an area"),
        ("tree_thinning", {}, {}, "stems or an area"),
    ],
)
def test_what_is_missing_is_named(kind, measures, parameters, words):
    with pytest.raises(ValueError, match=words):
        build_up(RECIPES[kind], measures=measures, parameters=parameters, book=book_for(kind))


def test_gaps_in_the_book_are_named():
    full = book_for("seeding")
    without_price = Book(
        {k: v for k, v in full.prices.items() if k != "seed-by_weight"}, full.rates
    )
    without_rate = Book(full.prices, {})
    per_bag = Book(
        {**full.prices, "seed-by_weight": replace(full.prices["seed-by_weight"], unit="bag")},
        full.rates,
    )
    per_ha = Book(full.prices, {**full.rates, "grow_in": replace(full.rates["grow_in"], unit="ha")})
    for book, words in (
        (without_price, "no entry 'seed-by_weight', which 'Seed' needs"),
        (without_rate, "no output rate 'prepare_seedbed'"),
        (per_bag, "counted in kg, but the price book's 'seed-by_weight' is a price per bag"),
        (per_ha, "counted in m², but the output rate 'grow_in' is in ha an hour"),
    ):
        with pytest.raises(ValueError, match=words):
            build_up(RECIPES["seeding"], measures={"area_m2": 10}, parameters={}, book=book)


def test_a_contractors_hours_are_priced_and_take_none_of_the_crews():
    full = book_for("seeding")
    contractor = replace(CREW, code="labour-contractor", amount=MoneyRange.exactly(Decimal(40)))
    book = Book({**full.prices, "labour-contractor": contractor}, full.rates)
    recipe, measures = RECIPES["seeding"], {"area_m2": 1000.0}
    own = build_up(recipe, measures=measures, parameters={}, book=book)
    let = build_up(recipe, measures=measures, parameters={}, book=book, by_contractor=True)
    assert let.labour_h == ThreePoint.exactly(0)
    assert let.by_category[Category.LABOUR] == MoneyRange.nothing()
    assert let.by_category[Category.CONTRACTOR].likely == Decimal("24000.00")  # 600 h at 40
    assert let.by_category[Category.MATERIAL] == own.by_category[Category.MATERIAL]


def test_the_working_says_where_each_figure_came_from():
    estimate = build_up(
        RECIPES["carrier_pipe"],
        measures={"length_m": 250.0},
        parameters={"pipe_mm": 225.0},
        book=replace_pipe(book_for("carrier_pipe"), "225"),
        told={"length_m": "measured: sum of 2 features"},
    )
    sources = {step.meaning: step.source for step in estimate.given}
    assert sources["length along the line"] == "measured: sum of 2 features"
    assert sources["pipe, nominal bore"] == "entered"
    assert sources["mean depth from ground to invert"] == "assumed"
    assert sources["loose m³ for one m³ in the bank"] == "assumed, 1.3 to 1.43"


def replace_pipe(book: Book, bore: str) -> Book:
    """The same book with the usual pipe's price under another bore."""
    code = f"pipe-twinwall-{bore}"
    return Book(
        {**book.prices, code: replace(book.prices["pipe-twinwall-300"], code=code)}, book.rates
    )
