"""What the manager decides of learnt rates: which jobs count, and which rate is used."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from worksprog.clubs.models import Club, User
from worksprog.clubs.records import save_record
from worksprog.hours.models import EvidenceWord
from worksprog.hours.queries.rates import KindRates, rates_of
from worksprog.works.models import Item, LearntRate
from worksprog.works.services import use_learnt_rate


@transaction.atomic
def say_of_evidence(
    *, item: Item, what: str, words: str, by: User | None, at: datetime | None = None
) -> EvidenceWord:
    """Leave a job out, take it in (again, and in full), or say why it came out as it did.

    The record is only added to; the last word stands. ValidationError without a reason, or where
    it would change nothing.
    """
    if not words.strip():
        raise ValidationError({"words": "Say why in a few words: the reason is kept."})
    if what != EvidenceWord.What.ACCOUNT:
        # One at a time, so that two people cannot both leave the same job out.
        Item.objects.select_for_update().get(pk=item.pk)
        last = (
            EvidenceWord.objects.filter(item=item)
            .exclude(what=EvidenceWord.What.ACCOUNT)
            .order_by("said_at", "id")
            .last()
        )
        if last is not None and last.what == what:
            raise ValidationError(
                f"{item.name} is {last.get_what_display()} already: “{last.words}”."
            )
    row = EvidenceWord(club=item.club, item=item, what=what, words=words.strip(), said_by=by)
    row.said_at = at or row.said_at
    return save_record(row, by=by)


def posterior_of(rates: KindRates) -> dict[str, Any]:
    """All the arithmetic behind a learnt rate, as it is kept with it."""
    learnt = rates.learnt
    jobs = "1 job" if len(learnt.judged) == 1 else f"{len(learnt.judged)} jobs"
    return {
        "words": (
            f"learnt from {jobs} of the crew ({100 * (1 - learnt.book_weight):.0f} % the crew, "
            f"{100 * learnt.book_weight:.0f} % the book)"
        ),
        "narrowing": learnt.narrowing,
        "crew_weight": 1 - learnt.book_weight,
        "crew_jobs": learnt.crew_jobs,
        "crew_ratio": learnt.crew_ratio,
        "mean": learnt.mean,
        "freedom": learnt.next.foretold.freedom,
        "centre": learnt.next.foretold.centre,
        "scale": learnt.next.foretold.scale,
        "book": [learnt.book.low, learnt.book.likely, learnt.book.high],
        "on_ground": {
            name: [one.p10, one.median, one.p90] for name, one in learnt.on_ground
        },
        "jobs": [
            {
                "item": one.evidence.job.key,
                "name": one.evidence.job.name,
                "ratio": one.evidence.ratio,
                "weight": one.weight,
            }
            for one in learnt.judged
        ],
        "working": learnt.working().as_rows(),
        "notes": list(learnt.working().notes),
    }  # fmt: skip


@transaction.atomic
def adopt_rate(*, club: Club, kind: str, as_of: date, by: User | None) -> LearntRate:
    """Use from now on what the hours say to today; standing estimates are not touched.

    ValidationError where the crew's hours say nothing of that kind of work yet.
    """
    rates = rates_of(club, kind)
    if rates is None or not rates.has_evidence:
        raise ValidationError(
            "No job of this kind has hours and quantities that count yet, so there is only the "
            "book."
        )
    told = rates.learnt.next
    return use_learnt_rate(
        club=club,
        kind=kind,
        factors=(told.p10, told.median, told.p90),
        posterior=posterior_of(rates),
        as_of=as_of,
        by=by,
    )
