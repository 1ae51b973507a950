"""The chart's rows, what was done in the period, what comes next."""

from __future__ import annotations

from collections.abc import Container
from datetime import date, timedelta
from typing import Any

from worksprog.clubs.templatetags.figures import day, fig
from worksprog.hours.models import RoutineKind
from worksprog.planning.chart import days_shown
from worksprog.planning.models import PlannedItem
from worksprog.reports.gathering.facts import Facts, Logged
from worksprog.works.models import Item, ItemState

AHEAD = timedelta(weeks=8)
MOST_ROWS = 30
MOST_LISTED = 16
COUNTED_UNITS = frozenset({"no", "stems", "trees"})


def _span(row: PlannedItem | None) -> tuple[date | None, date | None]:
    return (row.start, row.finish) if row else (None, None)


def _drawn(facts: Facts, item: Item) -> tuple[date | None, date | None]:
    """The days a bar covers: what happened where it happened, else the plan's."""
    start, finish = _span(facts.planned.get(item.pk))
    if item.started_on and item.started_on <= facts.to_date:
        start = item.started_on
    if item.finished_on and item.finished_on <= facts.to_date:
        finish = item.finished_on
    if start and finish and finish < start:
        finish = start
    return start, finish


def _iso(when: date | None, *, after: int = 0) -> str | None:
    return (when + timedelta(days=after)).isoformat() if when else None


def _bar(label: str, state: str, start: date | None, finish: date | None) -> dict[str, Any]:
    return {
        "label": label,
        "state": state,
        "start": _iso(start),
        "finish": _iso(finish, after=1),
        "in_play": None,
        "was_start": None,
        "was_finish": None,
        "note": "",
        "heading": False,
    }


def _rows(facts: Facts, chosen: Container[int]) -> list[dict[str, Any]]:
    """A heading for each project that has chosen jobs with dates, and a bar for each of those."""
    rows: list[dict[str, Any]] = []
    for project in facts.projects:
        drawn = [
            (item, start, finish)
            for item in facts.items_of(project)
            if item.pk in chosen and all(_drawn(facts, item))
            for start, finish in [_drawn(facts, item)]
        ]
        starts = [start for _, start, _ in drawn if start]
        finishes = [finish for _, _, finish in drawn if finish]
        if not drawn:
            continue
        head = _bar(str(project), "proposed", min(starts), max(finishes))
        rows.append({**head, "heading": True})
        for item, start, finish in drawn:
            planned = facts.planned.get(item.pk)
            was_start, was_finish = _span(facts.baseline.get(item.pk))
            rows.append(
                _bar(item.name, facts.state(item), start, finish)
                | {
                    "in_play": _iso(planned.in_play_on if planned else None),
                    "was_start": _iso(was_start) if was_finish else None,
                    "was_finish": _iso(was_finish, after=1) if was_start else None,
                }
            )
    return rows


def _by_project(facts: Facts) -> list[dict[str, Any]]:
    rows = []
    for project in facts.projects:
        items = facts.items_of(project)
        spans = [span for item in items if all(span := _drawn(facts, item))]
        if not spans:
            continue
        states = {facts.state(item) for item in items}
        if states <= {"done", "growing_in"}:
            state = "growing_in" if "growing_in" in states else "done"
        else:
            state = "proposed" if states == {"proposed"} else "on_site"
        starts, finishes = zip(*spans, strict=True)
        rows.append(_bar(str(project), state, min(starts), max(finishes)))
    return rows[:MOST_ROWS]


def charts(facts: Facts) -> list[dict[str, Any]]:
    """The whole programme by job; where that is too long for a page, by project, and this winter by job."""
    first, last = days_shown(facts.programme, list(facts.planned.values()))
    first = min([first, *(item.started_on for item in facts.items if item.started_on)])
    last = max(last, first + timedelta(days=60))
    rows = _rows(facts, {item.pk for item in facts.items})
    if not rows:
        return []
    if len(rows) <= MOST_ROWS:
        return [_chart(facts, "Every job of the programme", rows, first, last)]
    found = [_chart(facts, "The whole programme by project", _by_project(facts), first, last)]
    winter = facts.winter
    if winter is not None:
        in_winter = {
            item.pk
            for item in facts.items
            for start, finish in [_drawn(facts, item)]
            if start and finish and start <= winter.last and finish >= winter.first
        }
        jobs = _rows(facts, in_winter)[:MOST_ROWS]
        if jobs:
            until = winter.last + timedelta(days=92)
            found.append(
                _chart(facts, f"{winter.label.capitalize()} by job", jobs, winter.first, until)
            )
    return found


def _chart(
    facts: Facts, heading: str, rows: list[dict[str, Any]], first: date, last: date
) -> dict[str, Any]:
    return {
        "heading": heading,
        "title": f"{heading}: {len(rows)} rows from {day(first)} to {day(last)}",
        "from": first.isoformat(),
        "to": last.isoformat(),
        "on": facts.to_date.isoformat(),
        "rows": rows,
    }


def charts_note(facts: Facts) -> str:
    words = "Pale: built. Solid: on site. Hatched: growing in. Dashed outline: proposed."
    if facts.baseline:
        words += f" Thin line below a bar: the baseline “{facts.baseline_name}”."
    if facts.plan_as_of:
        words += f" Dates by the plan of {day(facts.plan_as_of)}."
    return words


def done_rows(facts: Facts) -> list[dict[str, Any]]:
    """Every job that took hours, gained quantity, was started or was finished in the period."""
    rows = []
    for item in facts.items:
        logged = facts.in_period.get(item.pk)
        began = item.started_on and facts.from_date <= item.started_on <= facts.to_date
        ended = item.finished_on and facts.from_date <= item.finished_on <= facts.to_date
        if not (logged or began or ended):
            continue
        logged = logged or Logged()
        estimate = facts.estimates.get(item.pk)
        unit = estimate.unit if estimate else ""
        quantity = f"{fig(logged.quantity, 0 if unit in COUNTED_UNITS else 1)} {unit}".strip()
        rows.append(
            {
                "name": item.name,
                "project": item.phase.project.code,
                "hours": f"{logged.hours:.1f}",
                "quantity": quantity if logged.quantity else "–",
                "share": f"{fig(facts.share(item) * 100)} %",
                "words": _stands(facts, item),
            }
        )
    return rows


def _stands(facts: Facts, item: Item) -> str:
    state = facts.state(item)
    if state in (ItemState.DONE, ItemState.GROWING_IN):
        words = f"finished {day(item.finished_on)}" if item.finished_on else "finished"
        if state == ItemState.GROWING_IN and item.finished_on:
            until = item.finished_on + timedelta(weeks=item.growing_in_weeks)
            words += f", growing in to {day(until)}"
    elif state == ItemState.ON_SITE:
        words = f"on site since {day(item.started_on)}" if item.started_on else "on site"
    else:
        words = "not started by its dates"
    estimate, logged = facts.estimates.get(item.pk), facts.logged.get(item.pk)
    if estimate and logged and estimate.labour_likely_h and not item.by_contractor:
        share = float(logged.hours) / estimate.labour_likely_h
        words += f"; {fig(logged.hours)} of {fig(estimate.labour_likely_h)} h"
        if share > 1.1:
            words += f", {fig((share - 1) * 100)} % over"
    return words


def done_note(facts: Facts) -> str:
    """Routine work and days stood down, which explain a slow period."""
    names = dict(RoutineKind.choices)
    parts = [f"{names.get(kind, kind)} {fig(hours)} h" for kind, hours in facts.routine.items()]
    words = f"Routine work in the period: {', '.join(parts)}." if parts else ""
    if facts.stood_down_days:
        days = "day" if facts.stood_down_days == 1 else "days"
        words += f" Stood down for wet ground on {facts.stood_down_days} {days}."
    return words.strip()


def coming(facts: Facts) -> list[tuple[Item, PlannedItem]]:
    """Jobs that go on, or start within eight weeks, in the order of their start."""
    rows = [
        (item, planned)
        for item in facts.items
        if facts.state(item) in (ItemState.PROPOSED, ItemState.ON_SITE)
        and (planned := facts.planned.get(item.pk)) is not None
        and planned.start is not None
        and planned.start <= facts.to_date + AHEAD
    ]
    return sorted(rows, key=lambda row: (row[1].start or facts.to_date, row[0].pk))


def next_rows(facts: Facts) -> list[dict[str, Any]]:
    rows = []
    for item, planned in coming(facts)[:MOST_LISTED]:
        estimate = facts.estimates.get(item.pk)
        learnt = facts.progress[item.pk].learnt or 1.0
        hours = (estimate.labour_likely_h if estimate else 0.0) * (1 - facts.share(item)) * learnt
        start = item.started_on if facts.state(item) == ItemState.ON_SITE else planned.start
        rows.append(
            {
                "name": item.name,
                "project": item.phase.project.code,
                "start": _short(start),
                "finish": _short(planned.finish),
                "hours": round(hours, 1),
                "alert": "; ".join(f"On site: {words}" for words in lacking(facts, item)),
                "words": _to_know(facts, item, planned),
            }
        )
    return rows


def next_note(facts: Facts) -> str:
    more = len(coming(facts)) - MOST_LISTED
    words = f"Jobs that go on, or start by {day(facts.to_date + AHEAD)}."
    return f"{words} {more} more are not listed." if more > 0 else words


def _short(when: date | None) -> str:
    return f"{when.day} {when:%b %y}" if when else "–"


def lacking(facts: Facts, item: Item) -> list[str]:
    """Consents that a job on site on the report's last day goes on without, each in words."""
    if facts.state(item) != ItemState.ON_SITE:
        return []
    return [plain(words) for one in item.consents.all() if (words := one.missing_on(facts.to_date))]


def _to_know(facts: Facts, item: Item, planned: PlannedItem) -> str:
    parts = []
    if item.by_contractor:
        parts.append("by contractor")
    if planned.waits_for and facts.state(item) == ItemState.PROPOSED:
        parts.append(plain(planned.waits_for))
    if item.holes_closed:
        numbers = ", ".join(str(hole.number) for hole in item.holes.all())
        if numbers:
            parts.append(f"hole {numbers} out of play")
    if facts.state(item) != ItemState.ON_SITE:
        parts += [
            f"not granted yet: {consent.name}"
            for consent in item.consents.all()
            if consent.granted_on is None or consent.granted_on > facts.to_date
        ]
    text = "; ".join(parts)
    return text[:1].upper() + text[1:] if text else "–"


def plain(words: str) -> str:
    """An arrow in words: the report's faces have none."""
    return words.replace(" → ", " to ")
