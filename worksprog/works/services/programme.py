"""Programmes, projects, phases, items; what waits for what; consents and money out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from decimal import Decimal
from typing import Any
from uuid import UUID

import networkx as nx
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max

from worksprog.clubs.models import Club, User
from worksprog.clubs.records import (
    delete_record,
    save_record,
    set_links,
    update_records,
)
from worksprog.course.models import Feature, Hole
from worksprog.works.models import (
    Consent,
    Estimate,
    Item,
    ItemState,
    Link,
    Phase,
    Programme,
    Project,
    Spend,
    WorkKind,
)
from worksprog.works.recipes import recipe_of

# Weeks of growth before play where the manager says nothing: turf about a month, seed 12 to 16
# weeks (USGA Green Section Record, January 2008).
USUAL_GROWING_WEEKS: dict[str, int] = {
    WorkKind.TEE_REBUILD: 5,
    WorkKind.BUNKER_FILLED: 5,
    WorkKind.TURFING: 5,
    WorkKind.BUNKER_NEW: 3,
    WorkKind.MOUNDING: 14,
    WorkKind.SEEDING: 14,
    WorkKind.STUMPS: 14,
    WorkKind.HEDGE_SCRUB: 14,
}


@transaction.atomic
def create_programme(
    *,
    club: Club,
    name: str,
    starts_on: date,
    ends_on: date,
    by: User | None,
    revision: str = "A",
    is_live: bool = True,
) -> Programme:
    """A new programme; when it is live the one before it no longer is."""
    programme = Programme(
        club=club, name=name, revision=revision, starts_on=starts_on, ends_on=ends_on
    )
    programme.is_live = is_live
    return save_programme(programme=programme, by=by)


@transaction.atomic
def save_programme(*, programme: Programme, by: User | None) -> Programme:
    """Keep a programme; one of a club's programmes is live at a time."""
    if programme.is_live:
        others = list(
            Programme.objects.filter(club=programme.club, is_live=True).exclude(pk=programme.pk)
        )
        for other in others:
            other.is_live = False
            save_record(other, by=by)
    return save_record(programme, by=by)


@transaction.atomic
def create_project(
    *,
    programme: Programme,
    code: str,
    name: str,
    by: User | None,
    purpose: str = "",
    priority: int = 5,
) -> Project:
    project = Project(
        club=programme.club,
        programme=programme,
        code=code,
        name=name,
        purpose=purpose,
        priority=priority,
    )
    return save_record(project, by=by)


@transaction.atomic
def approve_project(
    *, project: Project, amount: Decimal, approved_on: date, by: User | None
) -> Project:
    """Keep what the committee approved; the live estimates of the project are frozen with it.

    Items that have no estimate yet stay without; theirs is approved when it is next approved.
    """
    project.approved = amount
    project.approved_on = approved_on
    save_record(project, by=by)
    live = list(
        Estimate.objects.filter(
            item__phase__project=project, is_live=True, approved_on__isnull=True
        ).select_related("item")
    )
    for estimate in live:
        estimate.approved_on = approved_on
    update_records(
        live,
        fields=["approved_on"],
        by=by,
        label=f"{project}: {len(live)} estimates approved",
    )
    return project


@transaction.atomic
def create_phase(
    *, project: Project, name: str, by: User | None, order: int | None = None
) -> Phase:
    """A phase, last of its project unless its place is given."""
    if order is None:
        order = (project.phases.aggregate(last=Max("order"))["last"] or 0) + 1
    return save_record(Phase(club=project.club, project=project, name=name, order=order), by=by)


def _check_club(club: Club, rows: Iterable[Any], what: str) -> None:
    if any(row.club_id != club.pk for row in rows):
        raise ValidationError(f"A {what} of another club cannot be chosen.")


def check_parameters(club: Club, kind: str, parameters: Mapping[str, Any]) -> dict[str, float]:
    """The figures entered by hand as numbers; ValidationError names what is wrong with which."""
    recipe = recipe_of(club, kind)
    measures = {measure.name: measure for measure in recipe.measures}
    known = {parameter.name: parameter for parameter in recipe.parameters}
    good: dict[str, float] = {}
    errors: list[str] = []
    for name, given in parameters.items():
        try:
            value = float(given)
            if name in known:
                value = known[name].checked(value)
            elif name not in measures:
                raise ValueError(f"{recipe.title} is not worked out from '{name}'.")
            elif not 0 <= value < 1e7:
                raise ValueError(
                    f"{measures[name].label}: from 0 to 10,000,000 {measures[name].unit} is "
                    f"expected, not {value:g}."
                )
        except (TypeError, ValueError) as error:
            errors.append(str(error))
        else:
            good[name] = value
    if errors:
        raise ValidationError(errors)
    return good


@transaction.atomic
def create_item(
    *,
    phase: Phase,
    kind: str,
    name: str,
    by: User | None,
    features: Iterable[Feature] = (),
    holes: Iterable[Hole] = (),
    parameters: Mapping[str, Any] | None = None,
    order: int | None = None,
    growing_in_weeks: int | None = None,
    **facts: Any,
) -> Item:
    """One job of one kind of work, on some features and holes; other ``facts`` as in the model.

    ValidationError for a feature or hole of another club, or a parameter out of bounds.
    """
    recipe = recipe_of(phase.club, kind)
    chosen, on_holes = list(features), list(holes)
    _check_club(phase.club, chosen, "feature")
    _check_club(phase.club, on_holes, "hole")
    if order is None:
        order = (phase.items.aggregate(last=Max("order"))["last"] or 0) + 1
    if growing_in_weeks is None:
        growing_in_weeks = USUAL_GROWING_WEEKS.get(kind, 0)
    item = Item(
        club=phase.club,
        phase=phase,
        kind=kind,
        kind_title=dict(WorkKind.choices).get(kind, recipe.title),
        name=name,
        order=order,
        growing_in_weeks=growing_in_weeks,
        parameters=check_parameters(phase.club, kind, parameters or {}),
        **facts,
    )
    save_record(item, by=by)
    set_links(item, "features", chosen, by=by)
    set_links(item, "holes", on_holes, by=by)
    return item


@transaction.atomic
def change_item(
    *, item: Item, by: User | None, features: Iterable[Feature], holes: Iterable[Hole]
) -> Item:
    """Keep an item's changed facts and what it is on."""
    chosen, on_holes = list(features), list(holes)
    _check_club(item.club, chosen, "feature")
    _check_club(item.club, on_holes, "hole")
    save_record(item, by=by)
    set_links(item, "features", chosen, by=by)
    set_links(item, "holes", on_holes, by=by)
    return item


@transaction.atomic
def set_parameters(*, item: Item, parameters: Mapping[str, Any], by: User | None) -> Item:
    """Keep the figures entered by hand; the estimate follows when it is built again."""
    item.parameters = check_parameters(item.club, item.kind, parameters)
    return save_record(item, by=by)


class ConsentMissing(ValidationError):
    """Work would begin without a consent; it asks to be confirmed once more, deliberately."""


def _begin_without_consent(item: Item, on: date, *, confirmed: bool, by: User | None) -> None:
    lacking = [(one, words) for one in item.consents.all() if (words := one.missing_on(on))]
    if lacking and not confirmed:
        raise ConsentMissing([f"{words[:1].upper()}{words[1:]}." for _, words in lacking])
    who = by.initialled if by else "nobody named"
    for consent, words in lacking:
        line = f"Set on site from {on.day} {on:%b %Y}, confirmed by {who} though {words}."
        consent.notes = f"{consent.notes}\n{line}".strip()
        save_record(consent, by=by)


@transaction.atomic
def set_item_state(
    *, item: Item, state: str, on: date, by: User | None, without_consent: bool = False
) -> Item:
    """Where the job stands, with the day it started and finished.

    Growing in means that the crew has finished. ValidationError when it would finish before it
    started, or the day is later than today by the club's own date. ConsentMissing when work begins
    without a consent and that is not confirmed by ``without_consent``; a confirmation is kept with
    the consent.
    """
    if state not in ItemState.values:
        raise ValidationError(f"'{state}' is not a state of a job.")
    if on > item.club.today() and state not in (ItemState.PROPOSED, ItemState.SHELVED):
        raise ValidationError("A job cannot have started or finished on a day still to come.")
    idle = (ItemState.PROPOSED, ItemState.SHELVED)
    if item.state in idle and state not in idle:
        _begin_without_consent(item, on, confirmed=without_consent, by=by)
    item.state = state
    if state in idle:
        item.finished_on = None
        if state == ItemState.PROPOSED:
            item.started_on = None
    elif state == ItemState.ON_SITE:
        item.started_on = item.started_on or on
        item.finished_on = None
    else:
        item.started_on = item.started_on or on
        item.finished_on = item.finished_on or on
        if item.finished_on < item.started_on:
            raise ValidationError(
                f"It started on {item.started_on:%d %b %Y}, so it cannot have finished on "
                f"{item.finished_on:%d %b %Y}."
            )
    return save_record(item, by=by)


@transaction.atomic
def link_items(
    *, first: Item, then: Item, by: User | None, type: str = Link.Type.FS, lag_days: int = 0
) -> Link:
    """``then`` waits for ``first``. ValidationError when they would wait for each other."""
    if first.club_id != then.club_id:
        raise ValidationError("Items of two clubs cannot be linked.")
    if first.pk == then.pk:
        raise ValidationError("An item does not wait for itself.")
    drawn: nx.DiGraph[int] = nx.DiGraph()
    drawn.add_edges_from(Link.objects.filter(club=first.club).values_list("first_id", "then_id"))
    if drawn.has_node(then.pk) and drawn.has_node(first.pk):
        try:
            chain = nx.shortest_path(drawn, then.pk, first.pk)
        except nx.NetworkXNoPath:
            pass
        else:
            names = dict(Item.objects.filter(pk__in=chain).values_list("pk", "name"))
            words = ", then ".join(names[key] for key in chain)
            raise ValidationError(
                f"They would wait for each other: {words} is drawn already the other way round."
            )
    link = Link(club=first.club, first=first, then=then, type=type, lag_days=lag_days)
    return save_record(link, by=by)


@transaction.atomic
def unlink_items(*, link: Link, by: User | None) -> None:
    delete_record(link, by=by)


@transaction.atomic
def record_consent(*, consent: Consent, by: User | None) -> Consent:
    """Keep a consent or notice. ValidationError when it was granted before it was asked for."""
    if consent.asked_on and consent.granted_on and consent.granted_on < consent.asked_on:
        raise ValidationError({"granted_on": "It was granted before it was asked for."})
    return save_record(consent, by=by)


@transaction.atomic
def record_spend(
    *,
    item: Item,
    spent_on: date,
    description: str,
    amount: Decimal,
    by: User | None,
    once: UUID | None = None,
) -> Spend:
    """Money that went out on an item; a correction is a row of its own, below 0.

    ``once`` becomes its uuid, so that the same sending is not kept twice.
    """
    if amount == 0:
        raise ValidationError({"amount": "An amount other than 0 is expected."})
    spend = Spend(
        club=item.club, item=item, spent_on=spent_on, description=description, amount=amount
    )
    if once is not None:
        spend.uuid = once
    return save_record(spend, by=by)
