"""From the crew's entries to what each job says of its kind of work, and what looks mis-logged."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.db.models import Count, Exists, OuterRef, Q, Sum

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
from worksprog.clubs.models import Club, Membership
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

    ``closely`` also looks for entries that look mis-logged and, for one kind, for days shared
    between jobs. At most ten queries, however many entries: the database sums them by day.
    """
    items = Item.objects.filter(club=club, by_contractor=False).exclude(state=ItemState.SHELVED)
    entries = HourEntry.objects.counted().filter(club=club, item__isnull=False)
    if kind:
        items, entries = items.filter(kind=kind), entries.filter(item__kind=kind)
    facts = _facts(list(items.select_related("phase__project__programme")))
    days = _days(entries)
    doubts: dict[int, list[Doubt]] = defaultdict(list)
    shared: dict[int, int] = {}
    if closely:
        for item_id, doubt in (*_long_days(club, entries), *_twice(entries), *_queried(club, kind)):
            doubts[item_id].append(doubt)
        shared = _shared_days(entries) if kind else {}
    found: dict[str, list[JobFacts]] = defaultdict(list)
    for key, one in facts.items():
        if key in days:
            one.evidence = gather(_logged(one, days[key], doubts[key], shared.get(key, 0)))
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


def _days(entries: Any) -> dict[int, list[DayLogged]]:
    rows = (
        entries.order_by()
        .values_list("item_id", "worked_on")
        .annotate(
            total_h=Sum("hours"),
            people=Count("person", distinct=True),
            total_q=Sum("quantity"),
            wet_h=Sum("hours", filter=Q(ground=Ground.SHOWERS)),
        )
    )
    found: dict[int, list[DayLogged]] = defaultdict(list)
    for item_id, on, hours, people, quantity, wet in rows:
        found[item_id].append(
            DayLogged(on, float(hours), people, float(quantity or 0), float(wet or 0))
        )
    return found


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


def _names(keys: Iterable[int]) -> dict[int, str]:
    rows = Membership.objects.filter(pk__in=set(keys)).select_related("user")
    return {row.pk: str(row.user) for row in rows}


def _long_days(club: Club, entries: Any) -> list[tuple[int, Doubt]]:
    """Days on which one person logged more than a long day, all work together."""
    rows = list(
        HourEntry.objects.counted()
        .filter(club=club)
        .order_by()
        .values_list("person_id", "worked_on")
        .annotate(total=Sum("hours"))
        .filter(total__gt=LONG_DAY_H)
    )
    if not rows:
        return []
    totals = {(person, day): float(total) for person, day, total in rows}
    on = entries.filter(person__in={p for p, _ in totals}, worked_on__in={d for _, d in totals})
    names = _names(person for person, _ in totals)
    return [
        (
            item_id,
            Doubt(f"{names.get(person, 'somebody')} logged {totals[person, day]:g} h on {_when(day)}", day),
        )
        for item_id, person, day in on.order_by("worked_on")
        .values_list("item_id", "person_id", "worked_on")
        .distinct()
        if (person, day) in totals
    ]  # fmt: skip


def _twice(entries: Any) -> list[tuple[int, Doubt]]:
    """The same person's same job twice on one day with the same hours."""
    rows = (
        entries.order_by()
        .values_list("item_id", "person_id", "worked_on", "hours")
        .annotate(count=Count("pk"))
        .filter(count__gt=1)
    )
    return [
        (item_id, Doubt(f"{float(hours):g} h logged {count} times for {_when(day)}", day))
        for item_id, _, day, hours, count in rows
    ]


def _queried(club: Club, kind: str) -> list[tuple[int, Doubt]]:
    rows = HourEntry.objects.standing().filter(club=club, state="queried", item__isnull=False)
    if kind:
        rows = rows.filter(item__kind=kind)
    sums = rows.order_by().values_list("item_id").annotate(total=Sum("hours"))
    return [
        (item_id, Doubt(f"{float(total):g} h are in question", handled="left out until settled"))
        for item_id, total in sums
    ]


def _shared_days(entries: Any) -> dict[int, int]:
    """Days by job on which somebody worked on another job, too; each logged his hours on each."""
    elsewhere = (
        HourEntry.objects.counted()
        .filter(person=OuterRef("person"), worked_on=OuterRef("worked_on"), item__isnull=False)
        .exclude(item=OuterRef("item"))
    )
    rows = (
        entries.filter(Exists(elsewhere))
        .order_by()
        .values_list("item_id")
        .annotate(days=Count("worked_on", distinct=True))
    )
    return dict(rows)
