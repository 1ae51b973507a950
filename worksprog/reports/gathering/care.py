"""What needs care: what the figures themselves say, and the usual cautions of the works at hand."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from worksprog.calc.network import NetworkCheck
from worksprog.clubs.templatetags.figures import day, fig
from worksprog.reports.gathering.facts import Facts
from worksprog.reports.gathering.jobs import coming, lacking, plain
from worksprog.works.cautions import CAUTIONS, DEFERS, Caution

MOST_OF_A_KIND = 6


def _some(sentences: list[str], what: str) -> list[str]:
    more = len(sentences) - MOST_OF_A_KIND
    if more <= 0:
        return sentences
    return [*sentences[:MOST_OF_A_KIND], f"{more} more {what} are not listed here."]


def findings(facts: Facts, check: NetworkCheck, rows: list[dict[str, Any]]) -> list[str]:
    """What the committee should not have to find out for itself."""
    sign = facts.club.currency_sign
    over = [
        f"{row['name']}: the forecast of {sign}{fig(row['forecast'])} is "
        f"{sign}{fig(Decimal(row['forecast']) - Decimal(row['approved']))} above what is approved."
        for row in rows
        if Decimal(row["approved"]) and Decimal(row["forecast"]) > Decimal(row["approved"])
    ]
    unplaced = [
        f"{item.name} has no dates: {plain(planned.not_placed)}"
        for item in facts.items
        if (planned := facts.planned.get(item.pk)) is not None and planned.not_placed
    ]
    late = [
        f"{item.name} finishes {(planned.finish - was.finish).days} days later than in "
        f"{facts.baseline_name or 'the baseline'}, on {day(planned.finish)}."
        for item in facts.items
        if (planned := facts.planned.get(item.pk)) is not None
        and (was := facts.baseline.get(item.pk)) is not None
        and planned.finish
        and was.finish
        and (planned.finish - was.finish).days > 14
        and not (item.finished_on and item.finished_on <= facts.to_date)
    ]
    small = [
        f"{plain(reach.name)}: {plain(reach.verdict)}."
        for reach in check.reaches
        if reach.state == "too_small"
    ]
    faults = [plain(finding.words) for finding in check.faults]
    unestimated = sum(item.pk not in facts.estimates for item in facts.items)
    missing = (
        [f"{unestimated} jobs have no estimate yet and count for nothing in the figures above."]
        if unestimated
        else []
    )
    return (
        missing
        + _some(over, "projects above what is approved")
        + _some(unplaced, "jobs without dates")
        + _some(late, "late jobs")
        + _some(small, "reaches that are too small")
        + _some(faults, "faults of the drain network")
    )


def without_consent(facts: Facts) -> list[str]:
    """Jobs on site without a consent, none of them left out."""
    return [
        f"{item.name} is on site. {words[:1].upper()}{words[1:]}."
        for item in facts.items
        for words in lacking(facts, item)
    ]


def trade_cautions(facts: Facts) -> list[dict[str, str]]:
    """The usual cautions of the jobs that come next, each with the jobs it is for."""
    jobs: dict[Caution, list[str]] = {}
    for item, _ in coming(facts):
        for caution in CAUTIONS.get(item.kind, ()):
            jobs.setdefault(caution, []).append(item.name)
    return [
        {
            "title": caution.title,
            "text": caution.text,
            "ask": caution.ask,
            "jobs": ", ".join(names[:MOST_OF_A_KIND])
            + (f" and {len(names) - MOST_OF_A_KIND} more" if len(names) > MOST_OF_A_KIND else ""),
        }
        for caution, names in jobs.items()
    ]


def cautions(facts: Facts, check: NetworkCheck, rows: list[dict[str, Any]]) -> dict[str, Any]:
    return {
        "unlawful": without_consent(facts),
        "findings": findings(facts, check, rows),
        "trade": trade_cautions(facts),
        "defers": DEFERS,
    }
