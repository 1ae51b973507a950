"""Sales tax by the club's own settings."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from worksprog.calc.sales_tax import SalesTax, sales_tax
from worksprog.calc.working import Step, Working
from worksprog.clubs.models import Club
from worksprog.works.models import Category

NOTHING = Decimal("0.00")


def tax_of(club: Club, by_category: Mapping[str, Decimal]) -> SalesTax:
    """Tax on sums of money under their heads; none falls on the own crew's wages."""
    net = sum(by_category.values(), NOTHING)
    return sales_tax(
        net=net,
        bought=net - by_category.get(Category.LABOUR, NOTHING),
        percent=club.tax_percent,
        recovered_percent=club.tax_recovered_percent,
    )


def tax_example(club: Club) -> Working:
    """What the settings do to a round sum."""
    heads = {Category.LABOUR.value: Decimal("400.00"), Category.MATERIAL.value: Decimal("600.00")}
    tax = tax_of(club, heads)
    unit = club.currency
    percent = f"{club.tax_percent.normalize():f} %"
    recovered = f"{club.tax_recovered_percent.normalize():f} %"
    return Working(
        "What these settings do",
        (
            Step("", "own crew's wages", f"{heads[Category.LABOUR]:,.2f}", unit, "no tax on them"),
            Step("b", "bought", f"{tax.bought:,.2f}", unit),
            Step(
                "T", f"{club.tax_name} on what is bought", f"{tax.tax:,.2f}", unit, f"b × {percent}"
            ),
            Step("", "of which comes back", f"{tax.recovered:,.2f}", unit, f"T × {recovered}"),
            Step("", "to pay at first", f"{tax.to_pay:,.2f}", unit, "before tax + T"),
            Step("", "what it costs the club", f"{tax.cost:,.2f}", unit, "less what comes back"),
        ),
    )
