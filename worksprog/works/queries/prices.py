"""Reads of the price book: what a waiting file would do to it, and which version was used where."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import Count, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce

from worksprog.clubs.models import Club
from worksprog.works.book_entries import (
    OUTPUT,
    PRICE,
    YES,
    Changed,
    Entry,
    Key,
    difference,
    entry_of,
    put,
)
from worksprog.works.models import (
    BookVersion,
    Estimate,
    OutputRate,
    Price,
    PriceDraft,
    PriceTrend,
)
from worksprog.works.price_file import Refusal

Known = dict[Key, Price | OutputRate]


@dataclass
class Preview:
    """What taking a file would do to the book as it is at this moment."""

    added: list[tuple[int, Entry]] = field(default_factory=list)  # with the row of the file
    changed: list[Changed] = field(default_factory=list)
    confirmed: list[Changed] = field(default_factory=list)  # otherwise as they are
    refused: list[Refusal] = field(default_factory=list)
    same: int = 0
    new_rows: list[Price | OutputRate] = field(default_factory=list)
    old_rows: list[Price | OutputRate] = field(default_factory=list)
    seen: str = ""

    @property
    def count(self) -> int:
        """Entries that taking it would write."""
        return len(self.new_rows) + len(self.old_rows)

    @property
    def moved_fields(self) -> set[str]:
        return {move.name for one in (*self.changed, *self.confirmed) for move in one.moves}

    @property
    def is_empty(self) -> bool:
        return not self.count

    @property
    def words(self) -> str:
        counts = (
            (len(self.added), "added"),
            (len(self.changed), "changed"),
            (len(self.confirmed), "confirmed as they are"),
            (len(self.refused), "left out"),
        )
        return ", ".join(f"{count} {word}" for count, word in counts if count) or "nothing"


def preview_of(draft: PriceDraft) -> Preview:
    """Hold a waiting file against the book. Three queries; nothing is written."""
    club = draft.club
    trends = {trend.name: trend for trend in PriceTrend.objects.filter(club=club)}
    known: Known = {
        (PRICE, row.code): row for row in Price.objects.filter(club=club).select_related("trend")
    }
    known.update({(OUTPUT, row.code): row for row in OutputRate.objects.filter(club=club)})
    preview = Preview(refused=[Refusal(**one) for one in draft.refusals])
    told: list[tuple[Entry | None, Entry]] = []
    for one in draft.rows:
        number, entry = one["number"], one["entry"]
        try:
            told.append(_hold(preview, known, trends, club, number, entry))
        except ValidationError as error:
            preview.refused.append(Refusal(number, _in_words(error), entry["code"]))
    preview.refused.sort(key=lambda one: one.number)
    preview.seen = _mark([*told, *(one.__dict__ for one in preview.refused)])
    return preview


def _hold(
    preview: Preview,
    known: Known,
    trends: dict[str, PriceTrend],
    club: Club,
    number: int,
    entry: Entry,
) -> tuple[Entry | None, Entry]:
    """Sort one row of the file under what it would do; ValidationError where it cannot."""
    row = known.get((entry["what"], entry["code"]))
    before = entry_of(row) if row else None
    if row is None:
        model = OutputRate if entry["what"] == OUTPUT else Price
        row = model(club=club, code=entry["code"])
    try:
        put(row, {**entry, "confirmed": YES}, trends)
    except KeyError as error:
        raise ValidationError(
            f"trend: the book has no “{error.args[0]}”; expected is one of "
            f"{', '.join(trends) or 'none yet'}"
        ) from error
    if isinstance(row, Price) and row.made_of is not None and not entry.get("likely"):
        row.likely = row.made_of
    # The club and its trends are its own, and asking for each would be two queries a row.
    row.full_clean(exclude={"club", "trend"}, validate_unique=False, validate_constraints=False)
    now = entry_of(row)
    moved = None if before is None else difference(before, now, number=number)
    if before is None:
        preview.added.append((number, now))
        preview.new_rows.append(row)
    elif moved is None:
        preview.same += 1
    else:
        only_confirmed = {move.name for move in moved.moves} == {"confirmed"}
        (preview.confirmed if only_confirmed else preview.changed).append(moved)
        preview.old_rows.append(row)
    return before, now


def _in_words(error: ValidationError) -> str:
    if not hasattr(error, "error_dict"):
        return " ".join(error.messages)
    return " ".join(
        message if name == "__all__" else f"{name}: {message}"
        for name, messages in error.message_dict.items()
        for message in messages
    )


def _mark(told: Iterable[object]) -> str:
    text = json.dumps(list(told), sort_keys=True, default=str)
    return hashlib.sha256(text.encode()).hexdigest()[:32]


def waiting_drafts(club: Club) -> QuerySet[PriceDraft]:
    return (
        PriceDraft.objects.filter(club=club, taken_as=None)
        .select_related("read_by")
        .defer("rows", "refusals")
    )


def versions_of(club: Club) -> QuerySet[Any]:
    """Every version without its entries, each with how many estimates rest on it."""
    used = (
        Estimate.objects.filter(book=OuterRef("pk"))
        .order_by()
        .values("book")
        .annotate(all=Count("pk"))
    )
    live = used.filter(Q(is_live=True))
    listed: QuerySet[Any] = (
        BookVersion.objects.filter(club=club)
        .select_related("made_by")
        .defer("entries")
        .annotate(
            estimates=Coalesce(Subquery(used.values("all")), 0),
            live_estimates=Coalesce(Subquery(live.values("all")), 0),
        )
    )
    return listed
