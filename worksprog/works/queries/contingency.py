"""How much to keep back for the whole programme, and on what that figure rests."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from statistics import NormalDist

from worksprog.calc.build_up import to_penny
from worksprog.calc.ranges import sum_spreads
from worksprog.calc.working import Step, Working
from worksprog.works.models import Estimate
from worksprog.works.queries.estimates import NOTHING
from worksprog.works.queries.programme import CORRELATION


@dataclass(frozen=True)
class Contingency:
    """Money on top of the likely sum, so that it suffices by ``chance``; never below 0.

    from_words says whether it was simulated or worked out from the items' spreads.
    """

    amount: Decimal
    chance: float
    from_words: str
    is_simulated: bool
    working: Working


def _kept(within: float, base: Decimal) -> Decimal:
    return max(to_penny(Decimal(repr(within))) - base, NOTHING)


def by_spreads(estimates: Sequence[Estimate], *, base: Decimal, chance: float) -> Contingency:
    """From mean and standard deviation of each item, added up with one correlation.

    µ + z σ − base, the sum taken as a normal curve; base is the sum of the likely figures.
    """
    mean, sd = sum_spreads(
        [(one.money_mean, one.money_sd) for one in estimates], correlation=CORRELATION
    )
    z = NormalDist().inv_cdf(chance)
    within = mean + z * sd
    amount = _kept(within, base)
    steps = (
        Step("B", "base, sum of the likely figures", float(base)),
        Step("µ", "mean of the total", mean, "", "sum of the items' means"),
        Step("ρ", "correlation assumed between any two items", CORRELATION),
        Step("σ", "standard deviation of the total", sd, "", "√(Σs² + ρ ((Σs)² − Σs²))"),
        Step("z", f"standard deviations above the mean at {chance:.0%}", z, "", "normal curve"),
        Step("", "money that suffices by this chance", within, "", "µ + z σ"),
        Step("K", "contingency", f"{amount:,}", "", "µ + z σ − B, at least 0"),
    )
    return Contingency(
        amount=amount,
        chance=chance,
        from_words="worked out from the items' spreads, not simulated",
        is_simulated=False,
        working=Working("Contingency", steps),
    )


def by_simulation(*, within: float, base: Decimal, chance: float, told: str) -> Contingency:
    """From the programme's own simulated total; ``told`` says by how many draws, from which seed."""
    amount = _kept(within, base)
    steps = (
        Step("B", "base, sum of the likely figures", float(base)),
        Step("P", f"money that suffices in {chance:.0%} of the draws", within, "", "", told),
        Step("K", "contingency", f"{amount:,}", "", "P − B, at least 0"),
    )
    return Contingency(
        amount=amount,
        chance=chance,
        from_words=told,
        is_simulated=True,
        working=Working("Contingency", steps),
    )
