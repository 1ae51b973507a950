"""Rainfall to flow: the rational method."""

from __future__ import annotations

import math
from dataclasses import dataclass

from worksprog.calc.working import Step, Working

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


@dataclass(frozen=True)
class WetSpell:
    """Days of rain on a catchment, and the drain that has to pass it.

    A volume check beside the peak: the return period of such a spell is not stated.
    """

    rain_mm: float
    days: float
    runoff_area_ha: float  # sum of C x A
    capacity_m3s: float

    def __post_init__(self) -> None:
        if not 0 < self.rain_mm <= 2000 or not 0 < self.days <= 60:
            raise ValueError("A wet spell has up to 2000 mm of rain in up to 60 days.")
        check_area(self.runoff_area_ha)
        if not self.capacity_m3s > 0:
            raise ValueError("A drain that carries nothing passes no wet spell.")

    @property
    def volume_m3(self) -> float:
        """V = 10 P ΣC·A: 1 mm on 1 ha is 10 m³."""
        return 10 * self.rain_mm * self.runoff_area_ha

    @property
    def mean_flow_m3s(self) -> float:
        return self.volume_m3 / (self.days * 86_400)

    @property
    def hours_running_full(self) -> float:
        """How long the drain runs full to pass it, its outfall free all the while."""
        return self.volume_m3 / self.capacity_m3s / 3600

    @property
    def keeps_pace(self) -> bool:
        return self.mean_flow_m3s <= self.capacity_m3s

    def working(self) -> Working:
        return Working(
            title=f"A wet spell: {self.rain_mm:g} mm in {self.days:g} days",
            steps=(
                Step("P", "rain", self.rain_mm, "mm", source="common practice, no source"),
                Step("T", "lasting", self.days, "days", source="common practice, no source"),
                Step("ΣC·A", "all that runs off to here", self.runoff_area_ha, "ha"),
                Step("V", "water", self.volume_m3, "m³", formula="V = 10 · P · ΣC·A"),
                Step(
                    "q",
                    "mean flow over the spell",
                    self.mean_flow_m3s * 1000,
                    "l/s",
                    formula="q = 1000 · V / (86 400 · T)",
                ),
                Step("Qc", "capacity", self.capacity_m3s * 1000, "l/s"),
                Step(
                    "t",
                    "hours running full to pass it",
                    self.hours_running_full,
                    "h",
                    formula="t = V / (3.6 · Qc)",
                ),
            ),
            notes=("The mean, not the peak; the outfall is taken to be free all the while.",),
        )
