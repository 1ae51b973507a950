"""Which kinds of work a club has: those that ship, and its own."""

from __future__ import annotations

from django.core.exceptions import ValidationError

from worksprog.calc.build_up import RECIPES, Recipe
from worksprog.clubs.models import Club
from worksprog.works.models import WorkKind


def recipes_of(club: Club) -> dict[str, Recipe]:
    """Every kind of work by its code."""
    return dict(RECIPES)


def recipe_of(club: Club, kind: str) -> Recipe:
    """How this kind of work is measured and built up; ValidationError when the club has none."""
    if kind in RECIPES:
        return RECIPES[kind]
    raise ValidationError(f"'{kind}' is not a kind of work.")


def kinds_of(club: Club) -> list[tuple[str, str]]:
    """Code and title of every kind of work that is offered for a new item."""
    return [(str(code), str(label)) for code, label in WorkKind.choices]
