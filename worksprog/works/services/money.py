"""The club's currency, sales tax and financial year."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.db import transaction

from worksprog.clubs.models import Club, User
from worksprog.clubs.records import save_record
from worksprog.works.models import Price, Spend


@transaction.atomic
def set_club_money(*, club: Club, by: User | None) -> Club:
    """Keep the money settings of ``club``, as they stand on the row.

    ValidationError where the currency would change under prices or payments that stand: it would
    rename them and change none of their figures.
    """
    before = Club.objects.select_for_update().get(pk=club.pk)
    if club.currency != before.currency:
        counts = (
            (Price.objects.filter(club=club).count(), "prices"),
            (Spend.objects.filter(club=club).count(), "payments"),
        )
        have = " and ".join(f"{count} {what}" for count, what in counts if count)
        if have:
            raise ValidationError(
                {
                    "currency": f"The club has {have} in {before.currency}. Another currency would "
                    "rename them without changing a figure, so it stays."
                }
            )
    return save_record(club, by=by)
