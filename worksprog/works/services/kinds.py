"""A club's own kinds of work: kept when they are in order and their worked numbers come out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from worksprog.calc import build_up as calc
from worksprog.clubs.models import Club, User
from worksprog.clubs.records import delete_record, save_record
from worksprog.works.models import Item, WorkRecipe


def check_kind(definition: Mapping[str, Any], examples: Sequence[Mapping[str, Any]]) -> calc.Recipe:
    """The kind of work that is described. ValidationError: what is wrong with it, or which worked
    number does not come out; at least one is expected.
    """
    try:
        recipe = calc.recipe_from(definition)
        tried = [calc.example_from(one, f"Example {n}") for n, one in enumerate(examples, 1)]
    except calc.DefinitionError as error:
        raise ValidationError(str(error)) from error
    if not tried:
        raise ValidationError(
            "Worked numbers are expected: at least one example, reckoned by hand, of what must "
            "come out."
        )
    misses = [
        f"Example {number}: {miss.words}"
        for number, example in enumerate(tried, 1)
        for miss in calc.try_example(recipe, example)
    ]
    if misses:
        raise ValidationError(misses)
    return recipe


@transaction.atomic
def keep_kind(
    *,
    club: Club,
    definition: Mapping[str, Any],
    examples: Sequence[Mapping[str, Any]],
    by: User | None,
    row: WorkRecipe | None = None,
    seen: int | None = None,
) -> WorkRecipe:
    """Keep a kind of work, new or changed; estimates stay until they are worked out again.

    ``seen`` is the version the change was made from. ValidationError: as ``check_kind``; the code
    is taken; somebody else changed it in the meantime.
    """
    recipe = check_kind(definition, examples)
    if row is None:
        taken = WorkRecipe.objects.filter(club=club, code=recipe.kind).exists()
        if taken or recipe.kind in calc.RECIPES:
            raise ValidationError(f"There is a kind of work with the code '{recipe.kind}' already.")
        row = WorkRecipe(club=club, code=recipe.kind)
    else:
        row = WorkRecipe.objects.select_for_update().get(pk=row.pk)
        if seen is not None and seen != row.version:
            raise ValidationError(
                f"{row.title} was changed in the meantime; it is at version {row.version} now. "
                "Look at it and make the change again."
            )
        row.version += 1
    row.title = recipe.title
    row.definition = {**definition, "kind": row.code}
    row.examples = list(examples)
    return save_record(row, by=by)


@transaction.atomic
def offer_kind(*, row: WorkRecipe, offered: bool, by: User | None) -> WorkRecipe:
    """Whether new items may be of this kind; items that are keep it."""
    row.is_offered = offered
    return save_record(row, by=by)


@transaction.atomic
def drop_kind(*, row: WorkRecipe, by: User | None) -> None:
    """Take a kind of work away. ValidationError while an item is of it."""
    used = Item.objects.filter(club=row.club, kind=row.code).count()
    if used:
        raise ValidationError(
            f"{used} item{'s are' if used != 1 else ' is'} of this kind of work; it can be "
            "withdrawn from new ones, not taken away."
        )
    delete_record(row, by=by)
