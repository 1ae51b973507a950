"""What a report is gathered from: the programme's rows, read once, as they were on its last day."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import Sum

from worksprog.clubs.models import Club
from worksprog.hours.models import HourEntry
from worksprog.hours.queries import earned_value, routine_hours
from worksprog.hours.queries.progress import ItemProgress
from worksprog.planning.chart import Winter
from worksprog.planning.models import PlannedItem
from worksprog.planning.queries import dates_of_items, latest_baseline, live_plan, planned_items
from worksprog.works.models import Estimate, Item, ItemState, Programme, Project, Spend
from worksprog.works.queries import live_estimates

NOTHING = Decimal("0")
QUARTER = timedelta(days=92)
SEASON_STARTS = 7  # July: a winter's works begin in late summer and are grown in by early summer


def winter_of(day: date) -> Winter:
    year = day.year if day.month >= SEASON_STARTS else day.year - 1
    return Winter(
        date(year, SEASON_STARTS, 1), date(year + 1, SEASON_STARTS, 1) - timedelta(days=1)
    )


@dataclass(frozen=True)
class Logged:
    """Crew hours and quantity on one item."""

    hours: Decimal = NOTHING
    quantity: float = 0.0


@dataclass(frozen=True)
class Facts:
    """Everything that the parts of a report are made from. Shelved items are left out."""

    club: Club
    programme: Programme
    from_date: date
    to_date: date
    projects: Sequence[Project]
    items: Sequence[Item]
    estimates: Mapping[int, Estimate]
    planned: Mapping[int, PlannedItem]
    baseline: Mapping[int, PlannedItem]
    baseline_name: str
    plan_notes: Sequence[str]
    plan_as_of: date | None
    progress: Mapping[int, ItemProgress]
    spent: Mapping[int, Decimal]
    logged: Mapping[int, Logged]
    in_period: Mapping[int, Logged]
    routine: Mapping[str, Decimal]
    stood_down_days: int
    winter: Winter | None
    winter_number: int = 0
    winter_count: int = 0
    _states: dict[int, str] = field(default_factory=dict)

    def state(self, item: Item) -> str:
        """The item's state on the report's last day, from its dates; undated, as it stands now."""
        if item.pk not in self._states:
            self._states[item.pk] = state_on(item, self.to_date)
        return self._states[item.pk]

    def share(self, item: Item) -> float:
        return self.progress[item.pk].share

    def items_of(self, project: Project) -> list[Item]:
        return [item for item in self.items if item.phase.project_id == project.pk]

    def finish(self, item: Item) -> date | None:
        """When it was finished, else when the plan has it finish."""
        if item.finished_on and item.finished_on <= self.to_date:
            return item.finished_on
        planned = self.planned.get(item.pk)
        return planned.finish if planned else None


def state_on(item: Item, on: date) -> str:
    """proposed, on_site, growing_in or done on a date."""
    if item.finished_on is not None:
        if item.finished_on <= on:
            grown = item.finished_on + timedelta(weeks=item.growing_in_weeks)
            return str(ItemState.GROWING_IN if grown > on else ItemState.DONE)
        started = item.started_on is not None and item.started_on <= on
        return str(ItemState.ON_SITE if started else ItemState.PROPOSED)
    if item.started_on is not None:
        if item.started_on > on:
            return str(ItemState.PROPOSED)
        return item.state if item.state != ItemState.PROPOSED else str(ItemState.ON_SITE)
    return item.state


def _logged(programme: Programme, first: date | None, last: date) -> dict[int, Logged]:
    rows = HourEntry.objects.counted().filter(
        item__phase__project__programme=programme, worked_on__lte=last
    )
    if first is not None:
        rows = rows.filter(worked_on__gte=first)
    sums = rows.order_by().values("item_id").annotate(h=Sum("hours"), q=Sum("quantity"))
    return {row["item_id"]: Logged(row["h"] or NOTHING, row["q"] or 0.0) for row in sums}


def read_facts(programme: Programme, from_date: date, to_date: date) -> Facts:
    """Read the programme; the number of queries does not grow with it."""
    club = programme.club
    items = list(
        Item.objects.filter(phase__project__programme=programme)
        .exclude(state=ItemState.SHELVED)
        .select_related("phase__project")
        .prefetch_related("features", "holes", "consents")
    )
    plan, kept = live_plan(programme), latest_baseline(programme)
    spent: dict[int, Decimal] = defaultdict(Decimal)
    for item_id, amount in (
        Spend.objects.filter(item__phase__project__programme=programme, spent_on__lte=to_date)
        .order_by()
        .values_list("item_id", "amount")
    ):
        spent[item_id] += amount
    stood_down = HourEntry.objects.counted().filter(
        club=club, ground="stood_down", worked_on__range=(from_date, to_date)
    )
    here = winter_of(to_date)
    # A programme that begins in spring or ends in late summer has no works in the winter it touches.
    begun, ended = winter_of(programme.starts_on + QUARTER), winter_of(programme.ends_on - QUARTER)
    within = begun.first <= here.first <= ended.first
    return Facts(
        club=club,
        programme=programme,
        from_date=from_date,
        to_date=to_date,
        projects=list(Project.objects.filter(programme=programme)),
        items=items,
        estimates=live_estimates(programme),
        planned=dates_of_items(programme),
        baseline={row.item_id: row for row in planned_items(kept)} if kept else {},
        baseline_name=kept.baseline_name if kept else "",
        plan_notes=list(plan.notes) if plan else [],
        plan_as_of=plan.as_of if plan else None,
        progress={one.item.pk: one for one in earned_value(programme, to_date).items},
        spent=spent,
        logged=_logged(programme, None, to_date),
        in_period=_logged(programme, from_date, to_date),
        routine=routine_hours(club, from_date, to_date),
        stood_down_days=stood_down.order_by().values("worked_on").distinct().count(),
        winter=here if within else None,
        winter_number=here.first.year - begun.first.year + 1,
        winter_count=ended.first.year - begun.first.year + 1,
    )
