"""An independent check of what ``calc.solver`` returns: every rule gone through day by day, in
plain Python, from what the types say. It shares no code with the solver but those types."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

SEASON_GAP_D = 21  # so many days without work between two days of it part an opening


def worked_days(problem: Any, task: Any) -> list[int]:
    if task.works_on == "":
        return list(range(problem.days))
    mask = problem.workable[task.works_on]
    return [day for day in range(problem.days) if bool(mask[day])]


def later(problem: Any, day: int, lag: int, working: bool) -> int | None:
    """The day so many days, or working days of the club, after ``day``; None beyond the plan."""
    if not working or lag == 0 or problem.workdays is None:
        return day + lag
    club = [n for n in range(problem.days) if bool(problem.workdays[n])]
    place = sum(1 for n in club if n < day) + lag
    if place < 0:
        return 0
    return club[place] if place < len(club) else None


def broken_rules(problem: Any, schedule: Any) -> list[str]:
    """Every rule that the schedule breaks, in words; empty when it keeps them all.

    What is fixed is taken as it is: it may break rules, and others must keep them around it.
    """
    faults: list[str] = []
    by_key = {task.key: task for task in problem.tasks}
    named = [*schedule.placed, *schedule.unplaced]
    if sorted(named) != sorted(by_key):
        faults.append(f"tasks {sorted(by_key)} and named {sorted(named)}")
    for key, placed in schedule.placed.items():
        faults += _own_rules(problem, by_key[key], placed)
    for link in problem.links:
        faults += _link_rules(problem, by_key, link, schedule)
    faults += _amounts(problem, by_key, schedule)
    return faults


def _own_rules(problem: Any, task: Any, placed: Any) -> list[str]:
    name, faults = task.name, []
    if placed.in_play != placed.finish + task.grows_d:
        faults.append(f"{name} does not grow in")
    if task.fixed is not None:
        if (placed.start, placed.way) != task.fixed:
            faults.append(f"{name} is fixed and was moved")
        return faults
    way = task.ways[placed.way]
    if not 0 <= placed.start < problem.days or placed.finish > problem.days:
        faults.append(f"{name} lies outside the plan")
    if placed.start < task.earliest:
        faults.append(f"{name} starts before day {task.earliest}")
    if task.latest is not None and placed.finish > task.latest:
        faults.append(f"{name} is over after day {task.latest}")
    if way.days == 0:
        if placed.finish != placed.start:
            faults.append(f"{name} takes no day and took some")
        return faults
    own = [d for d in worked_days(problem, task) if placed.start <= d < placed.finish]
    if len(own) != way.days:
        faults.append(f"{name} takes {way.days} days and got {len(own)}")
    if not own or own[0] != placed.start or own[-1] != placed.finish - 1:
        faults.append(f"{name} does not begin and end on days of work")
    if not task.may_split:
        for day, following in pairwise(own):
            if following - day > SEASON_GAP_D:
                faults.append(f"{name} is parted between days {day} and {following}")
    return faults


def _link_rules(problem: Any, by_key: dict[int, Any], link: Any, schedule: Any) -> list[str]:
    first, then = by_key[link.first], by_key[link.then]
    if then.fixed is not None:
        return []
    if link.then in schedule.unplaced:
        return []
    if link.first in schedule.unplaced:
        return [f"{then.name} has a place and waits for {first.name}, which has none"]
    before, after = schedule.placed[link.first], schedule.placed[link.then]
    kind = str(link.kind.value)
    base = before.finish if kind[0] == "F" else before.start
    end = after.finish if kind[1] == "F" else after.start
    bound = later(problem, base, link.lag, link.working)
    if bound is None:
        bound = problem.days
    if end < bound:
        return [f"{then.name} {kind} {first.name} {link.lag:+d}: {end} is before {bound}"]
    return []


def amounts_taken(problem: Any, schedule: Any) -> dict[str, list[int]]:
    """What is taken of each resource on each day."""
    taken = {one.key: [0] * problem.days for one in problem.resources}
    for task in problem.tasks:
        placed = schedule.placed.get(task.key)
        if placed is None:
            continue
        days = [d for d in worked_days(problem, task) if placed.start <= d < placed.finish]
        for resource, amount in task.ways[placed.way].needs.items():
            for day in days:
                taken[resource][day] += amount
        for hold in task.holds:
            until = {"FINISH": placed.finish, "IN_PLAY": placed.in_play}.get(
                hold.until.name, problem.days
            )
            for day in range(placed.start, min(until, problem.days)):
                taken[hold.resource][day] += hold.amount
    return taken


def _amounts(problem: Any, by_key: dict[int, Any], schedule: Any) -> list[str]:
    """Over what there is is wrong wherever one that is not fixed takes part in it."""
    faults = []
    free = [key for key in schedule.placed if by_key[key].fixed is None]
    taken = amounts_taken(problem, schedule)
    for resource in problem.resources:
        there = [int(amount) for amount in resource.capacity]
        for key, placed in schedule.placed.items():
            for gain in by_key[key].gains:
                if gain.resource == resource.key:
                    for day in range(placed.in_play, problem.days):
                        there[day] += int(gain.by_day[day])
        for day in range(problem.days):
            if taken[resource.key][day] <= there[day]:
                continue
            if any(_takes(problem, by_key[key], schedule.placed[key], resource, day)
                   for key in free):  # fmt: skip
                faults.append(
                    f"{resource.name}: {taken[resource.key][day]} of {there[day]} on day {day}"
                )
    return faults


def _takes(problem: Any, task: Any, placed: Any, resource: Any, day: int) -> bool:
    if placed.start <= day < placed.finish and task.ways[placed.way].needs.get(resource.key, 0):
        return task.works_on == "" or bool(problem.workable[task.works_on][day])
    for hold in task.holds:
        until = {"FINISH": placed.finish, "IN_PLAY": placed.in_play}.get(
            hold.until.name, problem.days
        )
        if hold.resource == resource.key and hold.amount and placed.start <= day < until:
            return True
    return False


def goal(problem: Any, schedule: Any) -> float:
    """What the placed tasks cost: the length, days until in play by weight, money."""
    length = max((one.finish for one in schedule.placed.values()), default=0)
    total = problem.makespan_weight * length
    for task in problem.tasks:
        placed = schedule.placed.get(task.key)
        if placed is not None:
            total += task.weight * placed.in_play + task.ways[placed.way].cost
    return float(total)
