"""Taking a learnt rate into use, and going back to the book."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from worksprog.clubs.models import Club, User
from worksprog.clubs.records import save_record
from worksprog.works.models import LearntRate


@transaction.atomic
def use_learnt_rate(
    *,
    club: Club,
    kind: str,
    factors: tuple[float, float, float],
    posterior: dict[str, Any],
    as_of: date,
    by: User | None,
) -> LearntRate:
    """A new row in use in place of the one before, which is kept.

    ``factors``: hours over hours of the book of the next job, 1 in 10, middle and 9 in 10.
    ``posterior`` holds all the arithmetic, with ``narrowing`` and ``words`` for the build-up.
    Estimates that stand are not touched. ValidationError unless 0 < low <= middle <= high.
    """
    low, likely, high = factors
    if not 0 < low <= likely <= high:
        raise ValidationError(
            "Hours against the book must be above 0, and low, middle and high must rise in that "
            f"order; got {low:g}, {likely:g} and {high:g}."
        )
    for before in LearntRate.objects.select_for_update().filter(
        club=club, kind=kind, ground="", crew="", in_use=True
    ):
        before.in_use = False
        save_record(before, by=by)
    row = LearntRate(
        club=club,
        kind=kind,
        as_of=as_of,
        posterior=posterior,
        factor_low=low,
        factor_likely=likely,
        factor_high=high,
        made_by=by,
    )
    return save_record(row, by=by)


@transaction.atomic
def go_back_to_book(*, rate: LearntRate, by: User | None) -> LearntRate:
    """Stop using a learnt rate; it is kept. Twice is as once."""
    row = LearntRate.objects.select_for_update().get(pk=rate.pk)
    if row.in_use:
        row.in_use = False
        save_record(row, by=by)
    return row
