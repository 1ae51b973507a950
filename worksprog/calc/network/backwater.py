"""Water surfaces worked up a reach from its lower end: gradually varied flow.

Direct step (Chow, Open-Channel Hydraulics, 1959, chapter 10): between two depths
Δx = (E₂ − E₁)/(Sf − S), E = y + V²/2g, Sf the mean of both ends. In a ditch Sf = (V n)²/R^(4/3). In a
pipe Sf is that of the full bore (Colebrook–White at the flow) times (q(y)/qf)^(−m), q/qf the flow ratio
of the part-full circle and m such that the depth of uniform flow is the pipe's own; q/qf is held at
1 above 0.82 of the bore, so that the little a pipe gains just below full is not counted on. Steady,
subcritical from below; the way a free drain runs shooting (normal depth below critical) is taken as
uniform, and where standing water meets it the jump is put where the surface falls to critical depth,
which errs to the high side.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numba import njit

from worksprog.calc import pipes
from worksprog.calc.ditches import DitchSection
from worksprog.calc.pipes import GRAVITY_MS2, PipeSection
from worksprog.calc.roots import Floats

SOURCE_PROFILE = "gradually varied flow by the direct step (Chow 1959)"
STEPS = 24
HALVINGS = 45


@njit(cache=True)
def wetted(is_pipe: bool, a: float, b: float, y: float) -> tuple[float, float, float]:
    """Area (m²), surface width and hydraulic radius (m). Pipe: a bore; ditch: a bed, b side slope."""
    if is_pipe:
        if y >= a:
            return math.pi * a * a / 4, 0.0, a / 4
        theta = 2 * math.acos(max(-1.0, 1 - 2 * y / a))
        area = a * a * (theta - math.sin(theta)) / 8
        return area, a * math.sin(theta / 2), 2 * area / (a * theta)
    area = (a + b * y) * y
    return area, a + 2 * b * y, area / (a + 2 * y * math.sqrt(1 + b * b))


@njit(cache=True)
def critical(is_pipe: bool, a: float, b: float, flow: float) -> float:
    """The depth (m) at which Q² T = g A³."""
    low, high = 0.0, a if is_pipe else 50.0
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        area, width, _ = wetted(is_pipe, a, b, middle)
        if GRAVITY_MS2 * area**3 < flow * flow * width:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


@njit(cache=True)
def friction(
    is_pipe: bool, a: float, b: float, flow: float, rough: float, power: float, y: float
) -> float:
    """Friction gradient. ``rough``: a pipe's when full, a ditch's Manning n."""
    area, _, radius = wetted(is_pipe, a, b, y)
    if is_pipe:
        ratio = area / (math.pi * a * a / 4) * (radius * 4 / a) ** (2 / 3)
        return float(rough * min(ratio, 1.0) ** -power)
    speed = flow / area
    return float((speed * rough) ** 2 / radius ** (4 / 3))


@njit(cache=True)
def uniform_depth(
    is_pipe: bool, a: float, b: float, flow: float, rough: float, power: float, slope: float
) -> float:
    """The depth (m) at which friction equals the slope; NaN where no depth does."""
    low, high = 1e-6, a if is_pipe else 50.0
    if slope <= 0 or friction(is_pipe, a, b, flow, rough, power, high) > slope:
        return math.nan
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        if friction(is_pipe, a, b, flow, rough, power, middle) > slope:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


@njit(cache=True)
def climb(
    is_pipe: bool,
    a: float,
    b: float,
    flow: float,
    rough: float,
    power: float,
    slope: float,
    length: float,
    normal: float,
    tail: float,
) -> tuple[float, float, bool, float]:
    """Depths at the lower and the upper end, whether it is full at the upper one, critical depth.

    normal  depth of uniform flow, NaN to have it sought; tail  depth standing at the lower end
    """
    yc = critical(is_pipe, a, b, flow)
    if normal != normal:
        normal = uniform_depth(is_pipe, a, b, flow, rough, power, slope)
    uniform = normal == normal
    shoots = uniform and normal < yc
    if shoots and tail <= yc:
        return normal, normal, False, yc
    lower = max(tail, yc)
    y, left = lower, length
    if is_pipe and y >= a:
        falls = slope - rough
        upper = y - falls * length
        if upper >= a:
            return lower, upper, True, yc
        left -= (y - a) / falls
        y = a
    if uniform:
        goal = yc if shoots else normal
        if abs(goal - y) < 1e-6:
            return lower, normal, False, yc
    elif is_pipe:
        goal = a
    else:
        area = wetted(is_pipe, a, b, y)[0]
        goal = y + (flow / area) ** 2 / (2 * GRAVITY_MS2)
        goal += (friction(is_pipe, a, b, flow, rough, power, y) - slope) * left
    begin = y
    area = wetted(is_pipe, a, b, y)[0]
    energy = y + (flow / area) ** 2 / (2 * GRAVITY_MS2)
    lost = friction(is_pipe, a, b, flow, rough, power, y)
    # Uniform depth is only neared, never reached: the last sliver is left out.
    for step in range(1, STEPS if uniform and not shoots else STEPS + 1):
        part = step / STEPS
        share = 1 - (1 - part) ** 2 if uniform else part * part
        ahead = begin + (goal - begin) * share
        area = wetted(is_pipe, a, b, ahead)[0]
        energy_ahead = ahead + (flow / area) ** 2 / (2 * GRAVITY_MS2)
        lost_ahead = friction(is_pipe, a, b, flow, rough, power, ahead)
        rise = 0.5 * (lost + lost_ahead) - slope
        along = (energy_ahead - energy) / rise if rise != 0 else math.inf
        if along >= left:
            return lower, y + (ahead - y) * left / along, False, yc
        left -= max(along, 0.0)
        y, energy, lost = ahead, energy_ahead, lost_ahead
    if uniform:
        return lower, normal, False, yc
    if is_pipe:
        return lower, a + (rough - slope) * left, True, yc
    return lower, goal, False, yc


@dataclass(frozen=True)
class Profile:
    """Depths of water (m) above the invert at both ends of a reach."""

    lower_m: float
    upper_m: float
    critical_m: float
    is_full: bool  # a pipe under pressure at its upper end


def water_profile(
    section: PipeSection | DitchSection,
    *,
    flow_m3s: float,
    gradient: float,
    length_m: float,
    tailwater_m: float = 0.0,
) -> Profile:
    """The water surface of one reach over its tailwater (m above the lower invert).

    gradient may be 0 or below (the reach rises). ValueError for no flow, no length or a gradient
    steeper than 1 in 1.
    """
    if not flow_m3s > 0 or not length_m > 0:
        raise ValueError("A water surface asks for a flow and a length above 0.")
    if not abs(gradient) <= 1:
        raise ValueError(f"A gradient of {gradient:g} is steeper than 1 in 1.")
    is_pipe = isinstance(section, PipeSection)
    if isinstance(section, PipeSection):
        a, b = section.diameter_m, 0.0
        rough = pipes.friction_slope(
            diameter_m=a, roughness_m=section.roughness_m, flow_m3s=flow_m3s
        )
    else:
        a, b, rough = section.bed_width_m, section.side_slope, section.manning_n
    lower, upper, full, yc = climb(
        is_pipe, a, b, flow_m3s, rough, 2.0, gradient, length_m, math.nan, tailwater_m
    )
    return Profile(lower, upper, yc, full)


def part_full_powers(share: Floats, full_gradient: Floats, gradient: Floats) -> Floats:
    """m of each pipe, for which its own depth of uniform flow is the friction law's as well."""
    with np.errstate(divide="ignore", invalid="ignore"):
        power = np.log(full_gradient / gradient) / np.log(share)
    near = ~(np.abs(np.log(np.where(share > 0, share, 1.0))) > 1e-3) | ~np.isfinite(power)
    return np.asarray(np.where(near, 2.0, np.clip(power, 1.5, 2.5)))
