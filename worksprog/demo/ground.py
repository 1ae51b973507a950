"""The invented ground of Ashlode Vale: clay falling to a brook, the same every time it is made."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

EAST, NORTH = 431_200.0, 287_400.0  # where the local metres of this file begin on the grid
WIDTH_M, HEIGHT_M = 905.0, 622.0
SEED = 1887

_rng = np.random.default_rng(SEED)
_WAVES = [
    (
        _rng.uniform(0, 2 * np.pi),
        _rng.uniform(0, 2 * np.pi),
        2 * np.pi / _rng.uniform(90, 260),
        _rng.uniform(0.06, 0.2),
    )
    for _ in range(14)
]

# Where water stands on 4 and 5 fairway after rain: middle, depth and half-width (m), far from drains.
_DIPS = [(525.0, 53.0, 0.75, 13.0), (128.0, 59.0, 0.6, 12.0)]


def brook_north(x: Array | float) -> Array:
    """Local northing of the brook's middle at local easting x."""
    x = np.asarray(x, dtype=float)
    return np.asarray(118 + 13 * np.sin(x / 95) + 5 * np.sin(x / 37 + 1.0))


def brook_bed(x: Array | float) -> Array:
    """Level of the brook's bed (m): it falls 1 in 290 to the east."""
    return 61.4 - np.asarray(x, dtype=float) / 290


def level(x: Array | float, y: Array | float) -> Array:
    """Ground level (m) at local coordinates, the brook's channel left out."""
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    off = y - brook_north(x)
    north, south = np.clip(off, 0, None), np.clip(-off, 0, None)
    rise = (
        0.011 * np.minimum(north, 80)
        + 0.021 * np.clip(north - 80, 0, 150)
        + 0.030 * np.clip(north - 230, 0, None)
        + 0.010 * np.minimum(south, 60)
        + 0.018 * np.clip(south - 60, 0, None)
    )
    along = np.clip(north / 160, 0, 1)
    valley = -1.3 * along * np.exp(-(((x - 452) / 42) ** 2)) - 1.0 * along * np.exp(
        -(((x - 838) / 34) ** 2)
    )
    rolling = np.zeros(np.broadcast(x, y).shape)
    for phase, turn, wave, height in _WAVES:
        rolling = rolling + height * np.sin(wave * (x * np.cos(turn) + y * np.sin(turn)) + phase)
    damped = np.clip((np.abs(off) - 8) / 90, 0, 1)
    dips = np.zeros(rolling.shape)
    for east, north_of, depth, half in _DIPS:
        away = np.hypot(x - east, y - north_of) / half
        dips = dips + np.where(away < 4, depth * np.exp(-(away**2) / 2), 0.0)
    return brook_bed(x) + 1.45 + rise + valley + rolling * damped - dips


def spot_heights() -> tuple[Array, list[str]]:
    """What a surveyor would have levelled: (n, 3) easting, northing, level to the millimetre; codes."""
    rng = np.random.default_rng(SEED + 1)
    grid_x, grid_y = np.meshgrid(
        np.arange(-6, WIDTH_M + 8, 11.5), np.arange(-6, HEIGHT_M + 8, 11.5)
    )
    x = grid_x.ravel() + rng.uniform(-3.5, 3.5, grid_x.size)
    y = grid_y.ravel() + rng.uniform(-3.5, 3.5, grid_y.size)
    clear = np.abs(y - brook_north(x)) > 5
    x, y = x[clear], y[clear]
    parts = [(x, y, level(x, y), "GL")]
    run = np.arange(-6, WIDTH_M + 8, 7.0)
    middle = brook_north(run)
    parts.append((run, middle, brook_bed(run), "BED"))
    for side in (-2.6, 2.6):
        parts.append((run, middle + side, level(run, middle + side), "BANK"))
    points, codes = [], []
    for px, py, pz, code in parts:
        noise = rng.normal(0, 0.012, px.size)
        points.append(np.column_stack([px + EAST, py + NORTH, np.round(pz + noise, 3)]))
        codes += [code] * px.size
    return np.round(np.vstack(points), 3), codes
