"""Whether the plan is one to be trusted."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from worksprog.calc.schedule_health import USUAL_LONG_DAYS, Verdict
from worksprog.clubs.door import ClubRequest, club_page
from worksprog.planning.forms.health import HealthForm
from worksprog.planning.queries.health import plan_health
from worksprog.works.queries import live_programme

WRONG = 422


@require_GET
@club_page("planning.read")
def health_page(request: ClubRequest) -> HttpResponse:
    form = HealthForm(request.GET if "long_days" in request.GET else None)
    status = 200
    long_days = USUAL_LONG_DAYS
    if form.is_bound:
        if form.is_valid():
            long_days = form.cleaned_data["long_days"]
        else:
            status = WRONG
    programme = live_programme(request.club)
    context: dict[str, Any] = {
        "sheet_name": "Programme · health of the plan",
        "programme": programme,
        "form": form,
        "may_plan": request.may("planning.plan"),
    }
    if programme is not None:
        programme.club = request.club
        health = plan_health(programme, request.club.today(), long_days=long_days)
        context["health"] = health
        if health is not None:
            context |= {
                "long_days": long_days,
                "mend_points": sum(one.verdict == Verdict.MEND for one in health.points),
                "mend_practices": sum(one.verdict == Verdict.MEND for one in health.practices),
                "unknown": sum(one.verdict == Verdict.UNKNOWN for one in health.points),
            }
    return render(request, "planning/health.html", context, status=status)
