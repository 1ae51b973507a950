"""Escalation against another library, a published rule and closed forms; classes as published."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import numpy_financial as npf
import pytest

from worksprog.calc.build_up import Category
from worksprog.calc.cost_years import Additions, CostedItem, CostLine, cost_by_year
from worksprog.calc.escalation import Trend, escalated, growth, straight_line
from worksprog.calc.estimate_classes import CLASSES
from worksprog.calc.ranges import ThreePoint

ESC_1 = "ESC-1, C (1 + i)^t, formula from memory (M), figure by closed form (A)"


def test_to_the_mid_point(outside):
    outside(
        quantity="Escalation to the mid-point: 100,000 at 4 % for 1.5 years",
        expected=106_059.61,
        got=escalated(100_000, 4, 1.5),
        tolerance=0.005,
        source=ESC_1,
    )
    outside(
        quantity="The same to the end, 2 years, which overstates it",
        expected=108_160.0,
        got=escalated(100_000, 4, 2),
        tolerance=1e-6,
        source=ESC_1,
    )
    outside(
        quantity="The same as two equal halves at years 1 and 2",
        expected=106_080.0,
        got=escalated(50_000, 4, 1) + escalated(50_000, 4, 2),
        tolerance=1e-6,
        source=ESC_1,
    )


@pytest.mark.parametrize(
    ("percent", "years"), [(4.0, 1.5), (2.75, 4.37), (-1.2, 3.1), (11.0, 0.25), (0.5, 5.0)]
)
def test_against_another_library(outside, percent, years):
    got = escalated(84_213.57, percent, years)
    outside(
        quantity=f"Escalation of 84,213.57 at {percent} % for {years} years",
        expected=float(npf.fv(percent / 100, years, 0, -84_213.57)),
        got=got,
        tolerance=1e-12,
        relative=True,
        source="numpy-financial fv (R)",
    )
    outside(
        quantity=f"and back by present value at {percent} % for {years} years",
        expected=84_213.57,
        got=float(npf.pv(percent / 100, years, 0, -got)),
        tolerance=1e-12,
        relative=True,
        source="numpy-financial pv (R)",
    )


def test_straight_line_rule(outside):
    outside(
        quantity="Straight-line escalation: 100,000 at 0.25 % a month, 14 months to the mid-point",
        expected=3_500.0,
        got=100_000 * straight_line(0.25, 14),
        tolerance=1e-9,
        source="ESC-2, FEMA Cost Estimating Format part E: rule (C), numbers ours (A)",
    )
    # Per month compounded, the two rules differ by the second order and more alone.
    monthly = (1.0025**12 - 1) * 100
    outside(
        quantity="Compound less straight line over 14 months at 0.25 % a month",
        expected=1.0025**14 - 1 - 0.035,
        got=growth(monthly, 14 / 12) - straight_line(0.25, 14),
        tolerance=1e-12,
        source="binomial remainder, closed form (A)",
    )


def test_a_job_over_two_years_of_account(outside):
    """Half the weekdays each side of 1 October; each half to its own mid-point."""
    trend = Trend("invented", ThreePoint(3, 4, 5))
    priced, first, last = dt.date(2025, 10, 1), dt.date(2026, 9, 21), dt.date(2026, 10, 8)
    line = CostLine(Decimal("100000.00"), Category.MATERIAL, priced, trend)
    found = cost_by_year(
        [CostedItem(1, (line,), first, last)], Additions(), starts_in_month=10
    ).by_year()
    # 21 to 30 September: 8 of 14 weekdays, middle 355 + 5 days on; 1 to 8 October: 6, 365 + 4 days.
    for share, days, parts in zip((8 / 14, 6 / 14), (360, 369), found.values(), strict=True):
        outside(
            quantity=f"Escalation of {share:.0%} of 100,000, {days} days to its mid-point",
            expected=float(npf.fv(0.04, days / 365.25, 0, -1)) * share * 1e5 - share * 1e5,
            got=float(parts.escalation),
            tolerance=0.011,
            source="numpy-financial fv (R), weekdays counted by hand (A)",
        )


def test_classes_as_published(outside):
    source = "AACE 18R-97 ranges as one published table prints them (C2), process plant"
    published = {
        5: (-20, -50, 30, 100),
        4: (-15, -30, 20, 50),
        3: (-10, -20, 10, 30),
        2: (-5, -15, 5, 20),
        1: (-3, -10, 3, 15),
    }
    for number, expected in published.items():
        one = CLASSES[number]
        words = ("low, from", "low, to", "high, from", "high, to")
        for word, wanted, got in zip(words, expected, (*one.low, *one.high), strict=True):
            outside(
                quantity=f"Estimate class {number}: {word}",
                expected=wanted,
                got=got,
                tolerance=0,
                unit="%",
                source=source,
            )
