"""Earned value and earned schedule against published cases."""

from __future__ import annotations

from collections.abc import Callable

from worksprog.calc.earned_value import earned_schedule, earned_value

CARD = "published teaching card of earned value formulas: BAC 100, EV 40, AC 45, PV 50 (C)"
LIPKE = "W. Lipke, earned schedule slides, 2007 (C)"


def test_teaching_card(outside: Callable[..., None]) -> None:
    one = earned_value(bac=100, pv=50, ev=40, ac=45, unit="k")
    for quantity, expected, got in (
        ("CPI", 0.8889, one.cpi),
        ("SPI", 0.80, one.spi),
        ("EAC, rest as so far", 112.5, one.eac_rest_as_so_far),
        ("EAC, rest as so far and late", 129.375, one.eac_rest_as_so_far_and_late),
        ("ETC", 67.5, one.etc),
        ("VAC", -12.5, one.vac),
        ("TCPI to budget", 1.0909, one.tcpi_to_budget),
        ("TCPI to forecast equals CPI", 0.8889, one.tcpi_to_forecast),
    ):
        outside(quantity=quantity, expected=expected, got=got, tolerance=1e-4, source=CARD)
    outside(
        quantity="EAC, rest as estimated",
        expected=105,
        got=one.eac_rest_at_plan,
        tolerance=1e-9,
        source="AC + (BAC − EV) by hand from the teaching card",
    )


def test_cost_index_is_not_rounded_before_use(outside: Callable[..., None]) -> None:
    one = earned_value(bac=500_000, pv=150_000, ev=150_000, ac=162_000, unit="£")
    outside(
        quantity="EAC, cost index not rounded (538,344 when rounded)",
        expected=540_000,
        got=one.eac_rest_as_so_far,
        tolerance=1e-6,
        source="published case, BAC 500,000, EV 150,000, AC 162,000 (C)",
    )


def test_six_months_case(outside: Callable[..., None]) -> None:
    source = "published case, BAC 200,000, PV 120,000, EV 100,000, AC 90,000 over 6 months (C)"
    one = earned_value(bac=200_000, pv=120_000, ev=100_000, ac=90_000, unit="$")
    outside(quantity="CPI", expected=1.1111, got=one.cpi, tolerance=1e-4, source=source)
    outside(quantity="SPI", expected=0.8333, got=one.spi, tolerance=1e-4, source=source)
    outside(
        quantity="EAC",
        expected=180_000,
        got=one.eac_rest_as_so_far,
        tolerance=1e-6,
        source=source,
    )
    assert one.spi is not None
    outside(
        quantity="time estimate, 6 months ÷ SPI",
        expected=7.2,
        got=6 / one.spi,
        tolerance=1e-9,
        unit="months",
        source=source,
    )


def test_seven_months_gone_five_earned(outside: Callable[..., None]) -> None:
    one = earned_schedule([10.0 * n for n in range(1, 11)], ev=50, at=7)
    outside(quantity="SV(t)", expected=-2, got=one.variance, tolerance=1e-9, source=LIPKE)
    outside(quantity="SPI(t)", expected=0.714, got=one.index, tolerance=1e-3, source=LIPKE)
    outside(
        quantity="IEAC(t), planned 10 months",
        expected=14.0,
        got=one.forecast,
        tolerance=1e-9,
        unit="months",
        source="PD ÷ SPI(t) by hand from the same case",
    )


def test_between_two_periods(outside: Callable[..., None]) -> None:
    plan = [10, 25, 45, 70, 100, 130, 155, 175, 190, 200]
    one = earned_schedule(plan, ev=112, at=7)
    source = "Lipke's formulas worked by hand on an own plan"
    outside(quantity="ES", expected=5.4, got=one.es, tolerance=1e-9, source=source)
    outside(quantity="SPI(t)", expected=0.7714, got=one.index, tolerance=1e-4, source=source)
    outside(quantity="SV(t)", expected=-1.6, got=one.variance, tolerance=1e-9, source=source)
    outside(quantity="IEAC(t)", expected=12.963, got=one.forecast, tolerance=1e-3, source=source)


def test_late_project_ends_with_a_true_index(outside: Callable[..., None]) -> None:
    plan = [10.0 * n for n in range(1, 11)]
    money = earned_value(bac=100, pv=100, ev=100, ac=100, unit="k")
    time = earned_schedule(plan, ev=100, at=12)
    outside(quantity="SPI at the end", expected=1.0, got=money.spi, tolerance=1e-9, source=LIPKE)
    outside(
        quantity="SPI(t) at the end, two months late",
        expected=0.8333,
        got=time.index,
        tolerance=1e-4,
        source=LIPKE,
    )
