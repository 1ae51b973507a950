"""A gauge record read from a file: what it says, what is missing, and the most of each year."""

from __future__ import annotations

import datetime
import math
import re
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from worksprog.calc.rainfall.table import (
    LONGEST_MIN,
    MOST_DEPTH_MM,
    Refused,
    duration_words,
    is_missing,
    read_duration,
    read_number,
    rows_of_text,
    says_inches,
)

DAY_MIN = 1440
MOST_DAY_MM = 400.0  # no day of rain on record in these islands comes near it (from memory)
_MEANT_AS_FIGURE = re.compile(r"[0-9]|\b(?:nan|inf)")
MOST_MISSING_DAYS = 30  # of a year; one with more is left out
DAYS_SUMMED = (1, 2, 3, 4, 5)


@dataclass(frozen=True)
class DailyRecord:
    """Rain by day, with what was refused and where days are missing."""

    rain_mm: Mapping[datetime.date, float]
    refused: tuple[Refused, ...]
    gaps: tuple[str, ...]


class NoYear(ValueError):
    """Nothing of a record can be used: its lines refused, and what else was found."""

    def __init__(self, refused: Sequence[Refused], notes: Sequence[str]) -> None:
        self.refused, self.notes = tuple(refused), tuple(notes)
        super().__init__("No year of the record can be used; the lines refused are listed.")


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
        if is_missing(value):
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
    """Read the most rain of each year in mm, by line or by grid.

    A line is a year, a duration and a depth (``1998, 60 min, 21.4``); a grid has durations with
    their units across the first line (``year, 15 min, 1 h, 1 day``) and one line a year.
    """
    lines = rows_of_text(text)
    across: list[int | None] | None = None
    found: dict[tuple[int, int], YearMost] = {}
    refused: list[Refused] = []
    line_of: dict[tuple[int, int], int] = {}
    for order, (number, cells) in enumerate(lines):
        if not order and not _is_year(cells[0]):
            across, unread = _durations_across(cells)
            refused += [Refused(number, words) for words in unread]
            if unread and across is None:
                return (), tuple(refused)
            continue
        if not _is_year(cells[0]):
            refused.append(Refused(number, f"“{cells[0]}” is no year."))
            continue
        if across is None and len(cells) < 3:
            refused.append(Refused(number, "A year, a duration and a depth in mm were expected."))
            continue
        year = int(cells[0])
        pairs = [(cells[1], cells[2])] if across is None else []
        for minutes, cell in zip(across or (), cells[1:], strict=False):
            if minutes is not None:
                pairs.append((f"{minutes} min", cell))
        for duration, depth in pairs:
            try:
                one = _year_most(year, duration, depth)
                if (year, one.duration_min) in found:
                    raise ValueError(
                        f"{year}: given twice for {duration_words(one.duration_min)}; the first "
                        "stands."
                    )
            except ValueError as error:
                refused.append(Refused(number, str(error)))
            else:
                found[year, one.duration_min] = one
                line_of[year, one.duration_min] = number
    refused += _falling(found, line_of)
    return tuple(found.values()), tuple(refused)


def _is_year(cell: str) -> bool:
    return cell.isdigit() and 1800 <= int(cell) <= 2200


def _durations_across(cells: Sequence[str]) -> tuple[list[int | None] | None, list[str]]:
    """Durations (min) that a first line names, None when it names none; what cannot be read of it."""
    found: list[int | None] = []
    unread: list[str] = []
    for cell in cells[1:]:
        try:
            minutes = round(read_duration(cell.replace("mm", "").strip(" ()")))
            if not 0 < minutes <= LONGEST_MIN:
                raise ValueError(f"“{cell}”: a duration lies above 0 and up to 14 days.")
            found.append(minutes)
        except ValueError as error:
            found.append(None)
            if _MEANT_AS_FIGURE.search(cell.lower()):
                unread.append(f"{error} Its column is left out.")
    return (found if any(found) else None), unread


def _year_most(year: int, duration: str, cell: str) -> YearMost:
    minutes = round(read_duration(duration))
    where = f"{year}, {duration_words(minutes)}"
    if is_missing(cell):
        raise ValueError(f"{where}: no value ({cell or 'empty'}); the year is left out of it.")
    depth = read_number(cell)
    if not 0 < depth <= MOST_DEPTH_MM:
        raise ValueError(f"{where}: the most rain of a year cannot be {depth:g} mm.")
    return YearMost(year, minutes, depth)


def _falling(
    found: dict[tuple[int, int], YearMost], line_of: Mapping[tuple[int, int], int]
) -> list[Refused]:
    """Years in which a longer duration brought less; both are taken out, for either may be wrong."""
    refused = []
    by_year: dict[int, list[YearMost]] = defaultdict(list)
    for one in found.values():
        by_year[one.year].append(one)
    for year, rows in sorted(by_year.items()):
        rows.sort(key=lambda one: one.duration_min)
        for shorter, longer in pairwise(rows):
            if longer.depth_mm < shorter.depth_mm:
                words = (
                    f"{year}: {longer.depth_mm:g} mm in {duration_words(longer.duration_min)} is less "
                    f"than {shorter.depth_mm:g} mm in {duration_words(shorter.duration_min)}; both "
                    "are left out."
                )
                refused.append(Refused(line_of[year, longer.duration_min], words))
                found.pop((year, longer.duration_min), None)
                found.pop((year, shorter.duration_min), None)
    return refused


@dataclass(frozen=True)
class GaugeRead:
    """A record as it was read.

    kind      "daily" or "maxima"
    rows      the most of each year
    refused   lines that could not be taken
    notes     gaps, and years left out with why
    doubts    what can be but seldom is
    days      rain of each day, mm, where the record has it
    """

    kind: str
    rows: tuple[YearMost, ...]
    refused: tuple[Refused, ...]
    notes: tuple[str, ...]
    doubts: tuple[str, ...]
    days: Mapping[datetime.date, float] = field(default_factory=dict)

    @property
    def years(self) -> int:
        return len({one.year for one in self.rows})


def read_gauge(text: str, *, year_begins: int = 1) -> GaugeRead:
    """Read a daily record or annual maxima, whichever its first column tells.

    year_begins  month in which the year begins, for a daily record
    ValueError (NoYear) when nothing in it can be used; every line that cannot is refused by itself.
    """
    lines = rows_of_text(text)
    if not lines:
        raise ValueError(
            "The record is empty: a date and its rain, or a year and its most, a line."
        )
    number, head = lines[0]
    if says_inches(head):
        raise ValueError(
            f"Line {number} says inches ({', '.join(head)[:80]}). Turn the depths into mm first."
        )
    is_daily = not any(_is_year(cells[0]) for _, cells in lines[:2])
    days: Mapping[datetime.date, float] = {}
    if is_daily:
        record = read_daily(text)
        days = record.rain_mm
        most = annual_maxima(record, year_begins=year_begins)
        refused, rows, notes = record.refused, most.rows, (*most.left_out, *record.gaps)
    else:
        rows, refused = read_maxima(text)
        notes = ()
    if not rows:
        raise NoYear(refused, notes)
    return GaugeRead("daily" if is_daily else "maxima", rows, refused, notes, _doubts(rows), days)


def _doubts(rows: Sequence[YearMost]) -> tuple[str, ...]:
    """Inches or tenths of a millimetre, by the most of a day in a usual year."""
    found = []
    for minutes, years in by_duration(rows).items():
        usual = float(np.median([one.depth_mm for one in years]))
        where = f"{duration_words(minutes)}: the usual most of a year is {usual:g} mm"
        if minutes >= 360 and usual < 8:
            found.append(f"{where}, which is very little. Are these inches?")
        if minutes <= DAY_MIN and usual > 200:
            found.append(f"{where}, which is very much. Are these tenths of a millimetre?")
    there = {one.year for one in rows}
    gone = [str(year) for year in range(min(there), max(there)) if year not in there]
    if gone:
        named = ", ".join(gone[:12]) + (" and more" if len(gone) > 12 else "")
        found.append(
            f"{named}: {'not there' if len(gone) == 1 else f'{len(gone)} years not there'}. Was the "
            "gauge out of order in a storm? Then the record is too mild."
        )
    return tuple(found)


def by_duration(rows: Sequence[YearMost]) -> dict[int, list[YearMost]]:
    """The years of each duration, in order."""
    found: dict[int, list[YearMost]] = defaultdict(list)
    for row in sorted(rows, key=lambda one: (one.duration_min, one.year)):
        found[row.duration_min].append(row)
    return dict(found)
