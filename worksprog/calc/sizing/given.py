"""What the sizing is given: the tree of reaches, the sizes on offer, the limits and the prices."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

Matching = Literal["invert", "crown"]
STEEPEST_GRADIENT = 1.0
SAME_LEVEL_M = 1e-6


@dataclass(frozen=True)
class PipeSize:
    """A size on offer: its nominal bore (what it is bought by) and what it truly measures (m)."""

    bore_mm: int
    inside_m: float
    outside_m: float
    money_per_m: float  # bought, with what is cut to waste

    def __post_init__(self) -> None:
        if not 0 < self.inside_m <= self.outside_m <= 5:
            raise ValueError(
                f"{self.bore_mm} mm: inside {self.inside_m:g} m and outside {self.outside_m:g} m "
                "do not make a pipe."
            )
        if not self.money_per_m >= 0:
            raise ValueError(f"{self.bore_mm} mm: a price below 0 was given.")

    @property
    def wall_m(self) -> float:
        return (self.outside_m - self.inside_m) / 2


@dataclass(frozen=True)
class DepthBand:
    """What is added from a depth on (m): for each metre of trench, or for each chamber."""

    deeper_than_m: float
    money: float


@dataclass(frozen=True)
class Costing:
    """Plain unit rates (money before tax, likely figures).

    Trench: upright sides, width = outside of the pipe + ``trench_margin_m``; depth = ground to
    invert + wall + ``bed_m``. Dug earth goes back above the stone, what is left over is taken off.
    A band's extra is added for the stretch about each point whose depth to invert exceeds it; bands
    that are exceeded add up.
    """

    sizes: tuple[PipeSize, ...]
    line_per_m: float = 0.0  # set out, lay and level, make good: no size or depth changes it
    dig_per_m3: float = 0.0
    fill_per_m3: float = 0.0
    spoil_per_m3: float = 0.0  # of what is left over, in the bank
    stone_per_m3: float = 0.0
    trench_margin_m: float = 0.3
    bed_m: float = 0.1
    over_crown_m: float = 0.1
    filled_per_m3: float = 0.95  # trench filled by one m³ put back
    trench_bands: tuple[DepthBand, ...] = ()
    chamber_each: float = 0.0
    chamber_bands: tuple[DepthBand, ...] = ()

    def __post_init__(self) -> None:
        if not self.sizes:
            raise ValueError("At least one pipe size with a price is needed.")
        bores = [size.inside_m for size in self.sizes]
        if sorted(set(bores)) != bores:
            raise ValueError("Pipe sizes must rise, each once.")
        if not 0 < self.filled_per_m3 <= 2:
            raise ValueError("What one m³ put back fills must lie between 0 and 2 m³.")

    def width_m(self, size: PipeSize) -> float:
        return size.outside_m + self.trench_margin_m

    def solid_m(self, size: PipeSize) -> float:
        """Height of bed, pipe and stone over it."""
        return self.bed_m + size.outside_m + self.over_crown_m

    def stone_m2(self, size: PipeSize) -> float:
        """Stone in a metre of trench: width × (bed + outside + over the pipe) − π outside²/4."""
        return self.width_m(size) * self.solid_m(size) - math.pi * size.outside_m**2 / 4

    def chamber(self, depth_m: float) -> float:
        return self.chamber_each + sum(
            band.money for band in self.chamber_bands if depth_m > band.deeper_than_m
        )


@dataclass(frozen=True)
class SizingLimits:
    """The limits a design keeps. None of them is a standard: they are the designer's own.

    least_cover_m       ground to the outside crown, at every point of the line
    most_depth_m        ground to invert, at every point of the line
    least_velocity_ms   full bore, self-cleansing; most_velocity_ms full bore
    least_gradient      m/m, and most_gradient
    matching            "invert": a pipe arrives at or above the invert of the one it gives into;
                        "crown": its inside crown lies at or above that pipe's inside crown as well
    may_step_down       a smaller bore may follow a larger one downstream; bores within 5 % of each
                        other are one size from two makers and no step
    spare_share         capacity left over the flow, as a share of the capacity: the check tells it
                        so too
    cover_free_m        length beside an outfall or an open ditch, where no cover is asked for
    grid_m              levels are tried at multiples of it
    """

    least_cover_m: float = 0.6
    most_depth_m: float = 2.5
    least_velocity_ms: float = 0.7
    most_velocity_ms: float = 4.0
    least_gradient: float = 1 / 500
    most_gradient: float = 1 / 10
    matching: Matching = "invert"
    may_step_down: bool = False
    spare_share: float = 0.0
    cover_free_m: float = 5.0
    grid_m: float = 0.01

    def __post_init__(self) -> None:
        if not 0 <= self.least_cover_m < self.most_depth_m <= 10:
            raise ValueError(
                f"A cover of {self.least_cover_m:g} m and a depth of {self.most_depth_m:g} m: "
                "the depth must be the greater, and 10 m at most."
            )
        if not 0 <= self.least_velocity_ms < self.most_velocity_ms:
            raise ValueError("The least velocity must lie below the greatest.")
        if not 0 < self.least_gradient < self.most_gradient <= STEEPEST_GRADIENT:
            raise ValueError(
                "Gradients are metres per metre (1 in 200 is 0.005), the least below the "
                "greatest and that no steeper than 1 in 1."
            )
        if not 0 <= self.spare_share <= 0.9:
            raise ValueError("What is left to spare lies between 0 and 90 % of the capacity.")
        if not 0.002 <= self.grid_m <= 0.1:
            raise ValueError("Levels are tried every 2 to 100 mm.")


@dataclass(frozen=True)
class Held:
    """A reach that stays as it is: its inverts (m) and its inside diameter, None for a ditch."""

    upstream_m: float
    downstream_m: float
    inside_m: float | None


@dataclass(frozen=True)
class SizingReach:
    """One reach of the tree, from its head down.

    ``below``: key of the reach it gives into; None at the lower end of the tree.
    ``ground``: (distance from its head, ground level), its own two ends included; between the
    points the ground is taken as straight.
    ``joins_at_m``: the invert below where it joins a reach that stays part way along.
    """

    key: str
    name: str
    length_m: float
    flow_m3s: float
    ground: tuple[tuple[float, float], ...]
    below: str | None = None
    held: Held | None = None
    roughness_m: float = 0.0006
    chamber_at_head: bool = True
    joins_at_m: float | None = None

    def __post_init__(self) -> None:
        if not math.isfinite(self.length_m) or self.length_m <= 0:
            raise ValueError(f"{self.name}: a length must be more than 0 m.")
        if not math.isfinite(self.flow_m3s) or self.flow_m3s < 0:
            raise ValueError(f"{self.name}: a flow of {self.flow_m3s:g} m³/s cannot be.")
        if self.held is not None:
            return
        along = [distance for distance, _ in self.ground]
        if len(along) < 2 or any(b <= a for a, b in pairwise(along)):
            raise ValueError(f"{self.name}: ground levels from its head to its end are needed.")
        if abs(along[0]) > SAME_LEVEL_M or abs(along[-1] - self.length_m) > 0.01:
            raise ValueError(f"{self.name}: ground levels must reach from end to end.")
        if not all(math.isfinite(level) for _, level in self.ground):
            raise ValueError(f"{self.name}: a ground level is not a number.")


@dataclass(frozen=True)
class LowerEnd:
    """What the tree gives into: the lowest invert it may have there, in words, and any bore limit.

    ``least_m`` None: nothing fixes the level but the limits. ``inside_m``: the bore of the reach it
    gives into, where there is one, and its invert is ``least_m``. ``is_outfall``: open to the air.
    """

    words: str
    least_m: float | None = None
    inside_m: float | None = None
    is_outfall: bool = True


@dataclass(frozen=True)
class Tree:
    """Reaches that all give into one lower end. ValueError when they do not."""

    reaches: tuple[SizingReach, ...]
    end: LowerEnd

    def __post_init__(self) -> None:
        known = {reach.key: reach for reach in self.reaches}
        if len(known) != len(self.reaches):
            raise ValueError("Two reaches have the same key.")
        roots = [reach for reach in self.reaches if reach.below is None]
        if len(roots) != 1:
            raise ValueError(
                f"A tree has one lower end; here {len(roots)} reaches give into nothing below."
            )
        for reach in self.reaches:
            if reach.below is not None and reach.below not in known:
                raise ValueError(f"{reach.name} gives into a reach that is not in the tree.")
            if reach.joins_at_m is not None and (
                reach.below is None or known[reach.below].held is None
            ):
                raise ValueError(
                    f"{reach.name} joins part way along a reach whose levels are open."
                )
        if len(self.falling()) != len(self.reaches):
            raise ValueError("The reaches run in a ring.")

    def above(self) -> dict[str, list[SizingReach]]:
        found: dict[str, list[SizingReach]] = {reach.key: [] for reach in self.reaches}
        for reach in self.reaches:
            if reach.below is not None:
                found[reach.below].append(reach)
        return found

    def falling(self) -> list[SizingReach]:
        """Every reach after those above it; those in or below a ring are left out."""
        known = {reach.key: reach for reach in self.reaches}
        waiting = {key: len(others) for key, others in self.above().items()}
        order = [reach for reach in self.reaches if waiting[reach.key] == 0]
        for reach in order:
            if reach.below is not None:
                waiting[reach.below] -= 1
                if waiting[reach.below] == 0:
                    order.append(known[reach.below])
        return order

    def with_flows(self, flows_m3s: Sequence[float]) -> Tree:
        """The same tree with other flows, in the order of its reaches."""
        return replace(
            self,
            reaches=tuple(
                replace(reach, flow_m3s=flow)
                for reach, flow in zip(self.reaches, flows_m3s, strict=True)
            ),
        )
