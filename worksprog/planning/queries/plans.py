"""Reads that span plans: dates, what moved, slip, and the state of the course on a date."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from worksprog.clubs.models import Change, Club
from worksprog.course.models import State
from worksprog.planning.models import Plan, PlannedItem
from worksprog.works.models import Item, ItemState, Programme, Project


def live_plan(programme: Programme) -> Plan | None:
    return Plan.objects.filter(programme=programme, is_live=True).first()


def planned_programme(club: Club) -> Programme | None:
    """The live programme where it has a live plan. One query."""
    return Programme.objects.filter(club=club, is_live=True, plans__is_live=True).first()


def dates_of_items(programme: Programme) -> dict[int, PlannedItem]:
    """The live plan's dates by item key; empty when no plan is made. One query."""
    rows = PlannedItem.objects.filter(plan__programme=programme, plan__is_live=True)
    return {row.item_id: row for row in rows}


def plan_before(plan: Plan) -> Plan | None:
    """The plan that this one replaced, where it is still kept."""
    return (
        Plan.objects.filter(programme=plan.programme_id, made_at__lt=plan.made_at)
        .defer("weeks", "notes")
        .first()
    )


def latest_baseline(programme: Programme) -> Plan | None:
    return (
        Plan.objects.filter(programme=programme)
        .exclude(baseline_name="")
        .order_by("-baseline_kept_at")
        .defer("weeks", "notes")
        .first()
    )


def planned_items(plan: Plan) -> list[PlannedItem]:
    """A plan's rows in the order of the works, with what a page names. One query."""
    return list(
        PlannedItem.objects.filter(plan=plan)
        .select_related("item__phase__project")
        .order_by(
            "item__phase__project__priority",
            "item__phase__project__code",
            "item__phase__order",
            "item__order",
            "item_id",
        )
    )


@dataclass(frozen=True)
class Move:
    """One item whose dates differ between two plans; days are later when positive."""

    item: Item
    was_start: date | None
    was_finish: date | None
    start: date | None
    finish: date | None
    days: int | None

    @property
    def words(self) -> str:
        if self.finish is None:
            return "can no longer be placed"
        if self.was_finish is None:
            return "has dates now"
        assert self.days is not None
        if self.days == 0:
            return "finishes on the same day"
        count = abs(self.days)
        return f"finishes {count} {'day' if count == 1 else 'days'} {later_words(self.days)}"


def later_words(days: int) -> str:
    return "later" if days > 0 else "earlier"


def moves_between(before: Iterable[PlannedItem], after: Iterable[PlannedItem]) -> list[Move]:
    """Items that are dated otherwise in ``after``, largest move first. Work done does not move."""
    was = {row.item_id: row for row in before}
    moves = []
    for row in after:
        old = was.get(row.item_id)
        was_start = old.start if old else None
        was_finish = old.finish if old else None
        if (was_start, was_finish) == (row.start, row.finish):
            continue
        days = (row.finish - was_finish).days if row.finish and was_finish else None
        moves.append(Move(row.item, was_start, was_finish, row.start, row.finish, days))
    return sorted(
        moves, key=lambda move: (move.finish is not None, -abs(move.days or 0), move.item.pk)
    )


def slips(baseline: Sequence[PlannedItem], live: Iterable[PlannedItem]) -> dict[int, int]:
    """Days by which each item's finish is later than in the baseline, by item key."""
    was = {row.item_id: row.finish for row in baseline if row.finish}
    return {
        row.item_id: (row.finish - was[row.item_id]).days
        for row in live
        if row.finish and row.item_id in was
    }


def feature_states_on(club: Club, on: date) -> dict[str, str]:
    """The state on a date of every feature that the live programmes work on, by feature uuid.

    Where it is being worked on it is on site; worked but not yet played on, growing in; all its
    works over, as built. Before its works it is as it was found: existing, or proposed. A feature
    whose works have no dates keeps the state it has. Two queries.
    """
    through = Item.features.through.objects.filter(
        item__phase__project__programme__club=club, item__phase__project__programme__is_live=True
    ).exclude(item__state=ItemState.SHELVED)
    plan = PlannedItem.objects.filter(
        plan__club=club, plan__is_live=True, plan__programme__is_live=True
    )
    dates = {
        item_id: spans
        for item_id, *spans in plan.values_list("item_id", "start", "finish", "in_play_on")
    }
    works: dict[str, list[tuple[date, date, date]]] = {}
    found: dict[str, str] = {}
    for uuid, state, item_id in through.values_list("feature__uuid", "feature__state", "item_id"):
        start, finish, in_play = dates.get(item_id, (None, None, None))
        if start is None or finish is None:
            continue
        key = str(uuid)
        found[key] = state
        works.setdefault(key, []).append((start, finish, in_play or finish + timedelta(days=1)))
    return {key: _state_on(on, found[key], spans) for key, spans in works.items()}


def _state_on(on: date, state: str, spans: Sequence[tuple[date, date, date]]) -> str:
    if state == State.REMOVED:
        return State.REMOVED.value
    if any(start <= on <= finish for start, finish, _ in spans):
        return State.ON_SITE.value
    begun = [(finish, in_play) for start, finish, in_play in spans if start <= on]
    if not begun:
        return State.EXISTING.value if state == State.EXISTING else State.PROPOSED.value
    if any(on < in_play for _, in_play in begun):
        return State.GROWING_IN.value
    if len(begun) < len(spans):
        return State.EXISTING.value if state == State.EXISTING else State.PROPOSED.value
    return State.AS_BUILT.value


@dataclass(frozen=True)
class RowSheet:
    """One planned item as the page shows it; ``slip`` is against the baseline, in days."""

    planned: PlannedItem
    slip: int | None

    @property
    def slip_words(self) -> str:
        if self.slip is None:
            return ""
        if self.slip == 0:
            return "on its day"
        count = abs(self.slip)
        return f"{count} {'day' if count == 1 else 'days'} {later_words(self.slip)}"


@dataclass(frozen=True)
class ProjectRows:
    project: Project
    rows: list[RowSheet]


@dataclass(frozen=True)
class PlanSheet:
    """A live plan with what it is measured against."""

    plan: Plan
    rows: list[PlannedItem]
    projects: list[ProjectRows]
    not_placed: list[PlannedItem]
    baseline: Plan | None
    baseline_rows: dict[int, PlannedItem]
    before: Plan | None
    moves: list[Move]
    is_stale: bool
    finish: date | None
    in_play_on: date | None
    planned_h: float
    left_h: float

    @property
    def within_percent(self) -> float:
        """How far the points lie above the fewest there can be."""
        if not self.plan.bound or self.plan.goal is None:
            return 0.0
        return float(100 * (self.plan.goal - self.plan.bound) / self.plan.bound)

    @property
    def reckoning(self) -> list[dict[str, Any]]:
        return [part | {"points": part["amount"] * part["weight"]} for part in self.plan.reckoning]

    @property
    def placed(self) -> int:
        return len(self.rows) - len(self.not_placed)


# A change of any of these after a plan was made may move its dates.
MOVES_DATES = (
    "estimate",
    "item",
    "itemplanning",
    "link",
    "project",
    "programme",
    "workwindow",
    "crewweek",
    "crewmember",
    "absence",
    "closure",
    "planrules",
    "givenup",
    "fixture",
    "playrules",
    "moneyrelease",
)


def plan_sheet(plan: Plan) -> PlanSheet:
    """Everything the plan page shows. At most six queries, however many items."""
    rows = planned_items(plan)
    baseline, before = latest_baseline(plan.programme), plan_before(plan)
    others = [other.pk for other in (baseline, before) if other is not None and other != plan]
    other_rows: dict[int, list[PlannedItem]] = {plan.pk: rows}
    for row in PlannedItem.objects.filter(plan__in=others).defer("hours_by_week"):
        other_rows.setdefault(row.plan_id, []).append(row)
    against = other_rows.get(baseline.pk, []) if baseline else []
    slip = slips(against, rows)
    projects: list[ProjectRows] = []
    for row in rows:
        project = row.item.phase.project
        if not projects or projects[-1].project.pk != project.pk:
            projects.append(ProjectRows(project, []))
        projects[-1].rows.append(RowSheet(row, slip.get(row.item_id)))
    return PlanSheet(
        plan=plan,
        rows=rows,
        projects=projects,
        not_placed=[row for row in rows if row.not_placed],
        baseline=baseline,
        baseline_rows={row.item_id: row for row in against},
        before=before,
        moves=moves_between(other_rows.get(before.pk, []), rows) if before else [],
        is_stale=Change.objects.filter(
            club=plan.club_id, at__gt=plan.made_at, kind__in=MOVES_DATES
        ).exists(),
        finish=max((row.finish for row in rows if row.finish), default=None),
        in_play_on=max((row.in_play_on for row in rows if row.in_play_on), default=None),
        planned_h=sum(week["planned_h"] for week in plan.weeks),
        left_h=sum(week["left_h"] for week in plan.weeks),
    )
