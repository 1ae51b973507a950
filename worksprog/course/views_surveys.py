"""Pages of surveys: brought in, looked at before they are saved, handed out again."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.conf import settings
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.text import slugify
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from worksprog.clubs.door import ClubRequest, club_page, get_row
from worksprog.course import queries_surveys as reads
from worksprog.course import services_surveys as services
from worksprog.course.forms_surveys import MappingForm, SurveyFileForm
from worksprog.course.models import Feature, ImportDraft, Survey
from worksprog.course.queries import live_ground_model, map_extent
from worksprog.course.reading.results import AxesSwapped, ReadError

REFUSALS_SHOWN = 200


def _to(request: ClubRequest, route: str, *args: Any) -> HttpResponse:
    return redirect(reverse(route, args=[request.club.slug, *args]))


def _words(error: ValidationError | ReadError) -> str:
    return " ".join(error.messages) if isinstance(error, ValidationError) else str(error)


@require_safe
@club_page("course.read")
def survey_list(request: ClubRequest) -> HttpResponse:
    surveys = (
        Survey.objects.filter(club=request.club)
        .defer("points", "reading")
        .select_related("imported_by")
    )
    drafts = ImportDraft.objects.filter(club=request.club) if request.may("survey.import") else []
    context = {
        "surveys": surveys,
        "drafts": drafts,
        "ground": live_ground_model(request.club),
        "has_features": Feature.objects.filter(club=request.club).exists(),
        "may_import": request.may("survey.import"),
        "sheet_name": "Surveys",
    }
    return render(request, "course/survey_list.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@club_page("survey.import")
def survey_new(request: ClubRequest) -> HttpResponse:
    is_sent = request.method == "POST"
    form = SurveyFileForm(
        request.POST if is_sent else None,
        request.FILES if is_sent else None,
        club=request.club,
        initial={"what": request.GET.get("what", Survey.What.SPOT_HEIGHTS)},
    )
    if form.is_valid():
        facts = dict(form.cleaned_data)
        upload = facts.pop("upload")
        try:
            draft = services.begin_import(
                club=request.club, upload=upload, by=request.user, **facts
            )
        except (ReadError, ValidationError) as error:
            form.add_error("upload", _words(error))
        else:
            return _to(request, "course:survey-preview", draft.uuid)
    context = {
        "form": form,
        "most_bytes": settings.IMPORT_MAX_BYTES,
        "most_mb": settings.IMPORT_MAX_BYTES // (1024 * 1024),
        "sheet_name": "Bring in a survey file",
    }
    status = 422 if form.errors else 200
    return render(request, "course/survey_new.html", context, status=status)


@never_cache
@require_safe
@club_page("survey.import")
def survey_preview(request: ClubRequest, uuid: UUID) -> HttpResponse:
    draft = get_row(ImportDraft.objects.select_related("club"), request.club, uuid)
    context: dict[str, Any] = {"draft": draft, "sheet_name": f"Not yet saved: {draft.name}"}
    try:
        seen = services.preview(draft)
    except ReadError as error:
        context |= {"error": str(error), "is_swapped": isinstance(error, AxesSwapped)}
        return render(request, "course/survey_preview.html", context)
    layers = reads.layers_of(seen, draft)
    context |= {
        "seen": seen,
        "refusals": seen.refusals[:REFUSALS_SHOWN],
        "more_refusals": max(len(seen.refusals) - REFUSALS_SHOWN, 0),
        "counts": reads.counts_of(seen),
        "levels": reads.level_range(seen),
        "mapping": MappingForm(layers=layers) if layers else None,
        "drawn": reads.drawing_of_preview(seen, request.club),
        "extent": map_extent(request.club),
    }
    return render(request, "course/survey_preview.html", context)


@require_POST
@club_page("survey.import")
def survey_mapping(request: ClubRequest, uuid: UUID) -> HttpResponse:
    draft = get_row(ImportDraft.objects.select_related("club"), request.club, uuid)
    try:
        form = MappingForm(request.POST, layers=reads.layers_of(services.preview(draft), draft))
        if not form.is_valid():
            raise ValidationError("Choose a kind and a state from the lists for each layer.")
        services.keep_mapping(club=request.club, mapping=form.mapping(), by=request.user)
    except (ReadError, ValidationError) as error:
        messages.error(request, _words(error))
    else:
        messages.success(request, "Kept for this and the next files; read again with it.")
    return _to(request, "course:survey-preview", draft.uuid)


@require_POST
@club_page("survey.import")
def survey_axes(request: ClubRequest, uuid: UUID) -> HttpResponse:
    draft = get_row(ImportDraft, request.club, uuid)
    exchanged = request.POST.get("exchanged") == "yes"
    services.exchange_axes(draft=draft, exchanged=exchanged, by=request.user)
    return _to(request, "course:survey-preview", draft.uuid)


@require_POST
@club_page("survey.import")
def survey_accept(request: ClubRequest, uuid: UUID) -> HttpResponse:
    draft = get_row(ImportDraft.objects.select_related("club"), request.club, uuid)
    try:
        survey = services.accept_import(
            draft=draft, by=request.user, mark=request.POST.get("mark", "")
        )
    except (ReadError, ValidationError) as error:
        messages.error(request, _words(error))
        return _to(request, "course:survey-preview", draft.uuid)
    messages.success(request, f"{survey.name} is saved.")
    return _to(request, "course:survey-detail", survey.uuid)


@require_POST
@club_page("survey.import")
def survey_discard(request: ClubRequest, uuid: UUID) -> HttpResponse:
    draft = get_row(ImportDraft, request.club, uuid)
    services.discard_import(draft=draft, by=request.user)
    messages.success(request, f"{draft.file_name} is let go; nothing of it was saved.")
    return _to(request, "course:surveys")


@require_safe
@club_page("course.read")
def survey_detail(request: ClubRequest, uuid: UUID) -> HttpResponse:
    survey = get_row(Survey.objects.select_related("club", "imported_by"), request.club, uuid)
    context = {
        "survey": survey,
        "drawn": reads.drawing_of_survey(survey),
        "extent": map_extent(request.club),
        "may_import": request.may("survey.import"),
        "ground": live_ground_model(request.club),
        "sheet_name": survey.name,
    }
    return render(request, "course/survey_detail.html", context)


def _attached(data: bytes | str, kind: str, name: str) -> HttpResponse:
    return HttpResponse(
        data,
        content_type=kind,
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


@require_safe
@club_page("course.read")
def survey_csv(request: ClubRequest, uuid: UUID) -> HttpResponse:
    survey = get_row(Survey, request.club, uuid)
    if survey.what != Survey.What.SPOT_HEIGHTS:
        raise Http404
    name = f"{slugify(survey.name) or 'survey'}.csv"
    return _attached(reads.spot_heights_csv(survey), "text/csv; charset=utf-8", name)


@require_safe
@club_page("course.read")
def export_geojson(request: ClubRequest) -> HttpResponse:
    name = f"{request.club.slug}-course.geojson"
    return _attached(reads.features_geojson(request.club), "application/geo+json", name)


@require_safe
@club_page("course.read")
def export_geopackage(request: ClubRequest) -> HttpResponse:
    data = reads.features_geopackage(request.club)
    if not data:
        messages.error(request, "There is no feature on the course yet to write to a file.")
        return _to(request, "course:surveys")
    return _attached(data, "application/geopackage+sqlite3", f"{request.club.slug}-course.gpkg")
