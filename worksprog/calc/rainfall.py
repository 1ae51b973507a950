"""Rainfall to flow: the rational method."""

from __future__ import annotations

import math

SOURCE_RATIONAL = "rational method, Q = C i A / 360 (FHWA HEC-22, section 3.2)"
MOST_CATCHMENT_HA = 80.0  # HEC-22's own limit; a bigger catchment needs a hydrograph


def check_runoff_coefficient(coefficient: float) -> None:
    """Refuse a coefficient that is not a share of the rain (ValueError)."""
    if not 0 < coefficient <= 1:
        raise ValueError(
            f"A runoff coefficient is the share of the rain that runs off, above 0 and at most 1; "
            f"{coefficient} was given."
        )


def check_intensity(intensity_mm_h: float) -> None:
    """Refuse an intensity that is no rain in mm/h (ValueError)."""
    if not math.isfinite(intensity_mm_h) or not 0 < intensity_mm_h <= 400:
        raise ValueError(
            f"A rainfall intensity is in millimetres an hour, above 0 and at most 400; "
            f"{intensity_mm_h} was given."
        )


def check_area(area_ha: float) -> None:
    """Refuse an area that is not hectares (ValueError)."""
    if not math.isfinite(area_ha) or not 0 <= area_ha <= 100_000:
        raise ValueError(f"A catchment is in hectares, 0 or more; {area_ha} was given.")


def rational_flow_m3s(*, runoff_coefficient: float, intensity_mm_h: float, area_ha: float) -> float:
    """Peak flow Q = C i A / 360 (m³/s).

    C share of the rain that runs off; i mm/h over at least the time the water takes to arrive;
    A ha. Valid for small catchments (HEC-22: below about 80 ha). A saturated winter clay runs off
    far more than the tables for moderate storms say.
    Raises ValueError for values out of range.
    """
    check_runoff_coefficient(runoff_coefficient)
    check_intensity(intensity_mm_h)
    check_area(area_ha)
    return runoff_coefficient * intensity_mm_h * area_ha / 360
