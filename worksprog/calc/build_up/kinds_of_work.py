"""Kinds of work as data: read from a definition, with what is wrong in it told, and written back.

A definition is what a TOML file of ``kinds/`` or a club's own row holds: what is measured, figures
of design with what is usual, quantities with their formulas, questions that must be answered with
yes, and the lines that follow. ``shares`` and ``groups`` name what ``shared.toml`` gives to several.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from functools import cache
from math import isfinite
from pathlib import Path
from typing import Any

from worksprog.calc.build_up.parts import (
    Category,
    EarthRole,
    LineRecipe,
    Measure,
    Parameter,
    Quantity,
    Recipe,
)
from worksprog.calc.formulas import FormulaError, Question
from worksprog.calc.ranges import ThreePoint

FOLDER = Path(__file__).with_name("kinds")
MOST = 60  # measures, parameters, quantities or lines of one kind of work
_NAME = re.compile(r"^[a-z][a-z0-9_]{0,39}$")
_KEY = re.compile(r"^[a-z0-9][a-z0-9_-]{0,39}$")
_PLACEHOLDER = re.compile(r"\{([^{}]*)\}")


class DefinitionError(ValueError):
    """A definition that makes no kind of work; says in which part and what was expected."""


@cache
def shared() -> dict[str, Any]:
    return tomllib.loads((FOLDER / "shared.toml").read_text(encoding="utf-8"))


class _Part:
    """One table of a definition, with its place for the words of an error."""

    def __init__(self, where: str, given: Any, known: Iterable[str]) -> None:
        if not isinstance(given, Mapping):
            raise DefinitionError(f"{where}: fields are expected, not '{given}'.")
        self.where, self.given = where, given
        strange = sorted(set(given) - set(known))
        if strange:
            raise DefinitionError(
                f"{where}: '{strange[0]}' is not known; expected are {', '.join(known)}."
            )

    def text(self, name: str, *, most: int = 160, needed: bool = True) -> str:
        value = self.given.get(name, "")
        if not isinstance(value, str) or len(value) > most or (needed and not value.strip()):
            raise DefinitionError(f"{self.where}, {name}: up to {most} characters are expected.")
        return value.strip()

    def name(self, field: str = "name") -> str:
        value = self.text(field, most=40)
        if not _NAME.match(value):
            raise DefinitionError(
                f"{self.where}, {field}: small letters, figures and underscores are expected, "
                f"beginning with a letter, not '{value}'."
            )
        return value

    def number(self, name: str) -> float:
        return _number(self.given.get(name), f"{self.where}, {name}")

    def texts(self, name: str) -> tuple[str, ...]:
        value = self.given.get(name, ())
        if not isinstance(value, list | tuple) or not all(isinstance(one, str) for one in value):
            raise DefinitionError(f"{self.where}, {name}: a list of words is expected.")
        return tuple(value)

    def tables(self, name: str) -> list[Any]:
        value = self.given.get(name, [])
        if not isinstance(value, list | tuple):
            raise DefinitionError(f"{self.where}, {name}: a list is expected.")
        if len(value) > MOST:
            raise DefinitionError(f"{self.where}, {name}: at most {MOST} are expected.")
        return list(value)


def _number(value: Any, where: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
        given = "nothing" if value is None else f"'{value}'"
        raise DefinitionError(f"{where}: a number is expected, not {given}.")
    return float(value)


def _usual(value: Any, where: str) -> ThreePoint:
    if isinstance(value, list | tuple):
        if len(value) != 3:
            raise DefinitionError(f"{where}: low, likely and high are expected.")
        try:
            return ThreePoint(*(_number(one, where) for one in value))
        except DefinitionError:
            raise
        except ValueError as error:
            raise DefinitionError(f"{where}: {error}") from error
    return ThreePoint.exactly(_number(value, where))


_PARAMETER = ("name", "label", "unit", "usual", "bounds", "choices", "source")


def _parameter(given: Any, where: str) -> Parameter:
    part = _Part(where, given, _PARAMETER)
    name = part.name()
    where = f"{where} '{name}'"
    bounds = given.get("bounds")
    if not isinstance(bounds, list | tuple) or len(bounds) != 2 or None in bounds:
        raise DefinitionError(f"{where}: the least and the most that are allowed are expected.")
    least, most = (_number(one, f"{where}, what is allowed") for one in bounds)
    usual = _usual(given.get("usual"), f"{where}, usual")
    if not least <= usual.low <= usual.high <= most:
        raise DefinitionError(f"{where}: what is usual lies outside its bounds.")
    choices = tuple(_number(one, f"{where}, choices") for one in given.get("choices", ()))
    if choices and usual.likely not in choices:
        raise DefinitionError(f"{where}: what is usual is none of its choices.")
    return Parameter(
        name, part.text("label"), part.text("unit", most=12, needed=False), usual, least, most,
        choices, part.text("source", needed=False),
    )  # fmt: skip


def _measure(given: Any, where: str) -> Measure:
    part = _Part(where, given, ("name", "label", "unit", "assumed"))
    assumed = part.number("assumed") if given.get("assumed") is not None else None
    if assumed is not None and assumed < 0:
        raise DefinitionError(f"{where}, assumed: a figure not below 0 is expected.")
    return Measure(
        part.name(), part.text("label"), part.text("unit", most=12, needed=False), assumed
    )


def _quantity(given: Any, where: str) -> Quantity:
    part = _Part(where, given, ("name", "label", "unit", "formula", "source", "earth"))
    role = part.text("earth", needed=False)
    if role and role not in list(EarthRole):
        raise DefinitionError(
            f"{where}, earth: one of {', '.join(EarthRole)} is expected, not '{role}'."
        )
    return Quantity(
        part.name(), part.text("label"), part.text("unit", most=12, needed=False),
        part.text("formula", most=1000), part.text("source", needed=False),
        EarthRole(role) if role else None,
    )  # fmt: skip


_LINE = (
    "key", "category", "description", "quantity", "price", "rate", "waste", "contract",
)  # fmt: skip


def _line(given: Any, where: str) -> LineRecipe:
    part = _Part(where, given, _LINE)
    key = part.text("key", most=40)
    if not _KEY.match(key):
        raise DefinitionError(
            f"{where}, key: small letters, figures and hyphens are expected, not '{key}'."
        )
    where = f"{where} '{key}'"
    category = part.text("category", most=12)
    if category not in list(Category):
        raise DefinitionError(
            f"{where}, category: one of {', '.join(Category)} is expected, not '{category}'."
        )
    if category == Category.LABOUR and not part.text("rate", most=40, needed=False):
        raise DefinitionError(f"{where}: a labour line needs an output rate, to come to hours.")
    return LineRecipe(
        key, Category(category), part.text("description"), part.text("quantity", most=40),
        part.text("price", most=60), part.text("rate", most=40, needed=False),
        part.text("waste", most=40, needed=False), part.text("contract", most=40, needed=False),
    )  # fmt: skip


_FIELDS = (
    "kind", "title", "on", "beside", "progress", "assumes", "groups", "shares", "measures",
    "parameters", "quantities", "checks", "lines", "cautions", "version",
)  # fmt: skip


def recipe_from(definition: Any) -> Recipe:
    """The kind of work that a definition describes.

    DefinitionError: which part of it is wrong and what was expected, formulas and units included.
    """
    whole = _Part("The kind of work", definition, _FIELDS)
    kind = whole.name("kind")
    shares, groups = whole.texts("shares"), whole.texts("groups")
    given_parameters = [(f"Figure {n}", one) for n, one in enumerate(whole.tables("parameters"), 1)]
    quantities = [(f"Quantity {n}", one) for n, one in enumerate(whole.tables("quantities"), 1)]
    lines = [(f"Line {n}", one) for n, one in enumerate(whole.tables("lines"), 1)]
    for group in groups:
        if group not in shared()["groups"]:
            known = ", ".join(sorted(shared()["groups"]))
            raise DefinitionError(f"groups: one of {known} is expected, not '{group}'.")
        found = shared()["groups"][group]
        shares = (*shares, *(one for one in found["parameters"] if one not in shares))
        quantities += [(f"Of '{group}'", one) for one in found["quantities"]]
        lines += [(f"Of '{group}'", one) for one in found["lines"]]
    for share in shares:
        if share not in shared()["parameters"]:
            known = ", ".join(sorted(shared()["parameters"]))
            raise DefinitionError(f"shares: one of {known} is expected, not '{share}'.")
        given_parameters.append((share, {"name": share, **shared()["parameters"][share]}))
    recipe = Recipe(
        kind=kind,
        title=whole.text("title", most=80),
        measures=tuple(
            _measure(one, f"Measure {n}") for n, one in enumerate(whole.tables("measures"), 1)
        ),
        parameters=tuple(_parameter(one, where) for where, one in given_parameters),
        quantities=tuple(_quantity(one, where) for where, one in quantities),
        checks=tuple(_check(one, f"Check {n}") for n, one in enumerate(whole.tables("checks"), 1)),
        lines=tuple(_line(one, where) for where, one in lines),
        progress=whole.text("progress", most=40),
        assumes=whole.texts("assumes"),
        on=whole.texts("on"),
        beside=whole.texts("beside"),
        cautions=whole.texts("cautions"),
        version=int(whole.number("version")) if "version" in definition else 1,
    )
    _check_whole(recipe)
    return recipe


def _check(given: Any, where: str) -> Question:
    part = _Part(where, given, ("formula", "words"))
    return Question(part.text("formula", most=1000), part.text("words", most=300))


def _check_whole(recipe: Recipe) -> None:
    try:
        sheet = recipe.sheet
    except FormulaError as error:
        raise DefinitionError(str(error)) from error
    for name, what in (("quantities", "quantity"), ("lines", "line")):
        if not getattr(recipe, name):
            raise DefinitionError(f"At least one {what} is expected.")
    quantities = {one.name: one for one in recipe.quantities}
    if recipe.progress not in quantities:
        raise DefinitionError(
            f"progress: one of the quantities is expected, not '{recipe.progress}'."
        )
    parameters = {one.name for one in recipe.parameters}
    keys: set[str] = set()
    for line in recipe.lines:
        where = f"Line '{line.key}'"
        if line.key in keys:
            raise DefinitionError(f"{where}: two lines have this key.")
        keys.add(line.key)
        if line.quantity not in quantities:
            raise DefinitionError(f"{where}: there is no quantity '{line.quantity}'.")
        if line.waste and line.waste not in parameters:
            raise DefinitionError(f"{where}: there is no figure '{line.waste}' for its waste.")
        for name in _PLACEHOLDER.findall(line.price):
            if name not in parameters:
                raise DefinitionError(f"{where}: the price asks for '{name}', which is no figure.")
    for one in recipe.quantities:
        if one.earth is not None and str(sheet.units[one.name].dimension) != "m³":
            raise DefinitionError(f"Quantity '{one.name}': earth is counted in m³.")
    for question in recipe.checks:
        for name in _PLACEHOLDER.findall(question.words):
            if name not in sheet.units:
                raise DefinitionError(f"The words of a check name '{name}', which is not there.")


def definition_of(recipe: Recipe) -> dict[str, Any]:
    """The definition that ``recipe_from`` reads back, shared figures and groups written out."""

    def usual(point: ThreePoint) -> float | list[float]:
        return point.likely if point.is_certain else [point.low, point.likely, point.high]

    return {
        "kind": recipe.kind,
        "title": recipe.title,
        "on": list(recipe.on),
        "beside": list(recipe.beside),
        "cautions": list(recipe.cautions),
        "progress": recipe.progress,
        "assumes": list(recipe.assumes),
        "measures": [
            {"name": one.name, "label": one.label, "unit": one.unit}
            | ({} if one.assumed is None else {"assumed": one.assumed})
            for one in recipe.measures
        ],
        "parameters": [
            {
                "name": one.name,
                "label": one.label,
                "unit": one.unit,
                "usual": usual(one.usual),
                "bounds": [one.minimum, one.maximum],
                "choices": list(one.choices),
                "source": one.source,
            }
            for one in recipe.parameters
        ],
        "quantities": [
            {
                "name": one.name,
                "label": one.label,
                "unit": one.unit,
                "formula": one.formula,
                "source": one.source,
                "earth": one.earth.value if one.earth else "",
            }
            for one in recipe.quantities
        ],
        "checks": [{"formula": one.formula, "words": one.words} for one in recipe.checks],
        "lines": [{**asdict(one), "category": one.category.value} for one in recipe.lines],
    }


@dataclass(frozen=True)
class Example:
    """Worked numbers: figures that are given, and what must come out of them."""

    given: Mapping[str, float]
    expected: Mapping[str, float]
    within: float = 0.001  # share of what is expected


@dataclass(frozen=True)
class Miss:
    """An expectation that did not come true."""

    name: str
    expected: float
    got: float | None
    words: str


def example_from(given: Any, where: str = "Example") -> Example:
    """Worked numbers from a definition. DefinitionError where they are none."""
    part = _Part(where, given, ("given", "expected", "within"))
    sides: list[dict[str, float]] = []
    for field in ("given", "expected"):
        side = given.get(field)
        if not isinstance(side, Mapping) or (field == "expected" and not side):
            raise DefinitionError(f"{where}, {field}: names with numbers are expected.")
        sides.append({str(k): _number(v, f"{where}, {field}, {k}") for k, v in side.items()})
    within = part.number("within") if "within" in given else Example.within
    if not 0 < within <= 0.1:
        raise DefinitionError(f"{where}, within: a share above 0 and up to 0.1 is expected.")
    return Example(sides[0], sides[1], within)


def try_example(recipe: Recipe, example: Example) -> list[Miss]:
    """Work the example out; what differs from what is expected, or why nothing came out.

    Figures of design that the example does not give are taken at their usual, likely value.
    """
    values = {one.name: one.assumed for one in recipe.measures if one.assumed is not None}
    values |= {one.name: one.usual.likely for one in recipe.parameters}
    strange = sorted(
        set(example.given)
        - {one.name for one in recipe.measures}
        - {one.name for one in recipe.parameters}
    )
    if strange:
        return [Miss(strange[0], 0.0, None, f"'{strange[0]}' is neither measured nor a figure.")]
    values |= example.given
    try:
        got = recipe.sheet.work_out(values)
    except FormulaError as error:
        return [Miss("", 0.0, None, str(error))]
    misses = []
    for name, wanted in example.expected.items():
        if name not in got:
            misses.append(Miss(name, wanted, None, f"There is no quantity '{name}'."))
        elif abs(got[name] - wanted) > max(example.within * abs(wanted), 1e-9):
            misses.append(
                Miss(name, wanted, got[name], f"{name}: {wanted:g} expected, {got[name]:g} found.")
            )
    return misses


def load_shipped() -> dict[str, Recipe]:
    """Every kind of work that ships, by its code, in the order of their titles."""
    recipes = []
    for path in FOLDER.glob("*.toml"):
        if path.name == "shared.toml":
            continue
        try:
            recipes.append(recipe_from(tomllib.loads(path.read_text(encoding="utf-8"))))
        except DefinitionError as error:
            raise DefinitionError(f"{path.name}: {error}") from error
    return {one.kind: one for one in sorted(recipes, key=lambda one: one.title)}
