"""What the crew's hours teach of each kind of work, and what the open jobs should take by it."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log

from worksprog.calc.output_rates import BOOK_JOBS, Foretold, Judged, Learnt, Pace, learn
from worksprog.calc.ranges import ThreePoint
from worksprog.clubs.models import Club
from worksprog.hours.queries.evidence import JobFacts, read_jobs
from worksprog.planning.models import PlanRules
from worksprog.works.models import LearntRate
from worksprog.works.queries import learnt_in_use
from worksprog.works.recipes import recipes_of

COUNTED = "no"  # the unit of what is counted
MOVED = 0.02  # hours against the book: less is no reason to take a new rate into use


@dataclass(frozen=True)
class OpenJob:
    """What an open job should take in all, by what is learnt to today.

    ``low`` to ``high``: 8 in 10. What is done is certain; only the rest is foretold.
    """

    facts: JobFacts
    share: float
    reported_h: float
    waiting_h: float
    rest_book_h: float
    low: float
    middle: float
    high: float

    @property
    def has_learnt(self) -> bool:
        return bool(self.facts.estimate is not None and self.facts.estimate.learnt)


@dataclass(frozen=True)
class KindRates:
    """One kind of work."""

    kind: str
    title: str
    unit: str
    jobs: tuple[JobFacts, ...]
    learnt: Learnt
    in_use: LearntRate | None
    open_jobs: tuple[OpenJob, ...]

    @property
    def has_evidence(self) -> bool:
        return bool(self.learnt.judged)

    @property
    def crew_weight(self) -> float:
        return 1 - self.learnt.book_weight

    @property
    def with_hours(self) -> list[JobFacts]:
        return [one for one in self.jobs if one.evidence is not None]

    @property
    def of_the_book(self) -> list[JobFacts]:
        """Those whose estimates make the book's range, left out as evidence or not."""
        return [one for one in self.jobs if one.book_h.low > 0]

    @property
    def judged(self) -> dict[str, Judged]:
        return {one.evidence.job.key: one for one in self.learnt.judged}

    @property
    def doubts(self) -> int:
        """How many things want eyes: entries that look mis-logged, and jobs far out."""
        told = sum(len(one.evidence.doubts) for one in self.jobs if one.evidence is not None)
        return told + sum(one.is_odd for one in self.learnt.judged)

    @property
    def moved(self) -> bool:
        """True where the rate in use is no longer what the hours say."""
        if self.in_use is None:
            return False
        return abs(self.in_use.factor_likely / self.learnt.next.median - 1) > MOVED

    @property
    def book_h_a_unit(self) -> float | None:
        """Hours a unit by the book: all its estimates' hours over their quantities."""
        told = [one for one in self.jobs if one.estimate is not None and one.estimate.quantity > 0]
        quantity = sum(one.estimate.quantity for one in told if one.estimate is not None)
        return sum(one.book_h.likely for one in told) / quantity if quantity else None

    @property
    def learnt_h_a_unit(self) -> float | None:
        book = self.book_h_a_unit
        return book * self.learnt.next.median if book is not None else None


@dataclass(frozen=True)
class ByCount:
    """Units an hour of work that is counted one by one, by a gamma belief."""

    book: float
    mean: float
    low: float
    high: float


def by_count(rates: KindRates) -> ByCount | None:
    """The pace by counts and hours alone; None where work is not counted, or nothing is in.

    The book weighs as many hours as ``book_jobs`` of the jobs that count.
    """
    book_h, judged = rates.book_h_a_unit, rates.learnt.judged
    if rates.unit != COUNTED or not book_h or not judged:
        return None
    whole = [(one.evidence.quantity, one.evidence.whole) for one in judged]
    hours = rates.learnt.book_jobs * sum(part.book_h for _, part in whole if part) / len(whole)
    pace = Pace(hours / book_h, hours)
    for quantity, part in whole:
        if part is not None:
            pace = pace.updated(units=quantity, hours=part.hours)
    return ByCount(1 / book_h, pace.mean, pace.quantile(0.025), pace.quantile(0.975))


def usual_gang(club: Club) -> int:
    rules = PlanRules.objects.filter(club=club).first() or PlanRules(club=club)
    return rules.gang


def learnt_rates(club: Club, *, closely: bool = True) -> list[KindRates]:
    """Every kind of work on which the crew has jobs, those with evidence first."""
    jobs = read_jobs(club, closely=closely)
    in_use, gang, titles = learnt_in_use(club), usual_gang(club), _titles(club)
    rows = [
        _kind_rates(kind, listed, titles, in_use.get(kind), gang) for kind, listed in jobs.items()
    ]
    return sorted(rows, key=lambda row: (not row.has_evidence, -row.learnt.crew_jobs, row.title))


def rates_of(club: Club, kind: str) -> KindRates | None:
    """One kind of work; None where the crew has no job of it."""
    jobs = read_jobs(club, kind).get(kind)
    if not jobs:
        return None
    return _kind_rates(kind, jobs, _titles(club), learnt_in_use(club).get(kind), usual_gang(club))


def _titles(club: Club) -> dict[str, str]:
    return {kind: recipe.title for kind, recipe in recipes_of(club).items()}


def _kind_rates(
    kind: str,
    jobs: list[JobFacts],
    titles: dict[str, str],
    in_use: LearntRate | None,
    gang: int,
) -> KindRates:
    evidence = [one.evidence for one in jobs if one.evidence is not None]
    days = [day for one in evidence for day in one.job.days]
    hours = sum(day.hours for day in days)
    title = titles.get(kind, kind)
    learnt = learn(
        title,
        book=book_range(jobs),
        jobs=evidence,
        usual_gang=gang,
        usual_wet=sum(day.wet_h for day in days) / hours if hours else 0.0,
        book_jobs=BOOK_JOBS,
    )
    estimates = [one.estimate for one in jobs if one.estimate is not None]
    return KindRates(
        kind=kind,
        title=title,
        unit=estimates[0].unit if estimates else "",
        jobs=tuple(jobs),
        learnt=learnt,
        in_use=in_use,
        open_jobs=tuple(
            foretell(one, learnt.next.foretold) for one in jobs if one.is_open and one.estimate
        ),
    )


def book_range(jobs: list[JobFacts]) -> ThreePoint:
    """Low and high of the book over its likely, all jobs' estimates together, weighed by hours.

    Jobs left out as evidence are among them: what the book says does not hang on what was logged.
    """
    told = [one.book_h for one in jobs if one.book_h.low > 0]
    hours = sum(one.likely for one in told)
    if not hours:
        return ThreePoint.exactly(1.0)
    low = exp(sum(one.likely * log(one.low / one.likely) for one in told) / hours)
    high = exp(sum(one.likely * log(one.high / one.likely) for one in told) / hours)
    return ThreePoint(low, 1.0, high)


def foretell(facts: JobFacts, next_job: Foretold) -> OpenJob:
    """Hours to the last reported quantity, and the rest of the book's hours at the learnt rate.

    Hours since then are part of the rest: what they did is not reported yet.
    """
    evidence = facts.evidence
    share = evidence.share if evidence is not None else 0.0
    logged = evidence.hours if evidence is not None else 0.0
    waiting = evidence.waiting_h if evidence is not None else 0.0
    reported = logged - waiting
    rest = facts.book_h.likely * (1 - share)
    low, middle, high = (
        max(reported + rest * next_job.ratio(chance), logged) for chance in (0.1, 0.5, 0.9)
    )
    return OpenJob(facts, share, reported, waiting, rest, low, middle, high)
