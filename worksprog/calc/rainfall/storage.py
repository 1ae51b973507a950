"""How much must be held back so that no more than a given rate leaves."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar

from worksprog.calc.rainfall.rational import check_area, check_runoff_coefficient
from worksprog.calc.working import Step, Working

Floats = NDArray[np.float64]
SCAN_STEPS = 1200
SOURCE_STORAGE = "rational method by duration, V = max over D of (C i A/360 - Qo) D"


@dataclass(frozen=True)
class Held:
    """What must be held, and the storm that asks most.

    at_end  the longest storm known asks most, so a longer one may ask more
    """

    volume_m3: float
    duration_min: float
    intensity_mm_h: float
    at_end: bool
    coefficient: float
    area_ha: float
    outflow_m3s: float

    def working(self) -> Working:
        inflow = self.coefficient * self.intensity_mm_h * self.area_ha / 360
        notes = [
            "The outflow is taken to run at its full rate all the while; a pipe or orifice lets "
            "out less while the water is low, which may ask for a quarter more (from memory)."
        ]
        if self.at_end:
            notes.append(
                "The longest storm of the table asks most: a longer one may ask more. Add longer "
                "durations to the table."
            )
        return Working(
            "Water to be held back",
            (
                Step("C", "share that runs off", self.coefficient),
                Step("A", "area", self.area_ha, "ha"),
                Step("Qo", "let out", self.outflow_m3s * 1000, "l/s"),
                Step("D", "storm that asks most", self.duration_min, "min"),
                Step("i", "its mean intensity", self.intensity_mm_h, "mm/h"),
                Step("Qi", "comes in", inflow * 1000, "l/s", "Qi = 1000 · C · i · A / 360"),
                Step("V", "held back", self.volume_m3, "m³", "V = 60 · D · (Qi - Qo) / 1000",
                     SOURCE_STORAGE),
            ),
            tuple(notes),
        )  # fmt: skip


def held_back(
    intensities_mm_h: Callable[[Floats], Floats],
    *,
    coefficient: float,
    area_ha: float,
    outflow_m3s: float,
    shortest_min: float = 5.0,
    longest_min: float = 2880.0,
) -> Held:
    """Greatest excess of inflow over a constant outflow, over storms from shortest to longest.

    ValueError when nothing is let out (then every further minute adds) or a value cannot be.
    """
    check_runoff_coefficient(coefficient)
    check_area(area_ha)
    if not outflow_m3s > 0:
        raise ValueError("Something must be let out: enter a rate above 0.")
    if not 0 < shortest_min < longest_min:
        raise ValueError("Storms from a shorter to a longer duration are needed.")

    def volume(minutes: Floats) -> Floats:
        inflow = coefficient * intensities_mm_h(minutes) * area_ha / 360
        return np.asarray((inflow - outflow_m3s) * minutes * 60)

    tried = np.geomspace(shortest_min, longest_min, SCAN_STEPS)
    volumes = volume(tried)
    best = int(volumes.argmax())
    low, high = tried[max(best - 1, 0)], tried[min(best + 1, SCAN_STEPS - 1)]
    found = minimize_scalar(
        lambda minutes: -float(volume(np.array([minutes]))[0]), bounds=(low, high), method="bounded"
    )
    duration, most = float(found.x), -float(found.fun)
    if volumes[best] >= most:
        duration, most = float(tried[best]), float(volumes[best])
    return Held(
        max(most, 0.0),
        duration,
        float(intensities_mm_h(np.array([duration]))[0]),
        best == SCAN_STEPS - 1,
        coefficient,
        area_ha,
        outflow_m3s,
    )
