"""From a job's logged days to evidence: what counts, how much of the job it covers, what is odd.

Hours are gathered into stretches between reported quantities: several people log hours and one of
them the quantity, so a quantity answers for all hours since the one before it.
"""

from __future__ import annotations

import datetime as dt
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from math import log

from worksprog.calc.ranges import ThreePoint

# Common practice, no source: a stretch five times as fast as the rest is a slip of the figure.
SLIP = 5.0
MORE_THAN_PLANNED = 1.02
NEAR = 0.1
LONG_DAY_H = 14.0
WET = 0.5  # of a stretch's hours, from which it counts as worked in showers


class Choice(StrEnum):
    """What the manager said of a job as evidence."""

    NONE = ""
    LEFT_OUT = "left_out"
    TAKEN_IN = "taken_in"


@dataclass(frozen=True)
class DayLogged:
    """All that was logged on one job on one day; ``quantity`` 0 where nobody reported any."""

    on: dt.date
    hours: float
    people: int
    quantity: float = 0.0
    wet_h: float = 0.0


@dataclass(frozen=True)
class Doubt:
    """Something that looks mis-logged, with what was done about it."""

    words: str
    on: dt.date | None = None
    handled: str = "counted as it stands"


@dataclass(frozen=True)
class JobLogged:
    """One job with its hours.

    planned   quantity of its estimate, 0 without one
    book_h    what the price book says for the whole of it, no learnt rate in it
    doubts    what was seen in single entries (long days, the same logged twice)
    """

    key: str
    name: str
    unit: str
    planned: float
    book_h: ThreePoint
    is_finished: bool
    finished_on: dt.date | None
    days: tuple[DayLogged, ...]
    choice: Choice = Choice.NONE
    reason: str = ""
    shared_days: int = 0
    doubts: tuple[Doubt, ...] = ()


@dataclass(frozen=True)
class Stretch:
    """From the day after one reported quantity to the day of the next."""

    first: dt.date
    last: dt.date
    hours: float
    quantity: float
    wet_h: float
    person_h: float  # hours x people of the day, for the mean gang
    book_h: float = 0.0
    set_aside: bool = False

    @property
    def gang(self) -> float:
        return self.person_h / self.hours if self.hours else 0.0

    @property
    def is_wet(self) -> bool:
        return self.hours > 0 and self.wet_h / self.hours >= WET

    @property
    def ratio(self) -> float | None:
        return self.hours / self.book_h if self.book_h > 0 else None


@dataclass(frozen=True)
class Part:
    """What of a job was done on one kind of ground (or all of it)."""

    hours: float
    book_h: float
    share: float
    wet: float
    gang: float

    @property
    def log_ratio(self) -> float:
        return log(self.hours / self.book_h)


@dataclass(frozen=True)
class JobEvidence:
    """What one job says."""

    job: JobLogged
    stretches: tuple[Stretch, ...]
    share: float
    quantity: float
    whole: Part | None
    by_ground: tuple[Part, ...]
    waiting_h: float
    doubts: tuple[Doubt, ...]
    why_not: str = ""

    @property
    def counts(self) -> bool:
        return not self.why_not

    @property
    def ratio(self) -> float | None:
        return self.whole.hours / self.whole.book_h if self.whole is not None else None

    @property
    def hours(self) -> float:
        return sum(day.hours for day in self.job.days)


def gather(job: JobLogged) -> JobEvidence:
    """Stretches, the share of the job they cover, and what was set aside with the reason.

    A finished job counts in full: for what was planned, or for what was measured where that is
    more. A job under way counts for what was reported; hours since then wait for the next figure.
    Hours before the first quantity belong to it: setting out is work, too.
    """
    days, late = _until_finished(job)
    doubts = [*job.doubts, *late]
    stretches, rest = _stretches(days)
    if job.is_finished and rest is not None:
        stretches = _take_in_rest(stretches, rest)
        rest = None
    per_unit = job.book_h.likely / job.planned if job.planned > 0 else 0.0
    stretches = [replace(one, book_h=one.quantity * per_unit) for one in stretches]
    stretches, slips = _set_aside(stretches, job)
    doubts += slips
    measured = sum(one.quantity for one in stretches if not one.set_aside)
    doubts += _against_plan(job, measured)
    waiting = rest.hours if rest is not None else 0.0
    why_not = _why_not(job, stretches, measured)
    if why_not and job.choice is not Choice.LEFT_OUT:
        return JobEvidence(job, tuple(stretches), 0.0, measured, None, (), waiting,
                           tuple(doubts), why_not)  # fmt: skip
    if job.is_finished:
        over = measured > job.planned * MORE_THAN_PLANNED
        quantity = measured if over else job.planned
        share, counted = 1.0, stretches
        book_h = job.book_h.likely * (quantity / job.planned if over and job.planned > 0 else 1.0)
    else:
        quantity = measured
        share = min(measured / job.planned, 1.0) if job.planned > 0 else 0.0
        counted = [one for one in stretches if not one.set_aside]
        book_h = measured * per_unit
    if not share or not book_h or not sum(one.hours for one in counted):
        return JobEvidence(job, tuple(stretches), 0.0, quantity, None, (), waiting,
                           tuple(doubts), why_not)  # fmt: skip
    whole = _part(counted, book_h, share)
    return JobEvidence(
        job=job,
        stretches=tuple(stretches),
        share=share,
        quantity=quantity,
        whole=whole,
        by_ground=_by_ground(counted, book_h, share),
        waiting_h=waiting,
        doubts=tuple(doubts),
        why_not=why_not,
    )


def _until_finished(job: JobLogged) -> tuple[list[DayLogged], list[Doubt]]:
    days = sorted((day for day in job.days if day.hours > 0 or day.quantity > 0),
                  key=lambda day: day.on)  # fmt: skip
    if job.finished_on is None or not job.is_finished:
        return days, []
    late = [day for day in days if day.on > job.finished_on]
    if not late:
        return days, []
    hours = sum(day.hours for day in late)
    words = f"{hours:g} h after it was finished on {job.finished_on.day} {job.finished_on:%b %Y}"
    kept = [day for day in days if day.on <= job.finished_on]
    return kept, [Doubt(words, late[0].on, "set aside: growing in, or another job's hours")]


def _stretches(days: Sequence[DayLogged]) -> tuple[list[Stretch], Stretch | None]:
    """Each ended by a reported quantity; and the hours since the last one."""
    found: list[Stretch] = []
    open_: Stretch | None = None
    for day in days:
        own = Stretch(day.on, day.on, day.hours, day.quantity, day.wet_h, day.hours * day.people)
        open_ = own if open_ is None else _joined(open_, own)
        if day.quantity > 0:
            found.append(open_)
            open_ = None
    return found, open_


def _joined(one: Stretch, other: Stretch) -> Stretch:
    return Stretch(
        one.first,
        other.last,
        one.hours + other.hours,
        one.quantity + other.quantity,
        one.wet_h + other.wet_h,
        one.person_h + other.person_h,
    )


def _take_in_rest(stretches: list[Stretch], rest: Stretch) -> list[Stretch]:
    """Tidying up after the last figure belongs to the job."""
    return [*stretches[:-1], _joined(stretches[-1], rest)] if stretches else [rest]


def _set_aside(stretches: list[Stretch], job: JobLogged) -> tuple[list[Stretch], list[Doubt]]:
    """Stretches so much faster than the job's others (else than the book) that a figure slipped."""
    ratios = sorted(one.ratio for one in stretches if one.ratio)
    kept, doubts = [], []
    for one in stretches:
        own = one.ratio
        # The middle of the others: what the whole list has, with this one taken out of its place.
        others = len(ratios) - (1 if own else 0)
        usual = _middle_without(ratios, own) if others >= 2 else 1.0
        too_fast = own is not None and own * SLIP < usual
        if not too_fast:
            kept.append(one)
            continue
        when = f"{one.last.day} {one.last:%b %Y}"
        words = (
            f"{one.quantity:g} {job.unit} in {one.hours:g} h to {when}: more than "
            f"{SLIP:g} times as fast as {'the rest of the job' if others >= 2 else 'the book'}"
        )
        handled = (
            "the quantity is set aside, the hours count: the job is finished"
            if job.is_finished
            else "hours and quantity are set aside until the figure is put right"
        )
        doubts.append(Doubt(words, one.last, handled))
        kept.append(replace(one, set_aside=True))
    return kept, doubts


def _middle_without(rising: Sequence[float], one: float | None) -> float:
    """Median of a rising list without one of its values."""
    gone = bisect_left(rising, one) if one else len(rising)
    count = len(rising) - (gone < len(rising))

    def at(place: int) -> float:
        return rising[place if place < gone else place + 1]

    return (at((count - 1) // 2) + at(count // 2)) / 2


def _against_plan(job: JobLogged, measured: float) -> list[Doubt]:
    if not job.planned > 0 or not measured > 0:
        return []
    share = measured / job.planned
    if job.is_finished and share < 1 - NEAR:
        return [Doubt(
            f"finished with {measured:,.4g} of {job.planned:,.4g} {job.unit} reported",
            None, "taken as the whole that was planned",
        )]  # fmt: skip
    if share > 1 + NEAR:
        return [Doubt(
            f"{measured:,.4g} {job.unit} reported, {job.planned:,.4g} planned", None,
            "counted as measured" if job.is_finished else "counted as one whole job",
        )]  # fmt: skip
    return []


def _why_not(job: JobLogged, stretches: Sequence[Stretch], measured: float) -> str:
    if job.choice is Choice.LEFT_OUT:
        return "left out by the manager"
    if not job.book_h.likely > 0:
        return "its estimate has no hours of the crew"
    if not sum(one.hours for one in stretches):
        return "its hours wait for the first reported quantity"
    if not job.is_finished and not measured > 0:
        return "no quantity that can be relied on is reported yet"
    return ""


def _part(stretches: Sequence[Stretch], book_h: float, share: float) -> Part:
    hours = sum(one.hours for one in stretches)
    return Part(
        hours=hours,
        book_h=book_h,
        share=share,
        wet=sum(one.wet_h for one in stretches) / hours,
        gang=sum(one.person_h for one in stretches) / hours,
    )


def _by_ground(stretches: Sequence[Stretch], book_h: float, share: float) -> tuple[Part, ...]:
    """The job in two where it was worked in both, each with its part of the quantity."""
    trusted = [one for one in stretches if not one.set_aside and one.quantity > 0]
    quantity = sum(one.quantity for one in trusted)
    parts = []
    for wet in (False, True):
        chosen = [one for one in trusted if one.is_wet == wet]
        if not chosen or not sum(one.hours for one in chosen):
            continue
        part = sum(one.quantity for one in chosen) / quantity
        parts.append(_part(chosen, book_h * part, share * part))
    return tuple(parts) if len(parts) == 2 else (_part(stretches, book_h, share),)
