"""A belief about a log ratio that logged hours update in closed form, and what it foretells.

beta | sigma² ~ N(m, sigma² P⁻¹), sigma² ~ inverse gamma (a, b): the normal-inverse-gamma prior of
a linear regression, with one coefficient the mean of a normal sample. Source: Gelman et al.,
Bayesian Data Analysis, chs. 3 and 14 (from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import exp, isfinite, sqrt

import numpy as np
import numpy.typing as npt
from scipy import stats

Vector = tuple[float, ...]
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Piece:
    """One piece of evidence.

    at      its row z of the regression, first figure 1 for what all jobs share
    value   x, the log of hours taken over hours of the book
    weight  how much of one whole job it is worth, 0 to 1
    """

    at: Vector
    value: float
    weight: float = 1.0

    def __post_init__(self) -> None:
        if not all(isfinite(one) for one in (*self.at, self.value, self.weight)):
            raise ValueError("A piece of evidence holds a figure that is no number.")
        if not self.weight >= 0:
            raise ValueError(f"The weight of evidence must not be below 0, not {self.weight:g}.")


@dataclass(frozen=True)
class Foretold:
    """Student t for one new value: ``freedom`` degrees, ``centre``, ``scale``."""

    freedom: float
    centre: float
    scale: float

    def quantile(self, chance: float) -> float:
        """ValueError unless 0 < chance < 1."""
        if not 0 < chance < 1:
            raise ValueError(f"A chance lies between 0 and 1, not at {chance:g}.")
        return self.centre + self.scale * float(stats.t.ppf(chance, self.freedom))

    def ratio(self, chance: float) -> float:
        """The quantile out of the log: hours over hours of the book."""
        return exp(self.quantile(chance))

    def as_far_out(self, value: float) -> float:
        """Chance of a value at least as far from the centre as this one, on either side."""
        return 2 * float(stats.t.sf(abs(value - self.centre) / self.scale, self.freedom))


@dataclass(frozen=True)
class Belief:
    """m, P, a and b of the module's first lines."""

    mean: Vector
    precision: tuple[Vector, ...]
    a: float
    b: float

    def __post_init__(self) -> None:
        if not (self.a > 0 and self.b > 0):
            raise ValueError("a and b of a belief must be above 0.")
        if len(self.precision) != len(self.mean):
            raise ValueError("Mean and precision of a belief differ in size.")

    @classmethod
    def of_one(cls, *, mean: float, weight: float, a: float, b: float) -> Belief:
        """About one mean, worth ``weight`` whole observations."""
        if not weight > 0:
            raise ValueError(f"The weight of a belief must be above 0, not {weight:g}.")
        return cls((mean,), ((weight,),), a, b)

    def updated(self, pieces: Iterable[Piece]) -> Belief:
        """After the evidence; a piece of weight w counts as w of an observation.

        P' = P + Σ w z zᵀ,  m' = P'⁻¹ (P m + Σ w z x),  a' = a + Σ w / 2,
        b' = b + ½ [Σ w (x - zᵀ m')² + (m - m')ᵀ P (m - m')].

        The likelihood to the power w, so that a job told in parts weighs what it weighs told
        whole; with w = 1 the usual conjugate update. Order does not matter. ValueError where a
        piece has another number of figures than the belief.
        """
        listed = [piece for piece in pieces if piece.weight > 0]
        if not listed:
            return self
        size = len(self.mean)
        if any(len(piece.at) != size for piece in listed):
            raise ValueError(f"This belief has {size} coefficients; a piece has another number.")
        at = np.array([piece.at for piece in listed], dtype=np.float64)
        value = np.array([piece.value for piece in listed], dtype=np.float64)
        weight = np.array([piece.weight for piece in listed], dtype=np.float64)
        before = np.array(self.mean)
        held = np.array(self.precision)
        precision = held + at.T @ (weight[:, None] * at)
        mean = np.linalg.solve(precision, held @ before + at.T @ (weight * value))
        missed = value - at @ mean
        moved = before - mean
        b = self.b + 0.5 * (float(weight @ missed**2) + float(moved @ held @ moved))
        return Belief(
            tuple(float(one) for one in mean),
            tuple(tuple(float(one) for one in row) for row in precision),
            self.a + float(weight.sum()) / 2,
            b,
        )

    @property
    def variance(self) -> float:
        """b / a: what the next value's spread about its own mean is reckoned with."""
        return self.b / self.a

    def _spread(self, at: Sequence[float]) -> float:
        row = np.array(at, dtype=np.float64)
        if row.shape != (len(self.mean),):
            raise ValueError(f"This belief has {len(self.mean)} coefficients.")
        return float(row @ np.linalg.solve(np.array(self.precision), row))

    def foretell(self, at: Sequence[float], *, weight: float = 1.0) -> Foretold:
        """One new value of this weight: t, 2 a degrees, scale² = b / a (1 / w + zᵀ P⁻¹ z)."""
        if not weight > 0:
            raise ValueError(f"What is foretold has a weight above 0, not {weight:g}.")
        centre = float(np.array(at) @ np.array(self.mean))
        scale = sqrt(self.variance * (1 / weight + self._spread(at)))
        return Foretold(2 * self.a, centre, scale)

    def of_mean(self, at: Sequence[float]) -> Foretold:
        """The mean itself: t, 2 a degrees, scale² = b / a zᵀ P⁻¹ z."""
        centre = float(np.array(at) @ np.array(self.mean))
        return Foretold(2 * self.a, centre, sqrt(self.variance * self._spread(at)))


@dataclass(frozen=True)
class Pace:
    """Gamma belief about units an hour of work that is counted one by one."""

    shape: float
    hours: float

    def updated(self, *, units: float, hours: float) -> Pace:
        """shape + units, hours + hours. ValueError below 0."""
        if not (units >= 0 and hours >= 0):
            raise ValueError("Units done and hours worked must not be below 0.")
        return Pace(self.shape + units, self.hours + hours)

    @property
    def mean(self) -> float:
        return self.shape / self.hours

    @property
    def sd(self) -> float:
        return sqrt(self.shape) / self.hours

    def quantile(self, chance: float) -> float:
        return float(stats.gamma.ppf(chance, self.shape, scale=1 / self.hours))
