"""An independent check of a plan's rows: every rule worked out again from dates, week by week,
with no code shared with what made the plan."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from decimal import Decimal

from worksprog.planning.models import (
    Absence,
    Closure,
    CrewMember,
    CrewWeek,
    Fixture,
    GivenUp,
    MoneyRelease,
    Plan,
    PlannedItem,
    PlanRules,
    PlayRules,
    WorkWindow,
)
from worksprog.works.models import Estimate, Item, Link, Spend

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
    rows = {
        one.item_id: one
        for one in plan.items.select_related("item__planning", "item__phase__project")
    }
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
    placed = [one for one in rows.values() if one.start and one.finish]
    faults += _fixtures_broken(plan, placed, given_up)
    if "holes" not in given_up:
        faults += _too_many_holes(plan, placed)
    faults += _money_overspent(plan, placed, given_up)
    named = {one.item.name: one for one in rows.values()}
    for lower, upper in order:
        if named[upper].start <= named[lower].finish:
            faults.append(f"{upper} is worked before {lower}, which is below it")
    return faults


def _numbers(item: Item) -> set[int]:
    return set(item.holes.values_list("number", flat=True))


def _fixtures_broken(plan: Plan, placed: list[PlannedItem], given_up: set[str]) -> list[str]:
    faults = []
    for fixture in Fixture.objects.filter(club=plan.club):
        if f"fixture:{fixture.uuid}" in given_up:
            continue
        on = set(fixture.holes.values_list("number", flat=True))
        for one in placed:
            item = one.item
            if item.state not in ("proposed", "on_site"):
                continue
            stopped = (
                fixture.stops == "all"
                or (fixture.stops == "closing" and item.holes_closed and bool(_numbers(item)))
                or (fixture.stops == "here" and bool(on & _numbers(item)))
            )
            for day in (max(one.start, plan.as_of), one.finish):
                if stopped and fixture.from_date <= day <= fixture.to_date:
                    faults.append(f"{item.name} is worked on {day}, the day of {fixture.name}")
    return faults


def _too_many_holes(plan: Plan, placed: list[PlannedItem]) -> list[str]:
    """Distinct holes on each day, whoever closes them."""
    rules = PlayRules.objects.filter(club=plan.club).first()
    if rules is None:
        return []
    closed: dict[dt.date, set[int]] = defaultdict(set)
    for one in placed:
        if not one.item.holes_closed or one.item.state == "done":
            continue
        day, numbers = max(one.start, plan.as_of), _numbers(one.item)
        while day < one.in_play_on:
            closed[day] |= numbers
            day += DAY
    faults = []
    begin, end = rules.season_from_month, rules.season_to_month
    months = {(begin - 1 + n) % 12 + 1 for n in range((end - begin) % 12 + 1)}
    for day, numbers in sorted(closed.items()):
        limits = [rules.holes_at_once, rules.holes_in_season if day.month in months else None]
        if any(limit is not None and len(numbers) > limit for limit in limits):
            faults.append(f"{sorted(numbers)} are out of play on {day}")
    return faults


def _money_overspent(plan: Plan, placed: list[PlannedItem], given_up: set[str]) -> list[str]:
    """On each job's first day, all that its purse has begun so far against all it was given."""
    releases = list(MoneyRelease.objects.filter(programme=plan.programme))
    own = {release.project_id for release in releases}
    faults = []
    for one in placed:
        project = one.item.phase.project
        if one.item.state != "proposed" or (project.pk not in own and None not in own):
            continue
        purse = project.pk if project.pk in own else None
        if ("money" if purse is None else f"money:{project.code}") in given_up:
            continue
        beside = [
            other
            for other in placed
            if other.start <= one.start
            and (other.item.phase.project_id if other.item.phase.project_id in own else None)
            == purse
        ]
        taken = Decimal(0)
        for other in beside:
            spent = sum(Spend.objects.filter(item=other.item).values_list("amount", flat=True))
            likely = Estimate.objects.get(item=other.item, is_live=True).money_likely
            taken += spent if other.item.state in ("done", "growing_in") else max(spent, likely)
        given = sum(
            release.amount
            for release in releases
            if release.project_id == purse and release.from_date <= one.start
        )
        if taken > given:
            faults.append(f"{one.item.name} begins when {taken} of {given} is taken")
    return faults
