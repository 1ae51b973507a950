"""Which kinds of work a club has: those that ship, and its own."""

from __future__ import annotations

from django.core.exceptions import ValidationError

from worksprog.calc.build_up import RECIPES, DefinitionError, Recipe, recipe_from
from worksprog.clubs.models import Club
from worksprog.works.models import WorkKind, WorkRecipe


def _own(row: WorkRecipe) -> Recipe:
    try:
        return recipe_from(
            {**row.definition, "kind": row.code, "title": row.title, "version": row.version}
        )
    except DefinitionError as error:
        raise ValidationError(f"{row.title}, the club's own kind of work: {error}") from error


def recipes_of(club: Club) -> dict[str, Recipe]:
    """Every kind of work by its code, those that ship and the club's own. One query."""
    own = {row.code: _own(row) for row in WorkRecipe.objects.filter(club=club)}
    return {**own, **RECIPES}


def recipe_of(club: Club, kind: str) -> Recipe:
    """How this kind of work is measured and built up; ValidationError when the club has none.

    One query for a kind of the club's own.
    """
    if kind in RECIPES:
        return RECIPES[kind]
    row = WorkRecipe.objects.filter(club=club, code=kind).first()
    if row is None:
        raise ValidationError(f"'{kind}' is not a kind of work.")
    return _own(row)


def kinds_of(club: Club) -> list[tuple[str, str]]:
    """Code and title of every kind of work that is offered for a new item. One query."""
    own = WorkRecipe.objects.filter(club=club, is_offered=True).order_by("title")
    return [
        *((str(code), str(label)) for code, label in WorkKind.choices),
        *own.values_list("code", "title"),
    ]
