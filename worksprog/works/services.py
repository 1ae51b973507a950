"""What changes programmes, items, estimates and the price book. Each is one transaction."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

import networkx as nx
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from worksprog.calc import build_up as calc
from worksprog.calc.ranges import ThreePoint
from worksprog.calc.working import Working
from worksprog.clubs.models import Club, User
from worksprog.clubs.records import (
    delete_record,
    save_record,
    save_records,
    set_links,
    update_records,
)
from worksprog.course.models import Feature, Hole
from worksprog.works import bridge, price_file, queries
from worksprog.works.models import (
    Consent,
    Estimate,
    EstimateLine,
    Item,
    ItemState,
    Link,
    OutputRate,
    Phase,
    Price,
    Programme,
    Project,
    Spend,
    WorkKind,
)

# Weeks of growth before play where the manager says nothing: turf about a month, seed 12 to 16
# weeks (USGA Green Section Record, January 2008).
USUAL_GROWING_WEEKS: dict[str, int] = {
    WorkKind.TEE_REBUILD: 5,
    WorkKind.BUNKER_FILLED: 5,
    WorkKind.TURFING: 5,
    WorkKind.BUNKER_NEW: 3,
    WorkKind.MOUNDING: 14,
    WorkKind.SEEDING: 14,
}
DEMO_SOURCE = "invented for the demonstration club; replace by your own quotes"
START_SOURCE = "starting figure, not confirmed; replace by your own quotes"

_LINE_FIELDS = (
    "order",
    "category",
    "step",
    "description",
    "price",
    "unit",
    "quantity_low",
    "quantity_likely",
    "quantity_high",
    "rate_low",
    "rate_likely",
    "rate_high",
    "amount_low",
    "amount_likely",
    "amount_high",
    "is_by_hand",
    "working",
)


# --- programme, projects, phases, items ---


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


def check_parameters(kind: str, parameters: Mapping[str, Any]) -> dict[str, float]:
    """The figures entered by hand as numbers; ValidationError names what is wrong with which."""
    recipe = calc.RECIPES[kind]
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
    if kind not in calc.RECIPES:
        raise ValidationError(f"'{kind}' is not a kind of work.")
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
        name=name,
        order=order,
        growing_in_weeks=growing_in_weeks,
        parameters=check_parameters(kind, parameters or {}),
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
    item.parameters = check_parameters(item.kind, parameters)
    return save_record(item, by=by)


@transaction.atomic
def set_item_state(*, item: Item, state: str, on: date, by: User | None) -> Item:
    """Where the job stands, with the day it started and finished.

    Growing in means that the crew has finished. ValidationError when it would finish before it
    started, or the day is later than today by the club's own date.
    """
    if state not in ItemState.values:
        raise ValidationError(f"'{state}' is not a state of a job.")
    if on > item.club.today() and state not in (ItemState.PROPOSED, ItemState.SHELVED):
        raise ValidationError("A job cannot have started or finished on a day still to come.")
    item.state = state
    if state in (ItemState.PROPOSED, ItemState.SHELVED):
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
    *, item: Item, spent_on: date, description: str, amount: Decimal, by: User | None
) -> Spend:
    """Money that went out on an item; a correction is a row of its own, below 0."""
    if amount == 0:
        raise ValidationError({"amount": "An amount other than 0 is expected."})
    spend = Spend(
        club=item.club, item=item, spent_on=spent_on, description=description, amount=amount
    )
    return save_record(spend, by=by)


# --- estimates ---


def measure_item(*, item: Item) -> bridge.Measured:
    """What the item's features tell now; nothing is written."""
    return queries.measure_item(item)


def _estimate_of(item: Item, measured: bridge.Measured, book: calc.Book) -> calc.Estimate:
    recipe = calc.RECIPES[item.kind]
    names = {measure.name for measure in recipe.measures}
    measures, parameters = dict(measured.measures), dict(measured.parameters)
    told = dict(measured.told)
    for name, value in item.parameters.items():
        (measures if name in names else parameters)[name] = value
        before = measured.measures.get(name)
        told[name] = "entered by hand" + (
            f", the features say {before:,.2f}" if before is not None else ""
        )
    try:
        return calc.build_up(
            recipe,
            measures=measures,
            parameters=parameters,
            book=book,
            told=told,
            by_contractor=item.by_contractor,
        )
    except ValueError as error:
        raise ValidationError(str(error)) from error


def _put_totals(estimate: Estimate, lines: Iterable[EstimateLine], given: list[Any]) -> None:
    """Totals, spread and working of an estimate from its lines as they stand."""
    worked = [bridge.row_to_line(line) for line in lines]
    hours, money = calc.total_lines(worked)
    hours_spread, money_spread = calc.spread_of(worked)
    estimate.labour_low_h, estimate.labour_likely_h, estimate.labour_high_h = (
        hours.low,
        hours.likely,
        hours.high,
    )
    estimate.money_low, estimate.money_likely, estimate.money_high = (
        money.low,
        money.likely,
        money.high,
    )
    estimate.labour_mean_h, estimate.labour_sd_h = hours_spread.mean, hours_spread.sd
    estimate.money_mean, estimate.money_sd = money_spread.mean, money_spread.sd
    title = calc.RECIPES[estimate.item.kind].title
    estimate.working = [*given, *calc.total_working(title, worked).as_rows()]


@transaction.atomic
def build_estimate(
    *,
    item: Item,
    by: User | None,
    new_revision: bool = False,
    book: calc.Book | None = None,
    made_at: datetime | None = None,
) -> Estimate:
    """Measure the item and build its estimate up from the price book.

    An estimate that is not approved is worked out again in its place; lines changed by hand stay
    as they are. An approved one is never changed: with ``new_revision`` it is kept and a new
    revision becomes the live one, without it ValidationError. ValidationError as well when
    something to measure or a price is missing, in words.
    """
    measured = queries.measure_item(item)
    worked = _estimate_of(item, measured, book or queries.price_book(item.club))
    recipe = calc.RECIPES[item.kind]
    live = Estimate.objects.filter(item=item, is_live=True).first()
    if live is not None and live.approved_on is not None and not new_revision:
        raise ValidationError(
            f"Estimate {live.revision} was approved on {live.approved_on:%d %b %Y} and stays as it "
            "is. Make a new revision to work it out again."
        )
    old_lines = list(live.lines.all()) if live is not None else []
    if live is None or live.approved_on is not None:
        last = item.estimates.aggregate(last=Max("revision"))["last"] or 0
        estimate = Estimate(club=item.club, item=item, revision=last + 1)
        if live is not None:
            live.is_live = False
            save_record(live, by=by)
    else:
        estimate = live
    planned = worked.derived[recipe.progress]
    estimate.made_by = by
    estimate.made_at = made_at or timezone.now()
    estimate.measured = measured.as_rows()
    estimate.feature_versions = measured.versions
    estimate.parameters = dict(item.parameters)
    estimate.quantity = float(planned.value)
    estimate.unit = planned.unit
    in_place = estimate.pk is not None
    by_hand = {line.step: line for line in old_lines if line.is_by_hand}
    reusable = {line.step: line for line in old_lines if in_place and not line.is_by_hand}
    prices = {price.code: price for price in Price.objects.filter(club=item.club)}
    rows: list[EstimateLine] = []
    for line in worked.lines:
        kept = by_hand.pop(line.key, None)
        if kept is not None:
            rows.append(_kept_line(kept, in_place=in_place))
            continue
        row = reusable.pop(line.key, None) or EstimateLine(club=item.club)
        rows.append(bridge.line_to_row(line, row, price=prices.get(line.price_code)))
    rows.extend(_kept_line(line, in_place=in_place) for line in by_hand.values())
    for place, row in enumerate(rows, start=1):
        row.order = place
    given = [{**row, "part": "given"} for row in Working(recipe.title, worked.given).as_rows()]
    _put_totals(estimate, rows, given)
    save_record(estimate, by=by)
    for row in rows:
        row.estimate = estimate
    label = f"{estimate}: lines"
    update_records([row for row in rows if row.pk], fields=_LINE_FIELDS, by=by, label=label)
    save_records([row for row in rows if not row.pk], by=by, label=label)
    for gone in reusable.values():
        delete_record(gone, by=by)
    return estimate


@dataclass(frozen=True)
class Built:
    """What came of working out many estimates at once."""

    built: int
    left_approved: int
    not_built: tuple[tuple[Item, str], ...]


@transaction.atomic
def build_estimates(*, programme: Programme, by: User | None) -> Built:
    """Work out every item's estimate that is not approved; what cannot be is told with its reason.

    Shelved items are left as they are.
    """
    book = queries.price_book(programme.club)
    approved = set(
        Estimate.objects.filter(
            item__phase__project__programme=programme, is_live=True, approved_on__isnull=False
        ).values_list("item_id", flat=True)
    )
    built, left = 0, 0
    failed: list[tuple[Item, str]] = []
    items = Item.objects.filter(phase__project__programme=programme).exclude(
        state=ItemState.SHELVED
    )
    for item in items.select_related("club"):
        if item.pk in approved:
            left += 1
            continue
        try:
            build_estimate(item=item, by=by, book=book)
        except ValidationError as error:
            failed.append((item, " ".join(error.messages)))
        else:
            built += 1
    return Built(built, left, tuple(failed))


def _kept_line(line: EstimateLine, *, in_place: bool) -> EstimateLine:
    """A line changed by hand, as it is; for a new revision a copy of it."""
    if in_place:
        return line
    copy = EstimateLine(club=line.club, estimate=line.estimate)
    for name in _LINE_FIELDS:
        setattr(copy, name, getattr(line, name))
    return copy


def _need_open(estimate: Estimate) -> None:
    if not estimate.is_live:
        raise ValidationError("This is an earlier revision; only the live one can be changed.")
    if estimate.approved_on is not None:
        raise ValidationError(
            f"Estimate {estimate.revision} was approved on {estimate.approved_on:%d %b %Y} and "
            "stays as it is. Make a new revision first."
        )


def _retotal(estimate: Estimate, by: User | None) -> None:
    # The steps before the lines' own totals are what was measured and derived; they stay.
    given = [row for row in estimate.working if row.get("part") == "given"]
    _put_totals(estimate, estimate.lines.all(), given)
    save_record(estimate, by=by)


@dataclass(frozen=True)
class LineFigures:
    """What a person sets of a line: quantity (hours on a labour line) and price of one unit."""

    category: str
    description: str
    unit: str
    quantity: ThreePoint
    price: calc.MoneyRange


def _put_figures(line: EstimateLine, figures: LineFigures) -> None:
    try:
        worked = calc.price_line(
            key=line.step,
            category=calc.Category(figures.category),
            description=figures.description,
            quantity=figures.quantity,
            unit=figures.unit,
            unit_price=figures.price,
            price_source="entered by hand",
        )
    except ValueError as error:
        raise ValidationError(str(error)) from error
    bridge.line_to_row(worked, line, price=line.price)
    line.is_by_hand = True


@transaction.atomic
def edit_line(*, line: EstimateLine, figures: LineFigures, by: User | None) -> EstimateLine:
    """Set a line by hand; it then stays so when the item is measured again."""
    _need_open(line.estimate)
    _put_figures(line, figures)
    save_record(line, by=by)
    _retotal(line.estimate, by)
    return line


@transaction.atomic
def add_line(*, estimate: Estimate, figures: LineFigures, by: User | None) -> EstimateLine:
    """A line of the estimator's own."""
    _need_open(estimate)
    last = estimate.lines.aggregate(last=Max("order"))["last"] or 0
    line = EstimateLine(club=estimate.club, estimate=estimate, order=last + 1)
    _put_figures(line, figures)
    line.step = f"own-{line.uuid.hex[:12]}"
    save_record(line, by=by)
    _retotal(estimate, by)
    return line


@transaction.atomic
def release_line(*, line: EstimateLine, by: User | None) -> Estimate:
    """Give up what was set by hand: an own line goes, a worked-out one is worked out again."""
    estimate = line.estimate
    _need_open(estimate)
    if line.step.startswith("own-"):
        delete_record(line, by=by)
        _retotal(estimate, by)
        return estimate
    line.is_by_hand = False
    save_record(line, by=by)
    return build_estimate(item=estimate.item, by=by)


# --- price book ---


@transaction.atomic
def set_price(
    *,
    club: Club,
    code: str,
    category: str,
    name: str,
    unit: str,
    low: Decimal,
    likely: Decimal,
    high: Decimal,
    dated: date,
    by: User | None,
    source: str = "",
    is_confirmed: bool = True,
) -> Price:
    """Set or add a price; estimates that stand keep theirs until they are built again."""
    price = Price.objects.filter(club=club, code=code).first() or Price(club=club, code=code)
    price.category, price.name, price.unit = category, name, unit
    price.low, price.likely, price.high = low, likely, high
    price.source, price.dated, price.is_confirmed = source, dated, is_confirmed
    return save_record(price, by=by)


@transaction.atomic
def set_output_rate(
    *,
    club: Club,
    code: str,
    name: str,
    unit: str,
    low: Decimal,
    likely: Decimal,
    high: Decimal,
    dated: date,
    by: User | None,
    source: str = "",
    is_confirmed: bool = True,
) -> OutputRate:
    """Set or add an output rate, in units an hour."""
    rate = OutputRate.objects.filter(club=club, code=code).first() or OutputRate(
        club=club, code=code
    )
    rate.name, rate.unit = name, unit
    rate.low, rate.likely, rate.high = low, likely, high
    rate.source, rate.dated, rate.is_confirmed = source, dated, is_confirmed
    return save_record(rate, by=by)


@transaction.atomic
def load_default_price_book(*, club: Club, by: User | None, dated: date | None = None) -> int:
    """Add the starting list, all of it not confirmed; what the club has is left as it is.

    Returns how many entries were added.
    """
    text = price_file.DEFAULT_BOOK.read_text(encoding="utf-8")
    source = DEMO_SOURCE if club.is_demo else START_SOURCE
    day = dated or club.today()
    have = set(Price.objects.filter(club=club).values_list("code", flat=True))
    have_rates = set(OutputRate.objects.filter(club=club).values_list("code", flat=True))
    prices: list[Price] = []
    rates: list[OutputRate] = []
    for row in price_file.read_price_file(text).rows:
        common: dict[str, Any] = {
            "club": club,
            "code": row.code,
            "name": row.name,
            "unit": row.unit,
            "low": row.low,
            "likely": row.likely,
            "high": row.high,
            "source": source,
            "dated": day,
            "is_confirmed": False,
        }
        if row.is_rate and row.code not in have_rates:
            rates.append(OutputRate(**common))
        elif not row.is_rate and row.code not in have:
            prices.append(Price(**common, category=row.category))
    for entry in (*prices, *rates):
        entry.full_clean(validate_unique=False)
    save_records(prices, by=by, label="Starting price book: prices")
    save_records(rates, by=by, label="Starting price book: output rates")
    return len(prices) + len(rates)


@dataclass(frozen=True)
class BookImport:
    """What a file brought; nothing is saved when a row was refused."""

    added: int
    changed: int
    refusals: tuple[price_file.Refusal, ...]


@transaction.atomic
def import_price_book(*, club: Club, text: str, dated: date, by: User | None) -> BookImport:
    """Take a price file: all of it, or nothing and the reason for every row refused.

    ValidationError when the file is not a price file at all.
    """
    try:
        book_file = price_file.read_price_file(text)
    except ValueError as error:
        raise ValidationError(str(error)) from error
    refusals = list(book_file.refusals)
    prices = {row.code: row for row in Price.objects.filter(club=club)}
    rates = {row.code: row for row in OutputRate.objects.filter(club=club)}
    new: list[Price | OutputRate] = []
    old: list[Price | OutputRate] = []
    for row in book_file.rows:
        found: Price | OutputRate | None = (rates if row.is_rate else prices).get(row.code)
        entry: Price | OutputRate = found or (
            OutputRate(club=club, code=row.code) if row.is_rate else Price(club=club, code=row.code)
        )
        if isinstance(entry, Price):
            entry.category = row.category
        entry.name, entry.unit = row.name, row.unit
        entry.low, entry.likely, entry.high = row.low, row.likely, row.high
        entry.source, entry.dated, entry.is_confirmed = row.source, dated, True
        try:
            entry.full_clean(validate_unique=False)
        except ValidationError as error:
            refusals.append(price_file.Refusal(row.number, "; ".join(error.messages)))
        (old if found else new).append(entry)
    if refusals:
        return BookImport(0, 0, tuple(sorted(refusals, key=lambda one: one.number)))
    for model, label in ((Price, "prices"), (OutputRate, "output rates")):
        words = f"Price file: {label}"
        fields = ["name", "unit", "low", "likely", "high", "source", "dated", "is_confirmed"]
        if model is Price:
            fields.append("category")
        update_records(
            [row for row in old if isinstance(row, model)], fields=fields, by=by, label=words
        )
        save_records([row for row in new if isinstance(row, model)], by=by, label=words)
    return BookImport(len(new), len(old), ())
