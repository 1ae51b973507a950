"""A club's years of account, from whatever month they start in, and days of work shared over them."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, order=True)
class FinancialYear:
    """From its first day to its last, both in it."""

    first: dt.date
    last: dt.date

    @property
    def name(self) -> str:
        """'2026' where it is the calendar year, else '2026/27'."""
        if self.first.year == self.last.year:
            return str(self.first.year)
        return f"{self.first.year}/{self.last.year % 100:02}"


def financial_year_of(day: dt.date, starts_in_month: int) -> FinancialYear:
    """The year of account that the day falls in; ValueError unless the month is 1 to 12."""
    if not 1 <= starts_in_month <= 12:
        raise ValueError(f"A year starts in a month from 1 to 12, not {starts_in_month}.")
    year = day.year if day.month >= starts_in_month else day.year - 1
    following = dt.date(year + 1, starts_in_month, 1)
    return FinancialYear(dt.date(year, starts_in_month, 1), following - dt.timedelta(days=1))


def years_between(first: dt.date, last: dt.date, starts_in_month: int) -> list[FinancialYear]:
    """Every year of account from the one of ``first`` to the one of ``last``, without gaps."""
    years = [financial_year_of(first, starts_in_month)]
    while years[-1].last < last:
        years.append(financial_year_of(years[-1].last + dt.timedelta(days=1), starts_in_month))
    return years


@dataclass(frozen=True)
class Stretch:
    """The days of one piece of work that fall in one year of account."""

    year: FinancialYear
    first: dt.date
    last: dt.date
    days: int  # Mondays to Fridays; all days where the work has no weekday


def stretches(start: dt.date, finish: dt.date, starts_in_month: int) -> list[Stretch]:
    """The work from ``start`` to ``finish``, both worked, cut at the turns of the year.

    A year in which no weekday falls is left out, unless none falls in the whole work (a weekend's
    job), which is then shared by all its days. ValueError when it finishes before it starts.
    """
    if finish < start:
        raise ValueError(f"The work finishes on {finish}, before it starts on {start}.")
    cut = [
        (year, max(start, year.first), min(finish, year.last))
        for year in years_between(start, finish, starts_in_month)
    ]
    by_weekday = [
        Stretch(year, first, last, int(np.busday_count(first, last + dt.timedelta(days=1))))
        for year, first, last in cut
    ]
    worked = [one for one in by_weekday if one.days]
    return worked or [
        Stretch(year, first, last, (last - first).days + 1) for year, first, last in cut
    ]
