"""What a simulation tells: ranges by group and job, and what drives them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import sqrt

from worksprog.calc.ranges import Shape

PERCENTS = tuple(range(1, 100))


@dataclass(frozen=True)
class Spread:
    """Of one sum over all draws: mean, standard deviation, and the value at each per cent.

    quantiles  the values that 1, 2, … 99 per cent of the draws stay within
    """

    mean: float
    sd: float
    quantiles: tuple[float, ...]
    draws: int

    def within(self, chance: float) -> float:
        """The value the sum stays within by this chance; between per cents on a straight line.

        ValueError outside 0.01 to 0.99: beyond, too few draws lie to say.
        """
        if not PERCENTS[0] / 100 <= chance <= PERCENTS[-1] / 100:
            raise ValueError(f"A chance from 1 to 99 % can be read, not {100 * chance:g} %.")
        at = chance * 100 - 1
        low = min(int(at), len(self.quantiles) - 2)
        step = self.quantiles[low + 1] - self.quantiles[low]
        return self.quantiles[low] + (at - low) * step

    def chance_within(self, value: float) -> float:
        """Share of the draws that stay within the value, to the per cent; 0 or 1 beyond the ends."""
        if value < self.quantiles[0]:
            return 0.0
        if value >= self.quantiles[-1]:
            return 1.0
        high = next(i for i, quantile in enumerate(self.quantiles) if quantile > value)
        low_value, high_value = self.quantiles[high - 1], self.quantiles[high]
        return (high + (value - low_value) / (high_value - low_value)) / 100

    def contingency(self, base: float, chance: float) -> float:
        """What has to be put on top of ``base`` to stay within by this chance; may be below 0."""
        return self.within(chance) - base

    def standard_error(self, chance: float) -> float:
        """By how much the value at this chance would vary with another seed (one sd).

        √(p (1 - p) / N) / f, the density f from the draws two per cent to either side. ValueError
        outside 0.03 to 0.97.
        """
        if not 0.03 <= chance <= 0.97:
            raise ValueError(f"A chance from 3 to 97 % is expected, not {100 * chance:g} %.")
        per_chance = (self.within(chance + 0.02) - self.within(chance - 0.02)) / 0.04
        return sqrt(chance * (1 - chance) / self.draws) * per_chance


@dataclass(frozen=True)
class Ranged:
    """Crew hours and money of one job or group."""

    hours: Spread
    money: Spread


@dataclass(frozen=True)
class LineShare:
    """Share of a total's variance that one line brings: covariance with the total / variance.

    Over all lines the shares add up to 1; a line that moves against the rest has one below 0.
    """

    job: str
    line: str
    label: str
    share: float


@dataclass(frozen=True)
class SourceShare:
    """Share of a total's variance that goes with one source: correlation squared.

    Causes and the figures' own lucks are drawn independently, so their shares do not overlap;
    what is missing to 1 is the small ones not listed, curvature and products.
    """

    source: str
    is_cause: bool
    share: float


@dataclass(frozen=True)
class Drivers:
    """What drives the hours and the money of one group, largest first."""

    hours_lines: tuple[LineShare, ...]
    money_lines: tuple[LineShare, ...]
    hours_sources: tuple[SourceShare, ...]
    money_sources: tuple[SourceShare, ...]
    draws: int


@dataclass(frozen=True)
class Simulated:
    """One run: the same figures, seed and number of draws give the same run."""

    seed: int
    draws: int
    shape: Shape
    total: Ranged
    groups: Mapping[str, Ranged]
    jobs: Mapping[str, Ranged]
    drivers: Mapping[str, Drivers]  # by group; "" is the total
