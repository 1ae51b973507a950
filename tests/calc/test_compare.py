"""Two build-ups against each other: the effects add up to the difference, to the penny."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from worksprog.calc.build_up import Category, Line, MoneyRange, OutputRate, price_line
from worksprog.calc.build_up.compare import Standing, compare_lines
from worksprog.calc.ranges import ThreePoint

UNITS = ("m", "m²", "h")
CASES = ("low", "likely", "high")


def made(
    key="dig",
    *,
    measured=180.0,
    per_hour=9.0,
    price="21.50",
    category=Category.LABOUR,
    measured_unit="m³",
    spread=0.0,
) -> Line:
    """A line as the build-up makes it: hours where it has an output rate."""

    def around(value):
        return ThreePoint(value * (1 - spread), value, value * (1 + 2 * spread))

    quantity, unit, output = around(measured), measured_unit, None
    if per_hour is not None:
        output = OutputRate("rate", "output", measured_unit, around(per_hour), "")
        quantity, unit = quantity.over_range(output.per_hour), "h"
    return price_line(
        key=key,
        category=category,
        description=key,
        quantity=quantity,
        unit=unit,
        unit_price=MoneyRange.exactly(Decimal(price)),
        measured=around(measured),
        measured_unit=measured_unit,
        output=output,
    )


def only(before, after):
    (change,) = compare_lines([before], [after]).changes
    return change


def test_each_effect_alone():
    was = made()  # 20 h at 21.50 are 430.00
    more = only(was, made(measured=198.0))
    assert (more.effects.quantity, more.effects.output, more.effects.price) == (43, 0, 0)
    assert (more.hours.quantity_h, more.hours.output_h) == (pytest.approx(2.0), 0.0)
    slower = only(was, made(per_hour=7.5))
    assert (slower.effects.quantity, slower.effects.output, slower.effects.price) == (0, 86, 0)
    assert (slower.hours.quantity_h, slower.hours.output_h) == (0.0, pytest.approx(4.0))
    dearer = only(was, made(price="23.00"))
    assert (dearer.effects.quantity, dearer.effects.output, dearer.effects.price) == (0, 0, 30)
    assert dearer.hours.total_h == 0


def test_all_three_in_the_order_stated():
    """By hand: 20 h at 21.50; 198 m³ at 9 are 22 h; at 7.5 they are 26.4 h; at 23.00."""
    change = only(made(), made(measured=198.0, per_hour=7.5, price="23.00"))
    assert change.effects.quantity == Decimal("43.00")  # 22 × 21.50 - 430
    assert change.effects.output == Decimal("94.60")  # 26.4 × 21.50 - 473
    assert change.effects.price == Decimal("39.60")  # 26.4 × 1.50
    assert change.amount_after == Decimal("607.20")
    assert change.effects.total == change.amount_after - change.amount_before


def test_new_and_gone_lines_are_told_apart():
    was, stays = made("clear"), made("dig")
    comes = made("stone", measured=12.0, per_hour=None, price="31.50", category=Category.MATERIAL)
    told = compare_lines([was, stays], [stays, comes])
    standing = {one.key: one.standing for one in told.changes}
    assert standing == {"dig": Standing.BOTH, "stone": Standing.NEW, "clear": Standing.GONE}
    assert told.effects.lines == Decimal("378.00") - Decimal("430.00") == told.difference
    assert told.hours.lines_h == pytest.approx(-20.0)
    assert [one.key for one in told.changed] == ["stone", "clear"]


def test_work_that_changes_hands_by_the_hour_is_a_price():
    change = only(made(), made(category=Category.CONTRACTOR, price="38.00"))
    assert change.changed_hands
    assert (change.effects.quantity, change.effects.price) == (0, Decimal("330.00"))
    assert (change.hours.quantity_h, change.hours.lines_h) == (0, pytest.approx(-20.0))


def test_work_by_the_hour_against_work_by_the_cubic_metre():
    """198 m³ at the crew's 9 an hour are 22 h, so the quantity is told at the crew's price."""
    by_rate = made(measured=198.0, per_hour=None, price="4.50", category=Category.CONTRACTOR)
    change = only(made(), by_rate)
    assert change.effects.quantity == Decimal("43.00")
    assert change.effects.output == 0
    assert change.effects.price == Decimal("891.00") - Decimal("473.00")
    back = only(by_rate, made())
    assert back.effects.quantity == Decimal("-81.00")  # 18 m³ fewer at 4.50
    assert back.effects.total == -change.effects.total


def test_other_units_are_not_parted():
    change = only(made(), made(measured=250.0, per_hour=None, measured_unit="m", price="3.00"))
    assert change.standing is Standing.COUNTED_OTHERWISE
    assert change.effects.lines == Decimal("320.00") == change.effects.total


def test_a_line_set_by_hand_is_compared_in_its_hours():
    change = only(made(), made(measured=24.0, per_hour=None, measured_unit="h"))
    assert change.effects.quantity == Decimal("86.00") == change.effects.total
    assert change.hours.quantity_h == pytest.approx(4.0)


def test_a_key_that_comes_twice_is_matched_in_its_place():
    told = compare_lines([made("x"), made("x", price="10.00")], [made("x"), made("x", price="11")])
    assert [one.effects.price for one in told.changes] == [0, Decimal("20.00")]


money = st.decimals(min_value="0.01", max_value="3000", places=2)
size = st.floats(min_value=0.0, max_value=5000.0, allow_nan=False, allow_infinity=False)
an_hour = st.none() | st.floats(min_value=0.02, max_value=400.0)


@st.composite
def build_ups(draw):
    keys = draw(st.lists(st.sampled_from("abcdef"), max_size=8))
    return [
        made(
            key,
            measured=draw(size),
            per_hour=draw(an_hour),
            price=str(draw(money)),
            category=draw(st.sampled_from(list(Category))),
            measured_unit=draw(st.sampled_from(UNITS)),
            spread=draw(st.sampled_from((0.0, 0.1, 0.3))),
        )
        for key in keys
    ]


@given(build_ups(), build_ups(), st.sampled_from(CASES))
def test_the_effects_are_the_difference_to_the_penny(before, after, case):
    told = compare_lines(before, after, case=case)
    was = sum((getattr(line.amount, case) for line in before), Decimal("0.00"))
    now = sum((getattr(line.amount, case) for line in after), Decimal("0.00"))
    assert told.difference == now - was
    assert told.effects.total == now - was
    for change in told.changes:
        assert change.effects.total == change.amount_after - change.amount_before
        assert all(
            part == round(part, 2)
            for part in (
                change.effects.quantity,
                change.effects.output,
                change.effects.price,
                change.effects.lines,
            )
        )
    hours_was = sum(getattr(line.labour_h, case) for line in before)
    hours_now = sum(getattr(line.labour_h, case) for line in after)
    assert told.hours.total_h == pytest.approx(hours_now - hours_was, abs=1e-6)


@given(build_ups(), st.sampled_from(CASES))
def test_a_build_up_against_itself_has_no_effect(lines, case):
    told = compare_lines(lines, lines, case=case)
    assert told.changed == () and told.effects.total == 0
    for change in told.changes:
        assert not any((change.effects.quantity, change.effects.output, change.effects.price))


@given(build_ups(), money, st.sampled_from(CASES))
def test_what_did_not_change_has_no_effect(lines, price, case):
    """Where only prices differ, nothing is told as quantity or output; nor the other way round."""
    dearer = [
        price_line(
            key=line.key,
            category=line.category,
            description=line.description,
            quantity=line.quantity,
            unit=line.unit,
            unit_price=MoneyRange.exactly(price),
            measured=line.measured,
            measured_unit=line.measured_unit,
            output=line.output,
        )
        for line in lines
    ]
    told = compare_lines(lines, dearer, case=case)
    assert (told.effects.quantity, told.effects.output, told.effects.lines) == (0, 0, 0)
    assert told.effects.price == told.difference
