"""Estimates: built up from what is measured, approved once, changed by hand in the open."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from worksprog.calc import build_up as calc
from worksprog.calc.ranges import ThreePoint
from worksprog.calc.working import Working
from worksprog.clubs.models import User
from worksprog.clubs.records import (
    delete_record,
    save_record,
    save_records,
    update_records,
)
from worksprog.works import bridge, bridge_ranges, queries
from worksprog.works.measuring import Measured
from worksprog.works.models import (
    BookVersion,
    Estimate,
    EstimateLine,
    Item,
    ItemState,
    Price,
    Programme,
)
from worksprog.works.recipes import recipe_of
from worksprog.works.services.book_versions import version_in_force

_LINE_FIELDS = (
    "order",
    "category",
    "step",
    "description",
    "price",
    "unit",
    "measured_low",
    "measured_likely",
    "measured_high",
    "measured_unit",
    "output_code",
    "output_low",
    "output_likely",
    "output_high",
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


def measure_item(*, item: Item) -> Measured:
    """What the item's features tell now; nothing is written."""
    return queries.measure_item(item)


def _put_totals(estimate: Estimate, lines: Iterable[EstimateLine], given: list[Any]) -> None:
    """Totals, spread and working of an estimate from its lines as they stand."""
    rows = list(lines)
    worked = [bridge.row_to_line(line) for line in rows]
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
    title = recipe_of(estimate.club, estimate.item.kind).title
    estimate.simulated, drawn = bridge_ranges.range_item(
        estimate.item, rows, queries.swayed_by(estimate.club), queries.rules_of(estimate.club)
    )
    estimate.working = [*given, *calc.total_working(title, worked, drawn=drawn).as_rows()]


@transaction.atomic
def build_estimate(
    *,
    item: Item,
    by: User | None,
    new_revision: bool = False,
    book: calc.Book | None = None,
    version: BookVersion | None = None,
    made_at: datetime | None = None,
) -> Estimate:
    """Measure the item and build its estimate up from the price book.

    An estimate that is not approved is worked out again in its place; lines changed by hand stay
    as they are. An approved one is never changed: with ``new_revision`` it is kept and a new
    revision becomes the live one, without it ValidationError. ValidationError as well when
    something to measure or a price is missing, in words.
    """
    measured = queries.measure_item(item)
    worked = queries.work_out(item, measured, book or queries.price_book(item.club))
    recipe = recipe_of(item.club, item.kind)
    live = Estimate.objects.filter(item=item, is_live=True).first()
    if live is not None and live.approved_on is not None and not new_revision:
        raise ValidationError(
            f"Estimate {live.revision} was approved on {live.approved_on:%d %b %Y} and stays as it "
            "is. Make a new revision to work it out again."
        )
    old_lines = list(live.lines.select_related("price")) if live is not None else []
    if live is None or live.approved_on is not None:
        last = item.estimates.aggregate(last=Max("revision"))["last"] or 0
        estimate = Estimate(club=item.club, item=item, revision=last + 1)
        if live is not None:
            live.is_live = False
            save_record(live, by=by)
    else:
        estimate = live
    planned = worked.derived[recipe.progress].step
    estimate.made_by = by
    estimate.made_at = made_at or timezone.now()
    estimate.measured = measured.as_rows()
    estimate.feature_versions = measured.versions
    estimate.parameters = dict(item.parameters)
    estimate.quantity = float(planned.value)
    estimate.unit = planned.unit
    estimate.learnt = _told_of_learnt(item, worked)
    estimate.book = version or version_in_force(club=item.club, by=by)
    estimate.earth = [asdict(one) for one in calc.earth_of(recipe, worked.derived)]
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


def _told_of_learnt(item: Item, worked: calc.Estimate) -> dict[str, Any]:
    """Which learnt rate an estimate went by, so that it can be told from the book's."""
    row = queries.learnt_in_use(item.club).get(item.kind) if worked.learnt is not None else None
    if worked.learnt is None or row is None:
        return {}
    return {
        "rate": str(row.uuid),
        "as_of": row.as_of.isoformat(),
        "factor": worked.learnt.factor,
        "narrowing": worked.learnt.narrowing,
        "low": row.factor_low,
        "high": row.factor_high,
        "crew_weight": row.posterior.get("crew_weight"),
        "codes": sorted(worked.learnt_codes),
        "words": worked.learnt.words,
    }


@dataclass(frozen=True)
class Built:
    """What came of working out many estimates at once."""

    built: int
    left_approved: int
    not_built: tuple[tuple[Item, str], ...]


@transaction.atomic
def build_estimates(
    *, programme: Programme, by: User | None, made_at: datetime | None = None
) -> Built:
    """Work out every item's estimate that is not approved; what cannot be is told with its reason.

    Shelved items are left as they are.
    """
    book = queries.price_book(programme.club)
    version = version_in_force(club=programme.club, by=by)
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
    for item in items.select_related("club", "phase__project"):
        if item.pk in approved:
            left += 1
            continue
        try:
            build_estimate(item=item, by=by, book=book, version=version, made_at=made_at)
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
    _put_totals(estimate, estimate.lines.select_related("price"), given)
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
