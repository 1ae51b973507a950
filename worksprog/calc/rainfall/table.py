"""A table of rain depths by return period and duration, checked row by row."""

from __future__ import annotations

import csv
import io
import math
import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from worksprog.calc.rainfall.design import DesignRain

MOST_DEPTH_MM = 2_000.0
MOST_TOLD = 6
LONGEST_MIN = 20_160.0  # a fortnight
MOST_RETURN_YEARS = 1_000.0
MISSING = frozenset({"", "-", "na", "n/a", "nan", "null", "m"})
_UNITS_MIN = {"min": 1.0, "h": 60.0, "hour": 60.0, "hours": 60.0, "d": 1440.0, "day": 1440.0,
              "days": 1440.0, "m": 1.0, "mins": 1.0, "minutes": 1.0, "hr": 60.0, "hrs": 60.0}  # fmt: skip
# Neither the end of 1e308 nor that of -1 is a return period.
_YEARS = re.compile(r"(?<![0-9.,+-])(?<![0-9]e)([0-9]+(?:[.,][0-9]+)?)\s*(?:years?|yr|y)?\s*$")
_IN_INCHES = re.compile(r"\b(?:in|inch|inches)\b(?! *[0-9])")
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
        faults = table_faults(self.depths)
        if faults:
            more = f" And {len(faults) - MOST_TOLD} more." if len(faults) > MOST_TOLD else ""
            raise ValueError(" ".join(faults[:MOST_TOLD]) + more)

    @classmethod
    def of(cls, rows: Iterable[Sequence[float]]) -> DepthTable:
        """From rows of [return period (years), duration (min), depth (mm)], in any order."""
        return cls(
            tuple(Depth(float(years), float(mins), float(depth)) for years, mins, depth in rows)
        )

    def as_rows(self) -> list[list[float]]:
        """Plain figures for a record, by return period and then duration."""
        return [
            [one.return_years, one.duration_min, one.depth_mm]
            for row in self.by_return_period().values()
            for one in row
        ]

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
        for at, (shorter, longer) in enumerate(pairwise(depths)):
            if longer < shorter:
                raise ValueError(
                    f"The table has gaps: taken between the return periods entered, 1 in "
                    f"{return_years:g} year would bring {shorter:.1f} mm in "
                    f"{duration_words(durations[at])} and only {longer:.1f} mm in "
                    f"{duration_words(durations[at + 1])}. Enter the depths left out."
                )
        return DesignRain(tuple(durations), tuple(depths))


def table_faults(depths: Sequence[Depth]) -> list[str]:
    """All that keeps these depths from being a table, each with its place."""
    if not depths:
        return ["The table is empty: at least one depth is needed."]
    faults = []
    kept: dict[tuple[float, float], Depth] = {}
    for one in depths:
        try:
            _check_depth(one)
        except ValueError as error:
            faults.append(str(error))
            continue
        if (one.return_years, one.duration_min) in kept:
            faults.append(
                f"{duration_words(one.duration_min)}, 1 in {one.return_years:g} year, is given twice."
            )
        kept.setdefault((one.return_years, one.duration_min), one)
    by_years: dict[float, list[Depth]] = defaultdict(list)
    by_duration: dict[float, list[Depth]] = defaultdict(list)
    for one in sorted(kept.values(), key=lambda each: (each.return_years, each.duration_min)):
        by_years[one.return_years].append(one)
        by_duration[one.duration_min].append(one)
    falls = [
        f"1 in {years:g} year: a longer storm cannot bring less rain; {longer.depth_mm:g} mm in "
        f"{duration_words(longer.duration_min)} follows {shorter.depth_mm:g} mm in "
        f"{duration_words(shorter.duration_min)}."
        for years, rows in by_years.items()
        for shorter, longer in pairwise(rows)
        if longer.depth_mm < shorter.depth_mm
    ]
    if len(falls) > 1 and len(falls) == sum(len(rows) - 1 for rows in by_years.values()):
        falls.insert(0, "It falls everywhere with duration. Are these mm/h? Depths in mm go here.")
    faults += falls
    faults += [
        f"{duration_words(duration)}: a rarer storm cannot bring less rain; {rare.depth_mm:g} mm at "
        f"1 in {rare.return_years:g} year follows {usual.depth_mm:g} mm at 1 in "
        f"{usual.return_years:g}."
        for duration, rows in sorted(by_duration.items())
        for usual, rare in pairwise(rows)
        if rare.depth_mm < usual.depth_mm
    ]
    return faults


def table_doubts(table: DepthTable) -> tuple[str, ...]:
    """What can be but seldom is: inches, hours in the place of minutes, an intensity that rises."""
    found = []
    longest = max(table.depths, key=lambda one: (one.duration_min, one.return_years))
    where = f"{duration_words(longest.duration_min)}, 1 in {longest.return_years:g} year"
    if longest.duration_min >= 360 and longest.depth_mm < 12:
        found.append(
            f"{where}: {longest.depth_mm:g} mm is very little for so long a storm. Are these inches?"
        )
    rate = longest.depth_mm / longest.duration_min * 60
    if longest.duration_min <= 96 and rate > 150:
        found.append(
            f"{where}: that is {rate:.0f} mm/h in the longest storm. Are the durations hours? A bare "
            "number is minutes."
        )
    for years, rows in table.by_return_period().items():
        for shorter, longer in pairwise(rows):
            before = shorter.depth_mm / shorter.duration_min * 60
            after = longer.depth_mm / longer.duration_min * 60
            if after > before * 1.0001:
                found.append(
                    f"{duration_words(longer.duration_min)}, 1 in {years:g} year: its mean "
                    f"intensity, {after:.1f} mm/h, is above that of "
                    f"{duration_words(shorter.duration_min)}, {before:.1f} mm/h."
                )
    return tuple(found)


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


def is_missing(cell: str) -> bool:
    """Whether a cell says that there is no value: empty, NA, -999 and its like."""
    plain = cell.strip().lower()
    return plain in MISSING or bool(re.fullmatch(r"-9{2,4}([.,]9*0*)?", plain))


def says_inches(cells: Sequence[str]) -> bool:
    return any(_IN_INCHES.search(cell.lower()) for cell in cells)


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
    """Read a grid of depths in mm, cut by commas, semicolons or tabs.

    Return periods across and one line a duration (``duration, 2, 10, 30`` then
    ``15 min, 9.1, 14, 19``); or durations across, when each bears its unit (``years, 15 min, 1 h``).
    A duration without a unit is minutes. An empty cell is left out; what cannot be read is refused
    with its line and why, and nothing else is lost.
    """
    lines = rows_of_text(text)
    if not lines:
        return (), (Refused(1, "Nothing was given: a first line of return periods was expected."),)
    number, head = lines[0]
    refused: list[Refused] = []
    if says_inches(head):
        refused.append(Refused(number, "The depths are said to be in inches; mm are taken."))
        return (), tuple(refused)
    named = [cell.lower() for cell in head[1:] if cell]
    durations_across = bool(named) and all(re.search(r"[0-9] *(?:m|h|d)", cell) for cell in named)
    across_of, down_of = (read_duration, _read_period)[:: 1 if durations_across else -1]
    across: list[float | None] = []
    for cell in head[1:]:
        try:
            across.append(across_of(cell) if cell else None)
        except ValueError as error:
            refused.append(Refused(number, str(error)))
            across.append(None)
    if not any(across):
        said = "The first line gives the return periods in years: duration, 2, 10, 30."
        return (), (*refused, Refused(number, said))
    depths: list[Depth] = []
    for number, cells in lines[1:]:
        try:
            down = down_of(cells[0])
        except ValueError as error:
            refused.append(Refused(number, str(error)))
            continue
        if any(cells[len(head) :]):
            refused.append(
                Refused(number, f"It has {len(cells)} cells, the first line only {len(head)}.")
            )
            continue
        for top, cell in zip(across, cells[1:], strict=False):
            if top is None or cell == "":
                continue
            years, duration = (down, top) if durations_across else (top, down)
            where = f"1 in {years:g} year, {duration_words(duration)}"
            if is_missing(cell):
                refused.append(Refused(number, f"{where}: {cell} stands for a missing value."))
                continue
            try:
                one = Depth(years, duration, read_number(cell))
                _check_depth(one)
            except ValueError as error:
                refused.append(Refused(number, str(error)))
            else:
                depths.append(one)
    if not depths and not refused:
        refused.append(Refused(number, "The table has a first line and no depth below it."))
    return tuple(depths), tuple(refused)


def _read_period(text: str) -> float:
    """Years of '10', '10 years' or '1 in 10'; ValueError in words."""
    match = _YEARS.search(text.lower().strip())
    if match is None:
        raise ValueError(f"“{text.strip()}” is no return period in years.")
    return float(match[1].replace(",", "."))


def text_of(table: DepthTable) -> str:
    """The table as ``read_depths`` takes it, return periods across."""
    periods = table.return_periods
    lines = [["duration", *(f"{years:g}" for years in periods)]]
    for duration in table.durations_min:
        cells = [table.depth_mm(years, duration) for years in periods]
        lines.append(
            [duration_words(duration), *("" if cell is None else f"{cell:g}" for cell in cells)]
        )
    return "\n".join(", ".join(line) for line in lines)
