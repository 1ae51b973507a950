"""A formula checked for its units and worked out, for many sets of figures at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from difflib import get_close_matches
from functools import reduce

import numpy as np
import numpy.typing as npt

from worksprog.calc.formulas.syntax import (
    Binary,
    Call,
    FormulaError,
    Minus,
    Name,
    Node,
    Not,
    Number,
    in_words,
)
from worksprog.calc.formulas.units import BARE, Dimension

Array = npt.NDArray[np.float64]
# None: a nought, which has the unit of whatever it stands beside.
_Found = Dimension | None | bool
YES_OR_NO = True


def dimension_of(node: Node, known: Mapping[str, Dimension]) -> Dimension:
    """The dimension a formula comes out in. FormulaError when units do not fit, or a name is not
    known, or it answers yes or no instead of a figure."""
    found = _dimension(node, known)
    if found is YES_OR_NO:
        raise FormulaError(
            "The formula answers yes or no; a figure is expected. Use if(question, one, other)."
        )
    assert not isinstance(found, bool)
    return BARE if found is None else found


def need_question(node: Node, known: Mapping[str, Dimension]) -> None:
    """FormulaError unless the formula answers yes or no and its units fit."""
    if _dimension(node, known) is not YES_OR_NO:
        raise FormulaError("A question is expected, with <, <=, >, >=, = or <>.")


def _figure(node: Node, known: Mapping[str, Dimension]) -> Dimension | None:
    found = _dimension(node, known)
    if isinstance(found, bool):
        raise FormulaError(f"'{in_words(node, {})}' answers yes or no where a figure is expected.")
    return found


def _same(nodes: tuple[Node, ...], known: Mapping[str, Dimension], what: str) -> Dimension | None:
    seen: Dimension | None = None
    first = nodes[0]
    for node in nodes:
        found = _figure(node, known)
        if found is None:
            continue
        if seen is not None and found != seen:
            raise FormulaError(
                f"{what}: '{in_words(first, {})}' is in {seen}, '{in_words(node, {})}' in {found}."
            )
        if seen is None:
            seen, first = found, node
    return seen


def _exponent(node: Node) -> float | None:
    match node:
        case Number(value, unit) if unit.dimension.is_bare:
            return value * unit.scale
        case Minus(of):
            inner = _exponent(of)
            return None if inner is None else -inner
    return None


def _dimension(node: Node, known: Mapping[str, Dimension]) -> _Found:
    match node:
        case Number(value, unit):
            return None if value == 0 and unit.dimension.is_bare else unit.dimension
        case Name(name):
            if name not in known:
                close = get_close_matches(name, known, n=1)
                hint = f" Is '{close[0]}' meant?" if close else ""
                raise FormulaError(f"Nothing here is called '{name}'.{hint}")
            return known[name]
        case Minus(of):
            return _figure(of, known)
        case Not(of):
            if _dimension(of, known) is not YES_OR_NO:
                raise FormulaError(f"'not {in_words(of, {})}': a question is expected after 'not'.")
            return YES_OR_NO
        case Binary(sign, left, right) if sign in ("and", "or"):
            for side in (left, right):
                if _dimension(side, known) is not YES_OR_NO:
                    raise FormulaError(
                        f"'{in_words(side, {})}' is no question; '{sign}' joins two."
                    )
            return YES_OR_NO
        case Binary(sign, left, right) if sign in ("+", "-"):
            words = "cannot be added" if sign == "+" else "cannot be taken from one another"
            return _same((left, right), known, f"Units that {words}")
        case Binary("*", left, right):
            return (_figure(left, known) or BARE).times(_figure(right, known) or BARE)
        case Binary("/", left, right):
            below = _figure(right, known)
            if isinstance(right, Number) and right.value == 0:
                raise FormulaError(f"'{in_words(node, {})}' divides by nought.")
            return (_figure(left, known) or BARE).over(below or BARE)
        case Binary("^", left, right):
            return _power(left, right, known)
        case Binary(_, left, right):
            _same((left, right), known, "Units that cannot be compared")
            return YES_OR_NO
        case Call("if", (question, one, other)):
            if _dimension(question, known) is not YES_OR_NO:
                raise FormulaError(f"if( ) begins with a question, not '{in_words(question, {})}'.")
            return _same((one, other), known, "if( ) would come out in two units")
        case Call("sqrt", (of,)):
            return (_figure(of, known) or BARE).to(0.5)
        case Call("abs", (of,)):
            return _figure(of, known)
        case Call(function, given) if function in ("min", "max"):
            return _same(given, known, f"{function}( ) of figures in two units")
        case Call(function, (of,)):
            if not (_figure(of, known) or BARE).is_bare:
                raise FormulaError(
                    f"{function}( ) wants a bare number: whole loads or heads, not "
                    f"{_figure(of, known)}. Divide by one of them first."
                )
            return BARE
    raise AssertionError(node)


def _power(left: Node, right: Node, known: Mapping[str, Dimension]) -> Dimension:
    base = _figure(left, known) or BARE
    above = _figure(right, known) or BARE
    if not above.is_bare:
        raise FormulaError(f"A power is a bare number; '{in_words(right, {})}' is in {above}.")
    if base.is_bare:
        return BARE
    power = _exponent(right)
    if power is None or abs(power) > 6:
        raise FormulaError(
            f"'{in_words(left, {})}' is in {base}; it can be raised to a written number from -6 to "
            "6 only."
        )
    return base.to(power)


Prepared = Callable[[Mapping[str, Array]], Array]
_WORK: dict[str, Callable[[Array, Array], Array]] = {
    "+": np.add,
    "-": np.subtract,
    "*": np.multiply,
    "/": np.divide,
    "^": np.power,
    "<": np.less,
    "<=": np.less_equal,
    ">": np.greater,
    ">=": np.greater_equal,
    "=": np.equal,
    "<>": np.not_equal,
    "and": np.logical_and,
    "or": np.logical_or,
}
_ONE: dict[str, Callable[[Array], Array]] = {
    "sqrt": np.sqrt,
    "abs": np.abs,
    # A load is not begun for what rounding left over.
    "round_up": lambda one: np.ceil(one - 1e-9 * np.maximum(np.abs(one), 1.0)),
    "round_down": lambda one: np.floor(one + 1e-9 * np.maximum(np.abs(one), 1.0)),
}


def work_out(node: Node, values: Mapping[str, Array]) -> Array:
    """The formula for arrays of figures in metres, tonnes and hours.

    Where it does not come out (a division by nought, a root of less than nought) it is not
    finite; in the branch of an if( ) that is not taken that does no harm.
    """
    return prepared(node)(values)


def prepared(node: Node) -> Prepared:
    """The formula made ready to be worked out many times over, its tree read only once."""
    match node:
        case Number(value, unit):
            number = np.asarray(value * unit.scale)
            return lambda values: number
        case Name(name):
            return lambda values: values[name]
        case Minus(of):
            inner = prepared(of)
            return lambda values: np.negative(inner(values))
        case Not(of):
            inner = prepared(of)
            return lambda values: np.logical_not(inner(values))
        case Binary(sign, left, right):
            work, before, behind = _WORK[sign], prepared(left), prepared(right)
            return lambda values: work(before(values), behind(values))
        case Call("if", (question, one, other)):
            asked, then, otherwise = prepared(question), prepared(one), prepared(other)
            return lambda values: np.where(asked(values), then(values), otherwise(values))
        case Call("min" | "max" as function, given):
            least_or_most = np.minimum if function == "min" else np.maximum
            parts = [prepared(one) for one in given]
            return lambda values: reduce(least_or_most, [part(values) for part in parts])
        case Call(function, (of,)):
            single, inner = _ONE[function], prepared(of)
            return lambda values: single(inner(values))
    raise AssertionError(node)


def what_failed(node: Node, values: Mapping[str, float], labels: Mapping[str, str]) -> str:
    """In words, the part of a formula that does not come out with these figures; "" if it does."""
    arrays = {name: np.asarray(value) for name, value in values.items()}
    with np.errstate(all="ignore"):
        return _failure(node, arrays, labels)


def _failure(node: Node, values: Mapping[str, Array], labels: Mapping[str, str]) -> str:
    match node:
        case Number() | Name():
            return ""
        case Minus(of) | Not(of):
            return _failure(of, values, labels)
        case Call("if", (question, one, other)):
            taken = one if bool(work_out(question, values)) else other
            return _failure(question, values, labels) or _failure(taken, values, labels)
        case Binary(_, left, right):
            inner = _failure(left, values, labels) or _failure(right, values, labels)
        case Call(_, given):
            inner = next(filter(None, (_failure(one, values, labels) for one in given)), "")
    if inner:
        return inner
    if isinstance(node, Binary) and node.sign == "/" and work_out(node.right, values) == 0:
        words = in_words(node.right, labels)
        return f"it divides by '{words}', which is 0"
    if not np.isfinite(work_out(node, values)):
        return f"'{in_words(node, labels)}' does not come out as a number"
    return ""
