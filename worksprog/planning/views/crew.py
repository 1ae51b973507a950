"""The people of the crew: only who may plan sees names and absences."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from worksprog.clubs.door import ClubRequest, club_page, get_row
from worksprog.planning import services
from worksprog.planning.forms.crew import AbsenceForm, CrewMemberForm, SicknessForm
from worksprog.planning.models import Absence, CrewMember, PlanRules
from worksprog.planning.queries.crew import crew_year

WRONG = 422


@require_GET
@club_page("planning.plan")
def people_page(request: ClubRequest) -> HttpResponse:
    return _people_page(request)


def _people_page(request: ClubRequest, status: int = 200, **forms: Any) -> HttpResponse:
    club = request.club
    members = list(CrewMember.objects.filter(club=club).select_related("grade"))
    year = crew_year(club, club.today()) if members else None
    context = {
        "members": members,
        "absences": Absence.objects.filter(club=club, to_date__gte=club.today()).select_related(
            "member"
        ),
        "year": year,
        "member_form": CrewMemberForm(instance=CrewMember(club=club)),
        "absence_form": AbsenceForm(instance=Absence(club=club)),
        "sickness_form": SicknessForm(instance=_rules(request)),
        "sheet_name": "Programme · people of the crew",
    } | forms
    return render(request, "planning/people.html", context, status=status)


def _rules(request: ClubRequest) -> PlanRules:
    return PlanRules.objects.filter(club=request.club).first() or PlanRules(club=request.club)


def _keep_member(request: ClubRequest, form: CrewMemberForm) -> bool:
    if not form.is_valid():
        return False
    try:
        services.keep_crew_member(
            member=form.instance, grade=form.cleaned_data["grade_name"], by=request.user
        )
    except ValidationError as error:
        form.add_error(None, error)
        return False
    messages.success(request, "Kept. Make the plan again to see the dates move.", extra_tags="good")
    return True


@require_POST
@club_page("planning.plan")
def add_member_page(request: ClubRequest) -> HttpResponse:
    form = CrewMemberForm(request.POST, instance=CrewMember(club=request.club))
    if _keep_member(request, form):
        return redirect("planning:people", request.club.slug)
    return _people_page(request, WRONG, member_form=form)


@require_http_methods(["GET", "POST"])
@club_page("planning.plan")
def member_page(request: ClubRequest, uuid: UUID) -> HttpResponse:
    member = get_row(CrewMember.objects.select_related("grade"), request.club, uuid)
    form = CrewMemberForm(request.POST if request.method == "POST" else None, instance=member)
    if request.method == "POST" and _keep_member(request, form):
        return redirect("planning:people", request.club.slug)
    context = {
        "form": form,
        "member_uuid": uuid,
        "sheet_name": "Programme · one of the crew",
    }
    return render(request, "planning/person.html", context, status=WRONG if form.errors else 200)


@require_POST
@club_page("planning.plan")
def drop_member_page(request: ClubRequest, uuid: UUID) -> HttpResponseRedirect:
    services.drop_crew_member(member=get_row(CrewMember, request.club, uuid), by=request.user)
    messages.success(
        request, "Taken out of the crew with the days away; the records keep both.",
        extra_tags="good",
    )  # fmt: skip
    return redirect("planning:people", request.club.slug)


@require_POST
@club_page("planning.plan")
def absences_page(request: ClubRequest) -> HttpResponse:
    form = AbsenceForm(request.POST, instance=Absence(club=request.club))
    if not form.is_valid():
        return _people_page(request, WRONG, absence_form=form)
    services.keep_absence(absence=form.instance, by=request.user)
    messages.success(request, "The days away are kept.", extra_tags="good")
    return redirect("planning:people", request.club.slug)


@require_POST
@club_page("planning.plan")
def drop_absence_page(request: ClubRequest, uuid: UUID) -> HttpResponseRedirect:
    services.drop_absence(absence=get_row(Absence, request.club, uuid), by=request.user)
    messages.success(request, "The days away are taken out; the records keep them.",
                     extra_tags="good")  # fmt: skip
    return redirect("planning:people", request.club.slug)


@require_POST
@club_page("planning.plan")
def sickness_page(request: ClubRequest) -> HttpResponse:
    form = SicknessForm(request.POST, instance=_rules(request))
    if not form.is_valid():
        return _people_page(request, WRONG, sickness_form=form)
    services.keep_plan_rules(rules=form.instance, by=request.user)
    messages.success(request, "Kept. Plans made from now on follow it.", extra_tags="good")
    return redirect("planning:people", request.club.slug)
