"""What works give back: worked numbers, properties, and bad input in words."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from worksprog.calc.ranges import ThreePoint
from worksprog.calc.worth import (
    Assumptions,
    Claim,
    Left,
    Promise,
    Week,
    Work,
    around,
    compare_seasons,
    discounting,
    weigh,
)
from worksprog.calc.worth.charts import YearHours, swings_chart, years_chart

exactly = ThreePoint.exactly
DISCOUNT, YEARS = around(3.5, 20)
HOUR = ThreePoint(19.5, 21.5, 25.0)


def thinning(**facts) -> Work:
    promise = Promise("leaves", ThreePoint(60, 100, 140))
    return Work("Thin the copse", ThreePoint(5000, 6000, 8000), (replace(promise, **facts),))


def test_a_work_by_hand() -> None:
    assumed = Assumptions(exactly(20), exactly(10), exactly(3))
    worth = weigh([Work("one", exactly(4000), (Promise("p", exactly(100)),))], assumed)
    assert worth.likely.money_a_year == 2000
    by_hand = -4000 + 2000 / 1.1 + 2000 / 1.21 + 2000 / 1.331
    assert worth.likely.net_worth == pytest.approx(by_hand)
    assert worth.likely.payback_years == pytest.approx(2.0)
    still_short = 4000 - 2000 / 1.1 - 2000 / 1.21
    assert worth.likely.discounted_payback_years == pytest.approx(2 + still_short / (2000 / 1.331))
    assert worth.low == worth.likely == worth.high
    assert worth.break_even_hours == pytest.approx(100 * 4000 / (by_hand + 4000))


def test_what_leaving_it_costs_is_in_every_figure_by_hand() -> None:
    """Paid after half a year; hours from 3 months later; 800 a year, 3 % more each year."""
    assumed = Assumptions(exactly(20), exactly(4), exactly(6))
    work = Work(
        "drain",
        exactly(9000),
        (Promise("dry", exactly(100), after_years=0.25),),
        (Left("patching", exactly(800), grows_percent=3),),
        paid_after_years=0.5,
    )
    answer = weigh([work], assumed).likely
    assert answer.money_a_year == 2000 + 800
    assert answer.left_a_year == 800

    patching = [800 * 1.03 ** (0.5 + k - 1) for k in range(1, 7)]
    yearly = [2000 * 0.75 + patching[0], *(2000 + one for one in patching[1:])]
    assert answer.net_worth == pytest.approx(
        -9000 / 1.04**0.5 + sum(g / 1.04 ** (0.5 + k) for k, g in enumerate(yearly, 1))
    )
    # Three whole years bring 1,500 + 2,000 + 2,000 and the patching; the rest falls in the fourth.
    rest = 9000 - sum(yearly[:3])
    assert 0 < rest < yearly[3]
    assert answer.payback_years == pytest.approx(3 + rest / yearly[3])
    now = [g / 1.04**k for k, g in enumerate(yearly, 1)]
    still = 9000 - sum(now[:3])
    assert 0 < still < now[3]
    assert answer.discounted_payback_years == pytest.approx(3 + still / now[3])
    r = answer.return_percent / 100
    assert sum(g / (1 + r) ** k for k, g in enumerate(yearly, 1)) == pytest.approx(9000)


def test_what_is_laid_out_adds_up_to_the_answer() -> None:
    """From the listed figures alone: cost, net worth, and both paybacks."""
    first = replace(thinning(after_years=0.4), paid_after_years=0.3)
    left = (Left("pumps", exactly(300), grows_percent=2),)
    second = Work("drain", exactly(2000), (Promise("dry", exactly(50)),), left, 1.3)
    answer = weigh([first, second], Assumptions(HOUR, DISCOUNT, YEARS)).likely
    account = answer.account
    assert sum(one.worth_now for one in account.flows) == pytest.approx(answer.net_worth)
    assert all(one.factor == pytest.approx(1.035**-one.when) for one in account.flows)
    assert -sum(one.amount for one in account.flows if one.amount < 0) == answer.cost
    come_in = sum(one.a_year * (one.ends - one.begins) for one in account.spells)
    assert come_in == pytest.approx(sum(one.amount for one in account.flows if one.amount > 0))
    assert account.covered is not None
    by_then = sum(
        one.a_year * max(min(one.ends, account.covered) - one.begins, 0) for one in account.spells
    )
    assert by_then == pytest.approx(answer.cost)
    assert answer.payback_years == pytest.approx(account.covered - 0.3)
    assert account.flows[-1].open_now == pytest.approx(answer.net_worth)


def test_days_are_money_only_where_the_club_says_so() -> None:
    work = thinning(days_a_year=ThreePoint(2, 5, 9))
    unvalued = weigh([work], Assumptions(HOUR, DISCOUNT, YEARS))
    assert unvalued.likely.days_a_year == 5
    assert unvalued.likely.money_a_year == pytest.approx(2150)
    assert not any("day" in one.name.lower() for one in unvalued.swings)
    valued = weigh([work], Assumptions(HOUR, DISCOUNT, YEARS, open_day=ThreePoint(50, 100, 200)))
    assert valued.likely.money_a_year == pytest.approx(2650)
    assert {"Worth of a day open", "Days a hole is open"} <= {one.name for one in valued.swings}


def test_hours_that_are_not_money_give_none() -> None:
    worth = weigh([thinning()], Assumptions(HOUR, DISCOUNT, YEARS, counted=exactly(0)))
    assert worth.likely.hours_a_year == 100
    assert worth.likely.net_worth == pytest.approx(-6000)
    assert worth.likely.payback_years is None
    assert worth.break_even_hours is None


def test_a_promise_counts_from_when_it_begins_and_while_it_lasts() -> None:
    assumed = Assumptions(exactly(10), exactly(0), exactly(10))
    late = weigh([thinning(after_years=2.5, lasts_years=4)], assumed)
    assert late.likely.net_worth == pytest.approx(-6000 + 4 * 1000)
    cut_off = weigh([thinning(after_years=8.5)], assumed)
    assert cut_off.likely.net_worth == pytest.approx(-6000 + 1.5 * 1000)


def test_paid_later_is_worth_the_same_brought_to_today() -> None:
    assumed = Assumptions(HOUR, DISCOUNT, YEARS)
    now = weigh([thinning()], assumed).likely
    later = weigh([replace(thinning(), paid_after_years=2.25)], assumed).likely
    assert later.net_worth == pytest.approx(now.net_worth * 1.035**-2.25)
    assert later.payback_years == pytest.approx(now.payback_years)
    assert later.discounted_payback_years == pytest.approx(now.discounted_payback_years)
    assert later.return_percent == pytest.approx(now.return_percent)


def test_the_answer_of_several_is_the_sum() -> None:
    assumed = Assumptions(HOUR, DISCOUNT, YEARS)
    second = Work("other", exactly(2000), (Promise("b", exactly(30)),), paid_after_years=1)
    both = weigh([thinning(), second], assumed).likely
    one, other = weigh([thinning()], assumed).likely, weigh([second], assumed).likely
    assert both.net_worth == pytest.approx(one.net_worth + other.net_worth)
    assert both.works_a_year == pytest.approx(one.works_a_year + other.works_a_year)
    assert both.hours_a_year == 130


def test_a_work_may_take_hours() -> None:
    worth = weigh([thinning(hours_a_year=exactly(-40))], Assumptions(HOUR, DISCOUNT, YEARS))
    assert worth.likely.money_a_year < 0
    assert worth.likely.payback_years is None
    assert worth.likely.return_percent is None
    assert worth.break_even_hours is None


def test_what_moves_the_answer_is_ranked() -> None:
    worth = weigh([thinning()], Assumptions(HOUR, DISCOUNT, YEARS, counted=ThreePoint(0.5, 1, 1)))
    sizes = [one.size for one in worth.swings]
    assert sizes == sorted(sizes, reverse=True)
    by_name = {one.name: one for one in worth.swings}
    cost = by_name["Cost of the works"]
    assert cost.worth_at_low - cost.worth_at_high == pytest.approx(3000)
    hours = by_name["Routine hours given back a year"]
    factor = discounting.annuity_factor(3.5, 20)
    assert hours.worth_at_high - hours.worth_at_low == pytest.approx(80 * 21.5 * factor)
    assert by_name["Discount a year"].worth_at_low > by_name["Discount a year"].worth_at_high
    assert worth.low.net_worth < worth.likely.net_worth < worth.high.net_worth


def test_both_ways_to_the_net_worth_agree() -> None:
    """Swings are worked out promise by promise, the answer from its flows: the same at likely."""
    work = replace(
        thinning(after_years=1.3, lasts_years=12),
        left=(Left("mud", ThreePoint(1, 90, 300), 5),),
        paid_after_years=2.7,
    )
    worth = weigh([work, thinning()], Assumptions(HOUR, DISCOUNT, YEARS))
    late = next(one for one in worth.swings if one.name == "Begins late")
    assert late.worth_at_low == pytest.approx(worth.likely.net_worth, rel=1e-12)
    assert late.worth_at_high < late.worth_at_low


def test_leaving_it_costs_what_is_stated() -> None:
    left = Left("wet ground mended by hand", ThreePoint(300, 500, 900), grows_percent=4)
    work = replace(thinning(), left=(left,))
    worth = weigh([work], Assumptions(HOUR, DISCOUNT, YEARS)).likely
    assert worth.nothing_stated
    stated = sum(500 * 1.04 ** (k - 1) * 1.035**-k for k in range(1, 21))
    spread = stated / discounting.annuity_factor(3.5, 20)
    assert worth.nothing_a_year == pytest.approx(2150 + spread)
    plain = weigh([thinning()], Assumptions(HOUR, DISCOUNT, YEARS)).likely
    assert worth.net_worth == pytest.approx(plain.net_worth + stated)
    assert not plain.nothing_stated


@settings(max_examples=40, deadline=None)
@given(
    cost=st.floats(100, 1e5),
    hours=st.floats(1, 500),
    rate=st.floats(-20, 40),
    years=st.integers(1, 60),
)
def test_payback_return_and_worth_agree(cost: float, hours: float, rate: float, years: int) -> None:
    """Worth above nothing ⇔ paid back in the horizon at that discount ⇔ return above it."""
    work = Work("w", exactly(cost), (Promise("p", exactly(hours), lasts_years=100),))
    answer = weigh([work], Assumptions(exactly(20), exactly(rate), exactly(years))).likely
    if abs(answer.net_worth) < 1e-6 * cost:
        return
    assert (answer.net_worth > 0) == (answer.discounted_payback_years is not None)
    assert answer.return_percent is None or (answer.net_worth > 0) == (answer.return_percent > rate)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: Assumptions(HOUR, exactly(-100), YEARS), "above -100 %"),
        (lambda: Assumptions(HOUR, exactly(-250), YEARS), "above -100 %"),
        (lambda: Assumptions(HOUR, DISCOUNT, exactly(0)), "1 to 100, not 0"),
        (lambda: Assumptions(HOUR, DISCOUNT, exactly(2.5)), "whole years"),
        (lambda: Assumptions(HOUR, DISCOUNT, exactly(101)), "1 to 100"),
        (lambda: Assumptions(exactly(-1), DISCOUNT, YEARS), "An hour is worth 0 or more"),
        (lambda: Assumptions(HOUR, DISCOUNT, YEARS, counted=exactly(1.2)), "between 0 and 100 %"),
        (lambda: ThreePoint(5, 4, 6), "must rise"),
        (lambda: Promise("leaves", exactly(1), after_years=-1), "leaves: it begins after 0"),
        (lambda: Promise("leaves", exactly(1), lasts_years=0), "leaves: the years it lasts"),
        (lambda: Work("w", ThreePoint(-5, 0, 5)), "w: a cost below 0"),
        (lambda: Left("l", exactly(1), grows_percent=-100), "l: the growth lies above -100 %"),
        (lambda: weigh([], Assumptions(HOUR, DISCOUNT, YEARS)), "no work to weigh"),
        (lambda: discounting.annuity_factor(float("nan"), 3), "number of percent"),
        (lambda: discounting.when_covered(1, [(2, 2, 1)]), "ends before it begins"),
    ],
)
def test_bad_input_in_words(call, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()


def test_ranges_about_a_discount_and_a_horizon() -> None:
    assert around(3.5, 20) == (ThreePoint(1.5, 3.5, 5.5), ThreePoint(10, 20, 30))
    assert around(-98, 1)[0].low == -99
    assert around(5, 1)[1] == ThreePoint(1, 1, 2)
    assert around(5, 90)[1].high == 100


# Seasons before and after.

START = dt.date(2024, 9, 2)


def log(weeks: int, *, hours, first: dt.date = START, all_h: float = 240, works=lambda n: 0):
    return [Week(first + dt.timedelta(weeks=n), hours(n), all_h, works(n)) for n in range(weeks)]


def compared(weeks, *, began=dt.date(2025, 9, 1), stands=dt.date(2025, 9, 29), today=None, p=None):
    return compare_seasons(
        weeks,
        works_began=began,
        stands_from=stands,
        today=today or weeks[-1].monday + dt.timedelta(days=6),
        promised=p or ThreePoint(300, 400, 500),
    )


def test_one_season_each_is_an_indication() -> None:
    found = compared(log(104, hours=lambda n: 20 if n < 54 else 12))
    assert found.claim is Claim.INDICATION
    assert "1 season before" in found.why
    assert len(found.weeks) == 48
    assert found.fewer_h == pytest.approx(48 * 8)
    assert found.share == pytest.approx(48 / 52)
    assert found.promised_h.likely == pytest.approx(400 * 48 / 52)
    assert found.kept == "in keeping with the promise"


def test_two_seasons_each_are_measured() -> None:
    weeks = log(52 * 4 + 6, hours=lambda n: 20 if n < 106 else 19)
    found = compared(weeks, began=dt.date(2026, 9, 7), stands=dt.date(2026, 10, 5))
    assert found.claim is Claim.MEASURED
    assert found.kept == "less than promised"
    assert found.seasons_before == pytest.approx(2, abs=0.1)


def test_what_weeks_scatter_over_is_not_told() -> None:
    """A saving of 2 h a week cannot be told where the same weeks differ by 40 h."""
    promised = ThreePoint(50, 100, 150)
    wild = log(104, hours=lambda n: 30 + 20 * (-1) ** (n + (n >= 52)) - 2 * (n >= 52))
    found = compared(wild, p=promised)
    assert 0 < found.fewer_h < found.noise_h
    assert "the log cannot tell" in found.kept
    calm = log(104, hours=lambda n: 20 if n < 54 else 1)
    assert compared(calm, p=promised).kept == "more than promised"


def test_too_few_weeks_claim_nothing() -> None:
    found = compared(log(58, hours=lambda n: 20 if n < 54 else 2))
    assert found.claim is Claim.TOO_FEW
    assert found.kept == ""
    assert "2 weeks can be compared" in found.why


def test_a_short_log_before_claims_nothing() -> None:
    weeks = log(80, hours=lambda n: 20, first=dt.date(2025, 5, 5))
    found = compared(weeks)
    assert found.claim is Claim.TOO_FEW
    assert "knows 17 weeks" in found.why
    assert found.promised_h is None


@pytest.mark.parametrize(
    ("weeks", "words"),
    [
        (log(30, hours=lambda n: 5, first=dt.date(2025, 10, 6)), "before the works began"),
        (log(52, hours=lambda n: 5), "No whole week has been logged since"),
        (log(52, hours=lambda n: 0) + log(50, hours=lambda n: 0, first=dt.date(2025, 10, 6)),
         "No hours of this kind"),
    ],
)  # fmt: skip
def test_nothing_to_compare(weeks, words: str) -> None:
    found = compared(weeks, today=dt.date(2026, 12, 1))
    assert found.claim is Claim.NOTHING
    assert words in found.why


def test_it_does_not_stand_yet() -> None:
    found = compared(log(50, hours=lambda n: 5), today=dt.date(2025, 9, 20))
    assert found.why == "It does not stand yet."


def test_weeks_without_a_log_are_not_savings() -> None:
    """A crew that logs nothing for ten weeks has not saved ten weeks of leaves."""
    weeks = log(104, hours=lambda n: 20)
    silent = [
        replace(week, kind_h=0, all_h=8) if 70 <= n < 80 else week for n, week in enumerate(weeks)
    ]
    found = compared(silent)
    assert found.fewer_h == pytest.approx(0)
    assert len(found.weeks) == 38


def test_a_week_that_is_not_over_is_left_out() -> None:
    weeks = log(104, hours=lambda n: 20)
    whole = compared(weeks)
    cut = compared(weeks, today=weeks[-1].monday + dt.timedelta(days=3))
    assert len(cut.weeks) == len(whole.weeks) - 1


def test_order_of_the_log_is_nothing() -> None:
    weeks = log(104, hours=lambda n: 20 + n % 7)
    shuffled = list(weeks)
    np.random.default_rng(3).shuffle(shuffled)
    assert compared(shuffled, today=dt.date(2026, 12, 1)) == compared(
        weeks, today=dt.date(2026, 12, 1)
    )


def test_bad_weeks_in_words() -> None:
    with pytest.raises(ValueError, match="begins on a Monday"):
        Week(dt.date(2026, 9, 1), 1, 1)
    with pytest.raises(ValueError, match="below 0"):
        Week(START, -1, 1)
    with pytest.raises(ValueError, match="cannot stand"):
        compared(log(60, hours=lambda n: 1), stands=dt.date(2025, 1, 6))


def test_charts_name_their_ends() -> None:
    worth = weigh([thinning()], Assumptions(HOUR, DISCOUNT, YEARS))
    spec = swings_chart(worth.swings, likely=worth.likely.net_worth, sign="£")
    words = [row["words"] for layer in spec["layer"][2:] for row in layer["data"]["values"]]
    assert "60 h" in words
    assert "5.5 %" in words
    years = years_chart([YearHours("2026/27", 10, 20, 30, 5)])
    assert years["data"]["values"][0]["standing"] == 5
