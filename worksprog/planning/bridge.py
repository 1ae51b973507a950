"""A programme's rows as jobs, links, windows and crew hours; the plan's dates back as rows."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import networkx as nx
from django.db.models import OuterRef, Subquery

from worksprog.calc import workdays
from worksprog.calc.critical_path import (
    DatedActivity,
    DatedPath,
    Key,
    Link,
    LinkKind,
    dated_path,
)
from worksprog.calc.fit import Fitted, Job, Placed, fit, network_priority
from worksprog.clubs.models import Club
from worksprog.planning.models import (
    Closure,
    CrewWeek,
    ItemPlanning,
    PlannedItem,
    PlanRules,
    WorkWindow,
)
from worksprog.planning.remaining import share_done
from worksprog.works.models import Estimate, Item, ItemState, Programme, WorkKind
from worksprog.works.models import Link as DrawnLink
from worksprog.works.queries import factor_in_use, forecast_factor

DRAIN_KINDS = frozenset(
    {
        WorkKind.CARRIER_PIPE,
        WorkKind.DITCH_DUG,
        WorkKind.DITCH_REGRADED,
        WorkKind.LATERALS,
        WorkKind.HEADWALL,
        WorkKind.OUTFALL,
        WorkKind.CHAMBER,
        WorkKind.CULVERT,
    }
)
WORKED = frozenset({ItemState.DONE, ItemState.GROWING_IN})
DAYS_PAST_THE_END = 370


@dataclass(frozen=True)
class ClubYear:
    """A club's windows, crew hours and closures as calc takes them."""

    windows: dict[str, list[workdays.Window]]
    crew: dict[int, workdays.CrewWeek]
    closures: list[tuple[dt.date, dt.date, str]]
    gang: int
    week_days: frozenset[int]
    day_h: float

    def calendar(self, first: dt.date, last: dt.date) -> workdays.Calendar:
        holidays = {
            begin + dt.timedelta(days=n): name
            for begin, end, name in self.closures
            for n in range((end - begin).days + 1)
        }
        return workdays.Calendar.around(first, last, week_days=self.week_days, holidays=holidays)


@dataclass(frozen=True)
class ItemFacts:
    """One item as the plan needs it. ``labour_h`` is the whole estimate, ``left_h`` what remains."""

    item: Item
    labour_h: float | None
    left_h: float
    gang: int
    least_days: int
    may_spread: bool
    consents: tuple[str, ...] = ()

    @property
    def is_worked(self) -> bool:
        return self.item.state in WORKED


@dataclass(frozen=True)
class Facts:
    """Everything a plan is made from, read at one time."""

    programme: Programme
    today: dt.date
    year: ClubYear
    items: list[ItemFacts]
    links: list[Link]
    implied: list[tuple[int, int]]


@dataclass
class Dated:
    """What the plan says of one item."""

    item: Item
    labour_h: float
    earliest_start: dt.date | None = None
    earliest_finish: dt.date | None = None
    float_days: int | None = None
    is_critical: bool = False
    start: dt.date | None = None
    finish: dt.date | None = None
    in_play_on: dt.date | None = None
    hours_by_week: dict[str, float] = field(default_factory=dict)
    waits_for: str = ""
    not_placed: str = ""
    caution: str = ""


@dataclass(frozen=True)
class Proposal:
    dated: list[Dated]
    weeks: list[dict[str, Any]]
    notes: list[str]


def read_club_year(club: Club) -> ClubYear:
    """Four queries."""
    windows: dict[str, list[workdays.Window]] = {}
    for row in WorkWindow.objects.filter(club=club):
        windows.setdefault(row.kind, []).append(window_of(row))
    crew = {
        row.week: workdays.CrewWeek(row.week, row.crew_h, row.routine_h, row.note)
        for row in CrewWeek.objects.filter(club=club)
    }
    closures = [(row.from_date, row.to_date, row.name) for row in Closure.objects.filter(club=club)]
    rules = PlanRules.objects.filter(club=club).first() or PlanRules(club=club)
    week_days = {0, 1, 2, 3, 4}
    if rules.works_saturday:
        week_days.add(5)
    if rules.works_sunday:
        week_days.add(6)
    return ClubYear(
        windows, crew, closures, rules.gang, frozenset(week_days), float(club.working_day_h)
    )


def window_of(row: WorkWindow) -> workdays.Window:
    return workdays.Window(
        row.kind,
        workdays.MonthDay(row.from_month, row.from_day),
        workdays.MonthDay(row.to_month, row.to_day),
        row.reason,
        row.is_firm,
    )


def read_facts(programme: Programme, today: dt.date) -> Facts:
    """Read a programme; the number of queries does not grow with it."""
    from worksprog.drainage.queries import implied_order

    year = read_club_year(programme.club)
    live = Estimate.objects.filter(item=OuterRef("pk"), is_live=True)
    rows = list(
        Item.objects.filter(phase__project__programme=programme)
        .exclude(state=ItemState.SHELVED)
        .annotate(
            live_labour_h=Subquery(live.values("labour_likely_h")),
            live_quantity=Subquery(live.values("quantity")),
            live_learnt=Subquery(live.values("learnt")),
            learnt_factor=factor_in_use(),
        )
        .select_related("phase__project", "planning")
        .prefetch_related("features", "consents")
    )
    done = share_done(programme, today, [(row, row.live_quantity or 0.0) for row in rows])
    items = [
        _item_facts(
            row,
            row.live_labour_h,
            done.get(row.pk, 0.0),
            year,
            forecast_factor(row.live_learnt, row.learnt_factor),
        )
        for row in rows
    ]
    keys = {row.pk for row in rows}
    links = [
        Link(row.first_id, row.then_id, LinkKind(row.type), row.lag_days)
        for row in DrawnLink.objects.filter(first__in=keys, then__in=keys).order_by("id")
    ]
    pairs = [(str(below), str(above)) for below, above in implied_order(programme.club)]
    return Facts(programme, today, year, items, links, implied_between(rows, pairs))


def _item_facts(
    row: Item, hours: float | None, done: float, year: ClubYear, factor: float
) -> ItemFacts:
    """``factor``: what the crew's learnt rate makes of the estimate's hours still to come."""
    told: ItemPlanning | None = getattr(row, "planning", None)
    left = (hours or 0.0) * factor * (1 - min(max(done, 0.0), 1.0))
    gang = told.gang if told and told.gang else year.gang
    least_days = told.least_days if told and told.least_days else 0
    if row.by_contractor:
        # A contractor's hours are not the crew's: they only say how long it takes.
        if not least_days and hours:
            least_days = math.ceil(hours / (gang * year.day_h))
        left = 0.0
    return ItemFacts(
        item=row,
        labour_h=hours,
        left_h=left,
        gang=gang,
        least_days=least_days,
        # A job begun late in its window goes on when the window opens again.
        may_spread=row.state == ItemState.ON_SITE or bool(told and told.may_spread),
        consents=tuple(one.name for one in row.consents.all() if one.granted_on is None),
    )


def implied_between(
    items: Iterable[Item], pairs: Iterable[tuple[str, str]]
) -> list[tuple[int, int]]:
    """Items below and above, from features below and above.

    A reach on which nothing is done passes the order on to the next one above it.
    """
    on_feature: dict[str, list[int]] = {}
    for item in items:
        if item.kind in DRAIN_KINDS:
            for feature in item.features.all():
                on_feature.setdefault(str(feature.uuid), []).append(item.pk)
    upstream: dict[str, list[str]] = {}
    for below, above in pairs:
        upstream.setdefault(below, []).append(above)
    found: dict[tuple[int, int], None] = {}
    for reach, lower in on_feature.items():
        seen = {reach}
        ahead = list(upstream.get(reach, ()))
        while ahead:
            above = ahead.pop(0)
            if above in seen:
                continue
            seen.add(above)
            higher = on_feature.get(above, [])
            found.update({(a, b): None for a in lower for b in higher if a != b})
            if not higher:
                ahead += upstream.get(above, ())
    return list(found)


def propose(facts: Facts, hours: Mapping[int, float] | None = None) -> Proposal:
    """A plan from the facts; nothing is read or written.

    hours   other hours still to be worked, by item key, to see what would move
    """
    changed = hours or {}
    names = {one.item.pk: one.item.name for one in facts.items}
    links, notes = _links(facts, names)
    first = facts.today
    last = max(facts.programme.ends_on, first) + dt.timedelta(days=DAYS_PAST_THE_END)
    calendar = facts.year.calendar(first, last)
    crew = workdays.crew_hours(calendar, facts.year.crew)
    if not facts.year.crew:
        notes.append("No crew hours are entered, so no job that needs the crew can be placed.")
    kinds = {one.item.kind for one in facts.items}
    masks = {kind: calendar.window_days(facts.year.windows.get(kind, [])) for kind in kinds}
    kind_names = {one.item.kind: one.item.get_kind_display() for one in facts.items}

    ordered = _in_order(facts)
    jobs = [
        _job(one, changed.get(one.item.pk, one.left_h), rank, calendar, facts)
        for rank, one in enumerate(ordered)
    ]
    day_hours = crew.left_day_h.copy()
    day_hours[: calendar.index(facts.today)] = 0.0
    fitted = fit(
        jobs,
        links,
        calendar=calendar,
        day_hours=day_hours,
        open_days=masks,
        kind_names=kind_names,
    )
    refused = {one.key: one.reason for one in fitted.not_placed}
    path = _earliest(jobs, links, fitted, calendar, masks)
    dated = [
        _dated(
            one,
            job,
            fitted.placed.get(job.key),
            path,
            refused.get(job.key, ""),
            calendar,
            facts,
        )
        for one, job in zip(ordered, jobs, strict=True)
    ]
    return Proposal(dated=dated, weeks=_weeks(dated, calendar, crew, facts), notes=notes)


def _in_order(facts: Facts) -> list[ItemFacts]:
    """Work on site first; then by project, from the outfall up, by phase and item."""
    depth = network_priority([one.item.pk for one in facts.items], facts.implied)

    def place(one: ItemFacts) -> tuple[Any, ...]:
        project = one.item.phase.project
        return (
            one.item.state != ItemState.ON_SITE,
            project.priority,
            project.code,
            depth[one.item.pk],
            one.item.phase.order,
            one.item.order,
            one.item.pk,
        )

    return sorted(facts.items, key=place)


def _links(facts: Facts, names: Mapping[int, str]) -> tuple[list[Link], list[str]]:
    """Drawn links and those the network implies, without the implied ones that make a ring.

    A start that has been made is a fact: nothing waits to let it happen.
    """
    begun = {one.item.pk for one in facts.items if one.item.state == ItemState.ON_SITE}
    drawn = [
        link
        for link in facts.links
        if link.after not in begun or link.kind in (LinkKind.FINISH_FINISH, LinkKind.START_FINISH)
    ]
    between = {(link.before, link.after) for link in facts.links}
    wanted = [pair for pair in facts.implied if pair not in between and pair[1] not in begun]
    graph: nx.DiGraph[Key] = nx.DiGraph()
    graph.add_edges_from((link.before, link.after) for link in drawn)
    graph.add_edges_from(wanted)
    ring_of = {
        key: number
        for number, group in enumerate(nx.strongly_connected_components(graph))
        if len(group) > 1
        for key in group
    }
    kept, notes = [], []
    for below, above in wanted:
        if below in ring_of and ring_of.get(below) == ring_of.get(above):
            notes.append(
                f"Outfall first is not kept between {names[below]} and {names[above]}: another "
                "order between them was drawn, or one job lies on both sides of the other."
            )
        else:
            kept.append(Link(below, above))
    return [*drawn, *kept], notes


def _job(
    one: ItemFacts, left_h: float, rank: int, calendar: workdays.Calendar, facts: Facts
) -> Job:
    item = one.item
    earliest = max(
        day for day in (facts.today, facts.programme.starts_on, item.not_before) if day is not None
    )
    if item.state == ItemState.ON_SITE:
        earliest = facts.today
    finished = None
    if one.is_worked:
        finish = item.finished_on or facts.today
        start = min(item.started_on or finish, finish)
        finished = (calendar.index(start), calendar.index(finish) + 1)
    blocked = ""
    if left_h <= 0 and not one.least_days and finished is None:
        blocked = _nothing_to_plan(one)
    return Job(
        key=item.pk,
        name=item.name,
        labour_h=left_h,
        least_days=one.least_days,
        kind=item.kind,
        priority=rank,
        earliest=calendar.index(earliest),
        gang_day_h=one.gang * facts.year.day_h,
        week_share=float(item.max_share),
        may_spread=one.may_spread,
        growing_in_d=7 * item.growing_in_weeks,
        finished=finished,
        blocked=blocked,
    )


def _nothing_to_plan(one: ItemFacts) -> str:
    if one.item.by_contractor:
        return "the contractor's days are not entered yet"
    if one.labour_h:
        return ""
    return "no hours are estimated yet"


def _earliest(
    jobs: Sequence[Job],
    links: Sequence[Link],
    fitted: Fitted,
    calendar: workdays.Calendar,
    masks: Mapping[str, workdays.Mask],
) -> DatedPath:
    """Dates with as many gangs as wanted. Rings and items without hours are left out."""
    inside = [job for job in jobs if job.finished or not (job.blocked or job.key in fitted.rings)]
    keys = {job.key for job in inside}
    activities = [
        DatedActivity(
            key=job.key,
            days=max(job.least_days, math.ceil(job.labour_h / job.gang_day_h - 1e-9)),
            open_days=masks[job.kind] & calendar.workdays,
            earliest=job.earliest,
            name=job.name,
            finished=job.finished,
        )
        for job in inside
    ]
    return dated_path(
        activities, [link for link in links if link.before in keys and link.after in keys]
    )


def _dated(
    one: ItemFacts,
    job: Job,
    placed: Placed | None,
    path: DatedPath,
    refusal: str,
    calendar: workdays.Calendar,
    facts: Facts,
) -> Dated:
    item = one.item
    dated = Dated(item=item, labour_h=0.0 if one.is_worked else job.labour_h, not_placed=refusal)
    if (times := path.times.get(item.pk)) is not None:
        dated.earliest_start = calendar.date(times.early_start)
        dated.earliest_finish = _last_day(calendar, times.early_start, times.early_finish)
        dated.float_days = None if one.is_worked else times.total_float
        dated.is_critical = item.pk in path.critical
    cautions: list[str] = []
    if placed is not None:
        dated.start = calendar.date(placed.start)
        if item.state == ItemState.ON_SITE and item.started_on:
            dated.start = min(item.started_on, dated.start)
        dated.finish = _last_day(calendar, placed.start, placed.finish)
        dated.in_play_on = calendar.date(placed.in_play)
        dated.hours_by_week = {
            calendar.monday(week).isoformat(): round(hours, 2)
            for week, hours in placed.hours.items()
        }
        dated.waits_for = placed.wait.words[:200] if placed.wait else ""
        if not one.is_worked:
            cautions = _cautions(one, dated, facts)
    dated.caution = " ".join(cautions)[:500]
    return dated


def _last_day(calendar: workdays.Calendar, start: int, finish: int) -> dt.date:
    return calendar.date(max(finish - 1, start))


def _cautions(one: ItemFacts, dated: Dated, facts: Facts) -> list[str]:
    assert dated.start and dated.finish
    windows = facts.year.windows.get(one.item.kind, [])
    begins = max(dated.start, facts.today)
    cautions = [
        f"Outside {window}: {window.reason}"
        for window in workdays.outside_advisory(windows, begins, dated.finish)
    ]
    if dated.finish > facts.programme.ends_on:
        cautions.append("It finishes after the programme ends.")
    cautions += [f"Not granted yet: {name}." for name in one.consents]
    return cautions


def _weeks(
    dated: Sequence[Dated],
    calendar: workdays.Calendar,
    crew: workdays.CrewHours,
    facts: Facts,
) -> list[dict[str, Any]]:
    planned: dict[str, float] = {}
    for one in dated:
        for monday, hours in one.hours_by_week.items():
            planned[monday] = planned.get(monday, 0.0) + hours
    last = max([*planned, facts.programme.ends_on.isoformat()])
    rows = []
    for week in range(calendar.weeks):
        monday = calendar.monday(week).isoformat()
        if monday > last:
            break
        rows.append(
            {
                "week": monday,
                "crew_h": round(float(crew.crew_h[week]), 1),
                "routine_h": round(float(crew.routine_h[week]), 1),
                "left_h": round(float(crew.left_h[week]), 1),
                "planned_h": round(planned.get(monday, 0.0), 1),
            }
        )
    return rows


def row_of(dated: Dated, **more: Any) -> PlannedItem:
    return PlannedItem(
        item=dated.item,
        club_id=dated.item.club_id,
        labour_h=dated.labour_h,
        earliest_start=dated.earliest_start,
        earliest_finish=dated.earliest_finish,
        float_days=dated.float_days,
        is_critical=dated.is_critical,
        start=dated.start,
        finish=dated.finish,
        in_play_on=dated.in_play_on,
        hours_by_week=dated.hours_by_week,
        waits_for=dated.waits_for,
        not_placed=dated.not_placed[:300],
        caution=dated.caution,
        **more,
    )
