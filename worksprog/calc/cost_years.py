"""What works cost by the club's financial year: each part of the money apart, all of it adding up.

Every item's money is cut into cells (an item's share of one year) of whole pennies, and every sum
is a sum of cells, so a table adds up across, down and over its parts. Base, design allowance and
contingency stand at the book's prices; escalation is what rising prices add to all three. Finished
work is known and paid for: it keeps its base and the tax on it, and carries none of the three.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, fields, replace
from decimal import Decimal

from worksprog.calc.apportion import apportion
from worksprog.calc.build_up.parts import PENNY, Category, to_penny
from worksprog.calc.escalation import (
    COMPOUND,
    STRAIGHT,
    Trend,
    growth,
    mid_point_years,
    straight_line,
)
from worksprog.calc.financial_years import FinancialYear, Stretch, stretches, years_between
from worksprog.calc.sales_tax import sales_tax
from worksprog.calc.working import Step, Working

NOTHING = Decimal("0.00")
FINISHED = (
    "Finished: its base is its estimate, and it carries no design allowance, contingency or "
    "escalation."
)


@dataclass(frozen=True)
class CostLine:
    """One priced line: its likely amount, the day its price is of, and how that price moves."""

    amount: Decimal
    category: Category
    priced_on: dt.date
    trend: Trend | None = None
    name: str = ""

    @property
    def is_bought(self) -> bool:
        """The club's own crew is paid through its wages, on which no sales tax falls."""
        return self.category is not Category.LABOUR


@dataclass(frozen=True)
class CostedItem:
    """A piece of work with its lines; its days where it has any, both of them worked.

    ``spread`` weighs its share of the contingency: the standard deviation of its money. A finished
    one carries neither design allowance nor contingency, and its prices rise no more.
    """

    key: int
    lines: tuple[CostLine, ...]
    start: dt.date | None = None
    finish: dt.date | None = None
    spread: float = 0.0
    is_finished: bool = False

    @property
    def base(self) -> Decimal:
        return sum((line.amount for line in self.lines), NOTHING)


@dataclass(frozen=True)
class Additions:
    """What is laid upon the lines.

    contingency             for the whole programme, at the book's prices
    design_allowance        per cent of the base, for what the design does not show yet
    tax, tax_recovered      per cent of what is bought, and of that tax what the club gets back
    """

    contingency: Decimal = NOTHING
    design_allowance_percent: float = 0.0
    tax_percent: float = 0.0
    tax_recovered_percent: float = 0.0

    def __post_init__(self) -> None:
        if self.contingency < 0:
            raise ValueError("The contingency must not be below 0.")
        for name, value, most in (
            ("design allowance", self.design_allowance_percent, 1000.0),
            ("tax", self.tax_percent, 100.0),
            ("share of the tax that comes back", self.tax_recovered_percent, 100.0),
        ):
            if not 0 <= value <= most:
                raise ValueError(f"The {name} lies between 0 and {most:g} %, not at {value:g} %.")


@dataclass(frozen=True)
class Parts:
    """Money by what it is for; every figure a whole number of pennies."""

    base: Decimal = NOTHING
    design_allowance: Decimal = NOTHING
    contingency: Decimal = NOTHING
    escalation: Decimal = NOTHING
    escalation_low: Decimal = NOTHING
    escalation_high: Decimal = NOTHING
    tax: Decimal = NOTHING
    tax_recovered: Decimal = NOTHING
    own_crew: Decimal = NOTHING  # of the base, the crew's own hours

    @property
    def before_tax(self) -> Decimal:
        return self.base + self.design_allowance + self.contingency + self.escalation

    @property
    def tax_kept(self) -> Decimal:
        """Tax that does not come back."""
        return self.tax - self.tax_recovered

    @property
    def cost(self) -> Decimal:
        """What the club bears in the end."""
        return self.before_tax + self.tax_kept


_PARTS = tuple(one.name for one in fields(Parts))


def add_parts(parts: Iterable[Parts]) -> Parts:
    sums = dict.fromkeys(_PARTS, NOTHING)
    for one in parts:
        for name in _PARTS:
            sums[name] += getattr(one, name)
    return Parts(**sums)


@dataclass(frozen=True)
class LineShare:
    """What of one line falls in one year, and how its price has risen by then.

    years     from the day of its price to the middle of the item's days in that year
    growth    (1 + i)^t − 1 with the likely trend; ``straight`` is i t, the straight-line check
    """

    line: CostLine
    amount: Decimal
    years: float = 0.0
    growth_low: float = 0.0
    growth: float = 0.0
    growth_high: float = 0.0
    straight: float = 0.0


@dataclass(frozen=True)
class Cell:
    """One item's share of one year; ``year`` is None where the item has no days yet.

    years_to_mid   from the day of its prices to the middle of its days in that year, weighed by
                   money where its lines are priced on several days
    growth         by which share its prices rise until then, likely, weighed by money
    straight       the same by the straight-line rule, i t, as a check
    """

    item: int
    year: FinancialYear | None
    stretch: Stretch | None
    years_to_mid: float
    growth: float
    straight: float
    parts: Parts
    lines: tuple[LineShare, ...] = ()
    is_finished: bool = False

    @property
    def working(self) -> Working:
        """From its base to what the club bears."""
        parts = self.parts
        steps = (
            Step("b", "base", f"{parts.base:,}", "", "sum of the lines' shares"),
            Step("d", "design allowance", f"{parts.design_allowance:,}", "", "its share by base"),
            Step("k", "contingency", f"{parts.contingency:,}", "", "its share by spread"),
            Step("g", "prices rise by", self.growth * 100, "%", "Σ b ((1 + i)^t − 1) / Σ b"),
            Step("e", "escalation", f"{parts.escalation:,}", "", "(b + d + k) g", COMPOUND),
            Step("n", "before tax", f"{parts.before_tax:,}", "", "b + d + k + e"),
            Step("", "tax, its share", f"{parts.tax:,}", "", "by what is bought"),
            Step("", "of it recovered", f"{parts.tax_recovered:,}"),
            Step("c", "cost to the club", f"{parts.cost:,}", "", "before tax + tax − recovered"),
        )
        notes = (FINISHED,) if self.is_finished else ()
        return Working("From the base to what the club bears", steps, notes)


@dataclass(frozen=True)
class CostByYear:
    cells: tuple[Cell, ...]
    additions: Additions

    @property
    def years(self) -> list[FinancialYear | None]:
        """In order, without gaps between the first and the last; None, not placed yet, at the end."""
        placed = sorted({cell.year for cell in self.cells if cell.year is not None})
        listed: list[FinancialYear | None] = []
        if placed:
            first, last = placed[0], placed[-1]
            listed.extend(years_between(first.first, last.last, first.first.month))
        if any(cell.year is None for cell in self.cells):
            listed.append(None)
        return listed

    def total(self) -> Parts:
        return add_parts(cell.parts for cell in self.cells)

    def by_year(self) -> dict[FinancialYear | None, Parts]:
        groups: dict[FinancialYear | None, list[Parts]] = {year: [] for year in self.years}
        for cell in self.cells:
            groups[cell.year].append(cell.parts)
        return {year: add_parts(parts) for year, parts in groups.items()}

    def by_item(self) -> dict[int, Parts]:
        groups: dict[int, list[Parts]] = defaultdict(list)
        for cell in self.cells:
            groups[cell.item].append(cell.parts)
        return {item: add_parts(parts) for item, parts in groups.items()}

    def heads_by_year(self) -> dict[FinancialYear | None, dict[Category, Decimal]]:
        """The base of each year under its heads: labour, plant, materials and so on."""
        heads: dict[FinancialYear | None, dict[Category, Decimal]] = {
            year: dict.fromkeys(Category, NOTHING) for year in self.years
        }
        for cell in self.cells:
            for share in cell.lines:
                heads[cell.year][share.line.category] += share.amount
        return heads

    def working(self, year: FinancialYear | None) -> Working:
        """One year's money, part by part."""
        cells = [cell for cell in self.cells if cell.year == year]
        parts = add_parts(cell.parts for cell in cells)
        laid = parts.base + parts.design_allowance + parts.contingency
        straight = sum(
            float(cell.parts.base + cell.parts.design_allowance + cell.parts.contingency)
            * cell.straight
            for cell in cells
        )
        rising = [cell for cell in cells if not cell.is_finished]
        base = sum(float(cell.parts.base) for cell in rising)
        weighed = sum(float(cell.parts.base) * cell.years_to_mid for cell in rising)
        more = self.additions

        def step(
            symbol: str, meaning: str, amount: Decimal, how: str = "", source: str = ""
        ) -> Step:
            return Step(symbol, meaning, f"{amount:,}", "", how, source)

        steps = (
            Step("", "items with money in the year", float(len(cells))),
            Step("", "of them finished, which carry neither D, K nor E",
                 float(len(cells) - len(rising))),
            step("B", "base: their lines' shares of the year, at the book's prices", parts.base,
                 "by weekdays, left-over pennies to the largest remainders"),
            step("D", "design allowance", parts.design_allowance,
                 f"{more.design_allowance_percent:g} % of the base of jobs not finished"),
            step("K", "contingency, the year's share", parts.contingency,
                 "by the spread of each job not finished, over its years as its base"),
            Step("t", "to the mid-points of the spend, mean weighed by money",
                 weighed / base if base else 0.0, "years", "Σ b t / Σ b"),
            Step("", "escalation by the trends' low, and by their high",
                 f"{parts.escalation_low:,} to {parts.escalation_high:,}"),
            step("", "escalation, straight-line check", to_penny(Decimal(repr(straight))),
                 "Σ (b + d + k) i t", STRAIGHT),
            step("E", "escalation", parts.escalation,
                 "Σ (b + d + k) ((1 + i)^t − 1), each item to the penny", COMPOUND),
            step("N", "before tax", parts.before_tax, "B + D + K + E"),
            step("", "of the base, the crew's own hours, on which no tax falls", parts.own_crew),
            step("T", "tax, the year's share", parts.tax,
                 f"{more.tax_percent:g} % of all that is bought, shared by what is bought"),
            step("R", "of it recovered", parts.tax_recovered, f"{more.tax_recovered_percent:g} %"),
            step("C", "cost to the club", parts.cost, "N + T − R"),
        )  # fmt: skip
        title = f"The year {year.name}" if year else "Not placed in a year yet"
        note = f"Raised by prices: {parts.escalation / laid:.1%} of B + D + K." if laid else ""
        return Working(title, steps, (note,) if note else ())


@dataclass
class _Draft:
    """A cell before the additions are shared out."""

    item: int
    stretch: Stretch | None
    is_finished: bool = False
    lines: list[LineShare] = field(default_factory=list)

    def add(self, line: CostLine, amount: Decimal) -> None:
        if self.stretch is None:
            self.lines.append(LineShare(line, amount))
            return
        years = mid_point_years(line.priced_on, self.stretch.first, self.stretch.last)
        if line.trend is None or self.is_finished:
            self.lines.append(LineShare(line, amount, years))
            return
        rates = line.trend.percent
        low, likely, high = (growth(rate, years) for rate in (rates.low, rates.likely, rates.high))
        straight = straight_line(rates.likely / 12, years * 12)
        self.lines.append(LineShare(line, amount, years, low, likely, high, straight))

    @property
    def base(self) -> Decimal:
        return sum((share.amount for share in self.lines), NOTHING)

    def weighed(self, figure: Callable[[LineShare], float]) -> float:
        """Mean of a figure of the lines, weighed by their money."""
        base = float(self.base)
        together = sum(float(share.amount) * figure(share) for share in self.lines)
        return together / base if base else 0.0


def _drafts(item: CostedItem, starts_in_month: int, penny: Decimal) -> list[_Draft]:
    if item.start is None or item.finish is None:
        drafts = [_Draft(item.key, None, item.is_finished)]
    else:
        drafts = [
            _Draft(item.key, one, item.is_finished)
            for one in stretches(item.start, item.finish, starts_in_month)
        ]
    days = [one.stretch.days if one.stretch else 1 for one in drafts]
    for line in item.lines:
        for draft, amount in zip(drafts, apportion(line.amount, days, penny=penny), strict=True):
            draft.add(line, amount)
    return drafts


def _finish(
    draft: _Draft, allowance: Decimal, contingency: Decimal, penny: Decimal
) -> tuple[Cell, float]:
    """The cell before tax, and how much of it is bought."""
    base = draft.base
    laid = base + allowance + contingency
    shares = (
        draft.weighed(lambda share: share.growth_low),
        draft.weighed(lambda share: share.growth),
        draft.weighed(lambda share: share.growth_high),
    )
    low, likely, high = (to_penny(laid * Decimal(repr(share)), penny) for share in shares)
    cell = Cell(
        item=draft.item,
        year=draft.stretch.year if draft.stretch else None,
        stretch=draft.stretch,
        years_to_mid=draft.weighed(lambda share: share.years),
        growth=shares[1],
        straight=draft.weighed(lambda share: share.straight),
        parts=Parts(
            base=base,
            design_allowance=allowance,
            contingency=contingency,
            escalation=likely,
            escalation_low=low,
            escalation_high=high,
            own_crew=sum(
                (share.amount for share in draft.lines if not share.line.is_bought), NOTHING
            ),
        ),
        lines=tuple(draft.lines),
        is_finished=draft.is_finished,
    )
    return cell, float(laid) * draft.weighed(
        lambda share: 1 + share.growth if share.line.is_bought else 0.0
    )


def _with_tax(
    cells: Sequence[Cell], bought: Sequence[float], additions: Additions, penny: Decimal
) -> tuple[Cell, ...]:
    """Tax is worked on the whole, then shared out over what is bought in each cell."""
    net = sum((cell.parts.before_tax for cell in cells), NOTHING)
    tax = sales_tax(
        net=net,
        bought=min(to_penny(Decimal(repr(sum(bought))), penny), net),
        percent=Decimal(repr(additions.tax_percent)),
        recovered_percent=Decimal(repr(additions.tax_recovered_percent)),
        penny=penny,
    )
    taxes = apportion(tax.tax, bought, penny=penny)
    back = apportion(tax.recovered, taxes, penny=penny)
    return tuple(
        replace(cell, parts=replace(cell.parts, tax=due, tax_recovered=recovered))
        for cell, due, recovered in zip(cells, taxes, back, strict=True)
    )


def cost_by_year(
    items: Sequence[CostedItem],
    additions: Additions,
    *,
    starts_in_month: int,
    penny: Decimal = PENNY,
) -> CostByYear:
    """The items' money by financial year.

    A line's money is spread evenly over its item's weekdays and cut at the turn of the year, by
    largest remainder. In each year it rises by (1 + i)^t − 1, t to the middle of the item's days
    in that year, i the trend of its own price; a line without a trend does not rise. The design
    allowance follows the base, the contingency the items' spreads, both by largest remainder and
    over the items not finished; with none of these left there is no contingency.
    Tax falls on what is bought, with its share of everything laid upon it, rise included; it is
    worked on the whole and shared out as the rest.

    An item without days stands in a column of its own and does not rise: no mid-point is known.
    ValueError: days that run backwards, a percentage out of bounds, an amount finer than a penny.
    """
    drafts = [draft for item in items for draft in _drafts(item, starts_in_month, penny)]
    if not drafts:
        return CostByYear((), additions)
    still_open = [NOTHING if draft.is_finished else draft.base for draft in drafts]
    total = sum(still_open, NOTHING)
    wanted = to_penny(total * Decimal(repr(additions.design_allowance_percent)) / 100, penny)
    allowances = apportion(wanted, still_open, penny=penny)
    kept_back = NOTHING if all(draft.is_finished for draft in drafts) else additions.contingency
    contingencies = apportion(kept_back, _weights(items, drafts), penny=penny)
    finished = [
        _finish(draft, allowance, contingency, penny)
        for draft, allowance, contingency in zip(drafts, allowances, contingencies, strict=True)
    ]
    cells = _with_tax(
        [cell for cell, _ in finished], [bought for _, bought in finished], additions, penny
    )
    return CostByYear(cells, additions)


def _weights(items: Sequence[CostedItem], drafts: Sequence[_Draft]) -> list[float]:
    """Of the contingency: an item's spread, over its years as its base; by base where none is known.

    Nothing for finished items.
    """
    spread = {item.key: item.spread for item in items if not item.is_finished}
    base = {item.key: float(item.base) for item in items}
    rough = not any(spread.values())
    weights = [
        0.0
        if draft.is_finished or not base[draft.item]
        else float(draft.base)
        if rough
        else spread[draft.item] * float(draft.base) / base[draft.item]
        for draft in drafts
    ]
    return weights if any(weights) else [float(not draft.is_finished) for draft in drafts]
