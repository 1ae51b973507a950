"""Working days, closed days, working windows by kind of work, and the hours a crew has left.

Everything is counted in whole days from the first day of a ``Calendar`` (day 0, a Monday), because
the planning arithmetic works on arrays; dates come back at the edge. A stretch of days is half
open: it starts at the beginning of day ``start`` and is over at the beginning of day ``finish``.
"""

from __future__ import annotations

import calendar as _calendar
import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Mask = NDArray[np.bool_]
Hours = NDArray[np.float64]

WEEKS_IN_PATTERN = 53


@dataclass(frozen=True, order=True)
class MonthDay:
    """A day of any year: 29 February is good and means the last day of February."""

    month: int
    day: int

    def __post_init__(self) -> None:
        if not 1 <= self.month <= 12:
            raise ValueError(f"month {self.month} is not between 1 and 12")
        last = 29 if self.month == 2 else _calendar.monthrange(2001, self.month)[1]
        if not 1 <= self.day <= last:
            raise ValueError(
                f"{_calendar.month_name[self.month]} has no day {self.day} (1 to {last})"
            )

    @property
    def number(self) -> int:
        return self.month * 100 + self.day

    def __str__(self) -> str:
        return f"{self.day} {_calendar.month_name[self.month]}"


@dataclass(frozen=True)
class Window:
    """A part of the year in which a kind of work is open; both days belong to it.

    kind    the kind of work it is for
    opens   first open day
    closes  last open day; earlier in the year than ``opens`` when it runs over New Year
    reason  why the rest of the year is closed, in words a committee reads
    firm    True: plans keep inside it. False: plans may leave it, and say so
    """

    kind: str
    opens: MonthDay
    closes: MonthDay
    reason: str
    firm: bool = True

    @property
    def over_new_year(self) -> bool:
        return self.opens > self.closes

    def is_open(self, day: dt.date) -> bool:
        number = day.month * 100 + day.day
        if self.over_new_year:
            return number >= self.opens.number or number <= self.closes.number
        return self.opens.number <= number <= self.closes.number

    def __str__(self) -> str:
        return f"{self.opens} to {self.closes}"


@dataclass(frozen=True)
class Calendar:
    """A club's days from ``first_day`` (a Monday) for ``weeks`` weeks.

    week_days  days of the week the crew works, Monday 0 to Sunday 6
    holidays   dates on which the crew does not work, with their names

    Raises ValueError when ``first_day`` is no Monday, when there is no week or no working day.
    """

    first_day: dt.date
    weeks: int
    week_days: frozenset[int] = frozenset(range(5))
    holidays: Mapping[dt.date, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.first_day.weekday() != 0:
            raise ValueError(f"the calendar starts on a Monday; {self.first_day} is not one")
        if self.weeks < 1:
            raise ValueError("the calendar needs at least one week")
        if not self.week_days or not self.week_days <= frozenset(range(7)):
            raise ValueError("working days of the week are numbers from 0 (Monday) to 6 (Sunday)")

    @classmethod
    def around(
        cls,
        first: dt.date,
        last: dt.date,
        *,
        week_days: Iterable[int] = range(5),
        holidays: Mapping[dt.date, str] | None = None,
    ) -> Calendar:
        """The whole weeks that hold ``first`` and ``last``."""
        if last < first:
            raise ValueError(f"the last day {last} is before the first day {first}")
        monday = first - dt.timedelta(days=first.weekday())
        weeks = (last - monday).days // 7 + 1
        return cls(monday, weeks, frozenset(week_days), dict(holidays or {}))

    @property
    def days(self) -> int:
        return self.weeks * 7

    def index(self, day: dt.date) -> int:
        """Days from day 0; below 0 or past the end for dates outside the calendar."""
        return (day - self.first_day).days

    def date(self, index: int) -> dt.date:
        return self.first_day + dt.timedelta(days=int(index))

    def monday(self, week: int) -> dt.date:
        return self.first_day + dt.timedelta(days=7 * int(week))

    @cached_property
    def pattern_days(self) -> Mask:
        """Days of the week that are worked, holidays left in."""
        one_week = np.array([day in self.week_days for day in range(7)])
        return np.tile(one_week, self.weeks)

    @cached_property
    def workdays(self) -> Mask:
        mask = self.pattern_days.copy()
        for day in self.holidays:
            index = self.index(day)
            if 0 <= index < self.days:
                mask[index] = False
        return mask

    @cached_property
    def month_day_numbers(self) -> NDArray[np.int64]:
        days = np.datetime64(self.first_day) + np.arange(self.days)
        months = days.astype("datetime64[M]")
        month = months.astype(np.int64) % 12 + 1
        day = (days - months).astype(np.int64) + 1
        return np.asarray(month * 100 + day, dtype=np.int64)

    def window_days(self, windows: Sequence[Window]) -> Mask:
        """Days on which the firm windows are open, weekends and holidays left in.

        Several windows of a kind add up; a kind with no firm window is open all year.
        """
        firm = [window for window in windows if window.firm]
        if not firm:
            return np.ones(self.days, dtype=bool)
        numbers = self.month_day_numbers
        mask = np.zeros(self.days, dtype=bool)
        for window in firm:
            after = numbers >= window.opens.number
            before = numbers <= window.closes.number
            mask |= (after | before) if window.over_new_year else (after & before)
        return mask

    def next_open_day(self, day: dt.date, windows: Sequence[Window] = ()) -> dt.date | None:
        """The first working day on or after ``day`` that the windows leave open, if there is one
        before the calendar ends."""
        start = max(self.index(day), 0)
        found = np.flatnonzero(self.workdays[start:] & self.window_days(windows)[start:])
        return self.date(start + int(found[0])) if found.size else None


def outside_advisory(windows: Sequence[Window], first: dt.date, last: dt.date) -> list[Window]:
    """Advisory windows that the days from ``first`` to ``last`` do not keep inside."""
    days = [first + dt.timedelta(days=n) for n in range((last - first).days + 1)]
    advisory = [window for window in windows if not window.firm]
    if not advisory:
        return []
    if all(any(window.is_open(day) for window in advisory) for day in days):
        return []
    return advisory


@dataclass(frozen=True)
class CrewWeek:
    """What a week of the year asks of the crew.

    week       ISO week of the year, 1 to 53
    crew_h     hours the whole crew works in a full week
    routine_h  hours that routine work takes: mowing, raking, leaves, matches
    note       what the routine work is
    """

    week: int
    crew_h: float
    routine_h: float
    note: str = ""

    def __post_init__(self) -> None:
        if not 1 <= self.week <= WEEKS_IN_PATTERN:
            raise ValueError(f"week {self.week} is not between 1 and {WEEKS_IN_PATTERN}")
        for name, hours in (("crew", self.crew_h), ("routine", self.routine_h)):
            if not (np.isfinite(hours) and hours >= 0):
                raise ValueError(f"week {self.week}: {name} hours must be 0 or more, not {hours}")

    @property
    def left_h(self) -> float:
        return max(self.crew_h - self.routine_h, 0.0)


@dataclass(frozen=True)
class CrewHours:
    """The crew's hours over a calendar, by week and by day.

    crew_h     hours worked in each week, holidays taken off
    routine_h  hours of routine work in each week
    left_h     hours left for works in each week: crew hours less routine hours, never below 0
    left_day_h the same, spread evenly over the week's working days
    """

    crew_h: Hours
    routine_h: Hours
    left_h: Hours
    left_day_h: Hours


def crew_hours(calendar: Calendar, pattern: Mapping[int, CrewWeek]) -> CrewHours:
    """Hours left = crew hours × days worked / days of the week's pattern − routine hours.

    Routine work is not cut by a holiday: greens are still mown. Week 53, where the pattern has
    none, is as week 52. A week the pattern does not know has no hours at all.
    """
    by_week = calendar.workdays.reshape(calendar.weeks, 7)
    worked = by_week.sum(axis=1)
    full = len(calendar.week_days)
    crew = np.zeros(calendar.weeks)
    routine = np.zeros(calendar.weeks)
    for week in range(calendar.weeks):
        number = calendar.monday(week).isocalendar().week
        entry = pattern.get(number)
        if entry is None and number == WEEKS_IN_PATTERN:
            entry = pattern.get(WEEKS_IN_PATTERN - 1)
        if entry is None:
            continue
        crew[week] = entry.crew_h * worked[week] / full
        routine[week] = entry.routine_h
    left = np.maximum(crew - routine, 0.0)
    left[worked == 0] = 0.0
    share = np.divide(left, worked, out=np.zeros_like(left), where=worked > 0)
    left_day = (by_week * share[:, None]).reshape(-1)
    return CrewHours(crew_h=crew, routine_h=routine, left_h=left, left_day_h=left_day)
