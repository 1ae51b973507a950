"""The crew's year put in by the rules that their phones' entries keep."""

from __future__ import annotations

import uuid
from datetime import date, timedelta

from worksprog.demo.last_winter import finish_small_drains, fit_in
from worksprog.demo.logged import Logged, entries, routine_before
from worksprog.demo.people import People
from worksprog.demo.programme import FROZEN_DAY
from worksprog.demo.works import all_jobs
from worksprog.hours.models import HourEntry
from worksprog.hours.services import Worked, approve_hours, log_sheet, query_hours
from worksprog.works.models import Estimate, Item

LAST_APPROVED = FROZEN_DAY - timedelta(days=FROZEN_DAY.weekday() + 1)  # the Sunday before
_NAMES = uuid.UUID("5f0c4b4e-6a52-4c7e-9b39-1c8f3a1d7d10")


def log_the_year(people: People, items: dict[str, Item]) -> int:
    """The crew's sheet of the year taken in at once; whole weeks approved by the manager."""
    estimates = {
        estimate.item.name: (estimate.labour_likely_h, estimate.quantity)
        for estimate in Estimate.objects.filter(
            item__in=[item.pk for item in items.values()], is_live=True
        ).select_related("item")
    }
    days: dict[str, tuple[date, date]] = {
        job.name: (job.started_on, job.finished_on or FROZEN_DAY)
        for job in all_jobs()
        if job.started_on is not None
    }

    def worked(entry: Logged, name: str) -> Worked:
        return Worked(
            person=people.crew[entry.person],
            client_id=uuid.uuid5(_NAMES, name),
            worked_on=entry.on,
            hours=entry.hours,
            item=items[entry.job] if entry.job else None,
            routine=entry.routine,
            quantity=entry.quantity,
            ground=entry.ground,
        )

    year, spans = fit_in(entries(estimates=estimates, days=days), estimates)
    finish_small_drains({name: items[name] for name in spans}, spans, people.manager)
    of_the_year = enumerate(year, start=1)
    sheet = [
        *(worked(entry, f"paper {number}") for number, entry in enumerate(routine_before())),
        *(worked(entry, str(number)) for number, entry in of_the_year),
    ]
    logged = log_sheet(club=people.club, sheet=sheet, by=people.manager)
    approve_hours(
        club=people.club,
        entries=HourEntry.objects.filter(club=people.club, worked_on__lte=LAST_APPROVED),
        by=people.manager,
    )
    doubtful = HourEntry.objects.filter(
        club=people.club, state=HourEntry.State.LOGGED, routine="machines"
    )
    first = doubtful.order_by("worked_on", "pk").first()
    if first is not None:
        query_hours(
            entry=first,
            by=people.manager,
            reason="Is this the trencher? Then it belongs to the carrier.",
        )
    return len(logged)
