"""When nothing fits: at which reach, which limits stand against each other, and by how much."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog

from worksprog.calc.sizing.given import PipeSize, SizingReach
from worksprog.calc.sizing.solve import (
    CLOSE_M,
    Falls,
    Profile,
    Solver,
    crown_m,
    falls_of,
    profile_of,
)


@dataclass(frozen=True)
class Conflict:
    """The uppermost reach on its branch that cannot be laid, and why in plain words."""

    key: str
    name: str
    words: str
    short_m: float | None = None


def find_conflicts(solver: Solver) -> tuple[Conflict, ...]:
    """Of a solver that found nothing: one conflict a branch, heads first."""
    found, stuck = [], set()
    for reach in solver.tree.falling():
        above = solver.above[reach.key]
        if any(other.key in stuck for other in above):
            stuck.add(reach.key)
        elif not np.isfinite(solver.passed[reach.key].best[0]).any():
            stuck.add(reach.key)
            found.append(_explain(solver, reach))
    if not found:
        root = next(reach for reach in solver.tree.reaches if reach.below is None)
        end = solver.tree.end
        if end.inside_m is None:
            return (_no_way_out(solver, root),)
        found.append(
            Conflict(
                root.key, root.name,
                f"{root.name} gives into {end.words}, of {end.inside_m * 1000:.0f} mm: the "
                "sizes that would carry its flow are larger, and the bore may not step down.",
            )
        )  # fmt: skip
    return tuple(found)


def _no_way_out(solver: Solver, root: SizingReach) -> Conflict:
    """The last reach can be laid, but not so that it comes out into an open end."""
    end = solver.tree.end
    ground_m = float(profile_of(root, solver.tree, solver.limits).level[-1])
    asked = "" if end.least_m is None else f" at {end.least_m:.2f} m or above"
    return Conflict(
        root.key,
        root.name,
        f"{root.name} cannot come out at {end.words}{asked} within the limits. The ground there is "
        f"taken at {ground_m:.2f} m: where that is the bed of a ditch, enter the level of the bank "
        "as the cover level of the outfall.",
    )


def _explain(solver: Solver, reach: SizingReach) -> Conflict:
    if reach.held is not None:
        return _cannot_join(solver, reach)
    limits = solver.limits
    sizes = solver.costing.sizes
    falls = [falls_of(size, reach.flow_m3s, reach.roughness_m, limits) for size in sizes]
    usable = [number for number, one in enumerate(falls) if one.least <= one.most]
    if not usable:
        return _no_size(solver, reach, falls)
    before = np.isfinite(solver.passed[reach.key].before[0])
    arriving = [number for number in usable if before[number].any()]
    if not arriving:
        return _cannot_join(solver, reach)
    profile = profile_of(reach, solver.tree, limits)
    tries = [
        _levels_conflict(solver, reach, sizes[number], falls[number], number, profile)
        for number in arriving
    ]
    return min(tries, key=lambda one: one.short_m or 0.0)


def _no_size(solver: Solver, reach: SizingReach, falls: list[Falls]) -> Conflict:
    limits, largest = solver.limits, solver.costing.sizes[-1]
    words = (
        f"{reach.name} must carry {reach.flow_m3s * 1000:.0f} l/s: no size up to "
        f"{largest.bore_mm} mm does so within "
    )
    if falls[-1].least_from == "flow":
        words += (
            f"the greatest gradient of 1 in {1 / limits.most_gradient:.0f} and "
            f"{limits.most_velocity_ms:g} m/s."
        )
    else:
        words += (
            f"a {falls[-1].least_from} and a {falls[-1].most_from} that leave it a gradient from "
            f"1 in {1 / falls[-1].most:.0f} to 1 in {1 / falls[-1].least:.0f}."
        )
    return Conflict(reach.key, reach.name, words)


def _cannot_join(solver: Solver, reach: SizingReach) -> Conflict:
    """What comes from above arrives too low or too large."""
    insides = solver.passed[reach.key].insides
    for other in solver.above[reach.key]:
        if other.held is not None and reach.held is not None:
            continue
        passed = solver.passed[other.key]
        bores = [
            bore
            for number, bore in enumerate(passed.insides)
            if np.isfinite(passed.best[0, number]).any()
        ]
        if all(solver.lift(bore, inside) is None for bore in bores for inside in insides):
            least = min(bore for bore in bores if bore is not None)
            most = max(inside for inside in insides if inside is not None)
            what = "the largest size on offer there is" if reach.held is None else "it stays at"
            return Conflict(
                reach.key, reach.name,
                f"{other.name} comes to {reach.name} with {least * 1000:.0f} mm inside at least, "
                f"and {what} {most * 1000:.0f} mm: the bore may not step down.",
            )  # fmt: skip
        highest = passed.downs[np.isfinite(passed.best[0]).any(axis=0)].max()
        ups = solver.passed[reach.key].ups
        lowest = float(ups.min()) if len(ups) else math.inf
        if highest < lowest - CLOSE_M:
            limit = f"stay within {solver.limits.most_depth_m:g} m of depth at its head"
            if reach.held is not None:
                limit = f"be reached, for it stays at {lowest:.2f} m"
            return Conflict(
                reach.key, reach.name,
                f"{reach.name} cannot take {other.name}, which arrives no higher than "
                f"{highest:.2f} m, and {limit}: {lowest - highest:.2f} m short.",
                lowest - highest,
            )  # fmt: skip
    names = " and ".join(other.name for other in solver.above[reach.key])
    return Conflict(
        reach.key, reach.name,
        f"{names} and {reach.name}: no sizes and levels let them meet there, the larger bore "
        f"never above the smaller, {solver.limits.matching}s matched.",
    )  # fmt: skip


def _levels_conflict(
    solver: Solver,
    reach: SizingReach,
    size: PipeSize,
    falls: Falls,
    number: int,
    profile: Profile,
) -> Conflict:
    """One size: from how high it can begin to how low it may end, against the fall it needs."""
    limits, passed = solver.limits, solver.passed[reach.key]
    length = reach.length_m
    by_cover = float(profile.level[0] - profile.asked[0]) - crown_m(size)
    reached = passed.ups[np.isfinite(passed.before[0, number])]
    from_above = float(reached.max()) if solver.above[reach.key] else math.inf
    high = min(by_cover, from_above)
    floor, _ = solver.floor(reach)
    by_depth = float(profile.level[-1]) - limits.most_depth_m
    low = max(by_depth, -math.inf if floor is None else floor)
    short = low + falls.least * length - high
    if short > CLOSE_M:
        if from_above < by_cover - limits.grid_m:
            names = " and ".join(other.name for other in solver.above[reach.key])
            first = f"take {names}, no higher than {from_above:.2f} m,"
        else:
            first = f"keep {limits.least_cover_m:g} m cover at its head"
        if floor is not None and floor >= by_depth:
            then = f"reach {solver.floor_words(reach)} at {floor:.2f} m"
        else:
            then = f"stay within {limits.most_depth_m:g} m of depth at its end"
        return Conflict(
            reach.key, reach.name,
            f"{reach.name} cannot {first} and {then}: {short:.2f} m short, even with "
            f"{size.bore_mm} mm at 1 in {1 / falls.least:.0f}, the flattest it may lie "
            f"({falls.least_from}).",
            short,
        )  # fmt: skip
    under = float(profile.level[-1] - profile.asked[-1]) - crown_m(size)
    if floor is not None and floor > under + CLOSE_M:
        return Conflict(
            reach.key, reach.name,
            f"{reach.name} cannot keep {limits.least_cover_m:g} m cover at its end, even with "
            f"{size.bore_mm} mm, and reach {solver.floor_words(reach)} at {floor:.2f} m: "
            f"{floor - under:.2f} m short.",
            floor - under,
        )  # fmt: skip
    deepest = float(profile.level[0]) - limits.most_depth_m
    shallow = float(profile.level[-1] - profile.asked[-1]) - crown_m(size)
    steep = deepest - shallow - falls.most * length
    if steep > CLOSE_M:
        return Conflict(
            reach.key, reach.name,
            f"{reach.name} cannot stay within {limits.most_depth_m:g} m of depth at its head, keep "
            f"{limits.least_cover_m:g} m cover at its end and lie no steeper than "
            f"1 in {1 / falls.most:.0f} ({falls.most_from}): {steep:.2f} m short.",
            steep,
        )  # fmt: skip
    return _ground_conflict(solver, reach, size, falls, profile, (low, from_above))


def _ground_conflict(
    solver: Solver,
    reach: SizingReach,
    size: PipeSize,
    falls: Falls,
    profile: Profile,
    ends: tuple[float, float],
) -> Conflict:
    """Hollows and humps between the ends: the least by which cover and depth must both give way."""
    limits, length = solver.limits, reach.length_m
    share, level = profile.share, profile.level
    cover = np.isfinite(profile.asked)
    # Unknowns: upstream invert, downstream invert, and what cover and depth give way by.
    along = np.column_stack([1 - share, share])
    rows = [
        np.column_stack([along[cover], -np.ones(int(cover.sum()))]),
        np.column_stack([-along, -np.ones(len(share))]),
        np.array([[-1.0, 1.0, 0.0], [1.0, -1.0, 0.0]]),
    ]
    sides = [
        level[cover] - profile.asked[cover] - crown_m(size),
        limits.most_depth_m - level,
        np.array([-falls.least * length, falls.most * length]),
    ]
    low, high = ends
    answer = linprog(
        [0.0, 0.0, 1.0],
        A_ub=np.vstack(rows),
        b_ub=np.concatenate(sides),
        bounds=[(None, high if math.isfinite(high) else None), (low, None), (None, None)],
    )
    found = answer.x if answer.success else None
    short = math.inf if found is None else float(found[2])
    if found is None or short <= CLOSE_M:
        return Conflict(
            reach.key, reach.name,
            f"{reach.name}: no pair of levels on the grid of {limits.grid_m * 1000:.0f} mm keeps "
            "all limits together. Take a finer grid or ease one of them.",
            None if found is None else 0.0,
        )  # fmt: skip
    invert = along @ found[:2]
    hollow = int(np.argmin(np.where(cover, level - invert, np.inf)))
    hump = int(np.argmax(level - invert))
    return Conflict(
        reach.key, reach.name,
        f"{reach.name} cannot keep {limits.least_cover_m:g} m cover in the low ground "
        f"{share[hollow] * length:.0f} m from its head and stay within {limits.most_depth_m:g} m "
        f"of depth {share[hump] * length:.0f} m from it: each would have to give way by "
        f"{short:.2f} m. A chamber between the two would let it bend.",
        short,
    )  # fmt: skip
