"""Volumes of earth: sections along a line, trenches with their pipe and stone, bulking.

Plane geometry only: a trench dug to the drawn width. Overbreak, soft spots and slips come on top
and belong in the high figure of an estimate.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

from worksprog.calc.ranges import ThreePoint
from worksprog.calc.soils import Soil
from worksprog.calc.working import Step, Working

GEOMETRY = "plane geometry"


def _need_positive(value: float, what: str) -> None:
    if not value > 0:
        raise ValueError(f"{what} must be more than 0, not {value:g}.")


def _need_not_negative(value: float, what: str) -> None:
    if not value >= 0:
        raise ValueError(f"{what} must not be negative, not {value:g}.")


def trapezoid_area_m2(*, bottom_m: float, side_slope: float, depth_m: float) -> float:
    """Area of a trapezoidal section, m²: A = (b + z d) d.

    ``bottom_m`` bottom width b; ``side_slope`` z, metres out for one metre up (0 = upright);
    ``depth_m`` d. ValueError when one of them is negative. Source: plane geometry.
    """
    _need_not_negative(bottom_m, "The bottom width")
    _need_not_negative(side_slope, "The side slope")
    _need_not_negative(depth_m, "The depth")
    return (bottom_m + side_slope * depth_m) * depth_m


def end_area_volume_m3(*, length_m: float, area_start_m2: float, area_end_m2: float) -> float:
    """Average end area: V = L (A1 + A2) / 2, m³. Too large where the depth changes along L."""
    _need_not_negative(length_m, "The length")
    return length_m * (area_start_m2 + area_end_m2) / 2


def prismoidal_volume_m3(
    *, length_m: float, area_start_m2: float, area_middle_m2: float, area_end_m2: float
) -> float:
    """Prismoidal rule: V = L (A1 + 4 Am + A2) / 6, m³; exact where sides are straight.

    Am is the section halfway, from the mean dimensions, not the mean of the two areas.
    """
    _need_not_negative(length_m, "The length")
    return length_m * (area_start_m2 + 4 * area_middle_m2 + area_end_m2) / 6


@dataclass(frozen=True)
class DitchVolume:
    """What comes out of a ditch whose depth changes evenly from one end to the other."""

    dig_m3: float  # in the bank, by the prismoidal rule
    end_area_m3: float  # the same by average end area, for comparison
    surface_m2: float  # plan area at the top, where turf is lost
    sides_m2: float  # area of the two sloping sides
    working: Working


def ditch_volume(
    *,
    length_m: float,
    bottom_m: float,
    side_slope: float,
    depth_start_m: float,
    depth_end_m: float,
) -> DitchVolume:
    """Dig of a trapezoidal ditch, prismoidal rule.

    ValueError when the length or a depth is not more than 0, or a width or slope is negative.
    Source: plane geometry (the prismoidal rule is exact for straight sides).
    """
    _need_positive(length_m, "The length")
    _need_positive(depth_start_m, "The depth at the start")
    _need_positive(depth_end_m, "The depth at the end")
    middle_m = (depth_start_m + depth_end_m) / 2
    areas = [
        trapezoid_area_m2(bottom_m=bottom_m, side_slope=side_slope, depth_m=depth)
        for depth in (depth_start_m, middle_m, depth_end_m)
    ]
    dig = prismoidal_volume_m3(
        length_m=length_m, area_start_m2=areas[0], area_middle_m2=areas[1], area_end_m2=areas[2]
    )
    by_ends = end_area_volume_m3(length_m=length_m, area_start_m2=areas[0], area_end_m2=areas[2])
    top_m = bottom_m + 2 * side_slope * middle_m
    sides = 2 * length_m * middle_m * (1 + side_slope**2) ** 0.5
    steps = (
        Step("L", "length", length_m, "m"),
        Step("b", "bottom width", bottom_m, "m"),
        Step("z", "side slope, out for one up", side_slope),
        Step("d1, d2", "depth at the two ends", f"{depth_start_m:g} and {depth_end_m:g}", "m"),
        Step("A1", "section at the start", areas[0], "m²", "(b + z d1) d1", GEOMETRY),
        Step("Am", "section halfway, from the mean depth", areas[1], "m²", "(b + z dm) dm"),
        Step("A2", "section at the end", areas[2], "m²", "(b + z d2) d2"),
        Step("V", "dig, in the bank", dig, "m³", "L (A1 + 4 Am + A2) / 6", "prismoidal rule"),
    )
    return DitchVolume(
        dig_m3=dig,
        end_area_m3=by_ends,
        surface_m2=top_m * length_m,
        sides_m2=sides,
        working=Working(
            "Ditch: what is dug out", steps, (f"By average end area it would be {by_ends:.1f} m³.",)
        ),
    )


@dataclass(frozen=True)
class TrenchBalance:
    """Where the dug volume of a pipe trench goes; dig = pipe + stone + backfill."""

    dig_m3: float
    pipe_m3: float  # displaced by the outside of the pipe
    stone_m3: float  # bed and surround
    backfill_m3: float  # dug earth put back, as it lies in the trench
    surplus_m3: float  # in the bank: what stays over
    surface_m2: float  # plan area of the open trench
    working: Working


def trench_balance(
    *,
    length_m: float,
    width_m: float,
    depth_m: float,
    pipe_outside_m: float,
    bed_m: float,
    over_crown_m: float,
    side_slope: float = 0.0,
    compacted_per_bank: float = 1.0,
) -> TrenchBalance:
    """Dig, stone, backfill and surplus of a pipe trench.

    V = (b + z d) d L; the pipe takes pi D² / 4 L with D the OUTSIDE diameter; stone fills the
    trench from its bottom to ``over_crown_m`` above the pipe, less the pipe; the rest is backfill.
    ``compacted_per_bank``: one m³ in the bank fills this much of the trench when put back (0.90
    for clay made firm). Surplus, in the bank = V - backfill / compacted_per_bank.

    ValueError when the pipe with its bed and cover does not fit in the trench, or the earth to be
    put back is more than was dug. Source: plane geometry.
    """
    _need_positive(length_m, "The length")
    _need_positive(width_m, "The trench width")
    _need_positive(depth_m, "The trench depth")
    _need_positive(pipe_outside_m, "The pipe's outside diameter")
    _need_not_negative(bed_m, "The bed under the pipe")
    _need_not_negative(over_crown_m, "The stone over the pipe")
    _need_positive(compacted_per_bank, "The compacted volume per bank m³")
    if pipe_outside_m >= width_m:
        raise ValueError(
            f"A pipe of {pipe_outside_m:g} m outside does not go into a trench {width_m:g} m wide."
        )
    zone_m = bed_m + pipe_outside_m + over_crown_m
    if zone_m > depth_m:
        raise ValueError(
            f"Bed, pipe and stone over it need {zone_m:.3f} m, the trench is {depth_m:g} m deep."
        )
    dig = length_m * trapezoid_area_m2(bottom_m=width_m, side_slope=side_slope, depth_m=depth_m)
    pipe = length_m * pi * pipe_outside_m**2 / 4
    zone = length_m * trapezoid_area_m2(bottom_m=width_m, side_slope=side_slope, depth_m=zone_m)
    stone = zone - pipe
    backfill = dig - zone
    surplus = dig - backfill / compacted_per_bank
    if surplus < 0:
        raise ValueError(
            f"The backfill needs {backfill / compacted_per_bank:.1f} m³ of dug earth, "
            f"only {dig:.1f} m³ comes out: bring in fill, or check the compaction."
        )
    steps = (
        Step("L", "length", length_m, "m"),
        Step("b", "trench width at the bottom", width_m, "m"),
        Step("d", "mean trench depth", depth_m, "m"),
        Step("D", "pipe, outside diameter", pipe_outside_m, "m"),
        Step("h", "bed, pipe and stone over it", zone_m, "m", "bed + D + stone over the pipe"),
        Step("V", "dig, in the bank", dig, "m³", "(b + z d) d L", GEOMETRY),
        Step("Vp", "taken up by the pipe", pipe, "m³", "π D² / 4 × L", GEOMETRY),
        Step("Vs", "stone, bed and surround", stone, "m³", "(b + z h) h L - Vp"),
        Step("Vb", "dug earth put back", backfill, "m³", "V - Vp - Vs"),
        Step("r", "compacted for one m³ in the bank", compacted_per_bank),
        Step("Vo", "left over, in the bank", surplus, "m³", "V - Vb / r"),
    )
    return TrenchBalance(
        dig_m3=dig,
        pipe_m3=pipe,
        stone_m3=stone,
        backfill_m3=backfill,
        surplus_m3=surplus,
        surface_m2=length_m * (width_m + 2 * side_slope * depth_m),
        working=Working("Pipe trench: where the dug earth goes", steps),
    )


def pond_volume_m3(
    *, bottom_length_m: float, bottom_width_m: float, depth_m: float, side_slope: float
) -> float:
    """Rectangular pit with sloping sides: V = L W d + (L + W) z d² + 4/3 z² d³, m³."""
    _need_positive(bottom_length_m, "The bottom length")
    _need_positive(bottom_width_m, "The bottom width")
    _need_positive(depth_m, "The depth")
    _need_not_negative(side_slope, "The side slope")
    return (
        bottom_length_m * bottom_width_m * depth_m
        + (bottom_length_m + bottom_width_m) * side_slope * depth_m**2
        + 4 / 3 * side_slope**2 * depth_m**3
    )


def loose_volume_m3(*, bank_m3: float, soil: Soil) -> ThreePoint:
    """Volume on the trailer of ``bank_m3`` dug from the ground, low to high, m³.

    A range, because published factors for one soil differ by more than a tenth.
    """
    _need_not_negative(bank_m3, "The volume in the bank")
    return soil.loose_per_bank.times(bank_m3)


def loads(*, loose_m3: float, load_m3: float) -> int:
    """Whole loads of ``load_m3`` that carry ``loose_m3``."""
    _need_not_negative(loose_m3, "The loose volume")
    _need_positive(load_m3, "The load")
    full, rest = divmod(loose_m3, load_m3)
    return int(full) + (1 if rest > 1e-9 * load_m3 else 0)
