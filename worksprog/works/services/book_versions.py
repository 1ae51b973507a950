"""Versions of the price book: one is kept after every change, and none is ever changed."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.utils import timezone

from worksprog.clubs.models import Club, User
from worksprog.clubs.records import save_record
from worksprog.works.book_entries import entries_of
from worksprog.works.models import BookVersion

_WORDS_LENGTH = 200


@transaction.atomic
def keep_version(
    *, club: Club, by: User | None, words: str, made_at: datetime | None = None
) -> BookVersion:
    """Keep the book as it stands now; the last version is returned where nothing differs from it."""
    Club.objects.select_for_update().get(pk=club.pk)
    last: BookVersion | None = BookVersion.objects.filter(club=club).first()
    entries = entries_of(club)
    if last is not None and last.entries == entries:
        return last
    version = BookVersion(
        club=club,
        number=last.number + 1 if last else 1,
        made_at=made_at or timezone.now(),
        made_by=by,
        words=words[:_WORDS_LENGTH],
        entries=entries,
    )
    return save_record(version, by=by)


def version_in_force(*, club: Club, by: User | None) -> BookVersion:
    """The version that names the book as it stands, kept now where none does yet."""
    return keep_version(
        club=club, by=by, words="the book as it stood when an estimate asked for it"
    )
