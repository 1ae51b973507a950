"""An item: what it is on, its quantities, its estimate line by line, what it waits for."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import Q
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from worksprog.clubs.door import ClubRequest, club_page, get_row
from worksprog.course.models import Feature, Hole
from worksprog.works import cautions, queries, services
from worksprog.works.forms import (
    ConsentForm,
    ItemForm,
    LineForm,
    LinkForm,
    QuantityForm,
    SpendForm,
    StateForm,
)
from worksprog.works.forms.shared import was_kept
from worksprog.works.models import Consent, Estimate, EstimateLine, Item, Link, Phase, Spend
from worksprog.works.queries import compared
from worksprog.works.recipes import kinds_of, recipe_of
from worksprog.works.views.shared import form_page, keep, show, title_block

_WITH_PARENTS = Item.objects.select_related("phase__project__programme", "club")


def _item(request: ClubRequest, uuid: UUID) -> Item:
    return get_row(_WITH_PARENTS.all(), request.club, uuid)


def _back(item: Item) -> str:
    return reverse("works:item", args=[item.club.slug, item.uuid])


def _lines_shown(lines: list[EstimateLine]) -> list[dict[str, Any]]:
    return queries.lines_by_category(lines)


@require_GET
@club_page("works.read")
def item(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """The item's sheet."""
    # Item and estimates in one query where there are any.
    estimates = list(
        Estimate.objects.filter(club=request.club, item__uuid=uuid)
        .select_related("item__phase__project__programme", "book")
        .defer("book__entries")
        .order_by("-revision")
    )
    row = estimates[0].item if estimates else _item(request, uuid)
    row.club = request.club
    measured = queries.measure_item(row)
    live = next((one for one in estimates if one.is_live), None)
    listed = queries.quantities_of(row, measured, live)
    lines = list(live.lines.select_related("price")) if live is not None else []
    links = list(Link.objects.filter(Q(first=row) | Q(then=row)).select_related("first", "then"))
    programme = row.phase.project.programme
    consents = list(row.consents.all())
    return show(
        request,
        "works/item.html",
        {
            "item": row,
            "recipe": recipe_of(request.club, row.kind),
            "quantities": listed,
            "differ": any(one.differs for one in listed),
            "assumed": queries.assumed_of(row, measured),
            "estimate": live,
            "earlier": [one for one in estimates if not one.is_live],
            "groups": _lines_shown(lines),
            "moved": compared.everything_moved(live, measured) if live is not None else [],
            "repriced": queries.repriced_lines(lines),
            "waits_for": [link for link in links if link.then_id == row.pk],
            "followed_by": [link for link in links if link.first_id == row.pk],
            "holes": list(row.holes.all()),
            "consents": consents,
            "lacking": queries.lacking_words(row, consents, request.club.today()),
            "spends": list(row.spends.all()),
            "cautions": cautions.cautions_of(recipe_of(request.club, row.kind)),
            "defers": cautions.DEFERS,
            "state_form": StateForm(initial={"state": row.state, "on": request.club.today()}),
            "sheet_name": f"Estimates · {row.name}",
            **title_block(programme),
        },
    )


@require_GET
@club_page("works.read")
def feature_panel(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """The works' part of the map's side panel; empty for a feature that no works touch."""
    feature = get_row(Feature.objects.only("id", "club_id"), request.club, uuid)
    found = queries.items_on_feature(feature)
    if not found:
        return HttpResponse()
    return show(request, "works/_feature_panel.html", {"found": found})


@require_http_methods(["GET", "POST"])
@club_page("works.plan")
def new_item(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """First the kind of work, then what it is on."""
    phase = get_row(Phase.objects.select_related("project__programme", "club"), request.club, uuid)
    kind = request.GET.get("kind", "")
    back = reverse("works:project", args=[request.club.slug, phase.project.uuid])
    kinds = dict(kinds_of(request.club))
    if kind not in kinds:
        return show(
            request,
            "works/choose_kind.html",
            {
                "phase": phase,
                "kinds": list(kinds.items()),
                "back": back,
                "sheet_name": "Estimates · new item",
                **title_block(phase.project.programme),
            },
        )
    made = Item(
        club=request.club,
        phase=phase,
        kind=kind,
        growing_in_weeks=services.USUAL_GROWING_WEEKS.get(kind, 0),
    )
    form = ItemForm(
        request.POST or None,
        instance=made,
        choices=queries.features_for(request.club, kind),
        holes=Hole.objects.filter(club=request.club),
    )

    def add() -> Item:
        facts = dict(form.cleaned_data)
        return services.create_item(phase=phase, kind=kind, by=request.user, **facts)

    added: list[Item] = []
    if request.method == "POST" and keep(form, lambda: added.append(add())):
        _try_build(request, added[0])
        return redirect("works:item", request.club.slug, added[0].uuid)
    return form_page(
        request,
        form=form,
        title=f"New item: {kinds[kind]}",
        button="Add the item",
        back=back,
        lead=f"In {phase.project}, {phase.name}.",
    )


def _try_build(request: ClubRequest, row: Item, *, new_revision: bool = False) -> bool:
    try:
        services.build_estimate(item=row, by=request.user, new_revision=new_revision)
    except ValidationError as error:
        for message in error.messages:
            messages.warning(request, f"No estimate yet: {message}", extra_tags="warn")
        return False
    return True


@require_http_methods(["GET", "POST"])
@club_page("works.plan")
def edit_item(request: ClubRequest, uuid: UUID) -> HttpResponse:
    row = _item(request, uuid)
    on_now = [feature.pk for feature in row.features.only("pk")]
    form = ItemForm(
        request.POST or None,
        instance=row,
        choices=queries.features_for(request.club, row.kind, also=on_now),
        holes=Hole.objects.filter(club=request.club),
    )
    if request.method == "POST" and keep(
        form,
        lambda: services.change_item(
            item=row,
            by=request.user,
            features=form.cleaned_data["features"],
            holes=form.cleaned_data["holes"],
        ),
    ):
        messages.success(
            request, "The item is kept. Its estimate stays until it is worked out again."
        )
        return redirect(_back(row))
    return form_page(
        request,
        form=form,
        title=f"Change {row.name}",
        button="Keep the change",
        back=_back(row),
        lead=f"Kind of work: {row.get_kind_display()}.",
    )


@require_http_methods(["GET", "POST"])
@club_page("works.plan")
def quantities(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """Figures entered by hand, beside what is measured and what is usual."""
    row = _item(request, uuid)
    measured = queries.measure_item(row)
    form = QuantityForm(
        request.POST or None,
        item=row,
        measured={**measured.measures, **measured.parameters},
    )
    if request.method == "POST" and keep(
        form,
        lambda: services.set_parameters(item=row, parameters=form.given(), by=request.user),
    ):
        live = row.estimates.filter(is_live=True, approved_on__isnull=False).first()
        if live is None:
            _try_build(request, row)
        else:
            messages.success(
                request, "The figures are kept. The approved estimate stays; make a new revision."
            )
        return redirect(_back(row))
    return form_page(
        request,
        form=form,
        title=f"Quantities of {row.name}",
        button="Keep and work out",
        back=_back(row),
        lead="Leave a field empty to take what is measured, or else what is usual.",
        in_columns=True,
    )


@require_POST
@club_page("works.plan")
def build(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """Measure and work the estimate out; an approved one only as a new revision, asked for."""
    row = _item(request, uuid)
    if _try_build(request, row, new_revision="new_revision" in request.POST):
        messages.success(request, "The estimate is worked out from what is measured now.", "good")
    return redirect(_back(row))


@require_POST
@club_page("works.plan")
def state(request: ClubRequest, uuid: UUID) -> HttpResponse:
    row = _item(request, uuid)
    form = StateForm(request.POST)
    lacking: list[str] = []

    def change() -> None:
        try:
            services.set_item_state(item=row, by=request.user, **form.cleaned_data)
        except services.ConsentMissing as missing:
            lacking.extend(missing.messages)
            raise

    if keep(form, change):
        return redirect(_back(row))
    if lacking:
        form.ask_consent()
    return form_page(
        request,
        form=form,
        title=f"Where {row.name} stands",
        button="Keep it, as confirmed" if lacking else "Keep it",
        back=_back(row),
    )


@require_http_methods(["GET", "POST"])
@club_page("works.plan")
def new_link(request: ClubRequest, uuid: UUID) -> HttpResponse:
    row = _item(request, uuid)
    others = list(
        Item.objects.filter(
            club=request.club, phase__project__programme=row.phase.project.programme
        )
        .exclude(pk=row.pk)
        .select_related("phase__project")
    )
    form = LinkForm(request.POST or None, others=others)

    def add() -> None:
        data = form.cleaned_data
        other = next(one for one in others if str(one.uuid) == data["other"])
        first, then = (other, row) if data["way"] == "after" else (row, other)
        services.link_items(
            first=first,
            then=then,
            type=data["type"],
            lag_days=data["lag_days"],
            by=request.user,
        )

    if request.method == "POST" and keep(form, add):
        return redirect(_back(row))
    return form_page(
        request,
        form=form,
        title=f"What {row.name} waits for",
        button="Draw the link",
        back=_back(row),
        lead="Drains wait for the drain below them by themselves; draw what else must wait.",
    )


@require_POST
@club_page("works.plan")
def remove_link(request: ClubRequest, uuid: UUID) -> HttpResponse:
    row = get_row(Link.objects.select_related("then"), request.club, uuid)
    then = row.then.uuid
    services.unlink_items(link=row, by=request.user)
    return redirect("works:item", request.club.slug, then)


def _figures(form: LineForm) -> services.LineFigures:
    return services.LineFigures(
        category=form.cleaned_data["category"],
        description=form.cleaned_data["description"],
        unit=form.cleaned_data["unit"],
        quantity=form.range_of(),
        price=form.price_of(),
    )


@require_http_methods(["GET", "POST"])
@club_page("works.plan")
def line(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """Set one line of an estimate by hand."""
    row = get_row(
        EstimateLine.objects.select_related("estimate__item__club", "price"), request.club, uuid
    )
    parent = row.estimate.item
    form = LineForm(request.POST or None, line=row)
    if request.method == "POST" and keep(
        form, lambda: services.edit_line(line=row, figures=_figures(form), by=request.user)
    ):
        return redirect(_back(parent))
    return form_page(
        request,
        form=form,
        title=f"Line of {parent.name}",
        button="Keep the line",
        back=_back(parent),
        lead="A line set by hand stays as it is when the item is measured again.",
        in_columns=True,
        release=reverse("works:release-line", args=[request.club.slug, uuid])
        if row.is_by_hand
        else "",
        is_own=row.step.startswith("own-"),
    )


@require_http_methods(["GET", "POST"])
@club_page("works.plan")
def new_line(request: ClubRequest, uuid: UUID) -> HttpResponse:
    row = _item(request, uuid)
    estimate = row.estimates.filter(is_live=True).select_related("item", "club").first()
    form = LineForm(request.POST or None, initial={"category": "contractor", "unit": "no"})

    def add() -> None:
        if estimate is None:
            raise ValidationError("Work the estimate out first; then lines can be added to it.")
        once = form.cleaned_data["once"]
        if not was_kept(EstimateLine, once):
            services.add_line(estimate=estimate, figures=_figures(form), by=request.user, once=once)

    if request.method == "POST" and keep(form, add):
        return redirect(_back(row))
    return form_page(
        request,
        form=form,
        title=f"A line of your own for {row.name}",
        button="Add the line",
        back=_back(row),
        in_columns=True,
    )


@require_POST
@club_page("works.plan")
def release_line(request: ClubRequest, uuid: UUID) -> HttpResponse:
    row = get_row(EstimateLine.objects.select_related("estimate__item__club"), request.club, uuid)
    parent = row.estimate.item
    try:
        services.release_line(line=row, by=request.user)
    except ValidationError as error:
        messages.warning(request, " ".join(error.messages), extra_tags="warn")
    return redirect(_back(parent))


@require_http_methods(["GET", "POST"])
@club_page("works.plan")
def new_consent(request: ClubRequest, uuid: UUID) -> HttpResponse:
    row = _item(request, uuid)
    made = Consent(club=request.club, item=row, name=request.GET.get("name", "")[:120])
    return _consent_page(request, made, row)


@require_http_methods(["GET", "POST"])
@club_page("works.plan")
def consent(request: ClubRequest, uuid: UUID) -> HttpResponse:
    row = get_row(Consent.objects.select_related("item__club"), request.club, uuid)
    return _consent_page(request, row, row.item)


def _consent_page(request: ClubRequest, row: Consent, parent: Item) -> HttpResponse:
    form = ConsentForm(request.POST or None, instance=row)

    def change() -> None:
        once = form.cleaned_data["once"]
        if row._state.adding and once is not None:
            if was_kept(Consent, once):
                return
            row.uuid = once
        services.record_consent(consent=row, by=request.user)

    if request.method == "POST" and keep(form, change):
        return redirect(_back(parent))
    return form_page(
        request,
        form=form,
        title=f"Consent or notice for {parent.name}",
        button="Keep it",
        back=_back(parent),
        lead=cautions.DEFERS,
    )


@require_http_methods(["GET", "POST"])
@club_page("works.plan")
def new_spend(request: ClubRequest, uuid: UUID) -> HttpResponse:
    row = _item(request, uuid)
    form = SpendForm(request.POST or None, initial={"spent_on": request.club.today()})

    def add() -> None:
        facts = dict(form.cleaned_data)
        if not was_kept(Spend, facts["once"]):
            services.record_spend(item=row, by=request.user, **facts)

    if request.method == "POST" and keep(form, add):
        return redirect(_back(row))
    return form_page(
        request,
        form=form,
        title=f"Money spent on {row.name}",
        button="Keep the entry",
        back=_back(row),
        lead="Invoices and hires. The crew's own hours are logged, not entered here.",
    )
