"""What runs off: coefficients by surface and soil, the curve number, the greenfield rate."""

from __future__ import annotations

import math
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from worksprog.calc.rainfall.rational import check_area
from worksprog.calc.working import Step, Working

SOURCE_COEFFICIENTS = "FHWA HEC-22, table 3-1"
SOURCE_CURVE_NUMBER = "SCS curve number, TR-55 chapter 2"
SOURCE_IH124 = "IH Report 124 (1994), formula from memory"
SOURCE_50_HA = "Interim Code of Practice for SuDS, chapter 6 (quoted second-hand)"
SOURCE_GROWTH = "growth curves of FSSR 14 (from memory)"

SOIL_BY_CLASS = MappingProxyType({1: 0.15, 2: 0.30, 3: 0.40, 4: 0.45, 5: 0.50})
SOIL_WORDS = MappingProxyType(
    {
        1: "1, well drained sands and chalk",
        2: "2, light loams",
        3: "3, between light and heavy",
        4: "4, clayey, slow to drain",
        5: "5, wet uplands and peat",
    }
)
GROWTH_100 = MappingProxyType(
    {
        "1": 2.48,
        "2": 2.63,
        "3": 2.08,
        "4": 2.57,
        "5": 3.56,
        "6/7": 3.19,
        "8": 2.42,
        "9": 2.18,
        "10": 2.08,
    }
)
GROWTH_10 = MappingProxyType({"4": 1.49, "5": 1.65, "6/7": 1.62})
GROWTH_1 = 0.85
PRO_RATA_BELOW_HA = 50.0
GREENFIELD_MOST_HA = 2500.0


@dataclass(frozen=True)
class Surface:
    """Range of the rational method's coefficient for one surface."""

    name: str
    soil: str
    slope: str
    low: float
    high: float
    source: str = SOURCE_COEFFICIENTS


SURFACES: tuple[Surface, ...] = (
    Surface("grass", "heavy", "below 2 %", 0.13, 0.17),
    Surface("grass", "heavy", "2 to 7 %", 0.18, 0.22),
    Surface("grass", "heavy", "above 7 %", 0.25, 0.35),
    Surface("grass", "sandy", "below 2 %", 0.05, 0.10),
    Surface("grass", "sandy", "2 to 7 %", 0.10, 0.15),
    Surface("grass", "sandy", "above 7 %", 0.15, 0.20),
    Surface("parkland", "any", "any", 0.10, 0.25, "a second public table of coefficients"),
    Surface("pasture", "heavy", "any", 0.15, 0.45, "table of a university course, from memory"),
    Surface("asphalt", "any", "any", 0.70, 0.95),
    Surface(
        "grass, soaked in winter",
        "slow, class 4 and 5",
        "any",
        0.45,
        0.50,
        "standard percentage run-off of SOIL class 4 and 5, quoted second-hand",
    ),
)


def curve_number_runoff_mm(rain_mm: ArrayLike, curve_number: float) -> NDArray[np.float64]:
    """Q = (P - 0.2 S)² / (P + 0.8 S), S = 25400/CN - 254 (mm); 0 up to P = 0.2 S.

    P is the rain of the whole storm so far. For a storm through time give the running sum and take
    differences: hour by hour the first loss would be taken again each hour.
    ValueError for a curve number outside 30 to 100 or rain below 0.
    """
    if not 30 <= curve_number <= 100:
        raise ValueError(f"A curve number lies between 30 and 100; {curve_number:g} was given.")
    rain = np.asarray(rain_mm, dtype=np.float64)
    if not np.isfinite(rain).all() or (rain < 0).any():
        raise ValueError("Rain is 0 mm or more.")
    store = 25400 / curve_number - 254
    above = np.clip(rain - 0.2 * store, 0, None)
    return np.asarray(np.where(above > 0, above**2 / (rain + 0.8 * store + 1e-300), 0.0))


def curve_number_working(rain_mm: float, curve_number: float) -> Working:
    runoff = float(curve_number_runoff_mm(rain_mm, curve_number))
    store = 25400 / curve_number - 254
    return Working(
        f"Run-off of {rain_mm:g} mm by curve number {curve_number:g}",
        (
            Step("P", "rain of the whole storm", rain_mm, "mm"),
            Step("CN", "curve number", curve_number),
            Step("S", "most the ground can hold back", store, "mm", "S = 25400/CN - 254"),
            Step("Ia", "held back before anything runs", 0.2 * store, "mm", "Ia = 0.2 · S"),
            Step(
                "Q", "runs off", runoff, "mm", "Q = (P - 0.2 S)² / (P + 0.8 S)", SOURCE_CURVE_NUMBER
            ),
            Step("", "share of the rain", runoff / rain_mm if rain_mm else 0.0, "", "Q / P"),
        ),
        (
            "Curve numbers were found on fields of the United States; soaked ground needs a higher one.",
        ),
    )


@dataclass(frozen=True)
class Greenfield:
    """The mean annual flood of the ground before anything was built, as the rate that may leave it.

    area_ha   what drains to the outfall; up to 2,500 ha (25 km², the most it was found for)
    saar_mm   average annual rain 1941-70; that of 1961-90 is practically the same
    soil      0.15, 0.30, 0.40, 0.45 or 0.50 for class 1 to 5, or a mean of them
    region    hydrological region of the growth curve; "" for none
    ValueError for values it was not found for.
    """

    area_ha: float
    saar_mm: float
    soil: float
    region: str = ""

    def __post_init__(self) -> None:
        check_area(self.area_ha)
        if not 0 < self.area_ha <= GREENFIELD_MOST_HA:
            raise ValueError(
                f"The greenfield rate was found for catchments up to {GREENFIELD_MOST_HA:,.0f} ha; "
                f"{self.area_ha:g} ha was given."
            )
        if not math.isfinite(self.saar_mm) or not 400 <= self.saar_mm <= 4000:
            hint = " Is it in inches?" if 10 <= self.saar_mm < 160 else ""
            raise ValueError(
                f"Average annual rain is 400 to 4,000 mm; {self.saar_mm:g} was given.{hint}"
            )
        if not 0.10 <= self.soil <= 0.53:
            raise ValueError(f"SOIL lies between 0.10 and 0.53; {self.soil:g} was given.")
        if self.region and self.region not in GROWTH_100:
            raise ValueError(f"There is no hydrological region {self.region}.")

    @property
    def is_pro_rata(self) -> bool:
        return self.area_ha < PRO_RATA_BELOW_HA

    @property
    def qbar_m3s(self) -> float:
        """QBAR = 0.00108 AREA^0.89 SAAR^1.17 SOIL^2.17 (km², mm); below 50 ha by share of 50 ha."""
        area_km2 = max(self.area_ha, PRO_RATA_BELOW_HA) / 100
        whole: float = 0.00108 * area_km2**0.89 * self.saar_mm**1.17 * self.soil**2.17
        return whole * min(1.0, self.area_ha / PRO_RATA_BELOW_HA)

    @property
    def l_s_ha(self) -> float:
        return self.qbar_m3s * 1000 / self.area_ha

    def rates_m3s(self) -> tuple[tuple[int, float, float], ...]:
        """Return period (years), growth factor and flow (m³/s), where the factors are known."""
        if not self.region:
            return ()
        factors = [(1, GROWTH_1)]
        if self.region in GROWTH_10:
            factors.append((10, GROWTH_10[self.region]))
        factors.append((100, GROWTH_100[self.region]))
        return tuple((years, factor, factor * self.qbar_m3s) for years, factor in factors)

    def working(self) -> Working:
        steps = [
            Step("A", "area that drains to the outfall", self.area_ha, "ha"),
            Step("SAAR", "average annual rain", self.saar_mm, "mm"),
            Step("SOIL", "index of the soil's class", self.soil),
            Step(
                "AREA",
                "area put into the formula",
                max(self.area_ha, PRO_RATA_BELOW_HA) / 100,
                "km²",
            ),
        ]
        formula = "QBAR = 0.00108 · AREA^0.89 · SAAR^1.17 · SOIL^2.17"
        if self.is_pro_rata:
            whole = Greenfield(PRO_RATA_BELOW_HA, self.saar_mm, self.soil).qbar_m3s
            steps += [
                Step("Q50", "mean annual flood of 50 ha", whole * 1000, "l/s", formula, SOURCE_IH124),
                Step("QBAR", "by share of area", self.qbar_m3s * 1000, "l/s", "QBAR = Q50 · A / 50",
                     SOURCE_50_HA),
            ]  # fmt: skip
        else:
            steps.append(
                Step(
                    "QBAR", "mean annual flood", self.qbar_m3s * 1000, "l/s", formula, SOURCE_IH124
                )
            )
        for years, factor, flow in self.rates_m3s():
            steps.append(
                Step(f"Q{years}", f"1 in {years} years, {factor:g} times QBAR", flow * 1000, "l/s",
                     "factor · QBAR", SOURCE_GROWTH)
            )  # fmt: skip
        steps.append(Step("q", "a hectare", self.l_s_ha, "l/s/ha", "q = QBAR / A"))
        return Working(
            "The greenfield rate",
            tuple(steps),
            (
                "A starting point for what may be let out. The authority that consents to the "
                "outfall decides, and may ask for less.",
            ),
        )
