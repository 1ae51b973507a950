"""How deep each lateral lies, how it falls, and whether it reaches its carrier and carries its share."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from worksprog.calc import pipes
from worksprog.calc.laterals.layout import Lateral, Layout
from worksprog.calc.laterals.spacing import drain_flow_m3s
from worksprog.calc.working import Step, Working

SAMPLE_M = 2.0
LevelsAt = Callable[[NDArray[np.float64], NDArray[np.float64]], NDArray[np.float64]]


@dataclass(frozen=True)
class DrainWish:
    """The lateral pipe and how it is to lie.

    least_depth_m   invert below ground, everywhere along it
    least_gradient  m/m
    bore_m, roughness_m  inside diameter and ks
    rate_mm_d       water to be led away
    spacing_m       between laterals
    """

    least_depth_m: float
    least_gradient: float
    bore_m: float
    roughness_m: float
    rate_mm_d: float
    spacing_m: float

    def __post_init__(self) -> None:
        if not 0.2 <= self.least_depth_m <= 3:
            raise ValueError(
                f"Laterals lie from 0.2 to 3 m deep; {self.least_depth_m:g} m was given."
            )
        pipes.check_gradient(self.least_gradient)
        pipes.check_diameter(self.bore_m)
        pipes.check_roughness(self.roughness_m, self.bore_m)


@dataclass(frozen=True)
class LateralLevels:
    """One lateral in the ground. None where the ground or the carrier is not known."""

    number: int
    upper_ground_m: float | None
    lower_ground_m: float | None
    upper_invert_m: float | None
    lower_invert_m: float | None
    gradient: float | None
    deepest_m: float | None
    carrier_invert_m: float | None
    flow_m3s: float
    capacity_m3s: float | None
    verdict: str
    is_fault: bool

    @property
    def drop_m(self) -> float | None:
        """Height of its invert above the carrier's where they meet; below 0 it cannot run in."""
        if self.lower_invert_m is None or self.carrier_invert_m is None:
            return None
        return self.lower_invert_m - self.carrier_invert_m

    @property
    def one_in(self) -> float | None:
        return 1 / self.gradient if self.gradient else None


def set_levels(
    layout: Layout,
    wish: DrainWish,
    *,
    levels_at: LevelsAt | None,
    carrier_invert_at: Callable[[float], float | None],
) -> tuple[LateralLevels, ...]:
    """Levels of every lateral: one even fall, nowhere shallower than wished.

    The gradient is the ground's own between the two ends, or the least allowed where that is
    flatter; the line is then lowered until the least depth holds at every 2 m. Flow is the rate
    over spacing × length; capacity by Colebrook-White, full bore.
    levels_at            ground levels (m, NaN where unknown) at arrays of x and y
    carrier_invert_at    invert of the carrier (m) at a chainage along it, None where unknown
    """
    return tuple(_level(lateral, wish, levels_at, carrier_invert_at) for lateral in layout.laterals)


def _level(
    lateral: Lateral,
    wish: DrainWish,
    levels_at: LevelsAt | None,
    carrier_invert_at: Callable[[float], float | None],
) -> LateralLevels:
    carrier = None if lateral.joins_at_m is None else carrier_invert_at(lateral.joins_at_m)
    flow = drain_flow_m3s(rate_mm_d=wish.rate_mm_d, area_m2=wish.spacing_m * lateral.length_m)
    count = max(2, math.ceil(lateral.length_m / SAMPLE_M) + 1)
    share = np.linspace(0.0, 1.0, count)
    (x0, y0), (x1, y1) = lateral.line
    ground = (
        np.full(count, np.nan)
        if levels_at is None
        else np.asarray(levels_at(x0 + share * (x1 - x0), y0 + share * (y1 - y0)))
    )
    if not np.isfinite(ground).all():
        why = "no ground is known along it" if levels_at else "there is no ground model"
        joins = "" if lateral.joins_at_m is not None else "it meets no carrier; "
        return LateralLevels(
            number=lateral.number,
            upper_ground_m=None,
            lower_ground_m=None,
            upper_invert_m=None,
            lower_invert_m=None,
            gradient=None,
            deepest_m=None,
            carrier_invert_m=carrier,
            flow_m3s=flow,
            capacity_m3s=None,
            verdict=f"{joins}its levels cannot be told: {why}",
            is_fault=lateral.joins_at_m is None,
        )
    fall = float(ground[0] - ground[-1]) / lateral.length_m
    gradient = max(fall, wish.least_gradient)
    run = share * lateral.length_m
    upper = float((ground - wish.least_depth_m + gradient * run).min())
    lower = upper - gradient * lateral.length_m
    deepest = float((ground - (upper - gradient * run)).max())
    capacity = pipes.full_bore_flow_m3s(
        diameter_m=wish.bore_m, gradient=gradient, roughness_m=wish.roughness_m
    )
    faults = []
    if lateral.joins_at_m is None:
        faults.append("it meets no carrier")
    elif carrier is not None and lower < carrier:
        faults.append(f"it arrives {carrier - lower:.2f} m below the carrier's invert")
    if flow > capacity:
        faults.append(f"its share of {flow * 1000:.1f} l/s is more than its {capacity * 1000:.1f}")
    words = "; ".join(faults)
    if not faults:
        words = (
            "runs in"
            if carrier is not None
            else "joins; the carrier's level there is not known, so check that it runs in"
        )
        if fall < wish.least_gradient:
            words += f", laid steeper than the ground, {deepest:.2f} m deep at the most"
    return LateralLevels(
        number=lateral.number,
        upper_ground_m=float(ground[0]),
        lower_ground_m=float(ground[-1]),
        upper_invert_m=upper,
        lower_invert_m=lower,
        gradient=gradient,
        deepest_m=deepest,
        carrier_invert_m=carrier,
        flow_m3s=flow,
        capacity_m3s=capacity,
        verdict=words,
        is_fault=bool(faults),
    )


def lateral_working(lateral: Lateral, levels: LateralLevels, wish: DrainWish) -> Working:
    """How one lateral's levels came about."""
    steps = [
        Step("L", "length", lateral.length_m, "m"),
        Step("d", "least depth of the invert", wish.least_depth_m, "m", source="entered"),
        Step(
            "Q", "its share of the water", levels.flow_m3s * 1000, "l/s", formula="q · spacing · L"
        ),
    ]
    if levels.gradient is not None and levels.capacity_m3s is not None:
        steps += [
            Step("", "ground at its head", f"{levels.upper_ground_m:.2f}", "m", source="ground"),
            Step("", "ground at its end", f"{levels.lower_ground_m:.2f}", "m", source="ground"),
            Step(
                "S",
                "gradient",
                levels.gradient,
                "m/m",
                formula="the ground's, or the least where that is flatter",
            ),
            Step("", "invert at its head", f"{levels.upper_invert_m:.2f}", "m"),
            Step("", "invert at its end", f"{levels.lower_invert_m:.2f}", "m"),
            Step(
                "Qc",
                "capacity, full bore",
                levels.capacity_m3s * 1000,
                "l/s",
                formula="Colebrook–White",
            ),
        ]
    if levels.carrier_invert_m is not None:
        steps.append(Step("", "carrier's invert there", f"{levels.carrier_invert_m:.2f}", "m"))
    return Working(
        title=f"Lateral {lateral.number}", steps=(*steps, Step("", "verdict", levels.verdict))
    )
