"""A club's people as calc takes them."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.db.models import Exists

from worksprog.calc import crew_days, workdays
from worksprog.clubs.models import Club
from worksprog.planning.models import Absence, CrewMember, PlanRules

Days = tuple[dt.date, dt.date]


@dataclass(frozen=True)
class Crew:
    """The people entered, days on which all of them are away, and the share lost to sickness."""

    people: tuple[crew_days.Person, ...]
    all_away: tuple[Days, ...] = ()
    sickness: float = 0.0

    def days(
        self, calendar: workdays.Calendar, usual: dict[int, workdays.CrewWeek]
    ) -> crew_days.CrewDays:
        return crew_days.crew_days(
            calendar, self.people, usual, all_away=self.all_away, sickness=self.sickness
        )


def any_people(club: Club) -> Exists:
    """To be asked along with other rows, so that a club without people needs no query more."""
    return Exists(CrewMember.objects.filter(club=club))


def read_crew(club: Club, rules: PlanRules) -> Crew | None:
    """None where no person is entered, so that the usual weeks count. At most two queries."""
    members = list(CrewMember.objects.filter(club=club).select_related("grade"))
    if not members:
        return None
    away: dict[int | None, list[Days]] = {}
    for row in Absence.objects.filter(club=club):
        away.setdefault(row.member_id, []).append((row.from_date, row.to_date))
    return Crew(
        tuple(person_of(member, away.get(member.pk, [])) for member in members),
        tuple(away.get(None, [])),
        rules.sickness_percent / 100,
    )


def person_of(member: CrewMember, away: list[Days]) -> crew_days.Person:
    return crew_days.Person(
        key=str(member.uuid),
        name=member.name,
        grade=member.grade.name,
        day_h=member.day_h,
        skills=frozenset(member.skills),
        week_days=frozenset(member.weekdays) if member.weekdays else None,
        first=member.employed_from,
        last=member.employed_to,
        away=tuple(away),
    )
