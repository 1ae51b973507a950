"""An independent check of a fitted schedule: it re-derives every rule from dates, week by week,
and shares no code with the fitting but the input types."""

from __future__ import annotations

import datetime as dt
import math
from collections import defaultdict
from typing import Any

from worksprog.calc.critical_path import LinkKind


def is_workday(calendar, day: dt.date) -> bool:
    return day.weekday() in calendar.week_days and day not in calendar.holidays


def broken_rules(jobs, links, calendar, week_hours, windows, fitted) -> list[str]:
    """Every rule that the schedule breaks, in words; empty when it is good."""
    faults = []
    by_key = {job.key: job for job in jobs}
    used: dict[Any, float] = defaultdict(float)
    for key, placed in fitted.placed.items():
        job = by_key[key]
        if job.finished is not None:
            if (placed.start, placed.finish) != job.finished:
                faults.append(f"{key} is done and was moved")
            continue
        for week, hours in placed.hours.items():
            used[week] += hours
            if hours > job.week_share * week_hours[week] + 1e-6:
                faults.append(f"{key} takes more than its share of week {week}")
            days = [
                calendar.first_day + dt.timedelta(days=7 * week + n)
                for n in range(7)
                if placed.start <= 7 * week + n < placed.finish
            ]
            open_days = [
                day
                for day in days
                if is_workday(calendar, day)
                and (not windows[job.kind] or any(w.is_open(day) for w in windows[job.kind]))
            ]
            if not open_days:
                faults.append(f"{key} works in week {week} outside its window")
            if hours > job.gang_day_h * len(open_days) + 1e-6:
                faults.append(f"{key} takes more than its gang has in week {week}")
        if abs(sum(placed.hours.values()) - job.labour_h) > 1e-4:
            faults.append(f"{key} got {sum(placed.hours.values())} h of {job.labour_h}")
        if placed.start < job.earliest:
            faults.append(f"{key} starts too early")
        if placed.in_play != placed.finish + job.growing_in_d:
            faults.append(f"{key} does not grow in")
        stretch = [
            calendar.first_day + dt.timedelta(days=n) for n in range(placed.start, placed.finish)
        ]
        if job.least_days and sum(is_workday(calendar, day) for day in stretch) < job.least_days:
            faults.append(f"{key} is done in fewer than {job.least_days} days")
        if stretch and windows[job.kind]:
            ends = stretch if not job.may_spread else (stretch[0], stretch[-1])
            for day in ends:
                if not any(window.is_open(day) for window in windows[job.kind]):
                    faults.append(f"{key} is on site on {day}, when its window is closed")
                    break
    for week, hours in used.items():
        if hours > week_hours[week] + 1e-6:
            faults.append(f"week {week} has {week_hours[week]} h and {hours} h are planned")
    for link in links:
        if link.after not in fitted.placed or by_key[link.after].finished is not None:
            continue
        if link.before not in fitted.placed:
            faults.append(f"{link.after} is placed, {link.before} is not")
            continue
        before, after = fitted.placed[link.before], fitted.placed[link.after]
        from_ = (
            before.start
            if link.kind in (LinkKind.START_START, LinkKind.START_FINISH)
            else (before.finish)
        )
        to = (
            after.finish
            if link.kind in (LinkKind.FINISH_FINISH, LinkKind.START_FINISH)
            else (after.start)
        )
        if to < math.ceil(from_ + link.lag):
            faults.append(f"{link.after} does not wait for {link.before}")
    placed_or_not = set(fitted.placed) | {one.key for one in fitted.not_placed}
    if placed_or_not != set(by_key) or set(fitted.placed) & {o.key for o in fitted.not_placed}:
        faults.append("not every job is either placed or refused")
    return faults
