"""Formulas a person writes: their units, their order, their errors, their ranges."""

from __future__ import annotations

from math import pi, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from worksprog.calc.formulas import (
    Dimension,
    Formula,
    FormulaError,
    Question,
    Sheet,
    Told,
    dimension_of,
    in_words,
    names_in,
    read,
    unit_of,
    work_out,
)
from worksprog.calc.ranges import ThreePoint

KNOWN = {"long": Dimension(length=1), "wide": Dimension(length=1), "n": Dimension()}


def value_of(text: str, **values: float) -> float:
    return float(work_out(read(text), {name: np.asarray(one) for name, one in values.items()}))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("1 + 2 * 3", 7),
        ("(1 + 2) × 3", 9),
        ("2 ^ 3 ^ 1", 8),
        ("-2²", -4),
        ("10 - 4 - 3", 3),
        ("12 / 4 / 3", 1),
        ("8 ÷ 2 · 3", 12),
        ("min(4, 2, 9) + max(1, 5)", 7),
        ("if(2 < 3 and not 1 > 2, 10, 20)", 10),
        ("if(2 = 3 or 4 <> 4, 10, 20)", 20),
        ("round_up(2.01) + round_down(2.99)", 5),
        ("round_up(3.0000000000001)", 3),
        ("sqrt(16) + abs(-2)", 6),
        ("300[mm] + 0.2 [m]", 0.5),
        ("pi * 2", 2 * pi),
        ("1.5e2 − 50", 100),
    ],
)
def test_it_comes_out_as_by_hand(text, expected):
    assert value_of(text) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "empty"),
        ("1 +", "at its end"),
        ("2 * (3 + 4", r"'\)' is expected"),
        ("a b", "goes on"),
        ("a.b", "does not belong"),
        ("__import__('os')", "does not belong|not a function"),
        ("open(1)", "not a function"),
        ("sqrt(1, 2)", "takes 1"),
        ("1[furlong]", "is not a unit"),
        ("1[m", "no ']'"),
        ("a = = b", "is expected"),
        ("(" * 60 + "1" + ")" * 60, "nested"),
        ("1+" * 600 + "1", "characters"),
        ("1e999", "too large"),
    ],
)
def test_what_is_no_formula_is_told_with_its_place(text, words):
    with pytest.raises(FormulaError, match=words):
        read(text)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("long + n", "cannot be added"),
        ("long - long * wide", "cannot be taken"),
        ("if(long < n, 1, 2)", "cannot be compared"),
        ("if(n > 1, long, n)", "two units"),
        ("max(long, n)", "two units"),
        ("round_up(long)", "bare number"),
        ("long ^ n", "written number"),
        ("n ^ long", "bare number"),
        ("long / 0", "divides by nought"),
        ("lng * 2", "Is 'long' meant"),
        ("long < wide", "yes or no"),
        ("if(long, 1, 2)", "begins with a question"),
        ("(long < wide) + 1", "yes or no"),
        ("if(not long, 1, 2)", "after 'not'"),
        ("if(n > 1 and long, 1, 2)", "no question"),
    ],
)
def test_units_that_do_not_fit_are_refused(text, words):
    with pytest.raises(FormulaError, match=words):
        dimension_of(read(text), KNOWN)


def test_units_come_out_and_nought_has_any_unit():
    assert dimension_of(read("long * wide * 0.3[m]"), KNOWN) == Dimension(length=3)
    assert dimension_of(read("max(0, long - 2[m])"), KNOWN) == Dimension(length=1)
    assert dimension_of(read("sqrt(long * wide)"), KNOWN) == Dimension(length=1)
    assert dimension_of(read("long ^ 3 / wide²"), KNOWN) == Dimension(length=1)
    assert str(unit_of("t/m³").dimension) == "t/m³"
    assert unit_of("m2").dimension == unit_of("m²").dimension
    assert unit_of("l").scale == pytest.approx(unit_of("m³").scale / 1000)


def sheet() -> Sheet:
    return Sheet(
        (Told("length_m", "length", "m"), Told("pipe_mm", "bore", "mm"),
         Told("spacing_m", "spacing", "m")),
        (
            Formula("dig", "dug", "m³", "length_m * wide * 1[m]"),
            Formula("wide", "width", "m", "pipe_mm * 1.15 + 0.3[m]"),
            Formula("rows", "rows", "no", "round_up(length_m / spacing_m)"),
        ),
        (Question("wide < 2[m]", "The trench is wider than two metres."),),
    )  # fmt: skip


def test_formulas_find_their_order_and_convert_units():
    found = sheet().work_out({"length_m": 10, "pipe_mm": 300, "spacing_m": 4})
    assert found == pytest.approx({"wide": 0.645, "dig": 6.45, "rows": 3})
    assert sheet().shown("wide") == "bore × 1.15 + 0.3 m"


def test_what_does_not_come_out_says_which_and_why():
    with pytest.raises(FormulaError, match="Rows does not come out: it divides by 'spacing'"):
        sheet().work_out({"length_m": 10, "pipe_mm": 300, "spacing_m": 0})
    with pytest.raises(FormulaError, match="wider than two"):
        sheet().work_out({"length_m": 10, "pipe_mm": 3000, "spacing_m": 2})
    with pytest.raises(FormulaError, match="Missing: spacing"):
        sheet().work_out({"length_m": 10, "pipe_mm": 300})


def test_a_branch_not_taken_does_no_harm():
    one = Sheet((Told("n", "n", ""),), (Formula("q", "q", "", "if(n > 0, 1 / n, 0)"),))
    assert one.work_out({"n": 0}) == {"q": 0}
    assert one.work_out({"n": 4}) == {"q": 0.25}


def test_a_ring_of_formulas_is_told():
    with pytest.raises(FormulaError, match=r"ring: .*'a', which needs|ring: .*'b', which needs"):
        Sheet((), (Formula("a", "a", "", "b + 1"), Formula("b", "b", "", "a * 2")))
    with pytest.raises(FormulaError, match="ring"):
        Sheet((), (Formula("a", "a", "", "a + 1"),))
    with pytest.raises(FormulaError, match="own name"):
        Sheet((Told("a", "a", ""),), (Formula("a", "a", "", "1"),))
    with pytest.raises(FormulaError, match="'a' comes out in m, but is to be in m²"):
        Sheet((), (Formula("a", "a", "m²", "1[m]"),))


def test_more_spacing_makes_less_pipe():
    one = Sheet(
        (Told("area", "area", "m²"), Told("spacing", "spacing", "m")),
        (Formula("pipe", "pipe", "m", "area / spacing"),),
    )
    found = one.work_out_ranges(
        {"area": ThreePoint(900, 1000, 1200), "spacing": ThreePoint(4, 5, 8)}
    )
    assert found["pipe"] == ThreePoint(900 / 8, 200, 300)


def test_a_range_that_reaches_nought_says_so():
    with pytest.raises(FormulaError, match="ends of the ranges: it divides by 'spacing'"):
        sheet().work_out_ranges(
            {
                "length_m": ThreePoint.exactly(10),
                "pipe_mm": ThreePoint.exactly(300),
                "spacing_m": ThreePoint(0, 2, 4),
            }
        )


@given(low=st.floats(0.1, 1), likely=st.floats(0, 1), high=st.floats(0, 1), other=st.floats(0.2, 5))
def test_the_likely_lies_between_and_the_ends_are_reached(low, likely, high, other):
    spread = ThreePoint(low, low + likely, low + likely + high)
    one = Sheet(
        (Told("x", "x", "m"), Told("y", "y", "m")),
        (Formula("q", "q", "m", "sqrt(x * y) - y / 4 + 3[m²] / x"),),
    )
    got = one.work_out_ranges({"x": ThreePoint.exactly(other), "y": spread})["q"]

    def by_hand(y):
        return sqrt(other * y) - y / 4 + 3 / other

    ends = [by_hand(y) for y in (spread.low, spread.likely, spread.high)]
    assert got.low == pytest.approx(min(ends))
    assert got.high == pytest.approx(max(ends))
    assert got.likely == pytest.approx(ends[1])


@given(st.text(max_size=60))
def test_any_text_is_read_or_refused_in_words(text):
    try:
        node = read(text)
    except FormulaError as error:
        assert str(error)
    else:
        assert read(in_words(node, {})) is not None or names_in(node) is not None


@st.composite
def trees(draw, depth=0):
    if depth > 3 or draw(st.booleans()):
        return draw(st.sampled_from(["a", "b", "2", "0.5"]))
    sign = draw(st.sampled_from(["+", "-", "*", "/"]))
    left, right = draw(trees(depth=depth + 1)), draw(trees(depth=depth + 1))
    return f"({left} {sign} {right})"


@given(trees(), st.floats(0.5, 3), st.floats(0.5, 3))
def test_what_is_shown_means_what_is_worked_out(text, a, b):
    node = read(text)
    shown = in_words(node, {})
    with np.errstate(all="ignore"):
        arrays = {"a": np.asarray(a), "b": np.asarray(b)}
        once, twice = work_out(node, arrays), work_out(read(shown), arrays)
    assert np.allclose(once, twice, rtol=1e-9, equal_nan=True)
