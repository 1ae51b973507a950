"""A table of rain depths by return period and duration, checked row by row."""

from __future__ import annotations

import csv
import io
import math
import re
from collections import defaultdict
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from worksprog.calc.rainfall.design import DesignRain

MOST_DEPTH_MM = 2_000.0
LONGEST_MIN = 20_160.0  # a fortnight
MOST_RETURN_YEARS = 1_000.0
MISSING = frozenset({"", "-", "na", "n/a", "nan", "null", "-999", "-999.0", "-9999", "-99.9"})
_UNITS_MIN = {"min": 1.0, "h": 60.0, "hour": 60.0, "hours": 60.0, "d": 1440.0, "day": 1440.0,
              "days": 1440.0, "m": 1.0, "mins": 1.0, "minutes": 1.0, "hr": 60.0, "hrs": 60.0}  # fmt: skip
_YEARS = re.compile(r"([0-9]+(?:[.,][0-9]+)?)\s*(?:years?|yr|y)?\s*$")
_DURATION = re.compile(r"^\s*([0-9]+(?:[.,][0-9]+)?)\s*([a-z]*)\s*$")


@dataclass(frozen=True)
class Depth:
    """One entry: the rain (mm) that falls in a duration (min) once in so many years on average."""

    return_years: float
    duration_min: float
    depth_mm: float


@dataclass(frozen=True)
class Refused:
    """A line of a file that cannot be taken, and why."""

    line: int
    words: str


def reduced_variate(return_years: float) -> float:
    """Gumbel's y = -ln(-ln(1 - 1/T)); T in years of annual maxima, above 1 (ValueError)."""
    if not return_years > 1:
        raise ValueError(f"A return period is more than 1 year; {return_years:g} was given.")
    return -math.log(-math.log(1 - 1 / return_years))


@dataclass(frozen=True)
class DepthTable:
    """Depths that rise with duration and with return period; ValueError names what does not.

    Between return periods the depth is read on straight lines over Gumbel's reduced variate; a
    return period outside the table is refused, for nothing is known of it.
    """

    depths: tuple[Depth, ...]

    def __post_init__(self) -> None:
        if not self.depths:
            raise ValueError("The table is empty: at least one depth is needed.")
        seen: set[tuple[float, float]] = set()
        for one in self.depths:
            _check_depth(one)
            place = (one.return_years, one.duration_min)
            if place in seen:
                raise ValueError(
                    f"{duration_words(one.duration_min)}, 1 in {one.return_years:g} year, is given "
                    "twice."
                )
            seen.add(place)
        for years, rows in self.by_return_period().items():
            for shorter, longer in pairwise(rows):
                if longer.depth_mm < shorter.depth_mm:
                    raise ValueError(
                        f"1 in {years:g} year: a longer storm cannot bring less rain; "
                        f"{longer.depth_mm:g} mm in {duration_words(longer.duration_min)} follows "
                        f"{shorter.depth_mm:g} mm in {duration_words(shorter.duration_min)}."
                    )
        by_duration: dict[float, list[Depth]] = defaultdict(list)
        for one in sorted(self.depths, key=lambda depth: depth.return_years):
            by_duration[one.duration_min].append(one)
        for duration, rows in by_duration.items():
            for usual, rare in pairwise(rows):
                if rare.depth_mm < usual.depth_mm:
                    raise ValueError(
                        f"{duration_words(duration)}: a rarer storm cannot bring less rain; "
                        f"{rare.depth_mm:g} mm at 1 in {rare.return_years:g} year follows "
                        f"{usual.depth_mm:g} mm at 1 in {usual.return_years:g}."
                    )

    def by_return_period(self) -> dict[float, list[Depth]]:
        found: dict[float, list[Depth]] = {}
        for one in sorted(self.depths, key=lambda depth: (depth.return_years, depth.duration_min)):
            found.setdefault(one.return_years, []).append(one)
        return found

    @property
    def return_periods(self) -> tuple[float, ...]:
        return tuple(self.by_return_period())

    @property
    def durations_min(self) -> tuple[float, ...]:
        return tuple(sorted({one.duration_min for one in self.depths}))

    def depth_mm(self, return_years: float, duration_min: float) -> float | None:
        """The entry itself; None where the table has none."""
        return next(
            (one.depth_mm for one in self.depths
             if (one.return_years, one.duration_min) == (return_years, duration_min)),
            None,
        )  # fmt: skip

    def design_rain(self, return_years: float, *, allowance_percent: float = 0.0) -> DesignRain:
        """Depths of one return period by duration, with an allowance for climate change added.

        ValueError for a return period outside the table and an allowance outside 0 to 100 %.
        """
        if not 0 <= allowance_percent <= 100:
            raise ValueError(
                f"An allowance for climate change lies from 0 to 100 %, not {allowance_percent:g}."
            )
        known = self.return_periods
        if not known[0] <= return_years <= known[-1]:
            raise ValueError(
                f"The table tells 1 in {known[0]:g} to 1 in {known[-1]:g} year; nothing is known of "
                f"1 in {return_years:g}."
            )
        factor = 1 + allowance_percent / 100
        durations, depths = [], []
        for duration in self.durations_min:
            rows = [
                (reduced_variate(one.return_years), one.depth_mm)
                for one in sorted(self.depths, key=lambda depth: depth.return_years)
                if one.duration_min == duration
            ]
            at = reduced_variate(return_years)
            if rows[0][0] - 1e-9 <= at <= rows[-1][0] + 1e-9:
                variates, values = zip(*rows, strict=True)
                durations.append(duration)
                depths.append(float(np.interp(at, variates, values)) * factor)
        if not durations:
            raise ValueError(f"No duration of the table is told for 1 in {return_years:g} year.")
        return DesignRain(tuple(durations), tuple(depths))


def _check_depth(one: Depth) -> None:
    where = f"{one.duration_min:g} min, 1 in {one.return_years:g} year"
    if not (math.isfinite(one.return_years) and 1 < one.return_years <= MOST_RETURN_YEARS):
        raise ValueError(f"{where}: a return period lies above 1 and up to 1,000 years.")
    if not (math.isfinite(one.duration_min) and 0 < one.duration_min <= LONGEST_MIN):
        raise ValueError(f"{where}: a duration lies above 0 and up to 14 days, in minutes.")
    if not (math.isfinite(one.depth_mm) and 0 < one.depth_mm <= MOST_DEPTH_MM):
        raise ValueError(
            f"{where}: a depth in mm above 0 was expected, and {one.depth_mm:g} was given."
        )
    # The most rain that ever fell anywhere in an hour is about 400 mm.
    if one.depth_mm / one.duration_min * 60 > 400 and one.duration_min >= 5:
        raise ValueError(
            f"{where}: {one.depth_mm:g} mm is more than any rain on record; is it in mm?"
        )


def duration_words(duration_min: float) -> str:
    """'15 min', '2 h', '3 days'."""
    if duration_min >= 1440 and duration_min % 1440 == 0:
        days = duration_min / 1440
        return f"{days:g} day{'' if days == 1 else 's'}"
    if duration_min >= 60 and duration_min % 60 == 0:
        return f"{duration_min / 60:g} h"
    return f"{duration_min:g} min"


def read_duration(text: str) -> float:
    """Minutes of '15', '15 min', '2 h' or '1 day'; ValueError in words."""
    match = _DURATION.match(text.lower())
    if match is None or (match[2] and match[2] not in _UNITS_MIN):
        raise ValueError(
            f"“{text.strip()}” is no duration; expected one like 15 min, 2 h or 1 day."
        )
    return float(match[1].replace(",", ".")) * _UNITS_MIN.get(match[2] or "min", 1.0)


def read_number(text: str) -> float:
    """A number with point or comma; ValueError in words."""
    try:
        return float(text.strip().replace(",", "."))
    except ValueError as error:
        raise ValueError(f"“{text.strip()}” is no number.") from error


def rows_of_text(text: str) -> list[tuple[int, list[str]]]:
    """Lines with their numbers, cut at tabs, semicolons or commas; empty and # lines left out."""
    if not text.strip():
        return []
    head = text.lstrip("\ufeff").strip().splitlines()[0]
    delimiter = next((mark for mark in ("\t", ";") if mark in head), ",")
    reader = csv.reader(io.StringIO(text.lstrip("\ufeff")), delimiter=delimiter)
    return [
        (reader.line_num, [cell.strip() for cell in row])
        for row in reader
        if any(cell.strip() for cell in row) and not row[0].lstrip().startswith("#")
    ]


def read_depths(text: str) -> tuple[tuple[Depth, ...], tuple[Refused, ...]]:
    """Read a grid: return periods across the first line, one line a duration.

    ``duration, 2, 10, 30`` then ``15 min, 9.1, 14, 19``; separated by commas, semicolons or tabs.
    An empty cell is left out; what cannot be read is refused with its line and why.
    """
    lines = rows_of_text(text)
    if not lines:
        return (), (Refused(1, "Nothing was given: a first line of return periods was expected."),)
    number, head = lines[0]
    periods: list[float | None] = []
    refused: list[Refused] = []
    for cell in head[1:]:
        found = re.search(
            r"[0-9]+(?:[.,][0-9]+)?\s*$",
            cell.lower().replace("years", "").replace("year", "").strip(),
        )
        if found is None:
            if cell:
                refused.append(Refused(number, f"“{cell}” is no return period in years."))
            periods.append(None)
        else:
            periods.append(float(found[1].replace(",", ".")))
    if not any(periods):
        refused.append(
            Refused(
                number, "The first line gives the return periods in years: duration, 2, 10, 30."
            )
        )
        return (), tuple(refused)
    depths: list[Depth] = []
    for number, cells in lines[1:]:
        try:
            duration = read_duration(cells[0])
        except ValueError as error:
            refused.append(Refused(number, str(error)))
            continue
        for years, cell in zip(periods, cells[1:], strict=False):
            if years is None or cell == "":
                continue
            if cell.lower() in MISSING:
                refused.append(
                    Refused(number, f"1 in {years:g} year: {cell} stands for a missing value.")
                )
                continue
            try:
                one = Depth(years, duration, read_number(cell))
                _check_depth(one)
            except ValueError as error:
                refused.append(Refused(number, str(error)))
            else:
                depths.append(one)
    return tuple(depths), tuple(refused)
