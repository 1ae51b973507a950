"""Whole sheets of the programme with totals at every step."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import OuterRef, Prefetch, QuerySet, Subquery, Sum

from worksprog.clubs.models import Club
from worksprog.course.models import Feature
from worksprog.works.bridge_ranges import Placed, Sways
from worksprog.works.models import (
    Category,
    Consent,
    Estimate,
    EstimateLine,
    Item,
    ItemState,
    Phase,
    Programme,
    Project,
    RangeRow,
    Spend,
)
from worksprog.works.queries.estimates import NOTHING, stale_items
from worksprog.works.queries.ranges import RangeOf, Ranges, draw_at_once, known_ranges, lines_of
from worksprog.works.queries.rules import swaying_beside, swaying_of

CORRELATION = 0.25  # between the items of a programme: one crew, one ground, the same winters


def live_programme(club: Club) -> Programme | None:
    return Programme.objects.filter(club=club, is_live=True).first()


@dataclass(frozen=True)
class Totals:
    """Hours and money of a set of items, from their live estimates; shelved items are left out."""

    items: int = 0
    without_estimate: int = 0
    labour_low_h: float = 0.0
    labour_likely_h: float = 0.0
    labour_high_h: float = 0.0
    labour_p80_h: float | None = 0.0  # None: too much to draw for a page, and not drawn yet
    money_low: Decimal = NOTHING
    money_likely: Decimal = NOTHING
    money_high: Decimal = NOTHING
    money_p80: Decimal | None = NOTHING
    approved: Decimal = NOTHING
    spent: Decimal = NOTHING
    by_category: dict[str, Decimal] = field(default_factory=dict)
    by_state: dict[str, int] = field(default_factory=dict)
    ranged_how: str = ""

    @property
    def beyond_approved(self) -> Decimal:
        """Likely money that is not approved yet; 0 where the approval covers it."""
        return max(self.money_likely - self.approved, NOTHING)


def _add_up(
    items: Sequence[Item],
    estimates: dict[int, Estimate],
    *,
    approved: Decimal,
    spent: dict[int, Decimal],
    by_category: dict[int, dict[str, Decimal]],
    ranged: RangeOf | None,
    ranged_how: str,
) -> Totals:
    counted = [item for item in items if item.state != ItemState.SHELVED]
    live = [estimates[item.pk] for item in counted if item.pk in estimates]
    heads: dict[str, Decimal] = dict.fromkeys(Category.values, NOTHING)
    for one in live:
        for category, amount in by_category.get(one.pk, {}).items():
            heads[category] += amount
    states: dict[str, int] = {}
    for item in items:
        states[item.state] = states.get(item.state, 0) + 1
    return Totals(
        items=len(counted),
        without_estimate=len(counted) - len(live),
        labour_low_h=sum(one.labour_low_h for one in live),
        labour_likely_h=sum(one.labour_likely_h for one in live),
        labour_high_h=sum(one.labour_high_h for one in live),
        labour_p80_h=ranged.hours.within(0.8) if ranged else None if live else 0.0,
        money_low=sum((one.money_low for one in live), NOTHING),
        money_likely=sum((one.money_likely for one in live), NOTHING),
        money_high=sum((one.money_high for one in live), NOTHING),
        money_p80=ranged.money_p80 if ranged else None if live else NOTHING,
        approved=approved,
        spent=sum((spent.get(item.pk, NOTHING) for item in items), NOTHING),
        by_category=heads,
        by_state=states,
        ranged_how=ranged_how,
    )


def lacking_words(item: Item, consents: Iterable[Consent], on: date) -> list[str]:
    """Consents that a job on site goes on without, each in words."""
    if item.state != ItemState.ON_SITE:
        return []
    return [words for one in consents if (words := one.missing_on(on))]


@dataclass(frozen=True)
class ItemSheet:
    """An item as the programme shows it."""

    item: Item
    estimate: Estimate | None
    is_stale: bool
    starts: date | None
    ends: date | None
    dates_from: str
    lacking: list[str] = field(default_factory=list)
    hours_logged: Decimal | None = None


@dataclass(frozen=True)
class PhaseSheet:
    phase: Phase
    items: list[ItemSheet]
    totals: Totals


@dataclass(frozen=True)
class ProjectSheet:
    project: Project
    phases: list[PhaseSheet]
    totals: Totals


@dataclass(frozen=True)
class ProgrammeSheet:
    programme: Programme
    projects: list[ProjectSheet]
    totals: Totals

    @property
    def items(self) -> list[ItemSheet]:
        return [
            item for project in self.projects for phase in project.phases for item in phase.items
        ]


def dates_of_item(item: Item, planned: Any = None) -> tuple[date | None, date | None, str]:
    """From what happened, else from the live plan, else from what was asked for.

    ``planned`` is its row of the live plan, where it was not read together with the item.
    """
    planned = planned or next(iter(getattr(item, "live_planned", ())), None)
    planned_end = planned.finish if planned else None
    if item.finished_on:
        return item.started_on, item.finished_on, "done"
    if item.started_on:
        return item.started_on, planned_end, "started"
    if planned and planned.start:
        return planned.start, planned_end, "planned"
    return item.not_before, None, "not before" if item.not_before else ""


def with_plan(items: QuerySet[Item]) -> QuerySet[Item]:
    """The items with their dates in the live plan, for ``dates_of_item``. One query more."""
    # By its reverse name, since the plan's own floor lies above this one.
    planned: Any = Item._meta.get_field("planned").related_model
    return items.prefetch_related(
        Prefetch(
            "planned",
            queryset=planned._default_manager.filter(plan__is_live=True),
            to_attr="live_planned",
        )
    )


def dates_of_items(programme: Programme) -> dict[int, tuple[date | None, date | None, str]]:
    """First and last day of every item by its key, and where they are from: done, started,
    planned, not before, or "" where nothing is known. Two queries.
    """
    items = with_plan(Item.objects.filter(phase__project__programme=programme))
    return {item.pk: dates_of_item(item) for item in items}


def _ranges_and_heads(
    club: Club, placed: Sequence[Placed]
) -> tuple[Ranges | None, dict[int, dict[str, Decimal]]]:
    """Ranges of these items, and the likely money of each estimate by category. Two queries.

    Where the ranges have to be drawn, the lines that this takes tell the money as well.
    """
    heads: dict[int, dict[str, Decimal]] = defaultdict(dict)
    if not placed:
        return None, heads
    sways = Sways.of(swaying_of(placed[0].estimate))
    ranges = known_ranges(club, placed, sways)
    if ranges is None:
        lines = lines_of(placed)
        for line in (line for some in lines.values() for line in some):
            sums = heads[line.estimate_id]
            sums[line.category] = sums.get(line.category, NOTHING) + line.amount_likely
        return draw_at_once(placed, lines, sways), heads
    for estimate_id, category, amount in (
        EstimateLine.objects.filter(estimate__in=[one.estimate.pk for one in placed])
        .order_by()
        .values("estimate_id", "category")
        .annotate(amount=Sum("amount_likely"))
        .values_list("estimate_id", "category", "amount")
    ):
        heads[estimate_id][category] = amount
    return ranges, heads


def programme_sheet(
    programme: Programme, *, projects: Iterable[Project] | None = None
) -> ProgrammeSheet:
    """The whole programme with totals at every step. Eleven queries at most, however large it is."""
    chosen = projects if projects is not None else Project.objects.filter(programme=programme)
    listed = list(chosen)
    phases = list(Phase.objects.filter(project__in=listed).order_by("order", "id"))
    out = (
        Spend.objects.filter(item=OuterRef("pk"))
        .order_by()
        .values("item")
        .annotate(amount=Sum("amount"))
        .values("amount")
    )
    items = list(
        with_plan(
            Item.objects.filter(phase__in=phases)
            .order_by("order", "id")
            .annotate(spent=Subquery(out))
            .prefetch_related("holes")
        )
    )
    keys = [item.pk for item in items]
    estimates = {
        one.item_id: one
        for one in Estimate.objects.filter(item__in=keys, is_live=True)
        .defer("working", "measured")
        .annotate(**swaying_beside())
    }
    spent: dict[int, Decimal] = {
        item.pk: amount for item in items if (amount := getattr(item, "spent", None)) is not None
    }
    stale = stale_items(items, estimates)
    consents: dict[int, list[Consent]] = defaultdict(list)
    for consent in Consent.objects.filter(item__in=keys, item__state=ItemState.ON_SITE):
        consents[consent.item_id].append(consent)
    today = programme.club.today()

    projects_of = {project.pk: project for project in listed}
    phases_of = {phase.pk: phase for phase in phases}
    placed = [
        Placed.on(
            item,
            estimates[item.pk],
            phase := phases_of[item.phase_id],
            projects_of[phase.project_id],
            dates_of_item(item)[:2],
            programme.club.year_start_month,
        )
        for item in items
        if item.pk in estimates and item.state != ItemState.SHELVED
    ]
    ranges, heads = _ranges_and_heads(programme.club, placed)

    def total(of: Sequence[Item], approved: Decimal, level: str, key: str = "") -> Totals:
        return _add_up(
            of,
            estimates,
            approved=approved,
            spent=spent,
            by_category=heads,
            ranged=ranges.of(level, key) if ranges else None,
            ranged_how=ranges.sways.words if ranges else "",
        )

    of_phase: dict[int, list[Item]] = defaultdict(list)
    for item in items:
        of_phase[item.phase_id].append(item)
    of_project: dict[int, list[Phase]] = defaultdict(list)
    for phase in phases:
        of_project[phase.project_id].append(phase)
    sheets = []
    for project in listed:
        own = of_project[project.pk]
        sheets.append(
            ProjectSheet(
                project=project,
                phases=[
                    PhaseSheet(
                        phase=phase,
                        items=[
                            ItemSheet(
                                item,
                                estimates.get(item.pk),
                                item.pk in stale,
                                *dates_of_item(item),
                                lacking_words(item, consents[item.pk], today),
                            )
                            for item in of_phase[phase.pk]
                        ],
                        totals=total(
                            of_phase[phase.pk], NOTHING, RangeRow.Level.PHASE, str(phase.uuid)
                        ),
                    )
                    for phase in own
                ],
                totals=total(
                    [item for phase in own for item in of_phase[phase.pk]],
                    project.approved,
                    RangeRow.Level.PROJECT,
                    str(project.uuid),
                ),
            )
        )
    approved = sum((project.approved for project in listed), NOTHING)
    whole = total(items, approved, RangeRow.Level.PROGRAMME)
    return ProgrammeSheet(programme, sheets, whole)


def placed_items(programme: Programme) -> list[Placed]:
    """What a simulation of the programme draws: items with an estimate, shelved ones left out.

    Five queries at most.
    """
    dates = dates_of_items(programme)
    estimates = live_estimates(programme)
    items = (
        Item.objects.filter(phase__project__programme=programme)
        .exclude(state=ItemState.SHELVED)
        .select_related("phase__project")
    )
    return [
        Placed.on(
            item,
            estimates[item.pk],
            item.phase,
            item.phase.project,
            dates[item.pk][:2],
            programme.club.year_start_month,
        )
        for item in items
        if item.pk in estimates
    ]


def programme_totals(programme: Programme) -> Totals:
    """Hours, money, approved and spent over the whole programme, from the live estimates."""
    return programme_sheet(programme).totals


def live_estimates(programme: Programme) -> dict[int, Estimate]:
    """The live estimate of every item of the programme by the item's key. One query."""
    return {
        one.item_id: one
        for one in Estimate.objects.filter(
            item__phase__project__programme=programme, is_live=True
        ).defer("working", "measured")
    }


def items_on_feature(feature: Feature) -> list[tuple[Item, Estimate | None]]:
    """The works that touch a feature, newest programme first, each with its live estimate."""
    items = list(
        feature.items.select_related("phase__project__programme").order_by(
            "-phase__project__programme__is_live", "phase__project__priority", "order", "id"
        )
    )
    live = {
        one.item_id: one
        for one in Estimate.objects.filter(item__in=items, is_live=True).defer(
            "working", "measured"
        )
    }
    return [(item, live.get(item.pk)) for item in items]
