"""When the water arrives, and which length of storm loads each reach most."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numba import njit
from numpy.typing import NDArray

from worksprog.calc.network.flow import Way
from worksprog.calc.network.given import Limits, Reach, Storm
from worksprog.calc.rainfall import bransby_williams_times_min, kirpich_times_min
from worksprog.calc.roots import Floats

STEP = 0.1  # between the durations that are tried
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
    in that time, with arrival spread evenly over the time of entry. Both are tried, the shorter ones
    at the table's own durations and at steps of a tenth between them; longer ones as well, though
    they bring more only where a table's intensity rises. The greatest flow is taken. Below a place
    where the flow divides only the whole catchment is tried, for there the way of each drop is not
    known. Without a table the one intensity holds at the time of concentration.
    """
    gather = arrival.gather_min
    if storm.rain is None:
        intensity = np.full(len(gather), storm.intensity_mm_h)
        return Peak(runoff_ha * intensity / 360, gather, intensity, runoff_ha)
    known = np.isfinite(gather)
    intensity = np.where(known, storm.rain.intensities_mm_h(np.where(known, gather, 1.0)), np.nan)
    flow = runoff_ha * intensity / 360
    below = np.array(
        [others[0] if len(others) == 1 else -1 for others in way.below], dtype=np.int64
    )
    tried_min = _durations(np.array(storm.rain.durations_min))
    fierce = storm.rain.intensities_mm_h(tried_min)
    parts = _partial(
        below,
        np.array(way.falling_order, dtype=np.int64),
        own_runoff_ha,
        arrival.entry_min,
        arrival.travel_min,
        tried_min,
    )
    whole = tried_min >= gather[:, None]
    parts = np.where(whole, runoff_ha[:, None], parts)
    parts[_behind_split(way)[:, None] & ~whole] = 0.0
    best = np.argmax(parts * fierce, axis=1)
    rows = np.arange(len(gather))
    better = parts[rows, best] * fierce[best] / 360 > flow
    return Peak(
        np.where(better, parts[rows, best] * fierce[best] / 360, flow),
        np.where(better, tried_min[best], gather),
        np.where(better, fierce[best], intensity),
        np.where(better, parts[rows, best], runoff_ha),
    )


def _durations(table_min: Floats) -> Floats:
    """The table's durations and, between them, steps of no more than a tenth."""
    found = [table_min[:1]]
    for shorter, longer in pairwise(table_min.tolist()):
        count = math.ceil(math.log(longer / shorter) / math.log(1 + STEP))
        found.append(np.geomspace(shorter, longer, count + 1)[1:-1])
        found.append(np.array([longer]))
    return np.concatenate(found)


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
    count = len(durations_min)
    partly = np.zeros((len(below), count))
    wholly = np.zeros((len(below), count))  # from this duration on
    for start in order:
        own = own_runoff_ha[start]
        if own <= 0:
            continue
        lag, here, first = 0.0, start, 0
        while here >= 0:
            lag += travel_min[here]
            while first < count and durations_min[first] <= lag:
                first += 1
            if first == count:
                break
            column = first
            while column < count and durations_min[column] < lag + entry_min[start]:
                partly[here, column] += own * (durations_min[column] - lag) / entry_min[start]
                column += 1
            if column < count:
                wholly[here, column] += own
            here = below[here]
    for here in range(len(below)):
        gathered = 0.0
        for column in range(count):
            gathered += wholly[here, column]
            partly[here, column] += gathered
    return partly
