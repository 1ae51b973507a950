"""How far apart laterals may lie: Hooghoudt with equivalent depth, and what they then bring."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from worksprog.calc.roots import Floats, one, rising_root
from worksprog.calc.working import Step, Working

SOURCE_HOOGHOUDT = "Hooghoudt's steady-state drain equation (formula confirmed in public texts)"
SOURCE_SERIES = "van der Molen and Wesseling's series for the equivalent depth (from memory)"
SOURCE_MOODY = "Moody's approximation of the equivalent depth (from memory)"
FURTHEST_M = 500.0
TERMS = 99  # odd terms of the series; they die away as exp(-2 n x)
SLOW_CLAY_M_D = 0.05  # below this Hooghoudt's spacings are closer than anybody lays drains

EquivalentBy = Literal["series", "moody"]


@dataclass(frozen=True)
class WetGround:
    """The soil, the water to be led away, and where the drains lie in it.

    k_above_m_d      conductivity of the soil above the drains, m/d (0 when nothing flows there)
    k_below_m_d      below them, m/d
    barrier_m        depth from the drains down to what lets no water through, m (0: they lie on it)
    radius_m         of the drain as the water meets it, m
    water_above_m    how high the water table may stand above the drains half way between, m
    rate_mm_d        water to be led away, mm/d

    ValueError names the figure that cannot be.
    """

    k_above_m_d: float
    k_below_m_d: float
    barrier_m: float
    radius_m: float
    water_above_m: float
    rate_mm_d: float

    def __post_init__(self) -> None:
        for words, value, least, most in (
            ("A conductivity above the drains", self.k_above_m_d, 0.0, 1_000.0),
            ("A conductivity below the drains", self.k_below_m_d, 0.0, 1_000.0),
            ("A depth from drains to barrier", self.barrier_m, 0.0, 100.0),
            ("A drain radius", self.radius_m, 0.005, 1.0),
            ("A height of water above the drains", self.water_above_m, 0.01, 5.0),
            ("A drainage rate", self.rate_mm_d, 0.1, 500.0),
        ):
            if not math.isfinite(value) or not least <= value <= most:
                unit = "m/d" if "conduct" in words else "mm/d" if "rate" in words else "m"
                raise ValueError(f"{words} lies from {least:g} to {most:g} {unit}; not {value:g}.")
        if not self.k_above_m_d and not (self.k_below_m_d and self.barrier_m):
            raise ValueError(
                "No soil that lets water through was given, above or below the drains."
            )


def equivalent_depths_m(
    spacing_m: Floats, *, barrier_m: float, radius_m: float, by: EquivalentBy = "series"
) -> Floats:
    """Hooghoudt's equivalent depth d (m) at drain spacings (m), whole arrays at a time.

    Series: d = (π L / 8) / (ln(L / π r) + F), F = Σ 4 e^(-2nx) / (n (1 - e^(-2nx))) over odd n,
    x = 2 π D / L. Moody: D / (1 + (D/L)(8/π ln(D/r) - 3.4)) up to D/L 0.3, beyond it
    π L / (8 (ln(L/r) - 1.15)). The two differ by up to about 5 %. Never more than D.
    """
    spacing = np.asarray(spacing_m, dtype=np.float64)
    if barrier_m <= 0:
        return np.zeros_like(spacing)
    if by == "moody":
        ratio = barrier_m / spacing
        near = barrier_m / (1 + ratio * (8 / math.pi * math.log(barrier_m / radius_m) - 3.4))
        deep = math.pi * spacing / (8 * (np.log(spacing / radius_m) - 1.15))
        found = np.where(ratio <= 0.3, near, deep)
    else:
        odd = np.arange(1, 2 * TERMS, 2)
        decay = np.exp(-2 * odd * (2 * math.pi * barrier_m / spacing[..., None]))
        series = (4 * decay / (odd * -np.expm1(np.log(decay.clip(min=1e-300))))).sum(axis=-1)
        found = (math.pi * spacing / 8) / (np.log(spacing / (math.pi * radius_m)) + series)
    return np.asarray(np.clip(found, 0.0, barrier_m))


def hooghoudt_spacing_m(ground: WetGround, *, by: EquivalentBy = "series") -> float:
    """The furthest spacing L (m) at which the water table keeps down to its height half way.

    L² = (8 Kb d h + 4 Ka h²) / q, with d depending on L. Valid for steady rain on even, permeable
    ground over a barrier; it says nothing of water that cannot get down to the drain.
    ValueError when the spacing comes out below ten drain radii or above 500 m.
    """
    rate_m_d = ground.rate_mm_d / 1000

    def beyond(spacing: Floats) -> Floats:
        depth = equivalent_depths_m(
            spacing, barrier_m=ground.barrier_m, radius_m=ground.radius_m, by=by
        )
        carried = 8 * ground.k_below_m_d * depth * ground.water_above_m
        carried = carried + 4 * ground.k_above_m_d * ground.water_above_m**2
        return np.asarray(spacing**2 - carried / rate_m_d)

    closest = one(10 * ground.radius_m)
    if beyond(closest) >= 0:
        raise ValueError(
            f"This soil would need drains closer than {10 * ground.radius_m:.2f} m: no spacing of "
            "pipes drains it. Water has to be caught at the surface."
        )
    if beyond(one(FURTHEST_M)) < 0:
        raise ValueError(
            f"The spacing comes out above {FURTHEST_M:.0f} m: this ground hardly needs laterals. "
            "Check the conductivities (metres a day)."
        )
    return float(rising_root(beyond, closest, one(FURTHEST_M)))


def ellipse_spacing_m(*, k_m_d: float, rate_mm_d: float, drain_m: float, water_m: float) -> float:
    """S = √(4 K (b² - a²) / q): spacing by the ellipse, which leaves out radial flow.

    drain_m (a), water_m (b)  heights above the barrier of the drain and of the water half way
    Never closer than Hooghoudt for the same ground. Source: the USDA ellipse equation, NEH 650
    chapter 14 (pages not readable). ValueError unless 0 ≤ a < b and K, q > 0.
    """
    if not (0 <= drain_m < water_m and k_m_d > 0 and rate_mm_d > 0):
        raise ValueError(
            "The ellipse asks for a water table above the drain, and K and q above 0; "
            f"a {drain_m:g} m, b {water_m:g} m, K {k_m_d:g} m/d, q {rate_mm_d:g} mm/d were given."
        )
    return math.sqrt(4 * k_m_d * (water_m**2 - drain_m**2) / (rate_mm_d / 1000))


def drain_flow_m3s(*, rate_mm_d: float, area_m2: float) -> float:
    """What an area brings to its drains at a steady rate: q A (7 mm/d on 1 ha is 0.81 l/s)."""
    return rate_mm_d / 1000 / 86_400 * area_m2


@dataclass(frozen=True)
class Backfill:
    """Permeable backfill over a lateral, for one metre of it.

    volume_m3_m  trench width × height of the backfill, less the pipe
    passes_mm_h  rain on the strip between two laterals that the backfill lets down, with the
                 water standing no deeper than its top (Darcy's law at unit gradient)
    """

    volume_m3_m: float
    mass_t_m: float
    passes_mm_h: float


def backfill_for(
    *,
    width_m: float,
    height_m: float,
    outside_diameter_m: float,
    density_t_m3: float,
    spacing_m: float,
    conductivity_m_d: float,
) -> Backfill:
    """Stone for one metre of lateral, and the rain it lets down.

    V = w h - π OD² / 4; q = K w / L. ValueError when the pipe does not fit the trench.
    """
    if not (0 < outside_diameter_m < width_m and outside_diameter_m < height_m):
        raise ValueError(
            f"A pipe of {outside_diameter_m * 1000:.0f} mm outside does not fit a backfill "
            f"{width_m * 1000:.0f} mm wide and {height_m * 1000:.0f} mm high."
        )
    volume = width_m * height_m - math.pi * outside_diameter_m**2 / 4
    return Backfill(
        volume_m3_m=volume,
        mass_t_m=volume * density_t_m3,
        passes_mm_h=conductivity_m_d * 1000 / 24 * width_m / spacing_m,
    )


def spacing_working(ground: WetGround) -> Working:
    """How the spacing came about, with the other published equivalent depth beside it."""
    spacing = hooghoudt_spacing_m(ground)
    depth = float(
        equivalent_depths_m(one(spacing), barrier_m=ground.barrier_m, radius_m=ground.radius_m)
    )
    other = hooghoudt_spacing_m(ground, by="moody")
    notes = [
        "It holds for steady rain on even ground that lets water down to the drains. Measure the "
        "conductivity in auger holes; a figure from a book may be ten times out."
    ]
    if max(ground.k_above_m_d, ground.k_below_m_d) < SLOW_CLAY_M_D:
        notes.append(
            "In clay as slow as this the soil itself passes almost nothing: the trench with its "
            "permeable backfill up to the surface, and slits across it, do the work (common "
            "practice, no source)."
        )
    return Working(
        title="Spacing of the laterals",
        steps=(
            Step(
                "Ka", "conductivity above the drains", ground.k_above_m_d, "m/d", source="entered"
            ),
            Step("Kb", "conductivity below them", ground.k_below_m_d, "m/d", source="entered"),
            Step("D", "drains down to the barrier", ground.barrier_m, "m", source="entered"),
            Step("r", "drain radius", ground.radius_m, "m", source="entered"),
            Step("h", "water above the drains, half way", ground.water_above_m, "m"),
            Step("q", "water to be led away", ground.rate_mm_d, "mm/d", source="entered"),
            Step("d", "equivalent depth at this spacing", depth, "m", source=SOURCE_SERIES),
            Step(
                "L",
                "furthest spacing",
                spacing,
                "m",
                formula="L² = (8 Kb d h + 4 Ka h²) / q",
                source=SOURCE_HOOGHOUDT,
            ),
            Step("", "the same by Moody's equivalent depth", other, "m", source=SOURCE_MOODY),
        ),
        notes=tuple(notes),
    )
