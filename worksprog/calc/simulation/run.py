"""The simulation itself: jobs drawn line by line, summed by group, ranked by what drives them."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from math import sqrt
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from worksprog.calc.ranges import Shape
from worksprog.calc.simulation.curves import curve_table
from worksprog.calc.simulation.given import Job, Uncertain, UncertainLine, checked_draws
from worksprog.calc.simulation.kernel import (
    key_of,
    put_figures,
    put_luck_products,
    put_normals,
)
from worksprog.calc.simulation.result import (
    PERCENTS,
    Drivers,
    LineShare,
    Ranged,
    Simulated,
    SourceShare,
    Spread,
)

Floats = NDArray[np.float64]
Tell = Callable[[float, str], None]
T = TypeVar("T")

DRIVER_DRAWS = 2_000  # enough to rank by; only sums are kept, so the lines are drawn a second time
AT_A_TIME = 16
SURELY_MORE = 3.5  # standard errors above nothing that a source must lie to be named


def simulate(
    jobs: Sequence[Job],
    *,
    seed: int,
    draws: int = 10_000,
    shape: Shape = Shape.BETA_PERT,
    drivers_of: Iterable[str] = ("",),
    threads: int | None = None,
    tell: Tell | None = None,
) -> Simulated:
    """Draw every uncertain figure of every line, and tell the sums as ranges.

    Figure = F⁻¹(Φ(z)) with z = √(1 - Σ s) ε + Σ √s Z: a Gaussian copula with one step of factors,
    Z a cause and s its share in the figure, ε the figure's own luck. Causes run from lucky to
    unlucky: an output is read from the other end, so that bad weather lowers it where it raises
    quantity and price. Hours = measured / output; money = hours (or measured) × price.

    ``drivers_of``: groups of which the drivers are told, "" for the total; ranked on the first
    2,000 draws. Answers do not depend on ``threads``. Only the sums of groups are kept, never all
    draws of all lines. ValueError: nothing to simulate, doubled keys, draws out of bounds.
    """
    checked_draws(draws)
    if seed < 0:
        raise ValueError(f"The seed is a whole number from 0, not {seed}.")
    if not jobs:
        raise ValueError("There is nothing to simulate: no job has an estimate.")
    twice = [key for key, count in Counter(job.key for job in jobs).items() if count > 1]
    if twice:
        raise ValueError(f"Jobs are told apart by their keys; {twice[0]} stands there twice.")
    workers = threads or min(os.cpu_count() or 1, 4)
    tell = tell or _silent
    model = _Model(jobs, seed=seed, draws=draws, shape=shape)
    totals, ranged = _sum_up(model, jobs, workers, tell)
    tell(85, "Ranking what drives the spread")
    drivers = {
        group: _drivers(model, jobs, group, totals, workers)
        for group in dict.fromkeys(drivers_of)
        if group in totals
    }
    groups = {name: _ranged(hours, money) for name, (hours, money) in totals.items()}
    total = groups.pop("")
    return Simulated(seed, draws, shape, total, groups, ranged, drivers)


def _silent(percent: float, words: str) -> None:
    """For callers who need not hear how far it is."""


class _Model:
    """Causes drawn once, figures read off them draw by draw."""

    def __init__(self, jobs: Sequence[Job], *, seed: int, draws: int, shape: Shape) -> None:
        self.seed, self.draws, self.shape = seed, draws, shape
        self.causes = sorted(
            {
                sway.cause
                for job in jobs
                for line in job.lines
                for figure in line.figures
                for sway in figure.sways
            }
        )
        self._place = {cause: place for place, cause in enumerate(self.causes)}
        self.cause_draws = np.empty((len(self.causes), draws))
        for place, cause in enumerate(self.causes):
            put_normals(key_of(seed, f"cause {cause}"), self.cause_draws[place])

    def values(self, figure: Uncertain, *, upside_down: bool = False) -> Floats | float:
        if figure.point.is_certain:
            return figure.point.low
        table = curve_table(figure.point, self.shape)
        if upside_down:
            table = np.ascontiguousarray(table[::-1])
        out = np.empty(self.draws)
        put_figures(
            key_of(self.seed, figure.chance),
            sqrt(figure.own_share),
            self.cause_draws,
            np.array([self._place[sway.cause] for sway in figure.sways], dtype=np.int64),
            np.array([sqrt(sway.share) for sway in figure.sways], dtype=np.float64),
            table,
            out,
        )
        return out

    def line(self, line: UncertainLine) -> tuple[Floats | float, Floats | float]:
        """Crew hours and money of one line in every draw."""
        amount = self.values(line.measured)
        if line.output is not None:
            amount = amount / self.values(line.output, upside_down=True)
        return (amount if line.own_crew else 0.0), amount * self.values(line.price)

    def job(self, job: Job) -> tuple[Floats, Floats]:
        hours, money = np.zeros(self.draws), np.zeros(self.draws)
        for line in job.lines:
            line_hours, line_money = self.line(line)
            hours += line_hours
            money += line_money
        return hours, money


def _in_turn(
    jobs: Sequence[Job], work: Callable[[Job], T], workers: int
) -> Iterator[tuple[Job, T]]:
    """Each job with what came of it, in the order given, a few held at a time."""
    if workers == 1 or len(jobs) == 1:
        for job in jobs:
            yield job, work(job)
        return
    with ThreadPoolExecutor(workers) as pool:
        for first in range(0, len(jobs), AT_A_TIME):
            some = jobs[first : first + AT_A_TIME]
            yield from zip(some, pool.map(work, some), strict=True)


Totals = dict[str, tuple[Floats, Floats]]


def _sum_up(
    model: _Model, jobs: Sequence[Job], workers: int, tell: Tell
) -> tuple[Totals, dict[str, Ranged]]:
    def work(job: Job) -> tuple[Floats, Floats, Ranged]:
        hours, money = model.job(job)
        return hours, money, _ranged(hours, money)

    totals: Totals = {"": (np.zeros(model.draws), np.zeros(model.draws))}
    ranged: dict[str, Ranged] = {}
    for done, (job, (hours, money, told)) in enumerate(_in_turn(jobs, work, workers), start=1):
        ranged[job.key] = told
        for group, share in (("", 1.0), *job.shares.items()):
            if group not in totals:
                totals[group] = (np.zeros(model.draws), np.zeros(model.draws))
            totals[group][0][:] += share * hours
            totals[group][1][:] += share * money
        tell(5 + 80 * done / len(jobs), f"{done} of {len(jobs)} jobs drawn")
    return totals, ranged


def _spread(values: Floats) -> Spread:
    ordered = np.sort(values)
    quantiles = np.interp(
        np.array(PERCENTS) / 100 * (len(ordered) - 1), np.arange(len(ordered)), ordered
    )
    return Spread(
        float(values.mean()), float(values.std(ddof=1)), tuple(quantiles.tolist()), len(values)
    )


def _ranged(hours: Floats, money: Floats) -> Ranged:
    return Ranged(_spread(hours), _spread(money))


class _Ranking:
    """A group's centred hours and money over the draws that are ranked by."""

    def __init__(self, hours: Floats, money: Floats, draws: int) -> None:
        self.hours, self.money = _centred(hours[:draws]), _centred(money[:draws])
        self.draws = draws
        self._variances = float(self.hours @ self.hours), float(self.money @ self.money)

    def line_shares(
        self, hours: Floats | float, money: Floats | float, share: float
    ) -> tuple[float, float]:
        return (
            self._covariance_share(hours, self.hours, self._variances[0], share),
            self._covariance_share(money, self.money, self._variances[1], share),
        )

    @staticmethod
    def _covariance_share(
        part: Floats | float, total: Floats, variance: float, share: float
    ) -> float:
        if variance == 0 or not isinstance(part, np.ndarray):
            return 0.0
        return share * float(part @ total) / variance

    def luck_shares(self, seed: int, name: str) -> tuple[float, float]:
        """Squared correlations, less what mere chance gives to luck of no effect: 1 / N."""
        once, twice, hours, money = put_luck_products(
            key_of(seed, name), self.hours, self.money, np.empty(self.draws)
        )
        own = twice - once * once / self.draws

        def share(product: float, variance: float) -> float:
            return float(product**2 / (own * variance) - 1 / self.draws) if variance else 0.0

        return share(hours, self._variances[0]), share(money, self._variances[1])


def _centred(values: Floats) -> Floats:
    centred: Floats = values - values.mean()
    return centred


def _drivers(
    model: _Model, jobs: Sequence[Job], group: str, totals: Totals, workers: int
) -> Drivers:
    draws = min(model.draws, DRIVER_DRAWS)
    inside = [job for job in jobs if not group or job.shares.get(group, 0.0) > 0]
    part = _Model(inside, seed=model.seed, draws=draws, shape=model.shape)
    ranking = _Ranking(*totals[group], draws)

    def work(job: Job) -> tuple[list[tuple[float, float]], dict[str, tuple[float, float]]]:
        share = 1.0 if not group else job.shares[group]
        lines = [ranking.line_shares(*part.line(line), share) for line in job.lines]
        lucks = {
            figure.chance: ranking.luck_shares(model.seed, figure.chance)
            for line in job.lines
            for figure in line.figures
            if not figure.point.is_certain and figure.own_share > 0
        }
        return lines, lucks

    lines: list[tuple[Job, UncertainLine, float, float]] = []
    lucks: dict[str, tuple[float, float]] = {}
    for job, (shares, own) in _in_turn(inside, work, workers):
        lines.extend((job, line, *both) for line, both in zip(job.lines, shares, strict=True))
        lucks.update(own)
    whole = _Ranking(*totals[group], model.draws)
    causes = {cause: whole.luck_shares(model.seed, f"cause {cause}") for cause in part.causes}

    def ranked(which: int) -> tuple[LineShare, ...]:
        found = (
            LineShare(job.key, line.key, line.label, rest[which]) for job, line, *rest in lines
        )
        return tuple(sorted(found, key=lambda one: (-one.share, one.job, one.line)))

    def sources(which: int) -> tuple[SourceShare, ...]:
        found = [
            SourceShare(name, is_cause, both[which])
            for named, is_cause, count in (
                (causes, True, model.draws),
                (lucks, False, draws),
            )
            for name, both in named.items()
            if both[which] > SURELY_MORE**2 / count
        ]
        return tuple(sorted(found, key=lambda one: (-one.share, one.source)))

    return Drivers(ranked(0), ranked(1), sources(0), sources(1), draws)
