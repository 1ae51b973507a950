"""When the water arrives, and which length of storm loads each reach most."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from worksprog.calc.network.flow import Way
from worksprog.calc.network.given import Limits, Reach, Storm
from worksprog.calc.rainfall import bransby_williams_times_min, kirpich_times_min
from worksprog.calc.roots import Floats

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
    way: Way, runoff_ha: Floats, own_runoff_ha: Floats, arrival: Arrival, storm: Storm
) -> Peak:
    """Rational method by duration.

    A storm as long as the time of concentration brings water from the whole catchment; a shorter
    one is fiercer and reaches only a part: of each reach's own area the share whose water arrives
    in that time, with arrival spread evenly over the time of entry. Both are tried at the table's
    own durations and the greater flow is taken. Longer storms bring less. Below a place where the
    flow divides only the whole catchment is tried, for there the way of each drop is not known.
    Without a table the one intensity holds at the time of concentration.
    """
    gather = arrival.gather_min
    if storm.rain is None:
        intensity = np.full(len(gather), storm.intensity_mm_h)
        return Peak(runoff_ha * intensity / 360, gather, intensity, runoff_ha)
    known = np.isfinite(gather)
    safe = np.where(known, gather, 1.0)
    intensity = np.where(known, storm.rain.intensities_mm_h(safe), np.nan)
    flow = runoff_ha * intensity / 360
    duration, contributing = gather.copy(), runoff_ha.copy()
    table = np.array(storm.rain.durations_min)
    fierce = storm.rain.intensities_mm_h(table)
    below = np.array(
        [others[0] if len(others) == 1 else -1 for others in way.below], dtype=np.int64
    )
    behind_split = _behind_split(way)
    parts = _partial(
        below,
        np.array(way.falling_order, dtype=np.int64),
        own_runoff_ha,
        arrival.entry_min,
        arrival.travel_min,
        table,
    )
    for column, length in enumerate(table):
        tried = parts[:, column] * fierce[column] / 360
        better = (length < gather) & (tried > flow) & ~behind_split
        flow[better] = tried[better]
        duration[better] = length
        intensity[better] = fierce[column]
        contributing[better] = parts[better, column]
    return Peak(flow, duration, intensity, contributing)


def _behind_split(way: Way) -> NDArray[np.bool_]:
    behind = [False] * len(way.below)
    for index in way.falling_order:
        if behind[index] or len(way.below[index]) > 1:
            for other in way.below[index]:
                behind[other] = True
    return np.array(behind, dtype=np.bool_)


@njit(cache=True)
def _partial(
    below: NDArray[np.int64],
    order: NDArray[np.int64],
    own_runoff_ha: NDArray[np.float64],
    entry_min: NDArray[np.float64],
    travel_min: NDArray[np.float64],
    durations_min: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Run-off area whose water reaches the end of each reach within each duration."""
    longest = durations_min[-1]
    found = np.zeros((len(below), len(durations_min)))
    for start in order:
        own = own_runoff_ha[start]
        if own <= 0:
            continue
        lag, here = 0.0, start
        while here >= 0:
            lag += travel_min[here]
            if lag >= longest:
                break
            for column in range(len(durations_min)):
                share = (durations_min[column] - lag) / entry_min[start]
                if share > 0:
                    found[here, column] += own * min(share, 1.0)
            here = below[here]
    return found
