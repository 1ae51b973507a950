"""When the water arrives, and which length of storm loads each reach most."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from worksprog.calc.network.flow import Way
from worksprog.calc.network.given import Limits, Reach, Storm
from worksprog.calc.rainfall import DesignRain, bransby_williams_times_min, kirpich_times_min
from worksprog.calc.roots import Floats

LATTICE = 300  # times at which what has arrived at a reach is known
COARSE = 12
WALKING_MS = 1.0  # velocity in a reach whose own is not known (our own)


@dataclass(frozen=True)
class Arrival:
    """Minutes. ``gather_min`` is the time of concentration at a reach's lower end."""

    entry_min: Floats
    travel_min: Floats
    gather_min: Floats
    furthest: NDArray[np.int64]  # whose water arrives last; -1 in or below a loop


def entry_times(reaches: Sequence[Reach], storm: Storm, limits: Limits) -> Floats:
    """Time over the ground into each reach (min), by the storm's formula.

    A reach whose flow path is not known gets the limits' usual time; none is below their least.
    """
    figures = np.array(
        [
            (
                reach.flow_path_m or np.nan,
                slope if (slope := reach.flow_path_gradient) is not None else np.nan,
                reach.catchment_ha,
            )
            for reach in reaches
        ],
        dtype=np.float64,
    ).reshape(-1, 3)
    path, slopes, area = figures.T
    found = np.full(len(reaches), limits.usual_entry_min)
    known = np.isfinite(slopes)
    if storm.formula == "kirpich":
        found[known] = kirpich_times_min(path[known], slopes[known])
    else:
        found[known] = bransby_williams_times_min(path[known], area[known], slopes[known])
    return np.asarray(np.maximum(found, limits.least_entry_min))


def arrivals(way: Way, lengths_m: Floats, velocity_ms: Floats, entry_min: Floats) -> Arrival:
    """Follow the slowest water down: own entry or what comes from above, then along the reach."""
    speed = np.where(np.isfinite(velocity_ms) & (velocity_ms > 0), velocity_ms, WALKING_MS)
    travel = lengths_m / speed / 60
    head, last = entry_min.tolist(), list(range(len(lengths_m)))
    along = travel.tolist()
    at_end = [float("nan")] * len(head)
    furthest = [-1] * len(head)
    for index in way.falling_order:
        at_end[index] = head[index] + along[index]
        furthest[index] = last[index]
        for other in way.below[index]:
            if at_end[index] > head[other]:
                head[other], last[other] = at_end[index], last[index]
    return Arrival(entry_min, travel, np.array(at_end), np.array(furthest, dtype=np.int64))


@dataclass(frozen=True)
class Peak:
    """The storm that loads each reach most: its flow, length and intensity, and what contributes."""

    flow_m3s: Floats
    duration_min: Floats
    intensity_mm_h: Floats
    contributing_ha: Floats


def peak_flows(
    way: Way,
    runoff_ha: Floats,
    own_runoff_ha: Floats,
    arrival: Arrival,
    storm: Storm,
    *,
    whole_only: bool = False,
) -> Peak:
    """Rational method by duration.

    A storm as long as the time of concentration brings water from the whole catchment; a shorter
    one is fiercer and loads it by the most area whose water arrives within any stretch of that
    length, each reach's own area arriving evenly over its time of entry (the time-area method for
    even rain). Both are tried, the shorter ones at the table's own durations and at even shares of
    the time of concentration, closer about the best; longer ones at the table's own durations,
    though they bring more only where a table's intensity rises. The greatest flow is taken. Below
    a place where the flow divides only the whole catchment is tried, for there the way of each drop
    is not known. Without a table the one intensity holds at the time of concentration.
    whole_only  leaves the shorter storms out, for a first reckoning of velocities
    """
    gather = arrival.gather_min
    if storm.rain is None:
        intensity = np.full(len(gather), storm.intensity_mm_h)
        return Peak(runoff_ha * intensity / 360, gather, intensity, runoff_ha)
    known = np.isfinite(gather)
    rain = storm.rain
    intensity = np.where(known, rain.intensities_mm_h(np.where(known, gather, 1.0)), np.nan)
    found = Peak(runoff_ha * intensity / 360, gather, intensity, runoff_ha)
    for longer in rain.durations_min:
        found = _greater(
            found, known & (gather < longer), runoff_ha, np.full(len(gather), longer), rain
        )
    if whole_only or not len(gather):
        return found
    # Never on into a ring: there the way down has no end.
    below = np.array(
        [others[0] if len(others) == 1 and known[others[0]] else -1 for others in way.below],
        dtype=np.int64,
    )
    area, duration = _fullest(
        below,
        np.array(way.falling_order, dtype=np.int64),
        own_runoff_ha,
        arrival.entry_min,
        arrival.travel_min,
        np.log(np.array(rain.durations_min)),
        np.log(np.array(rain.depths_mm)),
    )
    return _greater(found, known & ~_behind_split(way) & (area > 0), area, duration, rain)


def _greater(
    found: Peak, may: NDArray[np.bool_], area_ha: Floats, duration_min: Floats, rain: DesignRain
) -> Peak:
    """The greater of what was found and a storm of other durations, where it may be tried."""
    fierce = rain.intensities_mm_h(np.where(may, duration_min, 1.0))
    flow = area_ha * fierce / 360
    better = may & (flow > found.flow_m3s)
    return Peak(
        np.where(better, flow, found.flow_m3s),
        np.where(better, duration_min, found.duration_min),
        np.where(better, fierce, found.intensity_mm_h),
        np.where(better, area_ha, found.contributing_ha),
    )


def _behind_split(way: Way) -> NDArray[np.bool_]:
    behind = [False] * len(way.below)
    for index in way.falling_order:
        if behind[index] or len(way.below[index]) > 1:
            for other in way.below[index]:
                behind[other] = True
    return np.array(behind, dtype=np.bool_)


@njit(cache=True)
def _log_depth(log_min: float, table_log_min: Floats, table_log_mm: Floats) -> float:
    """Depth read on straight lines of logs, at the table's ends by their own intensity."""
    last = len(table_log_min) - 1
    if log_min <= table_log_min[0]:
        return float(table_log_mm[0] + log_min - table_log_min[0])
    if log_min >= table_log_min[last]:
        return float(table_log_mm[last] + log_min - table_log_min[last])
    at = np.searchsorted(table_log_min, log_min)
    share = (log_min - table_log_min[at - 1]) / (table_log_min[at] - table_log_min[at - 1])
    return float(table_log_mm[at - 1] + share * (table_log_mm[at] - table_log_mm[at - 1]))


@njit(cache=True)
def _window(arrived: Floats, cells: int) -> float:
    """The most that arrives within a stretch of so many steps of the lattice."""
    best = 0.0
    for cell in range(len(arrived)):
        before = arrived[cell - cells] if cell > cells else 0.0
        best = max(best, arrived[cell] - before)
    return best


@njit(cache=True)
def _fullest(
    below: NDArray[np.int64],
    order: NDArray[np.int64],
    own_runoff_ha: Floats,
    entry_min: Floats,
    travel_min: Floats,
    table_log_min: Floats,
    table_log_mm: Floats,
) -> tuple[Floats, Floats]:
    """For each reach the storm, shorter than its time of concentration, that loads it most.

    Returns the run-off area (ha) whose water passes its end within the fullest stretch of that
    length, and the length (min). What has arrived by a time is a sum of ramps; the bends of all
    ramps are kept on a lattice of even times for each reach, where their double sum is exact.
    Lengths are whole steps of that lattice: first every ``COARSE`` steps, then closer about the
    best; what a lattice of 300 steps misses is below 1.5 % (seen against a plain scan).
    """
    count = len(below)
    latest = np.zeros(count)
    for start in order:
        lag, here = 0.0, start
        while here >= 0:
            lag += travel_min[here]
            latest[here] = max(latest[here], lag + entry_min[start])
            here = below[here]
    steps = np.maximum(latest / LATTICE, 1e-6)
    bends = np.zeros((count, LATTICE + 3))
    for start in order:
        rate = own_runoff_ha[start] / entry_min[start]
        if rate <= 0:
            continue
        lag, here = 0.0, start
        while here >= 0:
            lag += travel_min[here]
            for time, turn in ((lag, rate), (lag + entry_min[start], -rate)):
                at = time / steps[here]
                cell = int(at)
                bends[here, cell] += turn * (cell + 1 - at)
                bends[here, cell + 1] += turn * (at - cell)
            here = below[here]
    area, duration = np.zeros(count), np.zeros(count)
    arrived = np.zeros(LATTICE + 3)
    for here in range(count):
        step, rate, total = steps[here], 0.0, 0.0
        for cell in range(LATTICE + 3):
            arrived[cell] = total
            rate += bends[here, cell]
            total += rate * step
        if total <= 0:
            continue
        best, best_cells, best_area = 0.0, 0, 0.0
        for fine in range(2):
            first = COARSE if fine == 0 else max(1, best_cells - COARSE + 1)
            last = LATTICE if fine == 0 else min(LATTICE, best_cells + COARSE)
            for cells in range(first, last, COARSE if fine == 0 else 2):
                log_min = np.log(cells * step)
                passes = _window(arrived, cells)
                loads = passes * np.exp(_log_depth(log_min, table_log_min, table_log_mm) - log_min)
                if loads > best:
                    best, best_cells, best_area = loads, cells, passes
        area[here], duration[here] = best_area, best_cells * step
    return area, duration
