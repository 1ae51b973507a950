"""What the book said, what the crew did, and what the next job of that kind should take.

log(hours / hours of the book for that very job) is normal. The book is the prior: mean 0, as wide
as its own low to high, worth a stated number of jobs. Every job with hours and quantities updates
it, weighted by how much of the job the evidence covers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, log

from scipy import stats

from worksprog.calc.output_rates.belief import Belief, Foretold, Piece, Vector
from worksprog.calc.output_rates.evidence import WET, Choice, JobEvidence, Part
from worksprog.calc.ranges import ThreePoint
from worksprog.calc.working import Step, Working

BOOK_JOBS = 2.0  # the book weighs as much as so many whole jobs; a choice, no source
FREEDOM = 4.0  # degrees of freedom of the book's spread: little is claimed of it
LOW, HIGH = 0.1, 0.9  # the book's low and high are read as 1 in 10 and 9 in 10
LEAST_RANGE = 1.1  # a book without a range is still no surer than this factor up and down
FEW_IN_100 = 0.05
FAR_OUT = 0.01
FAR_OUT_WEIGHT = 0.25
COEFFICIENT_JOBS = 1.0  # what is believed of ground and gang beforehand: nothing, worth one job
ENOUGH_OF_EACH = 1.0  # jobs' worth on dry ground and in showers
ENOUGH_JOBS = 3
GANGS_APART = 1.5
CONJUGATE = "conjugate normal-inverse-gamma update (Gelman et al., from memory)"


@dataclass(frozen=True)
class Design:
    """Which conditions have evidence enough for a figure of their own, in words too."""

    ground: bool
    gang: bool
    words: tuple[str, ...]

    @property
    def size(self) -> int:
        return 1 + self.ground + self.gang

    def row(self, *, wet: float, gang: float, usual_gang: float) -> Vector:
        """1; the share of the hours worked in showers; ln(gang / usual gang)."""
        found = [1.0]
        if self.ground:
            found.append(wet)
        if self.gang:
            found.append(log(gang / usual_gang) if gang > 0 else 0.0)
        return tuple(found)


@dataclass(frozen=True)
class Judged:
    """One job's evidence as the others see it."""

    evidence: JobEvidence
    weight: float
    chance: float  # of a job at least as far out, by the book and the other jobs
    foretold: Foretold | None

    @property
    def is_odd(self) -> bool:
        return self.chance < FEW_IN_100

    @property
    def is_far_out(self) -> bool:
        return self.chance < FAR_OUT

    @property
    def words(self) -> str:
        if not self.is_odd or self.evidence.ratio is None:
            return ""
        share = f"{self.chance * 100:.1g}"
        told = f"by the book and the other jobs, {share} in 100 come out as far off"
        if self.is_far_out and self.evidence.job.choice is not Choice.TAKEN_IN:
            return f"{told}; it counts a quarter until you leave it out or take it in in full"
        return f"{told}; it counts in full"


@dataclass(frozen=True)
class Range:
    """Hours over hours of the book of one whole job to come."""

    foretold: Foretold

    @property
    def p10(self) -> float:
        return self.foretold.ratio(LOW)

    @property
    def median(self) -> float:
        return self.foretold.ratio(0.5)

    @property
    def p90(self) -> float:
        return self.foretold.ratio(HIGH)

    @property
    def half_width(self) -> float:
        """Of the log of the ratio, from the median to 9 in 10."""
        return self.foretold.quantile(HIGH) - self.foretold.centre


@dataclass(frozen=True)
class Learnt:
    """Everything that is to be said of one kind of work."""

    title: str
    book: ThreePoint  # low, likely 1, high of the book, over its likely
    book_jobs: float
    prior: Belief
    belief: Belief
    design: Design
    judged: tuple[Judged, ...]
    left_out: tuple[JobEvidence, ...]
    usual_wet: float
    usual_gang: float
    book_says: Range
    next: Range
    on_ground: tuple[tuple[str, Range], ...]

    @property
    def crew_jobs(self) -> float:
        """Jobs' worth of evidence."""
        return sum(one.weight for one in self.judged)

    @property
    def book_weight(self) -> float:
        return self.book_jobs / (self.book_jobs + self.crew_jobs)

    @property
    def crew_ratio(self) -> float | None:
        """What the crew did alone: the weighted geometric mean of its jobs."""
        total = self.crew_jobs
        if not total:
            return None
        return exp(
            sum(one.weight * log(one.evidence.ratio) for one in self.judged if one.evidence.ratio)
            / total
        )

    @property
    def mean(self) -> float:
        """Mean ratio of a log-normal of the expected spread.

        The exponential of a Student t has no mean: its far tail never ends. So the mean is told
        with the spread at its expected value, exp(centre + s² / 2), and is no more than that.
        """
        return exp(self.next.foretold.centre + self.next.foretold.scale**2 / 2)

    @property
    def narrowing(self) -> float:
        """Spread of the next job over the book's, both in the log."""
        return self.next.half_width / self.book_says.half_width

    def working(self) -> Working:
        return _working(self)


def prior_of_book(book: ThreePoint, *, book_jobs: float = BOOK_JOBS) -> Belief:
    """The book as a belief: its next job lies between low and high in 8 cases of 10.

    scale = ½ ln(high / low) / t₀.₉ with ``FREEDOM`` degrees; a = FREEDOM / 2,
    b = a scale² / (1 + 1 / book_jobs). ValueError: low not above 0, weight not above 0.
    """
    if not book.low > 0:
        raise ValueError("The book's low must be above 0 to be set against hours.")
    if not book_jobs > 0:
        raise ValueError(f"The book must weigh more than no job, not {book_jobs:g}.")
    half = max(log(book.high / book.low) / 2, log(LEAST_RANGE))
    a = FREEDOM / 2
    scale = half / float(stats.t.ppf(HIGH, FREEDOM))
    return Belief.of_one(mean=0.0, weight=book_jobs, a=a, b=a * scale**2 / (1 + 1 / book_jobs))


def _wider(prior: Belief, design: Design) -> Belief:
    """The same belief with coefficients of which nothing is known."""
    extra = design.size - 1
    weights = [prior.precision[0][0]] + [COEFFICIENT_JOBS] * extra
    rows = tuple(
        tuple(weight if n == place else 0.0 for n in range(design.size))
        for place, weight in enumerate(weights)
    )
    return Belief((prior.mean[0],) + (0.0,) * extra, rows, prior.a, prior.b)


def design_of(jobs: Sequence[JobEvidence]) -> Design:
    """Ground and gang get a figure of their own only where there is evidence enough."""
    if not jobs:
        return Design(False, False, ())
    parts = [(one.job.key, part) for one in jobs for part in one.by_ground]
    dry = sum(part.share * (1 - part.wet) for _, part in parts)
    wet = sum(part.share * part.wet for _, part in parts)
    dry_jobs = {key for key, part in parts if part.wet < 0.5}
    wet_jobs = {key for key, part in parts if part.wet >= 0.5}
    ground = min(dry, wet) >= ENOUGH_OF_EACH and min(len(dry_jobs), len(wet_jobs)) >= 2
    told = f"{dry:.1f} jobs’ worth on dry ground, {wet:.1f} in showers"
    if ground:
        words = [f"Ground: {told}; each has its own figure."]
    else:
        words = [
            f"Ground: {told}; too little to tell them apart (1.0 of each from two jobs is asked), "
            "so they are taken together."
        ]
    gangs = [one.whole.gang for one in jobs if one.whole is not None and one.whole.gang > 0]
    apart = max(gangs) / min(gangs) if gangs else 1.0
    share = sum(one.share for one in jobs)
    gang = len(gangs) >= ENOUGH_JOBS and share >= ENOUGH_JOBS and apart >= GANGS_APART
    if gang:
        words.append(
            f"Gang: from {min(gangs):.1f} to {max(gangs):.1f} people on {len(gangs)} jobs; its size "
            "has its own figure."
        )
    elif gangs:
        words.append(
            f"Gang: {min(gangs):.1f} to {max(gangs):.1f} people on {len(gangs)} "
            f"{'job' if len(gangs) == 1 else 'jobs'}; too few or too like each other to tell what "
            "its size does, so they are taken together."
        )
    return Design(ground, gang, tuple(words))


def _pieces(job: JobEvidence, design: Design, usual_gang: float, weight: float) -> list[Piece]:
    parts: Sequence[Part] = job.by_ground if design.ground else [job.whole] if job.whole else []
    return [
        Piece(
            design.row(wet=part.wet, gang=part.gang, usual_gang=usual_gang),
            part.log_ratio,
            part.share * weight,
        )
        for part in parts
    ]


def _seen_by_others(
    job: JobEvidence,
    others: Sequence[JobEvidence],
    prior: Belief,
    design: Design,
    usual_gang: float,
) -> tuple[float, Foretold | None]:
    if job.whole is None:
        return 1.0, None
    belief = prior.updated(
        piece for one in others for piece in _pieces(one, design, usual_gang, 1.0)
    )
    at = design.row(wet=job.whole.wet, gang=job.whole.gang, usual_gang=usual_gang)
    foretold = belief.foretell(at, weight=job.share)
    return foretold.as_far_out(job.whole.log_ratio), foretold


def learn(
    title: str,
    *,
    book: ThreePoint,
    jobs: Sequence[JobEvidence],
    usual_gang: float,
    usual_wet: float = 0.0,
    book_jobs: float = BOOK_JOBS,
) -> Learnt:
    """Update the book by the jobs that count.

    A job that lies so far out that fewer than 1 in 100 would (by the book and the others) counts
    a quarter, unless the manager has taken it in. ``usual_wet`` and ``usual_gang``: the share of
    hours in showers and the people at once that the next job is foretold for.
    """
    counted = [one for one in jobs if one.counts and one.whole is not None]
    design = design_of(counted)
    if not usual_gang > 0:
        raise ValueError("The usual gang has at least one person.")
    plain = prior_of_book(book, book_jobs=book_jobs)
    prior = _wider(plain, design)
    judged = []
    for one in counted:
        others = [other for other in counted if other is not one]
        chance, foretold = _seen_by_others(one, others, prior, design, usual_gang)
        doubted = chance < FAR_OUT and one.job.choice is not Choice.TAKEN_IN
        weight = one.share * (FAR_OUT_WEIGHT if doubted else 1.0)
        judged.append(Judged(one, weight, chance, foretold))
    belief = prior.updated(
        piece
        for one in judged
        for piece in _pieces(one.evidence, design, usual_gang, one.weight / one.evidence.share)
    )
    at = design.row(wet=usual_wet, gang=usual_gang, usual_gang=usual_gang)
    grounds = (("dry", 0.0), ("showers", 1.0)) if design.ground else ()
    return Learnt(
        title=title,
        book=book,
        book_jobs=book_jobs,
        prior=prior,
        belief=belief,
        design=design,
        judged=tuple(judged),
        left_out=tuple(one for one in jobs if not (one.counts and one.whole is not None)),
        usual_wet=usual_wet,
        usual_gang=usual_gang,
        book_says=Range(plain.foretell((1.0,))),
        next=Range(belief.foretell(at)),
        on_ground=tuple(
            (
                name,
                Range(belief.foretell(design.row(wet=wet, gang=usual_gang, usual_gang=usual_gang))),
            )
            for name, wet in grounds
        ),
    )


def _working(learnt: Learnt) -> Working:
    """Every figure from the book to the range, so that each can be reckoned again by hand."""
    belief, says, names = learnt.belief, learnt.book_says, _names(learnt.design)
    book_t = float(stats.t.ppf(HIGH, FREEDOM))
    now_t = float(stats.t.ppf(HIGH, 2 * belief.a))
    foretold = learnt.next.foretold
    steps = (
        Step("", "low to high of the book’s output rates, over likely",
             f"{learnt.book.low:.4f} to {learnt.book.high:.4f}", "",
             "hours of its estimates, their logs weighed by likely hours",
             "not moved by what the crew logged"),
        Step("t₀", "9 in 10 of Student’s t, 4 degrees", book_t, "", "", "tables"),
        Step("s₀", "spread of the book, in the log",
             max(log(learnt.book.high / learnt.book.low) / 2, log(LEAST_RANGE)) / book_t, "",
             "½ ln(high / low) / t₀, at least ln 1.1 / t₀"),
        Step("", "the book, 8 in 10 between", f"{says.p10:.2f} and {says.p90:.2f}", "of the book",
             "exp(± t₀ s₀)", "as wide as low to high, set about its likely figure"),
        Step("m₀", "book: log of hours over book", learnt.prior.mean[0], "", "0: as the book says"),
        Step("k₀", "the book weighs", learnt.book_jobs, "jobs", "", "a choice, no source"),
        Step("a₀", "half the degrees of freedom of its spread", learnt.prior.a),
        Step("b₀", "spread of the book", learnt.prior.b, "", "a₀ s₀² / (1 + 1/k₀)"),
        *_piece_steps(learnt),
        Step("Σw", "the crew’s jobs weigh", learnt.crew_jobs, "jobs", "sum of the weights"),
        *(_regression_steps(learnt, names) if names else _mean_steps(learnt)),
        Step("a", "half the degrees of freedom, now", belief.a, "", "a₀ + Σw / 2"),
        *_spread_steps(learnt, names),
        Step("t", f"9 in 10 of Student’s t, {2 * belief.a:.2f} degrees", now_t, "", "2 a degrees",
             "tables"),
        Step("", "mean, with the spread at its expected value", learnt.mean, "of the book",
             "exp(c + s² / 2)", "a log Student t has no mean of its own"),
        Step("", "8 in 10 between", f"{learnt.next.p10:.2f} and {learnt.next.p90:.2f}",
             "of the book", "exp(c ± t s)"),
        Step("f", "the next job should take, median", exp(foretold.centre), "of the book",
             "exp(c)"),
    )  # fmt: skip
    return Working(f"{learnt.title}: hours against the book", steps, learnt.design.words)


def _names(design: Design) -> list[str]:
    return ["showers"] * design.ground + ["gang"] * design.gang


def _sub(place: int) -> str:
    return "".join("₀₁₂₃₄₅₆₇₈₉"[int(digit)] for digit in str(place))


def _all_pieces(learnt: Learnt) -> list[tuple[Judged, Part, Piece]]:
    """What the update went by, with the part of the job that each piece is from."""
    found = []
    for one in learnt.judged:
        parts = one.evidence.by_ground if learnt.design.ground else (one.evidence.whole,)
        factor = one.weight / one.evidence.share
        pieces = _pieces(one.evidence, learnt.design, learnt.usual_gang, factor)
        found += [(one, part, piece) for part, piece in zip(parts, pieces, strict=True) if part]
    return found


def _row_words(at: Vector, names: Sequence[str]) -> str:
    return "; " + ", ".join(
        f"{name} {value:.4f}" for name, value in zip(names, at[1:], strict=True)
    )


def _piece_steps(learnt: Learnt) -> list[Step]:
    names = ["z₂" if name == "showers" else f"z{_sub(2 + learnt.design.ground)}"
             for name in _names(learnt.design)]  # fmt: skip
    steps = []
    for one, part, piece in _all_pieces(learnt):
        share = f"{100 * part.share:.0f} % of the job"
        doubted = one.weight < one.evidence.share * 0.99
        ground = ""
        if learnt.design.ground and len(one.evidence.by_ground) > 1:
            ground = ", in showers" if part.wet >= WET else ", dry"
        steps.append(
            Step(
                "x",
                one.evidence.job.name + ground,
                piece.value,
                "",
                f"ln({part.hours:,.1f} h / {part.book_h:,.1f} h); w {piece.weight:.4f}"
                + (_row_words(piece.at, names) if names else ""),
                share + (", far out: a quarter of that" if doubted else ""),
            )
        )
    return steps


def _mean_steps(learnt: Learnt) -> list[Step]:
    return [
        Step("k", "all in all", learnt.belief.precision[0][0], "jobs", "k₀ + Σw"),
        Step("m", "log of hours over book, now", learnt.belief.mean[0], "",
             "(k₀ m₀ + Σ w x) / k", CONJUGATE),
        Step("c", "centre of the next job, in the log", learnt.next.foretold.centre, "", "m"),
    ]  # fmt: skip


def _at_next(learnt: Learnt) -> Vector:
    usual = learnt.usual_gang
    return learnt.design.row(wet=learnt.usual_wet, gang=usual, usual_gang=usual)


def _regression_steps(learnt: Learnt, names: Sequence[str]) -> list[Step]:
    """A straight line through the pieces, the book and the priors of its slopes among them."""
    belief, size = learnt.belief, len(names) + 1
    pieces = [piece for _, _, piece in _all_pieces(learnt)]
    at = _at_next(learnt)
    what = {
        "showers": "share of the hours in showers",
        "gang": f"ln(gang / usual gang of {learnt.usual_gang:g})",
    }
    added = {
        "showers": "log hours that showers add",
        "gang": "log hours that ln(gang / usual gang) adds",
    }
    steps = [Step("z₁", "what all jobs share", 1.0)]
    steps += [
        Step(f"z{_sub(place)}", f"of the next job: {what[name]}", at[place - 1], "", "",
             "as the crew had it" if name == "showers" else "the usual gang, so 0")
        for place, name in enumerate(names, 2)
    ]  # fmt: skip
    steps.append(
        Step("k_β", "what is believed of each slope beforehand: 0, worth", COEFFICIENT_JOBS,
             "job", "prior of the slopes: mean 0", "a choice, no source")
    )  # fmt: skip
    for row in range(size):
        for column in range(row, size):
            held = ("k₀ + " if row == 0 else "k_β + ") if row == column else ""
            steps.append(
                Step(f"P{_sub(row + 1)}{_sub(column + 1)}", "weights, crossed",
                     belief.precision[row][column], "",
                     f"{held}Σ w z{_sub(row + 1)} z{_sub(column + 1)}")
            )  # fmt: skip
    for row in range(size):
        total = sum(piece.weight * piece.at[row] * piece.value for piece in pieces)
        held = "k₀ m₀ + " if row == 0 else ""
        steps.append(
            Step(f"q{_sub(row + 1)}", "logs, weighed", total, "", f"{held}Σ w z{_sub(row + 1)} x")
        )
    lines = "P m = q"
    steps.append(
        Step("m₁", "log of hours over book, dry ground and usual gang"
             if len(names) == 2 else "log of hours over book, on dry ground"
             if names[0] == "showers" else "log of hours over book, usual gang",
             belief.mean[0], "", f"solves {lines}, P the same across its diagonal", CONJUGATE)
    )  # fmt: skip
    steps += [
        Step(f"m{_sub(place)}", added[name], belief.mean[place - 1], "", f"solves {lines}")
        for place, name in enumerate(names, 2)
    ]
    steps.append(
        Step("c", "centre of the next job, in the log", learnt.next.foretold.centre, "",
             " + ".join(f"z{_sub(place)} m{_sub(place)}" for place in range(1, size + 1)))
    )  # fmt: skip
    return steps


def _spread_steps(learnt: Learnt, names: Sequence[str]) -> list[Step]:
    belief, prior = learnt.belief, learnt.prior
    missed = sum(
        piece.weight
        * (piece.value - sum(z * m for z, m in zip(piece.at, belief.mean, strict=True))) ** 2
        for _, _, piece in _all_pieces(learnt)
    )
    pulled = sum(
        prior.precision[place][place] * (prior.mean[place] - mean) ** 2
        for place, mean in enumerate(belief.mean)
    )
    size = range(1, len(names) + 2)
    line = " - ".join(f"z{_sub(place)} m{_sub(place)}" for place in size) if names else "m"
    slopes = "".join(f" + k_β m{_sub(place)}²" for place in size if place > 1)
    at = _at_next(learnt)
    unsure = learnt.belief.of_mean(at).scale ** 2 / belief.variance
    steps = [
        Step("R", "what the jobs lie off the line, squared", missed, "", f"Σ w (x - {line})²"),
        Step("Q", "what the book lies off it, squared", pulled, "",
             f"k₀ (m₀ - m{'₁' if names else ''})²{slopes}"),
        Step("b", "spread, now", belief.b, "", "b₀ + ½ (R + Q)"),
    ]  # fmt: skip
    if names:
        steps.append(Step("u", "how unsure the line is at the next job", unsure, "", "zᵀ P⁻¹ z"))
    steps.append(
        Step("s", "spread of the next job, in the log", learnt.next.foretold.scale, "",
             "√(b / a × (1 + u))" if names else "√(b / a × (1 + 1 / k))",
             f"Student t, {2 * belief.a:.1f} degrees")
    )  # fmt: skip
    return steps
