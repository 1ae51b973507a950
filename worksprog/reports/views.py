"""Reports: listed, composed, made, issued, read, answered."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.cache import cache
from django.core.exceptions import ValidationError
from django.db.models import Count, F, Q, QuerySet
from django.forms import Form
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils.text import slugify
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from worksprog.clubs.door import ClubRequest, club_page, get_row
from worksprog.reports import services
from worksprog.reports.figures import fingerprint_of
from worksprog.reports.forms import AnswerForm, DecisionForm, ReportForm
from worksprog.reports.models import Decision, Report
from worksprog.reports.presenting import present
from worksprog.reports.rendering import ReportError
from worksprog.runs.services import request_run
from worksprog.works.queries import live_programme

_KEPT_S = 24 * 60 * 60


def _visible(request: ClubRequest) -> QuerySet[Report]:
    """Drafts are the manager's; the committee sees what is issued."""
    rows = Report.objects.filter(club=request.club)
    return rows if request.may("reports.write") else rows.filter(state=Report.State.ISSUED)


def _get(request: ClubRequest, uuid: UUID) -> Report:
    rows = _visible(request).select_related("club", "programme").defer("pdf")
    return get_row(rows, request.club, uuid)


def _put_errors(form: Form | Any, error: ValidationError) -> None:
    if hasattr(error, "message_dict"):
        for name, words in error.message_dict.items():
            form.add_error(name if name in form.fields else None, words)
    else:
        form.add_error(None, error.messages)


@require_safe
@club_page("reports.read")
def report_list(request: ClubRequest) -> HttpResponse:
    rows = (
        _visible(request)
        .select_related("programme", "issued_by")
        .defer("pdf", "figures")
        .annotate(
            asked=Count("decisions"),
            still_open=Count("decisions", filter=Q(decisions__answer=Decision.Answer.OPEN)),
        )
        .order_by(F("number").desc(nulls_first=True), "-made_at")
    )
    context = {
        "reports": rows,
        "has_programme": live_programme(request.club) is not None,
        "may_write": request.may("reports.write"),
        "sheet_name": "Reports to the committee",
    }
    return render(request, "reports/list.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@club_page("reports.write")
def new(request: ClubRequest) -> HttpResponse:
    programme = live_programme(request.club)
    if programme is None:
        messages.info(request, "A report needs a programme first.", extra_tags="caution")
        return redirect("reports:list", request.club.slug)
    fresh = services.new_report(programme=programme, by=request.user)
    form = ReportForm(request.POST or None, instance=fresh)
    if request.method == "POST" and form.is_valid():
        try:
            report = services.draft_report(
                programme=programme, by=request.user, **form.cleaned_data
            )
        except ValidationError as error:
            _put_errors(form, error)
        else:
            return redirect("reports:edit", request.club.slug, report.uuid)
    return render(request, "reports/new.html", {"form": form, "sheet_name": "A new report"})


@require_http_methods(["GET", "HEAD", "POST"])
@club_page("reports.write")
def edit(request: ClubRequest, uuid: UUID) -> HttpResponse:
    draft = _get(request, uuid)
    if draft.is_issued:
        return redirect("reports:report", request.club.slug, draft.uuid)
    form = ReportForm(request.POST or None, instance=draft)
    if request.method == "POST" and form.is_valid():
        try:
            services.change_report(report=draft, by=request.user, **form.cleaned_data)
        except ValidationError as error:
            _put_errors(form, error)
        else:
            messages.success(request, "The draft is kept.", extra_tags="good")
            return redirect("reports:edit", request.club.slug, draft.uuid)
    return _compose_page(request, draft, form=form)


def _compose_page(
    request: ClubRequest,
    draft: Report,
    *,
    form: ReportForm | None = None,
    decision_form: DecisionForm | None = None,
) -> HttpResponse:
    context = {
        "report": draft,
        "form": form or ReportForm(instance=draft),
        "decision_form": decision_form or DecisionForm(programme=draft.programme, prefix="ask"),
        "decisions": draft.decisions.select_related("project"),
        "sheet_name": f"Draft: {draft.title}",
    }
    return render(request, "reports/edit.html", context)


@require_POST
@club_page("reports.write")
def ask(request: ClubRequest, uuid: UUID) -> HttpResponse:
    draft = _get(request, uuid)
    form = DecisionForm(request.POST, programme=draft.programme, prefix="ask")
    if form.is_valid():
        try:
            services.ask_decision(report=draft, by=request.user, **form.cleaned_data)
        except ValidationError as error:
            _put_errors(form, error)
        else:
            return redirect("reports:edit", request.club.slug, draft.uuid)
    if draft.is_issued:
        return redirect("reports:report", request.club.slug, draft.uuid)
    return _compose_page(request, draft, decision_form=form)


@require_POST
@club_page("reports.write")
def drop_decision(request: ClubRequest, uuid: UUID) -> HttpResponse:
    rows = Decision.objects.select_related("report")
    decision = get_row(rows, request.club, uuid)
    try:
        services.drop_decision(decision=decision, by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages), extra_tags="warn")
    return redirect("reports:edit", request.club.slug, decision.report.uuid)


@require_POST
@club_page("reports.write")
def drop(request: ClubRequest, uuid: UUID) -> HttpResponse:
    draft = _get(request, uuid)
    try:
        services.drop_report(report=draft, by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages), extra_tags="warn")
    return redirect("reports:list", request.club.slug)


@require_POST
@club_page("reports.write")
def make(request: ClubRequest, uuid: UUID) -> HttpResponse:
    return _start_pdf(request, _get(request, uuid))


def _start_pdf(request: ClubRequest, report: Report) -> HttpResponse:
    run = request_run(
        club=request.club,
        kind="reports.pdf",
        inputs={"report": str(report.uuid)},
        by=request.user,
    )
    return redirect("runs:run", request.club.slug, run.uuid)


@require_http_methods(["GET", "HEAD", "POST"])
@club_page("reports.write")
def issue(request: ClubRequest, uuid: UUID) -> HttpResponse:
    draft = _get(request, uuid)
    if draft.is_issued:
        return redirect("reports:report", request.club.slug, draft.uuid)
    if request.method == "POST":
        issued = services.issue_report(report=draft, by=request.user)
        return _start_pdf(request, issued)
    context = {
        "report": draft,
        "decisions": draft.decisions.select_related("project"),
        "look": services.look_before_issue(draft),
        "sheet_name": f"Issue: {draft.title}",
    }
    return render(request, "reports/issue.html", context)


@require_safe
@club_page("reports.read")
def report(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """The report as a page: the same figures and drawings as the PDF's."""
    row = _get(request, uuid)
    if row.figures is None:
        return redirect("reports:edit", request.club.slug, row.uuid)
    key = f"report-page-{fingerprint_of(row.figures)}"
    shown = cache.get(key)
    if shown is None:
        try:
            shown = present(row.figures)
        except ReportError as error:
            messages.error(request, str(error), extra_tags="warn")
            return redirect("reports:list", request.club.slug)
        cache.set(key, shown, _KEPT_S)
    context = {
        **shown,
        "row": row,
        "has_pdf": row.pdf_made_at is not None,
        "answers": row.decisions.select_related("answered_by", "project"),
        "fingerprint": row.fingerprint or fingerprint_of(row.figures),
        "may_write": request.may("reports.write"),
        "sheet_name": row.title,
        "sheet_status": shown["status"],
        "sheet_programme": f"{shown['programme']['name']}, revision {shown['programme']['revision']}",
        "sheet_levels": shown["club"]["levels"],
        "sheet_figures_to": shown["to_short"],
    }
    return render(request, "reports/report.html", context)


@require_safe
@club_page("reports.read")
def download(request: ClubRequest, uuid: UUID) -> HttpResponse:
    row = get_row(_visible(request).defer("figures"), request.club, uuid)
    if not row.pdf:
        raise Http404
    name = f"report-{row.number}" if row.is_issued else "working-copy"
    response = HttpResponse(bytes(row.pdf), content_type="application/pdf")
    file_name = f"{slugify(request.club.name)}-{name}-{row.to_date:%Y-%m-%d}.pdf"
    response["Content-Disposition"] = f'inline; filename="{file_name}"'
    response["Cache-Control"] = "private, no-cache"
    return response


@require_safe
@club_page("reports.read")
def decisions(request: ClubRequest) -> HttpResponse:
    return _decisions_page(request)


def _decisions_page(
    request: ClubRequest, *, refused: UUID | None = None, form: AnswerForm | None = None
) -> HttpResponse:
    rows = (
        Decision.objects.filter(club=request.club, report__state=Report.State.ISSUED)
        .select_related("report", "project", "answered_by")
        .defer("report__pdf", "report__figures")
        .order_by("-report__number", "order")
    )
    may_answer = request.may("decisions.answer")
    waiting = [
        {
            "decision": row,
            "form": form
            if form is not None and row.uuid == refused
            else AnswerForm(auto_id=f"{row.uuid}_%s"),
        }
        for row in rows
        if row.answer == Decision.Answer.OPEN
    ]
    context = {
        "waiting": waiting,
        "answered": [row for row in rows if row.answer != Decision.Answer.OPEN],
        "may_answer": may_answer,
        "sheet_name": "Decisions of the committee",
    }
    return render(request, "reports/decisions.html", context)


@require_POST
@club_page("decisions.answer")
def answer(request: ClubRequest, uuid: UUID) -> HttpResponse:
    rows = Decision.objects.filter(report__state=Report.State.ISSUED)
    decision = get_row(rows, request.club, uuid)
    form = AnswerForm(request.POST, auto_id=f"{uuid}_%s")
    if not form.is_valid():
        return _decisions_page(request, refused=uuid, form=form)
    try:
        services.answer_decision(decision=decision, by=request.user, **form.cleaned_data)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages), extra_tags="warn")
    else:
        messages.success(request, "Your answer is kept with your name.", extra_tags="good")
    return redirect("reports:decisions", request.club.slug)
