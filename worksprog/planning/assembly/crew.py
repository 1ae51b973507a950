"""The crew's hours a day for a plan: from its people where they are entered."""

from __future__ import annotations

from worksprog.calc import workdays
from worksprog.planning.bridge import ClubYear


def crew_hours_of(year: ClubYear, calendar: workdays.Calendar) -> workdays.CrewHours:
    """From people, their days and absences where any are entered; else from the usual weeks."""
    if year.people is None:
        return workdays.crew_hours(calendar, year.crew)
    return year.people.days(calendar, year.crew).hours
