"""From the text of a formula to a tree; the whole language is in this one file.

    expression  = either { "or" either }
    either      = both { "and" both }
    both        = ["not"] compared
    compared    = sum [ ("<" | "<=" | ">" | ">=" | "=" | "<>") sum ]
    sum         = product { ("+" | "-") product }
    product     = signed { ("*" | "×" | "·" | "/" | "÷") signed }
    signed      = ["-"] power
    power       = atom [ "^" signed | "²" | "³" ]
    atom        = number [ "[" unit "]" ] | name | function "(" list ")" | "(" expression ")"

Nothing in it can name an attribute, call anything but the functions listed here, or loop.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import isfinite, pi

from worksprog.calc.formulas.units import Unit, unit_of

LONGEST = 1000  # characters
DEEPEST = 40
FUNCTIONS: dict[str, tuple[int, int]] = {
    "min": (2, 12),
    "max": (2, 12),
    "if": (3, 3),
    "sqrt": (1, 1),
    "abs": (1, 1),
    "round_up": (1, 1),
    "round_down": (1, 1),
}
_WORDS = {"and", "or", "not"}
_TOKEN = re.compile(
    r"\s*(?:(?P<number>\d+(?:\.\d+)?(?:[eE][+-]?\d+)?|\.\d+)"
    r"|(?P<name>[A-Za-z_][A-Za-z0-9_]*)"
    r"|(?P<sign><=|>=|<>|[-+*/^()\[\],<>=×·÷²³−]))"
)
_SAME = {"×": "*", "·": "*", "÷": "/", "−": "-"}


class FormulaError(ValueError):
    """A formula that is not one, or does not come out; says where and what was expected."""


@dataclass(frozen=True)
class Number:
    value: float
    unit: Unit


@dataclass(frozen=True)
class Name:
    name: str


@dataclass(frozen=True)
class Minus:
    of: Node


@dataclass(frozen=True)
class Not:
    of: Node


@dataclass(frozen=True)
class Binary:
    """``sign``: + - * / ^ < <= > >= = <> and or."""

    sign: str
    left: Node
    right: Node


@dataclass(frozen=True)
class Call:
    function: str
    given: tuple[Node, ...]


Node = Number | Name | Minus | Not | Binary | Call


@dataclass(frozen=True)
class _Token:
    kind: str
    text: str
    at: int


def _tokens(text: str) -> list[_Token]:
    found: list[_Token] = []
    at = 0
    while at < len(text):
        if not text[at:].strip():
            break
        match = _TOKEN.match(text, at)
        if match is None:
            bad = text[at:].lstrip()[:1]
            raise FormulaError(
                f"'{bad}' at character {text.index(bad, at) + 1} does not belong in a formula."
            )
        kind = match.lastgroup or ""
        found.append(_Token(kind, match.group(kind), match.start(kind)))
        at = match.end()
    return found


class _Reader:
    def __init__(self, text: str) -> None:
        self.text = text
        self.tokens = _tokens(text)
        self.place = 0
        self.depth = 0

    def sign(self) -> str:
        """The sign or word that comes next; "" for a number, a name or the end."""
        if self.place >= len(self.tokens):
            return ""
        token = self.tokens[self.place]
        if token.kind == "sign":
            return _SAME.get(token.text, token.text)
        return token.text if token.kind == "name" and token.text in _WORDS else ""

    def where(self) -> str:
        if self.place >= len(self.tokens):
            return "at its end"
        token = self.tokens[self.place]
        return f"at '{token.text}', character {token.at + 1}"

    def take(self, wanted: str) -> None:
        if self.sign() != wanted:
            raise FormulaError(f"'{wanted}' is expected {self.where()}.")
        self.place += 1

    def expression(self) -> Node:
        self.depth += 1
        if self.depth > DEEPEST:
            raise FormulaError(f"The formula is nested more than {DEEPEST} deep.")
        node = self._chain(("or",), lambda: self._chain(("and",), self._both))
        self.depth -= 1
        return node

    def _chain(self, signs: tuple[str, ...], part: Callable[[], Node]) -> Node:
        node = part()
        while (sign := self.sign()) and sign in signs:
            self.place += 1
            node = Binary(sign, node, part())
        return node

    def _both(self) -> Node:
        if self.sign() == "not":
            self.place += 1
            return Not(self._compared())
        return self._compared()

    def _compared(self) -> Node:
        left = self._sum()
        sign = self.sign()
        if sign in ("<", "<=", ">", ">=", "=", "<>"):
            self.place += 1
            return Binary(sign, left, self._sum())
        return left

    def _sum(self) -> Node:
        return self._chain(("+", "-"), self._product)

    def _product(self) -> Node:
        return self._chain(("*", "/"), self._signed)

    def _signed(self) -> Node:
        if self.sign() == "-":
            self.place += 1
            return Minus(self._power())
        return self._power()

    def _power(self) -> Node:
        base = self._atom()
        sign = self.sign()
        if sign in ("²", "³"):
            self.place += 1
            return Binary("^", base, Number(2.0 if sign == "²" else 3.0, unit_of("")))
        if sign == "^":
            self.place += 1
            return Binary("^", base, self._signed())
        return base

    def _atom(self) -> Node:
        if self.place >= len(self.tokens):
            raise FormulaError("A number, a name or '(' is expected at its end.")
        token = self.tokens[self.place]
        if token.kind == "number":
            self.place += 1
            return self._number(token)
        if token.kind == "name" and token.text not in _WORDS:
            self.place += 1
            if self.sign() == "(":
                return self._call(token)
            return Number(pi, unit_of("")) if token.text == "pi" else Name(token.text)
        if self.sign() == "(":
            self.place += 1
            inner = self.expression()
            self.take(")")
            return inner
        raise FormulaError(f"A number, a name or '(' is expected {self.where()}.")

    def _number(self, token: _Token) -> Node:
        value = float(token.text)
        if not isfinite(value):
            raise FormulaError(f"'{token.text}' is too large a number.")
        if self.sign() != "[":
            return Number(value, unit_of(""))
        start = self.tokens[self.place].at + 1
        end = self.text.find("]", start)
        if end < 0:
            raise FormulaError(f"The unit that begins at character {start} has no ']'.")
        try:
            unit = unit_of(self.text[start:end])
        except ValueError as error:
            raise FormulaError(str(error)) from error
        while self.place < len(self.tokens) and self.tokens[self.place].at <= end:
            self.place += 1
        return Number(value, unit)

    def _call(self, token: _Token) -> Node:
        if token.text not in FUNCTIONS:
            raise FormulaError(
                f"'{token.text}' at character {token.at + 1} is not a function; there are "
                f"{', '.join(sorted(FUNCTIONS))}."
            )
        self.take("(")
        given = [self.expression()]
        while self.sign() == ",":
            self.place += 1
            given.append(self.expression())
        self.take(")")
        least, most = FUNCTIONS[token.text]
        if not least <= len(given) <= most:
            wanted = str(least) if least == most else f"{least} to {most}"
            raise FormulaError(f"{token.text}( ) takes {wanted} figures, not {len(given)}.")
        return Call(token.text, tuple(given))


def read(text: str) -> Node:
    """The formula as a tree. FormulaError: what is wrong and at which character."""
    if not text.strip():
        raise FormulaError("The formula is empty.")
    if len(text) > LONGEST:
        raise FormulaError(
            f"The formula has {len(text):,} characters; up to {LONGEST:,} are expected."
        )
    reader = _Reader(text)
    node = reader.expression()
    if reader.place < len(reader.tokens):
        raise FormulaError(f"The formula goes on where its end is expected, {reader.where()}.")
    return node


def names_in(node: Node) -> set[str]:
    """Every name that the formula uses."""
    match node:
        case Name(name):
            return {name}
        case Minus(of) | Not(of):
            return names_in(of)
        case Binary(_, left, right):
            return names_in(left) | names_in(right)
        case Call(_, given):
            return set().union(*(names_in(one) for one in given))
    return set()


_RANK = {"or": 1, "and": 2, "<": 4, "<=": 4, ">": 4, ">=": 4, "=": 4, "<>": 4}
_RANK |= {"+": 5, "-": 5, "*": 6, "/": 6, "^": 8}
_SHOWN = {"*": "×", "-": "−", "<=": "≤", ">=": "≥", "<>": "≠"}


def in_words(node: Node, labels: Mapping[str, str]) -> str:
    """The formula as it is shown: names by their labels, × for *."""
    return _shown(node, labels)[0]


def _shown(node: Node, labels: Mapping[str, str]) -> tuple[str, int]:
    match node:
        case Number(value, unit):
            if value == pi:
                return "π", 9
            return f"{value:g} {unit.written}".strip(), 9
        case Name(name):
            return labels.get(name, name), 9
        case Minus(of):
            return "−" + _inside(of, labels, 7), 7
        case Not(of):
            return "not " + _inside(of, labels, 3), 3
        case Call(function, given):
            listed = ", ".join(_shown(one, labels)[0] for one in given)
            if function == "sqrt":
                return f"√({listed})", 9
            return f"{function.replace('_', ' ')}({listed})", 9
        case Binary(sign, left, right):
            rank = _RANK[sign]
            if sign == "^" and isinstance(right, Number) and right.value in (2.0, 3.0):
                return _inside(left, labels, 9) + ("²" if right.value == 2 else "³"), 8
            # What is taken off or divided by keeps its brackets, as does a power's own base.
            least = rank + 1 if sign in ("-", "/", "^") else rank
            before = _inside(left, labels, 9 if sign == "^" else rank)
            return f"{before} {_SHOWN.get(sign, sign)} {_inside(right, labels, least)}", rank


def _inside(node: Node, labels: Mapping[str, str], least: int) -> str:
    words, rank = _shown(node, labels)
    return words if rank >= least else f"({words})"
