"""An independent check of a plan's rows: every rule worked out again from dates, week by week,
with no code shared with what made the plan."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict

from worksprog.planning.models import (
    Absence,
    Closure,
    CrewMember,
    CrewWeek,
    GivenUp,
    Plan,
    PlanRules,
    WorkWindow,
)
from worksprog.works.models import Link

DAY = dt.timedelta(days=1)


def broken_rules(plan: Plan, order: tuple[tuple[str, str], ...] = ()) -> list[str]:
    """Every rule that the plan breaks, in words. ``order``: names of jobs, the lower drain first."""
    club, faults = plan.club, []
    rules = PlanRules.objects.filter(club=club).first() or PlanRules()
    off = {
        row.from_date + n * DAY
        for row in Closure.objects.filter(club=club)
        for n in range((row.to_date - row.from_date).days + 1)
    }
    week = {0, 1, 2, 3, 4} | ({5} if rules.works_saturday else set())
    week |= {6} if rules.works_sunday else set()
    given_up = set(GivenUp.objects.filter(programme=plan.programme).values_list("wish", flat=True))
    usual = {row.week: row for row in CrewWeek.objects.filter(club=club)}
    windows = defaultdict(list)
    for row in WorkWindow.objects.filter(club=club, is_firm=True):
        windows[row.kind].append(row)

    def is_open(kind: str, day: dt.date) -> bool:
        number = day.month * 100 + day.day
        for row in windows[kind]:
            opens = row.from_month * 100 + row.from_day
            closes = row.to_month * 100 + row.to_day
            inside = opens <= number <= closes
            if opens > closes:
                inside = number >= opens or number <= closes
            if inside:
                return True
        return not windows[kind]

    people = list(CrewMember.objects.filter(club=club))
    away = list(Absence.objects.filter(club=club))

    def is_there(person: CrewMember, day: dt.date) -> bool:
        begun = person.employed_from is None or person.employed_from <= day
        left_us = person.employed_to is not None and person.employed_to < day
        return (
            begun
            and not left_us
            and day not in off
            and not any(
                row.member_id in (None, person.pk) and row.from_date <= day <= row.to_date
                for row in away
            )
        )

    def left(monday: dt.date) -> float:
        number = monday.isocalendar().week
        row = usual.get(number) or (usual.get(52) if number == 53 else None)
        if row is None:
            return 0.0
        if people:
            crew_h = sum(
                person.day_h * (1 - rules.sickness_percent / 100)
                for person in people
                for n in (person.weekdays or week)
                if is_there(person, monday + n * DAY)
            )
            return max(crew_h - row.routine_h, 0.0)
        worked = sum((monday + n * DAY) not in off for n in week)
        return max(row.crew_h * worked / len(week) - row.routine_h, 0.0)

    used: dict[dt.date, float] = defaultdict(float)
    rows = {one.item_id: one for one in plan.items.select_related("item__planning")}
    for one in rows.values():
        name, item = one.item.name, one.item
        if item.state in ("done", "growing_in"):
            if (one.start, one.finish) != (item.started_on, item.finished_on):
                faults.append(f"{name} is done and was moved")
            continue
        if one.not_placed:
            if one.start or one.finish:
                faults.append(f"{name} has no place and yet dates")
            continue
        for monday, hours in one.hours_by_week.items():
            used[dt.date.fromisoformat(monday)] += hours
        if not item.by_contractor and abs(sum(one.hours_by_week.values()) - one.labour_h) > 0.1:
            faults.append(f"{name} got {sum(one.hours_by_week.values())} h of {one.labour_h}")
        begins = max(one.start, plan.as_of)
        if item.state != "on_site" and begins < max(plan.as_of, plan.programme.starts_on):
            faults.append(f"{name} starts before the programme")
        ends = [begins, one.finish]
        told = getattr(item, "planning", None)
        asked = item.not_before if item.state != "on_site" else None
        if asked and one.start < asked and f"not-before:{item.uuid}" not in given_up:
            faults.append(f"{name} starts too early")
        promised = told.promised_by if told else None
        if promised and one.finish > promised and f"promise:{item.uuid}" not in given_up:
            faults.append(f"{name} is later than promised")
        if f"window:{item.uuid}" not in given_up:
            for day in ends:
                if not is_open(item.kind, day):
                    faults.append(f"{name} is worked on {day}, when its window is closed")
        for day in ends:
            if one.labour_h and (day.weekday() not in week or day in off):
                faults.append(f"{name} begins or ends on {day}, a day without works")
        grown = one.finish + DAY + item.growing_in_weeks * 7 * DAY
        if one.labour_h and one.in_play_on != grown:
            faults.append(f"{name} does not grow in")
    for monday, hours in used.items():
        if hours > left(monday) + 0.5:
            faults.append(f"the week of {monday} has {left(monday)} h and {hours} h are planned")
    for link in Link.objects.filter(first__in=rows, then__in=rows, type="FS"):
        before, after = rows[link.first_id], rows[link.then_id]
        if not after.start or after.item.state != "proposed":
            continue
        if not before.finish or after.start < before.finish + (1 + link.lag_days) * DAY:
            name = f"link:{before.item.uuid}:{after.item.uuid}:FS"
            if name not in given_up:
                faults.append(f"{after.item} does not wait for {before.item}")
    named = {one.item.name: one for one in rows.values()}
    for lower, upper in order:
        if named[upper].start <= named[lower].finish:
            faults.append(f"{upper} is worked before {lower}, which is below it")
    return faults
