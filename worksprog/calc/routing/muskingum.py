"""A reach through time by Muskingum's storage, its two figures after Cunge.

S = K (X I + (1 - X) Q). Over a step dt, with D = 2K(1-X) + dt:
Q2 = C1 I2 + C2 I1 + C3 Q1; C1 = (dt - 2KX)/D; C2 = (dt + 2KX)/D; C3 = (2K(1-X) - dt)/D.
The three add up to 1, so what goes in comes out; none is below 0 while 2K|X| ≤ dt ≤ 2K(1-X), so no
flow is negative and no peak grows. Cunge: K = L/c, X = ½ (1 - Q/(B S c L)), c = dQ/dA.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.signal import lfilter

Floats = NDArray[np.float64]
MOST_PIECES = 200
SOURCE_MUSKINGUM = (
    "Muskingum routing (Chow, Maidment and Mays 1988, section 8.4, from memory), K and X after "
    "Cunge 1969 (from memory)"
)


@dataclass(frozen=True)
class Coefficients:
    c1: float
    c2: float
    c3: float


def coefficients(*, k_s: float, x: float, step_s: float) -> Coefficients:
    """The three coefficients; ValueError outside 2K|X| ≤ dt ≤ 2K(1-X), where a flow could turn
    negative."""
    if not (k_s > 0 and step_s > 0 and x <= 0.5):
        raise ValueError("K and the step must be above 0 and X at most 0.5.")
    slack = 1e-9 * step_s
    if 2 * k_s * abs(x) > step_s + slack or step_s > 2 * k_s * (1 - x) + slack:
        raise ValueError(
            f"A step of {step_s:g} s lies outside 2KX = {2 * k_s * x:g} s to 2K(1-X) = "
            f"{2 * k_s * (1 - x):g} s: take another step, or divide the reach."
        )
    below = 2 * k_s * (1 - x) + step_s
    return Coefficients(
        (step_s - 2 * k_s * x) / below,
        (step_s + 2 * k_s * x) / below,
        (2 * k_s * (1 - x) - step_s) / below,
    )


def muskingum(
    inflow: ArrayLike, *, k_s: float, x: float, step_s: float, start: float | None = None
) -> Floats:
    """Route a hydrograph given at even steps; ``start`` is the first outflow (else the inflow's)."""
    given = np.asarray(inflow, dtype=np.float64)
    found = coefficients(k_s=k_s, x=x, step_s=step_s)
    first = float(given[0]) if start is None else start
    state = found.c2 * given[0] + found.c3 * first
    rest, _ = lfilter([found.c1, found.c2], [1.0, -found.c3], given[1:], zi=[state])
    return np.concatenate(([first], rest))


@dataclass(frozen=True)
class Pieces:
    """Every reach cut into pieces that a step can follow, with the coefficients of each.

    begins has, for each reach, the index of its first piece, and the number of pieces at the end.
    """

    begins: NDArray[np.int64]
    c1: Floats
    c2: Floats
    c3: Floats
    k_s: Floats
    x: Floats


def cut(travel_s: Floats, spread: Floats, *, step_s: float) -> Pieces:
    """Pieces of every reach.

    travel_s  K = L/c of the whole reach; spread  Q/(B S c L) of the whole reach, 0 or more
    A reach is cut so that each piece takes about a step; the spread of a piece is that of the reach
    times the number of pieces. A piece shorter than a step gets X = 1 - dt/2K, which delays by K
    exactly, between two steps on a straight line; X is otherwise held where no coefficient is
    negative.
    """
    number = np.clip(np.round(travel_s / step_s), 1, MOST_PIECES).astype(np.int64)
    k = np.repeat(travel_s / number, number)
    wanted = 0.5 * (1 - np.repeat(spread * number, number))
    half = step_s / (2 * k)
    x = np.minimum(np.minimum(wanted, half), 1 - half)
    x = np.maximum(x, np.minimum(-half, 1 - half))
    below = 2 * k * (1 - x) + step_s
    return Pieces(
        np.concatenate(([0], np.cumsum(number))).astype(np.int64),
        (step_s - 2 * k * x) / below,
        (step_s + 2 * k * x) / below,
        np.maximum((2 * k * (1 - x) - step_s) / below, 0.0),
        k,
        x,
    )
