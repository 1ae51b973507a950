"""A gauge record read from a file: what it says, what is missing, and the most of each year."""

from __future__ import annotations

import datetime
import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from worksprog.calc.rainfall.table import (
    MISSING,
    MOST_DEPTH_MM,
    Refused,
    read_duration,
    read_number,
    rows_of_text,
)

DAY_MIN = 1440
MOST_DAY_MM = 400.0  # no day of rain on record in these islands comes near it (from memory)
MOST_MISSING_DAYS = 30  # of a year; one with more is left out
DAYS_SUMMED = (1, 2, 3, 4, 5)


@dataclass(frozen=True)
class DailyRecord:
    """Rain by day, with what was refused and where days are missing."""

    rain_mm: Mapping[datetime.date, float]
    refused: tuple[Refused, ...]
    gaps: tuple[str, ...]


@dataclass(frozen=True)
class YearMost:
    """The most rain in a duration in one year."""

    year: int
    duration_min: int
    depth_mm: float


def read_date(text: str) -> datetime.date:
    """A date as 2026-01-31, 31/01/2026 or 31.01.2026; ValueError in words."""
    for form in ("%Y-%m-%d", "%d/%m/%Y", "%d.%m.%Y", "%Y%m%d"):
        try:
            return datetime.datetime.strptime(text.strip()[:10], form).date()
        except ValueError:
            continue
    raise ValueError(f"“{text}” is no date; expected one like 2026-01-31 or 31/01/2026.")


def read_daily(text: str) -> DailyRecord:
    """Read lines of date and rain in mm, any header left out.

    A missing value (empty, -999 and its like) counts as a gap, not as a dry day; a negative value,
    one above 400 mm, a day given twice and what is no date or number are refused with their line.
    """
    found: dict[datetime.date, float] = {}
    refused: list[Refused] = []
    missing: set[datetime.date] = set()
    for order, (number, cells) in enumerate(rows_of_text(text)):
        if len(cells) < 2:
            refused.append(Refused(number, "A date and a depth in mm were expected."))
            continue
        try:
            day = read_date(cells[0])
        except ValueError as error:
            if order:
                refused.append(Refused(number, str(error)))
            continue
        value = cells[1].lower()
        if value in MISSING:
            missing.add(day)
            refused.append(
                Refused(number, f"{day}: no value ({cells[1] or 'empty'}); left as a gap.")
            )
            continue
        try:
            depth = read_number(value)
        except ValueError as error:
            refused.append(Refused(number, f"{day}: {error}"))
            continue
        if not math.isfinite(depth) or depth < 0:
            refused.append(Refused(number, f"{day}: a day's rain cannot be {depth:g} mm."))
        elif depth > MOST_DAY_MM:
            refused.append(
                Refused(
                    number, f"{day}: {depth:g} mm in a day is more than can be; tenths of a mm?"
                )
            )
        elif day in found:
            refused.append(Refused(number, f"{day} was given before; the first stands."))
        else:
            found[day] = depth
    return DailyRecord(dict(sorted(found.items())), tuple(refused), _gaps(found))


def _gaps(found: Mapping[datetime.date, float]) -> tuple[str, ...]:
    days = sorted(found)
    gaps = []
    for before, after in pairwise(days):
        missing = (after - before).days - 1
        if missing:
            first, last = before + datetime.timedelta(1), after - datetime.timedelta(1)
            gaps.append(
                f"{missing} day{'' if missing == 1 else 's'} missing, {first}"
                + ("" if first == last else f" to {last}")
            )
    return tuple(gaps)


@dataclass(frozen=True)
class Maxima:
    """The most of each year by days summed, and the years that were left out with why."""

    rows: tuple[YearMost, ...]
    left_out: tuple[str, ...]


def annual_maxima(record: DailyRecord, *, year_begins: int = 10) -> Maxima:
    """The wettest 1 to 5 days of each year that begins in a month (October: a water year).

    A year named 2026 begins in that month of 2025 (of 2026 for January). Years with more than 30
    days missing are left out and told. A sum with a missing day in it is not counted.
    """
    if not 1 <= year_begins <= 12:
        raise ValueError("A year begins in a month from 1 to 12.")
    days = sorted(record.rain_mm)
    if not days:
        return Maxima((), ("The record holds no day of rain.",))
    first = days[0]
    rain = np.full((days[-1] - first).days + 1, np.nan)
    for day in days:
        rain[(day - first).days] = record.rain_mm[day]
    of_year: dict[int, list[int]] = defaultdict(list)
    for offset in range(len(rain)):
        day = first + datetime.timedelta(offset)
        year = day.year + (1 if year_begins > 1 and day.month >= year_begins else 0)
        of_year[year].append(offset)
    rows: list[YearMost] = []
    left_out: list[str] = []
    for year, offsets in sorted(of_year.items()):
        known = int(np.isfinite(rain[offsets]).sum())
        missing = 365 - known
        if missing > MOST_MISSING_DAYS:
            left_out.append(f"{year}: {missing} days missing, so it is left out")
            continue
        for count in DAYS_SUMMED:
            sums = [
                float(rain[end - count + 1 : end + 1].sum())
                for end in offsets
                if end - count + 1 >= 0
            ]
            whole = [value for value in sums if math.isfinite(value)]
            if whole:
                rows.append(YearMost(year, count * DAY_MIN, max(whole)))
    return Maxima(tuple(rows), tuple(left_out))


def read_maxima(text: str) -> tuple[tuple[YearMost, ...], tuple[Refused, ...]]:
    """Read lines of year, duration, most rain in mm (``1998, 60 min, 21.4``)."""
    found: dict[tuple[int, int], YearMost] = {}
    refused: list[Refused] = []
    for order, (number, cells) in enumerate(rows_of_text(text)):
        if len(cells) < 3:
            refused.append(Refused(number, "A year, a duration and a depth in mm were expected."))
            continue
        try:
            year = int(read_number(cells[0]))
        except ValueError as error:
            if order:
                refused.append(Refused(number, str(error)))
            continue
        try:
            if not 1800 <= year <= 2200:
                raise ValueError(f"{year} is no year.")
            if cells[2].lower() in MISSING:
                raise ValueError(f"{year}: no value ({cells[2] or 'empty'}).")
            duration, depth = round(read_duration(cells[1])), read_number(cells[2])
            if not 0 < depth <= MOST_DEPTH_MM:
                raise ValueError(f"{year}: the most rain of a year cannot be {depth:g} mm.")
            if (year, duration) in found:
                raise ValueError(f"{year}: given twice for that duration; the first stands.")
        except ValueError as error:
            refused.append(Refused(number, str(error)))
        else:
            found[year, duration] = YearMost(year, duration, depth)
    return tuple(found.values()), tuple(refused)


def by_duration(rows: Sequence[YearMost]) -> dict[int, list[YearMost]]:
    """The years of each duration, in order."""
    found: dict[int, list[YearMost]] = defaultdict(list)
    for row in sorted(rows, key=lambda one: (one.duration_min, one.year)):
        found[row.duration_min].append(row)
    return dict(found)
