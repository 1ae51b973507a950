"""The live plan against the published points and practices of ``calc.schedule_health``."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from django.db.models import OuterRef, Subquery

from worksprog.calc import critical_path, workdays
from worksprog.calc.schedule_health import (
    Check,
    Job,
    Kept,
    Practice,
    fourteen_points,
    ten_practices,
)
from worksprog.planning import bridge
from worksprog.planning.models import Closure, Plan, PlannedItem, PlanRules, RiskRun
from worksprog.works.models import Estimate, Item, ItemState, Link, Programme

DAY = dt.timedelta(days=1)


@dataclass(frozen=True)
class Health:
    """The live plan's points and practices."""

    plan: Plan
    points: list[Check]
    practices: list[Practice]


def plan_health(programme: Programme, today: dt.date, *, long_days: int) -> Health | None:
    """None where no plan is live. The number of queries does not grow with the programme."""
    runs = RiskRun.objects.filter(plan=OuterRef("pk"))
    plan = (
        Plan.objects.filter(programme=programme, is_live=True)
        .annotate(
            futures=Subquery(runs.values("futures")[:1]), seed=Subquery(runs.values("seed")[:1])
        )
        .first()
    )
    if plan is None:
        return None
    items = _items(programme)
    rows = {row.item_id: row for row in PlannedItem.objects.filter(plan=plan)}
    latest = Plan.objects.filter(programme=programme).exclude(baseline_name="")
    baseline = {
        row.item_id: row
        for row in PlannedItem.objects.filter(
            plan=Subquery(latest.order_by("-baseline_kept_at").values("pk")[:1])
        ).select_related("plan")
    }
    links = _links(programme, items)
    ends = [row.finish for row in rows.values() if row.finish]
    last = max([*ends, programme.ends_on, today])
    first = min([today, *(row.start for row in rows.values() if row.start)])
    worked = _workdays(programme, first, last)

    def between(begin: dt.date, end: dt.date) -> int:
        """Working days from ``begin`` to ``end``, both counted."""
        low, high = (begin - first).days, (end - first).days + 1
        return int(worked[max(low, 0) : max(high, 0)].sum())

    jobs = [
        _job(item, rows.get(item.pk), baseline.get(item.pk), between)
        for item in items
        if item.pk in rows or item.state in bridge.WORKED
    ]
    known = {job.key for job in jobs}
    kept_links = [link for link in links if link.before in known and link.after in known]
    finish = max(ends, default=today)
    points = fourteen_points(
        jobs,
        kept_links,
        today=today,
        length_d=between(today, finish),
        end_float_d=between(finish + DAY, programme.ends_on)
        - between(programme.ends_on + DAY, finish),
        long_days=long_days,
    )
    kept = Kept(
        outside_plan=tuple(
            item.name
            for item in items
            if item.state not in bridge.WORKED
            and (item.pk not in rows or rows[item.pk].start is None)
        ),
        over_hours=tuple(_over(plan)),
        broken_links=tuple(_broken(kept_links, rows, {item.pk: item.name for item in items})),
        futures=plan.futures,
        seed=plan.seed,
        age_d=(today - plan.as_of).days,
        baseline=next((row.plan.baseline_name for row in baseline.values()), ""),
    )
    return Health(plan, points, ten_practices(points, kept))


def _items(programme: Programme) -> list[Any]:
    live = Estimate.objects.filter(item=OuterRef("pk"), is_live=True)
    return list(
        Item.objects.filter(phase__project__programme=programme)
        .exclude(state=ItemState.SHELVED)
        .annotate(
            labour_h=Subquery(live.values("labour_likely_h")),
            money=Subquery(live.values("money_likely")),
        )
        .select_related("planning")
        .prefetch_related("features")
        .order_by("phase__project__priority", "phase__order", "order", "pk")
    )


def _links(programme: Programme, items: Sequence[Any]) -> list[critical_path.Link]:
    from worksprog.drainage.queries import implied_order

    keys = {item.pk for item in items}
    drawn = [
        critical_path.Link(
            row.first_id, row.then_id, critical_path.LinkKind(row.type), row.lag_days
        )
        for row in Link.objects.filter(first__phase__project__programme=programme).order_by("id")
        if row.first_id in keys and row.then_id in keys
    ]
    pairs = [(str(below), str(above)) for below, above in implied_order(programme.club)]
    between = {(link.before, link.after) for link in drawn}
    made = list(drawn)
    for below, above in bridge.implied_between(items, pairs):
        if (below, above) in between or (above, below) in between:
            continue
        made.append(critical_path.Link(below, above))
    return made


def _workdays(programme: Programme, first: dt.date, last: dt.date) -> np.ndarray[Any, Any]:
    rules = PlanRules.objects.filter(club=programme.club).first() or PlanRules()
    week = {*range(5), *([5] if rules.works_saturday else []), *([6] if rules.works_sunday else [])}
    holidays = {
        row.from_date + n * DAY: row.name
        for row in Closure.objects.filter(club=programme.club)
        for n in range((row.to_date - row.from_date).days + 1)
    }
    calendar = workdays.Calendar.around(first, last, week_days=week, holidays=holidays)
    return calendar.workdays[calendar.index(first) :]


def _job(
    item: Any,
    row: PlannedItem | None,
    kept: PlannedItem | None,
    between: Callable[[dt.date, dt.date], int],
) -> Job:
    told = getattr(item, "planning", None)
    promised = told.promised_by if told else None
    start, finish = (row.start, row.finish) if row else (None, None)
    slack = row.float_days if row else None
    if promised and finish:
        to_promise = between(finish + DAY, promised) - between(promised + DAY, finish)
        slack = to_promise if slack is None else min(slack, to_promise)
    return Job(
        key=item.pk,
        name=item.name,
        start=start,
        finish=finish,
        days=between(start, finish) if start and finish else None,
        float_d=slack,
        is_done=item.state in bridge.WORKED,
        is_begun=item.state == ItemState.ON_SITE,
        is_critical=bool(row and row.is_critical),
        is_hard=promised is not None,
        has_hours_or_cost=bool(item.labour_h or item.money),
        started_on=item.started_on,
        finished_on=item.finished_on,
        baseline_finish=kept.finish if kept else None,
        has_baseline=kept is not None,
    )


def _over(plan: Plan) -> list[str]:
    return [
        f"week of {dt.date.fromisoformat(week['week']):%-d %b %Y}: {week['planned_h']:,.0f} h of "
        f"{week['left_h']:,.0f} h"
        for week in plan.weeks
        if week["planned_h"] > week["left_h"] + 0.05
    ]


def _broken(
    links: Sequence[critical_path.Link], rows: dict[Any, PlannedItem], names: dict[int, str]
) -> list[str]:
    """Links that the plan's own dates do not keep; a job that is done keeps its dates."""
    wrong = []
    for link in links:
        before, after = rows.get(link.before), rows.get(link.after)
        if not before or not after or not (before.start and before.finish):
            continue
        if not (after.start and after.finish):
            continue
        from_end, to_end = link.kind[0] == "F", link.kind[1] == "F"
        bound = (before.finish + DAY if from_end else before.start) + dt.timedelta(days=link.lag)
        got = after.finish + DAY if to_end else after.start
        if got < bound:
            wrong.append(f"{names[int(str(link.after))]} does not wait for "
                         f"{names[int(str(link.before))]}")  # fmt: skip
    return wrong
