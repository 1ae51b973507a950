"""Money at different times made comparable: present worth, equal yearly sums, payback, return.

All rates are percent a year, and a year's gain counts at its end unless a function says otherwise.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from math import expm1, isfinite, log1p

from scipy.optimize import brentq

MOST_YEARS = 100
_NEAR_NOTHING = 1e-12
_HIGHEST_RETURN = 1e6  # as a share of one a year: beyond it nothing is told


def check_rate(rate_percent: float, what: str = "The discount") -> float:
    """The rate as a share of one. ValueError at -100 % a year and below, and for no number."""
    if not isfinite(rate_percent):
        raise ValueError(f"{what} is a number of percent a year, not {rate_percent}.")
    if rate_percent <= -100:
        raise ValueError(
            f"{what} lies above -100 % a year, not at {rate_percent:g} %: at -100 % money of "
            "next year could not be told in money of today."
        )
    return rate_percent / 100


def check_years(years: float, what: str = "The years counted") -> int:
    """Whole years of a horizon. ValueError unless 1 to 100 of them, whole."""
    if not isfinite(years) or years != int(years) or not 1 <= years <= MOST_YEARS:
        raise ValueError(f"{what} are whole years, 1 to {MOST_YEARS}, not {years:g}.")
    return int(years)


def discount_factor(rate_percent: float, years: float) -> float:
    """What 1 after ``years`` is worth now: (1 + r)^-t, r the rate as a share of one."""
    return float((1 + check_rate(rate_percent)) ** -years)


def present_worth(rate_percent: float, flows: Sequence[float]) -> float:
    """What yearly flows are worth now: sum of flow_k (1 + r)^-k, the first one being of today."""
    return timed_worth(rate_percent, list(enumerate(flows)))


def timed_worth(rate_percent: float, flows: Sequence[tuple[float, float]]) -> float:
    """What flows (years from now, amount) are worth now: sum of amount (1 + r)^-t."""
    growth = 1 + check_rate(rate_percent)
    return float(sum(amount * growth**-at for at, amount in flows))


def annuity_factor(rate_percent: float, years: int) -> float:
    """What 1 at the end of each of ``years`` years is worth now: (1 - (1 + r)^-n) / r, n at r = 0."""
    rate, count = check_rate(rate_percent), check_years(years)
    if abs(rate) < _NEAR_NOTHING:
        return float(count)
    return -expm1(-count * log1p(rate)) / rate


def equal_yearly(amount: float, rate_percent: float, years: int) -> float:
    """The equal sum at the end of each year that is worth ``amount`` now (capital recovery)."""
    return amount / annuity_factor(rate_percent, years)


def growing_worth(first: float, grows_percent: float, rate_percent: float, years: int) -> float:
    """What a yearly sum that grows is worth now; ``first`` falls due at the end of year 1.

    first (1 - ((1 + g) / (1 + r))^n) / (r - g); first n / (1 + r) at r = g.
    """
    rate, count = check_rate(rate_percent), check_years(years)
    growth = check_rate(grows_percent, "The growth")
    if abs(rate - growth) < 1e-9:
        return first * count / (1 + rate)
    ratio = log1p(growth) - log1p(rate)
    return -first * expm1(count * ratio) / (rate - growth)


def when_covered(cost: float, gains: Sequence[tuple[float, float, float]]) -> float | None:
    """Years until gains have added up to ``cost``; None when they never do.

    gains   (from, to, amount), each evenly spread from one time to the other; amounts may be
            below 0, then the day is told after which the sum stays at or above the cost.
    ValueError for a gain that ends before it begins.
    """
    turns: dict[float, float] = {0.0: 0.0}
    for begins, ends, amount in gains:
        if ends <= begins:
            raise ValueError(f"A gain runs from {begins:g} to {ends:g}: it ends before it begins.")
        slope = amount / (ends - begins)
        turns[begins] = turns.get(begins, 0.0) + slope
        turns[ends] = turns.get(ends, 0.0) - slope
    times: list[float] = []
    short: list[float] = []
    total, slope, before = -cost, 0.0, min(turns)
    for at in sorted(turns):
        total += slope * (at - before)
        slope, before = slope + turns[at], at
        if at >= 0:
            times.append(at)
            short.append(total)
    allowed = -1e-9 * max(abs(cost), 1.0)
    if short[-1] < allowed:
        return None
    for place in range(len(times) - 1, 0, -1):
        if short[place - 1] < allowed:
            part = -short[place - 1] / (short[place] - short[place - 1])
            return times[place - 1] + part * (times[place] - times[place - 1])
    return 0.0


def return_percent(flows: Sequence[tuple[float, float]]) -> float | None:
    """The discount at which flows (years from now, amount) are worth nothing: internal return.

    None where there is no such rate or could be several: the running order of amounts changes
    sign other than once (Descartes' rule of signs).
    """
    by_time: dict[float, float] = {}
    for at, amount in flows:
        by_time[at] = by_time.get(at, 0.0) + amount
    ordered = [(at, by_time[at]) for at in sorted(by_time) if by_time[at] != 0]
    signs = [amount > 0 for _, amount in ordered]
    if sum(one != other for one, other in pairwise(signs)) != 1:
        return None
    first = ordered[0][0]
    ordered = [(at - first, amount) for at, amount in ordered]

    def worth(growth: float) -> float:
        return float(sum(amount * growth**-at for at, amount in ordered))

    low, high = 0.5, 2.0
    while worth(low) * worth(high) > 0:
        low, high = low / 2, high * 2
        if high > _HIGHEST_RETURN:
            return None
    return 100 * (float(brentq(worth, low, high, xtol=1e-14, rtol=1e-13)) - 1)
