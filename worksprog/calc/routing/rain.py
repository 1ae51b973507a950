"""Rain through time for the routing: design storms of one duration, nested storms, days of rain."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from worksprog.calc.rainfall import DesignRain, check_intensity, duration_words

Floats = NDArray[np.float64]
LONGEST_H = 31 * 24.0
MOST_DAY_MM = 500.0
SOURCE_NESTED = "alternating blocks (Chow, Maidment and Mays 1988, section 14.4, from memory)"


@dataclass(frozen=True)
class RainCourse:
    """Rain in each step (mm), with dry steps after it for the water to run off."""

    words: str
    step_s: float
    depths_mm: Floats
    source: str = ""

    @property
    def steps(self) -> int:
        return len(self.depths_mm)

    @property
    def total_mm(self) -> float:
        return float(self.depths_mm.sum())

    @property
    def hours(self) -> float:
        return self.steps * self.step_s / 3600


def _steps(hours: float, step_s: float, what: str) -> int:
    if not math.isfinite(hours) or hours <= 0:
        raise ValueError(f"The {what} must be longer than 0 h; {hours:g} was given.")
    if not 0 < step_s <= 3600:
        raise ValueError(f"A step lies between 0 and 3600 s; {step_s:g} was given.")
    return math.ceil(hours * 3600 / step_s - 1e-9)


def _check_length(hours: float) -> None:
    if hours > LONGEST_H:
        raise ValueError(
            f"{hours:g} h with the time after the rain is longer than {LONGEST_H:g} h (31 days)."
        )


def even_storm(
    *, intensity_mm_h: float, duration_h: float, after_h: float, step_s: float = 60.0
) -> RainCourse:
    """The same intensity for the whole duration, then dry."""
    check_intensity(intensity_mm_h)
    _check_length(duration_h + after_h)
    wet, dry = _steps(duration_h, step_s, "storm"), _steps(after_h, step_s, "time after the rain")
    rain = np.zeros(wet + dry)
    ends = np.minimum(np.arange(1, wet + 1) * step_s, duration_h * 3600)
    rain[:wet] = np.diff(np.concatenate(([0.0], ends))) / 3600 * intensity_mm_h
    return RainCourse(
        f"{intensity_mm_h:.1f} mm/h for {duration_h:g} h, even", step_s, rain, "even intensity"
    )


def nested_storm(
    rain: DesignRain, *, duration_h: float, after_h: float, step_s: float = 60.0
) -> RainCourse:
    """A storm that holds, at its middle, the design depth of every shorter duration.

    The depth of each further step is what the design rain gains by that step; the steps are laid
    alternately after and before the fiercest. Shorter than the table's first duration the rain is
    as fierce as there. ValueError for a storm longer than the table tells.
    """
    _check_length(duration_h + after_h)
    if duration_h * 60 > rain.durations_min[-1] * (1 + 1e-9):
        raise ValueError(
            f"The table of design rain ends at {duration_words(rain.durations_min[-1])}: nothing is "
            f"known of {duration_h:g} h. Take a shorter storm, or add longer durations to the table."
        )
    wet, dry = _steps(duration_h, step_s, "storm"), _steps(after_h, step_s, "time after the rain")
    durations = np.arange(1, wet + 1) * step_s / 60
    depths = rain.intensities_mm_h(durations) * durations / 60
    gained = np.diff(np.concatenate(([0.0], np.maximum.accumulate(depths))))
    gained = np.sort(gained)[::-1]
    course = np.zeros(wet + dry)
    middle = wet // 2
    places = np.empty(wet, dtype=np.int64)
    after, before = middle, middle - 1
    for turn in range(wet):
        if (turn % 2 == 0 and after < wet) or before < 0:
            places[turn], after = after, after + 1
        else:
            places[turn], before = before, before - 1
    course[places] = gained
    return RainCourse(
        f"{course.sum():.1f} mm in {duration_h:g} h, fiercest in the middle",
        step_s,
        course,
        SOURCE_NESTED,
    )


def days_of_rain(
    days_mm: Sequence[float],
    *,
    after_h: float = 48.0,
    step_s: float = 60.0,
    half_in_h: float | None = None,
) -> RainCourse:
    """Days of rain, then dry. ValueError naming the day.

    half_in_h  half of each day's rain falls evenly in so many hours about noon, the other half
               evenly in the rest of the day; None spreads the day evenly over its 24 hours
    """
    if not days_mm:
        raise ValueError("Enter the rain of at least one day, in mm.")
    for day, depth in enumerate(days_mm, start=1):
        if not math.isfinite(depth) or not 0 <= depth <= MOST_DAY_MM:
            raise ValueError(
                f"Day {day}: rain from 0 to {MOST_DAY_MM:g} mm was expected; {depth:g} was given."
            )
    if not sum(days_mm):
        raise ValueError("Not a drop falls on any of these days.")
    _check_length(24 * len(days_mm) + after_h)
    a_day = _steps(24, step_s, "day")
    shape = np.full(a_day, 1 / a_day)
    source = "each day's rain spread evenly over it (common practice, no source)"
    if half_in_h is not None:
        if not 0 < half_in_h < 24:
            raise ValueError(
                f"Half a day's rain falls in more than 0 and less than 24 h; {half_in_h:g} given."
            )
        wet = min(_steps(half_in_h, step_s, "wettest part of a day"), a_day - 1)
        begin = (a_day - wet) // 2
        shape[:] = 0.5 / (a_day - wet)
        shape[begin : begin + wet] = 0.5 / wet
        source = f"half of each day's rain in {half_in_h:g} h, the rest evenly (our own, no source)"
    rain = np.outer(np.asarray(days_mm, dtype=np.float64), shape).ravel()
    rain = np.concatenate((rain, np.zeros(_steps(after_h, step_s, "time after the rain"))))
    return RainCourse(
        f"{sum(days_mm):.1f} mm in {len(days_mm)} day{'s' if len(days_mm) != 1 else ''}",
        step_s,
        rain,
        source,
    )
