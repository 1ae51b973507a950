"""Fill, directions, gathering and wetness of rasters of three sizes, kernels warm."""

from __future__ import annotations

import math
import resource
import time

import numpy as np

from tests.outside.test_running_water_outside import fractal
from worksprog.calc import ground


def seconds(levels: np.ndarray) -> float:
    raster = ground.ground_from_grid(west=0, south=0, cell_m=1, levels=levels)
    began = time.perf_counter()
    ground.wetness_of(ground.run_water(raster))
    return time.perf_counter() - began


def test_three_sizes() -> None:
    seconds(fractal(64, 1))
    sizes = (300, 1000, 3000)
    tile = fractal(3000, 7)
    took = {n: min(seconds(tile[:n, :n]) for _ in range(3)) for n in sizes}
    print({n: round(s, 3) for n, s in took.items()})
    assert took[1000] <= 1
    assert took[3000] <= 5
    for small, large in ((300, 1000), (1000, 3000), (300, 3000)):
        growth = (large**2 * math.log(large**2)) / (small**2 * math.log(small**2))
        assert took[large] <= 1.5 * growth * took[small]
    most_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"most memory {most_mb:.0f} MB, the making of the surface in it")
    assert most_mb <= 1024
