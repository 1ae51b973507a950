"""Who does which step: the club's own crew, or a contractor by the hour or by his own rate."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from worksprog.calc.build_up.parts import Book, Category, LineRecipe, Recipe

CONTRACTOR_LABOUR = "labour-contractor"


@dataclass(frozen=True)
class Hands:
    """Keys of lines, by how a contractor has a part in them."""

    by_hours: frozenset[str] = frozenset()
    by_rate: frozenset[str] = frozenset()
    within_a_rate: frozenset[str] = frozenset()  # machines that come with a step done by rate


def steps_of(recipe: Recipe) -> tuple[LineRecipe, ...]:
    """The lines that the crew does by hand, any of which a contractor can do instead."""
    return tuple(line for line in recipe.lines if line.category is Category.LABOUR)


def given_to_contractor(
    recipe: Recipe, book: Book, *, everything: bool, steps: Collection[str] = ()
) -> Hands:
    """Which lines are the contractor's when he does ``steps``, or all of them.

    A step for which the book has a contractor's rate goes by that, and the machine that does the
    same quantity comes with it; any other goes by the hour, and the machine stays hired. Names in
    ``steps`` that the recipe does not know are passed over: a recipe may have changed since.
    """
    given = [line for line in steps_of(recipe) if everything or line.key in steps]
    by_rate = [line for line in given if line.contract_rate in book.prices]
    return Hands(
        by_hours=_keys(line for line in given if line not in by_rate),
        by_rate=_keys(by_rate),
        within_a_rate=_keys(
            line for line in recipe.lines if any(line.goes_with(step) for step in by_rate)
        ),
    )


def _keys(lines: Iterable[LineRecipe]) -> frozenset[str]:
    return frozenset(line.key for line in lines)
