"""The rational method against published examples."""

from __future__ import annotations

import pytest

from worksprog.calc.pipes import full_bore_flow_m3s
from worksprog.calc.rainfall import WetSpell, rational_flow_m3s


@pytest.mark.parametrize(
    ("coefficient", "intensity", "area", "expected", "tolerance", "source"),
    [
        (0.235, 48, 17.55, 0.55, 0.01, "FHWA HEC-22 3rd ed., example 3-3, existing (C2)"),
        (0.315, 58, 17.55, 0.89, 0.01, "FHWA HEC-22 3rd ed., example 3-3, developed (C2)"),
        (0.65, 80, 5, 0.722222, 1e-5, "arithmetic (A)"),
    ],
)
def test_rational(outside, coefficient, intensity, area, expected, tolerance, source):
    outside(
        quantity=f"Rational method, C {coefficient}, i {intensity} mm/h, {area} ha: peak flow",
        expected=expected,
        got=rational_flow_m3s(
            runoff_coefficient=coefficient, intensity_mm_h=intensity, area_ha=area
        ),
        tolerance=tolerance,
        relative=True,
        unit="m3/s",
        source=source,
    )


@pytest.mark.parametrize(
    ("area_ha", "rain_mm", "share", "volume_m3", "hours"),
    [(40, 100, 0.6, 24_000, 85.24), (60, 100, 0.5, 30_000, 106.55), (10, 100, 0.7, 7_000, 24.86)],
)
def test_wet_spell(outside, area_ha, rain_mm, share, volume_m3, hours):
    pipe = full_bore_flow_m3s(diameter_m=0.3, gradient=1 / 200, roughness_m=0.0006)
    spell = WetSpell(rain_mm, 4.5, area_ha * share, pipe)
    what = f"Wet spell, {rain_mm} mm on {area_ha} ha, {share} running off"
    outside(
        quantity=f"{what}: water",
        expected=volume_m3,
        got=spell.volume_m3,
        tolerance=1e-9,
        relative=True,
        unit="m3",
        source="1 mm on 1 ha is 10 m3 (A)",
    )
    outside(
        quantity=f"{what}: hours of a full 300 mm pipe at 1 in 200",
        expected=hours,
        got=spell.hours_running_full,
        tolerance=1e-3,
        relative=True,
        unit="h",
        source="volume over 78.21 l/s (A)",
    )


def test_a_300_mm_pipe_keeps_pace_with_thirty_hectares(outside):
    """Over 100 mm in four to five days is a real test of a drain (common practice, no source)."""
    pipe = full_bore_flow_m3s(diameter_m=0.3, gradient=1 / 200, roughness_m=0.0006)
    outside(
        quantity="100 mm in 4.5 days, all of it: hectares a 300 mm pipe at 1 in 200 keeps pace with",
        expected=30.4,
        got=pipe / WetSpell(100, 4.5, 1.0, pipe).mean_flow_m3s,
        tolerance=0.05,
        unit="ha",
        source="78.21 l/s over 2.572 l/s a hectare (A)",
    )
    assert WetSpell(100, 4.5, 30, pipe).keeps_pace
    assert not WetSpell(100, 4.5, 31, pipe).keeps_pace
