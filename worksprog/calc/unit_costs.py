"""What an hour of a grade of labour or of a machine costs, from the parts it is made of."""

from __future__ import annotations

from decimal import Decimal

from worksprog.calc.build_up.parts import to_penny
from worksprog.calc.working import Step, Working

HUNDRED = Decimal(100)


def _not_below_0(**named: Decimal) -> None:
    for name, value in named.items():
        if not value.is_finite() or value < 0:
            raise ValueError(f"The {name.replace('_', ' ')} must not be below 0, not {value}.")


def labour_hour(wage: Decimal, on_cost_percent: Decimal) -> Decimal:
    """w (1 + c / 100), to the penny, halves to even.

    w  wage of an hour worked (money); c  what the employer pays on top of it: insurance, pension,
    holidays and sickness, in percent of the wage. ValueError where one is below 0.
    """
    _not_below_0(wage=wage, on_cost=on_cost_percent)
    return to_penny(wage * (1 + on_cost_percent / HUNDRED))


def plant_hour(hire: Decimal, fuel: Decimal) -> Decimal:
    """Hire of an hour and the fuel burnt in it, without a driver. ValueError below 0."""
    _not_below_0(hire=hire, fuel=fuel)
    return to_penny(hire + fuel)


def labour_working(wage: Decimal, on_cost_percent: Decimal, unit: str) -> Working:
    return Working(
        "What an hour of this grade costs",
        (
            Step("w", "wage of an hour", f"{wage:.2f}", unit),
            Step(
                "c", "on-cost: insurance, pension, holidays, sickness", float(on_cost_percent), "%"
            ),
            Step(
                "",
                "an hour with its on-cost",
                f"{labour_hour(wage, on_cost_percent):.2f}",
                unit,
                "w (1 + c / 100)",
                "to the penny, halves to even",
            ),
        ),
    )


def plant_working(hire: Decimal, fuel: Decimal, unit: str) -> Working:
    return Working(
        "What an hour of this machine costs",
        (
            Step("h", "hire of an hour", f"{hire:.2f}", unit),
            Step("f", "fuel of an hour", f"{fuel:.2f}", unit),
            Step("", "an hour without its driver", f"{plant_hour(hire, fuel):.2f}", unit, "h + f"),
        ),
    )
