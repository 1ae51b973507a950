"""Roots of rising functions, whole arrays at a time."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

HALVINGS = 60  # brings any bracket of metres below a double's own grain


def one(value: float) -> Floats:
    """A single number as an array, so that one formula serves one pipe and two thousand."""
    return np.asarray(value, dtype=np.float64)


def rising_root(function: Callable[[Floats], Floats], low: Floats, high: Floats) -> Floats:
    """Where an element-wise rising ``function`` crosses zero between ``low`` and ``high``.

    Plain bisection: every element is bracketed from the start, so it cannot run away, and sixty
    halvings of two thousand elements cost a few milliseconds.
    """
    low = np.array(low, dtype=np.float64)
    high = np.array(high, dtype=np.float64)
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        below = function(middle) < 0
        low = np.where(below, middle, low)
        high = np.where(below, high, middle)
    return 0.5 * (low + high)
