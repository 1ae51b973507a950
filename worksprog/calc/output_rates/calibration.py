"""Did finished jobs come in where their estimates said: eight in ten should."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from scipy import stats

from worksprog.calc.working import Step, Working

PROMISED = 0.8
BAND = 0.9
TELLING = 10  # jobs from which the share says much; common practice, no source


@dataclass(frozen=True)
class Outcome:
    """One finished job against the range its estimate gave when work began."""

    key: str
    name: str
    p10: float
    likely: float
    p90: float
    actual: float

    @property
    def is_inside(self) -> bool:
        return self.p10 <= self.actual <= self.p90

    @property
    def side(self) -> str:
        """'inside', 'over' or 'under'."""
        if self.is_inside:
            return "inside"
        return "over" if self.actual > self.p90 else "under"


@dataclass(frozen=True)
class Calibration:
    """Share of outcomes inside their ranges, and what so few can tell of it."""

    count: int
    inside: int
    over: int
    under: int
    low: float
    high: float
    fewest: int
    most: int

    @property
    def share(self) -> float | None:
        return self.inside / self.count if self.count else None

    @property
    def as_promised(self) -> bool:
        """True where eight in ten is not contradicted."""
        return self.fewest <= self.inside <= self.most

    @property
    def words(self) -> str:
        if not self.count:
            return "No finished job with an estimate and hours yet, so nothing can be told."
        jobs = "1 finished job" if self.count == 1 else f"{self.count} finished jobs"
        told = (
            f"{self.inside} of {jobs} came in inside their range. If 8 in 10 were right, "
            f"{self.fewest} to {self.most} of {self.count} would be no surprise"
        )
        if not self.as_promised:
            side = "over" if self.over >= self.under else "under"
            return (
                f"{told}: the ranges do not hold; most of what is outside came in {side}. Widen the "
                "book’s low and high, or use the learnt rates."
            )
        if self.count < TELLING:
            return f"{told}: too few to say more."
        return f"{told}."

    def working(self) -> Working:
        return Working(
            "How well the ranges hold",
            (
                Step("n", "finished jobs", float(self.count)),
                Step("x", "inside their P10 to P90", float(self.inside)),
                Step("", "over, under", f"{self.over}, {self.under}"),
                Step(
                    "", "share that may lie behind it",
                    f"{100 * self.low:.0f} to {100 * self.high:.0f} %", "",
                    "limits that hold in 9 of 10 cases, by the binomial law",
                    "C. Clopper and E. Pearson, 1934 (from memory)",
                ),
                Step(
                    "", "would be no surprise at 8 in 10", f"{self.fewest} to {self.most}", "",
                    "5 % to 95 % of the binomial law",
                ),
                Step("x/n", "share inside", self.share if self.share is not None else "–"),
            ),
        )  # fmt: skip


def exact_limits(inside: int, count: int, *, chance: float = BAND) -> tuple[float, float]:
    """Limits of a share by the binomial law (Clopper and Pearson). ValueError outside 0 to count.

    low: beta quantile (1 - chance) / 2 of (x, n - x + 1); high: of (x + 1, n - x).
    """
    if not 0 <= inside <= count:
        raise ValueError(f"Of {count} there cannot be {inside}.")
    if not count:
        return 0.0, 1.0
    tail = (1 - chance) / 2
    low = float(stats.beta.ppf(tail, inside, count - inside + 1)) if inside else 0.0
    high = float(stats.beta.ppf(1 - tail, inside + 1, count - inside)) if inside < count else 1.0
    return low, high


def calibrate(outcomes: Sequence[Outcome], *, promised: float = PROMISED) -> Calibration:
    """Count what came in inside, and the counts that ``promised`` would make no surprise."""
    count = len(outcomes)
    inside = sum(one.is_inside for one in outcomes)
    low, high = exact_limits(inside, count)
    tail = (1 - BAND) / 2
    return Calibration(
        count=count,
        inside=inside,
        over=sum(one.side == "over" for one in outcomes),
        under=sum(one.side == "under" for one in outcomes),
        low=low,
        high=high,
        fewest=int(stats.binom.ppf(tail, count, promised)) if count else 0,
        most=int(stats.binom.ppf(1 - tail, count, promised)) if count else 0,
    )
