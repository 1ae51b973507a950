"""Earth moved between two grounds: cut and fill of a platform, a mound, or two surveys.

The volume is summed over the middles of square cells (method of elevations on a grid), once with
the cells asked for and once with cells twice as wide, so that the figure says how sure it is.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt
import shapely

from worksprog.calc.working import Step, Working

Floats = npt.NDArray[np.float64]
CELLS = 900  # over an outline, unless told otherwise
LEAST_CELL_M = 0.05
PARTS = 4  # across a cell that the outline cuts
LEAST_KNOWN = 0.9  # share of the outline whose ground must be known


class Levels(Protocol):
    """A ground that knows its level; NaN where it does not."""

    def levels_at(self, x: npt.ArrayLike, y: npt.ArrayLike) -> Floats: ...


Surface = Callable[[Floats, Floats, Floats], Floats]  # x, y and the ground there → new level


@dataclass(frozen=True)
class EarthMoved:
    """Cut and fill between two grounds inside an outline, in place."""

    cut_m3: float
    fill_m3: float
    touched_m2: float  # plan area over which the ground changes
    area_m2: float
    cell_m: float
    unsure_m3: float  # change of cut and fill when the cells are twice as wide
    known: float
    working: Working

    @property
    def net_fill_m3(self) -> float:
        return self.fill_m3 - self.cut_m3


@dataclass(frozen=True)
class _Sample:
    """Where each cell's level is read, how much of it lies inside, and the ground there."""

    x: Floats
    y: Floats
    area_m2: Floats
    ground_m: Floats

    @property
    def known(self) -> float:
        return float(self.area_m2[np.isfinite(self.ground_m)].sum() / self.area_m2.sum())

    def mean_level_m(self) -> float:
        seen = np.isfinite(self.ground_m)
        return float(np.average(self.ground_m[seen], weights=self.area_m2[seen]))


def _sample(outline: Any, ground: Levels, cell_m: float) -> _Sample:
    """Whole cells inside, and small parts of those that the outline cuts."""
    west, south, east, north = outline.bounds
    columns, rows = (int(side / cell_m) + 1 for side in (east - west, north - south))
    # The grid hangs over alike on both sides, so that no side of the outline weighs more.
    x = (west + east - columns * cell_m) / 2 + cell_m * np.arange(columns + 1)
    y = (south + north - rows * cell_m) / 2 + cell_m * np.arange(rows + 1)
    grid_x, grid_y = np.meshgrid(x, y)
    shapely.prepare(outline)
    inside = shapely.contains_xy(outline, grid_x, grid_y).astype(int)
    corners = inside[:-1, :-1] + inside[1:, :-1] + inside[:-1, 1:] + inside[1:, 1:]
    left, low = grid_x[:-1, :-1], grid_y[:-1, :-1]
    whole = corners == 4
    # A cell beside one that is cut may be cut without a corner telling.
    cut = ~whole & ((corners > 0) | _beside(corners > 0))
    step = cell_m * (np.arange(PARTS) + 0.5) / PARTS
    part_x = (left[cut][:, None, None] + step[None, :, None] + np.zeros((1, 1, PARTS))).ravel()
    part_y = (low[cut][:, None, None] + step[None, None, :] + np.zeros((1, PARTS, 1))).ravel()
    kept = shapely.contains_xy(outline, part_x, part_y)
    full = np.full(int(whole.sum()), cell_m**2)
    parts = int(kept.sum())
    rest = (outline.area - full.sum()) / parts if parts else 0.0
    at_x = np.concatenate([left[whole] + cell_m / 2, part_x[kept]])
    at_y = np.concatenate([low[whole] + cell_m / 2, part_y[kept]])
    return _Sample(
        at_x,
        at_y,
        np.concatenate([full, np.full(parts, rest)]),
        np.asarray(ground.levels_at(at_x, at_y)),
    )


def _beside(marked: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Cells of which a neighbour is marked."""
    wide = np.pad(marked, 1)
    beside: npt.NDArray[np.bool_] = (
        wide[:-2, 1:-1] | wide[2:, 1:-1] | wide[1:-1, :-2] | wide[1:-1, 2:]
    )
    return beside


@dataclass(frozen=True)
class _Sums:
    cut: float
    fill: float
    touched: float


def _sums(parts: Sequence[tuple[_Sample, Surface]]) -> _Sums:
    cut = fill = touched = 0.0
    for sample, after in parts:
        seen = np.isfinite(sample.ground_m)
        x, y, ground = sample.x[seen], sample.y[seen], sample.ground_m[seen]
        if not len(x):
            continue
        rise = after(x, y, ground) - ground
        # What is not known is taken as the mean of what is.
        each = sample.area_m2[seen] * (sample.area_m2.sum() / sample.area_m2[seen].sum())
        known = np.isfinite(rise)
        rise, each = rise[known], each[known]
        cut += float((each * np.maximum(-rise, 0.0)).sum())
        fill += float((each * np.maximum(rise, 0.0)).sum())
        touched += float(each[np.abs(rise) > 1e-3].sum())
    return _Sums(cut, fill, touched)


def _cell_of(outline: Any, cell_m: float | None) -> float:
    if not float(outline.area) > 0:
        raise ValueError("Earth is moved inside an outline, which has an area.")
    cell = cell_m if cell_m is not None else max(sqrt(outline.area / CELLS), LEAST_CELL_M)
    if not cell > 0:
        raise ValueError("A cell must be wider than nothing.")
    return float(cell)


def _need_known(sample: _Sample) -> float:
    known = sample.known
    if known < LEAST_KNOWN:
        raise ValueError(f"The ground is known for {known:.0%} of the outline: survey the rest.")
    return known


def _moved(
    what: str, outline: Any, cell_m: float, known: float, fine: _Sums, coarse: _Sums
) -> EarthMoved:
    unsure = max(abs(fine.cut - coarse.cut), abs(fine.fill - coarse.fill))
    method = "new level less ground, summed over cells"
    steps = (
        Step("A", "inside the outline, on plan", float(outline.area), "m²", "", "in the grid"),
        Step("c", "side of a cell", cell_m, "m"),
        Step("", "ground known for", known, "", "", "of the outline"),
        Step("Vc", "cut, in the bank", fine.cut, "m³", "Σ (ground - new) c²", method),
        Step("Vf", "fill, in place", fine.fill, "m³", "Σ (new - ground) c²", method),
        Step("", "moves by, with cells twice as wide", unsure, "m³"),
    )
    return EarthMoved(
        cut_m3=fine.cut,
        fill_m3=fine.fill,
        touched_m2=fine.touched,
        area_m2=float(outline.area),
        cell_m=cell_m,
        unsure_m3=unsure,
        known=known,
        working=Working(what, steps),
    )


def earth_moved(
    *,
    outline: Any,
    before: Levels,
    after: Surface,
    what: str = "Earth moved",
    cell_m: float | None = None,
) -> EarthMoved:
    """Cut and fill inside ``outline`` (a shapely polygon) between a ground and a new surface, m³.

    V = Σ (new - ground) × cell, cut where it is below 0 and fill where it is above; cells that the
    outline cuts count in parts. ``cell_m`` is chosen for about 900 cells when not given.
    ValueError when the outline has no area or less than nine tenths of its ground is known.
    Source: plane geometry, summed over cells.
    """
    cell = _cell_of(outline, cell_m)
    fine = _sample(outline, before, cell)
    known = _need_known(fine)
    coarse = _sample(outline, before, 2 * cell)
    return _moved(what, outline, cell, known, _sums([(fine, after)]), _sums([(coarse, after)]))


def between_grounds(
    *, outline: Any, before: Levels, after: Levels, cell_m: float | None = None
) -> EarthMoved:
    """Cut and fill between two surveyed grounds inside an outline."""
    return earth_moved(
        outline=outline,
        before=before,
        after=lambda x, y, _: after.levels_at(x, y),
        what="Earth moved between two surveys",
        cell_m=cell_m,
    )


def platform(
    *, outline: Any, ground: Levels, raised_m: float, side_slope: float, cell_m: float | None = None
) -> EarthMoved:
    """A level platform (a tee) with battered sides, against the ground.

    The platform lies ``raised_m`` above the mean ground inside the outline (at 0 what is cut
    within it is what is filled); from its edge the sides fall, or rise where it lies in a cutting,
    one metre in ``side_slope`` until they meet the ground. ValueError as in ``earth_moved``, and
    when the slope is not more than 0 or the platform is raised or sunk by more than 10 m.
    """
    if not side_slope > 0:
        raise ValueError(f"The side slope must be more than 0, not {side_slope:g}.")
    if not abs(raised_m) <= 10:
        raise ValueError(f"A platform is raised by 10 m at most, not {raised_m:g} m.")
    cell = _cell_of(outline, cell_m)
    fine, coarse = _sample(outline, ground, cell), _sample(outline, ground, 2 * cell)
    known = _need_known(fine)
    level = fine.mean_level_m() + raised_m
    corners = shapely.get_coordinates(outline)
    rim = ground.levels_at(corners[:, 0], corners[:, 1])
    highest = float(np.nanmax(np.abs(level - rim), initial=abs(raised_m)))
    reach = outline.buffer(1.5 * side_slope * highest + cell, quad_segs=4)
    sides = reach.difference(outline)

    def flat(x: Floats, y: Floats, before: Floats) -> Floats:
        return np.full_like(before, level)

    def battered(x: Floats, y: Floats, before: Floats) -> Floats:
        away = shapely.distance(outline, shapely.points(x, y)) / side_slope
        # The batter goes on until it meets the ground from above or from below.
        return np.clip(before, level - away, level + away)

    def sums(inner: _Sample, cell_m: float) -> _Sums:
        return _sums([(inner, flat), (_sample(sides, ground, cell_m), battered)])

    return _moved(
        "Platform and its sides", outline, cell, known, sums(fine, cell), sums(coarse, 2 * cell)
    )


def mound(
    *, outline: Any, ground: Levels, crest_m: float, side_slope: float, cell_m: float | None = None
) -> EarthMoved:
    """A mound that rises from its outline one metre in ``side_slope`` up to a level crest.

    The crest lies ``crest_m`` above the mean ground inside the outline; where the outline is too
    narrow for its slopes the mound stays lower. ValueError as in ``earth_moved``, and when the
    height or the slope is not more than 0.
    """
    if not (crest_m > 0 and side_slope > 0):
        raise ValueError("A mound's height and side slope must be more than 0.")
    cell = _cell_of(outline, cell_m)
    fine, coarse = _sample(outline, ground, cell), _sample(outline, ground, 2 * cell)
    known = _need_known(fine)
    crest = fine.mean_level_m() + crest_m
    edge = shapely.boundary(outline)

    def shaped(x: Floats, y: Floats, before: Floats) -> Floats:
        inwards = shapely.distance(edge, shapely.points(x, y)) / side_slope
        return np.maximum(before, np.minimum(before + inwards, crest))

    sums = (_sums([(fine, shaped)]), _sums([(coarse, shaped)]))
    return _moved("Mound on the ground", outline, cell, known, *sums)
