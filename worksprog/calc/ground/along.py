"""Levels and falls along a line."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from worksprog.calc.ground.model import Floats, Ground
from worksprog.calc.working import Step, Working


@dataclass(frozen=True, eq=False)
class Profile:
    """Levels along a line, at its corners and every step between.

    chainage_m  distance from the start of the line
    level_m     NaN where the ground is not known
    """

    chainage_m: Floats
    x: Floats
    y: Floats
    level_m: Floats

    @property
    def length_m(self) -> float:
        return float(self.chainage_m[-1])


@dataclass(frozen=True)
class Fall:
    """How a line falls from its start to its end.

    fall_m      positive when the end is lower than the start; None when an end is not known
    gradient    fall over length (m/m), same sign
    rises_m     length along the line over which it goes against that fall
    unknown_m   length along the line without levels
    """

    length_m: float
    start_level_m: float | None
    end_level_m: float | None
    fall_m: float | None
    gradient: float | None
    lowest_m: float | None
    highest_m: float | None
    rises_m: float
    unknown_m: float

    def one_in(self) -> float | None:
        """The n of "1 in n"; None when level or not known."""
        return 1 / abs(self.gradient) if self.gradient else None


def profile_along(ground: Ground, line: Any, *, step_m: float = 1.0) -> Profile:
    """Levels along a shapely LineString, at its corners and at least every ``step_m``.

    On lines beyond 5 km the step grows so that 5,000 points do.
    Raises ValueError for a line without length or a step that is not positive.
    """
    if not step_m > 0:
        raise ValueError("The step along a line must be longer than nothing.")
    corners = shapely.get_coordinates(line)
    if len(corners) < 2 or not np.isfinite(corners).all():
        raise ValueError("A line needs two ends.")
    at_corner = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(corners, axis=0).T))])
    length = float(at_corner[-1])
    if length <= 0:
        raise ValueError("The line has no length: both ends are at one place.")
    steps = np.arange(0.0, length, max(step_m, length / 5000))
    chainage = np.unique(np.concatenate([at_corner, steps]))
    x = np.interp(chainage, at_corner, corners[:, 0])
    y = np.interp(chainage, at_corner, corners[:, 1])
    return Profile(chainage, x, y, ground.levels_at(x, y))


def _known(value: float) -> float | None:
    return None if math.isnan(value) else float(value)


def fall_of(profile: Profile) -> Fall:
    """Fall, gradient and the parts that go the wrong way, of levels along a line."""
    level, length = profile.level_m, profile.length_m
    start, end = _known(level[0]), _known(level[-1])
    fall = None if start is None or end is None else start - end
    span, drop = np.diff(profile.chainage_m), -np.diff(level)
    unknown = np.isnan(drop)
    # Triangles kept to the millimetre are not flatter than this: less is rounding, no rise.
    wrong_way = np.zeros_like(unknown) if fall is None else np.sign(drop) == -np.sign(fall or 1)
    against = wrong_way & (np.abs(drop) > 1e-4 * span)
    seen = level[~np.isnan(level)]
    return Fall(
        length_m=length,
        start_level_m=start,
        end_level_m=end,
        fall_m=fall,
        gradient=None if fall is None else fall / length,
        lowest_m=float(seen.min()) if len(seen) else None,
        highest_m=float(seen.max()) if len(seen) else None,
        rises_m=float(span[against].sum()),
        unknown_m=float(span[unknown].sum()),
    )


def fall_working(fall: Fall, *, method: str) -> Working:
    """How a fall along a line was found; ``method`` says where the levels come from."""
    unknown = "not known"
    steps = [
        Step("L", "length along the line, in plan", fall.length_m, "m", source="measured"),
        Step(
            "z1",
            "level at the start",
            unknown if fall.start_level_m is None else fall.start_level_m,
            "m",
            source=method,
        ),
        Step(
            "z2",
            "level at the end",
            unknown if fall.end_level_m is None else fall.end_level_m,
            "m",
            source=method,
        ),
        Step("Δz", "fall", unknown if fall.fall_m is None else fall.fall_m, "m", "z1 − z2"),
        Step("i", "gradient", unknown if fall.gradient is None else fall.gradient, "m/m", "Δz / L"),
    ]
    notes = []
    if fall.rises_m:
        notes.append(f"{fall.rises_m:.0f} m of the line go against the fall.")
    if fall.unknown_m:
        notes.append(f"{fall.unknown_m:.0f} m of the line lie outside the surveyed ground.")
    return Working("Fall along the line", tuple(steps), tuple(notes))
