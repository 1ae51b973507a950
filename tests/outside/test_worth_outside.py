"""Present worth, equal yearly sums, return and payback against a financial library and closed forms."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

import numpy as np
import numpy_financial as npf
import pytest
from scipy import stats

from worksprog.calc.ranges import ThreePoint
from worksprog.calc.worth import Assumptions, Left, Promise, Week, Work, compare_seasons, weigh
from worksprog.calc.worth import discounting as money

LIBRARY = "numpy-financial 1.0, {} (R)"
exactly = ThreePoint.exactly


@pytest.mark.parametrize("rate", [-20.0, 0.0, 3.5, 8.0, 45.0])
def test_present_worth(outside: Callable[..., None], rate: float) -> None:
    flows = [-14_250.0, 900.0, 2_150.0, -300.0, 2_150.0, 5_400.0, 0.0, 7_700.0]
    outside(
        quantity=f"net present value at {rate:g} %",
        expected=npf.npv(rate / 100, flows),
        got=money.present_worth(rate, flows),
        tolerance=1e-10,
        relative=True,
        unit="£",
        source=LIBRARY.format("npv"),
    )


@pytest.mark.parametrize(
    ("rate", "years"), [(0.0, 7), (1e-9, 30), (3.5, 20), (12.0, 60), (-5.0, 9)]
)
def test_equal_yearly_sum(outside: Callable[..., None], rate: float, years: int) -> None:
    outside(
        quantity=f"equal yearly sum of 23,800 at {rate:g} % over {years} years",
        expected=-npf.pmt(rate / 100, years, 23_800),
        got=money.equal_yearly(23_800, rate, years),
        tolerance=1e-7,
        relative=True,
        unit="£",
        source=LIBRARY.format("pmt"),
    )
    with np.errstate(invalid="ignore"):  # it divides by a rate of 0 before it chooses
        expected = -npf.pv(rate / 100, years, 1)
    outside(
        quantity=f"worth of 1 a year at {rate:g} % over {years} years",
        expected=expected,
        got=money.annuity_factor(rate, years),
        tolerance=1e-7,
        relative=True,
        source=LIBRARY.format("pv"),
    )


@pytest.mark.parametrize(
    "flows",
    [
        [-6_000, *[2_150] * 20],
        [-6_000, 0, 0, *[400] * 12],
        [-1_000, -500, 0, 800, 900],
        [-100, 150],
    ],
)
def test_return(outside: Callable[..., None], flows: list[float]) -> None:
    outside(
        quantity=f"internal return of {flows[0]:,.0f} and {len(flows) - 1} years",
        expected=100 * npf.irr(flows),
        got=money.return_percent(list(enumerate(map(float, flows)))),
        tolerance=1e-8,
        relative=True,
        unit="%",
        source=LIBRARY.format("irr"),
    )


def test_no_return_where_there_could_be_two() -> None:
    """-100, 230, -132 is worth nothing at 10 % and at 20 %: the textbook case of two roots."""
    flows = [(0.0, -100.0), (1.0, 230.0), (2.0, -132.0)]
    assert money.timed_worth(10, flows) == pytest.approx(0, abs=1e-9)
    assert money.timed_worth(20, flows) == pytest.approx(0, abs=1e-9)
    assert money.return_percent(flows) is None


def test_discount_factors_over_thirty_years(outside: Callable[..., None]) -> None:
    """The UK Treasury's Green Book tabulates factors at 3.5 % a year."""
    for years, expected in ((1, 0.9662), (5, 0.8420), (10, 0.7089), (20, 0.5026), (30, 0.3563)):
        outside(
            quantity=f"discount factor, 3.5 %, {years} years",
            expected=expected,
            got=money.discount_factor(3.5, years),
            tolerance=5e-5,
            source="HM Treasury, Green Book, discount factors at 3.5 % to four places (M)",
        )


def test_growing_sum(outside: Callable[..., None]) -> None:
    for grows, rate in ((4.0, 3.5), (3.5, 3.5), (-10.0, 6.0), (0.0, 0.0)):
        flows = [0.0, *(750 * (1 + grows / 100) ** k for k in range(25))]
        outside(
            quantity=f"worth of 750 a year growing by {grows:g} % at {rate:g} %, 25 years",
            expected=npf.npv(rate / 100, flows),
            got=money.growing_worth(750, grows, rate, 25),
            tolerance=1e-9,
            relative=True,
            unit="£",
            source=LIBRARY.format("npv of the yearly sums"),
        )


def test_discounted_payback(outside: Callable[..., None]) -> None:
    """Within whole years the closed form n = -ln(1 - C r / g) / ln(1 + r), here 7 years exactly."""
    rate, years, gain = 8.0, 7, 1_300.0
    cost = -npf.pv(rate / 100, years, gain)
    work = Work("w", exactly(cost), (Promise("p", exactly(65), lasts_years=50),))
    answer = weigh([work], Assumptions(exactly(20), exactly(rate), exactly(30))).likely
    outside(
        quantity="discounted payback, 1,300 a year at 8 %",
        expected=npf.nper(rate / 100, -gain, cost),
        got=answer.discounted_payback_years,
        tolerance=1e-9,
        unit="years",
        source=LIBRARY.format("nper"),
    )
    outside(
        quantity="simple payback, cost over yearly gain",
        expected=cost / gain,
        got=answer.payback_years,
        tolerance=1e-9,
        unit="years",
        source="closed form C / g (A)",
    )


def test_a_whole_answer(outside: Callable[..., None]) -> None:
    """One work with a promise that begins 0.4 years late, other money, and a cost of leaving it."""
    rate, years = 4.25, 15
    promise = Promise("wet ground", exactly(120), exactly(6), 85.0, after_years=0.4)
    work = Work("w", exactly(16_400), (promise,), (Left("mud", exactly(350), 5.0),))
    assumed = Assumptions(
        exactly(22), exactly(rate), exactly(years), counted=exactly(0.75), open_day=exactly(40)
    )
    answer = weigh([work], assumed).likely
    yearly = 120 * 22 * 0.75 + 6 * 40 + 85
    flows = [-16_400.0]
    for k in range(1, years + 1):
        flows.append(yearly * (0.6 if k == 1 else 1.0) + 350 * 1.05 ** (k - 1))
    source = LIBRARY.format("{} of flows written out by hand")
    outside(
        quantity="net present value of a work",
        expected=npf.npv(rate / 100, flows),
        got=answer.net_worth,
        tolerance=1e-9,
        relative=True,
        unit="£",
        source=source.format("npv"),
    )
    outside(
        quantity="internal return of a work",
        expected=100 * npf.irr(flows),
        got=answer.return_percent,
        tolerance=1e-7,
        relative=True,
        unit="%",
        source=source.format("irr"),
    )
    outside(
        quantity="equal yearly cost of the works",
        expected=-npf.pmt(rate / 100, years, 16_400),
        got=answer.works_a_year,
        tolerance=1e-9,
        relative=True,
        unit="£",
        source=LIBRARY.format("pmt"),
    )
    mud = npf.npv(rate / 100, [0.0, *(350 * 1.05**k for k in range(years))])
    outside(
        quantity="equal yearly cost of doing nothing",
        expected=yearly - npf.pmt(rate / 100, years, mud),
        got=answer.nothing_a_year,
        tolerance=1e-9,
        relative=True,
        unit="£",
        source=LIBRARY.format("pmt of the npv of what is stated"),
    )


def test_noise_of_the_compared_weeks(outside: Callable[..., None]) -> None:
    rng = np.random.default_rng(11)
    monday = dt.date(2024, 9, 2)
    before, after = rng.uniform(10, 40, 52), rng.uniform(5, 30, 52)
    weeks = [
        Week(monday + dt.timedelta(weeks=n), float(hours), 240.0)
        for n, hours in enumerate([*before, *after])
    ]
    found = compare_seasons(
        weeks,
        works_began=monday + dt.timedelta(weeks=52),
        stands_from=monday + dt.timedelta(weeks=52),
        today=weeks[-1].monday + dt.timedelta(days=6),
        promised=exactly(100),
    )
    earlier = [one.before_h for one in found.weeks]
    later = [one.after_h for one in found.weeks]
    interval = stats.ttest_rel(earlier, later).confidence_interval(0.80)
    count = len(earlier)
    for name, expected, got in (
        ("low", interval.low * count, found.fewer_h - found.noise_h),
        ("high", interval.high * count, found.fewer_h + found.noise_h),
    ):
        outside(
            quantity=f"hours fewer in {count} weeks, 80 % interval, {name}",
            expected=float(expected),
            got=got,
            tolerance=1e-9,
            relative=True,
            unit="h",
            source="scipy.stats.ttest_rel (R)",
        )
