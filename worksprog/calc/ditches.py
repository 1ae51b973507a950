"""Ditches: what a trapezoidal channel carries by Manning's formula (SI).

Q = (1/n) A R^(2/3) √S; A = (b + z y) y; P = b + 2 y √(1 + z²); R = A/P; T = b + 2 z y
b bed width m; z side slope, horizontal per 1 vertical; y depth of water m; S gradient m/m;
n Manning's roughness s/m^(1/3). Steady uniform flow, fully rough, gradients below about 1 in 10.
Source: Chow, Open-Channel Hydraulics, 1959.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from worksprog.calc.pipes import GRAVITY_MS2, check_gradient
from worksprog.calc.roots import Floats, one, rising_root
from worksprog.calc.working import Step, Working

SOURCE_MANNING = "Manning's formula for a trapezoidal channel (Chow 1959)"
DEEPEST_M = 50.0  # bracket for the searches: no ditch is deeper
MOST_FLOW_M3S = 1000.0  # a river: more is a slip of units


@dataclass(frozen=True)
class Lining:
    """What a ditch's bed and banks are, and the velocity (m/s) they stand."""

    words: str
    velocity_ms: float
    source: str


_FORTIER = "Fortier and Scobey 1926, clear water (from memory)"
_TP61 = "SCS-TP-61, as two public codes quote it"
LININGS: dict[str, Lining] = {
    "sandy_loam": Lining("bare sandy loam", 0.53, _FORTIER),
    "firm_loam": Lining("bare firm loam", 0.76, _FORTIER),
    "stiff_clay": Lining("bare stiff clay", 1.14, _FORTIER),
    "grass_weak": Lining("grass mixture on easily eroded soil", 1.22, _TP61),
    "grass": Lining("grass mixture on firm soil", 1.52, _TP61),
    "fescue": Lining("dense tall fescue or meadow grass on firm soil", 2.13, _TP61),
}


@dataclass(frozen=True)
class DitchSection:
    """A trapezoidal ditch.

    ``depth_m`` is bank to bed; ``freeboard_m`` is what stays dry at capacity; ``side_slope`` is
    horizontal per 1 vertical (a 1 in 1.5 batter is 1.5).
    """

    bed_width_m: float
    side_slope: float
    depth_m: float
    manning_n: float = 0.035
    freeboard_m: float = 0.0

    def __post_init__(self) -> None:
        for words, value in (
            ("bed width", self.bed_width_m),
            ("side slope", self.side_slope),
            ("freeboard", self.freeboard_m),
        ):
            if not math.isfinite(value) or value < 0:
                raise ValueError(f"A ditch's {words} cannot be {value}: 0 or more.")
        if self.bed_width_m == 0 and self.side_slope == 0:
            raise ValueError("A ditch with neither a bed nor sloping sides holds no water.")
        if not math.isfinite(self.depth_m) or not 0 < self.depth_m <= 10:
            raise ValueError(f"A ditch's depth must be above 0 and at most 10 m: {self.depth_m}.")
        if self.freeboard_m >= self.depth_m:
            raise ValueError(
                f"A freeboard of {self.freeboard_m:g} m leaves no water in a ditch "
                f"{self.depth_m:g} m deep."
            )
        if self.side_slope > 20:
            raise ValueError(
                f"A side slope of {self.side_slope:g} is flatter than 1 in 20. It is horizontal "
                "per 1 vertical: a 1 in 1.5 batter is 1.5."
            )
        check_manning_n(self.manning_n)

    @property
    def water_depth_m(self) -> float:
        return self.depth_m - self.freeboard_m

    @property
    def top_width_m(self) -> float:
        return self.bed_width_m + 2 * self.side_slope * self.depth_m

    def words(self) -> str:
        return (
            f"ditch {self.bed_width_m:g} m bed, {self.depth_m:g} m deep, "
            f"sides 1 in {self.side_slope:g}"
        )


@dataclass(frozen=True)
class ChannelFlow:
    """Uniform flow at one depth."""

    depth_m: float
    area_m2: float
    wetted_perimeter_m: float
    hydraulic_radius_m: float
    velocity_ms: float
    flow_m3s: float


def check_manning_n(manning_n: float) -> None:
    """Refuse a roughness no channel has (ValueError)."""
    if not 0.008 <= manning_n <= 0.3:
        raise ValueError(
            f"Manning's n of {manning_n:g} is outside 0.008 to 0.3 (a clean earth ditch is about "
            "0.025, a weedy one 0.05 to 0.1)."
        )


def channel_flows(
    bed_width_m: Floats, side_slope: Floats, depth_m: Floats, gradient: Floats, manning_n: Floats
) -> tuple[Floats, Floats]:
    """Velocity (m/s) and flow (m³/s) for whole arrays, unguarded: the caller has checked them."""
    area = (bed_width_m + side_slope * depth_m) * depth_m
    perimeter = bed_width_m + 2 * depth_m * np.sqrt(1 + side_slope**2)
    velocity: Floats = (area / perimeter) ** (2 / 3) * np.sqrt(gradient) / manning_n
    return velocity, velocity * area


def uniform_flow(section: DitchSection, *, gradient: float, depth_m: float) -> ChannelFlow:
    """Uniform flow in the section at a depth of water (m); ValueError when it does not fall."""
    check_gradient(gradient)
    if not 0 < depth_m <= DEEPEST_M:
        raise ValueError(f"A depth of water must be above 0 m; {depth_m} was given.")
    area = (section.bed_width_m + section.side_slope * depth_m) * depth_m
    perimeter = section.bed_width_m + 2 * depth_m * math.sqrt(1 + section.side_slope**2)
    velocity, flow = channel_flows(
        one(section.bed_width_m),
        one(section.side_slope),
        one(depth_m),
        one(gradient),
        one(section.manning_n),
    )
    return ChannelFlow(depth_m, area, perimeter, area / perimeter, float(velocity), float(flow))


def ditch_capacity(section: DitchSection, *, gradient: float) -> ChannelFlow:
    """Uniform flow with the water at the ditch's depth less its freeboard."""
    return uniform_flow(section, gradient=gradient, depth_m=section.water_depth_m)


def normal_depths(
    flow_m3s: Floats,
    bed_width_m: Floats,
    side_slope: Floats,
    gradient: Floats,
    manning_n: Floats,
) -> Floats:
    """The depth of uniform flow (m) at each flow, whole arrays, unguarded."""

    def too_much(depth_m: Floats) -> Floats:
        flow = channel_flows(bed_width_m, side_slope, depth_m, gradient, manning_n)[1]
        missing: Floats = flow - flow_m3s
        return missing

    shape = np.shape(flow_m3s)
    return rising_root(too_much, np.full(shape, 1e-9), np.full(shape, DEEPEST_M))


def normal_depth_m(section: DitchSection, *, flow_m3s: float, gradient: float) -> float:
    """The depth (m) at which the section carries a flow uniformly, whatever its banks."""
    check_gradient(gradient)
    if not 0 < flow_m3s < MOST_FLOW_M3S:
        raise ValueError(f"A ditch's flow must be above 0 m³/s (l/s given?): {flow_m3s}.")
    return float(
        normal_depths(
            one(flow_m3s),
            one(section.bed_width_m),
            one(section.side_slope),
            one(gradient),
            one(section.manning_n),
        )
    )


def critical_depth_m(section: DitchSection, *, flow_m3s: float) -> float:
    """The depth (m) at which Q² T / (g A³) = 1: deeper runs tranquil, shallower shooting."""
    if not 0 < flow_m3s < MOST_FLOW_M3S:
        raise ValueError(f"A ditch's flow must be above 0 m³/s (l/s given?): {flow_m3s}.")

    def too_deep(depth_m: Floats) -> Floats:
        area = (section.bed_width_m + section.side_slope * depth_m) * depth_m
        width = section.bed_width_m + 2 * section.side_slope * depth_m
        excess: Floats = GRAVITY_MS2 * area**3 / width - flow_m3s**2
        return excess

    return float(rising_root(too_deep, one(1e-9), one(DEEPEST_M)))


def froude_numbers(
    velocity_ms: Floats, depth_m: Floats, bed_width_m: Floats, side_slope: Floats
) -> Floats:
    """F = V / √(g A/T): below 1 the water runs tranquil, above 1 it shoots. Whole arrays."""
    area = (bed_width_m + side_slope * depth_m) * depth_m
    width = bed_width_m + 2 * side_slope * depth_m
    return np.asarray(velocity_ms / np.sqrt(GRAVITY_MS2 * area / width))


def capacity_working(section: DitchSection, gradient: float) -> Working:
    """How the capacity of a ditch came about."""
    full = ditch_capacity(section, gradient=gradient)
    return Working(
        title="Capacity of the ditch",
        steps=(
            Step("b", "bed width", section.bed_width_m, "m", source="entered"),
            Step("z", "side slope, across per 1 down", section.side_slope, source="entered"),
            Step("d", "depth, bank to bed", section.depth_m, "m", source="entered"),
            Step("f", "freeboard, kept dry", section.freeboard_m, "m", source="entered"),
            Step("n", "Manning's roughness", section.manning_n, "s/m^⅓", source="entered"),
            Step("S", "gradient", gradient, "m/m", source="from the levels"),
            Step("y", "depth of water", full.depth_m, "m", formula="y = d − f"),
            Step("A", "area of water", full.area_m2, "m²", formula="A = (b + z y) y"),
            Step(
                "P",
                "wetted perimeter",
                full.wetted_perimeter_m,
                "m",
                formula="P = b + 2 y √(1 + z²)",
            ),
            Step("R", "hydraulic radius", full.hydraulic_radius_m, "m", formula="R = A/P"),
            Step(
                "V",
                "velocity at that depth",
                full.velocity_ms,
                "m/s",
                formula="V = (1/n) R^⅔ √S",
                source=SOURCE_MANNING,
            ),
            Step("Qc", "capacity", full.flow_m3s * 1000, "l/s", formula="Qc = 1000 · V · A"),
        ),
        notes=("Weed roughens a ditch: n of 0.08 in place of 0.035 takes more than half of it.",),
    )


def velocity_working(section: DitchSection, *, flow_m3s: float, gradient: float) -> Working:
    """How depth and velocity at a flow came about."""
    depth = normal_depth_m(section, flow_m3s=flow_m3s, gradient=gradient)
    at_flow = uniform_flow(section, gradient=gradient, depth_m=depth)
    critical = critical_depth_m(section, flow_m3s=flow_m3s)
    return Working(
        title="Depth and velocity at this flow",
        steps=(
            Step("Q", "flow", flow_m3s * 1000, "l/s"),
            Step(
                "y",
                "depth of water",
                depth,
                "m",
                formula="(1/n) A R^⅔ √S = Q, solved for y",
                source=SOURCE_MANNING,
            ),
            Step(
                "yc",
                "critical depth",
                critical,
                "m",
                formula="Q² T/(g A³) = 1, solved for y",
                source="Chow 1959",
            ),
            Step("A", "area of water", at_flow.area_m2, "m²", formula="A = (b + z y) y"),
            Step("V", "velocity at this flow", at_flow.velocity_ms, "m/s", formula="V = Q/A"),
        ),
        notes=(
            "Deeper than critical: the water runs tranquil."
            if depth > critical
            else "Shallower than critical: the water shoots and will cut an earth bed.",
        ),
    )
