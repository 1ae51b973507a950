"""By whose hands a job is done: chosen once the three have been looked at side by side."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.db import transaction

from worksprog.calc.build_up.hands import steps_of
from worksprog.clubs.models import User
from worksprog.clubs.records import save_record
from worksprog.works.models import Estimate, Item
from worksprog.works.queries import Hands
from worksprog.works.recipes import recipe_of
from worksprog.works.services.estimates import build_estimate


@transaction.atomic
def choose_hands(*, item: Item, hands: Hands, by: User | None) -> Estimate:
    """Keep who does the item, and work its estimate out so; an approved one stays beside it.

    All steps by a contractor is the same as ``by_contractor`` and is kept as that. ValidationError
    for a step that the kind of work does not have, for a job that is finished, or when the estimate
    cannot be worked out: then nothing is kept.
    """
    if item.finished_on is not None:
        raise ValidationError("The job is finished: by whose hands is no longer to be chosen.")
    known = [step.key for step in steps_of(recipe_of(item.club, item.kind))]
    strange = sorted(set(hands.contract_steps) - set(known))
    if strange:
        raise ValidationError(f"This kind of work has no step '{', '.join(strange)}'.")
    given = [key for key in known if key in hands.contract_steps]
    all_given = bool(known) and len(given) == len(known)
    item.by_contractor = hands.by_contractor or all_given
    item.contract_steps = [] if item.by_contractor else given
    save_record(item, by=by)
    approved = Estimate.objects.filter(item=item, is_live=True, approved_on__isnull=False).exists()
    return build_estimate(item=item, by=by, new_revision=approved)
