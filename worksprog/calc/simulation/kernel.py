"""The compiled inner loops: luck by name and number, causes and luck to a figure.

Luck is computed, not kept: the deviate of a name in a draw follows from the name's key and the
draw's number alone, by a generator that counts. So it is the same whatever else is drawn, in
whatever order or thread, and costs no memory.
"""

from __future__ import annotations

from hashlib import blake2b
from math import log, sqrt

import numpy as np
from numba import njit
from numpy.typing import NDArray

from worksprog.calc.simulation.curves import FIRST_Z, Z_STEP

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_LOW = np.uint64(0xFFFFFFFF)
_HALF = np.uint64(32)
_FIRST_FACTOR = np.uint64(0xD2511F53)
_SECOND_FACTOR = np.uint64(0xCD9E8D57)
_FIRST_TURN = np.uint64(0x9E3779B9)
_SECOND_TURN = np.uint64(0xBB67AE85)
_TO_UNIT = 1.0 / 4294967296.0


def key_of(seed: int, name: str) -> np.uint64:
    """64 bits of the BLAKE2b hash of seed and name."""
    digest = blake2b(f"{seed}:{name}".encode(), digest_size=8).digest()
    return np.uint64(int.from_bytes(digest, "little"))


@njit(cache=True, nogil=True)
def philox(
    c0: np.uint64, c1: np.uint64, c2: np.uint64, c3: np.uint64, key: np.uint64
) -> tuple[np.uint64, np.uint64, np.uint64, np.uint64]:
    """Philox 4x32 in ten rounds (Salmon, Moraes, Dror and Shaw, SC11): counter and key to 4 words."""
    k0, k1 = key & _LOW, key >> _HALF
    for _ in range(10):
        first, second = c0 * _FIRST_FACTOR, c2 * _SECOND_FACTOR
        c0, c1, c2, c3 = (
            (second >> _HALF) ^ c1 ^ k0,
            second & _LOW,
            (first >> _HALF) ^ c3 ^ k1,
            first & _LOW,
        )
        k0, k1 = (k0 + _FIRST_TURN) & _LOW, (k1 + _SECOND_TURN) & _LOW
    return c0, c1, c2, c3


@njit(cache=True, nogil=True)
def normal_of(word: np.uint64) -> float:
    """Standard normal deviate of 32 random bits: Φ⁻¹((word + 1/2) / 2³²).

    Wichura, algorithm AS 241 (Applied Statistics 37, 1988), the routine of about 7 figures.
    """
    q = float((np.float64(word) + 0.5) * _TO_UNIT - 0.5)
    if abs(q) <= 0.425:
        r = 0.180625 - q * q
        over = ((59.109374720 * r + 159.29113202) * r + 50.434271938) * r + 3.3871327179
        under = ((67.187563600 * r + 78.757757664) * r + 17.895169469) * r + 1.0
        return q * over / under
    r = sqrt(-log(0.5 - abs(q)))
    if r <= 5.0:
        r -= 1.6
        over = ((0.17023821103 * r + 1.3067284816) * r + 2.7568153900) * r + 1.4234372777
        under = (0.12021132975 * r + 0.73700164250) * r + 1.0
    else:
        r -= 5.0
        over = ((0.017337203997 * r + 0.42868294337) * r + 3.0812263860) * r + 6.6579051150
        under = (0.012258202635 * r + 0.24197894225) * r + 1.0
    return over / under if q > 0 else -over / under


@njit(cache=True, nogil=True)
def put_normals(key: np.uint64, out: Floats) -> None:
    """The deviates of one key in draws 0, 1, 2 …; fewer are the beginning of more."""
    none = np.uint64(0)
    draws = len(out)
    for block in range((draws + 3) // 4):
        words = philox(np.uint64(block), none, none, none, key)
        first = 4 * block
        out[first] = normal_of(words[0])
        if first + 1 < draws:
            out[first + 1] = normal_of(words[1])
        if first + 2 < draws:
            out[first + 2] = normal_of(words[2])
        if first + 3 < draws:
            out[first + 3] = normal_of(words[3])


@njit(cache=True, nogil=True)
def put_figures(
    key: np.uint64,
    own_weight: float,
    causes: Floats,
    places: Ints,
    weights: Floats,
    table: Floats,
    out: Floats,
) -> None:
    """z = w₀ε + Σ wⱼZⱼ, then the figure read off its table on a straight line between rows."""
    draws, last = len(out), len(table) - 1
    if own_weight > 0.0:
        put_normals(key, out)
        out *= own_weight
    else:
        out[:] = 0.0
    for each in range(len(places)):
        weight, cause = weights[each], causes[places[each]]
        for draw in range(draws):
            out[draw] += weight * cause[draw]
    for draw in range(draws):
        at = min(max((out[draw] - FIRST_Z) / Z_STEP, 0.0), last - 1e-9)
        row = int(at)
        out[draw] = table[row] + (at - row) * (table[row + 1] - table[row])


@njit(cache=True, nogil=True)
def put_luck_products(key: np.uint64, hours: Floats, money: Floats, room: Floats) -> Floats:
    """Of one key's luck: Σε, Σε², Σε·hours, Σε·money over the draws given."""
    put_normals(key, room)
    sums = np.zeros(4)
    for draw in range(len(room)):
        luck = room[draw]
        sums[0] += luck
        sums[1] += luck * luck
        sums[2] += luck * hours[draw]
        sums[3] += luck * money[draw]
    return sums
