"""A plan's rows as what its futures are drawn from, and what they told as plain figures."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from worksprog.calc import workdays
from worksprog.calc.futures import Finish, Futures, Given, Opening, Work, follow_futures
from worksprog.calc.futures.run import Tell
from worksprog.calc.ranges import ThreePoint
from worksprog.calc.solver import Link
from worksprog.calc.weather import STATED_SOIL, WorkableYears, workable_years
from worksprog.calc.weather.years import block_year
from worksprog.planning.assembly.tasks import kept_links
from worksprog.planning.bridge import Facts, ItemFacts
from worksprog.planning.models import PlannedItem
from worksprog.works.models import Estimate, ItemState, WorkKind

YEARS_PAST_THE_PLAN = 2
PERT_WEIGHT = 7  # of beta-PERT: variance = (mean - low)(high - mean) / 7

# What goes on while clay is wet; everything else, the club's own kinds too, waits for the ground.
OPEN_AIR_KINDS = frozenset(
    {
        WorkKind.TREE_FELLING,
        WorkKind.TREE_THINNING,
        WorkKind.HEDGE_SCRUB,
        WorkKind.FENCING,
        WorkKind.BRIDGE,
    }
)


@dataclass(frozen=True)
class Likelihood:
    """Everything the futures of a plan are drawn from.

    notes  what was left out, in words
    """

    given: Given
    rows: Mapping[int, PlannedItem]
    notes: tuple[str, ...]


def likelihood_of(
    facts: Facts,
    rows: list[PlannedItem],
    estimates: Mapping[int, Estimate],
    rain_mm: Mapping[dt.date, float],
    *,
    together: float,
    seed: int,
) -> Likelihood:
    """The plan in its order: who begins first in it comes first. Nothing is read or written.

    ValueError in words when no job that is still to be done has dates.
    """
    by_key = {one.item.pk: one for one in facts.items if not one.is_worked}
    dated = [row for row in rows if row.item_id in by_key and row.start and row.finish]
    if not dated:
        raise ValueError("No job that is still to be done has dates in this plan.")
    dated.sort(key=lambda row: (row.start, row.finish, row.item_id))
    last = max(row.finish for row in dated if row.finish)
    ends = max(last, facts.today)
    horizon = dt.date(ends.year + YEARS_PAST_THE_PLAN, 6, 30)
    if horizon < ends + dt.timedelta(days=365 * YEARS_PAST_THE_PLAN):
        horizon = horizon.replace(year=horizon.year + 1)
    calendar = facts.year.calendar(facts.today, horizon)
    crew = workdays.crew_hours(calendar, facts.year.crew).left_day_h.copy()
    today = calendar.index(facts.today)
    crew[:today] = 0.0
    weather = workable_years(rain_mm, seed=seed)
    openings = {"": Opening(calendar.workdays, np.ones(calendar.days, dtype=bool))}
    works = []
    for row in dated:
        one = by_key[row.item_id]
        kind = _opening_name(one, facts)
        if kind not in openings:
            mask = calendar.window_days(facts.year.windows[kind])
            openings[kind] = Opening(calendar.workdays & mask, mask)
        works.append(_work(one, row, estimates.get(row.item_id), facts, calendar, kind))
    links, notes = _links(facts, {row.item_id for row in dated})
    left_out = len(by_key) - len(dated)
    if left_out:
        notes.append(
            f"{left_out} {'job has' if left_out == 1 else 'jobs have'} no dates in the plan and "
            "cannot be followed."
        )
    given = Given(
        first_day=calendar.first_day,
        works=tuple(works),
        links=links,
        crew_day_h=crew,
        openings=openings,
        workdays=calendar.workdays,
        weather=weather,
        together=together,
    )
    return Likelihood(given, {row.item_id: row for row in dated}, tuple(notes))


def _opening_name(one: ItemFacts, facts: Facts) -> str:
    firm = any(window.firm for window in facts.year.windows.get(one.item.kind, []))
    return one.item.kind if firm and f"window:{one.item.uuid}" not in facts.given_up else ""


def _work(
    one: ItemFacts,
    row: PlannedItem,
    estimate: Estimate | None,
    facts: Facts,
    calendar: workdays.Calendar,
    opening: str,
) -> Work:
    assert row.start and row.finish
    item, today = one.item, calendar.index(facts.today)
    under_way = item.state == ItemState.ON_SITE
    start = today if under_way else max(calendar.index(row.start), today)
    finish = max(calendar.index(row.finish), start)
    range_of = _range(estimate)
    if one.left_h > 0:
        amount, a_day = range_of.times(one.left_h), (row.gang or one.gang) * facts.year.day_h
        if one.least_days:
            a_day = min(a_day, one.left_h / one.least_days)
    else:
        days = int(calendar.workdays[start : finish + 1].sum())
        amount, a_day = range_of.times(days), 1.0
    return Work(
        key=item.pk,
        label=item.name,
        amount=amount,
        a_day=a_day,
        needs_crew=one.left_h > 0,
        share=max(float(item.max_share), 0.01),
        earliest=start,
        opening=opening,
        waits_for_ground=item.kind not in OPEN_AIR_KINDS,
        may_split=one.may_spread or f"one-opening:{item.uuid}" in facts.given_up,
        under_way=under_way,
        promised=calendar.index(one.promised_by) if one.promised_by else None,
        planned=calendar.index(row.finish),
        groups=(
            f"project:{item.phase.project.uuid}",
            f"winter:{block_year(row.finish)}",
        ),
    )


def _range(estimate: Estimate | None) -> ThreePoint:
    """Hours over likely hours. The ends of the estimate are those at which every line is at its
    end at once; they are drawn in until the spread is that of its simulated hours."""
    if estimate is None or estimate.labour_likely_h <= 0:
        return ThreePoint.exactly(1.0)
    likely = estimate.labour_likely_h
    low, high = min(estimate.labour_low_h / likely, 1.0), max(estimate.labour_high_h / likely, 1.0)
    mean = (low + 4 + high) / 6
    widest = ((mean - low) * (high - mean) / PERT_WEIGHT) ** 0.5
    told = estimate.simulated.get("hours", {}).get("sd")
    if told is None or widest <= 0:
        return ThreePoint(max(low, 0.0), 1.0, high)
    narrowed = min(told / likely / widest, 1.0)
    return ThreePoint(max(1 - narrowed * (1 - low), 0.0), 1.0, 1 + narrowed * (high - 1))


def _links(facts: Facts, keys: set[int]) -> tuple[tuple[Link, ...], list[str]]:
    """The links that the plan was made with, between the jobs that are followed."""
    names = {one.item.pk: one.item.name for one in facts.items}
    links, notes = kept_links(facts, names, facts.given_up)
    return tuple(link for link in links if {link.first, link.then} <= keys), notes


def told(likelihood: Likelihood, *, seed: int, futures: int, tell: Tell | None) -> dict[str, Any]:
    """What a run keeps: plain figures, days as dates, jobs and projects by their uuids."""
    found = follow_futures(likelihood.given, seed=seed, futures=futures, tell=tell)
    first_day = likelihood.given.first_day
    rows = likelihood.rows
    names = {str(key): str(row.item.uuid) for key, row in rows.items()}
    last = first_day + dt.timedelta(days=likelihood.given.days - 1)
    return {
        "whole": _finish_row(found.whole, first_day) | {"by_percent": _dates(found, first_day)},
        "jobs": {
            str(rows[key].item.uuid): _finish_row(one, first_day)
            for key, one in found.works.items()
        },
        "groups": {name: _finish_row(one, first_day) for name, one in found.groups.items()},
        "promises": [
            {
                "job": names[str(one.key)],
                "by": _date(one.promised, first_day),
                "chance": one.chance,
            }
            for one in found.promises
        ],
        "drivers": {
            name: [
                asdict(one) | {"name": names.get(one.name, "") if one.kind == "job" else one.name}
                for one in some[:12]
            ]
            for name, some in found.drivers.items()
        },
        "weather": _weather_row(likelihood.given.weather),
        "soil": asdict(STATED_SOIL),
        "together": likelihood.given.together,
        "followed_to": last.isoformat(),
        "notes": list(likelihood.notes),
    }


def _date(day: int | None, first_day: dt.date) -> str | None:
    return None if day is None else (first_day + dt.timedelta(days=day)).isoformat()


def _dates(found: Futures, first_day: dt.date) -> list[str | None]:
    return [_date(day, first_day) for day in found.whole.quantiles]


def _finish_row(one: Finish, first_day: dt.date) -> dict[str, Any]:
    return {
        "planned": _date(one.planned, first_day),
        "keeps_plan": one.keeps_plan,
        "unfinished": one.unfinished,
        "lost_days": round(one.lost_days, 1),
    } | {f"P{percent}": _date(one.within(percent), first_day) for percent in (10, 50, 80, 90)}


def _weather_row(years: WorkableYears) -> dict[str, Any]:
    return {
        "source": years.source.value,
        "years": len(years.names),
        "first": years.names[0],
        "last": years.names[-1],
        "rain_mm": [round(mm, 1) for mm in years.rain_by_month()],
        "ground": [round(share, 3) for share in years.share_by_month(years.ground)],
        "open_air": [round(share, 3) for share in years.share_by_month(years.open_air)],
        "months": [asdict(month) for month in years.months],
    }
