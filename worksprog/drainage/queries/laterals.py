"""Laterals in an area: which drains could carry them, and what a layout comes to."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from worksprog.calc.ground import Ground
from worksprog.calc.laterals import (
    AreaFall,
    DrainWish,
    Lateral,
    LateralLevels,
    Layout,
    Pattern,
    Wish,
    fall_of_area,
    lay_out,
    set_levels,
)
from worksprog.course.models import DRAIN_LINES, Feature, State
from worksprog.drainage.bridge import levels_of

NEAR_CARRIER_M = 60.0
START_ANGLES_DEG = (45.0, 30.0, 60.0, 15.0, 75.0, 0.0)
START_CARRIERS = 4
START_LENGTH_SHARE = 0.8
SAMPLES_ACROSS = 25


def carriers_near(area: Feature) -> list[Feature]:
    """Pipes and ditches within 60 m of an area, nearest first. One query."""
    rows = (
        Feature.objects.filter(club=area.club, kind__in=DRAIN_LINES)
        .exclude(state=State.REMOVED)
        .select_related("reach")
        .defer("notes")
    )
    near = [(float(row.geometry.distance(area.geometry)), row.pk, row) for row in rows]
    return [row for away, _, row in sorted(near, key=lambda one: one[:2]) if away <= NEAR_CARRIER_M]


def fall_within(area: Feature, ground: Ground | None) -> AreaFall | None:
    """The even slope of the ground inside an area; None where too little of it is known."""
    if ground is None:
        return None
    west, south, east, north = area.geometry.bounds
    x, y = (
        part.ravel()
        for part in np.meshgrid(
            np.linspace(west, east, SAMPLES_ACROSS), np.linspace(south, north, SAMPLES_ACROSS)
        )
    )
    inside = shapely.contains_xy(area.geometry, x, y)
    try:
        return fall_of_area(x[inside], y[inside], ground.levels_at(x[inside], y[inside]))
    except ValueError:
        return None


def invert_along(carrier: Feature | None) -> Callable[[float], float | None]:
    """The carrier's invert at a chainage along its line: even between its two ends."""
    row = None if carrier is None else getattr(carrier, "reach", None)
    if carrier is None or row is None:
        return lambda _chainage: None
    levels, length = levels_of(carrier, row), carrier.length_m
    upper, lower = levels.upstream_m, levels.downstream_m
    if upper is None or lower is None or not length:
        return lambda _chainage: None
    return lambda chainage: upper + (lower - upper) * chainage / length


@dataclass(frozen=True)
class Laid:
    """A layout with its levels, one for each drain in the same order."""

    layout: Layout
    levels: tuple[LateralLevels, ...]

    @property
    def rows(self) -> list[tuple[Lateral, LateralLevels]]:
        return list(zip(self.layout.laterals, self.levels, strict=True))

    @property
    def faults(self) -> int:
        return sum(level.is_fault for level in self.levels)

    @property
    def fault_share(self) -> float:
        """Metres of drains at fault in each metre laid."""
        bad = sum(lateral.length_m for lateral, level in self.rows if level.is_fault)
        return bad / self.layout.length_m

    @property
    def mean_depth_m(self) -> float | None:
        """Mean depth of the two ends, weighed by length; None where no level is known."""
        known = [
            (lateral.length_m, level.upper_ground_m - level.upper_invert_m,
             level.lower_ground_m - level.lower_invert_m)
            for lateral, level in self.rows
            if level.upper_ground_m is not None and level.upper_invert_m is not None
            and level.lower_ground_m is not None and level.lower_invert_m is not None
        ]  # fmt: skip
        length = sum(one for one, _, _ in known)
        if not length:
            return None
        return sum(one * (head + foot) / 2 for one, head, foot in known) / length


def lay_into(
    area: Feature, carrier: Feature | None, wish: Wish, drain: DrainWish, ground: Ground | None
) -> Laid:
    """Lay drains into an area and set their levels; ValueError in words when it cannot be."""
    layout = lay_out(area.geometry, None if carrier is None else carrier.geometry, wish)
    levels = set_levels(
        layout,
        drain,
        levels_at=None if ground is None else ground.levels_at,
        carrier_invert_at=invert_along(carrier),
    )
    return Laid(layout, levels)


def best_start(
    area: Feature,
    carriers: Sequence[Feature],
    wish: Wish,
    drain: DrainWish,
    ground: Ground | None,
) -> tuple[Feature, Wish] | None:
    """Of the nearest carriers, both patterns and a few angles: the least at fault, metre for metre.

    Only layouts of nearly the greatest length count, for a few drains have few faults. Among
    equals the wish itself with the nearest carrier comes first, then the longer layout.
    """
    angles = dict.fromkeys((wish.angle_to_fall_deg, *START_ANGLES_DEG))
    patterns: dict[Pattern, None] = dict.fromkeys((wish.pattern, "parallel", "herring"))
    tried: list[tuple[Laid, Feature, Wish]] = []
    for carrier in carriers[:START_CARRIERS]:
        for pattern in patterns:
            for angle in angles:
                one = replace(wish, pattern=pattern, angle_to_fall_deg=angle)
                try:
                    laid = lay_into(area, carrier, one, drain, ground)
                except ValueError:
                    continue
                if laid.layout.length_m:
                    tried.append((laid, carrier, one))
                if not laid.faults and len(tried) == 1:
                    return carrier, one
    if not tried:
        return None
    longest = max(laid.layout.length_m for laid, _, _ in tried)
    whole = [one for one in tried if one[0].layout.length_m >= START_LENGTH_SHARE * longest]
    _, carrier, found = min(
        whole, key=lambda one: (round(one[0].fault_share, 3), -one[0].layout.length_m)
    )
    return carrier, found
