"""The crew's hours a day, from its people: who is there, of which grade, with which skills.

A day is a date, not 24 hours: nobody works longer because the clocks go back. Routine work is
still told by the week of the year, and is taken from everybody alike.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from worksprog.calc.workdays import (
    WEEKS_IN_PATTERN,
    Calendar,
    CrewHours,
    CrewWeek,
    Hours,
    Mask,
)

MOST_DAY_H = 16.0


@dataclass(frozen=True)
class Person:
    """One of the crew.

    day_h      hours on a working day, 0 to 16
    week_days  days of the week worked, Monday 0 to Sunday 6; None: the calendar's own
    first      first day of employment; None: from before the calendar
    last       last day of employment, worked; None: to beyond it
    away       first and last days of absences; they may overlap, and a day counts once

    Raises ValueError for hours out of range and for stretches of days that end before they begin.
    """

    key: str
    name: str
    grade: str
    day_h: float
    skills: frozenset[str] = frozenset()
    week_days: frozenset[int] | None = None
    first: dt.date | None = None
    last: dt.date | None = None
    away: tuple[tuple[dt.date, dt.date], ...] = ()

    def __post_init__(self) -> None:
        if not 0 <= self.day_h <= MOST_DAY_H:
            raise ValueError(
                f"{self.name}: hours a day must be from 0 to {MOST_DAY_H:g}, not {self.day_h}"
            )
        if self.week_days is not None and not self.week_days <= frozenset(range(7)):
            raise ValueError(f"{self.name}: days of the week are numbers from 0 to 6")
        if self.first and self.last and self.last < self.first:
            raise ValueError(f"{self.name}: leaves on {self.last}, before the first day")
        for first, last in self.away:
            if last < first:
                raise ValueError(f"{self.name}: away until {last}, before the first day {first}")


@dataclass(frozen=True)
class CrewDays:
    """Hours by day of a calendar.

    hours     by week and day: crew, routine and left, as from the usual weeks
    grade_h   hours by grade each day, before routine work and with the allowance off
    skill_h   the same by skill; who has two skills is counted under both
    left_share what routine work leaves of a day's hours, 0 to 1
    """

    hours: CrewHours
    grade_h: Mapping[str, Hours]
    skill_h: Mapping[str, Hours]
    left_share: Hours


def days_there(
    calendar: Calendar, person: Person, all_away: Sequence[tuple[dt.date, dt.date]] = ()
) -> Mask:
    """Days on which a person works: a day of his or her week, within the employment, not closed,
    not away."""
    if person.week_days is None:
        mask = calendar.workdays.copy()
    else:
        week = np.array([day in person.week_days for day in range(7)])
        mask = np.tile(week, calendar.weeks)
        for day in calendar.holidays:
            _strike(mask, calendar, day, day)
    if person.first:
        mask[: max(calendar.index(person.first), 0)] = False
    if person.last:
        mask[max(calendar.index(person.last) + 1, 0) :] = False
    for first, last in (*person.away, *all_away):
        _strike(mask, calendar, first, last)
    return mask


def _strike(mask: Mask, calendar: Calendar, first: dt.date, last: dt.date) -> None:
    mask[max(calendar.index(first), 0) : max(calendar.index(last) + 1, 0)] = False


def crew_days(
    calendar: Calendar,
    people: Sequence[Person],
    usual: Mapping[int, CrewWeek],
    *,
    all_away: Sequence[tuple[dt.date, dt.date]] = (),
    sickness: float = 0.0,
) -> CrewDays:
    """Hours of a day = Σ hours a day of those who are there × (1 − sickness).

    Hours left in a week = hours of its days − routine hours of that week of the year, never below
    0, shared over the days as the crew's hours are. Week 53, where the usual year has none, is as
    week 52. A week of which nobody has said what routine work takes leaves nothing for works.
    No people leave no hours; that is no error.

    usual     the usual year; only its routine hours are used
    all_away  first and last days on which nobody of the crew is there for works
    sickness  share of the hours that is allowed for sickness, 0 to 1

    Raises ValueError when ``sickness`` is out of range.
    """
    if not 0 <= sickness <= 1:
        raise ValueError(f"the sickness allowance must be a share from 0 to 1, not {sickness}")
    nobody = np.zeros(calendar.days)
    crew = nobody.copy()
    grades: dict[str, Hours] = {}
    skills: dict[str, Hours] = {}
    for person in people:
        day_h = days_there(calendar, person, all_away) * (person.day_h * (1 - sickness))
        crew += day_h
        grades[person.grade] = grades.get(person.grade, nobody) + day_h
        for skill in person.skills:
            skills[skill] = skills.get(skill, nobody) + day_h
    week_h = crew.reshape(calendar.weeks, 7).sum(axis=1)
    routine, known = _routine(calendar, usual)
    left = np.where(known, np.maximum(week_h - routine, 0.0), 0.0)
    share = np.repeat(np.divide(left, week_h, out=np.zeros_like(left), where=week_h > 0), 7)
    return CrewDays(
        hours=CrewHours(crew_h=week_h, routine_h=routine, left_h=left, left_day_h=crew * share),
        grade_h=grades,
        skill_h=skills,
        left_share=share,
    )


def _routine(calendar: Calendar, usual: Mapping[int, CrewWeek]) -> tuple[Hours, Mask]:
    hours, known = np.zeros(calendar.weeks), np.zeros(calendar.weeks, dtype=bool)
    for week in range(calendar.weeks):
        number = calendar.monday(week).isocalendar().week
        entry = usual.get(number)
        if entry is None and number == WEEKS_IN_PATTERN:
            entry = usual.get(WEEKS_IN_PATTERN - 1)
        if entry is not None:
            hours[week], known[week] = entry.routine_h, True
    return hours, known
