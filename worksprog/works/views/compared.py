"""Estimates held against each other: by whose hands, revision and revision, then and now."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_GET, require_http_methods

from worksprog.clubs.door import ClubRequest, club_page, get_row
from worksprog.works import queries
from worksprog.works.models import Estimate, EstimateLine, Item, ItemState, Programme, Project
from worksprog.works.queries import Hands, compared
from worksprog.works.services.hands import choose_hands
from worksprog.works.views.shared import show, title_block

_WITH_PARENTS = Item.objects.select_related("phase__project__programme", "club")
CASES = (("low", "all low"), ("likely", "likely"), ("high", "all high"))
NOW = "now"


def _item(request: ClubRequest, uuid: UUID) -> Item:
    row = get_row(_WITH_PARENTS.all(), request.club, uuid)
    row.club = request.club
    return row


def _lines_of(estimates: Sequence[Estimate]) -> dict[int, list[EstimateLine]]:
    rows: dict[int, list[EstimateLine]] = {one.pk: [] for one in estimates}
    for row in EstimateLine.objects.filter(estimate__in=rows).defer("working"):
        rows[row.estimate_id].append(row)
    return rows


@require_http_methods(["GET", "POST"])
@club_page("works.read", change="works.plan")
def hands(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """Own crew, contractor and mixed side by side; nothing is kept until one is chosen."""
    row = _item(request, uuid)
    if request.method == "POST":
        return _choose(request, row)
    part = "part" in request.GET
    live = Estimate.objects.filter(item=row, is_live=True).defer("working", "measured").first()
    rows = _lines_of([live])[live.pk] if live is not None else []
    side = compared.side_by_side(
        row,
        queries.measure_item(row),
        queries.price_book(request.club),
        rows,
        mix=request.GET.getlist("step") if "mix" in request.GET else None,
    )
    return show(
        request,
        "works/_hands.html" if part else "works/hands.html",
        {
            "item": row,
            "estimate": live,
            "side": side,
            "is_part": part,
            "sheet_name": f"Estimates · {row.name}, by whose hands",
            **title_block(row.phase.project.programme),
        },
    )


def _choose(request: ClubRequest, row: Item) -> HttpResponse:
    whose = request.POST.get("hands", "")
    if whose == "contractor":
        chosen = Hands(by_contractor=True)
    elif whose == "mixed":
        chosen = Hands(contract_steps=tuple(request.POST.getlist("step")))
    elif whose == "own":
        chosen = Hands()
    else:
        messages.warning(request, "Choose own crew, contractor or mixed.", extra_tags="warn")
        return redirect("works:item", request.club.slug, row.uuid)
    try:
        estimate = choose_hands(item=row, hands=chosen, by=request.user)
    except ValidationError as error:
        for words in error.messages:
            messages.warning(request, f"Nothing was changed. {words}", extra_tags="warn")
    else:
        messages.success(
            request, f"Chosen. Estimate {estimate.revision} is worked out by these hands.", "good"
        )
    return redirect("works:item", request.club.slug, row.uuid)


@require_GET
@club_page("works.read")
def compare(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """Two revisions, or one and what would be worked out now, line by line."""
    row = _item(request, uuid)
    estimates = list(row.estimates.order_by("-revision"))
    live = next((one for one in estimates if one.is_live), None)
    case = next((code for code, _ in CASES if code == request.GET.get("case")), "likely")
    context: dict[str, Any] = {"item": row, "estimates": estimates, "estimate": live}
    if live is not None:
        by_number = {str(one.revision): one for one in estimates}
        before = by_number.get(request.GET.get("from", ""), live)
        after = by_number.get(request.GET.get("to", ""))
        is_asked = bool({"from", "to", "part"} & set(request.GET))
        previous = next((one for one in estimates if one.revision < live.revision), None)
        opens_on = None if is_asked else previous
        rows = _lines_of([one for one in (before, live, after, opens_on) if one is not None])
        context |= _held(request, row, live, before, after, rows, case)
        if opens_on is not None and not context["would_change"]:
            # The live estimate against itself would show nothing.
            context |= _held(request, row, live, opens_on, live, rows, case)
            context["stands"] = True
    if "part" in request.GET:
        return show(request, "works/_would_be.html", context)
    return show(
        request,
        "works/compare.html",
        {
            **context,
            "cases": CASES,
            "case": case,
            "sheet_name": f"Estimates · {row.name}, compared",
            **title_block(row.phase.project.programme),
        },
    )


def _held(
    request: ClubRequest,
    row: Item,
    live: Estimate,
    before: Estimate,
    after: Estimate | None,
    rows: dict[int, list[EstimateLine]],
    case: Any,
) -> dict[str, Any]:
    first = compared.kept(before, rows[before.pk])
    moved: list[queries.Moved] = []
    cannot = ""
    second: compared.WorkedOut | None
    if after is not None:
        second = compared.kept(after, rows[after.pk])
    else:
        now = compared.now_of(
            row, rows[live.pk], queries.measure_item(row), queries.price_book(request.club)
        )
        second, cannot = now.worked, now.cannot
        moved = compared.everything_moved(before, now.measured)
    held = compared.hold(first, second, case=case) if second is not None else None
    return {
        "before": before,
        "after": after,
        "held": held,
        "cannot": cannot,
        "moved": moved,
        "effects": compared.effects_shown(held) if held else [],
        "would_change": bool(cannot) or (held is not None and bool(held.comparison.changed)),
    }


def _out_of_date_page(
    request: ClubRequest,
    programme: Programme,
    estimates: QuerySet[Estimate],
    back: tuple[str, UUID, str],
) -> HttpResponse:
    found = (
        estimates.filter(is_live=True)
        .exclude(item__state=ItemState.SHELVED)
        .select_related("item")
        .order_by("item__phase__project__priority", "item__phase__order", "item__order", "item_id")
        .defer("working", "measured")
    )
    live = {one.item_id: one for one in found}
    items = [one.item for one in live.values()]
    for item in items:
        item.club = request.club
    stale = queries.stale_items(items, live)
    standing = {
        item.pk
        for item in items
        if item.pk not in stale and live[item.pk].approved_on and not item.finished_on
    }
    template, wanted = "works/out_of_date.html", stale | standing
    if "part" in request.GET:
        template, wanted = "works/_out_of_date.html", stale
    elif "rates" in request.GET:
        template, wanted = "works/_beside.html", standing
    worked = compared.out_of_date([item for item in items if item.pk in wanted])
    told = [one for one in worked if one.item.pk in stale]
    beside = [one for one in worked if one.item.pk in standing and one.would_change]
    return show(
        request,
        template,
        {
            "told": told,
            "sums": compared.sum_up(told),
            "beside": beside,
            "beside_sums": compared.sum_up(beside),
            "by_rates": sum(one.by_rates_alone for one in beside),
            "programme": programme,
            "back": back,
            "sheet_name": "Estimates · out of date",
            **title_block(programme),
        },
    )


@require_GET
@club_page("works.read")
def out_of_date(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """Every estimate of a programme whose features changed, and what that would do to it."""
    programme = get_row(Programme, request.club, uuid)
    return _out_of_date_page(
        request,
        programme,
        Estimate.objects.filter(item__phase__project__programme=programme),
        ("works:programme-of", programme.uuid, programme.name),
    )


@require_GET
@club_page("works.read")
def out_of_date_project(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """The same of one project."""
    project = get_row(Project.objects.select_related("programme"), request.club, uuid)
    return _out_of_date_page(
        request,
        project.programme,
        Estimate.objects.filter(item__phase__project=project),
        ("works:project", project.uuid, str(project)),
    )
