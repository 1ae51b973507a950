"""A plan's rows as the charts of calc."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from worksprog.calc import workdays
from worksprog.calc.charts import (
    Bar,
    Span,
    Spec,
    WeekHours,
    closed_spans,
    crew_hours_chart,
    winters_chart,
)
from worksprog.planning.models import Plan, PlannedItem
from worksprog.works.models import ItemState, Programme

WINTER_STARTS = (9, 1)
LONGEST_NOTE = 44


@dataclass(frozen=True)
class Winter:
    """Twelve months that hold the whole of one winter's works."""

    first: date
    last: date

    @property
    def label(self) -> str:
        return f"winter {self.first:%y}/{self.last:%y}"

    @property
    def key(self) -> str:
        return f"{self.first.year}"


def winters(first: date, last: date) -> list[Winter]:
    """Winters, September to August, that touch the days from ``first`` to ``last``."""
    year = first.year if (first.month, first.day) >= WINTER_STARTS else first.year - 1
    found = []
    while date(year, *WINTER_STARTS) <= last:
        found.append(
            Winter(date(year, *WINTER_STARTS), date(year + 1, *WINTER_STARTS) - timedelta(days=1))
        )
        year += 1
    return found


def days_shown(programme: Programme, rows: Sequence[PlannedItem]) -> Span:
    """From the programme's start, or the first job, to its end, or the last job in play."""
    starts = [row.start for row in rows if row.start]
    ends = [row.in_play_on for row in rows if row.in_play_on]
    first = min([programme.starts_on, *starts]).replace(day=1)
    last = max([programme.ends_on, *ends])
    return first, last


def winters_spec(
    rows: Sequence[PlannedItem],
    *,
    span: Span,
    today: date,
    windows: Mapping[str, Sequence[workdays.Window]],
    baseline: Mapping[int, PlannedItem] | None = None,
) -> Spec:
    """The chart of the winters: a heading for each project, a bar for each of its jobs."""
    first, last = span
    calendar = workdays.Calendar.around(first, last)
    offset = calendar.index(first)
    closed = {
        kind: closed_spans(calendar.window_days(windows.get(kind, ()))[offset:].tolist(), first)
        for kind in {row.item.kind for row in rows}
    }
    bars: list[Bar] = []
    project_id = None
    for row in rows:
        project = row.item.phase.project
        if project.pk != project_id:
            project_id = project.pk
            own = [one for one in rows if one.item.phase.project_id == project_id]
            starts = [one.start for one in own if one.start]
            ends = [one.finish for one in own if one.finish]
            bars.append(
                Bar(
                    str(project),
                    min(starts) if starts else None,
                    max(ends) + timedelta(days=1) if ends else None,
                    heading=True,
                )
            )
        bars.append(_bar(row, closed[row.item.kind], (baseline or {}).get(row.item_id)))
    return winters_chart(bars, first=first, last=last, today=today)


def _bar(row: PlannedItem, closed: Sequence[Span], was: PlannedItem | None) -> Bar:
    is_open = row.item.state in (ItemState.PROPOSED, ItemState.ON_SITE)
    note = row.not_placed or (row.waits_for if is_open else "")
    return Bar(
        label=row.item.name,
        start=row.start,
        finish=row.finish + timedelta(days=1) if row.finish else None,
        in_play=row.in_play_on,
        state=row.item.state,
        closed=closed if is_open else (),
        baseline=(was.start, was.finish + timedelta(days=1))
        if was and was.start and was.finish
        else None,
        note=note if len(note) <= LONGEST_NOTE else f"{note[: LONGEST_NOTE - 1].rstrip()}…",
        critical=row.is_critical,
    )


def within(rows: Sequence[PlannedItem], span: Span) -> list[PlannedItem]:
    """Jobs worked on or growing in during the days shown."""
    first, last = span
    return [
        row
        for row in rows
        if row.start and row.start <= last and (row.in_play_on or row.finish or row.start) >= first
    ]


def hours_spec(plan: Plan, *, span: Span, today: date) -> Spec:
    weeks = [
        WeekHours(
            monday=date.fromisoformat(week["week"]),
            crew_h=week["crew_h"],
            routine_h=week["routine_h"],
            left_h=week["left_h"],
            planned_h=week["planned_h"],
        )
        for week in plan.weeks
        if span[0].isoformat() <= week["week"] <= span[1].isoformat()
    ]
    return crew_hours_chart(weeks, today=today if weeks else None)


def hours_by_month(plan: Plan) -> list[tuple[date, float, float]]:
    """First of the month, hours left for works and hours planned, of the weeks that begin in it."""
    months: dict[date, list[float]] = {}
    for week in plan.weeks:
        month = date.fromisoformat(week["week"]).replace(day=1)
        sums = months.setdefault(month, [0.0, 0.0])
        sums[0] += week["left_h"]
        sums[1] += week["planned_h"]
    return [(month, sums[0], sums[1]) for month, sums in months.items()]
