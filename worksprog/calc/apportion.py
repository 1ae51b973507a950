"""A sum of money shared out so that the shares add up to it, to the smallest coin."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from math import floor

from worksprog.calc.build_up.parts import PENNY


def apportion(
    total: Decimal, weights: Sequence[float | Decimal], *, penny: Decimal = PENNY
) -> list[Decimal]:
    """Shares of ``total`` in proportion to the weights, by largest remainder.

    Each share is rounded down to the coin; the coins left over go one each to the shares that lost
    most, the earlier of two equals first. Every share is within one coin of the exact one and they
    add up to the total. A total below 0 is shared as its opposite is. Weights that are all 0 share
    evenly. ValueError: no weights, a weight below 0 or no number, or a total finer than the coin.
    """
    if not weights:
        raise ValueError("Nothing to share the money among.")
    if not total.is_finite() or total % penny:
        raise ValueError(f"The money to share must be a whole number of {penny}, not {total}.")
    try:
        exact = [Fraction(weight) for weight in weights]
    except (ValueError, OverflowError) as error:
        raise ValueError("Every weight must be a number.") from error
    if min(exact) < 0:
        raise ValueError("No weight may be below 0.")
    together = sum(exact)
    if not together:
        exact, together = [Fraction(1)] * len(exact), Fraction(len(exact))
    sign = -1 if total < 0 else 1
    coins = int(abs(total) / penny)
    shares = [coins * weight / together for weight in exact]
    whole = [floor(share) for share in shares]
    over = coins - sum(whole)
    for place in sorted(range(len(shares)), key=lambda at: (whole[at] - shares[at], at))[:over]:
        whole[place] += 1
    return [sign * share * penny for share in whole]
