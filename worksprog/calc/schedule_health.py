"""Whether a plan is one to be trusted: fourteen published points and ten published practices.

The points: DCMA-EA PAM 200.1, *EVMS Program Analysis Pamphlet*, Oct 2012, section 4 (limits of
points 1, 6 and 7 from a secondary source; the others from memory). The practices: GAO-16-89G,
*Schedule Assessment Guide*, Dec 2015. "Open" is what is not finished. Days are working days.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from enum import StrEnum

from worksprog.calc.critical_path import Activity, Link, LinkKind, critical_path

Key = Hashable

USUAL_LONG_DAYS = 44  # two months of 22 working days
SHARE = 0.05
FS_SHARE = 0.90
INDEX = 0.95
TRIED_DAYS = 600
PAMPHLET = "DCMA-EA PAM 200.1 (2012) §4"
GUIDE = "GAO-16-89G (2015)"
SEEN, REMEMBERED = "(limit seen in a secondary source)", "(limit from memory)"


class Verdict(StrEnum):
    KEPT = "kept"
    MEND = "to mend"
    UNKNOWN = "cannot be told yet"


@dataclass(frozen=True)
class Job:
    """One job of a plan.

    days      working days from its start to its finish; None without dates
    float_d   working days it may slip before it moves the end; below 0 where a promise is missed
    is_hard   it must be over by a date
    baseline_finish  its last day in the kept baseline
    """

    key: Key
    name: str
    start: dt.date | None
    finish: dt.date | None
    days: int | None
    float_d: int | None
    is_done: bool = False
    is_begun: bool = False
    is_critical: bool = False
    is_hard: bool = False
    has_hours_or_cost: bool = True
    started_on: dt.date | None = None
    finished_on: dt.date | None = None
    baseline_finish: dt.date | None = None
    has_baseline: bool = False


@dataclass(frozen=True)
class Check:
    """One check: its figure against its limit, and the names of what there is to mend."""

    number: int
    title: str
    asks: str
    figure: float | None
    unit: str
    limit: str
    verdict: Verdict
    mend: tuple[str, ...] = ()
    formula: str = ""
    source: str = ""


def percent(part: int, whole: int) -> float | None:
    """Per hundred; None of nothing."""
    return 100 * part / whole if whole else None


def path_length_index(length_d: float, float_d: float) -> float:
    """Critical path length index (L + F) ÷ L: length of what is left, and its float to the end
    asked for. Raises ValueError unless the length is above 0."""
    if length_d <= 0:
        raise ValueError(f"the length of the critical path must be above 0 days, not {length_d}")
    return (length_d + float_d) / length_d


def execution_index(finished: int, due: int) -> float:
    """Jobs finished to date ÷ jobs whose baseline finish is past. ValueError where none is."""
    if due <= 0:
        raise ValueError("no job of the baseline is due yet")
    return finished / due


def moves_with_its_path(
    durations: Sequence[tuple[Key, float]],
    links: Sequence[Link],
    *,
    key: Key | None = None,
    by_d: float = TRIED_DAYS,
) -> bool:
    """Whether the end moves by ``by_d`` when one critical job takes so many days more.

    By durations and links alone, without windows or the crew. Raises RingError where jobs wait for
    each other.
    """
    before = critical_path([Activity(*one) for one in durations], links)
    if not before.critical:
        return False
    longer = before.critical[0] if key is None else key
    after = critical_path(
        [Activity(one, days + by_d * (one == longer)) for one, days in durations], links
    )
    return math.isclose(after.length, before.length + by_d, abs_tol=1e-6)


def _share(
    number: int,
    title: str,
    asks: str,
    wrong: Sequence[str],
    whole: int,
    *,
    most: float = SHARE,
    formula: str,
    mark: str = REMEMBERED,
) -> Check:
    figure = percent(len(wrong), whole)
    if figure is None:
        verdict = Verdict.UNKNOWN
    else:
        verdict = Verdict.MEND if figure > 100 * most + 1e-9 else Verdict.KEPT
    limit = f"at most {100 * most:g} %" if most else "none"
    return Check(
        number, title, asks, figure, "%", limit, verdict, tuple(wrong), formula,
        f"{PAMPHLET} {mark}",
    )  # fmt: skip


def fourteen_points(
    jobs: Sequence[Job],
    links: Sequence[Link],
    *,
    today: dt.date,
    length_d: int,
    end_float_d: int,
    long_days: int = USUAL_LONG_DAYS,
) -> list[Check]:
    """The points in their order.

    length_d     working days from today to the plan's last finish
    end_float_d  working days from there to the programme's end; below 0 when past it
    long_days    what counts as a long job and as much float
    """
    if long_days < 1:
        raise ValueError(f"a long job takes 1 day or more, not {long_days}")
    open_jobs = [job for job in jobs if not job.is_done]
    dated = [job for job in open_jobs if job.days is not None]
    names = {job.key: job.name for job in jobs}
    return [
        _logic(open_jobs, links),
        *_links(links, names),
        _share(
            5, "Hard dates", "Few jobs are held to a date by which they must be over.",
            [job.name for job in open_jobs if job.is_hard], len(open_jobs),
            formula="jobs promised by a date ÷ open jobs",
        ),
        _share(
            6, "Much float", f"Few jobs can slip more than {long_days} working days.",
            [f"{job.name} ({job.float_d} days)" for job in open_jobs
             if job.float_d is not None and job.float_d > long_days],
            sum(job.float_d is not None for job in open_jobs),
            formula=f"jobs with more than {long_days} days of float ÷ open jobs", mark=SEEN,
        ),
        _share(
            7, "Negative float", "No job is later than what waits for it allows.",
            [f"{job.name} ({job.float_d} days)" for job in open_jobs
             if job.float_d is not None and job.float_d < 0],
            sum(job.float_d is not None for job in open_jobs), most=0,
            formula="jobs with float below 0 ÷ open jobs", mark=SEEN,
        ),
        _share(
            8, "Long jobs", f"Few jobs take more than {long_days} working days.",
            [f"{job.name} ({job.days} days)" for job in dated if (job.days or 0) > long_days],
            len(dated), formula=f"jobs of more than {long_days} days ÷ open jobs with dates",
        ),
        _dates(jobs, today),
        _share(
            10, "Hours and money", "Every job of a day or more has hours or a cost.",
            [job.name for job in dated if (job.days or 0) >= 1 and not job.has_hours_or_cost],
            len(dated), most=0, formula="jobs without hours and cost ÷ open jobs with dates",
        ),
        *_by_baseline(jobs, today),
        _path_test(dated, links),
        _length_index(length_d, end_float_d),
        _index(jobs, today),
    ]  # fmt: skip


def _logic(open_jobs: Sequence[Job], links: Sequence[Link]) -> Check:
    waits, goes_on = {link.after for link in links}, {link.before for link in links}
    dated = [job for job in open_jobs if job.start and job.finish]
    first = min(dated, key=lambda job: job.start or dt.date.max, default=None)
    last = max(dated, key=lambda job: job.finish or dt.date.min, default=None)
    wrong = []
    for job in open_jobs:
        lacks = []
        if job.key not in waits and job is not first:
            lacks.append("waits for nothing")
        if job.key not in goes_on and job is not last:
            lacks.append("nothing waits for it")
        if lacks:
            wrong.append(f"{job.name}: {' and '.join(lacks)}")
    return _share(
        1, "Order", "Each job waits for another and has another waiting for it.", wrong,
        len(open_jobs), mark=SEEN,
        formula="open jobs that wait for nothing, or for which nothing waits ÷ open jobs; the "
        "first and the last are let off",
    )  # fmt: skip


def _links(links: Sequence[Link], names: dict[Key, str]) -> list[Check]:
    def words(link: Link) -> str:
        lag = f" {link.lag:+g} days" if link.lag else ""
        return f"{names[link.before]} → {names[link.after]} ({link.kind}{lag})"

    plain = [link for link in links if link.kind == LinkKind.FINISH_START]
    share = percent(len(plain), len(links))
    verdict = Verdict.UNKNOWN
    if share is not None:
        verdict = Verdict.KEPT if share >= 100 * FS_SHARE - 1e-9 else Verdict.MEND
    return [
        _share(
            2, "Leads", "No job starts before the end of what it waits for by a negative lag.",
            [words(link) for link in links if link.lag < 0], len(links), most=0,
            formula="links with a negative lag ÷ links",
        ),
        _share(
            3, "Lags", "Few links have a wait drawn into them.",
            [words(link) for link in links if link.lag > 0], len(links),
            formula="links with a lag above 0 ÷ links",
        ),
        Check(
            4, "Kinds of link", "Nearly every job waits for the end of another.", share, "%",
            f"at least {100 * FS_SHARE:g} %", verdict,
            tuple(words(link) for link in links if link.kind != LinkKind.FINISH_START),
            "finish to start links ÷ links", f"{PAMPHLET} {REMEMBERED}",
        ),
    ]  # fmt: skip


def _dates(jobs: Sequence[Job], today: dt.date) -> Check:
    wrong = []
    for job in jobs:
        if not job.is_done and not job.is_begun and job.start and job.start < today:
            wrong.append(f"{job.name}: planned to start {job.start:%-d %b %Y}, which is past")
        elif not job.is_done and job.finish and job.finish < today:
            wrong.append(f"{job.name}: planned to be over {job.finish:%-d %b %Y}, which is past")
        for what, day in (("begun", job.started_on), ("finished", job.finished_on)):
            if day and day > today:
                wrong.append(f"{job.name}: {what} on {day:%-d %b %Y}, which is still to come")
        if job.started_on and job.finished_on and job.finished_on < job.started_on:
            wrong.append(f"{job.name}: finished before it was begun")
    return _share(
        9, "Dates that cannot be", "Nothing is planned in the past or done in the future.", wrong,
        len(jobs), most=0, formula="jobs with such a date ÷ jobs",
    )  # fmt: skip


def _due(jobs: Sequence[Job], today: dt.date) -> list[Job]:
    return [job for job in jobs if job.baseline_finish and job.baseline_finish <= today]


def _by_baseline(jobs: Sequence[Job], today: dt.date) -> list[Check]:
    due = _due(jobs, today)
    late = [
        job.name
        for job in due
        if not job.is_done
        or (job.finished_on and job.baseline_finish and job.finished_on > job.baseline_finish)
    ]
    return [
        _share(
            11, "Missed jobs", "Few jobs due by the baseline are late.", late, len(due),
            formula="jobs due by today that finished late or are open ÷ jobs due by today",
        )
    ]  # fmt: skip


def _path_test(dated: Sequence[Job], links: Sequence[Link]) -> Check:
    keys = {job.key for job in dated}
    durations = [(job.key, float(job.days or 0)) for job in dated]
    inner = [link for link in links if link.before in keys and link.after in keys]
    verdict, figure = Verdict.UNKNOWN, None
    if durations:
        moves = moves_with_its_path(durations, inner)
        verdict, figure = (Verdict.KEPT if moves else Verdict.MEND), float(TRIED_DAYS * moves)
    return Check(
        12, "Test of the critical path",
        f"When a critical job takes {TRIED_DAYS} working days more, the end moves by as much.",
        figure, "days", f"{TRIED_DAYS} days", verdict, (),
        "by durations and links alone, without windows or the crew", f"{PAMPHLET} {REMEMBERED}",
    )  # fmt: skip


def _length_index(length_d: int, end_float_d: int) -> Check:
    figure = path_length_index(length_d, end_float_d) if length_d > 0 else None
    verdict = Verdict.UNKNOWN
    mend: tuple[str, ...] = ()
    if figure is not None:
        verdict = Verdict.KEPT if figure >= INDEX - 1e-9 else Verdict.MEND
    if verdict == Verdict.MEND:
        mend = (f"the plan is over {-end_float_d} working days after the programme's end",)
    return Check(
        13, "Index of the path's length", "The plan can be over by the programme's end.", figure,
        "", f"at least {INDEX:g}", verdict, mend,
        f"({length_d} days left + {end_float_d} days of float) ÷ {length_d} days left",
        f"{PAMPHLET} §3.1.2.3 {REMEMBERED}",
    )  # fmt: skip


def _index(jobs: Sequence[Job], today: dt.date) -> Check:
    due = len(_due(jobs, today))
    done = sum(job.is_done for job in jobs if job.has_baseline)
    figure = execution_index(done, due) if due else None
    verdict = Verdict.UNKNOWN
    if figure is not None:
        verdict = Verdict.KEPT if figure >= INDEX - 1e-9 else Verdict.MEND
    open_due = tuple(job.name for job in _due(jobs, today) if not job.is_done)
    return Check(
        14, "Index of what got done", "As much is finished as the baseline asked for.", figure, "",
        f"at least {INDEX:g}", verdict, open_due if verdict == Verdict.MEND else (),
        f"{done} jobs finished ÷ {due} jobs due by the baseline",
        f"{PAMPHLET} §3.1.2.4 {REMEMBERED}",
    )  # fmt: skip


@dataclass(frozen=True)
class Kept:
    """What a club has done for its plan, beyond the plan itself.

    outside_plan   open jobs without a date
    over_hours     weeks in which more is planned than the crew has
    broken_links   links that the plan's dates do not keep
    futures, seed  of the risk run of this very plan; None where there is none
    age_d          days since the plan was made
    fresh_days     after so many days it is old
    baseline       its name; "" where none is kept
    """

    outside_plan: tuple[str, ...]
    over_hours: tuple[str, ...]
    broken_links: tuple[str, ...]
    futures: int | None
    seed: int | None
    age_d: int
    baseline: str
    fresh_days: int = 31


@dataclass(frozen=True)
class Practice:
    """One practice: what it rests on, and what there is to mend."""

    number: int
    title: str
    rests_on: str
    verdict: Verdict
    mend: tuple[str, ...] = ()


def ten_practices(points: Sequence[Check], kept: Kept) -> list[Practice]:
    """The practices in their order, by the points and by what else is kept."""
    by_number = {one.number: one for one in points}

    def of_points(*numbers: int) -> tuple[Verdict, tuple[str, ...]]:
        chosen = [by_number[number] for number in numbers]
        wrong = [one for one in chosen if one.verdict == Verdict.MEND]
        told = tuple(f"point {one.number}, {one.title.lower()}" for one in wrong)
        if wrong:
            return Verdict.MEND, told
        known = any(one.verdict == Verdict.KEPT for one in chosen)
        return (Verdict.KEPT if known else Verdict.UNKNOWN), ()

    def both(of: tuple[Verdict, tuple[str, ...]], more: Sequence[str]) -> tuple[
        Verdict, tuple[str, ...]
    ]:  # fmt: skip
        if more:
            return Verdict.MEND, (*of[1], *more)
        return of

    good: tuple[Verdict, tuple[str, ...]] = (Verdict.KEPT, ())
    futures = () if kept.futures else ("no futures of this plan were drawn",)
    ran = f"{kept.futures:,} futures with seed {kept.seed}" if kept.futures else "no futures"
    age = (
        (f"the plan is {kept.age_d} days old; make it again",)
        if kept.age_d > kept.fresh_days
        else ()
    )
    baseline = () if kept.baseline else ("no baseline is kept",)
    rows = [
        ("Everything is in it", "every open job has dates", both(good, kept.outside_plan)),
        ("Its order is drawn", "points 1 to 5", of_points(1, 2, 3, 4, 5)),
        ("Hands and money are told", "point 10, and no week over the crew's hours",
         both(of_points(10), kept.over_hours)),
        ("Durations can be believed", "point 8", of_points(8)),
        ("Dates follow from each other", "every link is kept by the plan's dates",
         both(good, kept.broken_links)),
        ("The critical path is one", "point 12", of_points(12)),
        ("Float is reasonable", "points 6 and 7", of_points(6, 7)),
        ("Its risk is drawn", ran, both(good, futures)),
        ("It is kept up to date", f"point 9, and a plan of the last {kept.fresh_days} days",
         both(of_points(9), age)),
        ("A baseline is kept", f"“{kept.baseline}”, and points 11 and 14"
         if kept.baseline else "points 11 and 14", both(of_points(11, 14), baseline)),
    ]  # fmt: skip
    return [
        Practice(number, title, rests_on, verdict, mend)
        for number, (title, rests_on, (verdict, mend)) in enumerate(rows, 1)
    ]
