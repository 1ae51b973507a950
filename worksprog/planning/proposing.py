"""A plan from a programme's facts: assembled, searched, and told in dates and words."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from worksprog.calc import critical_path, workdays
from worksprog.calc.solver import Found, Placed, Problem, Schedule, Solved, search, solve
from worksprog.calc.solver.solve import least_goal
from worksprog.planning.assembly import CREW, Assembled, assemble
from worksprog.planning.assembly.conflicts import Conflict, conflicts_of
from worksprog.planning.assembly.goals import Counted
from worksprog.planning.assembly.reasons import Reasons
from worksprog.planning.assembly.tasks import TENTHS, done_days
from worksprog.planning.bridge import Dated, Facts, ItemFacts
from worksprog.works.models import ItemState

QUICK_MANY = 40
QUICK_GENERATIONS = 30
WORTH_MOVING = 0.005  # a plan must be better by so much of its points to move what is planned


@dataclass(frozen=True)
class Proposal:
    """A plan not yet kept. It is found by "today" where nothing was enough better to move it."""

    dated: list[Dated]
    weeks: list[dict[str, Any]]
    notes: list[str]
    solved: Solved
    counted: list[Counted]
    conflicts: list[Conflict]
    assembled: Assembled


def propose(facts: Facts, hours: Mapping[int, float] | None = None) -> Proposal:
    """A quick plan from the facts, the same each time; nothing is read or written.

    Today's plan is kept as far as it still can be, unless another is clearly better.

    hours  other hours still to be worked, by item key, to see what would move
    """
    assembled = assemble(facts, hours=hours)
    problem = assembled.problem
    hint = hint_of(assembled)
    if not problem.tasks:
        return told(assembled, Solved(Schedule({}), 0.0, 0.0, True, "search", 0))
    found = search(problem, seconds=math.inf, many=QUICK_MANY, generations=QUICK_GENERATIONS,
                   hint=hint)  # fmt: skip
    by = "search"
    if hint is not None:
        old = search(problem, seconds=math.inf, many=1, islands=1, generations=0, hint=hint)
        if old.goal <= found.goal * (1 + WORTH_MOVING):
            found, by = old, "today"
    bound = least_goal(problem)
    solved = Solved(
        found.schedule, found.goal, min(bound, found.goal), found.goal <= bound + 1e-6, by,
        found.looked_at,
    )  # fmt: skip
    return told(assembled, solved)


def propose_at_length(
    facts: Facts,
    *,
    seconds: float,
    stop: Callable[[], bool] = lambda: False,
    better: Callable[[float, float, str], None] = lambda goal, bound, by: None,
) -> Proposal:
    """The best plan found in so many seconds, from today's plan on; nothing is read or written.

    ``better`` is told the points of each better plan, the fewest there can be, and what found it.
    """
    assembled = assemble(facts)
    problem, hint = assembled.problem, hint_of(assembled)
    quick = search(problem, seconds=seconds, many=QUICK_MANY, generations=QUICK_GENERATIONS,
                   hint=hint, stop=stop)  # fmt: skip
    better(quick.goal, least_goal(problem), "search")
    solved = solve(
        problem,
        seconds=seconds,
        hint=quick,
        stop=stop,
        better=lambda schedule, goal, bound, by: better(goal, bound, by),
    )
    if solved.goal > quick.goal:
        solved = replace(solved, schedule=quick.schedule, goal=quick.goal, by="search")
    return told(assembled, solved)


def hint_of(plan: Assembled) -> Found | None:
    """Today's plan as the solver begins from it; None where none is left of it."""
    rows = {one.item.pk: one.was for one in plan.facts.items if one.was}
    tasks = plan.problem.tasks
    if not any(task.key in rows for task in tasks):
        return None
    start = np.full(len(tasks), -1, dtype=np.int32)
    way = np.zeros(len(tasks), dtype=np.int32)
    for place, task in enumerate(tasks):
        row = rows.get(task.key)
        if row is None:
            continue
        begin = max(plan.calendar.index(row[0]), 0)
        end = plan.calendar.index(row[1]) + 1
        start[place] = min(begin, plan.problem.days - 1)
        ends = [int(plan.problem.finishes(task, one)[start[place]]) for one in task.ways]
        way[place] = min(range(len(ends)), key=lambda k: (abs(ends[k] - end), k))
    return Found(Schedule({}), math.inf, 0, start, way)


def told(plan: Assembled, solved: Solved) -> Proposal:
    """A schedule as dates and words."""
    placed = {key: one for key, one in solved.schedule.placed.items() if key > 0}
    path = _earliest(plan)
    reasons = Reasons(plan, placed)
    dated = [_dated(one, placed.get(one.item.pk), path, reasons, plan) for one in plan.facts.items]
    return Proposal(
        dated=dated,
        weeks=_weeks(dated, plan),
        notes=plan.notes,
        solved=solved,
        counted=plan.goals.count(plan.problem, solved.schedule, plan.lacking),
        conflicts=conflicts_of(plan, solved.schedule),
        assembled=plan,
    )


def _earliest(plan: Assembled) -> critical_path.DatedPath:
    """Dates with as many gangs as wanted. Rings and items without hours are left out."""
    facts, calendar, problem = plan.facts, plan.calendar, plan.problem
    activities = []
    for one in facts.items:
        key = one.item.pk
        finished = done_days(one, calendar, facts.today) if one.is_worked else None
        if finished is None and key not in problem.place:
            continue
        windows = facts.year.windows.get(one.item.kind, [])
        gang_h = one.gang * facts.year.day_h
        activities.append(
            critical_path.DatedActivity(
                key=key,
                days=max(one.least_days, math.ceil(plan.left_h[key] / gang_h - 1e-9)),
                open_days=calendar.window_days(windows) & calendar.workdays,
                earliest=max(plan.earliest.get(key, 0), 0),
                name=one.item.name,
                finished=finished,
            )
        )
    inside = {activity.key for activity in activities}
    links = [
        critical_path.Link(
            link.first, link.then, critical_path.LinkKind(link.kind.value), link.lag
        )
        for link in plan.links
        if link.first in inside and link.then in inside
    ]  # fmt: skip
    return critical_path.dated_path(activities, links)


def _dated(
    one: ItemFacts,
    placed: Placed | None,
    path: critical_path.DatedPath,
    reasons: Reasons,
    plan: Assembled,
) -> Dated:
    item, calendar, facts = one.item, plan.calendar, plan.facts
    dated = Dated(item=item, labour_h=0.0 if one.is_worked else plan.left_h[item.pk])
    if (times := path.times.get(item.pk)) is not None:
        dated.earliest_start = calendar.date(times.early_start)
        dated.earliest_finish = _last_day(calendar, times.early_start, times.early_finish)
        dated.float_days = None if one.is_worked else times.total_float
        dated.is_critical = item.pk in path.critical
    if one.is_worked:
        start, finish = done_days(one, calendar, facts.today)
        dated.start, dated.finish = calendar.date(start), _last_day(calendar, start, finish)
        dated.in_play_on = calendar.date(finish + 7 * item.growing_in_weeks)
        return dated
    if placed is None:
        dated.not_placed = plan.refused.get(item.pk) or reasons.no_place(one)
        return dated
    task = plan.problem.tasks[plan.problem.place[item.pk]]
    way = task.ways[placed.way]
    dated.start = calendar.date(placed.start)
    if item.state == ItemState.ON_SITE and item.started_on:
        dated.start = min(item.started_on, dated.start)
    dated.finish = _last_day(calendar, placed.start, placed.finish)
    dated.in_play_on = calendar.date(placed.in_play)
    need = way.needs.get(CREW, 0)
    if need:
        dated.gang = max(math.ceil(need / (facts.year.day_h * TENTHS) - 1e-9), 1)
        dated.hours_by_week = _by_week(plan.problem, plan, placed, dated.labour_h)
    dated.waits_for = reasons.waits_for(task, placed)[:200]
    dated.caution = " ".join(_cautions(one, dated, facts))[:500]
    return dated


def _by_week(
    problem: Problem, plan: Assembled, placed: Placed, labour_h: float
) -> dict[str, float]:
    """The hours still to be worked, evenly over the days it is worked on."""
    task = problem.tasks[problem.place[placed.key]]
    days = np.flatnonzero(problem.days_of(task)[placed.start : placed.finish]) + placed.start
    weeks, counts = np.unique(days // 7, return_counts=True)
    return {
        plan.calendar.monday(week).isoformat(): round(labour_h * int(count) / len(days), 2)
        for week, count in zip(weeks, counts, strict=True)
    }


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


def _weeks(dated: Sequence[Dated], plan: Assembled) -> list[dict[str, Any]]:
    planned: dict[str, float] = {}
    for one in dated:
        for monday, hours in one.hours_by_week.items():
            planned[monday] = planned.get(monday, 0.0) + hours
    last = max([*planned, plan.facts.programme.ends_on.isoformat()])
    rows = []
    for week in range(plan.calendar.weeks):
        monday = plan.calendar.monday(week).isoformat()
        if monday > last:
            break
        rows.append(
            {
                "week": monday,
                "crew_h": round(float(plan.crew.crew_h[week]), 1),
                "routine_h": round(float(plan.crew.routine_h[week]), 1),
                "left_h": round(float(plan.crew.left_h[week]), 1),
                "planned_h": round(planned.get(monday, 0.0), 1),
            }
        )
    return rows
