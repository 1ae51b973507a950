"""Price files: read, kept beside the book, shown against it, and taken once when accepted."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from worksprog.clubs.models import Club, User
from worksprog.clubs.records import delete_record, save_record, save_records, update_records
from worksprog.clubs.spreadsheets import FileRefused
from worksprog.works.book_entries import FIELDS
from worksprog.works.models import BookVersion, OutputRate, Price, PriceDraft
from worksprog.works.price_file import Wanted, read_price_file
from worksprog.works.queries.prices import Preview, preview_of
from worksprog.works.services.book_versions import keep_version


class BookMoved(ValidationError):
    """The book is no longer what the reader of the preview saw."""


@transaction.atomic
def read_price_draft(
    *,
    club: Club,
    data: bytes,
    file_name: str,
    by: User | None,
    dated: date | None = None,
    read_at: datetime | None = None,
) -> PriceDraft:
    """Read a CSV or XLSX file and keep what it says beside the book, which stays as it is.

    dated  the day of rows that name none; without it such rows are refused
    ValidationError in words when the file is no price file at all.
    """
    wanted = Wanted(currency=club.currency, today=club.today(), dated=dated)
    try:
        book_file = read_price_file(data, wanted)
    except FileRefused as error:
        raise ValidationError(str(error)) from error
    draft = PriceDraft(
        club=club,
        file_name=file_name[-200:] or "price file",
        read_at=read_at or timezone.now(),
        read_by=by,
        rows=[{"number": row.number, "entry": row.entry} for row in book_file.rows],
        refusals=[asdict(one) for one in book_file.refusals],
        unread=list(book_file.unread),
    )
    return save_record(draft, by=by)


@dataclass(frozen=True)
class Taken:
    """What became of the wish to take a file."""

    version: BookVersion
    was_taken_before: bool
    words: str


@transaction.atomic
def accept_price_draft(
    *,
    draft: PriceDraft,
    seen: str,
    by: User | None,
    leave_out_refused: bool = False,
    made_at: datetime | None = None,
) -> Taken:
    """Put a file's good rows into the book, all in one go, and keep the book's new version.

    seen  the mark of the preview that was read: ``BookMoved`` where the book differs from it now
    A draft that was taken already is told, and nothing is taken twice. ValidationError where rows
    were refused and nobody said to leave them out, or where nothing would change.
    """
    # Without its version in the same query: that would be read as it was before the lock was given.
    held = PriceDraft.objects.select_for_update().get(pk=draft.pk)
    if held.taken_as is not None:
        return Taken(held.taken_as, True, held.taken_as.words)
    # The club's row is the lock of its book.
    Club.objects.select_for_update().get(pk=held.club_id)
    preview = preview_of(held)
    if preview.seen != seen:
        raise BookMoved(
            "The book was changed after this page was made. What the file would do now is shown "
            "below: look again, then take it."
        )
    if preview.refused and not leave_out_refused:
        raise ValidationError("Some rows were refused: say that they are to be left out.")
    if preview.is_empty:
        raise ValidationError("The file changes nothing in the book.")
    _write(preview, by=by, label=f"Price file {held.file_name}")
    version = keep_version(
        club=held.club, by=by, words=f"{held.file_name}: {preview.words}", made_at=made_at
    )
    held.taken_as, held.taken_at = version, made_at or timezone.now()
    save_record(held, by=by)
    return Taken(version, False, preview.words)


def _write(preview: Preview, *, by: User | None, label: str) -> None:
    for model, what in ((Price, "price"), (OutputRate, "output")):
        new = [row for row in preview.new_rows if isinstance(row, model)]
        old = [row for row in preview.old_rows if isinstance(row, model)]
        fields = [
            "is_confirmed" if name == "confirmed" else name
            for name in FIELDS[what]
            if name in preview.moved_fields
        ]
        update_records(old, fields=fields, by=by, label=label)
        save_records(new, by=by, label=label)


@transaction.atomic
def drop_price_draft(*, draft: PriceDraft, by: User | None) -> None:
    """Put a file away that was not taken; ValidationError for one that was."""
    if draft.taken_as is not None:
        raise ValidationError("This file was taken into the book; it stays on the record.")
    delete_record(draft, by=by)
