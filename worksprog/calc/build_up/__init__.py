"""Estimates: from what is measured to hours and money, each figure with its working.

``parts`` what an estimate is made of, ``water_recipes`` and ``course_recipes`` how each kind of
work is built up, ``estimate`` the arithmetic, ``labour`` man-days and durations.
"""

from __future__ import annotations

from worksprog.calc.build_up.course_recipes import COURSE_RECIPES
from worksprog.calc.build_up.crew_rates import CrewRate
from worksprog.calc.build_up.earth import Earth, EarthRole, earth_of
from worksprog.calc.build_up.estimate import (
    CORRELATION,
    build_up,
    price_line,
    spread_of,
    total_by_category,
    total_lines,
    total_working,
)
from worksprog.calc.build_up.parts import (
    BasedOn,
    Book,
    Category,
    Estimate,
    Line,
    LineRecipe,
    Measure,
    MoneyRange,
    OutputRate,
    Parameter,
    Price,
    Recipe,
    to_penny,
)
from worksprog.calc.build_up.water_recipes import WATER_RECIPES

RECIPES: dict[str, Recipe] = {recipe.kind: recipe for recipe in (*WATER_RECIPES, *COURSE_RECIPES)}

__all__ = [
    "CORRELATION",
    "RECIPES",
    "BasedOn",
    "Book",
    "Category",
    "CrewRate",
    "Earth",
    "EarthRole",
    "Estimate",
    "Line",
    "LineRecipe",
    "Measure",
    "MoneyRange",
    "OutputRate",
    "Parameter",
    "Price",
    "Recipe",
    "build_up",
    "earth_of",
    "price_line",
    "spread_of",
    "to_penny",
    "total_by_category",
    "total_lines",
    "total_working",
]
