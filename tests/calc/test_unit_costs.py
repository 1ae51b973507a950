"""Hours made of their parts, and sales tax on sums; money to the penny, halves to even."""

from __future__ import annotations

import random
from decimal import Decimal

import pytest

from worksprog.calc.sales_tax import sales_tax
from worksprog.calc.unit_costs import (
    labour_hour,
    labour_working,
    plant_hour,
    plant_working,
)


@pytest.mark.parametrize(
    ("wage", "on_cost", "hour"),
    [
        ("14.50", "32", "19.14"),
        ("12.50", "0", "12.50"),
        ("10.00", "0.05", "10.00"),  # 10.005 goes to the even penny
        ("10.00", "0.15", "10.02"),  # and 10.015 too
    ],
)
def test_a_grade_with_its_on_cost(wage, on_cost, hour):
    assert labour_hour(Decimal(wage), Decimal(on_cost)) == Decimal(hour)
    last = labour_working(Decimal(wage), Decimal(on_cost), "GBP/h").as_rows()[-1]
    assert (last["value"], last["formula"]) == (hour, "w (1 + c / 100)")


def test_a_machine_with_its_fuel():
    assert plant_hour(Decimal("18.00"), Decimal("7.35")) == Decimal("25.35")
    assert plant_working(Decimal("18"), Decimal("7.35"), "GBP/h").as_rows()[-1]["value"] == "25.35"


@pytest.mark.parametrize("bad", ["-0.01", "NaN", "Infinity"])
def test_parts_below_0_are_refused(bad):
    with pytest.raises(ValueError, match="wage must not be below 0"):
        labour_hour(Decimal(bad), Decimal(10))
    with pytest.raises(ValueError, match="on cost must not be below 0"):
        labour_hour(Decimal(10), Decimal(bad))
    with pytest.raises(ValueError, match="fuel must not be below 0"):
        plant_hour(Decimal(10), Decimal(bad))


def taxed(net, bought, percent="20", recovered="0"):
    return sales_tax(
        net=Decimal(net),
        bought=Decimal(bought),
        percent=Decimal(percent),
        recovered_percent=Decimal(recovered),
    )


def test_tax_falls_on_what_is_bought_and_part_of_it_comes_back():
    tax = taxed("1000.00", "600.00", "12.5", "40")
    assert (tax.tax, tax.recovered, tax.kept) == (
        Decimal("75.00"),
        Decimal("30.00"),
        Decimal("45.00"),
    )
    assert (tax.to_pay, tax.cost) == (Decimal("1075.00"), Decimal("1045.00"))


@pytest.mark.parametrize(
    ("bought", "tax"), [("0.12", "0.02"), ("0.13", "0.03"), ("0.025", "0.00"), ("0.075", "0.02")]
)
def test_tax_to_the_penny_halves_to_even(bought, tax):
    assert taxed("1.00", bought).tax == Decimal(tax)


def test_the_sums_add_up_whatever_the_figures():
    draw = random.Random(4)
    for _ in range(500):
        bought = Decimal(draw.randrange(0, 10**7)) / 100
        net = bought + Decimal(draw.randrange(0, 10**6)) / 100
        tax = taxed(net, bought, str(draw.randrange(0, 101)), str(draw.randrange(0, 101)))
        assert tax.cost + tax.recovered == tax.to_pay == tax.net + tax.tax
        assert 0 <= tax.recovered <= tax.tax <= tax.bought
        for figure in (tax.tax, tax.recovered, tax.cost):
            assert figure == figure.quantize(Decimal("0.01"))


def test_money_that_comes_back_is_taxed_the_same():
    assert taxed("-100.00", "-60.00").tax == Decimal("-12.00")


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        (("1", "1", "101"), "tax must be 0 to 100"),
        (("1", "1", "-1"), "tax must be 0 to 100"),
        (("1", "1", "20", "101"), "share recovered must be"),
        (("1", "2"), "must lie within the whole"),
        (("-1", "-2"), "must lie within the whole"),
    ],
)
def test_what_cannot_be_taxed_is_refused(facts, words):
    with pytest.raises(ValueError, match=words):
        taxed(*facts)
