"""The tidy rules: what breaks them and where; the club's own limits; buried services."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from worksprog.calc.network import NetworkCheck
from worksprog.calc.network.tidy import Broken
from worksprog.clubs.door import ClubRequest, club_page, get_row
from worksprog.course.models import Feature, Kind, State
from worksprog.drainage import queries
from worksprog.drainage.forms.tidy import BuriedServiceForm, TidyRulesForm
from worksprog.drainage.models import BuriedService
from worksprog.drainage.queries.tidy import (
    broken_rules,
    buried_services,
    service_name,
    tidy_rules,
)
from worksprog.drainage.services.tidy import keep_tidy_rules, set_buried_service

SHOWN, NOTED = 60, 8
HEADS = {
    "unknown": "Buried services whose depth is not known",
    "service": "Too near a buried service",
    "crossing": "Drains that cross too closely",
    "cover": "Too little cover",
    "shallow": "Ditches that come out of the ground",
    "step_up": "Inverts that do not meet",
    "drop": "Drops without a backdrop",
    "narrows": "Steps down in size",
    "velocity": "Too slow to keep clean",
}


def _row(request: ClubRequest, one: Broken) -> dict[str, Any]:
    slug = request.club.slug
    return {
        "broken": one,
        "reach": reverse("drainage:reach", args=[slug, one.reach_keys[0]]),
        "map": f"{reverse('course:map', args=[slug])}#{one.service_key or one.reach_keys[0]}",
        "service": reverse("drainage:service", args=[slug, one.service_key])
        if one.service_key
        else "",
        "east": one.place[0],
        "north": one.place[1],
        "working": one.working,
        "rows": one.working.as_rows(),
    }


def _groups(request: ClubRequest, found: tuple[Broken, ...]) -> list[dict[str, Any]]:
    groups = []
    for rule, head in HEADS.items():
        rows = [one for one in found if one.rule == rule]
        if rows:
            groups.append(
                {
                    "head": head,
                    "count": len(rows),
                    "rows": [_row(request, one) for one in rows[:SHOWN]],
                    "left_out": max(0, len(rows) - SHOWN),
                }
            )
    return groups


@require_http_methods(["GET", "POST"])
@club_page("drainage.read", change="drainage.design")
def tidy(request: ClubRequest) -> HttpResponse:
    form = None
    if request.may("drainage.design"):
        form = TidyRulesForm(request.POST or None, instance=tidy_rules(request.club))
        if request.method == "POST" and form.is_valid():
            keep_tidy_rules(rules=form.instance, by=request.user)
            messages.success(request, "The limits are kept.", extra_tags="good")
            return redirect("drainage:tidy", request.club.slug)
    check = queries.check_network(request.club, over_ground=False)
    found = broken_rules(request.club, check)
    return render(
        request,
        "drainage/tidy.html",
        {
            "sheet_name": "Drainage · tidy rules",
            "check": check,
            "count": len(found),
            "groups": _groups(request, found),
            "form": form,
            "services": [
                {
                    "name": service_name(feature, row),
                    "row": row,
                    "address": reverse("drainage:service", args=[request.club.slug, feature.uuid]),
                }
                for feature, row in buried_services(request.club)
            ],
        },
        status=422 if form is not None and form.errors else 200,
    )


@require_GET
@club_page("drainage.read")
def tidy_notes(request: ClubRequest, uuid: UUID | None = None) -> HttpResponse:
    """For the network's page, or one drain's: the first few rules that are broken."""
    check: NetworkCheck
    if uuid is None:
        check, only = queries.check_network(request.club, over_ground=False), None
    else:
        get_row(Feature.objects.only("id", "club_id"), request.club, uuid)
        check, only = queries.check_holding(request.club, uuid), [str(uuid)]
    found = broken_rules(request.club, check, only)
    order = list(HEADS)
    first = sorted(found, key=lambda one: order.index(one.rule))[:NOTED]
    return render(
        request,
        "drainage/_tidy_notes.html",
        {"rows": [_row(request, one) for one in first], "count": len(found), "one": only},
    )


@require_http_methods(["GET", "POST"])
@club_page("drainage.read", change="drainage.design")
def service(request: ClubRequest, uuid: UUID) -> HttpResponse:
    rows = Feature.objects.filter(kind=Kind.SERVICE).exclude(state=State.REMOVED)
    feature = get_row(rows.select_related("service"), request.club, uuid)
    row = getattr(feature, "service", None)
    form = None
    if request.may("drainage.design"):
        form = BuriedServiceForm(
            request.POST or None, instance=row or BuriedService(club=request.club, feature=feature)
        )
    if form is not None and request.method == "POST" and form.is_valid():
        try:
            set_buried_service(feature=feature, by=request.user, **form.cleaned_data)
        except ValidationError as error:
            for name, words in error.message_dict.items():
                form.add_error(name if name in form.fields else None, words)
        else:
            messages.success(request, "What is known of it is kept.", extra_tags="good")
            return redirect("drainage:service", request.club.slug, uuid)
    check = queries.check_network(request.club, over_ground=False)
    found = [one for one in broken_rules(request.club, check) if one.service_key == str(uuid)]
    return render(
        request,
        "drainage/service.html",
        {
            "sheet_name": f"Drainage · {service_name(feature, row)}",
            "feature": feature,
            "row": row,
            "name": service_name(feature, row),
            "form": form,
            "found": [_row(request, one) for one in found[:SHOWN]],
        },
        status=422 if form is not None and form.errors else 200,
    )
