"""The crew's hours month by month, by grade and skill, and how one week's come about."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from worksprog.calc.crew_days import days_there
from worksprog.calc.working import Step, Working
from worksprog.clubs.models import Club
from worksprog.planning.bridge import ClubYear, read_club_year

DAYS_SHOWN = 364


@dataclass(frozen=True)
class CrewMonth:
    """Hours of the days of one month; ``left_h`` after routine work."""

    first: dt.date
    crew_h: float
    left_h: float
    parts: list[float]


@dataclass(frozen=True)
class CrewYear:
    grades: list[str]
    skills: list[str]
    months: list[CrewMonth]
    working: Working


def crew_year(club: Club, today: dt.date) -> CrewYear | None:
    """A year from this week on; None where nobody is entered. Six queries."""
    year = read_club_year(club)
    if year.people is None:
        return None
    calendar = year.calendar(today, today + dt.timedelta(days=DAYS_SHOWN))
    found = year.people.days(calendar, year.crew)
    grades, skills = sorted(found.grade_h), sorted(found.skill_h)
    series = [found.grade_h[name] for name in grades] + [found.skill_h[name] for name in skills]
    crew = np.sum([found.grade_h[name] for name in grades], axis=0)
    numbers = calendar.month_day_numbers // 100
    starts = [0, *(np.flatnonzero(np.diff(numbers)) + 1).tolist(), calendar.days]
    months = [
        CrewMonth(
            calendar.date(begin),
            float(crew[begin:end].sum()),
            float(found.hours.left_day_h[begin:end].sum()),
            [float(one[begin:end].sum()) for one in series],
        )
        for begin, end in pairwise(starts)
    ]
    return CrewYear(grades, skills, months, _working(year, today))


def _working(year: ClubYear, today: dt.date) -> Working:
    """The hours of the week of ``today``, person by person."""
    assert year.people is not None
    calendar = year.calendar(today, today)
    found = year.people.days(calendar, year.crew).hours
    monday = calendar.first_day
    steps = []
    for person in year.people.people:
        days = int(days_there(calendar, person, year.people.all_away).sum())
        steps.append(
            Step("", person.name, days * person.day_h, "h", f"{days} days × {person.day_h:g} h")
        )
    steps += [
        Step("s", "allowance for sickness", 100 * year.people.sickness, "%"),
        Step("C", "the crew's hours", float(found.crew_h[0]), "h", "sum of the above × (1 − s)"),
        Step("R", f"routine work of week {monday.isocalendar().week}", float(found.routine_h[0]),
             "h", source="the usual year"),
        Step("L", "left for works", float(found.left_h[0]), "h", "C − R, never below 0"),
    ]  # fmt: skip
    return Working(
        f"The week of {monday.day} {monday:%B %Y}",
        tuple(steps),
        ("Routine work is taken from everybody alike, and by each day as the crew is there.",),
    )
