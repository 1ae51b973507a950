"""Payments and gains laid out by time, so that paybacks and net worth can be redone by hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from worksprog.calc.worth.discounting import when_covered


@dataclass(frozen=True)
class Spell:
    """Money that comes at an even pace from one time to another, in years from now."""

    name: str
    begins: float
    ends: float
    a_year: float


@dataclass(frozen=True)
class Flow:
    """Money at one time, brought to today, with what has come in by then less the cost of all."""

    name: str
    when: float
    amount: float
    factor: float
    open: float | None = None
    open_now: float | None = None

    @property
    def worth_now(self) -> float:
        return self.amount * self.factor


@dataclass(frozen=True)
class Account:
    """What the paybacks, the net worth and the return are added up from.

    spells      what counts for the simple payback
    flows       what counts for net worth, return and discounted payback, by time
    paid_now    all payments brought to today
    covered     years from now until the spells have covered the cost; None when they do not
    first       years from now to the first payment, from which a payback counts
    """

    spells: tuple[Spell, ...]
    flows: tuple[Flow, ...]
    paid_now: float
    first: float
    covered: float | None
    covered_now: float | None

    @property
    def net_worth(self) -> float:
        return sum(one.worth_now for one in self.flows)


def settle(spells: Sequence[Spell], payments: Sequence[Flow], gains: Sequence[Flow]) -> Account:
    """When gains cover what was paid, simply and discounted.

    Simply: all payments together against the spells. Discounted: all payments brought to today
    against the gains brought to today, each spread over the year that ends with it.
    """
    payments = sorted(payments, key=lambda one: one.when)
    cost = -sum(one.amount for one in payments)
    paid_now = -sum(one.worth_now for one in payments)
    still, still_now, told = -cost, -paid_now, []
    for one in sorted(gains, key=lambda one: one.when):
        still, still_now = still + one.amount, still_now + one.worth_now
        told.append(replace(one, open=still, open_now=still_now))
    plain = [(one.begins, one.ends, one.a_year * (one.ends - one.begins)) for one in spells]
    discounted = [(one.when - 1, one.when, one.worth_now) for one in gains]
    return Account(
        spells=tuple(spells),
        flows=(*payments, *told),
        paid_now=paid_now,
        first=payments[0].when if payments else 0.0,
        covered=when_covered(cost, plain) if plain else None,
        covered_now=when_covered(paid_now, discounted) if discounted else None,
    )
