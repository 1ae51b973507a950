"""What the manager decides of a programme's money: its allowances, and the class of an estimate."""

from __future__ import annotations

from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import transaction

from worksprog.calc.estimate_classes import CLASSES
from worksprog.clubs.models import Club, User
from worksprog.clubs.records import save_record
from worksprog.works import queries
from worksprog.works.models import Estimate, EstimateRules


@transaction.atomic
def set_allowances(
    *, club: Club, design_allowance_percent: Decimal, contingency_chance: Decimal, by: User | None
) -> EstimateRules:
    """What is put on for design not shown yet, and by what chance the money is to suffice."""
    rules = queries.rules_of(club)
    rules.design_allowance_percent = design_allowance_percent
    rules.contingency_chance = contingency_chance
    return save_record(rules, by=by)


@transaction.atomic
def set_estimate_class(*, estimate: Estimate, number: int | None, by: User | None) -> Estimate:
    """The class the manager gives the live estimate; None goes by what is proposed.

    ValidationError for an earlier revision, an approved estimate, or a class that does not exist.
    """
    if not estimate.is_live:
        raise ValidationError("This is an earlier revision; only the live one can be changed.")
    if estimate.approved_on is not None:
        raise ValidationError(
            f"Estimate {estimate.revision} was approved on {estimate.approved_on:%d %b %Y} and "
            "stays as it is, its class too."
        )
    if number is not None and number not in CLASSES:
        raise ValidationError(f"An estimate is of class 1 to 5, not {number}.")
    estimate.estimate_class = number
    return save_record(estimate, by=by)
