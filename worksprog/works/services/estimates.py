"""Estimates: built up from what is measured, approved once, changed by hand in the open."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

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
    rewrite_records,
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
    EstimateRules,
    Item,
    ItemState,
    LearntRate,
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


def _put_totals(
    estimate: Estimate,
    lines: Iterable[EstimateLine],
    given: list[Any],
    *,
    title: str,
    sways: Mapping[str, str],
    rules: EstimateRules,
) -> None:
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
    estimate.simulated, drawn = bridge_ranges.range_item(estimate.item, rows, sways, rules)
    estimate.working = [*given, *calc.total_working(title, worked, drawn=drawn).as_rows()]


@dataclass(frozen=True)
class _Club:
    """What is read of the club once, however many items are worked out."""

    book: calc.Book
    version: BookVersion
    prices: dict[str, Price]
    learnt: dict[str, LearntRate]
    sways: Mapping[str, str]
    rules: EstimateRules

    @classmethod
    def read(
        cls, club: Club, by: User | None, book: calc.Book | None, version: BookVersion | None
    ) -> _Club:
        return cls(
            book=book or queries.price_book(club),
            version=version or version_in_force(club=club, by=by),
            prices={price.code: price for price in Price.objects.filter(club=club)},
            learnt=queries.learnt_in_use(club),
            sways=queries.swayed_by(club),
            rules=queries.rules_of(club),
        )


@dataclass(frozen=True)
class _Worked:
    """An estimate with its lines as they are to be kept; nothing of it is written yet."""

    estimate: Estimate
    rows: list[EstimateLine]
    gone: list[EstimateLine]


def _work_out(
    item: Item,
    measured: Measured,
    shared: _Club,
    *,
    live: Estimate | None,
    old_lines: list[EstimateLine],
    revision: int,
    by: User | None,
    made_at: datetime | None,
) -> _Worked:
    worked = queries.work_out(item, measured, shared.book)
    recipe = recipe_of(item.club, item.kind)
    in_place = live is not None and live.approved_on is None
    if live is not None and in_place:
        estimate = live
    else:
        estimate = Estimate(club=item.club, item=item, revision=revision)
    planned = worked.derived[recipe.progress].step
    estimate.made_by = by
    estimate.made_at = made_at or timezone.now()
    estimate.measured = measured.as_rows()
    estimate.feature_versions = measured.versions
    estimate.parameters = dict(item.parameters)
    estimate.quantity = float(planned.value)
    estimate.unit = planned.unit
    estimate.learnt = _told_of_learnt(shared.learnt.get(item.kind), worked)
    estimate.book = shared.version
    estimate.earth = [asdict(one) for one in calc.earth_of(recipe, worked.derived)]
    by_hand = {line.step: line for line in old_lines if line.is_by_hand}
    reusable = {line.step: line for line in old_lines if in_place and not line.is_by_hand}
    rows: list[EstimateLine] = []
    for line in worked.lines:
        kept = by_hand.pop(line.key, None)
        if kept is not None:
            rows.append(_kept_line(kept, in_place=in_place))
            continue
        row = reusable.pop(line.key, None) or EstimateLine(club=item.club)
        rows.append(bridge.line_to_row(line, row, price=shared.prices.get(line.price_code)))
    rows.extend(_kept_line(line, in_place=in_place) for line in by_hand.values())
    for place, row in enumerate(rows, start=1):
        row.order = place
    given = [{**row, "part": "given"} for row in Working(recipe.title, worked.given).as_rows()]
    _put_totals(estimate, rows, given, title=recipe.title, sways=shared.sways, rules=shared.rules)
    return _Worked(estimate, rows, list(reusable.values()))


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
    live = Estimate.objects.filter(item=item, is_live=True).first()
    if live is not None and live.approved_on is not None and not new_revision:
        raise ValidationError(
            f"Estimate {live.revision} was approved on {live.approved_on:%d %b %Y} and stays as it "
            "is. Make a new revision to work it out again."
        )
    last = item.estimates.aggregate(last=Max("revision"))["last"] or 0
    worked = _work_out(
        item,
        queries.measure_item(item),
        _Club.read(item.club, by, book, version),
        live=live,
        old_lines=list(live.lines.select_related("price")) if live is not None else [],
        revision=last + 1,
        by=by,
        made_at=made_at,
    )
    estimate, rows = worked.estimate, worked.rows
    if live is not None and estimate is not live:
        live.is_live = False
        save_record(live, by=by)
    save_record(estimate, by=by)
    for row in rows:
        row.estimate = estimate
    label = f"{estimate}: lines"
    update_records([row for row in rows if row.pk], fields=_LINE_FIELDS, by=by, label=label)
    save_records([row for row in rows if not row.pk], by=by, label=label)
    for gone in worked.gone:
        delete_record(gone, by=by)
    return estimate


def _told_of_learnt(row: LearntRate | None, worked: calc.Estimate) -> dict[str, Any]:
    """Which learnt rate an estimate went by, so that it can be told from the book's."""
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
    own = Item.objects.filter(phase__project__programme=programme)
    items = list(
        own.exclude(state=ItemState.SHELVED).select_related("club", "phase__project__programme")
    )
    lives = {one.item_id: one for one in Estimate.objects.filter(item__in=items, is_live=True)}
    open_items = [
        item for item in items if item.pk not in lives or lives[item.pk].approved_on is None
    ]
    lines: dict[int, list[EstimateLine]] = defaultdict(list)
    still = [lives[item.pk].pk for item in open_items if item.pk in lives]
    for line in EstimateLine.objects.filter(estimate__in=still).select_related("price"):
        lines[line.estimate_id].append(line)
    last = dict(
        Estimate.objects.filter(item__in=open_items)
        .order_by()
        .values_list("item")
        .annotate(last=Max("revision"))
    )
    shared = _Club.read(programme.club, by, None, None)
    measured = queries.measure_items(open_items)
    worked: list[_Worked] = []
    failed: list[tuple[Item, str]] = []
    now = timezone.now()
    for item in open_items:
        live = lives.get(item.pk)
        if live is not None:
            live.item = item
        try:
            worked.append(
                _work_out(
                    item,
                    measured[item.pk],
                    shared,
                    live=live,
                    old_lines=lines[live.pk] if live is not None else [],
                    revision=last.get(item.pk, 0) + 1,
                    by=by,
                    made_at=now,
                )
            )
        except ValidationError as error:
            failed.append((item, " ".join(error.messages)))
    _keep_all(worked, by=by, label=f"{programme}: estimates worked out again")
    return Built(len(worked), len(items) - len(open_items), tuple(failed))


_WORKED_FIELDS = (
    *("made_by", "made_at", "measured", "feature_versions", "parameters", "quantity", "unit"),
    *("labour_low_h", "labour_likely_h", "labour_high_h", "labour_mean_h", "labour_sd_h"),
    *("money_low", "money_likely", "money_high", "money_mean", "money_sd", "working"),
    *("book", "simulated", "learnt", "earth"),
)


def _keep_all(worked: list[_Worked], *, by: User | None, label: str) -> None:
    """Write many estimates and their lines in a handful of statements."""
    old = [one.estimate for one in worked if one.estimate.pk]
    told = ("quantity", "labour_likely_h", "money_likely")
    rewrite_records(old, fields=_WORKED_FIELDS, told=told, by=by, label=label)
    save_records([one.estimate for one in worked if not one.estimate.pk], by=by, label=label)
    rows = [row for one in worked for row in one.rows]
    for one in worked:
        for row in one.rows:
            row.estimate = one.estimate
    rewrite_records(
        [row for row in rows if row.pk],
        fields=_LINE_FIELDS,
        told=("quantity_likely", "rate_likely", "amount_likely"),
        by=by,
        label=f"{label}, lines",
    )
    save_records([row for row in rows if not row.pk], by=by, label=f"{label}, lines")
    for gone in (line for one in worked for line in one.gone):
        delete_record(gone, by=by)


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
    _put_totals(
        estimate,
        estimate.lines.select_related("price"),
        given,
        title=recipe_of(estimate.club, estimate.item.kind).title,
        sways=queries.swayed_by(estimate.club),
        rules=queries.rules_of(estimate.club),
    )
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
def add_line(
    *, estimate: Estimate, figures: LineFigures, by: User | None, once: UUID | None = None
) -> EstimateLine:
    """A line of the estimator's own. ``once`` becomes its uuid, so that it is not kept twice."""
    _need_open(estimate)
    last = estimate.lines.aggregate(last=Max("order"))["last"] or 0
    line = EstimateLine(club=estimate.club, estimate=estimate, order=last + 1)
    if once is not None:
        line.uuid = once
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
