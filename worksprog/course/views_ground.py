"""The ground: made of surveys, asked for levels and falls, served to the map."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import shapely
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.cache import get_conditional_response
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from worksprog.calc import grid
from worksprog.calc import ground as calc_ground
from worksprog.clubs.door import ClubRequest, club_page
from worksprog.course import services_surveys as services
from worksprog.course.forms_surveys import ContourForm, FallForm, GroundForm
from worksprog.course.models import GroundModel
from worksprog.course.queries import live_ground, live_ground_model
from worksprog.course.section_drawing import section_of

MOST_CORNERS = 200
MOST_LINE_M = 20_000


def _method(model: GroundModel) -> str:
    return f"{model.get_method_display()}, {model.count:,} levels"


def _fall(model: GroundModel, ground: calc_ground.Ground, data: dict[str, float]) -> dict[str, Any]:
    """What the page says of the line between two places. Raises ValueError for no line."""
    line = shapely.LineString([(data["ae"], data["an"]), (data["be"], data["bn"])])
    if line.length > MOST_LINE_M:
        raise ValueError(f"The two places are {line.length / 1000:,.0f} km apart.")
    profile = calc_ground.profile_along(ground, line)
    fall = calc_ground.fall_of(profile)
    return {
        "fall": fall,
        "falls_to": None
        if not fall.fall_m
        else ("the second place" if fall.fall_m > 0 else "the first place"),
        "one_in": fall.one_in(),
        "working": calc_ground.fall_working(fall, method=_method(model)).as_rows(),
        "section": section_of(profile),
    }


@require_safe
@club_page("course.read")
def ground_page(request: ClubRequest) -> HttpResponse:
    model = live_ground_model(request.club)
    asked = any(name in request.GET for name in ("ae", "an", "be", "bn"))
    form = FallForm(request.GET if asked else None)
    context: dict[str, Any] = {
        "model": model,
        "form": form,
        "may_import": request.may("survey.import"),
        "sheet_name": "The ground",
    }
    if model is not None:
        context |= {
            "surveys": model.surveys.defer("points", "reading"),
            "contours": ContourForm(initial={"contour_step_m": model.contour_step_m}),
            "method": _method(model),
        }
        if asked and form.is_valid():
            ground = live_ground(request.club)
            assert ground is not None
            try:
                context |= _fall(model, ground, form.cleaned_data)
                lon, lat = grid.to_lonlat(
                    request.club.epsg,
                    [form.cleaned_data["ae"], form.cleaned_data["be"]],
                    [form.cleaned_data["an"], form.cleaned_data["bn"]],
                )
                context["line"] = [[float(y), float(x)] for x, y in zip(lon, lat, strict=True)]
            except ValueError as error:
                form.add_error(None, str(error))
    return render(request, "course/ground.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@club_page("survey.import")
def ground_make(request: ClubRequest) -> HttpResponse:
    posted = request.POST if request.method == "POST" else None
    form = GroundForm(posted, club=request.club)
    if form.is_valid():
        try:
            run = services.request_ground(
                club=request.club,
                surveys=list(form.cleaned_data["surveys"]),
                contour_step_m=form.cleaned_data["contour_step_m"],
                by=request.user,
            )
        except ValidationError as error:
            form.add_error("surveys", error)
        else:
            return redirect(reverse("runs:run", args=[request.club.slug, run.uuid]))
    context = {"form": form, "sheet_name": "Make the ground"}
    status = 422 if form.errors else 200
    return render(request, "course/ground_make.html", context, status=status)


@require_POST
@club_page("survey.import")
def ground_contour_step(request: ClubRequest) -> HttpResponse:
    model = GroundModel.objects.filter(club=request.club).select_related("club").first()
    form = ContourForm(request.POST)
    if model is None:
        messages.error(request, "There is no ground yet to draw contours of.")
    elif not form.is_valid():
        messages.error(request, "The step between contours is a length in metres, 0.05 to 50.")
    else:
        step = form.cleaned_data["contour_step_m"]
        try:
            services.draw_contours(model=model, step_m=step, by=request.user)
        except ValidationError as error:
            messages.error(request, " ".join(error.messages))
        else:
            messages.success(request, f"Contours are drawn every {step:g} m.")
    return redirect(reverse("course:ground", args=[request.club.slug]))


def _live(request: ClubRequest, *parts: str) -> GroundModel:
    model = (
        GroundModel.objects.filter(club=request.club)
        .only("uuid", "contour_step_m", "shading_bounds", *parts)
        .first()
    )
    if model is None:
        raise Http404("There is no ground yet.")
    return model


def _unchanged(request: ClubRequest, model: GroundModel) -> tuple[str, HttpResponse | None]:
    etag = f'"{model.uuid}-{model.contour_step_m:g}"'
    answer = get_conditional_response(request, etag=etag)
    return etag, answer if isinstance(answer, HttpResponse) else None


def _cached(response: HttpResponse, etag: str) -> HttpResponse:
    response["ETag"] = etag
    response["Cache-Control"] = "private, no-cache"
    return response


@require_safe
@club_page("course.read")
def ground_contours(request: ClubRequest) -> HttpResponse:
    """GeoJSON lines with level_m, and fifth for those to draw stronger."""
    etag, answer = _unchanged(request, _live(request))
    if answer is None:
        model = _live(request, "contours")
        answer = JsonResponse(model.contours, content_type="application/geo+json")
    return _cached(answer, etag)


@require_safe
@club_page("course.read")
def ground_shading(request: ClubRequest) -> HttpResponse:
    """A PNG laid out by longitude and latitude; its bounds stand in X-Bounds and in ground.json."""
    model = _live(request)
    etag, answer = _unchanged(request, model)
    if answer is None:
        model = _live(request, "shading")
        answer = HttpResponse(bytes(model.shading or b""), content_type="image/png")
        (south, west), (north, east) = model.shading_bounds
        answer["X-Bounds"] = f"{south:.7f},{west:.7f},{north:.7f},{east:.7f}"
    return _cached(answer, etag)


@require_safe
@club_page("course.read")
def ground_facts(request: ClubRequest) -> HttpResponse:
    """What the live ground is, with the addresses of its contours and shading."""
    model = _live(request, "method", "count", "lowest_m", "highest_m", "made_at")
    slug = request.club.slug
    return JsonResponse(
        {
            "uuid": str(model.uuid),
            "method": model.get_method_display(),
            "levels": model.count,
            "lowest_m": model.lowest_m,
            "highest_m": model.highest_m,
            "contour_step_m": model.contour_step_m,
            "bounds": model.shading_bounds,
            "contours": reverse("course:contours", args=[slug]),
            "shading": reverse("course:shading", args=[slug]),
        }
    )


def _refused(words: str) -> JsonResponse:
    return JsonResponse({"error": words}, status=400)


def _places(request: ClubRequest, text: str) -> tuple[Any, Any]:
    """Grid coordinates from "lon,lat;lon,lat". Raises ValueError in words."""
    try:
        pairs = [tuple(float(n) for n in part.split(",")) for part in text.split(";")]
        lonlat = np.array(pairs, dtype=float)
    except ValueError as error:
        raise ValueError("Expected longitude,latitude pairs parted by semicolons.") from error
    if lonlat.ndim != 2 or lonlat.shape[1] != 2 or not np.isfinite(lonlat).all():
        raise ValueError("Expected longitude,latitude pairs parted by semicolons.")
    if len(lonlat) > MOST_CORNERS:
        raise ValueError(f"A line of more than {MOST_CORNERS} corners is not measured.")
    return grid.from_lonlat(request.club.epsg, lonlat[:, 0], lonlat[:, 1])


@require_safe
@club_page("course.read")
def ground_level(request: ClubRequest) -> HttpResponse:
    """Level at ?at=lon,lat: level_m is null outside the surveyed ground."""
    try:
        x, y = _places(request, request.GET.get("at", ""))
    except ValueError as error:
        return _refused(str(error))
    ground = live_ground(request.club)
    level = None if ground is None else calc_ground.level_at(ground, float(x[0]), float(y[0]))
    return JsonResponse(
        {
            "easting": round(float(x[0]), 3),
            "northing": round(float(y[0]), 3),
            "level_m": None if level is None else round(level, 3),
        }
    )


@require_safe
@club_page("course.read")
def ground_line(request: ClubRequest) -> HttpResponse:
    """Fall and levels along ?points=lon,lat;lon,lat;…"""
    ground = live_ground(request.club)
    try:
        x, y = _places(request, request.GET.get("points", ""))
        line = shapely.LineString(np.column_stack([x, y])) if len(x) > 1 else None
        if line is None:
            raise ValueError("A line needs two ends.")
        if line.length > MOST_LINE_M:
            raise ValueError(f"The line is longer than {MOST_LINE_M / 1000:.0f} km.")
        if ground is None:
            raise ValueError("There is no ground yet to measure on.")
        profile = calc_ground.profile_along(ground, line, step_m=max(1.0, line.length / 300))
    except ValueError as error:
        return _refused(str(error))
    fall = calc_ground.fall_of(profile)
    return JsonResponse(
        {
            "length_m": round(fall.length_m, 2),
            "start_level_m": fall.start_level_m,
            "end_level_m": fall.end_level_m,
            "fall_m": fall.fall_m,
            "one_in": fall.one_in(),
            "rises_m": round(fall.rises_m, 1),
            "unknown_m": round(fall.unknown_m, 1),
            "profile": [
                [round(float(s), 2), None if math.isnan(z) else round(float(z), 3)]
                for s, z in zip(profile.chainage_m, profile.level_m, strict=True)
            ],
        }
    )
