"""The compiled inner loops: one pond through one step, and the whole network through all steps."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
GRAIN = 1 + 1e-6  # a peak moves on only by more: else a steady flow peaks at its last rounding


@njit(cache=True)
def pool_step(
    storage: Floats, outflow: Floats, held: float, leaving: float, coming: float, dt: float
) -> tuple[float, float]:
    """One step of a level pool: 2 S2/dt + Q2 = 2 I + 2 S1/dt - Q1, read on the pond's table.

    coming is the mean inflow over the step. Beyond the table's end storage grows and the outflow
    stays what it is there.
    """
    wanted = max(2.0 * coming + 2.0 * held / dt - leaving, 0.0)
    last = len(storage) - 1
    if wanted >= 2.0 * storage[last] / dt + outflow[last]:
        return (wanted - outflow[last]) * dt / 2.0, outflow[last]
    low, high = 0, last
    while high - low > 1:
        middle = (low + high) // 2
        if 2.0 * storage[middle] / dt + outflow[middle] <= wanted:
            low = middle
        else:
            high = middle
    under = 2.0 * storage[low] / dt + outflow[low]
    over = 2.0 * storage[high] / dt + outflow[high]
    share = (wanted - under) / (over - under) if over > under else 0.0
    return (
        storage[low] + share * (storage[high] - storage[low]),
        outflow[low] + share * (outflow[high] - outflow[low]),
    )


@njit(cache=True)
def at_storage(storage: Floats, values: Floats, held: float) -> float:
    """A column of a pond's table at a volume, between rows on a straight line."""
    last = len(storage) - 1
    if held <= storage[0]:
        return float(values[0])
    if held >= storage[last]:
        return float(values[last])
    low, high = 0, last
    while high - low > 1:
        middle = (low + high) // 2
        if storage[middle] <= held:
            low = middle
        else:
            high = middle
    share = (held - storage[low]) / (storage[high] - storage[low])
    return float(values[low] + share * (values[high] - values[low]))


@njit(cache=True)
def fallen(depth_mm: Floats, since: Floats, rate: Floats, at_steps: float) -> float:
    """Time integral of the rain so far (mm steps), at a time in steps; rain is even in a step."""
    if at_steps <= 0:
        return 0.0
    whole = int(at_steps)
    steps = len(rate)
    if whole >= steps:
        return float(since[steps] + depth_mm[steps] * (at_steps - steps))
    part = at_steps - whole
    return float(since[whole] + depth_mm[whole] * part + 0.5 * rate[whole] * part * part)


@njit(cache=True)
def march(
    steps: int,
    dt: float,
    order: Ints,
    reaches: int,
    rate_mm: Floats,
    runoff_m2: Floats,
    entry_s: Floats,
    capacity: Floats,
    piece_from: Ints,
    c1: Floats,
    c2: Floats,
    c3: Floats,
    target_from: Ints,
    target: Ints,
    share: Floats,
    channel: Ints,
    surface_m2: Floats,
    storage: Floats,
    outflow: Floats,
    level: Floats,
    parts: Floats,
    start_m3: Floats,
    bank_m3: Floats,
    substeps: Ints,
    watched: Ints,
    puddle_m3: float,
) -> tuple[Floats, Floats, Floats, Floats, Floats, Floats, Floats, Floats, Floats]:
    """March every reach and pond through all steps, upstream first; see ``route`` for the method.

    Returns facts (reach, 10); what left the network at each element (m³); series (pond, 4, step)
    and facts (pond, 4); watched series (element, 2, step); the last flow into and out of every
    piece; and the volumes (m³) at the nodes and in the ponds.
    """
    count = len(order)
    total = len(target_from) - 1
    ponds = total - reaches
    since = np.zeros(steps + 1)
    depth = np.zeros(steps + 1)
    for step in range(steps):
        depth[step + 1] = depth[step] + rate_mm[step]
        since[step + 1] = since[step] + depth[step] + 0.5 * rate_mm[step]
    pieces = len(c1)
    piece_in, piece_out = np.zeros(pieces), np.zeros(pieces)
    node = np.zeros(reaches)
    before = np.zeros(reaches)
    arriving = np.zeros(total)
    facts = np.zeros((reaches, 10))
    left = np.zeros(total)
    pond_series = np.zeros((ponds, 4, steps))
    pond_facts = np.zeros((ponds, 4))
    seen = np.zeros((len(watched), 2, steps))
    watch_at = np.full(total, -1, dtype=np.int64)
    for row in range(len(watched)):
        watch_at[watched[row]] = row
    held = start_m3.copy()
    leaving = np.zeros(ponds)
    for pond in range(ponds):
        leaving[pond] = at_storage(storage[pond], outflow[pond], held[pond])
    for step in range(steps):
        for place in range(count):
            item = order[place]
            coming = arriving[item]
            arriving[item] = 0.0
            if item < reaches:
                if runoff_m2[item] > 0:
                    lag = entry_s[item] / dt
                    now = step + 1.0
                    run = fallen(depth, since, rate_mm, now) - fallen(
                        depth, since, rate_mm, now - lag
                    )
                    own = runoff_m2[item] * 1e-3 * run / lag
                    coming += (own - before[item]) / dt
                    facts[item, 8] += own - before[item]
                    before[item] = own
                wanted = coming + node[item] / dt
                enters = min(wanted, capacity[item])
                node[item] = max((wanted - enters) * dt, 0.0)
                passes = enters
                for piece in range(piece_from[item], piece_from[item + 1]):
                    out = c1[piece] * passes + c2[piece] * piece_in[piece]
                    out += c3[piece] * piece_out[piece]
                    piece_in[piece], piece_out[piece] = passes, out
                    passes = out
                if enters > facts[item, 0] * GRAIN:
                    facts[item, 0], facts[item, 1] = enters, (step + 1) * dt
                if passes > facts[item, 2] * GRAIN:
                    facts[item, 2], facts[item, 3] = passes, (step + 1) * dt
                if coming > facts[item, 4]:
                    facts[item, 4] = coming
                if coming > capacity[item]:
                    facts[item, 5] += dt
                if node[item] > puddle_m3:
                    facts[item, 6] += dt
                if node[item] > facts[item, 7]:
                    facts[item, 7], facts[item, 9] = node[item], (step + 1) * dt
                rest = 1.0
                for link in range(target_from[item], target_from[item + 1]):
                    arriving[target[link]] += share[link] * passes
                    rest -= share[link]
                if rest > 1e-12:
                    left[item] += rest * passes * dt
                if watch_at[item] >= 0:
                    seen[watch_at[item], 0, step] = enters
                    seen[watch_at[item], 1, step] = passes
            else:
                pond = item - reaches
                rain = surface_m2[pond] * 1e-3 * rate_mm[step] / dt
                pond_facts[pond, 2] += rain * dt
                coming += rain
                small = dt / substeps[pond]
                was, gone, spilt = held[pond], 0.0, 0.0
                links = target_from[item + 1] - target_from[item]
                moved = np.zeros(links)
                for _ in range(substeps[pond]):
                    then = held[pond]
                    after, flow = pool_step(
                        storage[pond], outflow[pond], then, leaving[pond], coming, small
                    )
                    out = coming * small + then - after
                    if after > bank_m3[pond]:
                        spilt += after - bank_m3[pond]
                        after = bank_m3[pond]
                        flow = at_storage(storage[pond], outflow[pond], after)
                    middle = 0.5 * (then + after)
                    whole = 0.0
                    for link in range(links):
                        row = channel[target_from[item] + link]
                        moved[link] = at_storage(storage[pond], parts[row], middle)
                        whole += moved[link]
                    for link in range(links):
                        goes = out * moved[link] / whole if whole > 0 else out / links
                        aim = target[target_from[item] + link]
                        if aim >= 0:
                            arriving[aim] += goes / dt
                        else:
                            left[item] += goes
                    gone += out
                    held[pond], leaving[pond] = after, flow
                pond_facts[pond, 0] += spilt
                if spilt > 0:
                    pond_facts[pond, 1] += dt
                pond_facts[pond, 3] += coming * dt
                pond_series[pond, 0, step] = coming
                pond_series[pond, 1, step] = gone / dt
                pond_series[pond, 2, step] = at_storage(storage[pond], level[pond], held[pond])
                pond_series[pond, 3, step] = held[pond] - was
    return facts, left, pond_series, pond_facts, seen, piece_in, piece_out, node, held
