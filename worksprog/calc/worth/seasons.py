"""Routine hours of the seasons before a work against those after it, like for like by week of year.

A week is compared only with the same week of the year, and only where the crew's log was kept in
both. What few weeks or one season cannot tell is not claimed.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import sqrt
from statistics import fmean, median, stdev

from scipy import stats

from worksprog.calc.ranges import ThreePoint
from worksprog.calc.working import Step, Working

KEPT_SHARE = 0.5  # of the median week's hours from which a log counts as kept: no source
YEAR_WEEKS = 40  # weeks of the year that the log before must know to tell what a year is
LEAST_WEEKS = 8
LEAST_SHARE = 0.5  # of a usual year's hours that the compared weeks must hold
SURE = 0.8
CLAIM_SEASONS = 2
SAME = 0.15  # of a season that words leave out


@dataclass(frozen=True)
class Week:
    """Hours that the whole crew logged in one week: on one kind of routine work, and on anything."""

    monday: dt.date
    kind_h: float
    all_h: float
    works_h: float = 0.0

    def __post_init__(self) -> None:
        if self.monday.weekday() != 0:
            raise ValueError(f"A week begins on a Monday; {self.monday} is none.")
        if min(self.kind_h, self.all_h, self.works_h) < 0:
            raise ValueError(f"Week of {self.monday}: hours below 0 are not expected.")


class Claim(StrEnum):
    """How much the log allows to say."""

    NOTHING = "nothing to compare yet"
    TOO_FEW = "too few weeks to claim anything"
    INDICATION = "an indication, not yet a claim"
    MEASURED = "measured"


@dataclass(frozen=True)
class Compared:
    """One week of the year: mean hours of the seasons before and after."""

    week: int
    before_h: float
    after_h: float


@dataclass(frozen=True)
class Measured:
    """What the log says of one kind of routine work.

    fewer_h        hours fewer in the compared weeks, a year; below 0 they are more
    share          share of a usual year's hours of this kind that the compared weeks hold
    promised_h     what was promised, in the share of the compared weeks
    noise_h        half the width of the 80 % interval of ``fewer_h`` by how much weeks differ;
                   what a mild autumn does to all weeks at once is not in it
    seasons_*      seasons that the compared weeks rest on, on either side
    """

    claim: Claim
    why: str
    weeks: tuple[Compared, ...] = ()
    before_h: float = 0.0
    after_h: float = 0.0
    share: float = 0.0
    promised_h: ThreePoint | None = None
    noise_h: float | None = None
    seasons_before: float = 0.0
    seasons_after: float = 0.0
    works_before_h: float = 0.0
    works_after_h: float = 0.0
    all_before_h: float = 0.0
    all_after_h: float = 0.0
    working: Working | None = None

    @property
    def fewer_h(self) -> float:
        return self.before_h - self.after_h

    @property
    def kept(self) -> str:
        """Measured against promised in words; nothing is said where nothing may be claimed.

        The 80 % interval is held against the promise's low to high: what lies wholly below is
        less, wholly above more; where it reaches over both the promise and nothing at all, the
        log cannot tell.
        """
        if self.promised_h is None or self.claim in (Claim.NOTHING, Claim.TOO_FEW):
            return ""
        noise = self.noise_h or 0.0
        low, high = self.fewer_h - noise, self.fewer_h + noise
        if high < self.promised_h.low:
            return "less than promised"
        if low > self.promised_h.high:
            return "more than promised"
        if low <= 0 <= high and self.promised_h.low > 0:
            return "the weeks differ by more than what was promised, so the log cannot tell"
        return "in keeping with the promise"


def kept_weeks(weeks: Sequence[Week]) -> list[Week]:
    """Weeks in which the log was kept: at least half of its median week's hours."""
    hours = [week.all_h for week in weeks if week.all_h > 0]
    if not hours:
        return []
    least = KEPT_SHARE * median(hours)
    return [week for week in weeks if week.all_h >= least]


def _by_week_of_year(weeks: Sequence[Week]) -> dict[int, list[Week]]:
    found: dict[int, list[Week]] = defaultdict(list)
    for week in weeks:
        found[week.monday.isocalendar().week].append(week)
    return found


def compare_seasons(
    weeks: Sequence[Week],
    *,
    works_began: dt.date,
    stands_from: dt.date,
    today: dt.date,
    promised: ThreePoint,
) -> Measured:
    """Hours before the works began against hours since what they promised stands.

    Weeks in between, weeks not over by ``today`` and weeks in which no log was kept are left out.
    Per week of the year the mean of the seasons on either side; their sums differ by ``fewer_h``.
    The promise of the compared weeks is promised × (before-hours in them / before-hours a year).
    ValueError when it would stand before the works began.
    """
    if stands_from < works_began:
        raise ValueError(f"It cannot stand on {stands_from}: the works began on {works_began}.")
    kept = kept_weeks([week for week in weeks if week.monday + dt.timedelta(days=6) <= today])
    before = _by_week_of_year([w for w in kept if w.monday + dt.timedelta(days=6) < works_began])
    after = _by_week_of_year([w for w in kept if w.monday >= stands_from])
    both = sorted(before.keys() & after.keys())
    if not before:
        return Measured(Claim.NOTHING, "No hours were logged before the works began.")
    if not after:
        when = "No whole week has been logged since it stands."
        return Measured(Claim.NOTHING, when if stands_from <= today else "It does not stand yet.")
    if not both:
        return Measured(
            Claim.NOTHING,
            "The weeks logged since fall in a part of the year that was not logged before.",
        )
    means = {
        week: (fmean(w.kind_h for w in before[week]), fmean(w.kind_h for w in after[week]))
        for week in both
    }
    compared = tuple(Compared(week, *means[week]) for week in both)
    before_h, after_h = sum(one.before_h for one in compared), sum(one.after_h for one in compared)
    year_h = sum(fmean(w.kind_h for w in found) for found in before.values())
    share = before_h / year_h if year_h > 0 else 0.0
    seasons_before = sum(len(before[week]) for week in both) / len(both)
    seasons_after = sum(len(after[week]) for week in both) / len(both)
    claim, why = _claim(len(both), len(before), share, year_h, seasons_before, seasons_after)
    knows_year = len(before) >= YEAR_WEEKS and year_h > 0
    promised_h = promised_part(promised, share) if knows_year else None
    noise = _noise([one.before_h - one.after_h for one in compared])

    def total(found: Mapping[int, list[Week]], name: str) -> float:
        return sum(fmean(getattr(w, name) for w in found[week]) for week in both)

    return Measured(
        claim=claim,
        why=why,
        weeks=compared,
        before_h=before_h,
        after_h=after_h,
        share=share,
        promised_h=promised_h,
        noise_h=noise,
        seasons_before=seasons_before,
        seasons_after=seasons_after,
        works_before_h=total(before, "works_h"),
        works_after_h=total(after, "works_h"),
        all_before_h=total(before, "all_h"),
        all_after_h=total(after, "all_h"),
        working=_working(compared, before_h, after_h, share, promised, promised_h, noise),
    )


def promised_part(promised: ThreePoint, share: float) -> ThreePoint:
    """A year's promise in a share of the year's hours."""
    return promised.times(share)


def _noise(differences: Sequence[float]) -> float | None:
    """Half the width of the 80 % interval of a sum of paired differences: t s √n."""
    count = len(differences)
    if count < 2:
        return None
    return float(stats.t.ppf((1 + SURE) / 2, count - 1)) * stdev(differences) * sqrt(count)


def _claim(
    both: int, known: int, share: float, year_h: float, before: float, after: float
) -> tuple[Claim, str]:
    if year_h <= 0:
        return Claim.NOTHING, "No hours of this kind were logged before the works began."
    if known < YEAR_WEEKS:
        return Claim.TOO_FEW, (
            f"The log before the works knows {known} weeks of the year; {YEAR_WEEKS} are asked "
            "for, so that a year's hours are known."
        )
    if both < LEAST_WEEKS or share < LEAST_SHARE:
        return Claim.TOO_FEW, (
            f"{both} {'week' if both == 1 else 'weeks'} can be compared, with {100 * share:.0f} % of "
            f"a usual year's hours of this kind; {LEAST_WEEKS} weeks and "
            f"{100 * LEAST_SHARE:.0f} % are asked for."
        )
    if min(before, after) < CLAIM_SEASONS - SAME:
        return Claim.INDICATION, (
            f"It rests on {_seasons(before)} before and {_seasons(after)} after. Two on either "
            "side are asked for before anything is claimed, for one mild autumn or one wet summer "
            "moves routine hours as much as a work does."
        )
    return Claim.MEASURED, (f"It rests on {_seasons(before)} before and {_seasons(after)} after.")


def _seasons(count: float) -> str:
    shown = f"{count:.0f}" if abs(count - round(count)) < SAME else f"{count:.1f}"
    return f"{shown} season" if shown == "1" else f"{shown} seasons"


def _working(
    compared: Sequence[Compared],
    before_h: float,
    after_h: float,
    share: float,
    promised: ThreePoint,
    promised_h: ThreePoint | None,
    noise: float | None,
) -> Working:
    steps = [
        Step("n", "weeks of the year compared", float(len(compared)), "weeks"),
        Step("B", "hours before, mean season", before_h, "h", "sum of the compared weeks", "log"),
        Step("A", "hours after, mean season", after_h, "h", "sum of the compared weeks", "log"),
        Step("F", "hours fewer in these weeks", before_h - after_h, "h", "B - A"),
        Step("q", "share of a usual year's hours in these weeks", share, "", "B / hours a year"),
        Step("P", "promised a year, likely", promised.likely, "h", "", "promise"),
    ]
    if promised_h is not None:
        steps.append(Step("p", "promised in these weeks", promised_h.likely, "h", "P × q"))
    if noise is not None:
        steps.append(
            Step(
                "±",
                "half the width of the 80 % interval of F",
                noise,
                "h",
                "t s √n, s over the weeks' differences",
                "paired differences; what moves all weeks at once is not in it",
            )
        )
    return Working("Measured against promised", tuple(steps))
