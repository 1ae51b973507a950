"""Wishes given up by name, and taken back."""

from __future__ import annotations

from django.core.exceptions import ValidationError

from worksprog.clubs.models import User
from worksprog.clubs.records import delete_record, save_record
from worksprog.planning.models import GivenUp
from worksprog.works.models import Programme


def give_up_wish(
    *, programme: Programme, wish: str, words: str, reason: str, by: User | None
) -> GivenUp:
    """Let plans made from now on leave a wish out. ValidationError where it is given up already."""
    if GivenUp.objects.filter(programme=programme, wish=wish).exists():
        raise ValidationError({"wish": "It is given up already."})
    row = GivenUp(
        club=programme.club,
        programme=programme,
        wish=wish,
        words=words[:300],
        reason=reason.strip(),
        made_by=by,
    )
    return save_record(row, by=by)


def take_back_wish(*, given_up: GivenUp, by: User | None) -> None:
    """Plans made from now on keep the wish again."""
    delete_record(given_up, by=by)
