"""Formulas a person writes: read, checked for units, worked out; no ``eval``, no loops.

``units`` the dimensions, ``syntax`` the language, ``working_out`` checking and arithmetic,
``together`` formulas that use each other, with ranges.
"""

from __future__ import annotations

from worksprog.calc.formulas.syntax import FormulaError, in_words, names_in, read
from worksprog.calc.formulas.together import Formula, Question, Sheet, Told
from worksprog.calc.formulas.units import Dimension, Unit, unit_of
from worksprog.calc.formulas.working_out import dimension_of, need_question, work_out

__all__ = [
    "Dimension",
    "Formula",
    "FormulaError",
    "Question",
    "Sheet",
    "Told",
    "Unit",
    "dimension_of",
    "in_words",
    "names_in",
    "need_question",
    "read",
    "unit_of",
    "work_out",
]
