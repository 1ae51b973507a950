"""What works promised to give back, and what the crew's log says was kept."""

from __future__ import annotations

from uuid import UUID

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET, require_safe

from worksprog.calc.worth.charts import seasons_chart
from worksprog.clubs.csv_files import csv_answer
from worksprog.clubs.door import ClubRequest, club_page, get_row
from worksprog.hours.queries.promised import measured_promises, reckoned_from_log
from worksprog.works.models import Project


@require_safe
@club_page("progress.read")
def promises(request: ClubRequest) -> HttpResponse:
    """Promised against measured, by kind of routine work, with what it rests on."""
    found = measured_promises(request.club, request.club.today())
    charts = {
        one.what: seasons_chart(one.measured.weeks)
        for one in found
        if one.measured is not None and len(one.measured.weeks) > 1
    }
    return render(
        request,
        "hours/promises.html",
        {
            "found": found,
            "charts": charts,
            "today": request.club.today(),
            "may_plan": request.may("works.plan"),
            "sheet_name": "Promised and kept",
        },
    )


CSV_HEADER = (
    "what",
    "routine work",
    "stands from",
    "promised hours a year, low",
    "likely",
    "high",
    "weeks compared",
    "seasons before",
    "seasons after",
    "hours before",
    "hours after",
    "hours fewer",
    "promised in these weeks, likely",
    "what may be said",
    "why",
)


@require_safe
@club_page("progress.read")
def promises_csv(request: ClubRequest) -> HttpResponse:
    """The page's table; figures only where something may be said."""
    rows: list[list[object]] = []
    for one in measured_promises(request.club, request.club.today()):
        begins = one.stands_from.isoformat() if one.stands_from else ""
        hours = one.promised
        row: list[object] = [one.label, one.routine, begins, hours.low, hours.likely, hours.high]
        measured = one.measured
        if measured is None or not measured.weeks:
            words = measured.why if measured else one.why_not
            rows.append([*row, *[""] * 7, measured.claim.value if measured else "", words])
            continue
        promised = measured.promised_h
        rows.append(
            [
                *row,
                len(measured.weeks),
                round(measured.seasons_before, 1),
                round(measured.seasons_after, 1),
                round(measured.before_h, 1),
                round(measured.after_h, 1),
                round(measured.fewer_h, 1),
                round(promised.likely, 1) if promised else "",
                measured.claim.value,
                measured.why,
            ]
        )
    return csv_answer("promised-and-kept", CSV_HEADER, rows)


@require_GET
@club_page("works.plan")
def routine_figures(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """Figures of the log beside the form of a promise."""
    project = get_row(Project, request.club, uuid)
    project.club = request.club
    found, weeks = reckoned_from_log(project, request.club.today())
    return render(request, "hours/_routine_figures.html", {"found": found, "weeks": weeks})
