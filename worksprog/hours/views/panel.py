"""The hours' part of the map's side panel: what a feature's works took and were to take."""

from __future__ import annotations

from uuid import UUID

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from worksprog.clubs.door import ClubRequest, club_page, get_row
from worksprog.course.models import Feature
from worksprog.hours.queries.progress import progress_of_items
from worksprog.works.models import Programme


@require_GET
@club_page("progress.read")
def feature_panel(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """Empty for a feature that no works of a live programme touch."""
    feature = get_row(Feature.objects.only("id", "club_id"), request.club, uuid)
    keys = set(feature.items.values_list("pk", flat=True))
    programmes = Programme.objects.filter(is_live=True, projects__phases__items__in=keys).distinct()
    today = request.club.today()
    found = [
        progress
        for programme in programmes
        for key, progress in progress_of_items(programme, today).items()
        if key in keys
    ]
    if not found:
        return HttpResponse()
    estimated = [one.estimate.labour_likely_h if one.estimate else 0.0 for one in found]
    used, budget = sum(one.hours for one in found), sum(estimated)
    # What is still to be measured has no pace of its own: its estimate stands for it.
    forecast = sum(
        one.forecast_h if one.forecast_h is not None else max(hours, one.hours)
        for one, hours in zip(found, estimated, strict=True)
    )
    full = max(used, budget, forecast)
    context = {
        "found": found,
        "used": used,
        "budget": budget,
        "forecast": forecast if used else None,
        "used_share": 100 * used / full if full else 0,
        "budget_share": 100 * budget / full if full else 0,
    }
    return render(request, "hours/_feature_panel.html", context)
