"""Estimates held against each other: by whose hands, one revision and another, then and now.

Everything here is worked out and nothing is written.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError

from worksprog.calc import build_up as calc
from worksprog.calc.build_up.compare import Case, Comparison, Effects, HourEffects, compare_lines
from worksprog.calc.build_up.hands import steps_of
from worksprog.calc.ranges import ThreePoint
from worksprog.calc.working import Working
from worksprog.works import bridge
from worksprog.works.measuring import LAYOUT_FIGURES, NODE_FIGURES, REACH_FIGURES, Measured
from worksprog.works.models import Category, Estimate, EstimateLine, Item
from worksprog.works.queries.estimates import (
    NOTHING,
    Hands,
    Moved,
    measure_items,
    price_book,
    what_moved,
    work_out,
)
from worksprog.works.recipes import recipe_of

SHOWN_H = 0.05  # fewer hours are printed as none


@dataclass(frozen=True)
class WorkedOut:
    """What an item comes to, with the lines that a person has set by hand kept as they are."""

    lines: tuple[calc.Line, ...]
    given: tuple[dict[str, str], ...]
    labour_h: ThreePoint
    money: calc.MoneyRange

    @property
    def by_category(self) -> dict[calc.Category, calc.MoneyRange]:
        return calc.total_by_category(self.lines)


def worked_out(worked: calc.Estimate, rows: Iterable[EstimateLine]) -> WorkedOut:
    """A build-up as it would be kept beside these rows: as ``build_estimate`` merges them."""
    by_hand = {row.step: bridge.row_to_line(row) for row in rows if row.is_by_hand}
    lines = tuple([by_hand.pop(line.key, line) for line in worked.lines])
    lines = (*lines, *by_hand.values())
    hours, money = calc.total_lines(lines)
    given = tuple(Working("", worked.given).as_rows())
    return WorkedOut(lines, given, hours, money)


def kept(estimate: Estimate, rows: Iterable[EstimateLine]) -> WorkedOut:
    """An estimate as it was kept."""
    lines = tuple(bridge.row_to_line(row) for row in rows)
    hours, money = calc.total_lines(lines)
    given = tuple(row for row in estimate.working if row.get("part") == "given")
    return WorkedOut(lines, given, hours, money)


# ----- by whose hands ---------------------------------------------------------------------------


@dataclass(frozen=True)
class Variant:
    """The item by one set of hands, or why it cannot be worked out so."""

    name: str
    hands: Hands
    is_chosen: bool
    worked: WorkedOut | None = None
    cannot: str = ""


@dataclass(frozen=True)
class StepCost:
    """One step by the crew and by a contractor, each with the machine that goes with it."""

    key: str
    description: str
    quantity: float
    unit: str
    crew_h: float
    by_crew: Decimal
    by_contractor: Decimal
    by_rate: bool
    is_given: bool  # to the contractor, in the mix that is shown

    @property
    def more_by_contractor(self) -> Decimal:
        return self.by_contractor - self.by_crew

    @property
    def for_an_hour_freed(self) -> Decimal | None:
        """What an hour of the crew that is free for other work costs, when it costs anything."""
        if self.crew_h <= 0 or self.more_by_contractor <= 0:
            return None
        return calc.to_penny(self.more_by_contractor / Decimal(repr(self.crew_h)))


@dataclass(frozen=True)
class HeadOfCost:
    """One kind of cost across the variants; None where a variant cannot be worked out."""

    label: str
    ranges: tuple[calc.MoneyRange | None, ...]


@dataclass(frozen=True)
class SideBySide:
    """Own crew, contractor, and shared between them."""

    variants: tuple[Variant, ...]
    heads: tuple[HeadOfCost, ...]
    steps: tuple[StepCost, ...]
    is_suggested: bool  # the mix is not the item's own

    @property
    def chosen(self) -> Variant | None:
        return next((one for one in self.variants if one.is_chosen), None)


def _try(
    item: Item,
    measured: Measured,
    book: calc.Book,
    hands: Hands,
    rows: Sequence[EstimateLine],
) -> tuple[calc.Estimate | None, WorkedOut | None, str]:
    try:
        worked = work_out(item, measured, book, hands=hands)
    except ValidationError as error:
        return None, None, " ".join(error.messages)
    return worked, worked_out(worked, rows), ""


def _steps(
    recipe: calc.Recipe, own: calc.Estimate, given: calc.Estimate, mixed: Iterable[str]
) -> tuple[StepCost, ...]:
    crew = {line.key: line for line in own.lines}
    hired = {line.key: line for line in given.lines}
    told: set[str] = set()
    found = []
    for step in steps_of(recipe):
        ours, theirs = crew.get(step.key), hired.get(step.key)
        if ours is None or theirs is None:
            continue
        machines = [one.key for one in recipe.lines if one.goes_with(step) and one.key not in told]
        told.update(machines)

        def cost(line: calc.Line, of: Mapping[str, calc.Line], keys: list[str]) -> Decimal:
            more = sum((of[key].amount.likely for key in keys if key in of), NOTHING)
            return line.amount.likely + more

        measured = ours.measured or ours.quantity
        found.append(
            StepCost(
                key=step.key,
                description=ours.description,
                quantity=measured.likely,
                unit=ours.measured_unit or ours.unit,
                crew_h=ours.labour_h.likely,
                by_crew=cost(ours, crew, machines),
                by_contractor=cost(theirs, hired, machines),
                by_rate=theirs.price_code == step.contract_rate,
                is_given=step.key in mixed,
            )
        )
    return tuple(found)


def _suggested(costs: Sequence[StepCost]) -> list[str]:
    """The steps that cost less by a contractor, or else the one that frees hours most cheaply.

    Never all of them, which would be a contractor's job.
    """
    cheaper = [one.key for one in costs if one.more_by_contractor <= 0]
    if 0 < len(cheaper) < len(costs):
        return cheaper
    dear = [one for one in costs if one.for_an_hour_freed is not None]
    if cheaper or len(costs) < 2 or not dear:
        return []
    return [min(dear, key=lambda one: one.for_an_hour_freed or NOTHING).key]


def side_by_side(
    item: Item,
    measured: Measured,
    book: calc.Book,
    rows: Sequence[EstimateLine],
    *,
    mix: Sequence[str] | None = None,
) -> SideBySide:
    """The item by its own crew, by a contractor, and with ``mix`` of its steps by a contractor.

    Without ``mix`` that of the item, or else a suggestion. No query, except what the club's kinds
    of work take.
    """
    recipe = recipe_of(item.club, item.kind)
    now = Hands.of(item)
    own, own_out, own_not = _try(item, measured, book, Hands(), rows)
    given, given_out, given_not = _try(item, measured, book, Hands(by_contractor=True), rows)
    chosen_mix = mix if mix is not None else now.contract_steps
    costs = _steps(recipe, own, given, chosen_mix) if own and given else ()
    suggested = mix is None and not now.contract_steps
    if suggested:
        chosen_mix = _suggested(costs)
        costs = _steps(recipe, own, given, chosen_mix) if own and given else ()
    known = {step.key for step in steps_of(recipe)}
    mixed_hands = Hands(contract_steps=tuple(key for key in chosen_mix if key in known))
    variants = [
        Variant(
            "Own crew", Hands(), not now.by_contractor and not now.contract_steps, own_out, own_not
        ),
        Variant(
            "Contractor",
            Hands(by_contractor=True),
            now.by_contractor,
            given_out,
            given_not,
        ),
    ]
    if mixed_hands.contract_steps:
        _, mixed_out, mixed_not = _try(item, measured, book, mixed_hands, rows)
        same = set(mixed_hands.contract_steps) == set(now.contract_steps)
        variants.append(
            Variant("Mixed", mixed_hands, not now.by_contractor and same, mixed_out, mixed_not)
        )
    by_category = [one.worked.by_category if one.worked else {} for one in variants]
    heads = tuple(
        HeadOfCost(
            str(category.label),
            tuple(of.get(calc.Category(category)) for of in by_category),
        )
        for category in Category
        if any(of and of[calc.Category(category)].high for of in by_category)
    )
    return SideBySide(tuple(variants), heads, costs, suggested)


# ----- one revision and another -----------------------------------------------------------------


@dataclass(frozen=True)
class FigureMoved:
    """A figure that was measured, entered, usual or derived, then and now, as it was printed."""

    what: str
    was: str
    now: str
    unit: str


def figures_moved(
    before: Iterable[Mapping[str, str]], after: Iterable[Mapping[str, str]]
) -> list[FigureMoved]:
    """What of the figures that lead to the lines is not as it was; "" where there was none."""
    old = {(row["meaning"], row["unit"]): row["value"] for row in before}
    new = {(row["meaning"], row["unit"]): row["value"] for row in after}
    keys = [*new, *(key for key in old if key not in new)]
    return [
        FigureMoved(key[0], old.get(key, ""), new.get(key, ""), key[1])
        for key in keys
        if old.get(key) != new.get(key)
    ]


@dataclass(frozen=True)
class Held:
    """Two build-ups of an item against each other."""

    before: WorkedOut
    after: WorkedOut
    comparison: Comparison
    figures: list[FigureMoved] = field(default_factory=list)

    @property
    def more_money(self) -> Decimal:
        return self.comparison.difference

    @property
    def more_h(self) -> float:
        return self.after.labour_h.likely - self.before.labour_h.likely


def hold(before: WorkedOut, after: WorkedOut, *, case: Case = "likely") -> Held:
    return Held(
        before,
        after,
        compare_lines(before.lines, after.lines, case=case),
        figures_moved(before.given, after.given),
    )


# ----- then and now -----------------------------------------------------------------------------


@dataclass(frozen=True)
class Part:
    """A part of a difference and what it is by."""

    words: str
    hours_h: float
    money: Decimal


def parts_of(effects: Effects, hours: HourEffects) -> list[Part]:
    """Quantity first, for that is what moved; the others only where they are something."""
    others = (
        Part("by lines that came, went or changed hands", hours.lines_h, effects.lines),
        Part(
            "by output rates and prices learnt or entered since",
            hours.output_h,
            effects.output + effects.price,
        ),
    )
    return [
        Part("by quantity", hours.quantity_h, effects.quantity),
        *(part for part in others if part.money or abs(part.hours_h) >= SHOWN_H),
    ]


@dataclass(frozen=True)
class OutOfDate:
    """What has moved since an estimate was made, and what that would do to it."""

    item: Item
    estimate: Estimate
    measured: Measured
    moved: list[Moved]
    held: Held | None  # None: it cannot be worked out as things stand
    cannot: str = ""

    @property
    def would_change(self) -> bool:
        return bool(self.cannot) or (self.held is not None and bool(self.held.comparison.changed))

    @property
    def parts(self) -> list[Part]:
        if self.held is None:
            return []
        return parts_of(self.held.comparison.effects, self.held.comparison.hours)

    @property
    def by_rates_alone(self) -> bool:
        """Whether the same quantities come to something else."""
        if self.held is None or not self.would_change:
            return False
        effects, hours = self.held.comparison.effects, self.held.comparison.hours
        by_quantity = effects.quantity or effects.lines
        return not by_quantity and abs(hours.quantity_h) + abs(hours.lines_h) < SHOWN_H


_LABELS = {
    "upstream_invert_m": ("upper invert", "m"),
    "downstream_invert_m": ("lower invert", "m"),
    "inside_diameter_mm": ("inside diameter", "mm"),
    "bottom_width_m": ("bottom width", "m"),
    "side_slope": ("side slope", ""),
    "depth_m": ("depth of its section", "m"),
    "spacing_m": ("spacing of its drains", "m"),
    "bore_mm": ("bore of its drains", "mm"),
    "mean_depth_m": ("mean depth of its drains", "m"),
    "invert_level_m": ("invert", "m"),
}


def levels_moved(estimate: Estimate, measured: Measured) -> list[Moved]:
    """Which inverts and sections of the drains are not as they were when the estimate was made."""
    titles = {row["feature"]: row["title"] for row in estimate.measured}
    titles |= {reading.feature: reading.title for reading in measured.readings}
    names = (*REACH_FIGURES, *LAYOUT_FIGURES, *NODE_FIGURES)
    moved = []
    for uuid, mark in measured.versions.items():
        was, now = estimate.feature_versions.get(uuid, "").split("/")[1:], mark.split("/")[1:]
        for name, old, new in zip(names, was, now, strict=False):
            if old != new and name in _LABELS:
                label, unit = _LABELS[name]
                moved.append(
                    Moved(
                        titles.get(uuid, "One of its features"),
                        label,
                        float(old) if old else None,
                        float(new) if new else None,
                        unit,
                    )
                )
    return moved


def everything_moved(estimate: Estimate, measured: Measured) -> list[Moved]:
    """Levels and sections first, then what is measured otherwise because of them."""
    return [*levels_moved(estimate, measured), *what_moved(estimate, measured)]


@dataclass(frozen=True)
class Now:
    """What an item would be worked out to at this moment, or why it cannot be."""

    measured: Measured
    worked: WorkedOut | None
    cannot: str


def now_of(item: Item, rows: Sequence[EstimateLine], measured: Measured, book: calc.Book) -> Now:
    """By the hands that are chosen, with the lines that were set by hand among ``rows``."""
    _, worked, cannot = _try(item, measured, book, Hands.of(item), rows)
    return Now(measured, worked, cannot)


def then_and_now(
    item: Item,
    estimate: Estimate,
    rows: Sequence[EstimateLine],
    measured: Measured,
    book: calc.Book,
) -> OutOfDate:
    """The live estimate against what would be worked out now; no query of its own."""
    now = now_of(item, rows, measured, book)
    held = hold(kept(estimate, rows), now.worked) if now.worked is not None else None
    moved = everything_moved(estimate, measured)
    return OutOfDate(item, estimate, measured, moved, held, now.cannot)


def out_of_date(items: Sequence[Item]) -> list[OutOfDate]:
    """``then_and_now`` for items of one club, in their order; those without an estimate are left out.

    A dozen queries, however many items there are.
    """
    if not items:
        return []
    estimates = {one.item_id: one for one in Estimate.objects.filter(item__in=items, is_live=True)}
    listed = [item for item in items if item.pk in estimates]
    rows: dict[int, list[EstimateLine]] = {one.pk: [] for one in estimates.values()}
    for row in EstimateLine.objects.filter(estimate__in=rows).defer("working"):
        rows[row.estimate_id].append(row)
    measured = measure_items(listed)
    book = price_book(items[0].club)
    return [
        then_and_now(
            item,
            estimates[item.pk],
            rows[estimates[item.pk].pk],
            measured[item.pk],
            book,
        )
        for item in listed
    ]


@dataclass(frozen=True)
class Sums:
    """What all estimates that are out of date would come to, by the effects of the difference."""

    effects: Effects = field(default_factory=Effects)
    hours: HourEffects = field(default_factory=HourEffects)
    money_before: Decimal = NOTHING
    money_after: Decimal = NOTHING
    labour_before_h: float = 0.0
    labour_after_h: float = 0.0

    @property
    def parts(self) -> list[Part]:
        return parts_of(self.effects, self.hours)


def sum_up(told: Iterable[OutOfDate]) -> Sums:
    """The sums of those that can be worked out."""
    sums = Sums()
    for one in told:
        if one.held is None:
            continue
        each = one.held.comparison
        sums = Sums(
            sums.effects.plus(each.effects),
            sums.hours.plus(each.hours),
            sums.money_before + each.money_before,
            sums.money_after + each.money_after,
            sums.labour_before_h + each.labour_before_h,
            sums.labour_after_h + each.labour_after_h,
        )
    return sums


def effects_shown(held: Held) -> list[dict[str, Any]]:
    """The effects of the one line of sums, those that are nothing left out."""
    effects, hours = held.comparison.effects, held.comparison.hours
    told = [
        ("by quantity", effects.quantity, hours.quantity_h),
        ("by output an hour", effects.output, hours.output_h),
        ("by price", effects.price, 0.0),
        ("by lines that came, went or changed hands", effects.lines, hours.lines_h),
    ]
    return [
        {"words": words, "money": money, "hours": hours_h}
        for words, money, hours_h in told
        if money or abs(hours_h) >= SHOWN_H
    ]
