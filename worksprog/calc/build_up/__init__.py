"""Estimates: from what is measured to hours and money, each figure with its working.

``parts`` what an estimate is made of, ``kinds`` how each kind of work is built up, as data that
``kinds_of_work`` reads, ``estimate`` the arithmetic, ``labour`` man-days and durations.
"""

from __future__ import annotations

from worksprog.calc.build_up.crew_rates import CrewRate
from worksprog.calc.build_up.earth import Earth, earth_of
from worksprog.calc.build_up.estimate import (
    CORRELATION,
    build_up,
    price_line,
    spread_of,
    total_by_category,
    total_lines,
    total_working,
)
from worksprog.calc.build_up.kinds_of_work import (
    MOST,
    DefinitionError,
    Example,
    Miss,
    definition_of,
    example_from,
    load_shipped,
    recipe_from,
    try_example,
)
from worksprog.calc.build_up.parts import (
    BasedOn,
    Book,
    Category,
    Derived,
    EarthRole,
    Estimate,
    Line,
    LineRecipe,
    Measure,
    MoneyRange,
    OutputRate,
    Parameter,
    Price,
    Quantity,
    Recipe,
    to_penny,
)

RECIPES: dict[str, Recipe] = load_shipped()

__all__ = [
    "CORRELATION",
    "MOST",
    "RECIPES",
    "BasedOn",
    "Book",
    "Category",
    "CrewRate",
    "DefinitionError",
    "Derived",
    "Earth",
    "EarthRole",
    "Estimate",
    "Example",
    "Line",
    "LineRecipe",
    "Measure",
    "Miss",
    "MoneyRange",
    "OutputRate",
    "Parameter",
    "Price",
    "Quantity",
    "Recipe",
    "build_up",
    "definition_of",
    "earth_of",
    "example_from",
    "price_line",
    "recipe_from",
    "spread_of",
    "to_penny",
    "total_by_category",
    "total_lines",
    "total_working",
    "try_example",
]
