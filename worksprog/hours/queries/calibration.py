"""Did finished jobs come in where their estimates said when work began."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import NormalDist

from worksprog.calc.output_rates import Calibration, Choice, Outcome, calibrate
from worksprog.clubs.models import Club
from worksprog.hours.queries.evidence import JobFacts, read_jobs
from worksprog.works.models import Estimate
from worksprog.works.recipes import recipes_of

NINE_IN_TEN = NormalDist().inv_cdf(0.9)


@dataclass(frozen=True)
class Told:
    """One finished job against the estimate it began with."""

    facts: JobFacts
    title: str
    estimate: Estimate
    outcome: Outcome
    by: str
    counts: bool

    @property
    def off(self) -> float:
        """Hours taken over the likely of the estimate, less one."""
        return self.outcome.actual / self.outcome.likely - 1


@dataclass(frozen=True)
class Accuracy:
    told: tuple[Told, ...]
    calibration: Calibration
    with_left_out: Calibration
    without: tuple[tuple[JobFacts, str], ...]

    @property
    def words(self) -> str:
        """As the calibration says it; where jobs are left out, what it would be with them, too."""
        every = self.with_left_out
        left_out = every.count - self.calibration.count
        if not left_out:
            return self.calibration.words
        jobs = "the job" if left_out == 1 else f"the {left_out} jobs"
        told = (
            self.calibration.words if self.calibration.count else "Every finished job is left out."
        )
        return f"{told} With {jobs} left out as evidence it is {every.inside} of {every.count}."

    @property
    def counted(self) -> list[Told]:
        return [one for one in self.told if one.counts]

    @property
    def outside(self) -> list[Told]:
        return [one for one in self.told if not one.outcome.is_inside]


def accuracy(club: Club, titles: Mapping[str, str] | None = None) -> Accuracy:
    """Every finished job of the crew; those left out as evidence are counted apart.

    ``titles``: of the kinds of work, where the asker has read them.
    """
    if titles is None:
        titles = {kind: recipe.title for kind, recipe in recipes_of(club).items()}
    finished = [
        one for jobs in read_jobs(club, closely=False).values() for one in jobs if one.is_finished
    ]
    estimates = _begun_with(finished)
    told, without = [], []
    for one in finished:
        estimate = estimates.get(one.item.pk)
        if estimate is None or not estimate.labour_likely_h > 0:
            without.append((one, "its estimate has no hours of the crew"))
        elif one.evidence is None or one.evidence.whole is None:
            without.append((one, "no hours were logged on it"))
        else:
            told.append(_told(one, titles.get(one.item.kind, one.item.kind), estimate))
    told.sort(key=lambda one: (one.facts.item.finished_on is None, one.facts.item.finished_on))
    counted = [one.outcome for one in told if one.counts]
    everything = calibrate([one.outcome for one in told])
    return Accuracy(tuple(told), calibrate(counted), everything, tuple(without))


def _begun_with(jobs: Sequence[JobFacts]) -> dict[int, Estimate]:
    """The last revision made by the day work began; the first where all were made later."""
    starts = {one.item.pk: one.item.started_on for one in jobs}
    revisions: dict[int, list[Estimate]] = defaultdict(list)
    rows = Estimate.objects.filter(item__in=starts).order_by("revision")
    for row in rows.defer("working", "measured", "feature_versions", "parameters"):
        revisions[row.item_id].append(row)
    found = {}
    for key, listed in revisions.items():
        start = starts[key]
        before = [one for one in listed if start is None or one.made_at.date() <= start]
        found[key] = before[-1] if before else listed[0]
    return found


def _range_of(estimate: Estimate) -> tuple[float, float, str]:
    """P10 and P90 of its hours: as simulated then, else by mean and spread."""
    hours = estimate.simulated.get("hours") or {}
    if {"P10", "P90"} <= hours.keys():
        return float(hours["P10"]), float(hours["P90"]), "simulated"
    low = estimate.labour_mean_h - NINE_IN_TEN * estimate.labour_sd_h
    high = estimate.labour_mean_h + NINE_IN_TEN * estimate.labour_sd_h
    low, high = max(low, estimate.labour_low_h), min(high, estimate.labour_high_h)
    return min(low, high), max(low, high), "mean and spread, normal approximation"


def _told(facts: JobFacts, title: str, estimate: Estimate) -> Told:
    assert facts.evidence is not None and facts.evidence.whole is not None
    p10, p90, by = _range_of(estimate)
    start = facts.item.started_on
    if start is not None and estimate.made_at.date() > start:
        by += "; worked out again after work began"
    return Told(
        facts=facts,
        title=title,
        estimate=estimate,
        outcome=Outcome(
            str(facts.item.uuid),
            facts.item.name,
            p10,
            estimate.labour_likely_h,
            p90,
            facts.evidence.whole.hours,
        ),
        by=by,
        counts=facts.evidence.job.choice is not Choice.LEFT_OUT,
    )
