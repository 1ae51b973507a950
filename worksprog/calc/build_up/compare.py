"""Two build-ups of one item against each other: what of the difference came from where.

A line's amount is A = q / r × p, to the penny: measured quantity q, output an hour r (1 where a
line has none) and price p. From the earlier line (0) to the later (1) the figures are put in one
after another, in the order in which they come about on the ground, and each step is rounded to
the penny as an amount is:

    quantity effect   penny(q1 / r0 × p0) - A0
    output effect     penny(q1 / r1 × p0) - penny(q1 / r0 × p0)
    price effect      A1 - penny(q1 / r1 × p0)

The steps follow on from each other, so the three add up to A1 - A0 to the penny, whatever the
figures. The order matters where two of them change at once: a dearer hour is told on the hours of
the later line. It is that of standard costing, whose quantity and efficiency variances are taken at
the standard price and whose price variance is taken on the actual quantity. Turned round, the same
two build-ups share the same difference out otherwise.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Literal

from worksprog.calc.build_up.parts import PENNY, Category, Line, to_penny

Case = Literal["low", "likely", "high"]
NOTHING = Decimal("0.00")


class Standing(StrEnum):
    """How a line of the one build-up stands to the other."""

    BOTH = "in both"
    NEW = "new"
    GONE = "gone"
    COUNTED_OTHERWISE = "counted otherwise"


@dataclass(frozen=True)
class Figures:
    """What a line comes to in one case, and from what."""

    quantity: float  # of what its price is for
    unit: str
    measured: float
    measured_unit: str
    per_hour: float | None
    price: Decimal
    amount: Decimal
    labour_h: float


@dataclass(frozen=True)
class Effects:
    """The parts of a difference in money; they add up to it to the penny."""

    quantity: Decimal = NOTHING
    output: Decimal = NOTHING
    price: Decimal = NOTHING
    lines: Decimal = NOTHING  # lines that came or went, or are counted in another unit

    @property
    def total(self) -> Decimal:
        return self.quantity + self.output + self.price + self.lines

    def plus(self, other: Effects) -> Effects:
        return Effects(
            self.quantity + other.quantity,
            self.output + other.output,
            self.price + other.price,
            self.lines + other.lines,
        )


@dataclass(frozen=True)
class HourEffects:
    """The parts of a difference in the crew's hours."""

    quantity_h: float = 0.0
    output_h: float = 0.0
    lines_h: float = 0.0  # lines that came, went, or changed hands

    @property
    def total_h(self) -> float:
        return self.quantity_h + self.output_h + self.lines_h

    def plus(self, other: HourEffects) -> HourEffects:
        return HourEffects(
            self.quantity_h + other.quantity_h,
            self.output_h + other.output_h,
            self.lines_h + other.lines_h,
        )


@dataclass(frozen=True)
class LineChange:
    """One line in both build-ups, or in one of them, and what the difference is made of."""

    key: str
    description: str
    category: Category
    standing: Standing
    before: Figures | None
    after: Figures | None
    effects: Effects
    hours: HourEffects
    changed_hands: bool = False

    @property
    def amount_before(self) -> Decimal:
        return self.before.amount if self.before else NOTHING

    @property
    def amount_after(self) -> Decimal:
        return self.after.amount if self.after else NOTHING

    @property
    def is_changed(self) -> bool:
        return self.before != self.after or self.changed_hands

    @property
    def words(self) -> list[str]:
        """Then and now of each figure that is not as it was."""
        old, new = self.before, self.after
        if old is None or new is None:
            return []
        if self.standing is Standing.COUNTED_OTHERWISE or not _same_way(old, new):
            return [f"{_told(old)} → {_told(new)}"]
        found = []
        if old.measured != new.measured:
            found.append(f"{_figure(old.measured)} → {_figure(new.measured)} {new.measured_unit}")
        if old.per_hour is not None and new.per_hour is not None and old.per_hour != new.per_hour:
            rate = f"{_figure(old.per_hour)} → {_figure(new.per_hour)}"
            found.append(f"{rate} {new.measured_unit} an hour")
        if old.price != new.price:
            found.append(f"{old.price:,} → {new.price:,} for one {new.unit}")
        return found


@dataclass(frozen=True)
class Comparison:
    """Every line of two build-ups, and the sums of their effects."""

    changes: tuple[LineChange, ...]
    effects: Effects
    hours: HourEffects
    money_before: Decimal
    money_after: Decimal
    labour_before_h: float
    labour_after_h: float

    @property
    def difference(self) -> Decimal:
        return self.money_after - self.money_before

    @property
    def changed(self) -> tuple[LineChange, ...]:
        return tuple(change for change in self.changes if change.is_changed)

    @property
    def unchanged(self) -> tuple[LineChange, ...]:
        return tuple(change for change in self.changes if not change.is_changed)

    @property
    def unchanged_money(self) -> Decimal:
        return sum((change.amount_after for change in self.unchanged), NOTHING)


def _figure(value: float) -> str:
    """Enough of a figure to tell it from another: one decimal, more where it is small."""
    return f"{value:,.1f}" if value >= 100 else f"{value:.3g}"


def _told(figures: Figures) -> str:
    rate = ""
    if figures.per_hour is not None:
        rate = f", {_figure(figures.per_hour)} an hour"
    measured = f"{_figure(figures.measured)} {figures.measured_unit}{rate}"
    return f"{measured}, {figures.price:,} for one {figures.unit}"


def figures_of(line: Line, case: Case = "likely") -> Figures:
    """The line's figures in one corner: its low amount goes with the most done an hour."""
    fastest: dict[Case, Case] = {"low": "high", "likely": "likely", "high": "low"}
    measured = line.quantity if line.measured is None else line.measured
    return Figures(
        quantity=getattr(line.quantity, case),
        unit=line.unit,
        measured=getattr(measured, case),
        measured_unit=line.measured_unit or line.unit,
        per_hour=None if line.output is None else getattr(line.output.per_hour, fastest[case]),
        price=getattr(line.unit_price, case),
        amount=getattr(line.amount, case),
        labour_h=getattr(line.labour_h, case),
    )


def _money(quantity: float, price: Decimal, penny: Decimal) -> Decimal:
    return to_penny(Decimal(repr(quantity)) * price, penny)


def _same_way(before: Figures, after: Figures) -> bool:
    """Measured and priced by the same units, both with an output rate or both without."""
    return (
        before.measured_unit == after.measured_unit
        and before.unit == after.unit
        and (before.per_hour is None) == (after.per_hour is None)
    )


def _later_quantity_at_earlier_output(before: Figures, after: Figures) -> float | None:
    """The later measured quantity in what the earlier price is for; None where it cannot be told.

    Lines measured in the same unit before the output rate are compared there, so that earth moved
    by the hour can be held against earth moved by the cubic metre. A figure that has not changed
    is not worked out again, for a quotient in binary may differ in its last place.
    """
    if _same_way(before, after):
        if before.per_hour == after.per_hour:
            return after.quantity
        if before.measured == after.measured:
            return before.quantity
    if before.measured_unit == after.measured_unit:
        if before.per_hour is not None:
            return after.measured / before.per_hour
        if before.unit == before.measured_unit:
            return after.measured
    if before.unit == after.unit:
        return after.quantity
    return None


def compare_figures(
    before: Figures, after: Figures, *, penny: Decimal = PENNY
) -> tuple[Effects, HourEffects] | None:
    """The effects between two lines of one step; None where they are counted in other units.

    Where one of the two has no output rate there is no output effect: what then differs by the unit
    is told as price.
    """
    moved = _later_quantity_at_earlier_output(before, after)
    if moved is None:
        return None
    first = _money(moved, before.price, penny)
    quantity_h = output_h = 0.0
    by_crew = before.labour_h > 0 and after.labour_h > 0
    if by_crew:
        quantity_h = moved - before.labour_h
        output_h = after.labour_h - moved
    second = _money(after.quantity, before.price, penny) if _same_way(before, after) else first
    lines_h = 0.0 if by_crew else after.labour_h - before.labour_h
    return (
        Effects(first - before.amount, second - first, after.amount - second),
        HourEffects(quantity_h, output_h, lines_h),
    )


def _change(before: Line | None, after: Line | None, case: Case, penny: Decimal) -> LineChange:
    old = figures_of(before, case) if before is not None else None
    new = figures_of(after, case) if after is not None else None
    shown = after if after is not None else before
    assert shown is not None
    parted = compare_figures(old, new, penny=penny) if old is not None and new is not None else None
    if parted is None:
        amount = (new.amount if new else NOTHING) - (old.amount if old else NOTHING)
        hours = (new.labour_h if new else 0.0) - (old.labour_h if old else 0.0)
        parted = Effects(lines=amount), HourEffects(lines_h=hours)
        standing = Standing.COUNTED_OTHERWISE
        if old is None:
            standing = Standing.NEW
        elif new is None:
            standing = Standing.GONE
    else:
        standing = Standing.BOTH
    changed_hands = (
        before is not None and after is not None and before.category is not after.category
    )
    return LineChange(
        key=shown.key,
        description=shown.description,
        category=shown.category,
        standing=standing,
        before=old,
        after=new,
        effects=parted[0],
        hours=parted[1],
        changed_hands=changed_hands,
    )


def _numbered(lines: Iterable[Line]) -> dict[tuple[str, int], Line]:
    """Lines by key; a key that comes twice is told apart by its place."""
    seen: dict[str, int] = defaultdict(int)
    found: dict[tuple[str, int], Line] = {}
    for line in lines:
        found[line.key, seen[line.key]] = line
        seen[line.key] += 1
    return found


def compare_lines(
    before: Iterable[Line],
    after: Iterable[Line],
    *,
    case: Case = "likely",
    penny: Decimal = PENNY,
) -> Comparison:
    """Line by line what the difference of two build-ups is made of, in one case of the three.

    Lines are matched by their key. The effects of all lines add up to the difference of the two
    totals to the penny; those in hours to the difference of the crew's hours.
    """
    old, new = _numbered(before), _numbered(after)
    keys = [*new, *(key for key in old if key not in new)]
    changes = tuple(_change(old.get(key), new.get(key), case, penny) for key in keys)
    effects, hours = Effects(), HourEffects()
    for change in changes:
        effects, hours = effects.plus(change.effects), hours.plus(change.hours)
    return Comparison(
        changes=changes,
        effects=effects,
        hours=hours,
        money_before=sum((change.amount_before for change in changes), NOTHING),
        money_after=sum((change.amount_after for change in changes), NOTHING),
        labour_before_h=sum(one.before.labour_h for one in changes if one.before),
        labour_after_h=sum(one.after.labour_h for one in changes if one.after),
    )
