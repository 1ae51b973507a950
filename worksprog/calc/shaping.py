"""Earth moved between two grounds: cut and fill of a platform, a mound, or two surveys.

The volume is summed over the middles of square cells (method of elevations on a grid), once with
the cells asked for and once with cells twice as wide, so that the figure says how sure it is.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import sqrt
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt
import shapely

from worksprog.calc.working import Step, Working

Floats = npt.NDArray[np.float64]
CELLS = 1_600  # over an outline, unless told otherwise
LEAST_CELL_M = 0.05
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
class _Sums:
    cut: float
    fill: float
    touched: float
    known: float


@dataclass(frozen=True)
class _Cells:
    """Where each cell's level is read, and how much of it lies inside the outline."""

    x: Floats
    y: Floats
    area_m2: Floats


def _cells(outline: Any, cell_m: float) -> _Cells:
    west, south, east, north = outline.bounds
    across = np.arange(west + cell_m / 2, east + cell_m / 2, cell_m)
    up = np.arange(south + cell_m / 2, north + cell_m / 2, cell_m)
    grid_x, grid_y = np.meshgrid(across, up)
    x, y = grid_x.ravel(), grid_y.ravel()
    shapely.prepare(outline)
    inside = shapely.contains_xy(outline, x, y)
    edge = shapely.boundary(outline)
    shapely.prepare(edge)
    on_edge = shapely.dwithin(edge, shapely.points(x, y), 0.7072 * cell_m)
    whole = inside & ~on_edge
    half = cell_m / 2
    boxes = shapely.box(x[on_edge] - half, y[on_edge] - half, x[on_edge] + half, y[on_edge] + half)
    cut = shapely.intersection(boxes, outline)
    area = shapely.area(cut)
    cut, area = cut[area > 0], area[area > 0]
    middle = shapely.centroid(cut)
    return _Cells(
        np.concatenate([x[whole], shapely.get_x(middle)]),
        np.concatenate([y[whole], shapely.get_y(middle)]),
        np.concatenate([np.full(int(whole.sum()), cell_m**2), area]),
    )


def _sum_cells(outline: Any, before: Levels, after: Surface, cell_m: float) -> _Sums:
    cells = _cells(outline, cell_m)
    ground = before.levels_at(cells.x, cells.y)
    rise = after(cells.x, cells.y, ground) - ground
    seen = np.isfinite(rise)
    known = float(cells.area_m2[seen].sum() / cells.area_m2.sum())
    if not known:
        return _Sums(0.0, 0.0, 0.0, 0.0)
    # What is not known is taken as the mean of what is.
    moved, each = rise[seen], cells.area_m2[seen] / known
    return _Sums(
        cut=float((each * np.maximum(-moved, 0.0)).sum()),
        fill=float((each * np.maximum(moved, 0.0)).sum()),
        touched=float(each[np.abs(moved) > 1e-3].sum()),
        known=known,
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

    V = Σ (new - ground) × cell, cut where it is below 0 and fill where it is above. ``cell_m`` is
    chosen for about 1,600 cells when not given. ValueError when the outline has no area or less
    than nine tenths of its ground is known. Source: plane geometry, summed over cells.
    """
    area = float(outline.area)
    if not area > 0:
        raise ValueError("Earth is moved inside an outline, which has an area.")
    cell = cell_m if cell_m is not None else max(sqrt(area / CELLS), LEAST_CELL_M)
    if not cell > 0:
        raise ValueError("A cell must be wider than nothing.")
    fine = _sum_cells(outline, before, after, cell)
    if fine.known < LEAST_KNOWN:
        raise ValueError(
            f"The ground is known for {fine.known:.0%} of the outline: survey the rest."
        )
    coarse = _sum_cells(outline, before, after, 2 * cell)
    unsure = max(abs(fine.cut - coarse.cut), abs(fine.fill - coarse.fill))
    method = "new level less ground, summed over cells"
    steps = (
        Step("A", "inside the outline, on plan", area, "m²", "", "in the grid"),
        Step("c", "side of a cell", cell, "m"),
        Step("", "ground known for", fine.known, "", "", "of the outline"),
        Step("Vc", "cut, in the bank", fine.cut, "m³", "Σ (ground - new) c²", method),
        Step("Vf", "fill, in place", fine.fill, "m³", "Σ (new - ground) c²", method),
        Step("", "moves by, with cells twice as wide", unsure, "m³"),
    )
    return EarthMoved(
        cut_m3=fine.cut,
        fill_m3=fine.fill,
        touched_m2=fine.touched,
        area_m2=area,
        cell_m=cell,
        unsure_m3=unsure,
        known=fine.known,
        working=Working(what, steps),
    )


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


def _mean_level(outline: Any, ground: Levels, cell_m: float | None) -> float:
    cells = _cells(outline, cell_m or max(sqrt(outline.area / CELLS), LEAST_CELL_M))
    levels = ground.levels_at(cells.x, cells.y)
    seen = np.isfinite(levels)
    known = float(cells.area_m2[seen].sum() / cells.area_m2.sum())
    if known < LEAST_KNOWN:
        raise ValueError(f"The ground is known for {known:.0%} of the outline: survey the rest.")
    return float(np.average(levels[seen], weights=cells.area_m2[seen]))


def platform(
    *, outline: Any, ground: Levels, raised_m: float, side_slope: float, cell_m: float | None = None
) -> EarthMoved:
    """A level platform (a tee) with battered sides, against the ground.

    The platform lies ``raised_m`` above the mean ground inside the outline (at 0 what is cut
    within it is what is filled); from its edge the sides fall, or rise where it lies in a cutting,
    one metre in ``side_slope`` until they meet the ground. ValueError as in ``earth_moved``, and
    when the slope is not more than 0 or the platform is buried more than 10 m.
    """
    if not side_slope > 0:
        raise ValueError(f"The side slope must be more than 0, not {side_slope:g}.")
    if not abs(raised_m) <= 10:
        raise ValueError(f"A platform is raised by 10 m at most, not {raised_m:g} m.")
    level = _mean_level(outline, ground, cell_m) + raised_m
    corners = shapely.get_coordinates(outline)
    rim = ground.levels_at(corners[:, 0], corners[:, 1])
    highest = float(np.nanmax(np.abs(level - rim), initial=abs(raised_m)))
    reach = outline.buffer(1.5 * side_slope * highest + 0.5, quad_segs=16)

    def shaped(x: Floats, y: Floats, before: Floats) -> Floats:
        away = shapely.distance(outline, shapely.points(x, y)) / side_slope
        # Off the platform the batter goes on until it meets the ground from above or from below.
        return np.clip(before, level - away, level + away)

    return earth_moved(
        outline=reach, before=ground, after=shaped, what="Platform and its sides", cell_m=cell_m
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
    crest = _mean_level(outline, ground, cell_m) + crest_m
    edge = shapely.boundary(outline)

    def shaped(x: Floats, y: Floats, before: Floats) -> Floats:
        inwards = shapely.distance(edge, shapely.points(x, y)) / side_slope
        return np.maximum(before, np.minimum(before + inwards, crest))

    return earth_moved(
        outline=outline, before=ground, after=shaped, what="Mound on the ground", cell_m=cell_m
    )
