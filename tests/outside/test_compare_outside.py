"""Quantity, output and price effects against exercises in standard costing."""

from __future__ import annotations

from decimal import Decimal

from worksprog.calc.build_up.compare import Figures, compare_figures


def figures(quantity, price, *, measured=None, per_hour=None, unit="units"):
    hours = per_hour is not None
    return Figures(
        quantity=quantity,
        unit="h" if hours else unit,
        measured=quantity if measured is None else measured,
        measured_unit=unit,
        per_hour=per_hour,
        price=Decimal(price),
        amount=round(Decimal(repr(quantity)) * Decimal(price), 2),
        labour_h=quantity if hours else 0.0,
    )


def test_material_by_quantity_and_price(outside):
    """430 units at 6.90 allowed, 450 at 6.50 used."""
    effects, _ = compare_figures(figures(430.0, "6.90"), figures(450.0, "6.50"))
    source = (
        "exercise 23-5, direct materials variances, with answer; accountingqa.blogspot.com (C2)"
    )
    for what, expected, got in (
        ("quantity", 138, effects.quantity),
        ("price", -180, effects.price),
        ("total", -42, effects.total),
    ):
        outside(
            quantity=f"material variance, {what}",
            expected=expected,
            got=float(got),
            tolerance=0.0,
            source=source,
        )


def test_labour_by_output_and_rate(outside):
    """One job: 500 h allowed at 20.00, 590 h worked at 19.90."""
    before = figures(500.0, "20.00", measured=1.0, per_hour=1 / 500)
    after = figures(590.0, "19.90", measured=1.0, per_hour=1 / 590)
    effects, hours = compare_figures(before, after)
    source = "job #601, labour efficiency variance, with answer; qammunity.org 7187066 (C2)"
    outside(
        quantity="labour efficiency variance",
        expected=1800,
        got=float(effects.output),
        tolerance=0.0,
        source=source,
    )
    outside(
        quantity="labour efficiency variance",
        expected=90,
        got=hours.output_h,
        tolerance=1e-9,
        unit="h",
        source=source,
    )
    assert effects.quantity == 0
    assert effects.price == Decimal("-59.00")  # follows: 590 h at 0.10 less


def test_labour_by_all_three(outside):
    """2,300 units at 2.8 h of 11.50; 6,900 h worked for 80,385, which is 11.65 an hour.

    2,000 units are what was planned, invented here so that quantity moves too; it leaves the two
    variances as they are.
    """
    before = figures(5600.0, "11.50", measured=2000.0, per_hour=1 / 2.8)
    after = figures(6900.0, "11.65", measured=2300.0, per_hour=1 / 3)
    effects, _ = compare_figures(before, after)
    source = "labour variances, figures of brainmass.com 101914 (C2); answer worked here (A)"
    outside(
        quantity="labour efficiency variance, 460 h at 11.50",
        expected=5290,
        got=float(effects.output),
        tolerance=0.0,
        source=source,
    )
    outside(
        quantity="labour rate variance, 80,385 less 6,900 h at 11.50",
        expected=1035,
        got=float(effects.price),
        tolerance=0.0,
        source=source,
    )
    assert effects.quantity == Decimal("9660.00")
