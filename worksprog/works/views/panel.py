"""The works' part of the map's side panel: what is being done to a feature."""

from __future__ import annotations

from uuid import UUID

from django.db.models import Prefetch
from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from worksprog.clubs.door import ClubRequest, club_page, get_row
from worksprog.course.models import Feature
from worksprog.works.models import Estimate


@require_GET
@club_page("works.read")
def feature_panel(request: ClubRequest, uuid: UUID) -> HttpResponse:
    feature = get_row(Feature.objects.only("id", "club_id"), request.club, uuid)
    estimates = Prefetch(
        "estimates", Estimate.objects.filter(is_live=True).order_by(), to_attr="live"
    )
    items = feature.items.select_related("phase__project__programme").prefetch_related(estimates)
    return render(request, "works/_feature_panel.html", {"items": items})
