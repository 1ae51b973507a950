"""Formulas that use each other's results: put in order, checked, and worked out with ranges."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import isfinite

import networkx as nx
import numpy as np

from worksprog.calc.formulas.syntax import FormulaError, Node, in_words, names_in, read
from worksprog.calc.formulas.units import Unit, unit_of
from worksprog.calc.formulas.working_out import (
    Array,
    dimension_of,
    need_question,
    prepared,
    what_failed,
    work_out,
)
from worksprog.calc.ranges import ThreePoint

_PLACEHOLDER = re.compile(r"\{([a-z][a-z0-9_]*)\}")


@dataclass(frozen=True)
class Told:
    """A figure that is given: its name, what it is, and its unit."""

    name: str
    label: str
    unit: str


@dataclass(frozen=True)
class Formula:
    """A figure that is worked out. ``formula`` is text; ``unit`` is what it must come out in."""

    name: str
    label: str
    unit: str
    formula: str


@dataclass(frozen=True)
class Question:
    """What must hold, and the words said when it does not; {name} in them stands for a value."""

    formula: str
    words: str


class Sheet:
    """Given figures and the formulas over them.

    FormulaError, naming the formula: it cannot be read, uses a name that is not there, its units
    do not fit, or formulas wait for each other in a ring.
    """

    def __init__(
        self,
        given: Sequence[Told],
        formulas: Sequence[Formula],
        questions: Sequence[Question] = (),
    ) -> None:
        self.given, self.formulas, self.questions = tuple(given), tuple(formulas), tuple(questions)
        known: tuple[Told | Formula, ...] = (*self.given, *self.formulas)
        every = [one.name for one in known]
        twice = sorted({name for name in every if every.count(name) > 1})
        if twice:
            raise FormulaError(f"Two figures are called '{twice[0]}'; each needs its own name.")
        self.labels = {one.name: one.label for one in known}
        self.units: dict[str, Unit] = {}
        for one in known:
            try:
                self.units[one.name] = unit_of(one.unit)
            except ValueError as error:
                raise FormulaError(f"'{one.name}': {error}") from error
        self._nodes: dict[str, Node] = {}
        for formula in self.formulas:
            try:
                self._nodes[formula.name] = read(formula.formula)
            except FormulaError as error:
                raise FormulaError(f"'{formula.name}': {error}") from error
        self.order = self._in_order()
        self._check_units()
        self._ready = {name: prepared(self._nodes[name]) for name in self.order}

    def _in_order(self) -> tuple[str, ...]:
        graph: nx.DiGraph[str] = nx.DiGraph()
        graph.add_nodes_from(self._nodes)
        for name, node in self._nodes.items():
            graph.add_edges_from((used, name) for used in names_in(node) & set(self._nodes))
        try:
            return tuple(nx.topological_sort(graph))
        except nx.NetworkXUnfeasible:
            ring = [edge[0] for edge in nx.find_cycle(graph)]
            words = ", which needs ".join(f"'{name}'" for name in [*reversed(ring), ring[-1]])
            raise FormulaError(f"The formulas go round in a ring: {words}.") from None

    def _check_units(self) -> None:
        known = {name: unit.dimension for name, unit in self.units.items()}
        for name in self.order:
            try:
                found = dimension_of(self._nodes[name], known)
            except FormulaError as error:
                raise FormulaError(f"'{name}': {error}") from error
            if found != known[name]:
                wanted = self.units[name].written or "a bare number"
                raise FormulaError(f"'{name}' comes out in {found}, but is to be in {wanted}.")
        for question in self.questions:
            try:
                need_question(self._asked[question.formula], known)
            except FormulaError as error:
                raise FormulaError(f"The question '{question.formula}': {error}") from error

    @cached_property
    def _asked(self) -> dict[str, Node]:
        return {one.formula: read(one.formula) for one in self.questions}

    @cached_property
    def _shown(self) -> dict[str, str]:
        return {name: in_words(node, self.labels) for name, node in self._nodes.items()}

    def shown(self, name: str) -> str:
        """The formula of ``name`` with labels instead of names."""
        return self._shown[name]

    def _run(self, values: dict[str, Array]) -> dict[str, Array]:
        with np.errstate(all="ignore"):
            for name, ready in self._ready.items():
                values[name] = ready(values)
        return values

    def _in_base(self, given: Mapping[str, float]) -> dict[str, float]:
        return {name: value * self.units[name].scale for name, value in given.items()}

    def work_out(self, given: Mapping[str, float]) -> dict[str, float]:
        """Every formula for one set of figures, each in its own unit.

        FormulaError: a figure is missing, something does not come out, or a question is answered
        with no.
        """
        self._need(given)
        base = self._in_base(given)
        values = self._run({name: np.asarray(value) for name, value in base.items()})
        plain = {name: float(value) for name, value in values.items()}
        self._check_answers(plain)
        return {name: self._own(name, plain[name]) for name in self.order}

    def _own(self, name: str, value: float) -> float:
        """In its own unit, to twelve figures: without what changing units left behind."""
        return float(f"{value / self.units[name].scale:.12g}")

    def _need(self, given: Mapping[str, object]) -> None:
        missing = [one.label for one in self.given if one.name not in given]
        if missing:
            raise FormulaError(f"Missing: {', '.join(missing)}.")

    def _check_answers(self, plain: Mapping[str, float]) -> None:
        for name in self.order:
            if not isfinite(plain[name]):
                why = what_failed(self._nodes[name], plain, self.labels)
                raise FormulaError(f"{_capital(self.labels[name])} does not come out: {why}.")
        arrays = {name: np.asarray(value) for name, value in plain.items()}
        for question in self.questions:
            if not bool(work_out(self._asked[question.formula], arrays)):
                raise FormulaError(self._filled(question.words, plain))

    def _filled(self, words: str, plain: Mapping[str, float]) -> str:
        """The words with every {name} in them as its value and unit."""

        def value(found: re.Match[str]) -> str:
            unit = self.units[found.group(1)]
            return f"{plain[found.group(1)] / unit.scale:.3g} {unit.written}".strip()

        return _PLACEHOLDER.sub(value, words)

    def work_out_ranges(self, given: Mapping[str, ThreePoint]) -> dict[str, ThreePoint]:
        """Every formula with low, likely and high.

        Each uncertain figure is moved on its own to its low and its high end to see which way it
        moves a result; the low of a result then takes every such figure at the end that makes
        it smaller, the high the other. So more spacing makes less pipe, as it should. Right where
        each figure moves a result in one direction only. Errors as in ``work_out``, of the likely
        figures; and of the ends, saying which.
        """
        self._need(given)
        swung = [name for name, point in given.items() if not point.is_certain]
        scale = {name: self.units[name].scale for name in given}
        # The likely figures stand in front of those of which one is moved.
        wide = 2 * len(swung) + 1
        columns = {name: np.full(wide, point.likely * scale[name]) for name, point in given.items()}
        for place, name in enumerate(swung):
            columns[name][2 * place + 1] = given[name].low * scale[name]
            columns[name][2 * place + 2] = given[name].high * scale[name]
        moved = {
            name: value if value.ndim else np.full(wide, value)
            for name, value in self._run(columns).items()
        }
        plain = {name: float(value[0]) for name, value in moved.items()}
        self._check_answers(plain)
        likely = {name: self._own(name, plain[name]) for name in self.order}
        if not swung:
            return {name: ThreePoint.exactly(value) for name, value in likely.items()}
        results = np.array([moved[name] for name in self.order])
        grows = results[:, 2::2] >= results[:, 1::2]
        corners = {
            name: np.full(2 * len(self.order), point.likely * scale[name])
            for name, point in given.items()
        }
        for place, name in enumerate(swung):
            low, high = given[name].low * scale[name], given[name].high * scale[name]
            corners[name][0::2] = np.where(grows[:, place], low, high)
            corners[name][1::2] = np.where(grows[:, place], high, low)
        ends = self._run(corners)
        found: dict[str, ThreePoint] = {}
        for place, name in enumerate(self.order):
            both = ends[name]
            pair = both[2 * place : 2 * place + 2].tolist() if both.ndim else [float(both)] * 2
            if not (isfinite(pair[0]) and isfinite(pair[1])):
                at = 2 * place + int(not isfinite(pair[1]))
                plain = {
                    one: float(np.broadcast_to(value, 2 * len(self.order))[at])
                    for one, value in ends.items()
                }
                why = what_failed(self._nodes[name], plain, self.labels)
                raise FormulaError(
                    f"{_capital(self.labels[name])} does not come out at the ends of the ranges: "
                    f"{why}."
                )
            low, high = (self._own(name, one) for one in pair)
            middle = likely[name]
            found[name] = ThreePoint(min(low, middle), middle, max(high, middle))
        return found


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
