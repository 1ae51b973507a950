"""An item's quantities as its sheet shows them: measured, kept by the estimate, or assumed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from worksprog.calc import build_up as calc
from worksprog.calc.build_up.estimate import gather_values
from worksprog.calc.ranges import ThreePoint
from worksprog.calc.working import Step
from worksprog.works.measuring import REACH_FIGURES, Measured, Reading
from worksprog.works.models import Estimate, Item
from worksprog.works.recipes import recipe_of

# Figures of design that a drain's own section tells once it is entered.
_OF_SECTION = ("pipe_mm", "bottom_m", "side_slope")
_LEVELS = tuple(
    REACH_FIGURES.index(name) for name in ("upstream_invert_m", "downstream_invert_m", "depth_m")
)


@dataclass(frozen=True)
class ReadingRow:
    """What one feature tells now, and what it told the estimate where that is not the same."""

    reading: Reading
    kept: float | None


@dataclass(frozen=True)
class QuantityRow:
    """A measure: the value taken now and how, and the estimate's where that is not the same."""

    label: str
    value: float | None
    unit: str
    how: str
    kept: str
    readings: tuple[ReadingRow, ...]

    @property
    def differs(self) -> bool:
        return bool(self.kept) or any(one.kept is not None for one in self.readings)


def _taken(item: Item, measured: Measured, measure: calc.Measure) -> tuple[float | None, str]:
    entered, told = item.parameters.get(measure.name), measured.measures.get(measure.name)
    if entered is not None:
        how = "entered by hand"
        if told is not None:
            how += f"; the features say {told:,.2f} {measure.unit}"
        return entered, how
    if told is not None:
        return told, measured.told[measure.name]
    if measure.assumed is not None:
        return measure.assumed, "not told by the features; the usual figure is taken"
    return None, "not told by any feature yet; it is needed"


def _kept_reading(before: dict[tuple[str, str], float], reading: Reading) -> float | None:
    kept = before.get((reading.feature, reading.name))
    return None if kept is None or abs(kept - reading.value) < 1e-3 else kept


def quantities_of(item: Item, measured: Measured, estimate: Estimate | None) -> list[QuantityRow]:
    """Every measure of the kind of work: value taken now, how, and what each feature tells."""
    given: dict[tuple[str, str], str] = {}
    before: dict[tuple[str, str], float] = {}
    if estimate is not None:
        given = {
            (row["meaning"], row["unit"]): row["value"]
            for row in estimate.working
            if row.get("part") == "given"
        }
        before = {(row["feature"], row["name"]): row["value"] for row in estimate.measured}
    rows = []
    for measure in recipe_of(item.club, item.kind).measures:
        value, how = _taken(item, measured, measure)
        kept = given.get((measure.label, measure.unit), "")
        if value is not None and kept == Step("", measure.label, value, measure.unit).printed():
            kept = ""
        readings = tuple(
            ReadingRow(one, _kept_reading(before, one))
            for one in measured.readings
            if one.name == measure.name
        )
        rows.append(QuantityRow(measure.label, value, measure.unit, how, kept, readings))
    return rows


@dataclass(frozen=True)
class Figure:
    label: str
    value: float | None  # None: needed, and there is nothing usual
    unit: str

    @property
    def printed(self) -> str:
        return "" if self.value is None else Step("", self.label, self.value, self.unit).printed()


@dataclass(frozen=True)
class Place:
    """A drain whose levels would tell what is assumed now."""

    uuid: str
    title: str
    is_node: bool


@dataclass(frozen=True)
class Assumed:
    """What stands in an item's quantities without anybody having measured or entered it."""

    needed: tuple[Figure, ...]
    usual: tuple[Figure, ...]
    without_levels: tuple[Place, ...]

    def __bool__(self) -> bool:
        return bool(self.needed or self.usual)


def assumed_of(item: Item, measured: Measured) -> Assumed:
    """Measures that no feature tells and nobody entered; those that count as nothing left out.

    A drain's size belongs to them, for it comes with its levels.
    """
    recipe = recipe_of(item.club, item.kind)
    known = {*measured.measures, *measured.parameters, *item.parameters}
    absent = [one for one in recipe.measures if one.name not in known]
    needed = tuple(Figure(one.label, None, one.unit) for one in absent if one.assumed is None)
    usual = [
        Figure(one.label, one.assumed, one.unit)
        for one in absent
        if one.assumed and (needed or _counts(recipe, item, measured, one))
    ]
    usual += [
        Figure(one.label, one.usual.likely, one.unit)
        for one in recipe.parameters
        if one.name in _OF_SECTION and one.name not in known
    ]
    by_levels = any(one.name == "mean_depth_m" for one in absent) or any(
        one.name in _OF_SECTION and one.name not in known for one in recipe.parameters
    )
    return Assumed(needed, tuple(usual), _without_levels(recipe, measured) if by_levels else ())


def _counts(recipe: calc.Recipe, item: Item, measured: Measured, measure: calc.Measure) -> bool:
    """Whether any quantity would be another if this measure were: earth may be told by the ground."""
    names = {one.name for one in recipe.measures}
    by_hand = item.parameters
    measures = measured.measures | {k: v for k, v in by_hand.items() if k in names}
    parameters = measured.parameters | {k: v for k, v in by_hand.items() if k not in names}
    try:
        values, _ = gather_values(recipe, measures, parameters, {})
        more = ThreePoint.exactly(values[measure.name].likely * 1.1)
        taken, otherwise = recipe.derive(values), recipe.derive({**values, measure.name: more})
    except ValueError:
        return True
    used = {line.quantity for line in recipe.lines}
    return any(taken[name].range != otherwise[name].range for name in taken if name in used)


def _without_levels(recipe: calc.Recipe, measured: Measured) -> tuple[Place, ...]:
    is_line = bool({"pipe", "ditch"} & set(recipe.on))
    if not is_line and "chamber" not in recipe.on:
        return ()
    counted = {one.feature: one.title for one in measured.readings if one.name in _COUNTED[is_line]}
    return tuple(
        Place(uuid, title, not is_line)
        for uuid, title in counted.items()
        if not _has_levels(measured.versions.get(uuid, ""), is_line)
    )


# The measure that every feature which is counted tells, by whether it is a line.
_COUNTED = {True: ("length_m",), False: ("count",)}


def _has_levels(mark: str, is_line: bool) -> bool:
    figures: Sequence[str] = mark.split("/")[1:]
    if not is_line:
        return bool(figures and figures[-1])
    upper, lower, depth = (figures[place] for place in _LEVELS)
    return bool((upper and lower) or depth)
