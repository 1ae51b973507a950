"""Water on the ground: its page, a place's catchment, and the layers of the map."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.cache import get_conditional_response
from django.views.decorators.http import require_POST, require_safe

from worksprog.clubs.door import ClubRequest, club_page
from worksprog.course.models import GroundWater
from worksprog.course.queries import live_ground_model
from worksprog.course.queries_water import hollows_where, live_water, place_geojson, place_told
from worksprog.course.services_water import PATH_FROM_M2, request_water

HOLLOWS_SHOWN = 60


class PlaceForm(forms.Form):
    e = forms.FloatField(label="Easting (m)", min_value=-1e7, max_value=1e8)
    n = forms.FloatField(label="Northing (m)", min_value=-1e7, max_value=1e8)


class WaterForm(forms.Form):
    path_from_m2 = forms.FloatField(
        label="Draw where the water of at least (m²) passes", min_value=10, max_value=1e7
    )


def _place(request: ClubRequest, form: PlaceForm) -> dict[str, Any]:
    x, y = form.cleaned_data["e"], form.cleaned_data["n"]
    try:
        told = place_told(request.club, x, y)
    except ValueError as error:
        form.add_error(None, str(error))
        return {}
    working = told.catchment.working(told.cell_m)
    return {
        "told": told,
        "area_ha": told.catchment.area_m2 / 10_000,
        "one_in": 1 / told.catchment.mean_fall if told.catchment.mean_fall else None,
        "working": working.as_rows(),
        "notes": working.notes,
        "drawn": place_geojson(request.club, told, x, y),
    }


@require_safe
@club_page("course.read")
def water_page(request: ClubRequest) -> HttpResponse:
    model = live_ground_model(request.club)
    kept = live_water(request.club, "hollows") if model else None
    asked = any(name in request.GET for name in ("e", "n"))
    form = PlaceForm(request.GET if asked else None)
    context: dict[str, Any] = {
        "sheet_name": "The ground · water on it",
        "model": model,
        "kept": kept,
        "form": form,
        "may_import": request.may("survey.import"),
        "drawn": None,
    }
    if asked and form.is_valid():
        context |= _place(request, form)
    if kept is not None:
        hollows = hollows_where(request.club, kept)
        dry = [one for one in hollows if not one.in_water]
        context |= {
            "hollows": dry[:HOLLOWS_SHOWN],
            "left_out": max(0, len(dry) - HOLLOWS_SHOWN),
            "in_water": [one for one in hollows if one.in_water],
            "volume_m3": sum(one.facts["volume_m3"] for one in dry),
            "area_m2": sum(one.facts["area_m2"] for one in dry),
            "again": WaterForm(initial={"path_from_m2": kept.path_from_m2}),
        }
    return render(request, "course/water.html", context)


@require_POST
@club_page("survey.import")
def water_make(request: ClubRequest) -> HttpResponse:
    form = WaterForm(request.POST or None)
    area = form.cleaned_data["path_from_m2"] if form.is_valid() else None
    if area is None and request.POST.get("path_from_m2"):
        messages.error(request, "The area above a flow path lies between 10 m² and 1,000 ha.")
        return redirect("course:water", request.club.slug)
    try:
        run = request_water(club=request.club, by=request.user, path_from_m2=area or PATH_FROM_M2)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return redirect("course:water", request.club.slug)
    return redirect(reverse("runs:run", args=[request.club.slug, run.uuid]))


def _layer(request: ClubRequest, part: str) -> tuple[GroundWater, str, HttpResponse | None]:
    kept = live_water(request.club)
    if kept is None:
        raise Http404("The water on the ground has not been worked out yet.")
    etag = f'"{kept.uuid}-{kept.made_at:%Y%m%d%H%M%S%f}"'
    answer = get_conditional_response(request, etag=etag)
    if isinstance(answer, HttpResponse):
        return kept, etag, answer
    whole = live_water(request.club, part)
    assert whole is not None
    return whole, etag, None


def _cached(answer: HttpResponse, etag: str) -> HttpResponse:
    answer["ETag"] = etag
    answer["Cache-Control"] = "private, no-cache"
    return answer


@require_safe
@club_page("course.read")
def water_lines(request: ClubRequest) -> HttpResponse:
    """GeoJSON: flow paths with the area above them, hollows with depth and volume."""
    kept, etag, answer = _layer(request, "lines")
    return _cached(answer or JsonResponse(kept.lines, content_type="application/geo+json"), etag)


@require_safe
@club_page("course.read")
def wetness_picture(request: ClubRequest) -> HttpResponse:
    kept, etag, answer = _layer(request, "wetness")
    return _cached(answer or HttpResponse(bytes(kept.wetness), content_type="image/png"), etag)


@require_safe
@club_page("course.read")
def distance_picture(request: ClubRequest) -> HttpResponse:
    kept, etag, answer = _layer(request, "distance")
    return _cached(answer or HttpResponse(bytes(kept.distance), content_type="image/png"), etag)
