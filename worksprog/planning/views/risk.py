"""When the works are finished, by chance."""

from __future__ import annotations

from calendar import month_abbr
from typing import Any

from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from worksprog.calc.charts_futures import finish_chart
from worksprog.calc.charts_ranges import DriverBar, drivers_chart
from worksprog.calc.weather import STATED_SOIL
from worksprog.calc.working import Step, Working
from worksprog.clubs.door import ClubRequest, club_page
from worksprog.planning import queries
from worksprog.planning.forms.risk import FuturesForm
from worksprog.planning.queries.risk import RiskSheet, risk_sheet
from worksprog.planning.services.risk import request_futures
from worksprog.works.models import Programme
from worksprog.works.queries import live_programme

WRONG = 422
MOST_BARS = 10
SOIL_SOURCE = "our own choice for clay under grass; no source"


@require_http_methods(["GET", "POST"])
@club_page("planning.read", change="planning.plan")
def risk_page(request: ClubRequest) -> HttpResponse:
    """The kept futures of the live plan; a POST has them drawn as a job."""
    programme = live_programme(request.club)
    plan = queries.live_plan(programme) if programme else None
    context: dict[str, Any] = {
        "sheet_name": "Programme · by chance",
        "programme": programme,
        "plan": plan,
        "may_plan": request.may("planning.plan"),
    }
    status = 200
    if programme is not None and plan is not None:
        programme.club = request.club
        plan.programme, plan.club = programme, request.club
        form = FuturesForm(request.POST or None)
        if request.method == "POST":
            if form.is_valid():
                try:
                    run = request_futures(
                        plan=plan,
                        by=request.user,
                        seed=form.cleaned_data["seed"],
                        count=form.cleaned_data["count"],
                    )
                    return redirect("runs:run", request.club.slug, run.uuid)
                except ValidationError as error:
                    form.add_error(None, error)
            status = WRONG
        context["form"] = form
        sheet = risk_sheet(plan)
        if sheet is not None:
            context |= _shown(sheet, programme, request.GET.get("of", ""))
    return render(request, "planning/risk.html", context, status=status)


def _shown(sheet: RiskSheet, programme: Programme, wanted: str) -> dict[str, Any]:
    choices = [("", "the whole programme")]
    choices += [(key, one.label) for key, one in (*sheet.projects, *sheet.winters)]
    chosen = wanted if wanted in dict(choices) else ""
    drivers = sheet.drivers.get(chosen, [])[:MOST_BARS]
    charts = {"finish": finish_chart(sheet.by_percent, planned=sheet.whole.planned)}
    if drivers:
        bars = [DriverBar(one.words, one.share, one.is_cause) for one in drivers]
        charts["drivers"] = drivers_chart(bars, title="What drives the finish")
    return {
        "sheet": sheet,
        "choices": choices,
        "chosen": chosen,
        "chosen_words": dict(choices)[chosen],
        "drivers": drivers,
        "charts": charts,
        "months": [
            (month_abbr[number + 1], rain, ground, open_air)
            for number, (rain, ground, open_air) in enumerate(
                zip(
                    sheet.weather["rain_mm"],
                    sheet.weather["ground"],
                    sheet.weather["open_air"],
                    strict=True,
                )
            )
        ],
        "working": _working(sheet),
        "sheet_programme": f"{programme.name}, revision {programme.revision}",
    }


def _working(sheet: RiskSheet) -> Working:
    soil = STATED_SOIL
    return Working(
        "How the days came about",
        (
            Step("N", "futures", float(sheet.run.futures)),
            Step("", "seed", str(sheet.run.seed)),
            Step(
                "s",
                "share of each job's luck that all have in common",
                sheet.together,
                formula="√(1 - s) ε + √s Z",
                source="the rules of the ranges: one estimator, the same hands",
            ),
            Step(
                "w",
                "water in the clay above field capacity, evening by evening",
                "a store",
                "mm",
                "w e^(-1/T) + rain - evaporation",
                "linear store",
            ),
            Step("T", "days in which it drains to 1/e", soil.drains_in_d, "d", source=SOIL_SOURCE),
            Step("", "most it holds", soil.holds_mm, "mm", source=SOIL_SOURCE),
            Step("", "most it dries", soil.dries_to_mm, "mm", source=SOIL_SOURCE),
            Step(
                "",
                "the ground bears up to",
                soil.bears_at_mm,
                "mm",
                "w the evening before",
                SOIL_SOURCE,
            ),
            Step(
                "",
                "rain that stops work in the ground",
                soil.rain_stops_mm,
                "mm a day",
                source=SOIL_SOURCE,
            ),
            Step(
                "",
                "rain that stops all work out of doors",
                soil.open_stops_mm,
                "mm a day",
                source=SOIL_SOURCE,
            ),
        ),
    )
