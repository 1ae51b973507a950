"""People of the crew and the days on which they are away. Each is one transaction."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.db import transaction

from worksprog.clubs.models import User
from worksprog.clubs.records import delete_record, save_record
from worksprog.planning.models import Absence, CrewMember, Grade


@transaction.atomic
def keep_crew_member(*, member: CrewMember, grade: str, by: User | None) -> CrewMember:
    """Save somebody of the crew; a grade that is not known yet is added.

    Raises ValidationError for a name taken, hours out of range and a last day before the first.
    """
    name = grade.strip()
    known = Grade.objects.filter(club=member.club, name__iexact=name).first()
    member.grade = known or save_record(Grade(club=member.club, name=name), by=by)
    others = CrewMember.objects.filter(club=member.club, name__iexact=member.name)
    if others.exclude(pk=member.pk).exists():
        raise ValidationError({"name": f"There is a {member.name} in the crew already."})
    return save_record(member, by=by)


@transaction.atomic
def drop_crew_member(*, member: CrewMember, by: User | None) -> None:
    """Absences go first, one by one, so that the records keep them."""
    for absence in member.absences.all():
        delete_record(absence, by=by)
    delete_record(member, by=by)


def keep_absence(*, absence: Absence, by: User | None) -> Absence:
    return save_record(absence, by=by)


def drop_absence(*, absence: Absence, by: User | None) -> None:
    delete_record(absence, by=by)
