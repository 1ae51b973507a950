"""What works give back: hours of routine work and days a hole is open, against what they cost.

An hour saved is money only when it is worked elsewhere or not paid: so the share of the hours that
counts as money is an assumption of its own, and a day open is money only where the club says what
it is worth to it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import lru_cache
from math import isfinite

from worksprog.calc.ranges import ThreePoint
from worksprog.calc.working import Step, Working
from worksprog.calc.worth import discounting as money
from worksprog.calc.worth.account import Account, Flow, Spell, settle

DISCOUNT_MOVES = 2.0  # points either way: common practice, no source
HORIZON_MOVES = 0.5  # of the years counted, either way: common practice, no source
LATE_YEARS = 1.0
NOTHING = ThreePoint.exactly(0.0)
WHOLLY = ThreePoint.exactly(1.0)


class End(StrEnum):
    LOW = "low"
    LIKELY = "likely"
    HIGH = "high"

    @property
    def other(self) -> End:
        return {End.LOW: End.HIGH, End.HIGH: End.LOW}.get(self, End.LIKELY)


def at(point: ThreePoint, end: End) -> float:
    return float(getattr(point, end.value))


@dataclass(frozen=True)
class Promise:
    """One thing a work gives back each year; hours and days below 0 are what it takes more.

    after_years   from the day the work is paid until it begins
    lasts_years   how long it lasts from then
    money_a_year  other money, beside hours and days
    """

    name: str
    hours_a_year: ThreePoint
    days_a_year: ThreePoint = NOTHING
    money_a_year: float = 0.0
    after_years: float = 0.0
    lasts_years: int = 20

    def __post_init__(self) -> None:
        if not isfinite(self.after_years) or self.after_years < 0:
            raise ValueError(
                f"{self.name}: it begins after 0 years or more, not {self.after_years:g}."
            )
        money.check_years(self.lasts_years, f"{self.name}: the years it lasts")


@dataclass(frozen=True)
class Left:
    """What it costs a year to leave a thing as it is, beside the crew's hours; it may grow."""

    name: str
    money_a_year: ThreePoint
    grows_percent: float = 0.0

    def __post_init__(self) -> None:
        money.check_rate(self.grows_percent, f"{self.name}: the growth")


@dataclass(frozen=True)
class Work:
    """A job with what it costs, when it is paid (years from now), and what it gives back."""

    name: str
    cost: ThreePoint
    promises: tuple[Promise, ...] = ()
    left: tuple[Left, ...] = ()
    paid_after_years: float = 0.0

    def __post_init__(self) -> None:
        if self.cost.low < 0:
            raise ValueError(f"{self.name}: a cost below 0 ({self.cost.low:g}) is not expected.")


@dataclass(frozen=True)
class Assumptions:
    """What the money rests on, each by name with its range.

    hour        what one hour of the crew costs
    counted     share of the hours saved that counts as money, 0 to 1
    open_day    what a day that a hole is open is worth; None where the club sets no value
    ValueError for a discount of -100 % or less, a horizon that is not 1 to 100 whole years, a
    share outside 0 to 1, or money below 0.
    """

    hour: ThreePoint
    discount_percent: ThreePoint
    horizon_years: ThreePoint
    counted: ThreePoint = WHOLLY
    open_day: ThreePoint | None = None

    def __post_init__(self) -> None:
        for end in End:
            money.check_rate(at(self.discount_percent, end))
            money.check_years(at(self.horizon_years, end))
        if self.counted.low < 0 or self.counted.high > 1:
            raise ValueError(
                "The share of the hours that is money lies between 0 and 100 %, not from "
                f"{100 * self.counted.low:g} to {100 * self.counted.high:g} %."
            )
        for what, point in (("An hour", self.hour), ("A day open", self.open_day or NOTHING)):
            if point.low < 0:
                raise ValueError(f"{what} is worth 0 or more, not {point.low:g}.")


def around(discount_percent: float, horizon_years: int) -> tuple[ThreePoint, ThreePoint]:
    """Ranges about a discount and a horizon: 2 points and half the years either way."""
    money.check_rate(discount_percent)
    years = money.check_years(horizon_years)
    moves = max(round(years * HORIZON_MOVES), 1)
    return (
        ThreePoint(
            max(discount_percent - DISCOUNT_MOVES, -99.0),
            discount_percent,
            discount_percent + DISCOUNT_MOVES,
        ),
        ThreePoint(max(years - moves, 1), years, min(years + moves, money.MOST_YEARS)),
    )


@dataclass(frozen=True)
class _Setting:
    """One value for everything: what a single answer is worked out from."""

    discount: float
    years: int
    hour: float
    counted: float
    day: float
    hours: End = End.LIKELY
    days: End = End.LIKELY
    cost: End = End.LIKELY
    left: End = End.LIKELY
    late: float = 0.0

    def money_a_year(self, promise: Promise) -> float:
        hours = at(promise.hours_a_year, self.hours) * self.hour * self.counted
        return hours + at(promise.days_a_year, self.days) * self.day + promise.money_a_year


def _setting(assumed: Assumptions, end: End = End.LIKELY) -> _Setting:
    """All for the works (high), all against (low), or all likely."""
    return _Setting(
        discount=at(assumed.discount_percent, end.other),
        years=int(at(assumed.horizon_years, end)),
        hour=at(assumed.hour, end),
        counted=at(assumed.counted, end),
        day=at(assumed.open_day, end) if assumed.open_day else 0.0,
        hours=end,
        days=end,
        cost=end.other,
        left=end,
    )


def _in_force(begins: float, lasts: int, year: int) -> float:
    """Share of the year (counted from the day the work is paid) in which a promise stands."""
    return max(min(year, begins + lasts) - max(year - 1, begins), 0.0)


@lru_cache(maxsize=65_536)
def _worth_of_one(discount: float, years: int, begins: float, lasts: int) -> float:
    """What 1 a year is worth on the day the work is paid, while the promise stands."""
    growth = 1 + discount / 100
    return float(sum(_in_force(begins, lasts, k) * growth**-k for k in range(1, years + 1)))


def _gains(work: Work, on: _Setting) -> list[tuple[float, float]]:
    """Gains of a work as (years from now, money), each at the end of its year."""
    paid = work.paid_after_years
    yearly = [
        (on.money_a_year(one), one.after_years + on.late, one.lasts_years) for one in work.promises
    ]
    left = [(at(one.money_a_year, on.left), 1 + one.grows_percent / 100) for one in work.left]
    return [
        (
            paid + year,
            sum(amount * _in_force(begins, lasts, year) for amount, begins, lasts in yearly)
            + sum(first * growth ** (paid + year - 1) for first, growth in left),
        )
        for year in range(1, on.years + 1)
    ]


def _net_worth(works: Sequence[Work], on: _Setting) -> float:
    total = 0.0
    for work in works:
        paid = work.paid_after_years
        worth = -at(work.cost, on.cost)
        for one in work.promises:
            begins = one.after_years + on.late
            factor = _worth_of_one(on.discount, on.years, begins, one.lasts_years)
            worth += on.money_a_year(one) * factor
        for stated in work.left:
            first = at(stated.money_a_year, on.left) * (1 + stated.grows_percent / 100) ** paid
            worth += money.growing_worth(first, stated.grows_percent, on.discount, on.years)
        total += worth * money.discount_factor(on.discount, paid)
    return total


@dataclass(frozen=True)
class Answer:
    """What works are worth with one value for every assumption.

    money_a_year       once everything stands: what is given back and what leaving it would cost
    left_a_year        of that, what leaving it as it is would cost, before it grows
    net_worth          net present value over the horizon
    payback_years      simple, from the first payment; None when not within the horizon
    return_percent     the discount at which the net worth is nothing; None when there is no one
    works_a_year       the cost spread as an equal yearly sum over the horizon
    nothing_a_year     what doing nothing costs a year, as an equal yearly sum
    nothing_stated     whether a cost of leaving it was stated beside the crew's hours
    """

    cost: float
    hours_a_year: float
    days_a_year: float
    money_a_year: float
    left_a_year: float
    net_worth: float
    payback_years: float | None
    discounted_payback_years: float | None
    return_percent: float | None
    works_a_year: float
    nothing_a_year: float
    nothing_stated: bool
    years: int
    discount_percent: float
    account: Account


def _answer(works: Sequence[Work], on: _Setting) -> Answer:
    cost = sum(at(work.cost, on.cost) for work in works)
    promises = [promise for work in works for promise in work.promises]
    left = [one for work in works for one in work.left]
    account = _account(works, on)
    gained = sum(on.money_a_year(promise) for promise in promises)
    left_a_year = sum(at(one.money_a_year, on.left) for one in left)
    nothing = sum(
        money.growing_worth(at(one.money_a_year, on.left), one.grows_percent, on.discount, on.years)
        for one in left
    )
    simple, later, first = account.covered, account.covered_now, account.first
    flows = [(one.when, one.amount) for one in account.flows]
    return Answer(
        cost=cost,
        hours_a_year=sum(at(promise.hours_a_year, on.hours) for promise in promises),
        days_a_year=sum(at(promise.days_a_year, on.days) for promise in promises),
        money_a_year=gained + left_a_year,
        left_a_year=left_a_year,
        net_worth=money.timed_worth(on.discount, flows),
        payback_years=None if simple is None else max(simple - first, 0.0),
        discounted_payback_years=None if later is None else max(later - first, 0.0),
        return_percent=money.return_percent(flows),
        works_a_year=money.equal_yearly(account.paid_now, on.discount, on.years),
        nothing_a_year=gained + money.equal_yearly(nothing, on.discount, on.years),
        nothing_stated=bool(left),
        years=on.years,
        discount_percent=on.discount,
        account=account,
    )


def _spells(works: Sequence[Work], on: _Setting) -> list[Spell]:
    found = []
    for work in works:
        paid = work.paid_after_years
        for promise in work.promises:
            begins = paid + promise.after_years + on.late
            ends = min(begins + promise.lasts_years, paid + on.years)
            if ends > begins:
                name = f"{work.name}: {promise.name}"
                found.append(Spell(name, begins, ends, on.money_a_year(promise)))
        for one in work.left:
            name, first = (
                f"{work.name}: not left as it is",
                at(one.money_a_year, on.left),
            )
            if not one.grows_percent:
                found.append(Spell(name, paid, paid + on.years, first))
                continue
            for year in range(1, on.years + 1):
                grown = first * (1 + one.grows_percent / 100) ** (paid + year - 1)
                found.append(Spell(f"{name}, year {year}", paid + year - 1, paid + year, grown))
    return found


def _account(works: Sequence[Work], on: _Setting) -> Account:
    def flow(name: str, when: float, amount: float) -> Flow:
        return Flow(name, when, amount, money.discount_factor(on.discount, when))

    return settle(
        _spells(works, on),
        [
            flow(f"{work.name}: paid", work.paid_after_years, -at(work.cost, on.cost))
            for work in works
        ],
        [
            flow(f"{work.name}: year {year}", when, amount)
            for work in works
            for year, (when, amount) in enumerate(_gains(work, on), 1)
            if amount
        ],
    )


@dataclass(frozen=True)
class Swing:
    """How far the net present value moves when one assumption alone goes to its ends."""

    name: str
    unit: str
    low: float
    likely: float
    high: float
    worth_at_low: float
    worth_at_high: float

    @property
    def size(self) -> float:
        return abs(self.worth_at_high - self.worth_at_low)


@dataclass(frozen=True)
class Worth:
    """Works weighed: all against them, likely, all for them; and what the answer hangs on.

    The two ends put every assumption at its worse or better end at once: extremes, not chances.
    """

    low: Answer
    likely: Answer
    high: Answer
    swings: tuple[Swing, ...]
    break_even_hours: float | None
    working: Working


def weigh(works: Sequence[Work], assumed: Assumptions, *, sign: str = "") -> Worth:
    """Net present value, paybacks and equal yearly costs of works, with their ranges.

    NPV = Σ -C_i v^t_i + Σ_k g_ik v^(t_i + k), v = 1 / (1 + r): C the cost of a work, t the years
    until it is paid, g what it gives back in its k-th year after, counted at the year's end.
    Every work is counted for the same number of years from the day it is paid, and no longer than
    its promise lasts. Money of today throughout: wages and prices are taken to rise alike, so the
    discount is one above inflation. ValueError without works.
    """
    if not works:
        raise ValueError("There is no work to weigh.")
    likely = _setting(assumed)
    answer = _answer(works, likely)
    return Worth(
        low=_answer(works, _setting(assumed, End.LOW)),
        likely=answer,
        high=_answer(works, _setting(assumed, End.HIGH)),
        swings=_swings(works, assumed, likely, sign),
        break_even_hours=_break_even(works, likely, answer),
        working=_working(works, likely, answer, assumed, sign),
    )


def _break_even(works: Sequence[Work], on: _Setting, answer: Answer) -> float | None:
    """Hours a year, promises kept in proportion, at which the net worth is nothing."""
    without = _net_worth(works, replace(on, hour=0.0))
    by_hours = answer.net_worth - without
    if by_hours <= 0 or answer.hours_a_year <= 0:
        return None
    return max(-without / by_hours, 0.0) * answer.hours_a_year


def _swings(
    works: Sequence[Work], assumed: Assumptions, likely: _Setting, sign: str
) -> tuple[Swing, ...]:
    promises = [promise for work in works for promise in work.promises]
    left = [one for work in works for one in work.left]

    def totals(points: Sequence[ThreePoint]) -> ThreePoint:
        total = NOTHING
        for point in points:
            total = total.plus(point)
        return total

    day = assumed.open_day or NOTHING
    rows: list[tuple[str, str, ThreePoint, Callable[[End], _Setting]]] = [
        (
            "Routine hours given back a year",
            "h",
            totals([one.hours_a_year for one in promises]),
            lambda end: replace(likely, hours=end),
        ),
        (
            "Cost of the works",
            sign,
            totals([work.cost for work in works]),
            lambda end: replace(likely, cost=end),
        ),
        (
            "Cost of an hour",
            sign,
            assumed.hour,
            lambda end: replace(likely, hour=at(assumed.hour, end)),
        ),
        (
            "Share of the hours that is money",
            "%",
            assumed.counted.times(100),
            lambda end: replace(likely, counted=at(assumed.counted, end)),
        ),
        (
            "Discount a year",
            "%",
            assumed.discount_percent,
            lambda end: replace(likely, discount=at(assumed.discount_percent, end)),
        ),
        (
            "Years counted",
            "years",
            assumed.horizon_years,
            lambda end: replace(likely, years=int(at(assumed.horizon_years, end))),
        ),
        ("Worth of a day open", sign, day, lambda end: replace(likely, day=at(day, end))),
        (
            "Days a hole is open",
            "days",
            totals([one.days_a_year for one in promises]),
            lambda end: replace(likely, days=end),
        ),
        (
            "Cost of leaving it as it is",
            sign,
            totals([one.money_a_year for one in left]),
            lambda end: replace(likely, left=end),
        ),
        (
            "Begins late",
            "years",
            ThreePoint(0.0, 0.0, LATE_YEARS),
            lambda end: replace(likely, late=LATE_YEARS if end is End.HIGH else 0.0),
        ),
    ]
    found = [
        Swing(
            name,
            unit,
            point.low,
            point.likely,
            point.high,
            _net_worth(works, moved(End.LOW)),
            _net_worth(works, moved(End.HIGH)),
        )
        for name, unit, point, moved in rows
    ]
    telling = [one for one in found if one.size > 0.005]
    return tuple(sorted(telling, key=lambda one: -one.size))


def _working(
    works: Sequence[Work], on: _Setting, answer: Answer, assumed: Assumptions, sign: str
) -> Working:
    factor = money.annuity_factor(on.discount, on.years)
    steps = [
        Step("C", "cost of the works", answer.cost, sign, "", "live estimates, likely"),
        Step("H", "routine hours given back a year", answer.hours_a_year, "h", "", "promises"),
        Step("w", "cost of an hour", on.hour, sign, "", "price book, own crew with on-cost"),
        Step("s", "share of the hours that is money", 100 * on.counted, "%", "", "the club"),
    ]
    if assumed.open_day is not None:
        steps += [
            Step("D", "days a hole is open", answer.days_a_year, "days", "", "promises"),
            Step("d", "worth of a day open", on.day, sign, "", "the club"),
        ]
    other = sum(promise.money_a_year for work in works for promise in work.promises)
    if other:
        steps.append(Step("m", "other money a year", other, sign, "", "promises"))
    if answer.nothing_stated:
        steps.append(
            Step(
                "L",
                "what leaving it as it is would cost a year, before it grows",
                answer.left_a_year,
                sign,
                "",
                "stated by the club; it ends on the day the last job of its project is paid",
            )
        )
    steps += [
        Step(
            "G",
            "money a year once all stands",
            answer.money_a_year,
            sign,
            "H × w × s"
            + (" + D × d" if assumed.open_day is not None else "")
            + (" + m" if other else "")
            + (" + L" if answer.nothing_stated else ""),
        ),
        Step("r", "discount a year", on.discount, "%", "", "the club"),
        Step("n", "years counted from the day a work is paid", float(on.years), "years"),
        Step("a", "worth now of 1 a year for n years", factor, "", "(1 - (1 + r)^-n) / r"),
        Step(
            "A",
            "the works' cost as an equal yearly sum",
            answer.works_a_year,
            sign,
            "cost in money of today / a",
            "capital recovery",
        ),
        Step(
            "NPV",
            "net present value",
            answer.net_worth,
            sign,
            "Σ -C_i v^t_i + Σ_k g_ik v^(t_i + k), v = 1 / (1 + r)",
            "payments and gains as listed; each year's gain at the year's end",
        ),
    ]
    notes = (
        "Money of today throughout: wages and prices are taken to rise alike, so the discount is "
        "one above inflation.",
        "An hour saved is money only when it is worked elsewhere or not paid.",
    )
    return Working("What the works give back, in money", tuple(steps), notes)
