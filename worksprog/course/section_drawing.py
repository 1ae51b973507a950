"""A long section of the ground as plain figures for an SVG."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from worksprog.calc.ground import Profile

WIDTH, HEIGHT = 640, 190
_LEFT, _RIGHT, _TOP, _BOTTOM = 58, 14, 14, 34


@dataclass(frozen=True)
class Tick:
    at: float
    words: str


@dataclass(frozen=True)
class Section:
    """Polylines of the ground (several where a part is not known) and the ticks of both axes."""

    lines: tuple[str, ...]
    levels: tuple[Tick, ...]
    chainages: tuple[Tick, ...]
    width: int = WIDTH
    height: int = HEIGHT
    left: int = _LEFT
    right: int = WIDTH - _RIGHT
    bottom: int = HEIGHT - _BOTTOM


def _steps(low: float, high: float, about: int) -> list[float]:
    span = max(high - low, 1e-6)
    rough = span / about
    unit = 10.0 ** math.floor(math.log10(rough))
    step = next(unit * m for m in (1, 2, 5, 10) if unit * m >= rough)
    first = math.ceil(low / step - 1e-9)
    return [round(n * step, 6) for n in range(first, math.floor(high / step + 1e-9) + 1)]


def section_of(profile: Profile) -> Section | None:
    """The section of a profile; None where no level of it is known."""
    known = np.isfinite(profile.level_m)
    if not known.any():
        return None
    low, high = float(profile.level_m[known].min()), float(profile.level_m[known].max())
    middle, half = (low + high) / 2, max((high - low) / 2 * 1.1, 0.25)
    low, high = middle - half, middle + half
    x = _LEFT + profile.chainage_m / profile.length_m * (WIDTH - _LEFT - _RIGHT)
    y = _TOP + (high - profile.level_m) / (high - low) * (HEIGHT - _TOP - _BOTTOM)
    breaks = np.flatnonzero(np.diff(known.astype(int)) != 0) + 1
    lines = [
        " ".join(f"{x[i]:.1f},{y[i]:.1f}" for i in part)
        for part in np.split(np.arange(len(x)), breaks)
        if known[part[0]] and len(part) > 1
    ]
    return Section(
        lines=tuple(lines),
        levels=tuple(
            Tick(_TOP + (high - z) / (high - low) * (HEIGHT - _TOP - _BOTTOM), f"{z:g}")
            for z in _steps(low, high, 4)
        ),
        chainages=tuple(
            Tick(_LEFT + s / profile.length_m * (WIDTH - _LEFT - _RIGHT), f"{s:g}")
            for s in _steps(0, profile.length_m, 6)
        ),
    )
