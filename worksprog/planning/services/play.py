"""Fixtures, the limit of holes out of play, and money as it is released."""

from __future__ import annotations

from collections.abc import Iterable

from django.core.exceptions import ValidationError
from django.db import transaction

from worksprog.clubs.models import User
from worksprog.clubs.records import delete_record, save_record, set_links
from worksprog.course.models import Hole
from worksprog.planning.models import Fixture, MoneyRelease, PlayRules


@transaction.atomic
def keep_fixture(*, fixture: Fixture, holes: Iterable[Hole], by: User | None) -> Fixture:
    """ValidationError where it stops works on its holes and names none."""
    chosen = list(holes)
    if fixture.stops == Fixture.Stops.HERE and not chosen:
        raise ValidationError({"holes": "Choose the holes on which it stops works."})
    if any(hole.club_id != fixture.club_id for hole in chosen):
        raise ValidationError({"holes": "Choose holes of the club's own course."})
    kept = save_record(fixture, by=by)
    set_links(kept, "holes", chosen, by=by)
    return kept


def drop_fixture(*, fixture: Fixture, by: User | None) -> None:
    delete_record(fixture, by=by)


def keep_play_rules(*, rules: PlayRules, by: User | None) -> PlayRules:
    return save_record(rules, by=by)


def keep_release(*, release: MoneyRelease, by: User | None) -> MoneyRelease:
    """ValidationError where its project is of another programme."""
    if release.project and release.project.programme_id != release.programme_id:
        raise ValidationError({"project": "Choose a project of the programme."})
    return save_record(release, by=by)


def drop_release(*, release: MoneyRelease, by: User | None) -> None:
    delete_record(release, by=by)
