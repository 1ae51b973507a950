"""Least-cost sizes and inverts of a tree by dynamic programming from its heads to its lower end.

State: the level and the size at which a reach arrives at its lower end. For each state the least
cost of the reach and of all above it is kept; a reach meets those above it only through that level
and size, so nothing cheaper is lost: the answer is the least of all designs on the list of sizes
and the grid of levels (with the fixed levels added to it). It is not shown to be the least between
the levels of the grid.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from worksprog.calc import pipes
from worksprog.calc.roots import Floats, one
from worksprog.calc.sizing.given import (
    SAME_LEVEL_M,
    STEEPEST_GRADIENT,
    Costing,
    PipeSize,
    SizingLimits,
    SizingReach,
    Tree,
)
from worksprog.calc.sizing.kernel import pass_down

CLOSE_M = 1e-7
SAME_BORE = 1.05  # one nominal size from two makers differs by less; our own allowance


@dataclass(frozen=True)
class Laid:
    """One reach of a design; ``size`` is None where it stays as it is."""

    key: str
    size: PipeSize | None
    upstream_m: float
    downstream_m: float


@dataclass(frozen=True)
class Solution:
    money: float
    laid: Mapping[str, Laid]

    def sizes(self) -> dict[str, PipeSize]:
        return {key: one.size for key, one in self.laid.items() if one.size is not None}


@dataclass(frozen=True)
class Falls:
    """What one size needs at one flow: gradients (m/m), and which limit sets the least.

    ``least`` above ``most``: this size cannot be used. Infinite: no gradient up to 1 in 1 does.
    """

    least: float
    most: float
    least_from: str
    most_from: str


def needed_gradient(size: PipeSize, flow_m3s: float, roughness_m: float) -> float:
    """The gradient at which the size runs just full at the flow; infinite above 1 in 1."""
    return gradient_for_velocity(size, flow_m3s / (math.pi * size.inside_m**2 / 4), roughness_m)


def gradient_for_velocity(size: PipeSize, velocity_ms: float, roughness_m: float) -> float:
    if velocity_ms <= 0:
        return 0.0
    steepest = pipes.full_bore_velocities(
        one(size.inside_m), one(STEEPEST_GRADIENT), one(roughness_m)
    )
    if velocity_ms > float(steepest):
        return math.inf
    return pipes.flattest_gradient(
        diameter_m=size.inside_m, roughness_m=roughness_m, velocity_ms=velocity_ms
    )


def falls_of(size: PipeSize, flow_m3s: float, roughness_m: float, limits: SizingLimits) -> Falls:
    """Between which gradients a size may lie, full-bore velocity and capacity by Colebrook–White."""
    least = [
        (limits.least_gradient, "least gradient"),
        (gradient_for_velocity(size, limits.least_velocity_ms, roughness_m), "least velocity"),
        (needed_gradient(size, flow_m3s / (1 - limits.spare_share), roughness_m), "flow"),
    ]
    most = [
        (limits.most_gradient, "greatest gradient"),
        (gradient_for_velocity(size, limits.most_velocity_ms, roughness_m), "greatest velocity"),
    ]
    low, low_from = max(least, key=lambda pair: pair[0])
    high, high_from = min(most, key=lambda pair: pair[0])
    return Falls(low, high, low_from, high_from)


@dataclass(frozen=True)
class Profile:
    """The ground along a reach, each point with the share of the length it stands for."""

    share: Floats
    level: Floats
    weight: Floats
    asked: Floats  # cover asked for (m); minus infinity where none is


def profile_of(reach: SizingReach, tree: Tree, limits: SizingLimits) -> Profile:
    along, level = (
        np.array(column, dtype=np.float64) for column in zip(*reach.ground, strict=True)
    )
    share = along / along[-1]
    gaps = np.diff(share)
    weight = np.zeros_like(share)
    weight[:-1] += gaps / 2
    weight[1:] += gaps / 2
    asked = np.full(len(share), limits.least_cover_m)
    opens, begins = open_ends(reach, tree)
    # Beside a headwall the ground falls away: there the pipe need only not stand out of it, and at
    # the end itself not even that, where its level is fixed.
    if opens:
        asked[along > along[-1] - limits.cover_free_m + CLOSE_M] = 0.0
        asked[-1] = -math.inf if reach.below or tree.end.least_m is not None else asked[-1]
    if begins:
        asked[along < limits.cover_free_m - CLOSE_M] = 0.0
        asked[0] = -math.inf
    return Profile(share, level, weight, asked)


def open_ends(reach: SizingReach, tree: Tree) -> tuple[bool, bool]:
    """Whether it gives into the open, and whether it begins in an open ditch."""
    opens = tree.end.is_outfall
    if reach.below is not None:
        held = next(other for other in tree.reaches if other.key == reach.below).held
        opens = held is not None and held.inside_m is None
    begins = any(
        other.below == reach.key and other.held is not None and other.held.inside_m is None
        for other in tree.reaches
    )
    return opens, begins


def crown_m(size: PipeSize) -> float:
    """Invert to the outside crown."""
    return size.inside_m + size.wall_m


@dataclass(frozen=True)
class _Passed:
    """What a reach hands down, and how it came about."""

    ups: Floats
    downs: Floats
    insides: tuple[float | None, ...]
    before: Floats  # (flags, sizes, ups)
    best: Floats  # (flags, sizes, downs)
    chosen: NDArray[np.int32]


class Solver:
    """One tree, one costing, one set of limits.

    With ``unlike`` (key → size) it finds the least-cost design that differs from those sizes at
    one reach or more.
    """

    def __init__(
        self,
        tree: Tree,
        costing: Costing,
        limits: SizingLimits,
        *,
        unlike: Mapping[str, PipeSize] | None = None,
    ) -> None:
        self.tree, self.costing, self.limits, self.unlike = tree, costing, limits, unlike
        self.above = tree.above()
        self.known = {reach.key: reach for reach in tree.reaches}
        self.passed: dict[str, _Passed] = {}
        sizes = costing.sizes
        self._rises = np.array([(crown_m(size), size.wall_m + costing.bed_m) for size in sizes])
        self._trench = np.array([_trench_rates(size, costing) for size in sizes])
        self._solid = np.array([costing.solid_m(size) for size in sizes])
        self._bands = np.array(
            [(band.deeper_than_m, band.money) for band in costing.trench_bands], dtype=np.float64
        ).reshape(-1, 2)

    def solve(self) -> Solution | None:
        """None when nothing on the list and the grid keeps all limits."""
        for reach in self.tree.falling():
            self.passed[reach.key] = self._pass(reach)
        root = next(reach for reach in self.tree.reaches if reach.below is None)
        end = self.tree.end
        flag = 0 if self.unlike is None else 1
        if root.held is not None:
            found = self._choose(root.key, flag, None, -math.inf)
        else:
            level = -math.inf if end.least_m is None else end.least_m
            found = self._choose(root.key, flag, end.inside_m, level)
        if found is None:
            return None
        money, size, down = found
        laid: dict[str, Laid] = {}
        self._trace(root.key, flag, size, down, laid)
        return Solution(money, laid)

    def _pass(self, reach: SizingReach) -> _Passed:
        if reach.held is not None:
            ups, downs = np.array([reach.held.upstream_m]), np.array([reach.held.downstream_m])
            before = self._join(reach, (reach.held.inside_m,), ups)
            return _Passed(
                ups, downs, (reach.held.inside_m,), before, before.copy(),
                np.zeros(before.shape, dtype=np.int32),
            )  # fmt: skip
        profile = profile_of(reach, self.tree, self.limits)
        ups, downs = self._levels(reach, profile)
        sizes = self.costing.sizes
        insides = tuple(size.inside_m for size in sizes)
        before = self._join(reach, insides, ups)
        if reach.chamber_at_head:
            before += np.array([self.costing.chamber(depth) for depth in profile.level[0] - ups])
        if self.unlike is not None:
            same = np.array([size == self.unlike.get(reach.key) for size in sizes])[:, None]
            before = np.stack(
                [
                    np.where(same, before[0], np.inf),
                    np.where(same, before[1], before.min(axis=0)),
                ]
            )
        falls = [falls_of(size, reach.flow_m3s, reach.roughness_m, self.limits) for size in sizes]
        best, chosen = pass_down(
            before, ups, downs, profile.share, profile.level, profile.weight, profile.asked,
            self._rises,
            np.array([(one.least, one.most) for one in falls]) * reach.length_m,
            self._trench, self._solid, self._bands, reach.length_m, self.limits.most_depth_m,
        )  # fmt: skip
        return _Passed(ups, downs, insides, before, best, chosen)

    def _levels(self, reach: SizingReach, profile: Profile) -> tuple[Floats, Floats]:
        """Levels to try at both ends: the grid where limits allow, and the fixed levels met there."""
        smallest = float(self._rises[:, 0].min())
        specials_up = [
            other.held.downstream_m for other in self.above[reach.key] if other.held is not None
        ]
        floor, inside = self.floor(reach)
        specials_down = []
        if floor is not None:
            specials_down.append(floor)
            if inside is not None and self.limits.matching == "crown":
                specials_down += [
                    floor + inside - size.inside_m
                    for size in self.costing.sizes
                    if size.inside_m < inside
                ]
        ends = []
        for at, specials in ((0, specials_up), (-1, specials_down)):
            ground = float(profile.level[at])
            low = ground - self.limits.most_depth_m
            asked = float(profile.asked[at])
            high = ground - smallest - max(asked, 0.0)
            if asked < 0:
                high = max([high, *specials])
            if at == -1 and floor is not None:
                low = max(low, floor)
            ends.append(_grid(low, high, self.limits.grid_m, specials))
        return ends[0], ends[1]

    def floor(self, reach: SizingReach) -> tuple[float | None, float | None]:
        """The level below that is fixed, and the bore that takes the water there."""
        if reach.below is None:
            return self.tree.end.least_m, self.tree.end.inside_m
        held = self.known[reach.below].held
        if held is None:
            return None, None
        return (
            held.upstream_m if reach.joins_at_m is None else reach.joins_at_m,
            held.inside_m,
        )

    def floor_words(self, reach: SizingReach) -> str:
        if reach.below is None:
            return self.tree.end.words
        return f"{self.known[reach.below].name}, which stays,"

    def _join(self, reach: SizingReach, insides: tuple[float | None, ...], ups: Floats) -> Floats:
        """Least cost of all above, for each size and upper level of this reach."""
        flags = 1 if self.unlike is None else 2
        total = np.zeros((flags, len(insides), len(ups)))
        if flags == 2:
            total[1] = np.inf
        for other in self.above[reach.key]:
            if reach.held is not None and other.held is not None:
                # Two that stay as they are are not judged here; the check of the network does that.
                arriving = self.passed[other.key].best[:, :1, :1]
            else:
                at = ups if other.joins_at_m is None else np.array([other.joins_at_m])
                arriving = self._arriving(other.key, insides, at)
            if flags == 1:
                total += arriving
                continue
            either = arriving.min(axis=0)
            total[1] = np.minimum(total[1] + either, total[0] + arriving[1])
            total[0] = total[0] + arriving[0]
        return total

    def _arriving(self, key: str, insides: tuple[float | None, ...], ups: Floats) -> Floats:
        """Least cost at which a reach above arrives high enough, for each size and level here."""
        passed = self.passed[key]
        suffix = np.minimum.accumulate(passed.best[:, :, ::-1], axis=2)[:, :, ::-1]
        padded = np.concatenate([suffix, np.full((*suffix.shape[:2], 1), np.inf)], axis=2)
        found = np.full((len(padded), len(insides), len(ups)), np.inf)
        for here, inside in enumerate(insides):
            for there, bore in enumerate(passed.insides):
                lift = self.lift(bore, inside)
                if lift is None:
                    continue
                first = np.searchsorted(passed.downs, ups + lift - CLOSE_M)
                found[:, here] = np.minimum(found[:, here], padded[:, there, first])
        return found

    def lift(self, above: float | None, here: float | None) -> float | None:
        """How far above the invert here a bore must arrive; None when it may not follow at all."""
        if above is None or here is None:
            return 0.0
        if above > here * SAME_BORE and not self.limits.may_step_down:
            return None
        return max(0.0, here - above) if self.limits.matching == "crown" else 0.0

    def _choose(
        self, key: str, flag: int, inside: float | None, level: float
    ) -> tuple[float, int, int] | None:
        """(cost, size, level) of the cheapest way a reach arrives at a bore and a level."""
        passed = self.passed[key]
        found: tuple[float, int, int] | None = None
        for size, bore in enumerate(passed.insides):
            lift = self.lift(bore, inside)
            if lift is None:
                continue
            first = int(np.searchsorted(passed.downs, level + lift - CLOSE_M))
            if first == len(passed.downs):
                continue
            down = first + int(np.argmin(passed.best[flag, size, first:]))
            money = float(passed.best[flag, size, down])
            if math.isfinite(money) and (found is None or money < found[0]):
                found = (money, size, down)
        return found

    def _trace(self, key: str, flag: int, size: int, down: int, laid: dict[str, Laid]) -> None:
        """Follow the choices back up; a stack, for a long drain is deeper than Python recurses."""
        stack = [(key, flag, size, down)]
        while stack:
            key, flag, size, down = stack.pop()
            reach, passed = self.known[key], self.passed[key]
            up = int(passed.chosen[flag, size, down])
            chosen = None if reach.held is not None else self.costing.sizes[size]
            laid[key] = Laid(key, chosen, float(passed.ups[up]), float(passed.downs[down]))
            differs = chosen is not None and chosen != (self.unlike or {}).get(key)
            choices = self._split_flag(
                key, flag, differs, passed.insides[size], float(passed.ups[up])
            )
            stack += [(other, *choice) for other, choice in choices.items()]

    def _split_flag(
        self, key: str, flag: int, differs: bool, inside: float | None, level: float
    ) -> dict[str, tuple[int, int, int]]:
        """Which state each reach above is in, so that one of them differs where one has to."""
        options: dict[str, list[tuple[float, int, int, int]]] = {}
        for other in self.above[key]:
            options[other.key] = []
            stays = other.held is not None and self.known[key].held is not None
            bore, least = (None, -math.inf) if stays else (inside, level)
            if other.joins_at_m is not None and not stays:
                least = other.joins_at_m
            for which in range(1 if self.unlike is None else 2):
                found = self._choose(other.key, which, bore, least)
                if found is not None:
                    options[other.key].append((found[0], which, found[1], found[2]))
        if self.unlike is None or (flag == 1 and differs):
            picked = {name: min(ways) for name, ways in options.items()}
        elif flag == 0:
            picked = {
                name: next(way for way in ways if way[1] == 0) for name, ways in options.items()
            }
        else:
            picked = {name: min(ways) for name, ways in options.items()}
            if all(way[1] == 0 for way in picked.values()):
                other_ways = [
                    (way[0] - picked[name][0], name, way)
                    for name, ways in options.items()
                    for way in ways
                    if way[1] == 1
                ]
                _, name, way = min(other_ways)
                picked[name] = way
        return {name: (way[1], way[2], way[3]) for name, way in picked.items()}


def _trench_rates(size: PipeSize, costing: Costing) -> tuple[float, float, float]:
    """Money per m that depth does not change; per m of depth dug; per m of depth filled again."""
    width = costing.width_m(size)
    fixed = costing.line_per_m + size.money_per_m + costing.stone_per_m3 * costing.stone_m2(size)
    return (
        fixed,
        width * (costing.dig_per_m3 + costing.spoil_per_m3),
        width * (costing.fill_per_m3 - costing.spoil_per_m3 / costing.filled_per_m3),
    )


def _grid(low: float, high: float, step_m: float, specials: list[float]) -> Floats:
    """Multiples of the step from low to high, and the special levels that lie between."""
    first, last = math.ceil((low - CLOSE_M) / step_m), math.floor((high + CLOSE_M) / step_m)
    levels = [number * step_m for number in range(first, last + 1)]
    levels += [level for level in specials if low - CLOSE_M <= level <= high + CLOSE_M]
    kept: list[float] = []
    for level in sorted(levels):
        if not kept or level - kept[-1] > SAME_LEVEL_M:
            kept.append(round(level, 6))
    return np.array(kept, dtype=np.float64)
