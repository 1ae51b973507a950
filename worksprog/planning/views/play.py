"""Fixtures, holes out of play and money released: one page."""

from __future__ import annotations

from itertools import combinations
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_POST

from worksprog.clubs.door import ClubRequest, club_page, get_row
from worksprog.planning.forms.play import FixtureForm, PlayRulesForm, ReleaseForm
from worksprog.planning.models import Fixture, MoneyRelease, PlayRules
from worksprog.planning.queries.money import money_by_year
from worksprog.planning.services import play as services
from worksprog.works.queries import live_programme

WRONG = 422


@require_GET
@club_page("planning.read")
def play_page(request: ClubRequest) -> HttpResponse:
    return _page(request)


def _rules(request: ClubRequest) -> PlayRules:
    found = PlayRules.objects.filter(club=request.club).first()
    return found or PlayRules(club=request.club)


def _page(request: ClubRequest, status: int = 200, **forms: Any) -> HttpResponse:
    programme = live_programme(request.club)
    may_plan = request.may("planning.plan")
    fixtures = list(Fixture.objects.filter(club=request.club).prefetch_related("holes"))
    context: dict[str, Any] = {
        "sheet_name": "Programme · play and money",
        "programme": programme,
        "fixtures": fixtures,
        "together": [
            (one, two)
            for one, two in combinations(fixtures, 2)
            if one.from_date <= two.to_date and two.from_date <= one.to_date
        ],
        "rules": _rules(request),
        "may_plan": may_plan,
    }
    if may_plan:
        context |= {
            "fixture_form": FixtureForm(instance=Fixture(club=request.club)),
            "rules_form": PlayRulesForm(instance=_rules(request)),
        }
    if programme is not None:
        programme.club = request.club
        releases = list(MoneyRelease.objects.filter(programme=programme).select_related("project"))
        context |= {
            "releases": releases,
            "years": money_by_year(programme, releases) if releases else [],
        }
        if may_plan:
            release = MoneyRelease(club=request.club, programme=programme)
            context["release_form"] = ReleaseForm(instance=release)
    return render(request, "planning/play.html", context | forms, status=status)


@require_POST
@club_page("planning.plan")
def fixtures_page(request: ClubRequest) -> HttpResponse:
    form = FixtureForm(request.POST, instance=Fixture(club=request.club))
    if form.is_valid():
        try:
            services.keep_fixture(
                fixture=form.instance, holes=form.cleaned_data["holes"], by=request.user
            )
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(
                request, "The fixture is kept. Make the plan again to see it.", extra_tags="good"
            )
            return redirect("planning:play", request.club.slug)
    return _page(request, WRONG, fixture_form=form)


@require_POST
@club_page("planning.plan")
def drop_fixture_page(request: ClubRequest, uuid: UUID) -> HttpResponseRedirect:
    services.drop_fixture(fixture=get_row(Fixture, request.club, uuid), by=request.user)
    messages.success(request, "The fixture is taken out.", extra_tags="good")
    return redirect("planning:play", request.club.slug)


@require_POST
@club_page("planning.plan")
def play_rules_page(request: ClubRequest) -> HttpResponse:
    form = PlayRulesForm(request.POST, instance=_rules(request))
    if not form.is_valid():
        return _page(request, WRONG, rules_form=form)
    services.keep_play_rules(rules=form.instance, by=request.user)
    messages.success(request, "Kept. Plans made from now on follow it.", extra_tags="good")
    return redirect("planning:play", request.club.slug)


@require_POST
@club_page("planning.plan")
def releases_page(request: ClubRequest) -> HttpResponse:
    programme = live_programme(request.club)
    if programme is None:
        messages.error(request, "There is no live programme yet.", extra_tags="warn")
        return redirect("planning:play", request.club.slug)
    release = MoneyRelease(club=request.club, programme=programme)
    form = ReleaseForm(request.POST, instance=release)
    if not form.is_valid():
        return _page(request, WRONG, release_form=form)
    services.keep_release(release=form.instance, by=request.user)
    messages.success(
        request, "The money is kept. Make the plan again to see the dates.", extra_tags="good"
    )
    return redirect("planning:play", request.club.slug)


@require_POST
@club_page("planning.plan")
def drop_release_page(request: ClubRequest, uuid: UUID) -> HttpResponseRedirect:
    services.drop_release(release=get_row(MoneyRelease, request.club, uuid), by=request.user)
    messages.success(request, "The money is taken out; the records keep it.", extra_tags="good")
    return redirect("planning:play", request.club.slug)
