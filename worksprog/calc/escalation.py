"""What money of one day's prices comes to by the day it is spent: compound, to the mid-point.

Spend spread evenly over a stretch of days costs, near enough, what it would if all of it went out
on the middle day; escalating to the end overstates it.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass

from worksprog.calc.ranges import ThreePoint

DAYS_A_YEAR = 365.25
COMPOUND = "escalation to the mid-point of the spend, common practice (from memory)"
STRAIGHT = "straight line, FEMA Cost Estimating Format, part E"


@dataclass(frozen=True)
class Trend:
    """How a price moves: per cent a year, low, likely and high, and who says so."""

    name: str
    percent: ThreePoint
    source: str = ""


def growth(percent_a_year: float, years: float) -> float:
    """(1 + i)^t − 1, the share by which money grows; i in per cent a year, t in years.

    ValueError: t below 0, or prices that fall by everything or more.
    """
    if not math.isfinite(percent_a_year) or percent_a_year <= -100:
        raise ValueError(f"Prices move by more than -100 % a year, not {percent_a_year:g} %.")
    if not math.isfinite(years) or years < 0:
        raise ValueError(f"The time to the mid-point must not be below 0, not {years:g} years.")
    return math.expm1(years * math.log1p(percent_a_year / 100))


def escalated(cost: float, percent_a_year: float, years: float) -> float:
    """C (1 + i)^t in the money of ``cost``."""
    return cost * (1 + growth(percent_a_year, years))


def straight_line(percent_a_month: float, months: float) -> float:
    """The straight-line variant: mean monthly rate × months to the mid-point, as a share.

    It leaves out that each rise is itself raised: below the compound figure beyond a year, and a
    shade above it within the first.
    """
    if not math.isfinite(percent_a_month) or not math.isfinite(months) or months < 0:
        raise ValueError(f"The months to the mid-point must not be below 0, not {months:g}.")
    return percent_a_month / 100 * months


def mid_point_years(base: dt.date, first: dt.date, last: dt.date) -> float:
    """Years (of 365.25 days) from the day of the prices to the middle of the days of spend.

    Both ends count, so one day's middle is its noon. 0 where the spend came before the prices: a
    price already paid does not rise. ValueError when the last day lies before the first.
    """
    if last < first:
        raise ValueError(f"The spend ends on {last}, before it begins on {first}.")
    days = (first - base).days + ((last - first).days + 1) / 2
    return max(days, 0.0) / DAYS_A_YEAR
