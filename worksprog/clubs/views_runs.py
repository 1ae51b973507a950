"""A club's long jobs. The pages live here because runs, one floor below, knows no clubs and no door."""

from __future__ import annotations

import zoneinfo
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.timezone import localtime
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from worksprog.clubs.door import ClubRequest, club_page, get_row
from worksprog.runs import services
from worksprog.runs.models import Run, RunState

ON_A_PAGE = 30


def _facts(request: ClubRequest, run: Run) -> dict[str, Any]:
    """What the page shows and its script asks for again: one source, so that the two cannot differ."""
    address = str(run.outcome.get("address", ""))
    return {
        "state": run.state,
        "stateWords": _state_words(run),
        "percent": run.percent,
        "words": run.error or str(run.outcome.get("words", "")) or run.words,
        "ended": run.has_ended,
        "mayCancel": not run.has_ended and not run.cancel_asked and request.may("runs.cancel"),
        # Only ever a page of this club: an outcome is data, not a signpost to elsewhere.
        "address": address if address.startswith(f"/c/{request.club.slug}/") else "",
        "begun": _moment(request, run.started_at),
        "endedAt": _moment(request, run.ended_at),
    }


def _state_words(run: Run) -> str:
    if run.cancel_asked and not run.has_ended:
        return "stopping at its next step"
    return str(run.get_state_display())


def _moment(request: ClubRequest, moment: Any) -> str:
    if moment is None:
        return "not yet"
    return date_format(localtime(moment, zoneinfo.ZoneInfo(request.club.time_zone)), "j M Y, H:i:s")


@require_safe
@club_page("runs.read")
def run_list(request: ClubRequest) -> HttpResponse:
    runs = Run.objects.filter(club=request.club).select_related("asked_by")
    page = Paginator(runs, ON_A_PAGE).get_page(request.GET.get("page"))
    rows = [
        {"run": run, "state_words": _state_words(run), "asked": _moment(request, run.asked_at)}
        for run in page
    ]
    context = {"page": page, "rows": rows, "sheet_name": "Long jobs"}
    return render(request, "runs/list.html", context)


@never_cache
@require_safe
@club_page("runs.read")
def run_page(request: ClubRequest, uuid: UUID) -> HttpResponse:
    run = get_row(Run.objects.select_related("asked_by"), request.club, uuid)
    context = {
        "run": run,
        "facts": _facts(request, run),
        "asked": _moment(request, run.asked_at),
        "sheet_name": run.title,
    }
    return render(request, "runs/run.html", context)


@never_cache
@require_safe
@club_page("runs.read")
def run_state(request: ClubRequest, uuid: UUID) -> JsonResponse:
    return JsonResponse(_facts(request, get_row(Run, request.club, uuid)))


@require_POST
@club_page("runs.cancel")
def cancel(request: ClubRequest, uuid: UUID) -> HttpResponse:
    run = get_row(Run, request.club, uuid)
    if run.has_ended:
        messages.warning(request, f"It had ended already: {run.get_state_display()}.")
    elif services.cancel_run(run=run, by=request.user).state == RunState.CANCELLED:
        messages.success(request, "Cancelled; nothing was changed by it.")
    else:
        messages.success(request, "It stops at its next step.")
    return redirect(reverse("runs:run", args=[request.club.slug, run.uuid]))
