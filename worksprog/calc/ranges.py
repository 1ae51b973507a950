"""Three-point figures (low, likely, high) and the closed-form spread of their sum.

The sum of the likely figures is not the likely sum: where high lies further off than low, which
is the usual case, the mean lies above it. So a total is told as mean and spread, with the
correlation that was assumed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import isfinite, sqrt
from statistics import NormalDist

from worksprog.calc.working import Step, Working

EIGHT_IN_TEN = NormalDist().inv_cdf(0.8)  # standard deviations above the mean


@dataclass(frozen=True)
class ThreePoint:
    """Low, likely and high of one figure; ValueError unless low <= likely <= high, all finite."""

    low: float
    likely: float
    high: float

    def __post_init__(self) -> None:
        if not (isfinite(self.low) and isfinite(self.likely) and isfinite(self.high)):
            raise ValueError("Low, likely and high must be numbers.")
        if not self.low <= self.likely <= self.high:
            raise ValueError(
                f"Low, likely and high must rise: {self.low:g}, {self.likely:g}, {self.high:g}."
            )

    @classmethod
    def exactly(cls, value: float) -> ThreePoint:
        return cls(value, value, value)

    def times(self, factor: float) -> ThreePoint:
        """Times a certain factor; ValueError when the factor is negative."""
        if factor < 0:
            raise ValueError(f"The factor must not be negative, not {factor:g}.")
        return ThreePoint(self.low * factor, self.likely * factor, self.high * factor)

    def plus(self, other: ThreePoint) -> ThreePoint:
        """Corner sums: both low, both likely, both high."""
        return ThreePoint(self.low + other.low, self.likely + other.likely, self.high + other.high)

    def times_range(self, other: ThreePoint) -> ThreePoint:
        """Corner products of two ranges of which neither goes below 0."""
        if self.low < 0 or other.low < 0:
            raise ValueError("Ranges below 0 cannot be multiplied corner by corner.")
        return ThreePoint(self.low * other.low, self.likely * other.likely, self.high * other.high)

    def over_range(self, other: ThreePoint) -> ThreePoint:
        """Corner quotients: low / high, likely / likely, high / low; the divisor above 0."""
        if self.low < 0 or other.low <= 0:
            raise ValueError("The divisor's range must lie above 0 and the other not below 0.")
        return ThreePoint(self.low / other.high, self.likely / other.likely, self.high / other.low)

    @property
    def is_certain(self) -> bool:
        return self.low == self.high


class Shape(StrEnum):
    """Which curve stands between low and high."""

    TRIANGULAR = "triangular"
    BETA_PERT = "beta-PERT"


def mean_and_sd(point: ThreePoint, shape: Shape) -> tuple[float, float]:
    """Mean and standard deviation of one figure, closed form.

    Triangular: mean (a + m + b) / 3, variance (a² + m² + b² - am - ab - bm) / 18.
    Beta-PERT (weight 4): mean (a + 4m + b) / 6, exact variance (mean - a)(b - mean) / 7.
    """
    a, m, b = point.low, point.likely, point.high
    if shape is Shape.TRIANGULAR:
        # As a sum of squares, which rounding cannot push below 0.
        return (a + m + b) / 3, sqrt(((b - a) ** 2 + (m - a) ** 2 + (b - m) ** 2) / 36)
    mean = (a + 4 * m + b) / 6
    return mean, sqrt(max((mean - a) * (b - mean), 0.0) / 7)


@dataclass(frozen=True)
class RangeSum:
    """A sum of three-point figures as mean and spread."""

    corners: ThreePoint  # all low, all likely, all high: extremes, not chances
    mean: float
    sd: float
    correlation: float
    shape: Shape
    working: Working

    def not_exceeded(self, chance: float) -> float:
        """The value the total stays under with this chance, by the normal approximation.

        ValueError unless 0 < chance < 1. Kept inside the corners, which the sum cannot leave.
        """
        if not 0 < chance < 1:
            raise ValueError(f"A chance lies between 0 and 1, not at {chance:g}.")
        if self.sd == 0:
            return self.mean
        value = NormalDist(self.mean, self.sd).inv_cdf(chance)
        return min(max(value, self.corners.low), self.corners.high)

    def chance_within(self, value: float) -> float:
        """Chance that the total is no more than ``value``, by the normal approximation."""
        if self.sd == 0:
            return 1.0 if value >= self.mean else 0.0
        return NormalDist(self.mean, self.sd).cdf(value)


def sum_spreads(parts: Sequence[tuple[float, float]], *, correlation: float) -> tuple[float, float]:
    """Mean and standard deviation of a sum, from those of its parts and one correlation rho.

    variance = sum s_i² + rho (S² - sum s_i²) with S = sum s_i. ValueError unless 0 <= rho <= 1.
    """
    if not 0 <= correlation <= 1:
        raise ValueError(f"The correlation lies between 0 and 1, not at {correlation:g}.")
    squares = sum(sd**2 for _, sd in parts)
    together = sum(sd for _, sd in parts) ** 2
    return sum(mean for mean, _ in parts), sqrt(squares + correlation * (together - squares))


def sum_ranges(
    points: Sequence[ThreePoint],
    *,
    shape: Shape = Shape.BETA_PERT,
    correlation: float = 0.25,
    unit: str = "",
) -> RangeSum:
    """Sum figures that move together somewhat.

    Mean and spread by ``sum_spreads``, with one correlation rho between every pair. When it is
    not known, 0.2 to 0.3 is a common choice (GAO-20-195G ch. 12, from memory); 0 understates the
    spread badly when there are many items. ValueError unless 0 <= rho <= 1.
    """
    parts = [mean_and_sd(point, shape) for point in points]
    mean, sd = sum_spreads(parts, correlation=correlation)
    corners = ThreePoint.exactly(0.0)
    for point in points:
        corners = corners.plus(point)
    one_mean = "(a + m + b) / 3" if shape is Shape.TRIANGULAR else "(a + 4 m + b) / 6"
    one_variance = (
        "((b - a)² + (m - a)² + (b - m)²) / 36"
        if shape is Shape.TRIANGULAR
        else "(mean - a) (b - mean) / 7"
    )
    working = Working(
        "How sure the total is",
        (
            Step("n", "figures added", float(len(parts))),
            Step("Σm", "sum of the likely figures", corners.likely, unit),
            Step("µ", "mean of the total", mean, unit, f"sum of {one_mean}", f"{shape} curve"),
            Step("ρ", "correlation assumed between any two figures", correlation),
            Step(
                "σ",
                "standard deviation of the total",
                sd,
                unit,
                f"√(Σs² + ρ ((Σs)² - Σs²)), s² = {one_variance}",
                "variance of a sum of correlated figures",
            ),
        ),
    )
    return RangeSum(corners, mean, sd, correlation, shape, working)


def understated_spread(*, count: int, correlation: float) -> float:
    """By what share the spread of ``count`` equal items is understated when rho is left out.

    1 - 1 / √(1 + rho (n - 1)).
    """
    if count < 1:
        raise ValueError(f"At least one item is needed, not {count}.")
    return 1 - 1 / sqrt(1 + correlation * (count - 1))
