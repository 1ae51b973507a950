"""From the crew's entries to what each job says of its kind of work, and what looks mis-logged."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Container, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.db.models import Count, Max, Q, Sum

from worksprog.calc.output_rates import (
    LONG_DAY_H,
    Choice,
    DayLogged,
    Doubt,
    JobEvidence,
    JobLogged,
    gather,
)
from worksprog.calc.ranges import ThreePoint
from worksprog.clubs.models import Club
from worksprog.hours.models import EvidenceWord, Ground, HourEntry
from worksprog.works.models import Estimate, Item, ItemState
from worksprog.works.queries import book_hours

FINISHED = (ItemState.DONE, ItemState.GROWING_IN)
OPEN = (ItemState.PROPOSED, ItemState.ON_SITE)
_SAID = {
    EvidenceWord.What.LEFT_OUT: Choice.LEFT_OUT,
    EvidenceWord.What.TAKEN_IN: Choice.TAKEN_IN,
}


@dataclass
class JobFacts:
    """One job with its estimates, what was said of it, and its evidence where hours came in."""

    item: Item
    estimate: Estimate | None
    book_h: ThreePoint
    words: list[EvidenceWord] = field(default_factory=list)
    evidence: JobEvidence | None = None

    @property
    def last_word(self) -> EvidenceWord | None:
        """What decides whether the job counts."""
        return next((one for one in reversed(self.words) if one.what in _SAID), None)

    @property
    def account(self) -> EvidenceWord | None:
        """Why it came out as it did, in the manager's words."""
        found = (one for one in reversed(self.words) if one.what == EvidenceWord.What.ACCOUNT)
        return next(found, None)

    @property
    def is_finished(self) -> bool:
        return self.item.state in FINISHED

    @property
    def is_open(self) -> bool:
        return self.item.state in OPEN


def read_jobs(club: Club, kind: str = "", *, closely: bool = True) -> dict[str, list[JobFacts]]:
    """Jobs of the crew by kind of work, with their evidence; a contractor's are not the crew's.

    ``closely`` also looks for days shared between jobs and entries that look mis-logged. At most
    six queries, however many entries: the database sums them by day.
    """
    items = Item.objects.filter(club=club, by_contractor=False).exclude(state=ItemState.SHELVED)
    entries = HourEntry.objects.standing().filter(club=club, item__isnull=False)
    if kind:
        items, entries = items.filter(kind=kind), entries.filter(item__kind=kind)
    facts = _facts(list(items.select_related("phase__project__programme")))
    days, doubts = _days(entries)
    shared: dict[int, set[date]] = {}
    if closely:
        shared = _look_closely(club, facts, doubts)
    found: dict[str, list[JobFacts]] = defaultdict(list)
    for key, one in facts.items():
        if key in days:
            shared_days = len(shared.get(key, ()))
            one.evidence = gather(_logged(one, days[key], doubts[key], shared_days))
        found[one.item.kind].append(one)
    return dict(found)


def _facts(items: Sequence[Item]) -> dict[int, JobFacts]:
    estimates = {
        one.item_id: one
        for one in Estimate.objects.filter(
            item__in=[item.pk for item in items], is_live=True
        ).defer("working", "measured", "feature_versions", "parameters")
    }
    hours = book_hours(estimates.values())
    facts = {}
    for item in items:
        estimate = estimates.get(item.pk)
        book = hours[estimate.pk] if estimate is not None else ThreePoint.exactly(0.0)
        facts[item.pk] = JobFacts(item, estimate, book)
    words = EvidenceWord.objects.filter(item__in=facts).select_related("said_by")
    for word in words.order_by("said_at", "id"):
        facts[word.item_id].words.append(word)
    return facts


def _days(entries: Any) -> tuple[dict[int, list[DayLogged]], dict[int, list[Doubt]]]:
    """What counts of each job by day; and by job, what is in question and therefore does not."""
    sure = ~Q(state=HourEntry.State.QUERIED)
    rows = (
        entries.order_by()
        .values_list("item_id", "worked_on")
        .annotate(
            total_h=Sum("hours", filter=sure),
            people=Count("person", distinct=True, filter=sure),
            total_q=Sum("quantity", filter=sure),
            wet_h=Sum("hours", filter=sure & Q(ground=Ground.SHOWERS)),
            queried_h=Sum("hours", filter=~sure),
        )
    )
    found: dict[int, list[DayLogged]] = defaultdict(list)
    queried: dict[int, float] = defaultdict(float)
    for item_id, on, hours, people, quantity, wet, asked in rows:
        found[item_id].append(
            DayLogged(on, float(hours or 0), people, float(quantity or 0), float(wet or 0))
        )
        if asked:
            queried[item_id] += float(asked)
    doubts: dict[int, list[Doubt]] = defaultdict(list)
    for item_id, hours in queried.items():
        words = f"{hours:g} h are in question"
        doubts[item_id].append(Doubt(words, handled="left out until settled"))
    return found, doubts


def _logged(
    facts: JobFacts, days: Iterable[DayLogged], doubts: Iterable[Doubt], shared: int
) -> JobLogged:
    estimate, word = facts.estimate, facts.last_word
    return JobLogged(
        key=str(facts.item.uuid),
        name=facts.item.name,
        unit=estimate.unit if estimate is not None else "",
        planned=estimate.quantity if estimate is not None else 0.0,
        book_h=facts.book_h,
        is_finished=facts.is_finished,
        finished_on=facts.item.finished_on if facts.is_finished else None,
        days=tuple(days),
        choice=_SAID[EvidenceWord.What(word.what)] if word is not None else Choice.NONE,
        reason=word.words if word is not None else "",
        shared_days=shared,
        doubts=tuple(doubts),
    )


def _when(day: date) -> str:
    return f"{day.day} {day:%b %Y}"


def _look_closely(
    club: Club, wanted: Container[int], doubts: dict[int, list[Doubt]]
) -> dict[int, set[date]]:
    """Adds long days and doubled entries to ``doubts``; gives days shared with other jobs, by job.

    Each person's each day is read with all its work: a long day is one of routine work and jobs
    together. One query.
    """
    rows = (
        HourEntry.objects.counted()
        .filter(club=club)
        .order_by("worked_on")
        .values_list("person_id", "worked_on", "item_id")
        .annotate(
            total=Sum("hours"),
            count=Count("pk"),
            amounts=Count("hours", distinct=True),
            first=Max("person__user__first_name"),
            last=Max("person__user__last_name"),
        )
    )
    by_day: dict[tuple[int, date], list[Any]] = defaultdict(list)
    for person, on, item_id, total, count, amounts, first, last in rows:
        by_day[person, on].append((item_id, total, count > amounts, f"{first} {last}".strip()))
    shared: dict[int, set[date]] = defaultdict(set)
    for (_, on), parts in by_day.items():
        total = float(sum(part[1] for part in parts))
        jobs = [part for part in parts if part[0] is not None]
        for item_id, hours, doubled, name in jobs:
            if item_id not in wanted:
                continue
            if total > LONG_DAY_H:
                doubts[item_id].append(Doubt(f"{name} logged {total:g} h on {_when(on)}", on))
            if doubled:
                words = f"{name} logged the same twice on {_when(on)}, {float(hours):g} h together"
                doubts[item_id].append(Doubt(words, on))
            if len(jobs) > 1:
                shared[item_id].add(on)
    return shared
