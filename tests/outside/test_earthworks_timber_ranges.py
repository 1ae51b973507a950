"""Earthworks, timber, three-point sums and labour against published or exact figures."""

from __future__ import annotations

from math import sqrt

from worksprog.calc import earthworks, soils, timber
from worksprog.calc.build_up import labour
from worksprog.calc.ranges import Shape, ThreePoint, mean_and_sd, sum_ranges, understated_spread

FT = 0.3048
IN = 0.0254
RISK_1 = [
    ThreePoint(8, 10, 15),
    ThreePoint(20, 24, 34),
    ThreePoint(5, 6, 10),
    ThreePoint(40, 45, 60),
    ThreePoint(12, 15, 21),
]


def test_ditch_end_area_and_prismoidal(outside):
    ditch = earthworks.ditch_volume(
        length_m=40, bottom_m=0.5, side_slope=1.5, depth_start_m=0.6, depth_end_m=1.4
    )
    source = "E1, ditch 0.5 m, 1.5:1, 0.6 to 1.4 m deep, 40 m: exact by integration (A)"
    outside(
        quantity="Ditch dig, average end area",
        expected=89.6,
        got=ditch.end_area_m3,
        tolerance=1e-9,
        unit="m³",
        source=source,
    )
    outside(
        quantity="Ditch dig, prismoidal rule",
        expected=83.2,
        got=ditch.dig_m3,
        tolerance=1e-9,
        unit="m³",
        source=source,
    )


def test_trench_by_hand(outside):
    trench = earthworks.trench_balance(
        length_m=100, width_m=0.6, depth_m=1.0, pipe_outside_m=0.345, bed_m=0.1, over_crown_m=0.1
    )
    source = "E2, trench 0.6 x 1.0 x 100 m, pipe 0.345 m outside, by hand (A)"
    for quantity, expected, got in (
        ("Trench: dig", 60.000, trench.dig_m3),
        ("Trench: pipe", 9.348, trench.pipe_m3),
        ("Trench: stone", 23.352, trench.stone_m3),
        ("Trench: backfill", 27.300, trench.backfill_m3),
        ("Trench: surplus in the bank", 32.700, trench.surplus_m3),
    ):
        outside(
            quantity=quantity, expected=expected, got=got, tolerance=5e-4, unit="m³", source=source
        )
    outside(
        quantity="Trench: stone at 1.6 t/m³",
        expected=37.36,
        got=trench.stone_m3 * 1.6,
        tolerance=5e-3,
        unit="t",
        source=source,
    )


def test_battered_trench_and_pond(outside):
    outside(
        quantity="Battered trench 0.6 m, 1.5 m deep, 1:1",
        expected=3.15,
        got=earthworks.trapezoid_area_m2(bottom_m=0.6, side_slope=1.0, depth_m=1.5),
        tolerance=1e-9,
        unit="m³/m",
        source="by hand (A)",
    )
    outside(
        quantity="Pond 20 x 10 m, 1.5 m deep, 3:1",
        expected=543.0,
        got=earthworks.pond_volume_m3(
            bottom_length_m=20, bottom_width_m=10, depth_m=1.5, side_slope=3
        ),
        tolerance=1e-9,
        unit="m³",
        source="E3, exact; equals the prismoidal rule (A)",
    )


def test_clay_bulking(outside):
    loose = earthworks.loose_volume_m3(bank_m3=100, soil=soils.SOILS["clay"])
    outside(
        quantity="100 m³ of clay dug, lowest factor",
        expected=130,
        got=loose.low,
        tolerance=1e-9,
        unit="m³",
        source="earth handling note of 2022, low-plasticity clay 1.30 (C)",
    )
    outside(
        quantity="100 m³ of clay dug, highest factor",
        expected=143,
        got=loose.high,
        tolerance=1e-9,
        unit="m³",
        source="FM 5-434 table 1-1 (M)",
    )


def test_timber(outside):
    outside(
        quantity="VOL-1 Huber, 10 m, 0.30 m at the middle",
        expected=0.7069,
        got=timber.huber_m3(length_m=10, middle_diameter_m=0.30),
        tolerance=1e-4,
        unit="m³",
        source='council notice of the felling rule: "just over 0.7 m3" (C)',
    )
    outside(
        quantity="VOL-2 Huber, 10 m, 0.40 m at the middle",
        expected=1.256,
        got=timber.huber_m3(length_m=10, middle_diameter_m=0.40),
        tolerance=1e-3,
        unit="m³",
        source="printed with 0.785 for pi/4 (C)",
    )
    outside(
        quantity="VOL-3 Smalian, 5 m, 0.25 and 0.29 m",
        expected=0.287848,
        got=timber.smalian_m3(length_m=5, butt_diameter_m=0.29, top_diameter_m=0.25),
        tolerance=1e-6,
        unit="m³",
        source="University of Missouri log volume functions (C)",
    )
    cubic_feet = timber.smalian_m3(
        length_m=16 * FT, butt_diameter_m=12 * IN, top_diameter_m=10 * IN
    )
    outside(
        quantity="VOL-3 Smalian, 16 ft, 10 and 12 in",
        expected=10.647,
        got=cubic_feet / FT**3,
        tolerance=1e-3,
        unit="ft³",
        source="University of Missouri log volume functions (C)",
    )
    outside(
        quantity="VOL-4 Smalian, 6 m, 0.20 and 0.12 m",
        expected=0.128,
        got=timber.smalian_m3(length_m=6, butt_diameter_m=0.20, top_diameter_m=0.12),
        tolerance=5e-4,
        unit="m³",
        source="printed example (C)",
    )
    outside(
        quantity="VOL-3 Newton with 0.27 m at the middle equals the cone",
        expected=0.286801,
        got=timber.newton_m3(
            length_m=5, butt_diameter_m=0.29, middle_diameter_m=0.27, top_diameter_m=0.25
        ),
        tolerance=1e-6,
        unit="m³",
        source="University of Missouri log volume functions, cone (C)",
    )


def test_three_point_sum(outside):
    closed_form = "RISK-1, closed form, reproduced by a million draws"
    for rho, sd in ((0.0, 5.7927), (0.25, 7.6746), (0.30, 7.9980), (1.0, 11.6160)):
        total = sum_ranges(RISK_1, shape=Shape.TRIANGULAR, correlation=rho)
        outside(
            quantity=f"Five triangular items, sd at rho {rho:g}",
            expected=sd,
            got=total.sd,
            tolerance=1e-4,
            source=closed_form,
        )
    total = sum_ranges(RISK_1, shape=Shape.TRIANGULAR, correlation=0.25)
    outside(
        quantity="Five triangular items, mean",
        expected=108.3333,
        got=total.mean,
        tolerance=1e-4,
        source=closed_form,
    )
    outside(
        quantity="Five triangular items, 8 in 10 (normal approximation)",
        expected=114.792,
        got=total.not_exceeded(0.80),
        tolerance=1e-3,
        source=closed_form,
    )
    outside(
        quantity="Chance that the sum of likely figures is enough",
        expected=0.141,
        got=total.chance_within(total.corners.likely),
        tolerance=0.005,
        source="RISK-1 simulated (0.141); the point of Book, Crosslink, winter 2001 (C)",
    )
    pert = sum_ranges(RISK_1, shape=Shape.BETA_PERT, correlation=0.0)
    outside(
        quantity="RISK-5 beta-PERT items, mean",
        expected=104.1667,
        got=pert.mean,
        tolerance=1e-4,
        source="closed form",
    )
    outside(
        quantity="RISK-5 beta-PERT items, sd",
        expected=4.9228,
        got=pert.sd,
        tolerance=1e-4,
        source="closed form, reproduced by simulation (4.917)",
    )


def test_triangular_against_scipy(outside):
    from scipy.stats import triang

    for point in RISK_1:
        width = point.high - point.low
        law = triang((point.likely - point.low) / width, loc=point.low, scale=width)
        mean, sd = mean_and_sd(point, Shape.TRIANGULAR)
        label = f"Triangular {point.low:g}, {point.likely:g}, {point.high:g}"
        outside(
            quantity=f"{label}, mean",
            expected=float(law.mean()),
            got=mean,
            tolerance=1e-9,
            source="scipy.stats.triang",
        )
        outside(
            quantity=f"{label}, sd",
            expected=sqrt(float(law.var())),
            got=sd,
            tolerance=1e-9,
            source="scipy.stats.triang",
        )


def test_understated_spread(outside):
    for count, share in ((10, 0.445), (30, 0.652), (100, 0.803)):
        outside(
            quantity=f"RISK-2 spread understated, {count} items, rho 0.25",
            expected=share,
            got=understated_spread(count=count, correlation=0.25),
            tolerance=5e-4,
            source="closed form; also checked against the sum",
        )
        items = [ThreePoint(0, 1, 2)] * count
        free = sum_ranges(items, correlation=0.0).sd
        tied = sum_ranges(items, correlation=0.25).sd
        assert abs(1 - free / tied - share) < 5e-4


def test_labour_man_days(outside):
    manual = "US Navy training manual NAVEDTRA 14045/14233, planning and estimating"
    days = labour.man_days(quantity=16_000, unit_size=1_000, man_hours_per_unit=33)
    outside(
        quantity="LAB-1 man-days, 16,000 sq ft at 33 h per 1,000",
        expected=66,
        got=days,
        tolerance=1e-9,
        source=f"{manual} (C, printed)",
    )
    outside(
        quantity="LAB-2 duration of 66 man-days, crew of 4",
        expected=19.556,
        got=labour.duration_days(man_days=days, crew=4, availability=0.75, workday_h=9),
        tolerance=1e-3,
        source=f"{manual} (formula C, figures by hand)",
    )
    outside(
        quantity="LAB-3 capability, 10 men, 40 days of 9 h",
        expected=337.5,
        got=labour.capability_man_days(crew=10, days=40, availability=0.75, workday_h=9),
        tolerance=1e-9,
        source=f"{manual} (formula C, figures by hand)",
    )
