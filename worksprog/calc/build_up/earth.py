"""Which derived quantities of a kind of work are earth that comes out, and earth that goes in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from worksprog.calc.build_up.parts import Derived, EarthRole, Recipe


@dataclass(frozen=True)
class Earth:
    """One quantity of earth of one item."""

    name: str
    role: EarthRole
    meaning: str
    volume_m3: float
    how: str


def earth_of(recipe: Recipe, derived: Mapping[str, Derived]) -> tuple[Earth, ...]:
    """The earth that a built-up item digs out and fills; nothing where its recipe tells none."""
    return tuple(
        Earth(one.name, one.earth, one.label, derived[one.name].range.likely, step.formula)
        for one in recipe.quantities
        if one.earth is not None
        and (step := derived[one.name].step).unit == "m³"
        and derived[one.name].range.likely > 0
    )
