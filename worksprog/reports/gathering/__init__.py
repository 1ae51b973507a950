"""From the club's records to the figures that a report is made from and frozen with."""

from __future__ import annotations

from datetime import date
from typing import Any
from uuid import UUID

from worksprog.calc.grid import describe_grid
from worksprog.course.models import Survey
from worksprog.drainage.queries import check_network, live_storm
from worksprog.planning.queries import feature_states_on
from worksprog.reports.figures import FORM, settled
from worksprog.reports.gathering.care import cautions
from worksprog.reports.gathering.chance import chance_words
from worksprog.reports.gathering.costs import Costs
from worksprog.reports.gathering.facts import Facts, read_facts
from worksprog.reports.gathering.jobs import (
    charts,
    charts_note,
    done_note,
    done_rows,
    next_note,
    next_rows,
)
from worksprog.reports.gathering.learnt import learnt_words
from worksprog.reports.gathering.money import (
    MONEY_NOTE,
    key_figures,
    project_rows,
    total_row,
    wages_words,
)
from worksprog.reports.gathering.place import map_data, section_data
from worksprog.reports.models import Report


def gather(report: Report, *, made_on: date) -> dict[str, Any]:
    """Everything the report shows, as plain data. Reads only; the number of queries is bounded.

    A report that is not saved yet is a working copy that asks no decisions.
    """
    facts = read_facts(report.programme, report.from_date, report.to_date)
    states = feature_states_on(facts.club, report.to_date)
    check = check_network(facts.club, states={UUID(key): state for key, state in states.items()})
    rows = project_rows(facts)
    total = total_row(facts, rows)
    costs = Costs(facts)
    return settled(
        {
            "form": FORM,
            "club": _club(facts),
            "report": _report(report, made_on),
            "programme": {"name": facts.programme.name, "revision": facts.programme.revision},
            "winter": {
                "name": facts.winter.label,
                "words": f"Winter {facts.winter_number} of {facts.winter_count}",
            }
            if facts.winter
            else None,
            "key": key_figures(facts, total),
            "decisions": [
                {
                    "order": number,
                    "question": decision.question,
                    "project": str(decision.project) if decision.project else "",
                    "amount": str(decision.amount) if decision.amount is not None else None,
                    "costs": costs.of_project(decision.project) if decision.project else "",
                }
                for number, decision in enumerate(
                    report.decisions.select_related("project") if report.pk else [], start=1
                )
            ],
            "projects": rows,
            "total": total,
            "money_note": " ".join((MONEY_NOTE, *wages_words(facts), *chance_words(facts))),
            "costs_note": costs.of_programme(),
            "map": map_data(facts, states),
            "charts": charts(facts),
            "charts_note": charts_note(facts),
            "section": section_data(facts, check),
            "done": done_rows(facts),
            "done_note": done_note(facts),
            "next": next_rows(facts),
            "next_note": next_note(facts),
            "cautions": cautions(facts, check, rows),
            "method": _method(facts),
        }
    )


def _day(when: date | None) -> str | None:
    return when.isoformat() if when else None


def _club(facts: Facts) -> dict[str, str]:
    club = facts.club
    survey = Survey.objects.filter(club=club).exclude(what="features").defer("points").first()
    levels = "no survey yet"
    if survey is not None:
        when = f"{survey.surveyed_on:%b %Y}"
        levels = survey.name if when[-4:] in survey.name else f"{survey.name}, {when}"
    return {
        "name": club.name,
        "sign": club.currency_sign,
        "grid": f"EPSG {club.epsg}, {describe_grid(club.epsg).name}",
        "levels": levels,
    }


def _report(report: Report, made: date) -> dict[str, Any]:
    """The title block. A working copy has no number and no issuing; issuing adds both."""
    return {
        "number": None,
        "title": report.title,
        "addressed_to": report.addressed_to,
        "meeting_on": _day(report.meeting_on),
        "from_date": report.from_date.isoformat(),
        "to_date": report.to_date.isoformat(),
        "paper": report.paper,
        "opening": report.opening,
        "made_on": made.isoformat(),
        "made_words": f"{made.day} {made:%B %Y}",
        "issued_on": None,
        "issued_by": "",
    }


def _method(facts: Facts) -> list[str]:
    storm = live_storm(facts.club)
    return [
        "Earned: estimated crew hours of every job times the share of its quantity that was measured as "
        "done; finished jobs count in full.",
        "Planned: each job’s hours spread evenly from its first to its last day in the baseline, or in "
        "the plan where no baseline is kept.",
        "Crew hours: as logged by the crew and not withdrawn, approved or not, up to the last day of the "
        "report. A contractor’s work is in the money, not in the crew’s hours.",
        "Spent: money gone out by the last day of the report. Crew labour is no money out. Forecast: "
        "spent, the hours logged at the labour rate of the job’s estimate (without one, the price "
        "book’s first), and the likely estimate of what is not done yet.",
        "Dates: what happened, and for what has not, the plan"
        + (f" of {facts.plan_as_of.day} {facts.plan_as_of:%B %Y}." if facts.plan_as_of else "."),
        f"Drains: peak flow by the rational method for {storm}; pipes by Colebrook–White, ditches by "
        "Manning. This is a check for planning and takes no engineer’s place.",
        *learnt_words(facts),
        "Levels and lengths: measured in the club’s grid from the survey named in the title block.",
    ]
