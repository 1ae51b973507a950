"""What works promise to give back, what leaving a thing costs, and what an hour and a day are worth."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.db import transaction

from worksprog.clubs.models import User
from worksprog.clubs.records import delete_record, save_record
from worksprog.works.models import Benefit, EstimateRules, LeftAsIs, WorthRules


@transaction.atomic
def keep_promise(*, benefit: Benefit, by: User | None) -> Benefit:
    """Keep a promise. ValidationError when it gives nothing back, or low lies above high."""
    gives = (
        *(
            getattr(benefit, f"{stem}_{end}")
            for stem in ("hours", "days")
            for end in ("low", "high")
        ),
        benefit.money_a_year,
    )
    if not any(gives):
        raise ValidationError(
            "A promise gives hours, days or money: all of them are 0, so there is nothing to keep."
        )
    return save_record(benefit, by=by)


@transaction.atomic
def drop_promise(*, benefit: Benefit, by: User | None) -> None:
    """Take a promise back; what it said stays on the record of changes."""
    delete_record(benefit, by=by)


@transaction.atomic
def keep_left_as_is(*, left: LeftAsIs, by: User | None) -> LeftAsIs:
    return save_record(left, by=by)


@transaction.atomic
def drop_left_as_is(*, left: LeftAsIs, by: User | None) -> None:
    delete_record(left, by=by)


@transaction.atomic
def keep_worth_rules(*, rules: EstimateRules, worth: WorthRules, by: User | None) -> None:
    """Keep discount and years counted, and what an hour and a day open are worth; both or neither."""
    save_record(rules, by=by)
    save_record(worth, by=by)
