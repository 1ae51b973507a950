"""The sizing against a case worked by hand and against published flattest gradients."""

from __future__ import annotations

import math

import pytest

from worksprog.calc.sizing import (
    Costing,
    LowerEnd,
    PipeSize,
    SizingLimits,
    SizingReach,
    Tree,
    size_tree,
)
from worksprog.calc.sizing.solve import gradient_for_velocity


def plain(bore_mm: int, money: float) -> PipeSize:
    return PipeSize(bore_mm, bore_mm / 1000, bore_mm / 1000, money)


@pytest.mark.parametrize(
    ("bore_mm", "ks_mm", "velocity_ms", "one_in"),
    [
        (150, 0.6, 0.75, 177),
        (225, 0.6, 0.75, 298),
        (300, 0.6, 1.0, 244),
        (450, 0.6, 1.0, 407),
        (150, 1.5, 0.75, 136),
        (300, 1.5, 0.6, 528),
    ],
)
def test_flattest_gradient_for_a_velocity(outside, bore_mm, ks_mm, velocity_ms, one_in):
    gradient = gradient_for_velocity(plain(bore_mm, 1), velocity_ms, ks_mm / 1000)
    outside(
        quantity=f"Flattest gradient, {bore_mm} mm, ks {ks_mm} mm, {velocity_ms} m/s, 1 in",
        expected=one_in,
        got=1 / gradient,
        tolerance=1.0,
        relative=False,
        source="Colebrook–White run in reverse, table of flattest gradients (R)",
    )


def test_flattest_rule_of_a_standard(outside):
    """1 in DN asks for 150 mm at 1 in 150: at ks 0.6 mm that gives 0.7 m/s, the same rule's speed."""
    gradient = gradient_for_velocity(plain(150, 1), 0.7, 0.0006)
    outside(
        quantity="150 mm at 0.7 m/s full bore lies no flatter than 1 in DN asks",
        expected=1.0,
        got=float(1 / gradient >= 150),
        tolerance=0.0,
        relative=False,
        source="BS EN 16933-2: 0.7 m/s, or 1 in DN, 150 mm at 1 in 150 (C2)",
    )


def test_a_small_case_worked_by_hand(outside):
    """100 m of level-falling ground, 78 l/s, 300 mm at 1 in 200 or 375 mm at 1 in 500.

    Ground 51.00 to 50.50 (1 in 200). Cover 0.60, so 300 mm lies at 50.10 to 49.60 throughout: depth
    0.90, width 0.60 (pipe outside = bore + 0 and 0.30 of room), no bed, no stone. Dug: 100 · 0.60 ·
    0.90 = 54.0 m³, of which 0.60 · 0.60 · 100 = 36.0 m³ are put back over the pipe. At 10 a m³ dug
    and 5 a m³ put back: 540 + 180 = 720; pipe 100 · 20 = 2000; chamber 300. Together 3020.
    225 mm would need 1 in 46 for 77 l/s and is not within the greatest gradient of 1 in 100.
    """
    sizes = (plain(225, 10.0), plain(300, 20.0), plain(375, 31.0))
    costing = Costing(
        sizes,
        dig_per_m3=10.0,
        fill_per_m3=5.0,
        trench_margin_m=0.3,
        bed_m=0.0,
        over_crown_m=0.0,
        chamber_each=300.0,
    )
    reach = SizingReach("A", "A", 100.0, 0.078, ((0.0, 51.0), (50.0, 50.75), (100.0, 50.5)))
    limits = SizingLimits(most_gradient=1 / 100, cover_free_m=0.0)
    best = size_tree(Tree((reach,), LowerEnd("the outfall")), costing, limits).best
    assert best is not None
    source = "worked by hand from the stated rates (A)"
    sized = best.reach("A")
    for quantity, expected, got, unit in (
        ("Sizing by hand: bore", 0.300, sized.inside_m, "m"),
        ("Sizing by hand: upstream invert", 50.10, sized.upstream_m, "m"),
        ("Sizing by hand: downstream invert", 49.60, sized.downstream_m, "m"),
        ("Sizing by hand: trench", 720.0, sized.money.trench, "money"),
        ("Sizing by hand: whole cost", 3020.0, best.money.total, "money"),
    ):
        outside(
            quantity=quantity,
            expected=expected,
            got=got,
            tolerance=1e-9,
            relative=True,
            unit=unit,
            source=source,
        )
    capacity = sized.capacity_m3s
    outside(
        quantity="Sizing by hand: 300 mm at 1 in 200 carries",
        expected=0.0783,
        got=capacity,
        tolerance=0.003,
        relative=True,
        unit="m³/s",
        source="public Colebrook–White calculation sheet, 300 mm 1 in 200 ks 0.6 (C2)",
    )
    assert math.isfinite(capacity)
