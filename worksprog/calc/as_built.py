"""What was built against what was drawn: places on the line, levels, falls between levels.

Chainage runs along the line the way the water does, from its upstream end. An accuracy is the ± of
one level; two of them go together by the root of the sum of their squares (the law by which
independent errors propagate, JCGM 100:2008 section 5.1.2).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import shapely

from worksprog.calc.ditches import DitchSection, ditch_capacity
from worksprog.calc.pipes import WALL_SHARE, PipeSection, full_bore_flow_m3s
from worksprog.calc.working import Step, Working

Backfall = Literal["none", "flat", "maybe", "yes"]
Carries = Literal["carries", "too_small", "unknown"]

FOOT_M = 0.3048
DEEPEST_BELOW_PEG_M = 12.0  # our own figure
# Where no accuracy was stated (our own figure; a levelled staff reading in a trench).
USUAL_ACCURACY_M = 0.010
# Of a pipe whose wall nobody measured: 7 % of its bore, give or take 3 % (common practice, no source).
USUAL_WALL_SHARE, WALL_DOUBT_SHARE = WALL_SHARE, 0.03
OUT_OF_LINE_M = 0.15  # our own figure
STEEPEST_GRADIENT = 1.0  # a steeper stretch is a drop: what 1 in 1 carries is counted, no more
SOURCE_SPREAD = "JCGM 100:2008, section 5.1.2"


@dataclass(frozen=True)
class Located:
    """Where a measured point lies by the design line; offset to the right of the flow is above 0."""

    chainage_m: float
    offset_m: float


@dataclass(frozen=True)
class DesignLine:
    """A drain as drawn: its line in the direction of flow and the inverts at its ends (m)."""

    line: tuple[tuple[float, float], ...]
    upstream_m: float | None = None
    downstream_m: float | None = None

    def __post_init__(self) -> None:
        if len(self.line) < 2 or not self.shape.length > 0:
            raise ValueError("A design line has two points at least, and a length.")

    @property
    def shape(self) -> shapely.LineString:
        return shapely.LineString(self.line)

    @property
    def length_m(self) -> float:
        return float(self.shape.length)

    @property
    def gradient(self) -> float | None:
        """Fall over length, m/m; None without both levels."""
        if self.upstream_m is None or self.downstream_m is None:
            return None
        return (self.upstream_m - self.downstream_m) / self.length_m

    def locate(self, x_m: float, y_m: float) -> Located:
        """Chainage of the nearest place on the line and the distance off it, with its side."""
        shape, point = self.shape, shapely.Point(x_m, y_m)
        along = float(shape.project(point))
        away = float(shape.distance(point))
        step = min(0.01, self.length_m / 10)
        low = max(0.0, min(along - step, self.length_m - 2 * step))
        before, after = shape.interpolate(low), shape.interpolate(low + 2 * step)
        side = (after.x - before.x) * (y_m - before.y) - (after.y - before.y) * (x_m - before.x)
        return Located(along, -away if side > 0 else away)

    def place_at(self, chainage_m: float) -> tuple[float, float]:
        """The point of the line at a chainage. ValueError beyond either end."""
        if not math.isfinite(chainage_m) or not -1e-6 <= chainage_m <= self.length_m + 0.05:
            raise ValueError(
                f"Chainage {chainage_m:g} m is not on this drain: it runs from 0 at its upper end "
                f"to {self.length_m:.1f} m."
            )
        point = self.shape.interpolate(chainage_m)
        return float(point.x), float(point.y)

    def level_at(self, chainage_m: float) -> float | None:
        """Design invert: straight between both ends. None without both."""
        if self.upstream_m is None or self.downstream_m is None:
            return None
        share = min(1.0, max(0.0, chainage_m / self.length_m))
        return self.upstream_m + share * (self.downstream_m - self.upstream_m)


def level_below_peg(*, peg_level_m: float, below_peg_m: float) -> float:
    """Level = peg − depth below it. ValueError for a depth that is not from 0 to 12 m."""
    if not math.isfinite(peg_level_m) or not math.isfinite(below_peg_m):
        raise ValueError("A peg's level and the depth below it are numbers of metres.")
    if not 0 <= below_peg_m <= DEEPEST_BELOW_PEG_M:
        in_feet = below_peg_m * FOOT_M
        raise ValueError(
            f"A depth below a peg is from 0 to {DEEPEST_BELOW_PEG_M:g} m; {below_peg_m:g} cannot be one."
            + (
                f" Were it feet, it would be {in_feet:.2f} m."
                if 0 <= in_feet <= DEEPEST_BELOW_PEG_M
                else ""
            )
        )
    return peg_level_m - below_peg_m


@dataclass(frozen=True)
class Invert:
    """An invert reckoned from the top of a pipe, with what its wall adds to the doubt."""

    level_m: float
    accuracy_m: float
    wall_known: bool


def invert_from_crown(
    *, crown_m: float, accuracy_m: float, bore_m: float, wall_m: float | None = None
) -> Invert:
    """Invert = crown − bore − wall, the crown being the outside of the pipe's top.

    Without a wall, 7 % ± 3 % of the bore is taken. ValueError for a bore or wall that cannot be.
    """
    if not 0 < bore_m <= 5:
        raise ValueError(f"A bore must be from 0 to 5 m; {bore_m:g} was given.")
    if wall_m is not None and not 0 <= wall_m < bore_m:
        raise ValueError(
            f"A wall of {wall_m * 1000:.0f} mm does not go with a bore of {bore_m:g} m."
        )
    if wall_m is not None:
        return Invert(crown_m - bore_m - wall_m, accuracy_m, True)
    doubt = math.hypot(accuracy_m, WALL_DOUBT_SHARE * bore_m)
    return Invert(crown_m - bore_m * (1 + USUAL_WALL_SHARE), doubt, False)


def feet_said(value_m: float, expected_m: float, *, within_m: float = 0.5) -> str:
    """Words when a figure is what was expected, said in feet; else "".

    A value that is near the expected as it stands is never doubted.
    """
    if abs(value_m - expected_m) <= max(within_m, 0.01 * abs(expected_m)):
        return ""
    in_metres = value_m * FOOT_M
    if abs(in_metres - expected_m) <= within_m:
        return (
            f"{value_m:g} looks like feet: in metres it would be {in_metres:.2f}, and "
            f"{expected_m:.2f} m is expected here."
        )
    return ""


@dataclass(frozen=True)
class BuiltLevel:
    """A built invert (or bed) at a chainage; ``key`` names the row it came from."""

    key: str
    chainage_m: float
    level_m: float
    accuracy_m: float | None = None
    offset_m: float = 0.0
    plan_accuracy_m: float | None = None

    @property
    def doubt_m(self) -> float:
        return USUAL_ACCURACY_M if self.accuracy_m is None else self.accuracy_m

    @property
    def out_of_line(self) -> bool:
        """Off the design line by more than the tolerance and the position's own accuracy."""
        return abs(self.offset_m) > OUT_OF_LINE_M + (self.plan_accuracy_m or 0.0)


@dataclass(frozen=True)
class Difference:
    """Built less design: above 0 it lies high."""

    design_m: float
    difference_m: float
    accuracy_m: float

    @property
    def is_certain(self) -> bool:
        return abs(self.difference_m) > self.accuracy_m

    @property
    def words(self) -> str:
        mm = round(abs(self.difference_m) * 1000)
        if not self.is_certain:
            return f"as drawn, within ± {self.accuracy_m * 1000:.0f} mm"
        return f"{mm} mm {'higher' if self.difference_m > 0 else 'lower'} than drawn"


def difference_from(design: DesignLine, built: BuiltLevel) -> Difference | None:
    """Built less design at the level's chainage; None where the design has no levels.

    A place that is known to ± p only leaves the design level there uncertain by p times the fall.
    """
    level = design.level_at(built.chainage_m)
    if level is None:
        return None
    slope = abs(design.gradient or 0.0)
    doubt = math.hypot(built.doubt_m, slope * (built.plan_accuracy_m or 0.0))
    return Difference(level, built.level_m - level, doubt)


@dataclass(frozen=True)
class Stretch:
    """Between two successive levels, from the upper to the lower; a fall above 0 runs with the flow."""

    upper: BuiltLevel
    lower: BuiltLevel
    length_m: float
    fall_m: float
    fall_accuracy_m: float

    @property
    def gradient(self) -> float:
        return self.fall_m / self.length_m

    @property
    def gradient_accuracy(self) -> float:
        """± m/m, from the levels alone."""
        return self.fall_accuracy_m / self.length_m

    @property
    def backfall(self) -> Backfall:
        """yes: it rises beyond the accuracy; maybe: it rises within it; flat: the fall is within it."""
        if self.fall_m < -self.fall_accuracy_m:
            return "yes"
        if self.fall_m < 0:
            return "maybe"
        return "flat" if self.fall_m <= self.fall_accuracy_m else "none"

    @property
    def words(self) -> str:
        between = (
            f"between chainage {_chainage(self.upper.chainage_m)} and "
            f"{_chainage(self.lower.chainage_m)}"
        )
        within = f"± {self.fall_accuracy_m * 1000:.0f} mm"
        rise = f"{abs(self.fall_m) * 1000:.0f} mm"
        if self.backfall == "yes":
            return f"backfall of {rise} {between}"
        if self.backfall == "maybe":
            return f"whether it falls {between} cannot be told: it rises {rise}, within {within}"
        if self.backfall == "flat":
            return f"whether it falls {between} cannot be told: it falls {rise}, within {within}"
        return f"falls {rise} {between}"

    @property
    def gradient_words(self) -> str:
        """The gradient and what the levels leave open: "1 in 200 (1 in 156 to 1 in 279)"."""
        if self.backfall == "yes":
            return f"rises 1 in {1 / -self.gradient:.0f}"
        least, most = (self.gradient + sign * self.gradient_accuracy for sign in (-1, 1))
        if most <= 0:  # level to the millimetre, or a rise just as large as its accuracy
            return "not told by these levels: level at the most"
        steepest = f"1 in {1 / most:.0f}"
        if self.backfall in ("flat", "maybe"):
            return f"not told by these levels: from level to {steepest}"
        return f"1 in {1 / self.gradient:.0f} ({steepest} to 1 in {1 / least:.0f})"

    def working(self) -> Working:
        a, b = self.upper, self.lower
        root = "√(u₁² + u₂²)"
        return Working(
            f"Fall from chainage {_chainage(a.chainage_m)} to {_chainage(b.chainage_m)}",
            (
                Step("z₁", "upper level", f"{a.level_m:.3f}", "m", source=_accuracy_words(a)),
                Step("z₂", "lower level", f"{b.level_m:.3f}", "m", source=_accuracy_words(b)),
                Step("L", "length between them", self.length_m, "m", formula="L = c₂ − c₁"),
                Step("h", "fall", self.fall_m * 1000, "mm", formula="h = z₁ − z₂"),
                Step(
                    "u", "accuracy of the fall, ±", self.fall_accuracy_m * 1000, "mm",
                    formula=f"u = {root}", source=SOURCE_SPREAD,
                ),
                Step("S", "gradient", self.gradient, "m/m", formula="S = h / L"),
                Step("", "it comes to", self.words),
            ),
        )  # fmt: skip


def _accuracy_words(level: BuiltLevel) -> str:
    if level.accuracy_m is None:
        return f"no accuracy stated; ± {USUAL_ACCURACY_M * 1000:.0f} mm taken (our own figure)"
    return f"± {level.accuracy_m * 1000:.0f} mm as stated"


def _chainage(value_m: float) -> str:
    return f"{value_m:.1f}".removesuffix(".0")


def stretches_between(levels: Iterable[BuiltLevel], *, same_place_m: float = 0.05) -> list[Stretch]:
    """Every pair of successive levels by chainage; of levels at one place the last given holds."""
    kept: list[BuiltLevel] = []
    for level in sorted(levels, key=lambda one: one.chainage_m):
        if kept and level.chainage_m - kept[-1].chainage_m <= same_place_m:
            kept[-1] = level
        else:
            kept.append(level)
    return [
        Stretch(
            upper=a,
            lower=b,
            length_m=b.chainage_m - a.chainage_m,
            fall_m=a.level_m - b.level_m,
            fall_accuracy_m=math.hypot(a.doubt_m, b.doubt_m),
        )
        for a, b in pairwise(kept)
    ]


@dataclass(frozen=True)
class BuiltCapacity:
    """What a stretch carries by its built fall, and at the least fall its levels leave open.

    least_m3s  0 where the levels do not prove that it falls; None where there is no section
    """

    capacity_m3s: float | None
    least_m3s: float | None
    flow_m3s: float | None

    @property
    def carries(self) -> Carries:
        if self.capacity_m3s is None or self.flow_m3s is None:
            return "unknown"
        return "carries" if self.capacity_m3s >= self.flow_m3s else "too_small"

    @property
    def words(self) -> str:
        if self.capacity_m3s is None:
            return "its section is not entered"
        told = f"{self.capacity_m3s * 1000:.1f} l/s"
        if self.flow_m3s is None:
            return f"{told}; the design flow is not known"
        flow = f"{self.flow_m3s * 1000:.1f} l/s"
        if self.carries == "too_small":
            return f"{told}, too small for {flow}"
        if self.least_m3s is not None and self.least_m3s < self.flow_m3s:
            least = f"{self.least_m3s * 1000:.1f} l/s"
            return f"{told}, carries {flow}; not certain, for it may be {least} by the levels"
        return f"{told}, carries {flow}"


def built_capacity(
    stretch: Stretch, section: PipeSection | DitchSection | None, flow_m3s: float | None
) -> BuiltCapacity:
    """Full bore by Colebrook–White, or a ditch to its freeboard by Manning, at the built gradient."""
    if section is None:
        return BuiltCapacity(None, None, flow_m3s)
    least = stretch.gradient - stretch.gradient_accuracy
    return BuiltCapacity(_carried(section, stretch.gradient), _carried(section, least), flow_m3s)


def _carried(section: PipeSection | DitchSection, gradient: float) -> float:
    if gradient <= 0:
        return 0.0
    gradient = min(gradient, STEEPEST_GRADIENT)
    if isinstance(section, DitchSection):
        return ditch_capacity(section, gradient=gradient).flow_m3s
    try:
        return full_bore_flow_m3s(
            diameter_m=section.diameter_m, gradient=gradient, roughness_m=section.roughness_m
        )
    except ValueError:
        return 0.0  # so flat that it would not run turbulent: next to nothing


def missing_levels(
    levels: Sequence[BuiltLevel], length_m: float, *, end_m: float = 2.0, gap_m: float = 30.0
) -> list[str]:
    """What is still to be levelled before a trench is closed: its ends, and long gaps between.

    end_m, gap_m  how near an end a level has to be, and how far apart two may lie (our own figures)
    """
    if not levels:
        return ["no level has been taken on it"]
    found = []
    at = sorted(level.chainage_m for level in levels)
    if at[0] > end_m:
        found.append(f"no level within {end_m:g} m of its upper end")
    if at[-1] < length_m - end_m:
        found.append(f"no level within {end_m:g} m of its lower end")
    found += [
        f"no level between chainage {_chainage(a)} and {_chainage(b)}, more than {gap_m:g} m"
        for a, b in pairwise(at)
        if b - a > gap_m
    ]
    return found


def ends_of(
    levels: Sequence[BuiltLevel], length_m: float, *, end_m: float = 2.0
) -> tuple[float | None, float | None]:
    """Built inverts at the upper and lower end, where a level was taken near enough."""
    upper = min(levels, key=lambda one: one.chainage_m, default=None)
    lower = max(levels, key=lambda one: one.chainage_m, default=None)
    return (
        upper.level_m if upper is not None and upper.chainage_m <= end_m else None,
        lower.level_m if lower is not None and lower.chainage_m >= length_m - end_m else None,
    )
