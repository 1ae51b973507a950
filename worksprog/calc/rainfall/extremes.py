"""Annual maxima to rare rain: Gumbel and GEV by L-moments, with a band of confidence."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import gamma

from worksprog.calc.rainfall.table import reduced_variate
from worksprog.calc.working import Step, Working

Floats = NDArray[np.float64]
Law = Literal["gumbel", "gev"]

EULER = 0.5772156649015329
FEWEST_YEARS, FEW_YEARS = 10, 20
RESAMPLES = 1_000
SOURCE_LMOMENTS = "L-moments (Hosking and Wallis); Gumbel α = l2/ln 2, ξ = l1 - 0.5772 α"
SOURCE_GEV = "GEV by L-moments (Hosking), shape by its exact relation to t3"


@dataclass(frozen=True)
class LMoments:
    """Mean, L-scale, L-skewness and L-kurtosis of a sample, unbiased."""

    l1: float
    l2: float
    t3: float
    t4: float


def l_moments(values: Sequence[float]) -> LMoments:
    """Sample L-moments by probability-weighted moments; ValueError below four values or all equal."""
    ordered = np.sort(np.asarray(values, dtype=np.float64))
    if len(ordered) < 4 or not np.isfinite(ordered).all():
        raise ValueError("L-moments need at least four numbers.")
    b0, b1, b2, b3 = (float(ordered @ weight) for weight in _weights(len(ordered)))
    l2 = 2 * b1 - b0
    if l2 <= 0:
        raise ValueError("All values are the same: no spread can be fitted.")
    l3, l4 = 6 * b2 - 6 * b1 + b0, 20 * b3 - 30 * b2 + 12 * b1 - b0
    return LMoments(b0, l2, l3 / l2, l4 / l2)


def _weights(count: int) -> tuple[Floats, Floats, Floats, Floats]:
    rank = np.arange(1, count + 1, dtype=np.float64)
    first = (rank - 1) / (count - 1)
    second = first * (rank - 2) / (count - 2)
    third = second * (rank - 3) / (count - 3)
    return np.full(count, 1 / count), first / count, second / count, third / count


@dataclass(frozen=True)
class Fit:
    """A fitted law. ``shape`` is Hosking's k (scipy's c; the minus of Coles' ξ), 0 for Gumbel."""

    law: Law
    location: float
    scale: float
    shape: float
    years: int

    def depth_at(self, return_years: float) -> float:
        """The value passed once in so many years on average; ValueError at 1 year or less."""
        return float(self._depths(np.array([reduced_variate(return_years)]))[0])

    def _depths(self, variate: Floats) -> Floats:
        if self.shape == 0:
            return self.location + self.scale * variate
        return np.asarray(
            self.location + self.scale * -np.expm1(-self.shape * variate) / self.shape
        )

    def working(self, moments: LMoments, return_years: float) -> Working:
        steps = [
            Step("n", "years", float(self.years)),
            Step("l1", "mean", moments.l1, "mm"),
            Step("l2", "L-scale", moments.l2, "mm"),
        ]
        if self.law == "gev":
            steps += [
                Step("t3", "L-skewness", moments.t3),
                Step("k", "shape", self.shape, source=SOURCE_GEV),
            ]
        steps += [
            Step("α", "scale", self.scale, "mm", source=SOURCE_LMOMENTS),
            Step("ξ", "location", self.location, "mm"),
            Step(
                "x",
                f"1 in {return_years:g} year",
                self.depth_at(return_years),
                "mm",
                formula="ξ + α y, y = -ln(-ln(1 - 1/T))"
                if self.law == "gumbel"
                else "ξ + α (1 - e^(-k y)) / k",
            ),
        ]
        name = "Gumbel" if self.law == "gumbel" else "generalised extreme value"
        return Working(
            title=f"Fit by the {name} law", steps=tuple(steps), notes=years_notes(self.years)
        )


def years_notes(years: int) -> tuple[str, ...]:
    """What a record of so many years is worth."""
    if years < FEW_YEARS:
        return (
            f"Only {years} years: below {FEW_YEARS} the rare storms are little more than a guess. "
            "Use the national statistics for your place beside it.",
        )
    return ()


def _check_years(values: Sequence[float]) -> None:
    if len(values) < FEWEST_YEARS:
        raise ValueError(
            f"{len(values)} years are too few to fit: at least {FEWEST_YEARS} are needed, and "
            f"{FEW_YEARS} to be of use."
        )
    if min(values) < 0:
        raise ValueError(f"A depth of rain cannot be {min(values):g} mm; is it a missing value?")


def fit_gumbel(
    values: Sequence[float], *, by: Literal["l-moments", "moments"] = "l-moments"
) -> Fit:
    """Gumbel's law of annual maxima; ValueError below ten years or for values below 0.

    By moments: α = √6 s/π with s over n - 1; ξ = mean - 0.5772 α.
    """
    _check_years(values)
    if by == "moments":
        scale = math.sqrt(6) * float(np.std(values, ddof=1)) / math.pi
        mean = float(np.mean(values))
    else:
        moments = l_moments(values)
        scale, mean = moments.l2 / math.log(2), moments.l1
    return Fit("gumbel", mean - EULER * scale, scale, 0.0, len(values))


def fit_gev(values: Sequence[float]) -> Fit:
    """Generalised extreme value law by L-moments; ValueError as for Gumbel.

    k from t3 = 2 (1 - 3^-k)/(1 - 2^-k) - 3 by its root; α = l2 k / ((1 - 2^-k) Γ(1 + k));
    ξ = l1 - α (1 - Γ(1 + k)) / k.
    """
    _check_years(values)
    moments = l_moments(values)
    shape = _shape_of(moments.t3)
    if abs(shape) < 1e-8:
        return fit_gumbel(values)
    top = float(gamma(1 + shape))
    scale = moments.l2 * shape / (-math.expm1(-shape * math.log(2)) * top)
    return Fit("gev", moments.l1 - scale * (1 - top) / shape, scale, shape, len(values))


def _skewness_of(shape: float) -> float:
    if abs(shape) < 1e-9:
        return 2 * math.log(3) / math.log(2) - 3
    return 2 * math.expm1(-shape * math.log(3)) / math.expm1(-shape * math.log(2)) - 3


def _shape_of(skewness: float) -> float:
    """Hosking's k of an L-skewness, within the law's bounds for annual maxima."""
    low, high = -0.99, 5.0
    if skewness >= _skewness_of(low):
        return low
    if skewness <= _skewness_of(high):
        return high
    return float(brentq(lambda k: _skewness_of(k) - skewness, low, high, xtol=1e-12))


@dataclass(frozen=True)
class Band:
    """Depths (mm) at return periods with the band that nine in ten resampled fits lie in."""

    return_years: tuple[float, ...]
    depth_mm: tuple[float, ...]
    low_mm: tuple[float, ...]
    high_mm: tuple[float, ...]


def confidence_band(
    fit: Fit, return_years: Sequence[float], *, seed: int = 1, share: float = 0.9
) -> Band:
    """By drawing records of the same length from the fit, 1,000 times, and fitting each anew.

    Seeded: the same fit gives the same band. Hosking's approximation gives the shape of each
    resampled GEV (within 9e-4 of its root for |t3| < 0.5).
    """
    generator = np.random.default_rng(seed)
    variates = np.array([reduced_variate(years) for years in return_years])
    drawn = -np.log(-np.log(generator.random((RESAMPLES, fit.years))))
    sample = np.sort(fit._depths(drawn), axis=1)
    b0, b1, b2, _ = (sample @ weight for weight in _weights(fit.years))
    l2 = 2 * b1 - b0
    if fit.law == "gumbel":
        scale = l2 / math.log(2)
        found = (b0 - EULER * scale)[:, None] + scale[:, None] * variates
    else:
        skewness = (6 * b2 - 6 * b1 + b0) / l2
        c = 2 / (3 + skewness) - math.log(2) / math.log(3)
        shape = np.clip(7.8590 * c + 2.9554 * c * c, -0.99, 5.0)
        shape = np.where(np.abs(shape) < 1e-6, 1e-6, shape)
        top = gamma(1 + shape)
        scale = l2 * shape / ((1 - 2.0**-shape) * top)
        location = b0 - scale * (1 - top) / shape
        found = (
            location[:, None]
            + scale[:, None] * -np.expm1(-shape[:, None] * variates) / shape[:, None]
        )
    tail = (1 - share) / 2
    low, high = np.quantile(found, [tail, 1 - tail], axis=0)
    return Band(
        tuple(return_years),
        tuple(fit.depth_at(years) for years in return_years),
        tuple(low.tolist()),
        tuple(high.tolist()),
    )


def plotting_positions(values: Sequence[float]) -> list[tuple[float, float]]:
    """(return period, value) of each year, smallest first, by Gringorten: (i - 0.44)/(n + 0.12)."""
    ordered = sorted(values)
    count = len(ordered)
    return [
        (1 / (1 - (rank - 0.44) / (count + 0.12)), value)
        for rank, value in enumerate(ordered, start=1)
    ]
