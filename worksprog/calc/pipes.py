"""Pipes: what a circular drain carries, running full and part full.

Everything here takes the true INSIDE diameter. A pipe sold by its outside diameter is up to a
sixth smaller inside and carries up to three tenths less (BS EN 13476-1 foreword: specify DN/ID).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from worksprog.calc.roots import Floats, one, rising_root
from worksprog.calc.working import Step, Working

GRAVITY_MS2 = 9.81
VISCOSITY_15C_M2S = 1.141e-6  # water at 15 °C; handbooks agree to the third figure
TURBULENT_REYNOLDS = 4000.0
# The two maxima of a circular pipe running part full (Manning, n constant): analytic.
DEPTH_RATIO_AT_MOST_FLOW = 0.938181
MOST_FLOW_RATIO = 1.0757
# Usual nominal bores: common practice, no source. The true inside of a bought pipe may be less.
USUAL_BORES_MM = (100, 150, 225, 300, 375, 450, 525, 600, 750, 900)
# Of the bore, for a pipe whose outside is not known: twin-wall pipes, no source.
WALL_SHARE = 0.07
SOURCE_COLEBROOK = "Colebrook–White, closed form for a pipe running full (Colebrook 1939)"
SOURCE_PART_FULL = "geometry of the circle with Manning's formula, n constant"


@dataclass(frozen=True)
class PipeSection:
    """A circular pipe: inside diameter (m) and equivalent sand roughness ks (m)."""

    diameter_m: float
    roughness_m: float = 0.0006

    def __post_init__(self) -> None:
        check_diameter(self.diameter_m)
        check_roughness(self.roughness_m, self.diameter_m)

    @property
    def area_m2(self) -> float:
        return math.pi * self.diameter_m**2 / 4

    def words(self) -> str:
        return f"{self.diameter_m * 1000:.0f} mm pipe"


@dataclass(frozen=True)
class PartFull:
    """Ratios to the same pipe running full, at a depth y in a diameter D."""

    depth_ratio: float
    area_ratio: float
    radius_ratio: float
    velocity_ratio: float
    flow_ratio: float


@dataclass(frozen=True)
class PartFullFlow:
    """Depth and velocity of a given flow in a pipe that is not full."""

    depth_m: float
    depth_ratio: float
    velocity_ms: float


def check_diameter(diameter_m: float) -> None:
    """Refuse what cannot be an inside diameter in metres (ValueError)."""
    if not math.isfinite(diameter_m) or diameter_m <= 0:
        raise ValueError(f"An inside diameter must be more than 0 m; {diameter_m} was given.")
    if diameter_m > 5:
        raise ValueError(
            f"An inside diameter of {diameter_m:g} m looks like millimetres: 300 mm is 0.3."
        )


def check_roughness(roughness_m: float, diameter_m: float) -> None:
    """Refuse a roughness in millimetres, or one as big as the pipe (ValueError)."""
    if not math.isfinite(roughness_m) or roughness_m < 0:
        raise ValueError(f"Roughness ks cannot be {roughness_m}: metres, 0 or more.")
    if roughness_m > 0.01 or roughness_m >= diameter_m / 10:
        raise ValueError(
            f"Roughness ks {roughness_m:g} m is too great for a pipe of {diameter_m:g} m. "
            "It is in metres: 0.6 mm is 0.0006."
        )


def check_gradient(gradient: float) -> None:
    """Refuse flat, uphill and inverted gradients (ValueError); 1 in 200 is 0.005."""
    if not math.isfinite(gradient):
        raise ValueError(f"A gradient must be a number of metres per metre, not {gradient}.")
    if gradient <= 0:
        raise ValueError(
            f"A gradient of {gradient:g} does not fall: there is no capacity to compute "
            "for a flat or uphill drain."
        )
    if gradient > 1:
        raise ValueError(
            f"A gradient of {gradient:g} is steeper than 1 in 1. It is metres per metre: "
            "1 in 200 is 0.005."
        )


def full_bore_velocities(
    diameter_m: Floats,
    gradient: Floats,
    roughness_m: Floats,
    viscosity_m2s: float = VISCOSITY_15C_M2S,
) -> Floats:
    """Colebrook–White for whole arrays, unguarded: the caller has checked the values.

    V = −2 √(2gDS) · log₁₀( ks/(3.7 D) + 2.51 ν/(D √(2gDS)) )
    V m/s; D inside diameter m; S gradient m/m; ks m; ν m²/s.
    """
    root = np.sqrt(2 * GRAVITY_MS2 * diameter_m * gradient)
    inside = roughness_m / (3.7 * diameter_m) + 2.51 * viscosity_m2s / (diameter_m * root)
    velocity: Floats = -2 * root * np.log10(inside)
    return velocity


def full_bore_velocity_ms(
    *,
    diameter_m: float,
    gradient: float,
    roughness_m: float,
    viscosity_m2s: float = VISCOSITY_15C_M2S,
) -> float:
    """Mean velocity (m/s) of a circular pipe running just full under its own gradient.

    Formula as in :func:`full_bore_velocities`. Valid for turbulent flow (Reynolds above 4000) with
    a free outfall: a drowned outfall has a flatter hydraulic gradient than the pipe.
    Raises ValueError for a gradient that does not fall, values in the wrong unit, or flow that is
    not turbulent.
    """
    check_diameter(diameter_m)
    check_roughness(roughness_m, diameter_m)
    check_gradient(gradient)
    if not viscosity_m2s > 0 or viscosity_m2s > 1e-4:
        raise ValueError(f"Viscosity {viscosity_m2s:g} m²/s is not water's (about 1.1e-6).")
    velocity = float(
        full_bore_velocities(one(diameter_m), one(gradient), one(roughness_m), viscosity_m2s)
    )
    reynolds = velocity * diameter_m / viscosity_m2s
    if reynolds < TURBULENT_REYNOLDS:
        raise ValueError(
            f"A {diameter_m * 1000:.0f} mm pipe at 1 in {1 / gradient:.0f} does not run turbulent "
            f"(Reynolds number {reynolds:.0f}, below {TURBULENT_REYNOLDS:.0f}): Colebrook–White "
            "does not hold."
        )
    return velocity


def full_bore_flow_m3s(
    *,
    diameter_m: float,
    gradient: float,
    roughness_m: float,
    viscosity_m2s: float = VISCOSITY_15C_M2S,
) -> float:
    """Capacity Q = V π D²/4 (m³/s) of a pipe running just full; limits as for the velocity."""
    velocity = full_bore_velocity_ms(
        diameter_m=diameter_m,
        gradient=gradient,
        roughness_m=roughness_m,
        viscosity_m2s=viscosity_m2s,
    )
    return velocity * math.pi * diameter_m**2 / 4


def manning_full_velocity_ms(*, diameter_m: float, gradient: float, manning_n: float) -> float:
    """V = (1/n) (D/4)^(2/3) √S for a full circular pipe; SI, n in s/m^(1/3), rough turbulent."""
    check_diameter(diameter_m)
    check_gradient(gradient)
    if not 0.005 <= manning_n <= 0.2:
        raise ValueError(f"Manning's n of {manning_n:g} is outside 0.005 to 0.2.")
    return float((diameter_m / 4) ** (2 / 3) * gradient**0.5 / manning_n)


def part_full_ratios(depth_ratio: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Area, hydraulic radius, velocity and flow over their full-bore values, for y/D in (0, 1].

    θ = 2 acos(1 − 2y/D); A = D²(θ − sin θ)/8; P = Dθ/2; R = A/P; V/Vf = (R/Rf)^(2/3).
    """
    theta = 2 * np.arccos(1 - 2 * depth_ratio)
    area: Floats = (theta - np.sin(theta)) / (2 * math.pi)
    radius: Floats = 1 - np.sin(theta) / theta
    velocity: Floats = radius ** (2 / 3)
    return area, radius, velocity, area * velocity


def part_full(depth_ratio: float) -> PartFull:
    """The ratios at one depth ratio y/D, more than 0 and at most 1 (else ValueError)."""
    if not 0 < depth_ratio <= 1:
        raise ValueError(f"A depth ratio y/D lies between 0 and 1; {depth_ratio} was given.")
    area, radius, velocity, flow = part_full_ratios(one(depth_ratio))
    return PartFull(depth_ratio, float(area), float(radius), float(velocity), float(flow))


def depth_ratios_for_flow(flow_ratio: Floats) -> Floats:
    """The lower depth ratio y/D at which the pipe carries Q/Qf, for Q/Qf in (0, 1.0757].

    Between 0.82 and full a pipe carries the same flow at two depths; the lower one is that of a
    free-running drain, so the search ends at the depth of greatest flow.
    """

    def too_much(depth_ratio: Floats) -> Floats:
        missing: Floats = part_full_ratios(depth_ratio)[3] - flow_ratio
        return missing

    shape = np.shape(flow_ratio)
    return rising_root(too_much, np.full(shape, 1e-9), np.full(shape, DEPTH_RATIO_AT_MOST_FLOW))


def part_full_flow(
    *, flow_m3s: float, full_flow_m3s: float, full_velocity_ms: float, diameter_m: float
) -> PartFullFlow:
    """Depth and velocity at a flow, from the pipe's own full-bore flow and velocity.

    Raises ValueError when the flow is not positive or is more than the pipe can ever carry free
    (1.0757 times its full-bore flow).
    """
    check_diameter(diameter_m)
    if not flow_m3s > 0 or not full_flow_m3s > 0:
        raise ValueError("Both the flow and the full-bore flow must be more than 0.")
    ratio = flow_m3s / full_flow_m3s
    if ratio > MOST_FLOW_RATIO:
        raise ValueError(
            f"The pipe is asked for {ratio:.3f} times its full-bore flow; running free it can "
            f"carry {MOST_FLOW_RATIO} times at most."
        )
    depth_ratio = float(depth_ratios_for_flow(one(ratio)))
    return PartFullFlow(
        depth_m=depth_ratio * diameter_m,
        depth_ratio=depth_ratio,
        velocity_ms=full_velocity_ms * part_full(depth_ratio).velocity_ratio,
    )


def flattest_gradient(
    *,
    diameter_m: float,
    roughness_m: float,
    velocity_ms: float,
    viscosity_m2s: float = VISCOSITY_15C_M2S,
) -> float:
    """The gradient (m/m) at which the pipe, running full, just reaches a velocity (m/s).

    Raises ValueError when no gradient up to 1 in 1 reaches it.
    """
    check_diameter(diameter_m)
    check_roughness(roughness_m, diameter_m)
    if not velocity_ms > 0:
        raise ValueError(f"A velocity must be more than 0 m/s; {velocity_ms} was given.")

    def excess(gradient: float) -> float:
        reached = full_bore_velocities(
            one(diameter_m), one(gradient), one(roughness_m), viscosity_m2s
        )
        return float(reached) - velocity_ms

    if excess(1.0) < 0:
        raise ValueError(f"No gradient up to 1 in 1 gives {velocity_ms:g} m/s in this pipe.")
    return float(brentq(excess, 1e-9, 1.0, xtol=1e-12, rtol=1e-10))


def diameters_for_flow(flow_m3s: Floats, gradient: Floats, roughness_m: Floats) -> Floats:
    """The least inside diameter (m) that carries a flow running just full, up to 5 m."""

    def too_much(diameter_m: Floats) -> Floats:
        velocity = full_bore_velocities(diameter_m, gradient, roughness_m)
        missing: Floats = velocity * math.pi * diameter_m**2 / 4 - flow_m3s
        return missing

    low = np.maximum(np.full(np.shape(flow_m3s), 0.02), 10 * np.asarray(roughness_m))
    return rising_root(too_much, low, np.full(np.shape(flow_m3s), 5.0))


def friction_slopes(diameter_m: Floats, roughness_m: Floats, flow_m3s: Floats) -> Floats:
    """The hydraulic gradient (m/m) that drives each flow through a full pipe; whole arrays.

    Colebrook–White solved for its gradient, up to 10 m in 1 m; 0 for no flow.
    """
    velocity = np.asarray(flow_m3s) / (math.pi * np.asarray(diameter_m) ** 2 / 4)

    def too_much(log_gradient: Floats) -> Floats:
        reached: Floats = full_bore_velocities(diameter_m, np.exp(log_gradient), roughness_m)
        return np.where(np.isfinite(reached), reached, 0.0) - velocity

    shape = np.shape(velocity)
    found = np.exp(rising_root(too_much, np.full(shape, -16.0), np.full(shape, math.log(10.0))))
    return np.where(velocity > 0, found, 0.0)


def friction_slope(*, diameter_m: float, roughness_m: float, flow_m3s: float) -> float:
    """As :func:`friction_slopes` for one pipe; ValueError for a bore or roughness that cannot be."""
    check_diameter(diameter_m)
    check_roughness(roughness_m, diameter_m)
    return float(friction_slopes(one(diameter_m), one(roughness_m), one(flow_m3s)))


def _circle(depth_m: float, diameter_m: float) -> tuple[float, float]:
    """Area (m²) and width of the surface (m) of water in a round pipe."""
    theta = 2 * math.acos(max(-1.0, min(1.0, 1 - 2 * depth_m / diameter_m)))
    return diameter_m**2 * (theta - math.sin(theta)) / 8, diameter_m * math.sin(theta / 2)


def wetted_area_m2(*, diameter_m: float, depth_m: float) -> float:
    """Area (m²) of water in a round pipe; the whole bore where the water stands above it."""
    if depth_m >= diameter_m:
        return math.pi * diameter_m**2 / 4
    return _circle(depth_m, diameter_m)[0]


def critical_depth_m(*, diameter_m: float, flow_m3s: float) -> float:
    """The depth (m) at which Q² T = g A³ in a round pipe; close to the bore for great flows.

    ValueError for a flow that is not above 0.
    """
    check_diameter(diameter_m)
    if not flow_m3s > 0:
        raise ValueError("Critical depth asks for a flow above 0 m³/s.")

    def excess(ratio: float) -> float:
        area, width = _circle(ratio * diameter_m, diameter_m)
        return GRAVITY_MS2 * area**3 - flow_m3s**2 * width

    highest = 1 - 1e-9
    if excess(highest) < 0:
        return diameter_m
    return float(brentq(excess, 1e-6, highest, xtol=1e-12)) * diameter_m


def critical_energy_m(*, diameter_m: float, flow_m3s: float) -> float:
    """Specific energy (m) at critical depth: dc + V²/2g."""
    depth = critical_depth_m(diameter_m=diameter_m, flow_m3s=flow_m3s)
    area, _ = _circle(depth, diameter_m)
    return depth + (flow_m3s / area) ** 2 / (2 * GRAVITY_MS2)


def capacity_working(
    section: PipeSection, gradient: float, viscosity_m2s: float = VISCOSITY_15C_M2S
) -> Working:
    """How the full-bore velocity and capacity of a pipe came about."""
    velocity = full_bore_velocity_ms(
        diameter_m=section.diameter_m,
        gradient=gradient,
        roughness_m=section.roughness_m,
        viscosity_m2s=viscosity_m2s,
    )
    return Working(
        title="Capacity, pipe running full",
        steps=(
            Step("D", "inside diameter", section.diameter_m, "m", source="entered"),
            Step("ks", "roughness", section.roughness_m * 1000, "mm", source="entered"),
            Step("S", "gradient", gradient, "m/m", source="from the levels"),
            Step("ν", "viscosity of water", viscosity_m2s, "m²/s", source="water at 15 °C"),
            Step("g", "gravity", GRAVITY_MS2, "m/s²"),
            Step(
                "V",
                "velocity, running full",
                velocity,
                "m/s",
                formula="V = −2 √(2gDS) · log₁₀( ks/(3.7 D) + 2.51 ν/(D √(2gDS)) ), ks in m",
                source=SOURCE_COLEBROOK,
            ),
            Step("A", "area of the bore", section.area_m2, "m²", formula="A = π D²/4"),
            Step(
                "Qf",
                "capacity, running full",
                velocity * section.area_m2 * 1000,
                "l/s",
                formula="Qf = 1000 · V · A",
            ),
        ),
        notes=(
            "Holds for a free outfall. When the water outside stands over the outfall the pipe "
            "carries less.",
        ),
    )


def velocity_working(
    section: PipeSection, *, flow_m3s: float, full_flow_m3s: float, full_velocity_ms: float
) -> Working:
    """How depth and velocity at a flow came about."""
    at_flow = part_full_flow(
        flow_m3s=flow_m3s,
        full_flow_m3s=full_flow_m3s,
        full_velocity_ms=full_velocity_ms,
        diameter_m=section.diameter_m,
    )
    return Working(
        title="Depth and velocity at this flow",
        steps=(
            Step("Q", "flow", flow_m3s * 1000, "l/s"),
            Step("Qf", "capacity, running full", full_flow_m3s * 1000, "l/s"),
            Step("Q/Qf", "share of capacity", flow_m3s / full_flow_m3s, formula="Q/Qf"),
            Step(
                "y/D",
                "depth over diameter",
                at_flow.depth_ratio,
                formula="θ = 2 acos(1 − 2y/D); A/Af = (θ − sin θ)/2π; R/Rf = 1 − sin θ/θ; "
                "Q/Qf = A/Af · (R/Rf)^⅔, solved for y/D",
                source=SOURCE_PART_FULL,
            ),
            Step("y", "depth of water", at_flow.depth_m * 1000, "mm", formula="y = D · y/D"),
            Step("Vf", "velocity, running full", full_velocity_ms, "m/s"),
            Step(
                "V",
                "velocity at this flow",
                at_flow.velocity_ms,
                "m/s",
                formula="V = Vf · (R/Rf)^⅔",
                source=SOURCE_PART_FULL,
            ),
        ),
    )
