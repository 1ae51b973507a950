"""Conjugate updates against closed forms and against scipy's own integration."""

from __future__ import annotations

from collections.abc import Callable
from math import exp, log, sqrt

import numpy as np
from scipy import integrate, stats

from worksprog.calc.output_rates import Belief, Pace, Piece, exact_limits

FORM = "closed form; Gelman et al., Bayesian Data Analysis, chs. 2-3 (M for the page, R by scipy)"
DAYS = (9.0, 10.0, 8.0, 11.0)
SURE = 1e12  # half the degrees of freedom of a spread that is known


def known_spread(*, mean: float, mean_sd: float, sd: float) -> Belief:
    return Belief.of_one(mean=mean, weight=(sd / mean_sd) ** 2, a=SURE, b=SURE * sd**2)


def test_normal_with_known_spread(outside: Callable[..., None]) -> None:
    belief = known_spread(mean=12, mean_sd=3, sd=2).updated([Piece((1.0,), x) for x in DAYS])
    for quantity, expected, got in (
        ("mean of the rate", 9.75, belief.mean[0]),
        ("spread of the mean", 0.94868, sqrt(belief.variance / belief.precision[0][0])),
        ("spread of the next day", 2.21359, belief.foretell((1.0,)).scale),
    ):
        outside(
            quantity=f"normal, known spread: {quantity}",
            expected=expected, got=got, tolerance=1e-4, relative=False, unit="m/h", source=FORM,
        )  # fmt: skip


def test_counted_units_by_a_gamma_belief(outside: Callable[..., None]) -> None:
    pace = Pace(4, 2).updated(units=38, hours=16)
    for quantity, expected, got in (
        ("mean", 2.33333, pace.mean),
        ("standard deviation", 0.36004, pace.sd),
        ("2.5 % limit", 1.6817, pace.quantile(0.025)),
        ("97.5 % limit", 3.0901, pace.quantile(0.975)),
    ):
        outside(
            quantity=f"gamma (4, 2 h), 38 units in 16 h: {quantity}",
            expected=expected, got=got, tolerance=1e-4, relative=False, unit="/h", source=FORM,
        )  # fmt: skip


def test_lognormal_with_known_spread(outside: Callable[..., None]) -> None:
    belief = known_spread(mean=log(12), mean_sd=0.3, sd=0.2).updated(
        [Piece((1.0,), log(x)) for x in DAYS]
    )
    told = belief.foretell((1.0,))
    for quantity, expected, got in (
        ("log of the mean rate", 2.268349, belief.mean[0]),
        ("its spread", 0.094868, sqrt(belief.variance / belief.precision[0][0])),
        ("median", 9.6634, told.ratio(0.5)),
        ("next day, 1 in 10 below", 7.2766, told.ratio(0.1)),
        ("next day, 9 in 10 below", 12.8332, told.ratio(0.9)),
    ):
        outside(
            quantity=f"lognormal, known spread: {quantity}",
            expected=expected, got=got, tolerance=1e-4, relative=False, source=FORM,
        )  # fmt: skip


def test_normal_inverse_gamma(outside: Callable[..., None]) -> None:
    belief = Belief.of_one(mean=12, weight=1, a=2, b=4).updated([Piece((1.0,), x) for x in DAYS])
    told = belief.foretell((1.0,))
    for quantity, expected, got in (
        ("weight k", 5, belief.precision[0][0]),
        ("mean m", 10.0, belief.mean[0]),
        ("a", 4, belief.a),
        ("b", 9, belief.b),
        ("degrees of freedom of the next", 8, told.freedom),
        ("scale of the next", 1.643168, told.scale),
        ("8 in 10 chance below", 11.4606, told.quantile(0.8)),
    ):
        outside(
            quantity=f"normal-inverse-gamma (12, 1, 2, 4): {quantity}",
            expected=expected, got=got, tolerance=1e-4, relative=False, source=FORM,
        )  # fmt: skip


def test_weighted_evidence_against_integration(outside: Callable[..., None]) -> None:
    """The posterior by scipy's quadrature over mean and variance, likelihoods to their weights."""
    prior = Belief.of_one(mean=0.0, weight=2.0, a=2.0, b=0.08)
    data = [(0.25, 1.0), (0.1, 0.4), (-0.05, 0.7)]
    belief = prior.updated([Piece((1.0,), x, w) for x, w in data])

    means = np.linspace(-0.9, 1.1, 401)[None, :]
    variances = np.exp(np.linspace(log(0.002), log(2.0), 301))
    sd = np.sqrt(variances)[:, None]
    grid = stats.norm.pdf(means, 0.0, sd / sqrt(2.0))
    grid *= stats.invgamma.pdf(variances, prior.a, scale=prior.b)[:, None]
    for x, w in data:
        grid *= stats.norm.pdf(x, means, sd) ** w
    means = np.ravel(means)
    across = np.asarray(integrate.simpson(grid, x=means, axis=1))
    mass = integrate.simpson(across, x=variances)
    weighed = np.asarray(integrate.simpson(grid * means, x=means, axis=1))
    first = integrate.simpson(weighed, x=variances)
    spread = integrate.simpson(across * variances, x=variances)
    outside(
        quantity="mean of the log ratio, evidence of weight 1, 0.4 and 0.7",
        expected=first / mass, got=belief.mean[0], tolerance=1e-4, relative=False,
        source="posterior integrated on a grid, scipy.integrate (R)",
    )  # fmt: skip
    outside(
        quantity="expected variance, the same",
        expected=spread / mass, got=belief.b / (belief.a - 1), tolerance=2e-3,
        source="posterior integrated on a grid, scipy.integrate (R)",
    )  # fmt: skip


def test_regression_against_ridge(outside: Callable[..., None]) -> None:
    """The mean of a conjugate regression is the ridge solution of the same penalties."""
    rng = np.random.default_rng(5)
    rows = np.column_stack([np.ones(30), rng.uniform(0, 1, 30), rng.normal(0, 0.4, 30)])
    values = rows @ [0.15, 0.3, 0.1] + rng.normal(0, 0.1, 30)
    prior = Belief((0.0,) * 3, ((2.0, 0, 0), (0, 1.0, 0), (0, 0, 1.0)), 2.0, 0.1)
    belief = prior.updated([Piece(tuple(row), x) for row, x in zip(rows, values, strict=True)])
    wide = np.vstack([rows, np.diag(np.sqrt([2.0, 1.0, 1.0]))])
    ridge = np.linalg.lstsq(wide, np.concatenate([values, np.zeros(3)]), rcond=None)[0]
    for name, expected, got in zip(("all", "showers", "gang"), ridge, belief.mean, strict=True):
        outside(
            quantity=f"coefficient of a conjugate regression: {name}",
            expected=float(expected), got=got, tolerance=1e-9, relative=False,
            source="ridge by numpy.linalg.lstsq (R)",
        )  # fmt: skip


def test_limits_of_a_share(outside: Callable[..., None]) -> None:
    low, high = exact_limits(7, 10, chance=0.95)
    result = stats.binomtest(7, 10).proportion_ci(0.95, method="exact")
    outside(quantity="7 of 10, lower limit", expected=result.low, got=low, tolerance=1e-9,
            source="scipy.stats.binomtest, exact (R)")  # fmt: skip
    outside(quantity="7 of 10, upper limit", expected=result.high, got=high, tolerance=1e-9,
            source="scipy.stats.binomtest, exact (R)")  # fmt: skip
    outside(
        quantity="0 of 10, upper limit: 1 - 0.05^(1/10)",
        expected=1 - exp(log(0.05) / 10), got=exact_limits(0, 10)[1], tolerance=1e-9,
        source="closed form",
    )  # fmt: skip
