"""Sales tax on what is bought, and how much of it stays with the club."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from worksprog.calc.build_up.parts import PENNY, to_penny

HUNDRED = Decimal(100)


@dataclass(frozen=True)
class SalesTax:
    """All of it in money, each figure to the smallest coin, so that the sums add up as shown."""

    net: Decimal  # before tax, all of it
    bought: Decimal  # the part of ``net`` that tax falls on
    tax: Decimal
    recovered: Decimal

    @property
    def kept(self) -> Decimal:
        """Tax that does not come back: part of what the works cost the club."""
        return self.tax - self.recovered

    @property
    def comes_off(self) -> Decimal:
        """What comes back, as a sum has it."""
        return -self.recovered

    @property
    def to_pay(self) -> Decimal:
        """What goes out of the account before anything comes back."""
        return self.net + self.tax

    @property
    def cost(self) -> Decimal:
        return self.net + self.kept


def sales_tax(
    *,
    net: Decimal,
    bought: Decimal,
    percent: Decimal,
    recovered_percent: Decimal,
    penny: Decimal = PENNY,
) -> SalesTax:
    """T = b p / 100, of which T r / 100 comes back; halves to the even coin.

    net, bought          money before tax, and the part of it that is bought (own wages are not)
    percent, recovered_percent   p and r, in percent
    Worked on the sum: tax on each line by itself, rounded, would not add up to it.
    ValueError: a percent outside 0 to 100, or a ``bought`` that lies outside ``net``.
    """
    for name, value in (("tax", percent), ("share recovered", recovered_percent)):
        if not 0 <= value <= HUNDRED:
            raise ValueError(f"The {name} must be 0 to 100 %, not {value} %.")
    if not min(net, Decimal(0)) <= bought <= max(net, Decimal(0)):
        raise ValueError(f"What is bought ({bought}) must lie within the whole ({net}).")
    tax = to_penny(bought * percent / HUNDRED, penny)
    return SalesTax(net, bought, tax, to_penny(tax * recovered_percent / HUNDRED, penny))
