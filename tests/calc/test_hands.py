"""The same job by the own crew, by a contractor, and shared between them."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from worksprog.calc.build_up import RECIPES, Book, Category, MoneyRange, OutputRate, Price, build_up
from worksprog.calc.build_up.compare import compare_lines
from worksprog.calc.build_up.hands import given_to_contractor, steps_of
from worksprog.calc.ranges import ThreePoint

DITCH = RECIPES["ditch_regraded"]
MEASURED = {"length_m": 100.0}
FIGURES = {"bottom_m": 0.5, "side_slope": 1.0, "silt_m": 0.5, "bulking": 1.0, "carted_share": 0.0}


def price(code: str, amount: str, unit: str) -> Price:
    return Price(code, code, unit, MoneyRange.exactly(Decimal(amount)), "by hand")


def book(*more: Price) -> Book:
    """Fifty cubic metres of ditch: 5 h to dig at 10 an hour, each hour at 20 and the machine 30."""
    prices = {"labour-contractor": price("labour-contractor", "40.00", "h")}
    rates = {}
    for line in DITCH.lines:
        unit = next(one.unit for one in DITCH.quantities if one.name == line.quantity)
        if line.rate:
            rates[line.rate] = OutputRate(line.rate, "", unit, ThreePoint.exactly(10.0), "by hand")
            cost = "20.00" if line.category is Category.LABOUR else "30.00"
            prices[line.price] = price(line.price, cost, "h")
        else:
            prices[line.price] = price(line.price, "100.00", unit)
    return Book({**prices, **{one.code: one for one in more}}, rates)


def built(of: Book, **hands):
    return build_up(DITCH, measures=MEASURED, parameters=FIGURES, book=of, **hands)


def lines(estimate) -> dict[str, tuple[str, Decimal]]:
    return {one.key: (one.category.value, one.amount.likely) for one in estimate.lines}


def test_by_the_hour_the_machine_stays_hired():
    """5 h to dig: 100 by the crew, 200 by a contractor; the excavator 150 either way."""
    own, given = lines(built(book())), lines(built(book(), by_contractor=True))
    assert own["dig-driver"] == ("labour", Decimal("100.00"))
    assert given["dig-driver"] == ("contractor", Decimal("200.00"))
    assert own["dig-machine"] == given["dig-machine"] == ("plant", Decimal("150.00"))


def test_by_his_rate_the_machine_comes_with_him():
    """50 m³ at 6 are 300, for driver and excavator together; what has no rate goes by the hour."""
    own = built(book())
    rated = built(book(price("contract-dig_ditch", "6.00", "m³")), by_contractor=True)
    got = lines(rated)
    assert got["dig-driver"] == ("contractor", Decimal("300.00"))
    assert "dig-machine" not in got
    assert got["clear"] == ("contractor", Decimal("400.00"))  # 100 m at 10 an hour, 40 an hour
    assert rated.labour_h == ThreePoint.exactly(0.0)
    told = compare_lines(own.lines, rated.lines)
    assert told.effects.total == rated.money.likely - own.money.likely
    assert told.hours.lines_h == pytest.approx(-own.labour_h.likely)


def test_a_mix_takes_only_the_steps_named():
    with_rate = book(price("contract-dig_ditch", "6.00", "m³"))
    own = built(with_rate)
    mixed = built(with_rate, contract_steps=["dig-driver"])
    assert mixed.labour_h.likely == pytest.approx(own.labour_h.likely - 5.0)
    assert mixed.money.likely == own.money.likely - Decimal("250.00") + Decimal("300.00")
    assert lines(mixed)["clear"][0] == "labour"
    every = [step.key for step in steps_of(DITCH)]
    assert (
        built(with_rate, contract_steps=every).lines == built(with_rate, by_contractor=True).lines
    )


def test_a_step_that_the_recipe_no_longer_has_is_passed_over():
    hands = given_to_contractor(DITCH, book(), everything=False, steps=["gone", "clear"])
    assert hands.by_hours == {"clear"} and not hands.by_rate


def test_a_recipe_may_name_another_rate():
    own_rate = replace(
        DITCH,
        lines=tuple(
            replace(line, contract="contract-by-the-metre") if line.key == "clear" else line
            for line in DITCH.lines
        ),
    )
    of = book(price("contract-by-the-metre", "3.00", "m"))
    got = build_up(
        own_rate, measures=MEASURED, parameters=FIGURES, book=of, contract_steps=["clear"]
    )
    assert lines(got)["clear"] == ("contractor", Decimal("300.00"))


def test_a_contractors_rate_in_another_unit_is_named():
    of = book(price("contract-dig_ditch", "6.00", "t"))
    with pytest.raises(ValueError, match=r"counted in m³.*'contract-dig_ditch' is a price per t"):
        built(of, by_contractor=True)
