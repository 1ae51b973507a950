"""The simulation against closed forms, exact laws, published test words and an independent one."""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest
from scipy import integrate, special, stats

from worksprog.calc.ranges import Shape, ThreePoint, mean_and_sd
from worksprog.calc.simulation import Job, Sway, Uncertain, UncertainLine, simulate
from worksprog.calc.simulation.kernel import key_of, normal_of, philox, put_normals

RISK_1 = [(8, 10, 15), (20, 24, 34), (5, 6, 10), (40, 45, 60), (12, 15, 21)]
ONE = Uncertain(ThreePoint.exactly(1.0), "")
DRAWS = 100_000


def _jobs(points, *sways: Sway) -> list[Job]:
    return [
        Job(
            f"{place}",
            "",
            (UncertainLine("", "", Uncertain(ThreePoint(*point), f"item {place}", sways), ONE),),
        )
        for place, point in enumerate(points)
    ]


def _run(points, *sways: Sway, shape: Shape = Shape.TRIANGULAR, draws: int = DRAWS):
    run = simulate(_jobs(points, *sways), seed=11, draws=draws, shape=shape, drivers_of=())
    return run.total.money


def test_generator_gives_the_published_words(outside):
    source = "known-answer vectors of Random123 for philox4x32-10 (M)"
    full = np.uint64(0xFFFFFFFF)
    none = np.uint64(0)
    for what, words, expected in (
        ("zeros", philox(none, none, none, none, none), (0x6627E8D5, 0x9B00DBD8)),
        (
            "ones",
            philox(full, full, full, full, np.uint64(0xFFFFFFFFFFFFFFFF)),
            (0x408F276D, 0x6D5451FD),
        ),
    ):
        for place, want in zip((0, 3), expected, strict=True):
            outside(
                quantity=f"Counting generator, all {what}, word {place + 1}",
                expected=want,
                got=int(words[place]),
                tolerance=0,
                source=source,
            )


def test_normal_deviates(outside):
    for word in (0, 7, 10**6, 2**31 + 10**8, 4 * 10**9, 2**32 - 1):
        outside(
            quantity=f"Normal deviate of word {word}",
            expected=float(special.ndtri((word + 0.5) / 2**32)),
            got=normal_of(np.uint64(word)),
            tolerance=2e-6,
            source="scipy.special.ndtri",
        )
    deviates = np.empty(DRAWS)
    put_normals(key_of(3, "outside"), deviates)
    assert stats.kstest(deviates, "norm").pvalue > 0.01
    assert abs(np.corrcoef(deviates[:-1], deviates[1:])[0, 1]) < 4 / sqrt(DRAWS)


def test_sums_against_closed_forms(outside):
    free = _run(RISK_1)
    outside(
        quantity="RISK-1 simulated, mean",
        expected=108.3333,
        got=free.mean,
        tolerance=4 * 5.7927 / sqrt(DRAWS),
        source="closed form; four standard errors",
    )
    outside(
        quantity="RISK-1 simulated, sd at no correlation",
        expected=5.7927,
        got=free.sd,
        tolerance=0.06,
        source="closed form",
    )
    outside(
        quantity="RISK-1 simulated, 8 in 10",
        expected=113.31,
        got=free.within(0.8),
        tolerance=0.12,
        source="a million draws by scipy.stats.triang (R)",
    )
    outside(
        quantity="RISK-4 chance that the sum of likely figures is enough",
        expected=0.068,
        got=free.chance_within(100),
        tolerance=0.005,
        source="a million draws by scipy (R); the point of Book, Crosslink, winter 2001 (C)",
    )
    tied = _run(RISK_1, Sway("all", 0.25))
    outside(
        quantity="RISK-1 simulated, sd at copula 0.25",
        expected=7.639,
        got=tied.sd,
        tolerance=0.07,
        source="a million draws of a Gaussian copula by scipy (R); 7.675 for Pearson's 0.25",
    )
    for chance, expected in ((0.5, 107.86), (0.8, 114.94)):
        outside(
            quantity=f"RISK-1 at 0.25: contingency at {chance:.0%}",
            expected=expected - 100,
            got=tied.contingency(100, chance),
            tolerance=0.15,
            source="a million draws by scipy (R)",
        )
    outside(
        quantity="RISK-4 at 0.25: chance that the likely sum is enough",
        expected=0.141,
        got=tied.chance_within(100),
        tolerance=0.006,
        source="a million draws by scipy (R)",
    )
    same = _run(RISK_1, Sway("all", 1.0))
    outside(
        quantity="RISK-1 all moving as one, 8 in 10",
        expected=sum(
            float(stats.triang((m - a) / (b - a), a, b - a).ppf(0.8)) for a, m, b in RISK_1
        ),
        got=same.within(0.8),
        tolerance=0.15,
        source="sum of scipy.stats.triang.ppf: quantiles add up when all move as one (A)",
    )
    pert = _run(RISK_1, shape=Shape.BETA_PERT)
    outside(
        quantity="RISK-5 beta-PERT simulated, mean",
        expected=104.1667,
        got=pert.mean,
        tolerance=4 * 4.9228 / sqrt(DRAWS),
        source="closed form; four standard errors",
    )
    outside(
        quantity="RISK-5 beta-PERT simulated, sd",
        expected=4.9228,
        got=pert.sd,
        tolerance=0.05,
        source="closed form",
    )
    outside(
        quantity="RISK-5 beta-PERT simulated, 8 in 10",
        expected=108.33,
        got=pert.within(0.8),
        tolerance=0.1,
        source="a million draws by scipy (R)",
    )


def test_understated_spread(outside):
    for count, share in ((10, 0.445), (30, 0.652), (100, 0.803)):
        points = [(0, 1, 2)] * count
        free = _run(points, shape=Shape.BETA_PERT, draws=20_000).sd
        tied = _run(points, Sway("all", 0.25), shape=Shape.BETA_PERT, draws=20_000).sd
        outside(
            quantity=f"RISK-2 simulated: spread understated, {count} items, 0.25",
            expected=share,
            got=1 - free / tied,
            tolerance=0.015,
            source="closed form 1 - 1/√(1 + ρ(n - 1)); three standard errors and the copula's bent",
        )


def test_exact_law_of_sums_of_uniforms(outside):
    # The triangle 0, 1, 2 is the sum of two uniforms, so n of them are 2n uniforms.
    four, six = _run([(0, 1, 2)] * 2), _run([(0, 1, 2)] * 3)
    for quantity, expected, got in (
        ("Irwin-Hall, 4 uniforms, chance within 1", 1 / 24, four.chance_within(1.0)),
        (
            "Irwin-Hall, 4 uniforms, chance within 1.5",
            (1.5**4 - 4 * 0.5**4) / 24,
            four.chance_within(1.5),
        ),
        ("Irwin-Hall, 4 uniforms, chance within 2", 0.5, four.chance_within(2.0)),
        ("Irwin-Hall, 6 uniforms, chance within 2", (2**6 - 6) / 720, six.chance_within(2.0)),
    ):
        outside(
            quantity=quantity,
            expected=expected,
            got=got,
            tolerance=4 * sqrt(expected * (1 - expected) / DRAWS) + 5e-4,
            source="exact law of a sum of uniforms (A); four standard errors",
        )


def test_hours_and_money_against_integrals(outside):
    """Measured / output × price, all apart: the means multiply, and so do the second moments."""
    q, o, p = ThreePoint(80, 100, 150), ThreePoint(3, 5, 6), ThreePoint(18, 20, 27)
    line = UncertainLine("", "", Uncertain(q, "q"), Uncertain(p, "p"), Uncertain(o, "o"), True)
    run = simulate([Job("j", "", (line,))], seed=5, draws=DRAWS, drivers_of=())

    def law(point: ThreePoint):
        width = point.high - point.low
        place = (point.likely - point.low) / width
        return stats.beta(1 + 4 * place, 5 - 4 * place, loc=point.low, scale=width)

    def moment(point: ThreePoint, power: int) -> float:
        curve = law(point)
        return integrate.quad(lambda x: x**power * curve.pdf(x), point.low, point.high)[0]

    mean_h = moment(q, 1) * moment(o, -1)
    mean = mean_h * moment(p, 1)
    sd_h = sqrt(moment(q, 2) * moment(o, -2) - mean_h**2)
    sd = sqrt(moment(q, 2) * moment(o, -2) * moment(p, 2) - mean**2)
    source = "integrals of the beta curve by scipy; moments of independent factors multiply (A)"
    for quantity, expected, got, allowed in (
        ("Hours = measured / output, mean", mean_h, run.total.hours.mean, 4 * sd_h),
        ("Money = measured / output × price, mean", mean, run.total.money.mean, 4 * sd),
        ("Hours, sd", sd_h, run.total.hours.sd, 4 * sd_h),
        ("Money, sd", sd, run.total.money.sd, 4 * sd),
    ):
        outside(
            quantity=quantity,
            expected=expected,
            got=got,
            tolerance=allowed / sqrt(DRAWS),
            source=source,
        )
    assert mean_h > mean_and_sd(q, Shape.BETA_PERT)[0] / mean_and_sd(o, Shape.BETA_PERT)[0]


def _independent(draws: int) -> tuple[np.ndarray, np.ndarray]:
    """Two jobs by scipy alone: one multivariate normal with its whole matrix of correlations."""
    figures = [  # low, likely, high, loads on weather, ground, programme; outputs load the other way
        ((80, 100, 150), (0.0, 0.3, 0.1)),
        ((3, 5, 6), (-0.3, -0.2, -0.1)),
        ((18, 20, 27), (0.0, 0.0, 0.2)),
        ((40, 45, 70), (0.0, 0.3, 0.1)),
        ((8, 9, 14), (-0.3, -0.2, -0.1)),
        ((30, 34, 50), (0.0, 0.0, 0.2)),
    ]
    loads = np.array([[np.sign(s) * sqrt(abs(s)) for s in share] for _, share in figures])
    matrix = loads @ loads.T
    np.fill_diagonal(matrix, 1.0)
    law = stats.multivariate_normal(np.zeros(len(figures)), matrix)
    chances = stats.norm.cdf(law.rvs(draws, random_state=np.random.default_rng(2026)))
    drawn = []
    for ((low, likely, high), _), chance in zip(figures, chances.T, strict=True):
        place = (likely - low) / (high - low)
        drawn.append(low + (high - low) * special.betaincinv(1 + 4 * place, 5 - 4 * place, chance))
    hours = drawn[0] / drawn[1] + drawn[3] / drawn[4]
    return hours, drawn[0] / drawn[1] * drawn[2] + drawn[3] / drawn[4] * drawn[5]


def test_against_an_independent_simulation(outside):
    weather, ground = Sway("weather", 0.3), Sway("ground", 0.2)
    programme = Sway("programme", 0.1)

    def job(key: str, q, o, p) -> Job:
        line = UncertainLine(
            "",
            "",
            Uncertain(ThreePoint(*q), f"q{key}", (Sway("ground", 0.3), programme)),
            Uncertain(ThreePoint(*p), f"p{key}", (Sway("programme", 0.2),)),
            Uncertain(ThreePoint(*o), f"o{key}", (weather, ground, programme)),
            own_crew=True,
        )
        return Job(key, "", (line,))

    run = simulate(
        [
            job("1", (80, 100, 150), (3, 5, 6), (18, 20, 27)),
            job("2", (40, 45, 70), (8, 9, 14), (30, 34, 50)),
        ],
        seed=8,
        draws=DRAWS,
        drivers_of=(),
    )
    source = "independent simulation: scipy multivariate normal, beta quantiles, 200,000 draws"
    for what, spread, theirs in zip(
        ("hours", "money"), (run.total.hours, run.total.money), _independent(200_000), strict=True
    ):
        outside(
            quantity=f"Two jobs with shared causes, {what}: mean",
            expected=float(theirs.mean()),
            got=spread.mean,
            tolerance=5 * spread.sd / sqrt(DRAWS),
            source=source,
        )
        outside(
            quantity=f"Two jobs with shared causes, {what}: sd",
            expected=float(theirs.std(ddof=1)),
            got=spread.sd,
            tolerance=0.012,
            relative=True,
            source=source,
        )
        for chance in (0.1, 0.5, 0.8, 0.9):
            outside(
                quantity=f"Two jobs with shared causes, {what}: P{chance * 100:.0f}",
                expected=float(np.quantile(theirs, chance)),
                got=spread.within(chance),
                tolerance=5 * spread.standard_error(chance),
                source=source,
            )


def test_standard_error_of_a_quantile(outside):
    runs = [
        simulate(_jobs(RISK_1), seed=seed, draws=2_000, drivers_of=()).total.money
        for seed in range(60)
    ]
    outside(
        quantity="Standard error of the 8 in 10 figure, 2,000 draws",
        expected=float(np.std([run.within(0.8) for run in runs], ddof=1)),
        got=float(np.mean([run.standard_error(0.8) for run in runs])),
        tolerance=0.3,
        relative=True,
        source="sd over 60 seeds; √(p(1 - p)/N)/f (textbook)",
    )


def test_driver_shares_against_variances(outside):
    """Independent lines: the share of each is its variance over the sum of variances."""
    line_of = [
        UncertainLine(f"{i}", "", Uncertain(ThreePoint(*point), f"item {i}"), ONE)
        for i, point in enumerate(RISK_1)
    ]
    run = simulate([Job("j", "", tuple(line_of))], seed=11, shape=Shape.TRIANGULAR)
    variances = [mean_and_sd(ThreePoint(*point), Shape.TRIANGULAR)[1] ** 2 for point in RISK_1]
    got = {one.line: one.share for one in run.drivers[""].money_lines}
    sources = {one.source: one.share for one in run.drivers[""].money_sources}
    for place in (1, 3):
        share = variances[place] / sum(variances)
        outside(
            quantity=f"Share of the spread, line {place + 1} of RISK-1",
            expected=share,
            got=got[f"{place}"],
            tolerance=0.05,
            source="variance over sum of variances (A); ranked on 2,000 draws",
        )
        assert sources[f"item {place}"] == pytest.approx(share, abs=0.06)
