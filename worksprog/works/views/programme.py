"""Programme, projects and phases."""

from __future__ import annotations

from collections.abc import Iterable
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from worksprog.clubs.door import ClubRequest, club_page, get_row
from worksprog.clubs.records import save_record
from worksprog.works import queries, services
from worksprog.works.forms import ApproveForm, PhaseForm, ProgrammeForm, ProjectForm
from worksprog.works.models import Category, Phase, Programme, Project
from worksprog.works.queries.money import tax_of
from worksprog.works.views.shared import form_page, keep, show, title_block


def _heads(totals: queries.Totals) -> list[dict[str, object]]:
    return [
        {
            "label": Category(category).label,
            "amount": amount,
            "share": amount / totals.money_likely if totals.money_likely else None,
        }
        for category, amount in totals.by_category.items()
    ]


def _has_approved(items: Iterable[queries.ItemSheet]) -> bool:
    return any(item.estimate is not None and item.estimate.approved_on for item in items)


def _programme_page(request: ClubRequest, uuid: UUID | None) -> HttpResponse:
    """The live programme, or that of ``uuid``."""
    others = list(Programme.objects.filter(club=request.club))
    programme = next(
        (one for one in others if one.uuid == uuid or (not uuid and one.is_live)), None
    )
    if programme is None and uuid is not None:
        raise Http404
    if programme is None:
        return show(
            request,
            "works/no_programme.html",
            {"others": others, "sheet_name": "Estimates"},
        )
    programme.club = request.club
    sheet = queries.programme_sheet(programme)
    return show(
        request,
        "works/programme.html",
        {
            "sheet": sheet,
            "programme": programme,
            "heads": _heads(sheet.totals),
            "tax": tax_of(request.club, sheet.totals.by_category),
            "lacking": [item for item in sheet.items if item.lacking],
            "stale": sum(1 for item in sheet.items if item.is_stale),
            "has_approved": _has_approved(sheet.items),
            "others": [one for one in others if one.pk != programme.pk],
            "sheet_name": "Estimates · programme",
            **title_block(programme),
        },
    )


@require_GET
@club_page("works.read")
def programme(request: ClubRequest) -> HttpResponse:
    """The live programme, or how to begin one."""
    return _programme_page(request, None)


@require_GET
@club_page("works.read")
def programme_of(request: ClubRequest, uuid: UUID) -> HttpResponse:
    return _programme_page(request, uuid)


@require_http_methods(["GET", "POST"])
@club_page("works.plan")
def new_programme(request: ClubRequest) -> HttpResponse:
    made = Programme(club=request.club)
    form = ProgrammeForm(request.POST or None, instance=made)
    if request.method == "POST" and keep(
        form, lambda: services.save_programme(programme=form.instance, by=request.user)
    ):
        return redirect("works:programme-of", request.club.slug, made.uuid)
    return form_page(
        request,
        form=form,
        title="New programme",
        button="Begin the programme",
        back=reverse("works:programme", args=[request.club.slug]),
        lead="A programme holds the projects of several winters.",
    )


@require_http_methods(["GET", "POST"])
@club_page("works.plan")
def edit_programme(request: ClubRequest, uuid: UUID) -> HttpResponse:
    row = get_row(Programme, request.club, uuid)
    form = ProgrammeForm(request.POST or None, instance=row)
    if request.method == "POST" and keep(
        form, lambda: services.save_programme(programme=form.instance, by=request.user)
    ):
        return redirect("works:programme-of", request.club.slug, uuid)
    return form_page(
        request,
        form=form,
        title="Change the programme",
        button="Keep the change",
        back=reverse("works:programme-of", args=[request.club.slug, uuid]),
    )


@require_POST
@club_page("works.plan")
def build_all(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """Work out every estimate of the programme that is not approved."""
    row = get_row(Programme, request.club, uuid)
    done = services.build_estimates(programme=row, by=request.user)
    words = f"{done.built} estimates were worked out"
    if done.left_approved:
        words += f"; {done.left_approved} are approved and stay as they are"
    messages.success(request, f"{words}.", extra_tags="good")
    for item, reason in done.not_built:
        messages.warning(request, f"{item.name}: {reason}", extra_tags="warn")
    return redirect("works:programme-of", request.club.slug, uuid)


@require_GET
@club_page("works.read")
def project(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """One project with its phases, items and totals."""
    row = get_row(Project.objects.select_related("programme"), request.club, uuid)
    row.programme.club = request.club
    sheet = queries.programme_sheet(row.programme, projects=[row]).projects[0]
    return show(
        request,
        "works/project.html",
        {
            "sheet": sheet,
            "stale": sum(1 for phase in sheet.phases for item in phase.items if item.is_stale),
            "has_approved": any(_has_approved(phase.items) for phase in sheet.phases),
            "project": row,
            "programme": row.programme,
            "heads": _heads(sheet.totals),
            "tax": tax_of(request.club, sheet.totals.by_category),
            "approve_form": ApproveForm(
                initial={
                    "amount": row.approved or sheet.totals.money_p80 or sheet.totals.money_likely,
                    "approved_on": request.club.today(),
                }
            ),
            "sheet_name": f"Estimates · {row}",
            **title_block(row.programme),
        },
    )


@require_http_methods(["GET", "POST"])
@club_page("works.plan")
def new_project(request: ClubRequest, uuid: UUID) -> HttpResponse:
    parent = get_row(Programme, request.club, uuid)
    made = Project(club=request.club, programme=parent)
    form = ProjectForm(request.POST or None, instance=made)
    if request.method == "POST" and keep(form, lambda: save_record(made, by=request.user)):
        return redirect("works:project", request.club.slug, made.uuid)
    return form_page(
        request,
        form=form,
        title="New project",
        button="Add the project",
        back=reverse("works:programme-of", args=[request.club.slug, uuid]),
        lead=f"A project of {parent.name}: a drain, a tee, a wood to thin.",
    )


@require_http_methods(["GET", "POST"])
@club_page("works.plan")
def edit_project(request: ClubRequest, uuid: UUID) -> HttpResponse:
    row = get_row(Project, request.club, uuid)
    form = ProjectForm(request.POST or None, instance=row)
    if request.method == "POST" and keep(form, lambda: save_record(row, by=request.user)):
        return redirect("works:project", request.club.slug, uuid)
    return form_page(
        request,
        form=form,
        title="Change the project",
        button="Keep the change",
        back=reverse("works:project", args=[request.club.slug, uuid]),
    )


@require_POST
@club_page("works.plan")
def approve(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """Keep what the committee approved and freeze the project's live estimates."""
    row = get_row(Project.objects.select_related("programme"), request.club, uuid)
    form = ApproveForm(request.POST)
    if keep(
        form,
        lambda: services.approve_project(project=row, by=request.user, **form.cleaned_data),
    ):
        messages.success(
            request, "The approval is kept; the estimates it covers stay as they are.", "good"
        )
        return redirect("works:project", request.club.slug, uuid)
    return form_page(
        request,
        form=form,
        title=f"Approve {row}",
        button="Keep the approval",
        back=reverse("works:project", args=[request.club.slug, uuid]),
    )


@require_http_methods(["GET", "POST"])
@club_page("works.plan")
def new_phase(request: ClubRequest, uuid: UUID) -> HttpResponse:
    parent = get_row(Project, request.club, uuid)
    form = PhaseForm(request.POST or None)
    if request.method == "POST" and keep(
        form,
        lambda: services.create_phase(
            project=parent, name=form.cleaned_data["name"], by=request.user
        ),
    ):
        return redirect("works:project", request.club.slug, uuid)
    return form_page(
        request,
        form=form,
        title="New phase",
        button="Add the phase",
        back=reverse("works:project", args=[request.club.slug, uuid]),
        lead=f"A phase of {parent}: what is done together before the next begins.",
    )


@require_http_methods(["GET", "POST"])
@club_page("works.plan")
def edit_phase(request: ClubRequest, uuid: UUID) -> HttpResponse:
    row = get_row(Phase.objects.select_related("project"), request.club, uuid)
    form = PhaseForm(request.POST or None, instance=row)
    if request.method == "POST" and keep(form, lambda: save_record(row, by=request.user)):
        return redirect("works:project", request.club.slug, row.project.uuid)
    return form_page(
        request,
        form=form,
        title="Change the phase",
        button="Keep the change",
        back=reverse("works:project", args=[request.club.slug, row.project.uuid]),
    )
