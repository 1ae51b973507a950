"""Key figures, and money and hours by project."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any

from worksprog.calc.build_up import to_penny
from worksprog.clubs.templatetags.figures import fig
from worksprog.reports.gathering.facts import NOTHING, Facts, Logged
from worksprog.works.models import Item

MONEY_NOTE = (
    "Earned: the share of the estimated crew hours that the measured progress is worth; where a project "
    "has no crew hours, of the estimated money. Spent: money gone out, without the crew’s wages. "
    "Forecast: spent, the wages of the hours logged so far at the estimate’s labour rate, and the likely "
    "estimate of what is left, wages in it. Spent and approved are exact; each project’s hours and "
    "forecast are rounded to whole figures and their sums are of the rounded ones."
)


def wages_words(facts: Facts) -> list[str]:
    """One sentence: how much of the forecast is wages that no invoice shows."""
    wages = sum(one.wages for one in facts.progress.values())
    if not wages:
        return []
    return [
        f"Of the forecast, {facts.club.currency_sign}{fig(wages)} are wages of hours logged so far."
    ]


def whole(value: Decimal) -> Decimal:
    return value.quantize(Decimal(1), ROUND_HALF_EVEN)


def worth(facts: Facts, items: Sequence[Item]) -> dict[int, float]:
    """What each item counts for: its crew hours, or its money where none of them has crew hours."""
    rows = {item.pk: facts.progress[item.pk] for item in items}
    if any(row.budget_h for row in rows.values()):
        return {pk: row.budget_h for pk, row in rows.items()}
    return {pk: row.budget_money for pk, row in rows.items()}


def _weighted(facts: Facts, items: Sequence[Item], name: str) -> float | None:
    weights = worth(facts, items)
    total = sum(weights.values())
    if not total:
        return None
    done = (weight * (getattr(facts.progress[pk], name) or 0.0) for pk, weight in weights.items())
    return sum(done) / total


def earned_share(facts: Facts, items: Sequence[Item]) -> float | None:
    return _weighted(facts, items, "share")


def planned_share(facts: Facts, items: Sequence[Item]) -> float | None:
    """What was to be earned by the report's last day: by the baseline, else by the plan."""
    if not facts.planned:
        return None
    return _weighted(facts, items, "planned_share")


def forecast_of(facts: Facts, item: Item) -> Decimal:
    """Spent, the wages of the hours logged, and the likely money of what is left to do."""
    return Decimal(str(round(facts.progress[item.pk].forecast_money, 6)))


def _hours(facts: Facts, items: Iterable[Item]) -> Decimal:
    return sum((facts.logged.get(item.pk, Logged()).hours for item in items), NOTHING)


def project_rows(facts: Facts) -> list[dict[str, Any]]:
    """One row a project, shelved work left out."""
    rows = []
    for project in facts.projects:
        items = facts.items_of(project)
        finishes = [facts.finish(item) for item in items]
        known = [day for day in finishes if day is not None]
        estimated = sum(facts.progress[item.pk].budget_h for item in items)
        rows.append(
            {
                "code": project.code,
                "name": project.name,
                "earned_share": earned_share(facts, items),
                "logged_h": str(whole(_hours(facts, items))),
                "estimated_h": str(whole(Decimal(str(round(estimated, 6))))),
                "spent": str(
                    to_penny(sum((facts.spent.get(i.pk, NOTHING) for i in items), NOTHING))
                ),
                "approved": str(to_penny(project.approved)),
                "forecast": str(whole(sum((forecast_of(facts, i) for i in items), NOTHING))),
                "finish_on": max(known).isoformat()
                if known and len(known) == len(finishes)
                else None,
            }
        )
    return rows


def total_row(facts: Facts, rows: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """The sums of the rows as they are shown, so that the table adds up."""
    finishes = [row["finish_on"] for row in rows]
    summed = {
        name: str(sum((Decimal(row[name]) for row in rows), NOTHING))
        for name in ("logged_h", "estimated_h", "spent", "approved", "forecast")
    }
    return {
        "code": "",
        "name": "Programme",
        "earned_share": earned_share(facts, facts.items),
        "finish_on": max(finishes) if finishes and all(finishes) else None,
        **summed,
    }


def winter_items(facts: Facts) -> list[Item]:
    """Jobs with days of work in the winter that the report falls in; all of them outside the winters."""
    winter = facts.winter
    if winter is None:
        return list(facts.items)
    chosen = []
    for item in facts.items:
        rows = [row for row in (facts.planned.get(item.pk), facts.baseline.get(item.pk)) if row]
        spans = [(row.start, row.finish) for row in rows if row.start and row.finish]
        if item.started_on:
            spans.append((item.started_on, item.finished_on or facts.finish(item) or facts.to_date))
        if any(start <= winter.last and finish >= winter.first for start, finish in spans):
            chosen.append(item)
    return chosen


def key_figures(facts: Facts, total: dict[str, Any]) -> dict[str, Any]:
    items = winter_items(facts)
    has_winter = bool(items) and facts.winter is not None
    counted = items if has_winter else list(facts.items)
    planned = planned_share(facts, counted)
    last = max(
        ((day, item.name) for item in counted if (day := _last_work(facts, item)) is not None),
        default=None,
    )
    winter = facts.winter
    return {
        "earned_share": earned_share(facts, counted),
        "earned_of": winter.label if has_winter and winter else "the programme",
        "planned_share": planned,
        "planned_words": "no plan yet" if not facts.planned else "",
        "spent": total["spent"],
        "approved": total["approved"],
        "forecast": total["forecast"],
        "logged_h": total["logged_h"],
        "estimated_h": total["estimated_h"],
        "last_job_on": last[0].isoformat() if last else None,
        "last_job_words": (
            ("last job of the winter" if has_winter else "last job of the programme")
            if last
            else "no job has dates yet"
        ),
        "last_job": last[1] if last else "",
    }


def _last_work(facts: Facts, item: Item) -> date | None:
    """The item's last day of work, within the winter's own twelve months where there is one."""
    day = facts.finish(item)
    winter = facts.winter
    if day is None or winter is None:
        return day
    return day if winter.first <= day <= winter.last else None
