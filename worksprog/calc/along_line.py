"""What is dug along a line: depths at stations, from the ground above to the invert below.

Between two stations the depth is taken to run straight. Then a section A = (b + z d) d is a second
degree of the distance, so that the prismoidal rule is exact in every interval and the whole
volume follows from three sums: the length, the face ∫d dx and the square ∫d² dx.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np
import numpy.typing as npt

from worksprog.calc.earthworks import trapezoid_area_m2

Floats = npt.NDArray[np.float64]
LEAST_KNOWN = 0.5  # share of a line whose ground must be known for its depth to be told

# EN 1610 table 1 (upright or supported sides): room for the pipe, outside diameter + x, by bore.
_ROOM_BY_BORE_MM = ((225.0, 0.40), (350.0, 0.50), (700.0, 0.70), (1200.0, 0.85))
_ROOM_BEYOND_M = 1.00
# EN 1610 table 2: least width by the depth of the trench; none below 1 m.
_LEAST_BY_DEPTH_M = ((4.00, 1.00), (1.75, 0.90), (1.00, 0.80))
WIDTH_SOURCE = "EN 1610 tables 1 and 2; the depths from memory"


def room_beside_m(bore_mm: float) -> float:
    """x of EN 1610 table 1: what a trench is wider than the pipe, by its nominal bore, m."""
    return next((x for most, x in _ROOM_BY_BORE_MM if bore_mm <= most), _ROOM_BEYOND_M)


def trench_width_m(*, bore_mm: float, outside_m: float, depth_m: float) -> float:
    """Least width of an upright trench in which people work, m.

    The greater of ``outside_m`` + x, x by the nominal bore (0.40 m to 225 mm, 0.50 to 350, 0.70 to
    700, 0.85 to 1200, 1.00 beyond), and the least by depth: 0.80 m from 1 m, 0.90 beyond 1.75 m,
    1.00 beyond 4 m. Where nobody ever goes in, a trench may be narrower; then it is not this one.
    ValueError when a figure is not more than 0. Source: EN 1610 tables 1 and 2.
    """
    if not (bore_mm > 0 and outside_m > 0 and depth_m > 0):
        raise ValueError("Bore, outside and depth of a trench's pipe must be more than 0.")
    least = 0.0
    for deeper_than, width in _LEAST_BY_DEPTH_M:
        if depth_m > deeper_than or (deeper_than == 1.0 and depth_m == 1.0):
            least = width
            break
    return max(outside_m + room_beside_m(bore_mm), least)


@dataclass(frozen=True)
class DepthAlong:
    """How deep it is to dig along one line.

    length_m    the whole line
    mean_m      mean depth, ∫d dx / length
    square_m2   mean of the depth squared
    deepest_m   greatest depth at a station
    known       share of the line over which the ground is known; the rest is taken as its mean
    above_m     length over which the invert lies above the ground: nothing to dig there
    """

    length_m: float
    mean_m: float
    square_m2: float
    deepest_m: float
    known: float
    above_m: float

    @property
    def even_change_m(self) -> float:
        """The change of depth from end to end that gives the same volume: √(12 variance)."""
        return sqrt(12 * max(self.square_m2 - self.mean_m**2, 0.0))


def _cut_at(chainage: Floats, depth: Floats, levels: Sequence[float]) -> tuple[Floats, Floats]:
    """The same straight stretches, with a station wherever the depth passes one of ``levels``."""
    added = []
    for level in levels:
        before, after = depth[:-1] - level, depth[1:] - level
        passes = before * after < 0
        share = before[passes] / (before[passes] - after[passes])
        added.append(chainage[:-1][passes] + share * np.diff(chainage)[passes])
    at = np.unique(np.concatenate([chainage, *added]))
    return at, np.interp(at, chainage, depth)


def _stretches(
    chainage_m: npt.ArrayLike, depth_m: npt.ArrayLike, levels: Sequence[float]
) -> tuple[Floats, Floats, Floats, float, float]:
    """Length and the two end depths of every stretch to dig; the known and the whole length."""
    chainage, depth = np.asarray(chainage_m, float), np.asarray(depth_m, float)
    if chainage.ndim != 1 or chainage.shape != depth.shape or len(chainage) < 2:
        raise ValueError("A line needs a chainage and a depth at each of two stations or more.")
    if not np.isfinite(chainage).all() or (np.diff(chainage) <= 0).any():
        raise ValueError("The chainage must rise from station to station.")
    if np.isinf(depth).any():
        raise ValueError("A depth is not a number.")
    whole = float(chainage[-1] - chainage[0])
    known = ~(np.isnan(depth[:-1]) | np.isnan(depth[1:]))
    known_length = float(np.diff(chainage)[known].sum())
    # A gap keeps its ends apart: what lies in it is never read.
    at, deep = [], []
    edges = np.flatnonzero(np.diff(np.concatenate([[False], known, [False]]).astype(int)))
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        here, there = _cut_at(chainage[first : last + 1], depth[first : last + 1], levels)
        at.append(np.column_stack([here[:-1], here[1:]]))
        deep.append(np.column_stack([there[:-1], there[1:]]))
    if not at:
        empty = np.empty(0)
        return empty, empty, empty, 0.0, whole
    ends, depths = np.concatenate(at), np.maximum(np.concatenate(deep), 0.0)
    return ends[:, 1] - ends[:, 0], depths[:, 0], depths[:, 1], known_length, whole


def depth_along(chainage_m: npt.ArrayLike, depth_m: npt.ArrayLike) -> DepthAlong | None:
    """The sums of a line's depths, straight between stations; None where too little is known.

    ``depth_m`` is ground less invert; NaN where the ground is not known. Where the invert lies
    above the ground the depth counts as 0, from the very point where they cross. Each stretch
    adds L (d1 + d2) / 2 and L (d1² + d1 d2 + d2²) / 3: plane geometry, exact.
    ValueError when stations do not rise.
    """
    length, first, last, known, whole = _stretches(chainage_m, depth_m, (0.0,))
    if known < LEAST_KNOWN * whole:
        return None
    mean = float((length * (first + last)).sum()) / 2 / known
    square = float((length * (first**2 + first * last + last**2)).sum()) / 3 / known
    if mean <= 0:
        return None
    return DepthAlong(
        length_m=whole,
        mean_m=mean,
        square_m2=square,
        deepest_m=float(max(first.max(), last.max())),
        known=known / whole,
        above_m=float(length[(first == 0) & (last == 0)].sum()),
    )


def length_deeper_m(chainage_m: npt.ArrayLike, depth_m: npt.ArrayLike, *, than_m: float) -> float:
    """Length over which it is deeper than ``than_m``, from the very point where it becomes so.

    What is not known is taken as the rest of the line. ValueError when stations do not rise.
    """
    length, first, last, known, whole = _stretches(chainage_m, depth_m, (0.0, than_m))
    if not known:
        return 0.0
    return float(length[(first + last) / 2 > than_m].sum()) * whole / known


def mean_trench_width_m(
    chainage_m: npt.ArrayLike,
    depth_m: npt.ArrayLike,
    *,
    bore_mm: float,
    outside_m: float,
    deeper_by_m: float,
) -> float:
    """Width that gives the same dig as ``trench_width_m`` at every depth along the line, m.

    ``depth_m`` to the invert, the trench ``deeper_by_m`` below it (pipe wall and bed). Weighed by
    depth: ∫ b(d) d dx / ∫ d dx, the steps of the width exactly where the trench gets that deep.
    """
    steps = [depth - deeper_by_m for depth, _ in _LEAST_BY_DEPTH_M]
    length, first, last, known, _ = _stretches(chainage_m, depth_m, (0.0, *steps))
    trench = (first + last) / 2 + deeper_by_m
    face = length * trench * ((first > 0) | (last > 0))
    if not known or not face.sum():
        raise ValueError("Nothing to dig along the line.")
    # Depths are cut where a step lies, so that the middle of a stretch tells the width of all of it.
    least = np.zeros_like(trench)
    for deeper_than, width in reversed(_LEAST_BY_DEPTH_M):
        least[trench > deeper_than] = width
    widths = np.maximum(outside_m + room_beside_m(bore_mm), least)
    return float((face * widths).sum() / face.sum())


def volume_by_end_areas_m3(chainage_m: Sequence[float], areas_m2: Sequence[float]) -> float:
    """Average end areas over stations: V = Σ L (A1 + A2) / 2, m³; too large where depths vary."""
    if len(chainage_m) != len(areas_m2) or len(chainage_m) < 2:
        raise ValueError("Two sections or more are needed, each with its chainage.")
    lengths = np.diff(np.asarray(chainage_m, float))
    if (lengths <= 0).any() or min(areas_m2) < 0:
        raise ValueError("Chainages must rise and areas must not be negative.")
    areas = np.asarray(areas_m2, float)
    return float((lengths * (areas[:-1] + areas[1:])).sum() / 2)


def volume_by_prismoids_m3(
    chainage_m: Sequence[float],
    depth_m: Sequence[float],
    section: Callable[[float], float],
) -> float:
    """Prismoidal rule over stations: V = Σ L (A1 + 4 Am + A2) / 6, m³.

    ``section`` gives the area at a depth; Am is that of the mean depth. Exact where the section is
    at most a second degree of the depth and the depth straight between stations.
    """
    if len(chainage_m) != len(depth_m) or len(chainage_m) < 2:
        raise ValueError("Two depths or more are needed, each with its chainage.")
    lengths = np.diff(np.asarray(chainage_m, float))
    if (lengths <= 0).any():
        raise ValueError("The chainage must rise from station to station.")
    total = 0.0
    for length, first, last in zip(lengths, depth_m[:-1], depth_m[1:], strict=True):
        total += length * (section(first) + 4 * section((first + last) / 2) + section(last)) / 6
    return float(total)


def trapezoid_volume_m3(
    along: DepthAlong, *, bottom_m: float, side_slope: float, deeper_by_m: float = 0.0
) -> float:
    """Dig of a trapezoidal section along the line, m³: V = L (b (m + e) + z (s + 2 e m + e²)).

    m mean depth, s mean of the depth squared, e ``deeper_by_m``, b ``bottom_m``, z ``side_slope``.
    The same as the prismoidal rule summed over the stations.
    """
    trapezoid_area_m2(bottom_m=bottom_m, side_slope=side_slope, depth_m=deeper_by_m)
    mean, square, more = along.mean_m, along.square_m2, deeper_by_m
    area = bottom_m * (mean + more) + side_slope * (square + 2 * more * mean + more**2)
    return along.length_m * area
