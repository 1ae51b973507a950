"""The rational method against published examples."""

from __future__ import annotations

import pytest

from worksprog.calc.rainfall import rational_flow_m3s


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
