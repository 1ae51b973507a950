"""Kinds of work: those that ship, open to look at, and the club's own."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import Count
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from worksprog.calc import build_up as calc
from worksprog.clubs.door import ClubRequest, club_page, get_row
from worksprog.works import cautions, services
from worksprog.works.forms.kinds import KindSheet
from worksprog.works.models import Item, OutputRate, Price, WorkRecipe
from worksprog.works.recipes import recipe_of
from worksprog.works.views.shared import show

WRONG = 422


@require_GET
@club_page("works.read")
def kinds(request: ClubRequest) -> HttpResponse:
    """Every kind of work with how it is measured and how many items are of it."""
    used = dict(
        Item.objects.filter(club=request.club)
        .order_by()
        .values_list("kind")
        .annotate(count=Count("pk"))
    )
    own = list(WorkRecipe.objects.filter(club=request.club))
    return show(
        request,
        "works/kinds.html",
        {
            "own": [(row, used.get(row.code, 0)) for row in own],
            "shipped": [(one, used.get(one.kind, 0)) for one in calc.RECIPES.values()],
            "sheet_name": "Estimates · kinds of work",
        },
    )


def _missing(request: ClubRequest, recipe: calc.Recipe) -> list[str]:
    """Codes that its lines ask for and the price book has not; those filled from figures apart."""
    prices = set(Price.objects.filter(club=request.club).values_list("code", flat=True))
    rates = set(OutputRate.objects.filter(club=request.club).values_list("code", flat=True))
    usual = {one.name: f"{one.usual.likely:g}" for one in recipe.parameters}
    wanted = [(line.price.format(**usual), prices) for line in recipe.lines]
    wanted += [(line.rate, rates) for line in recipe.lines if line.rate]
    return sorted({code for code, there in wanted if code not in there})


def _kind_page(request: ClubRequest, recipe: calc.Recipe, row: WorkRecipe | None) -> HttpResponse:
    return show(
        request,
        "works/kind.html",
        {
            "recipe": recipe,
            "row": row,
            "quantities": [(one, recipe.sheet.shown(one.name)) for one in recipe.quantities],
            "examples": [
                {
                    "takes": "; ".join(f"{k} = {v:g}" for k, v in one["given"].items()),
                    "gives": "; ".join(f"{k} = {v:g}" for k, v in one["expected"].items()),
                }
                for one in (row.examples if row is not None else [])
            ],
            "missing": _missing(request, recipe),
            "cautions": cautions.cautions_of(recipe),
            "defers": cautions.DEFERS,
            "sheet_name": f"Estimates · {recipe.title}",
        },
    )


@require_GET
@club_page("works.read")
def shipped_kind(request: ClubRequest, kind: str) -> HttpResponse:
    if kind not in calc.RECIPES:
        raise Http404
    return _kind_page(request, calc.RECIPES[kind], None)


@require_GET
@club_page("works.read")
def own_kind(request: ClubRequest, uuid: UUID) -> HttpResponse:
    row = get_row(WorkRecipe, request.club, uuid)
    return _kind_page(request, recipe_of(request.club, row.code), row)


def _edited(request: ClubRequest, sheet: KindSheet, row: WorkRecipe | None) -> HttpResponse:
    wrong: list[str] = []
    if request.method == "POST" and sheet.is_valid():
        try:
            kept = services.keep_kind(
                club=request.club,
                definition=sheet.definition(),
                examples=sheet.examples(),
                by=request.user,
                row=row,
                seen=sheet.head.cleaned_data["seen"],
            )
        except ValidationError as error:
            wrong = error.messages
        else:
            messages.success(request, f"{kept.title} is kept; its worked numbers come out.")
            return redirect("works:own-kind", request.club.slug, kept.uuid)
    elif request.method == "POST":
        wrong = ["Some fields are not as expected; they are marked below. Nothing is lost."]
    title = f"Change {row.title}" if row is not None else "A kind of work of the club's own"
    context: dict[str, Any] = {
        "sheet": sheet,
        "parts": list(sheet.parts.values()),
        "wrong": wrong,
        "title": title,
        "back": reverse("works:kinds", args=[request.club.slug]),
        "sheet_name": f"Estimates · {title}",
    }
    return render(request, "works/kind_form.html", context, status=WRONG if wrong else 200)


@require_http_methods(["GET", "POST"])
@club_page("works.plan")
def new_kind(request: ClubRequest) -> HttpResponse:
    """Begun empty, or from a kind that there is: ``?like=`` its code."""
    like = request.GET.get("like", "")
    start: dict[str, Any] | None = None
    if like:
        try:
            start = calc.definition_of(recipe_of(request.club, like))
        except ValidationError:
            raise Http404 from None
        start |= {"kind": f"own_{like}"[:40], "title": f"{start['title']}, our way"}
        start["cautions"] = [one.key for one in cautions.cautions_of(recipe_of(request.club, like))]
    data = request.POST if request.method == "POST" else None
    return _edited(request, KindSheet(data, definition=start, is_new=True), None)


@require_http_methods(["GET", "POST"])
@club_page("works.plan")
def edit_kind(request: ClubRequest, uuid: UUID) -> HttpResponse:
    row = get_row(WorkRecipe, request.club, uuid)
    recipe = recipe_of(request.club, row.code)
    sheet = KindSheet(
        request.POST if request.method == "POST" else None,
        definition=calc.definition_of(recipe),
        examples=row.examples,
        version=row.version,
        is_new=False,
    )
    return _edited(request, sheet, row)


@require_POST
@club_page("works.plan")
def offer_kind(request: ClubRequest, uuid: UUID) -> HttpResponse:
    row = get_row(WorkRecipe, request.club, uuid)
    services.offer_kind(row=row, offered=request.POST.get("offered") == "yes", by=request.user)
    return redirect("works:own-kind", request.club.slug, row.uuid)


@require_POST
@club_page("works.plan")
def drop_kind(request: ClubRequest, uuid: UUID) -> HttpResponse:
    row = get_row(WorkRecipe, request.club, uuid)
    try:
        services.drop_kind(row=row, by=request.user)
    except ValidationError as error:
        messages.error(request, error.messages[0], extra_tags="warn")
        return redirect("works:own-kind", request.club.slug, row.uuid)
    messages.success(request, f"{row.title} is taken away.")
    return redirect("works:kinds", request.club.slug)
