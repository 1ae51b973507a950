"""Sheets to take to the ditch: the long section to scale, and the setting-out table."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.text import slugify
from django.views.decorators.http import require_GET, require_POST

from worksprog.calc.grid import describe_grid
from worksprog.calc.section_sheets import SectionSheets
from worksprog.calc.setting_out import SettingOut, Stake, Wish, set_out
from worksprog.clubs.csv_files import csv_answer
from worksprog.clubs.door import ClubRequest, club_page, get_row
from worksprog.clubs.typefaces import PrintError
from worksprog.course.models import DRAIN_LINES, Feature, State
from worksprog.drainage.drawing.sheet import PAPERS, Drawn, Paper
from worksprog.drainage.forms.sheets import SettingOutForm, SheetForm
from worksprog.drainage.printing import (
    AT_ONCE,
    draw_for,
    made,
    setting_out_pdf,
    sheets_pdf,
    title_of,
)
from worksprog.drainage.queries.sheets import DrainOnPaper, drain_on_paper
from worksprog.runs.models import Run
from worksprog.runs.services import request_run

SHEETS_SHOWN = 6
# A longer table is not set within the time that a page may take.
MOST_PRINTED = 250


def _drain(request: ClubRequest, uuid: UUID) -> tuple[Feature, DrainOnPaper]:
    rows = Feature.objects.filter(kind__in=DRAIN_LINES).exclude(state=State.REMOVED)
    feature = get_row(rows, request.club, uuid)
    try:
        return feature, drain_on_paper(request.club, feature.uuid)
    except KeyError as error:
        raise Http404 from error


def _day(request: ClubRequest) -> str:
    today = request.club.today()
    return f"{today.day} {today:%b %Y}"


def _drawn(
    request: ClubRequest, drain: DrainOnPaper, form: SheetForm
) -> tuple[Paper, SectionSheets | None, list[Drawn], str]:
    """The sheets, or why there are none."""
    paper = PAPERS["A3"]
    if not form.is_valid():
        words = " ".join(str(error) for errors in form.errors.values() for error in errors)
        return paper, None, [], words
    chosen = form.cleaned_data
    paper = PAPERS[chosen["paper"] or "A3"]
    try:
        laid, sheets = draw_for(
            request.club,
            drain,
            paper=paper.name,
            horizontal=chosen["horizontal"],
            vertical=chosen["vertical"],
        )
    except ValueError as error:
        return paper, None, [], str(error)
    return paper, laid, sheets, ""


def _file_name(drain: DrainOnPaper, what: str) -> str:
    section = drain.section
    return slugify(f"{what} {section.top_name} to {section.outfall_name or 'its end'}")


@require_GET
@club_page("drainage.read")
def section_sheet(request: ClubRequest, uuid: UUID) -> HttpResponse:
    feature, drain = _drain(request, uuid)
    form = SheetForm(request.GET or {"paper": "A3"})
    paper, laid, sheets, refused = _drawn(request, drain, form)
    asked = {name: request.GET[name] for name in form.fields if request.GET.get(name)}
    return render(
        request,
        "drainage/section_sheet.html",
        {
            "sheet_name": f"Drainage · sheets from {drain.section.top_name}",
            "feature": feature,
            "drain": drain,
            "form": form,
            "paper": paper,
            "laid": laid,
            "sheets": sheets[:SHEETS_SHOWN],
            "count": len(sheets),
            "more": max(0, len(sheets) - SHEETS_SHOWN),
            "refused": refused,
            "asked": urlencode(asked),
            "as_job": len(sheets) > AT_ONCE,
            "at_once": AT_ONCE,
            "deepest": drain.section.deepest_invert,
        },
    )


@require_GET
@club_page("drainage.read")
def section_svg(request: ClubRequest, uuid: UUID, number: int) -> HttpResponse:
    _, drain = _drain(request, uuid)
    _, _, sheets, refused = _drawn(request, drain, SheetForm(request.GET))
    if refused:
        return HttpResponse(refused, status=400, content_type="text/plain; charset=utf-8")
    if not 1 <= number <= len(sheets):
        raise Http404
    answer = HttpResponse(sheets[number - 1].svg, content_type="image/svg+xml; charset=utf-8")
    name = _file_name(drain, "long section")
    answer["Content-Disposition"] = f'attachment; filename="{name}-sheet-{number}.svg"'
    return answer


@require_GET
@club_page("drainage.read")
def section_pdf(request: ClubRequest, uuid: UUID) -> HttpResponse:
    feature, drain = _drain(request, uuid)
    paper, _, sheets, refused = _drawn(request, drain, SheetForm(request.GET))
    if len(sheets) > AT_ONCE:
        refused = f"{len(sheets)} sheets are made beside: ask for them below."
    if not refused:
        try:
            pdf = sheets_pdf(sheets, paper, title=title_of(drain), club=request.club.name)
        except PrintError as error:
            refused = str(error)
    if refused:
        messages.warning(request, refused)
        address = reverse("drainage:section-sheet", args=[request.club.slug, feature.uuid])
        return redirect(f"{address}?{request.GET.urlencode()}")
    return _pdf(pdf, f"{_file_name(drain, 'long section')}-{paper.name}")


@require_POST
@club_page("drainage.read")
def section_job(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """Sheets too many for one answer are made by a worker."""
    feature, drain = _drain(request, uuid)
    paper, _, _, refused = _drawn(request, drain, form := SheetForm(request.GET))
    if refused:
        messages.warning(request, refused)
        return redirect("drainage:section-sheet", request.club.slug, feature.uuid)
    chosen = form.cleaned_data
    run = request_run(
        club=request.club,
        kind="drainage.sheets",
        inputs={
            "reach": str(feature.uuid),
            "paper": paper.name,
            "horizontal": chosen["horizontal"],
            "vertical": chosen["vertical"],
        },
        by=request.user,
    )
    return redirect("runs:run", request.club.slug, run.uuid)


@require_GET
@club_page("drainage.read")
def section_made(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """The PDF that a run made."""
    run = get_row(Run.objects.filter(kind="drainage.sheets"), request.club, uuid)
    pdf = made(reach_uuid=run.inputs["reach"], run_uuid=run.uuid)
    if pdf is None:
        raise Http404
    return _pdf(pdf, "long-section")


def _pdf(pdf: bytes, name: str) -> HttpResponse:
    answer = HttpResponse(pdf, content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="{name}.pdf"'
    return answer


def _set_out(drain: DrainOnPaper, wish: Wish) -> SettingOut:
    return set_out(
        drain.way, wish, names=drain.names, crossings=drain.crossings, ground_at=drain.ground_at
    )


def _table(
    request: ClubRequest, uuid: UUID
) -> tuple[Feature, DrainOnPaper, SettingOutForm, SettingOut | None, str]:
    feature, drain = _drain(request, uuid)
    form = SettingOutForm(request.GET)
    if not form.is_valid():
        words = " ".join(str(error) for errors in form.errors.values() for error in errors)
        return feature, drain, form, None, words
    try:
        return feature, drain, form, _set_out(drain, form.cleaned_data["wish"]), ""
    except ValueError as error:
        return feature, drain, form, None, str(error)


def _about(request: ClubRequest, drain: DrainOnPaper, found: SettingOut) -> dict[str, Any]:
    return {
        "club": request.club,
        "drain": drain,
        "section": drain.section,
        "found": found,
        "wish": found.wish,
        "sight": found.wish.sight,
        "deepest": found.deepest,
        "services": [one for one in drain.crossings if one.what == "buried service"],
        "watercourse": any(piece.kind == "ditch" for piece in drain.way.pieces)
        or bool(drain.section.outfall_name),
        "grid": describe_grid(request.club.epsg).name,
    }


@require_GET
@club_page("drainage.read")
def setting_out(request: ClubRequest, uuid: UUID) -> HttpResponse:
    feature, drain, form, found, refused = _table(request, uuid)
    context = {
        "sheet_name": f"Drainage · setting out from {drain.section.top_name}",
        "feature": feature,
        "section": drain.section,
        "form": form,
        "refused": refused,
        "asked": request.GET.urlencode(),
    }
    if found is not None:
        context |= _about(request, drain, found)
        context["runs"] = [
            {"run": run, "title": run.working().title, "rows": run.working().as_rows()}
            for run in found.runs
        ]
    return render(
        request, "drainage/setting_out.html", context, status=200 if found is not None else 400
    )


def _metres(value: float | None, places: int = 3) -> str:
    return "" if value is None else f"{value:.{places}f}"


HEADER = (
    "chainage from the outfall (m)", "what is there", "drain", "easting (m)", "northing (m)",
    "ground level (m)", "invert or bed level (m)", "trench bottom (m)", "depth to dig (m)",
    "gradient (%)", "gradient, 1 in", "peg left easting (m)", "peg left northing (m)",
    "peg right easting (m)", "peg right northing (m)", "staff on the invert (m)",
    "staff on the trench bottom (m)", "remark",
)  # fmt: skip


def _cells(stake: Stake) -> list[str]:
    left, right = stake.left or (None, None), stake.right or (None, None)
    percent = None if stake.gradient is None else stake.gradient * 100
    one_in = None if not stake.gradient else 1 / stake.gradient
    return [
        _metres(stake.chainage_m, 2), "; ".join(stake.what), stake.reach_name,
        _metres(stake.place[0]), _metres(stake.place[1]), _metres(stake.ground_m),
        _metres(stake.invert_m), _metres(stake.bottom_m), _metres(stake.dig_m),
        _metres(percent), _metres(one_in, 1), _metres(left[0]), _metres(left[1]),
        _metres(right[0]), _metres(right[1]), _metres(stake.invert_reading_m),
        _metres(stake.bottom_reading_m), stake.reading_words,
    ]  # fmt: skip


@require_GET
@club_page("drainage.read")
def setting_out_csv(request: ClubRequest, uuid: UUID) -> HttpResponse:
    feature, drain, _, found, refused = _table(request, uuid)
    if found is None:
        messages.warning(request, refused)
        return redirect("drainage:setting-out", request.club.slug, feature.uuid)
    return csv_answer(
        _file_name(drain, "setting out"), HEADER, [_cells(stake) for stake in found.stakes]
    )


@require_GET
@club_page("drainage.read")
def setting_out_print(request: ClubRequest, uuid: UUID) -> HttpResponse:
    feature, drain, _, found, refused = _table(request, uuid)
    if found is not None and len(found.stakes) > MOST_PRINTED:
        refused = (
            f"{len(found.stakes):,} stakes are more than the {MOST_PRINTED} a PDF takes: choose a "
            "greater distance. The CSV has them all."
        )
    elif found is not None:
        try:
            pdf = setting_out_pdf({**_about(request, drain, found), "made_on": _day(request)})
        except PrintError as error:
            refused = str(error)
    if refused:
        messages.warning(request, refused)
        return redirect("drainage:setting-out", request.club.slug, feature.uuid)
    return _pdf(pdf, _file_name(drain, "setting out"))
