"""50,000 spot heights to ground, contours and shading, without reading or saving them."""

from __future__ import annotations

from typing import Any

import numpy as np

from worksprog.calc import ground


def believable(n: int = 50_000) -> np.ndarray:
    rng = np.random.default_rng(11)
    xy = rng.uniform(0, 1, (n, 2)) * (900, 620) + (451000, 213000)
    x, y = xy[:, 0] - 451000, xy[:, 1] - 213000
    z = 62 + 0.012 * x + 0.02 * y + 2 * np.sin(x / 80) * np.cos(y / 110)
    return np.column_stack([np.round(xy, 3), np.round(z, 3)])


def whole_chain(points: np.ndarray) -> int:
    model = ground.ground_from_spot_heights(points)
    raster = ground.as_grid(model)
    drawn = ground.contours(raster, step_m=0.5)
    ground.shading_for_map(raster, 27700)
    return len(drawn) + len(ground.dump_ground(model))


def test_fifty_thousand_spot_heights(benchmark: Any) -> None:
    points = believable()
    assert benchmark.pedantic(whole_chain, args=(points,), rounds=2, iterations=1) > 0
    assert benchmark.stats.stats.max < 10
