"""A better plan looked for at length; wishes given up and taken back."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from worksprog.clubs.door import ClubRequest, club_page, get_row
from worksprog.planning import bridge, services
from worksprog.planning.assembly import Wish, assemble
from worksprog.planning.forms.wishes import GiveUpForm, SolveForm
from worksprog.planning.models import GivenUp
from worksprog.runs.services import request_run
from worksprog.works.queries import live_programme

WRONG = 422
SORTS = {
    "promise": "Promised dates",
    "drain-order": "Order on the drains, outfall first",
    "link": "Order drawn between jobs",
    "consent": "Consents",
    "not-before": "First days",
    "window": "Working windows",
    "one-opening": "Jobs in one opening of their window",
    "fixture": "Fixtures",
    "holes": "Holes out of play",
    "money": "Money as it is released",
}


@require_POST
@club_page("planning.plan")
def solve_page(request: ClubRequest) -> HttpResponseRedirect:
    programme = live_programme(request.club)
    form = SolveForm(request.POST)
    if programme is None or not form.is_valid():
        words = "There is no live programme to plan yet." if programme is None else (
            "Choose for how long a better plan is looked for."
        )  # fmt: skip
        messages.error(request, words, extra_tags="warn")
        return redirect("planning:plan", request.club.slug)
    run = request_run(
        club=request.club,
        kind="planning.solve",
        inputs={"programme": str(programme.uuid), "seconds": form.cleaned_data["seconds"]},
        by=request.user,
    )
    return redirect("runs:run", request.club.slug, run.uuid)


def _by_sort(wishes: dict[str, Wish]) -> list[tuple[str, list[tuple[str, str]]]]:
    found: dict[str, list[tuple[str, str]]] = {sort: [] for sort in SORTS}
    for wish in wishes.values():
        found[wish.name.partition(":")[0]].append((wish.name, wish.words))
    return [(SORTS[sort], rows) for sort, rows in found.items() if rows]


@require_http_methods(["GET", "POST"])
@club_page("planning.read", change="planning.plan")
def wishes_page(request: ClubRequest) -> HttpResponse:
    """Everything that the plan keeps, by name; one may be given up."""
    programme = live_programme(request.club)
    context: dict[str, Any] = {
        "sheet_name": "Programme · what the plan keeps",
        "programme": programme,
        "may_plan": request.may("planning.plan"),
    }
    status = 200
    if programme is not None:
        programme.club = request.club
        facts = bridge.read_facts(programme, request.club.today())
        wishes = assemble(facts).wishes
        form = GiveUpForm(
            request.POST if request.method == "POST" else None,
            wishes=_by_sort(wishes),
            initial={"wish": request.GET.get("wish", "")},
        )
        if request.method == "POST":
            if form.is_valid():
                wish = wishes[form.cleaned_data["wish"]]
                try:
                    services.give_up_wish(
                        programme=programme,
                        wish=wish.name,
                        words=wish.words,
                        reason=form.cleaned_data["reason"],
                        by=request.user,
                    )
                except ValidationError as error:
                    form.add_error(None, error)
                else:
                    messages.success(
                        request, "It is given up. Make the plan again to see the dates move.",
                        extra_tags="good",
                    )  # fmt: skip
                    return redirect("planning:wishes", request.club.slug)
            status = WRONG
        context |= {
            "form": form,
            "sorts": _by_sort(wishes),
            "given_up": GivenUp.objects.filter(programme=programme).select_related("made_by")
            if facts.given_up
            else [],
        }
    return render(request, "planning/wishes.html", context, status=status)


@require_POST
@club_page("planning.plan")
def take_back_page(request: ClubRequest, uuid: UUID) -> HttpResponseRedirect:
    services.take_back_wish(given_up=get_row(GivenUp, request.club, uuid), by=request.user)
    messages.success(
        request, "Plans made from now on keep it again; the records keep both.", extra_tags="good"
    )
    return redirect("planning:wishes", request.club.slug)
