"""Where water runs, against surfaces with known answers and against an independent library.

topotoolbox and matplotlib's sample elevation model are used by the tests only.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import matplotlib.cbook
import numpy as np
import pytest
import topotoolbox

from worksprog.calc import ground
from worksprog.calc.ground import kernel

Outside = Callable[..., None]


def raster(levels: Any, cell_m: float = 1.0) -> ground.GriddedGround:
    return ground.ground_from_grid(west=0, south=0, cell_m=cell_m, levels=levels)


def from_the_north(water: ground.RunningWater) -> np.ndarray:
    return water.cells[::-1]


def fractal(n: int, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    turns = np.fft.fftfreq(n)[:, None] ** 2 + np.fft.fftfreq(n)[None] ** 2
    turns[0, 0] = 1
    z = np.fft.ifft2(np.fft.fft2(rng.normal(size=(n, n))) * turns**-0.95).real
    return (z - z.min()) / np.ptp(z) * 50


def jacksboro() -> np.ndarray:
    """344 × 403 levels in whole metres of open terrain, as matplotlib ships them."""
    kept: Any = matplotlib.cbook.get_sample_data("jacksboro_fault_dem.npz")
    with kept:
        return np.asarray(kept["elevation"], dtype=float)[::-1]


def by_topotoolbox(levels: np.ndarray, cell_m: float) -> tuple[Any, Any]:
    grid = topotoolbox.GridObject()
    grid.z, grid.cellsize = levels.astype(np.float32), cell_m
    return grid.fillsinks(), topotoolbox.FlowObject(grid)


def test_plane(outside: Outside) -> None:
    z = 100 + 0.01 * np.tile(np.arange(51.0)[:, None], (1, 31))
    cells = from_the_north(ground.run_water(raster(z)))
    for row, expected in ((0, 1), (10, 11), (25, 26), (49, 50), (50, 51)):
        outside(
            quantity=f"cells above row {row} of a plane falling south (T1)",
            expected=expected,
            got=float(cells[row, 15]),
            tolerance=0,
            source="row + 1, from the surface itself (A); topotoolbox gives the same (R)",
        )
    assert (cells == np.arange(1, 52)[:, None]).all()


def test_v_valley(outside: Outside) -> None:
    row, column = np.mgrid[0:51, 0:31].astype(float)
    z = 100 + 0.05 * np.abs(column - 15) + 0.01 * row
    cells = from_the_north(ground.run_water(raster(z)))
    source = "31 (row + 1), side slope over 2.414 of the valley's (A); topotoolbox (R)"
    for at, expected in ((0, 31), (10, 341), (49, 1550), (50, 1581)):
        outside(
            quantity=f"cells above row {at} of a V-shaped valley (T2)",
            expected=expected,
            got=float(cells[at, 15]),
            tolerance=0,
            source=source,
        )
    assert cells[25, [0, 5, 14]].tolist() == [1, 6, 15]


def test_pit_and_cone(outside: Outside) -> None:
    row, column = np.mgrid[-15:16, -15:16].astype(float)
    pit = np.hypot(row, column)
    stands = ground.run_water(raster(pit), through_hollows=False)
    outside(
        quantity="cells at the middle of a pit that is not filled (T3)",
        expected=961,
        got=float(stands.cells[15, 15]),
        tolerance=0,
        source="31 × 31, all of it (A)",
    )
    cone = ground.run_water(raster(100 - pit))
    outside(
        quantity="cells at the outlets of a cone",
        expected=961,
        got=float(cone.cells[cone.down == kernel.LEAVES].sum()),
        tolerance=0,
        source="31 × 31, all of it (A)",
    )


def test_bowl_holds_what_its_shape_says(outside: Outside) -> None:
    """A paraboloid z = r² / 40 in a plain at 2.5 m: half of depth × area."""
    row, column = np.mgrid[-80:81, -80:81] * 0.25
    bowl = np.minimum((row**2 + column**2) / 40, 2.5)
    water = ground.run_water(raster(bowl, 0.25))
    (hollow,) = ground.hollows_of(water)
    source = "paraboloid: V = π r² d / 2 (A)"
    outside(quantity="depth of a bowl", expected=2.5, got=hollow.depth_m, tolerance=1e-9,
            unit="m", source=source)  # fmt: skip
    outside(quantity="water in a bowl", expected=math.pi * 100 * 2.5 / 2, got=hollow.volume_m3,
            tolerance=0.001, relative=True, unit="m³", source=source)  # fmt: skip
    outside(quantity="area of a bowl", expected=math.pi * 100, got=hollow.area_m2,
            tolerance=0.01, relative=True, unit="m²", source=source)  # fmt: skip


def test_nothing_is_lost(outside: Outside) -> None:
    water = ground.run_water(raster(fractal(1000, 3)))
    outside(
        quantity="cells at the outlets of 1,000 × 1,000 (T4)",
        expected=1_000_000,
        got=float(water.cells[water.down == kernel.LEAVES].sum()),
        tolerance=0,
        source="every cell leaves somewhere (A)",
    )


def test_wetness_of_a_plane(outside: Outside) -> None:
    z = 100 + 0.01 * np.tile(np.arange(120.0)[:, None], (1, 31))
    wet = ground.wetness_of(ground.run_water(raster(z)))[::-1]
    outside(
        quantity="wetness index of row 99 of a plane of 1 % (T6)",
        expected=9.21034,
        got=float(wet[99, 15]),
        tolerance=1e-5,
        source="ln(100 / 0.01) (A)",
    )


def test_wetness_takes_horns_slope(outside: Outside) -> None:
    """The published window of T5: one cell's own area over its slope of 75.2577°."""
    window = np.array([[50, 45, 50], [30, 30, 30], [8, 10, 10]], dtype=float)[::-1]
    wet = kernel.wetness(window, np.ones((3, 3), dtype=np.int32), 5.0, 0.001)
    outside(
        quantity="slope of a 3 × 3 window, as the wetness takes it (T5)",
        expected=75.2577,
        got=math.degrees(math.atan(5.0 / math.exp(float(wet[1, 1])))),
        tolerance=1e-4,
        unit="°",
        source="widely published example of a help page, from memory (M); run (R)",
    )


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_fractal_ground_by_topotoolbox(seed: int, outside: Outside) -> None:
    levels = fractal(300, seed).astype(np.float32).astype(float)
    water = ground.run_water(raster(levels, 2.0))
    filled, flow = by_topotoolbox(levels, 2.0)
    assert np.array_equal(filled.z.astype(float), water.filled)
    outside(
        quantity=f"greatest gathering on fractal ground {seed}, 300 × 300",
        expected=float(flow.flow_accumulation().z.max()),
        got=float(water.cells.max()),
        tolerance=0.001,
        relative=True,
        unit="cells",
        source="topotoolbox 0.0.12, its own fill, directions and gathering (R)",
    )


def test_real_terrain_by_topotoolbox(outside: Outside) -> None:
    """Whole metres make many flats, which two programs may cross by different ways."""
    levels = jacksboro()
    water = ground.run_water(raster(levels, 90.0))
    filled, flow = by_topotoolbox(levels, 90.0)
    source = "topotoolbox 0.0.12 on the elevation model that matplotlib ships (R)"
    theirs = filled.z.astype(float)
    outside(
        quantity="water standing in the hollows of real terrain",
        expected=float((theirs - levels).sum()) * 90**2 / 1e6,
        got=sum(one.volume_m3 for one in ground.hollows_of(water)) / 1e6,
        tolerance=1e-9,
        relative=True,
        unit="million m³",
        source=source,
    )
    assert np.array_equal(theirs, water.filled)
    gathered = flow.flow_accumulation().z
    outside(
        quantity="greatest gathering on real terrain",
        expected=float(gathered.max()),
        got=float(water.cells.max()),
        tolerance=0.02,
        relative=True,
        unit="cells",
        source=source,
    )
    outside(
        quantity="cells with 500 or more above them on real terrain",
        expected=float((gathered >= 500).sum()),
        got=float((water.cells >= 500).sum()),
        tolerance=0.05,
        relative=True,
        unit="cells",
        source=source,
    )
    outside(
        quantity="cells at the outlets of real terrain",
        expected=float(levels.size),
        got=float(water.cells[water.down == kernel.LEAVES].sum()),
        tolerance=0,
        source="every cell leaves somewhere (A)",
    )
