"""What the crew's page shows: the jobs of these days, who is on them, and what one logged lately."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta

from django.db.models import Max, Q, QuerySet, Sum

from worksprog.clubs.models import Club, Membership
from worksprog.hours.models import HourEntry
from worksprog.planning.models import PlannedItem
from worksprog.works.models import Estimate, Item, ItemState

AROUND = timedelta(days=7)
LATELY = timedelta(days=14)
TOGETHER = timedelta(days=3)
OPEN = (ItemState.PROPOSED, ItemState.ON_SITE)


@dataclass
class PhoneJob:
    item: Item
    is_today: bool
    unit: str = ""
    planned: float | None = None
    done: float = 0.0
    last_quantity: float | None = None
    mates: list[str] = field(default_factory=list)


def phone_jobs(club: Club, person: Membership, today: date) -> list[PhoneJob]:
    """Jobs a person may log on: first those on site or planned around now, then the other open ones.

    A job the person logged lately stays at hand after it was finished. Eight queries.
    """
    mine = dict(
        HourEntry.objects.standing()
        .filter(person=person, item__isnull=False, worked_on__gte=today - LATELY)
        .order_by()
        .values("item_id")
        .annotate(last=Max("worked_on"))
        .values_list("item_id", "last")
    )
    items = list(
        Item.objects.filter(club=club, phase__project__programme__is_live=True)
        .filter(Q(state__in=OPEN) | Q(pk__in=mine))
        .exclude(state=ItemState.SHELVED)
        .prefetch_related("holes", "consents")
    )
    keys = [item.pk for item in items]
    planned = set(
        PlannedItem.objects.filter(
            plan__is_live=True,
            item__in=keys,
            start__lte=today + AROUND,
            finish__gte=today - AROUND,
        ).values_list("item_id", flat=True)
    )
    estimates = {
        row["item_id"]: row
        for row in Estimate.objects.filter(item__in=keys, is_live=True).values(
            "item_id", "unit", "quantity"
        )
    }
    done = dict(
        HourEntry.objects.counted()
        .filter(item__in=keys)
        .order_by()
        .values("item_id")
        .annotate(total=Sum("quantity"))
        .values_list("item_id", "total")
    )
    mates, last_quantity = _lately(keys, person, today)
    jobs = []
    for item in items:
        estimate = estimates.get(item.pk)
        job = PhoneJob(
            item=item,
            is_today=item.state == ItemState.ON_SITE or item.pk in planned or item.pk in mine,
            done=done.get(item.pk) or 0.0,
            last_quantity=last_quantity.get(item.pk),
            mates=mates.get(item.pk, []),
        )
        if estimate and estimate["quantity"] > 0:
            job.unit, job.planned = estimate["unit"], estimate["quantity"]
        jobs.append(job)
    long_ago = date.min
    jobs.sort(
        key=lambda job: (
            -(mine.get(job.item.pk, long_ago).toordinal()),
            job.item.state != ItemState.ON_SITE,
            not job.is_today,
        )
    )
    return jobs


def _lately(
    keys: list[int], person: Membership, today: date
) -> tuple[dict[int, list[str]], dict[int, float]]:
    """Who else is on each job these days, and the quantity last measured on it."""
    mates: dict[int, list[str]] = defaultdict(list)
    quantity: dict[int, float] = {}
    rows: Iterable[HourEntry] = (
        HourEntry.objects.standing()
        .filter(item__in=keys, worked_on__gte=today - LATELY)
        .select_related("person__user")
        .order_by("-worked_on", "-id")
    )
    for row in rows:
        assert row.item_id is not None
        name = row.person.user.initialled
        is_new = row.worked_on >= today - TOGETHER and name not in mates[row.item_id]
        if row.person_id != person.pk and is_new:
            mates[row.item_id].append(name)
        if row.quantity:
            quantity.setdefault(row.item_id, row.quantity)
    return mates, quantity


def done_by_job(club: Club) -> dict[str, float]:
    """What is measured on each job of the live programmes, by its uuid. One query."""
    rows = (
        HourEntry.objects.counted()
        .filter(item__club=club, item__phase__project__programme__is_live=True, quantity__gt=0)
        .order_by()
        .values("item__uuid")
        .annotate(total=Sum("quantity"))
        .values_list("item__uuid", "total")
    )
    return {str(uuid): total for uuid, total in rows}


def recent_entries(person: Membership, today: date) -> QuerySet[HourEntry]:
    """What a person logged lately and what is queried however old, newest first. One query."""
    return (
        HourEntry.objects.filter(person=person)
        .filter(Q(worked_on__gte=today - LATELY) | Q(state=HourEntry.State.QUERIED))
        .exclude(state=HourEntry.State.WITHDRAWN)
        .select_related("item", "corrects", "corrected_by")
        .order_by("-worked_on", "-id")[:40]
    )
