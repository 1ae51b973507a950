"""The six of Ashlode Vale: grades, skills, holidays and training of the year ahead."""

from __future__ import annotations

from datetime import date

from worksprog.clubs.models import Membership, User
from worksprog.planning.models import Absence, CrewMember, PlanRules
from worksprog.planning.services import keep_absence, keep_crew_member, keep_plan_rules

GRADES_AND_SKILLS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("deputy head greenkeeper", ("digger", "pipe laying", "chainsaw")),
    ("greenkeeper", ("pipe laying", "spraying")),
    ("greenkeeper", ("digger", "pipe laying")),
    ("greenkeeper", ("chainsaw", "turfing")),
    ("greenkeeper", ("turfing",)),
    ("apprentice", ()),
)
HOLIDAY = Absence.Why.HOLIDAY
TRAINING = Absence.Why.TRAINING
AWAY: tuple[tuple[int, str, date, date, str], ...] = (
    (0, HOLIDAY, date(2027, 7, 12), date(2027, 7, 25), ""),
    (1, HOLIDAY, date(2027, 6, 7), date(2027, 6, 20), ""),
    (2, HOLIDAY, date(2027, 6, 21), date(2027, 7, 4), ""),
    (3, HOLIDAY, date(2027, 7, 26), date(2027, 8, 8), ""),
    (4, HOLIDAY, date(2027, 8, 9), date(2027, 8, 22), ""),
    (5, HOLIDAY, date(2027, 5, 24), date(2027, 6, 6), ""),
    (5, TRAINING, date(2027, 5, 10), date(2027, 5, 14), "college, end of the first year"),
    (4, TRAINING, date(2027, 5, 17), date(2027, 5, 18), "first aid"),
)
NO_ALLOWANCE_PERCENT = 0.0  # the hours of the usual year were agreed without one


def enter_the_crew(memberships: list[Membership], by: User) -> None:
    club = memberships[0].club
    rules = PlanRules.objects.filter(club=club).first() or PlanRules(club=club)
    rules.sickness_percent = NO_ALLOWANCE_PERCENT
    keep_plan_rules(rules=rules, by=by)
    members = []
    for membership, (grade, skills) in zip(memberships, GRADES_AND_SKILLS, strict=True):
        member = CrewMember(
            club=club,
            name=str(membership.user),
            membership=membership,
            skills=list(skills),
        )
        members.append(keep_crew_member(member=member, grade=grade, by=by))
    for place, why, first, last, note in AWAY:
        absence = Absence(
            club=club, member=members[place], why=why, from_date=first, to_date=last, note=note
        )
        keep_absence(absence=absence, by=by)
