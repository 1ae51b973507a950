"""What a design comes to: money by part, cover, depth, capacity, and which limits bind where."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from worksprog.calc import pipes
from worksprog.calc.pipes import PipeSection
from worksprog.calc.roots import one
from worksprog.calc.sizing.given import Costing, PipeSize, SizingLimits, SizingReach, Tree
from worksprog.calc.sizing.solve import (
    CLOSE_M,
    Falls,
    Laid,
    Profile,
    Solution,
    crown_m,
    falls_of,
    profile_of,
)
from worksprog.calc.working import Step, Working


@dataclass(frozen=True)
class Parts:
    """Money of one reach by part; the chamber is the one at its head."""

    pipe: float = 0.0
    trench: float = 0.0
    depth_extra: float = 0.0
    bedding: float = 0.0
    line: float = 0.0
    chamber: float = 0.0

    @property
    def total(self) -> float:
        return self.pipe + self.trench + self.depth_extra + self.bedding + self.line + self.chamber

    def plus(self, other: Parts) -> Parts:
        return Parts(
            self.pipe + other.pipe,
            self.trench + other.trench,
            self.depth_extra + other.depth_extra,
            self.bedding + other.bedding,
            self.line + other.line,
            self.chamber + other.chamber,
        )


@dataclass(frozen=True)
class Sized:
    """One reach of a design with its figures; those of a reach that stays are left out (None)."""

    key: str
    name: str
    size: PipeSize | None
    held_inside_m: float | None
    upstream_m: float
    downstream_m: float
    length_m: float
    flow_m3s: float
    capacity_m3s: float | None
    velocity_ms: float | None  # full bore
    least_cover_m: float | None
    least_cover_at_m: float | None  # from its head
    most_depth_m: float | None
    most_depth_at_m: float | None
    mean_depth_m: float | None
    money: Parts
    binds: tuple[str, ...]

    @property
    def gradient(self) -> float:
        return (self.upstream_m - self.downstream_m) / self.length_m

    @property
    def one_in(self) -> float | None:
        return 1 / self.gradient if self.gradient > 0 else None

    @property
    def stays(self) -> bool:
        return self.size is None

    @property
    def inside_m(self) -> float | None:
        return self.held_inside_m if self.size is None else self.size.inside_m


@dataclass(frozen=True)
class Design:
    """A whole design, heads first."""

    reaches: tuple[Sized, ...]
    money: Parts

    def reach(self, key: str) -> Sized:
        """KeyError when the design has no such reach."""
        return next_or_key_error(self.reaches, key)


def next_or_key_error(reaches: tuple[Sized, ...], key: str) -> Sized:
    for reach in reaches:
        if reach.key == key:
            return reach
    raise KeyError(key)


def describe(solution: Solution, tree: Tree, costing: Costing, limits: SizingLimits) -> Design:
    found = []
    for reach in tree.falling():
        found.append(_sized(reach, solution, tree, costing, limits))
    money = Parts()
    for sized in found:
        money = money.plus(sized.money)
    return Design(tuple(found), money)


def _sized(
    reach: SizingReach,
    solution: Solution,
    tree: Tree,
    costing: Costing,
    limits: SizingLimits,
) -> Sized:
    laid = solution.laid[reach.key]
    if laid.size is None:
        return Sized(
            reach.key, reach.name, None, reach.held.inside_m if reach.held else None,
            laid.upstream_m, laid.downstream_m, reach.length_m, reach.flow_m3s,
            None, None, None, None, None, None, None, Parts(), (),
        )  # fmt: skip
    profile = profile_of(reach, tree, limits)
    depth = depths(profile, laid)
    cover = depth - laid.size.inside_m - laid.size.wall_m
    gradient = (laid.upstream_m - laid.downstream_m) / reach.length_m
    velocity = float(
        pipes.full_bore_velocities(one(laid.size.inside_m), one(gradient), one(reach.roughness_m))
    )
    along = profile.share * reach.length_m
    asked = np.where(profile.asked >= limits.least_cover_m, cover, np.inf)
    shallow, deep = int(np.argmin(asked)), int(np.argmax(depth))
    return Sized(
        key=reach.key,
        name=reach.name,
        size=laid.size,
        held_inside_m=None,
        upstream_m=laid.upstream_m,
        downstream_m=laid.downstream_m,
        length_m=reach.length_m,
        flow_m3s=reach.flow_m3s,
        capacity_m3s=velocity * math.pi * laid.size.inside_m**2 / 4,
        velocity_ms=velocity,
        least_cover_m=float(asked[shallow]) if math.isfinite(asked[shallow]) else None,
        least_cover_at_m=float(along[shallow]),
        most_depth_m=float(depth[deep]),
        most_depth_at_m=float(along[deep]),
        mean_depth_m=float(np.dot(profile.weight, depth)),
        money=parts_of(reach, laid, profile, costing),
        binds=_binds(reach, solution, tree, costing, limits, profile),
    )


def depths(profile: Profile, laid: Laid) -> np.ndarray:
    """Ground to invert at each ground point (m)."""
    fall = laid.upstream_m - laid.downstream_m
    return np.asarray(profile.level - laid.upstream_m + fall * profile.share)


def parts_of(reach: SizingReach, laid: Laid, profile: Profile, costing: Costing) -> Parts:
    size = laid.size
    if size is None:
        return Parts()
    depth = depths(profile, laid)
    width = costing.width_m(size)
    dug = np.maximum(depth + size.wall_m + costing.bed_m, 0)
    filled = np.maximum(dug - costing.solid_m(size), 0)
    dug_m3 = width * float(np.dot(profile.weight, dug)) * reach.length_m
    filled_m3 = width * float(np.dot(profile.weight, filled)) * reach.length_m
    left_m3 = dug_m3 - filled_m3 / costing.filled_per_m3
    extra = 0.0
    for band in costing.trench_bands:
        deep = depth > band.deeper_than_m + CLOSE_M
        extra += band.money * float(profile.weight[deep].sum()) * reach.length_m
    return Parts(
        pipe=size.money_per_m * reach.length_m,
        trench=costing.dig_per_m3 * dug_m3
        + costing.fill_per_m3 * filled_m3
        + costing.spoil_per_m3 * left_m3,
        depth_extra=extra,
        bedding=costing.stone_per_m3 * costing.stone_m2(size) * reach.length_m,
        line=costing.line_per_m * reach.length_m,
        chamber=costing.chamber(float(depth[0])) if reach.chamber_at_head else 0.0,
    )


def _binds(
    reach: SizingReach,
    solution: Solution,
    tree: Tree,
    costing: Costing,
    limits: SizingLimits,
    profile: Profile,
) -> tuple[str, ...]:
    """Limits with less than a step of the grid to spare; sizes that the order of sizes asks for."""
    laid = solution.laid[reach.key]
    size = laid.size
    assert size is not None
    step = limits.grid_m - CLOSE_M
    along = profile.share * reach.length_m
    depth = depths(profile, laid)
    spare = depth - crown_m(size) - profile.asked
    binds = []
    if spare.min() < step:
        binds.append(f"cover, {along[int(np.argmin(spare))]:.0f} m from its head")
    if (limits.most_depth_m - depth).min() < step:
        binds.append(f"depth, {along[int(np.argmax(depth))]:.0f} m from its head")
    falls = falls_of(size, reach.flow_m3s, reach.roughness_m, limits)
    fall = laid.upstream_m - laid.downstream_m
    if fall - falls.least * reach.length_m < step:
        binds.append(falls.least_from)
    if falls.most * reach.length_m - fall < step:
        binds.append(falls.most_from)
    if reach.below is None:
        if tree.end.least_m is not None and laid.downstream_m - tree.end.least_m < step:
            binds.append(f"level of {tree.end.words}")
    else:
        below = next(other for other in tree.reaches if other.key == reach.below)
        if (
            below.held is not None
            and laid.downstream_m
            - (below.held.upstream_m if reach.joins_at_m is None else reach.joins_at_m)
            < step
        ):
            binds.append(f"level of {below.name}, which stays")
    binds += _size_binds(reach, laid, solution, tree, costing, limits)
    return tuple(binds)


def _size_binds(
    reach: SizingReach,
    laid: Laid,
    solution: Solution,
    tree: Tree,
    costing: Costing,
    limits: SizingLimits,
) -> list[str]:
    size = laid.size
    number = costing.sizes.index(size) if size is not None else 0
    if not number or limits.may_step_down:
        return []
    smaller = costing.sizes[number - 1]
    falls = falls_of(smaller, reach.flow_m3s, reach.roughness_m, limits)
    gradient = (laid.upstream_m - laid.downstream_m) / reach.length_m
    if not falls.least <= gradient <= falls.most:
        return []
    larger = []
    for other in tree.reaches:
        if other.below != reach.key:
            continue
        above = solution.laid[other.key].size
        inside = above.inside_m if above is not None else (other.held and other.held.inside_m)
        if inside and inside > smaller.inside_m:
            larger.append(other.name)
    return [f"no smaller than {' and '.join(larger)} above"] if larger else []


def cost_working(reach: SizingReach, sized: Sized, costing: Costing) -> Working:
    """How the money of one reach came about."""
    size = sized.size
    if size is None or sized.mean_depth_m is None:
        raise ValueError(f"{sized.name} stays as it is: it costs nothing here.")
    width, solid = costing.width_m(size), costing.solid_m(size)
    dug = sized.mean_depth_m + size.wall_m + costing.bed_m
    stone = costing.stone_m2(size) * reach.length_m
    money = sized.money
    book = "price book"
    steps = [
        Step("L", "length", f"{reach.length_m:.2f}", "m", source="its line"),
        Step("D", "inside diameter", size.inside_m, "m", source=f"{size.bore_mm} mm nominal"),
        Step("Do", "outside diameter", size.outside_m, "m"),
        Step("b", "trench width", width, "m", formula="Do + room at its sides"),
        Step("d", "mean depth, ground to invert", sized.mean_depth_m, "m",
             formula="mean along the line"),
        Step("t", "mean trench depth", dug, "m", formula="d + wall + bed"),
        Step("Vd", "dug", width * dug * reach.length_m, "m³", formula="b · t · L"),
        Step("h", "bed, pipe and stone over it", solid, "m"),
        Step("Vs", "stone", stone, "m³", formula="(b · h − π Do²/4) · L"),
        Step("", "pipe, bought", money.pipe, "", f"{size.money_per_m:.2f} · L", book),
        Step("", "trench: dig, put back, take off", money.trench, "",
             f"{costing.dig_per_m3:.2f} a m³ dug, {costing.fill_per_m3:.2f} a m³ put back, "
             f"{costing.spoil_per_m3:.2f} a m³ left over", book),
        Step("", "extra for depth", money.depth_extra, "",
             "; ".join(f"{band.money:.2f} a m deeper than {band.deeper_than_m:g} m"
                       for band in costing.trench_bands) or "none in the price book", book),
        Step("", "stone, bed and surround", money.bedding, "",
             f"{costing.stone_per_m3:.2f} · Vs", book),
        Step("", "set out, lay, make good", money.line, "", f"{costing.line_per_m:.2f} · L", book),
        Step("", "chamber at its head", money.chamber, "", "each, and extra by depth", book),
        Step("", "this reach", money.total, "", "sum"),
    ]  # fmt: skip
    return Working(
        "What it costs",
        tuple(steps),
        ("Money before tax, likely figures; upright trench sides.",),
    )


def capacity_working(reach: SizingReach, sized: Sized, limits: SizingLimits) -> Working:
    """Full-bore velocity and capacity, and the gradients between which the size may lie."""
    size = sized.size
    if size is None:
        raise ValueError(f"{sized.name} stays as it is: see the check of the network.")
    base = pipes.capacity_working(PipeSection(size.inside_m, reach.roughness_m), sized.gradient)
    falls: Falls = falls_of(size, reach.flow_m3s, reach.roughness_m, limits)
    return Working(
        "What it carries",
        (
            *base.steps,
            Step("Q", "flow to carry", reach.flow_m3s * 1000, "l/s", source="check of the network"),
            Step(
                "",
                "flattest it may lie, 1 in",
                1 / falls.least,
                source=f"set by {falls.least_from}",
            ),
            Step(
                "", "steepest it may lie, 1 in", 1 / falls.most, source=f"set by {falls.most_from}"
            ),
            Step("1 in", "it lies at", sized.one_in or 0.0, formula="L / (u − d)"),
        ),
        base.notes,
    )
