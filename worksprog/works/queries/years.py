"""What a programme costs by the club's financial year, and the class of each of its estimates."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal

from worksprog.calc.build_up import Category as Head
from worksprog.calc.build_up import Recipe
from worksprog.calc.build_up.parts import BasedOn
from worksprog.calc.cost_years import (
    Additions,
    Cell,
    CostByYear,
    CostedItem,
    CostLine,
    Parts,
    add_parts,
    cost_by_year,
)
from worksprog.calc.escalation import Trend
from worksprog.calc.estimate_classes import (
    CLASSES,
    EstimateClass,
    Evidence,
    Proposal,
    propose_class,
)
from worksprog.calc.financial_years import FinancialYear, financial_year_of, years_between
from worksprog.calc.ranges import ThreePoint
from worksprog.works.book_entries import PRICE
from worksprog.works.bridge_ranges import Placed, Sways
from worksprog.works.models import (
    BookVersion,
    Estimate,
    EstimateLine,
    EstimateRules,
    Item,
    ItemState,
    PriceTrend,
    Programme,
    Project,
    RangeRow,
    Spend,
)
from worksprog.works.queries.contingency import Contingency, by_simulation, by_spreads
from worksprog.works.queries.estimates import NOTHING
from worksprog.works.queries.programme import dates_of_item, with_plan
from worksprog.works.queries.ranges import Ranges, ranges_of
from worksprog.works.queries.rules import rules_of
from worksprog.works.recipes import recipes_of

SHARED = ", for the whole programme; shared over the jobs not finished"
Year = FinancialYear | None
PriceThen = tuple[int, str, Decimal]  # a book version's key, a code, and the likely price


@dataclass(frozen=True)
class ItemCost:
    """An item with its days, its estimate and that estimate's lines."""

    item: Item
    estimate: Estimate | None
    lines: Sequence[EstimateLine]
    start: date | None
    finish: date | None
    dates_from: str
    proposal: Proposal | None = None

    @property
    def project(self) -> Project:
        return self.item.phase.project

    @property
    def is_finished(self) -> bool:
        """Growing in counts as finished: the work is over and paid for."""
        return self.item.state in (ItemState.DONE, ItemState.GROWING_IN)

    @property
    def number_of_class(self) -> int | None:
        """As the manager set it, else as it is proposed."""
        if self.estimate is None or self.proposal is None:
            return None
        return self.estimate.estimate_class or self.proposal.number


@dataclass(frozen=True)
class ClassRow:
    """The estimates of one class together."""

    one: EstimateClass
    items: int
    money: Decimal
    low: Decimal
    high: Decimal


@dataclass(frozen=True)
class YearsSheet:
    """The costs of a programme year by year, with what they rest on."""

    programme: Programme
    rules: EstimateRules
    items: Sequence[ItemCost]
    cost: CostByYear
    contingency: Contingency
    years: list[Year]
    spent: Mapping[Year, Decimal]
    trends: list[PriceTrend]
    without_trend: Decimal = NOTHING
    finished: list[Item] = field(default_factory=list)
    without_estimate: list[Item] = field(default_factory=list)
    without_days: list[Item] = field(default_factory=list)
    one_day_only: list[Item] = field(default_factory=list)

    @property
    def total(self) -> Parts:
        return self.cost.total()

    @property
    def by_year(self) -> dict[Year, Parts]:
        found = self.cost.by_year()
        return {year: found.get(year, Parts()) for year in self.years}

    @property
    def cells_of(self) -> dict[int, list[Cell]]:
        """The cells of each item by its key, in the order of the years."""
        found: dict[int, list[Cell]] = defaultdict(list)
        for cell in self.cost.cells:
            found[cell.item].append(cell)
        return dict(found)

    def by_project(self) -> list[tuple[Project, dict[Year, Parts], Parts]]:
        """Each project with its parts by year and in all, in the programme's order."""
        project_of = {one.item.pk: one.project for one in self.items}
        cells: dict[int, dict[Year, list[Parts]]] = defaultdict(lambda: defaultdict(list))
        for cell in self.cost.cells:
            cells[project_of[cell.item].pk][cell.year].append(cell.parts)
        rows = []
        for project in {one.project.pk: one.project for one in self.items}.values():
            by_year = {year: add_parts(cells[project.pk][year]) for year in self.years}
            rows.append((project, by_year, add_parts(by_year.values())))
        return rows

    def by_class(self) -> list[ClassRow]:
        """From the least to the best defined, with the range usual of each class."""
        rows = []
        for number, one in CLASSES.items():
            money = [
                row.estimate.money_likely
                for row in self.items
                if row.estimate is not None and row.number_of_class == number
            ]
            if money:
                together = sum(money, NOTHING)
                rows.append(ClassRow(one, len(money), together, *one.typical_range(together)))
        return rows


def _trend_of(line: EstimateLine) -> Trend | None:
    row = line.price.trend if line.price is not None else None
    if row is None:
        return None
    source = f"{row.source or 'price book'}, {row.dated:%b %Y}"
    points = ThreePoint(float(row.low), float(row.likely), float(row.high))
    return Trend(row.name, points, source)


def _has_moved(line: EstimateLine) -> bool:
    """Whether the book no longer has the price that the line was worked out with."""
    price = line.price
    return price is not None and not line.is_by_hand and line.rate_likely != price.likely


def _dates_then(rows: Sequence[ItemCost]) -> dict[PriceThen, date]:
    """By book version, code and price: the day that version's price was of. One query at most,
    and only where a price has moved since.
    """
    books = {
        row.estimate.book_id
        for row in rows
        if row.estimate is not None
        and row.estimate.book_id is not None
        and any(_has_moved(line) for line in row.lines)
    }
    found = {}
    for book in BookVersion.objects.filter(pk__in=books) if books else ():
        for entry in book.entries:
            if entry["what"] == PRICE:
                key = (book.pk, entry["code"], Decimal(entry["likely"]))
                found[key] = date.fromisoformat(entry["dated"])
    return found


def _priced_on(line: EstimateLine, estimate: Estimate, then: Mapping[PriceThen, date]) -> date:
    """The day of its price, as the estimate's version of the book has it where the price has moved
    since; the estimate's own day where the price was set by hand.
    """
    made = estimate.made_at.date()
    price = line.price
    if price is None or line.is_by_hand:
        return made
    if _has_moved(line):
        return min(then.get((estimate.book_id or 0, price.code, line.rate_likely), made), made)
    return min(price.dated, made)


def _cost_line(line: EstimateLine, estimate: Estimate, then: Mapping[PriceThen, date]) -> CostLine:
    return CostLine(
        amount=line.amount_likely,
        category=Head(line.category),
        priced_on=_priced_on(line, estimate, then),
        trend=_trend_of(line),
        name=line.description,
    )


def _based_on(source: str) -> BasedOn:
    """By the first word that the working tells; what features say of a design is measured too."""
    for one in (BasedOn.ASSUMED, BasedOn.ENTERED):
        if source.startswith(one.value):
            return one
    return BasedOn.MEASURED


def evidence_of(
    estimate: Estimate, lines: Sequence[EstimateLine], recipe: Recipe | None
) -> Evidence:
    """What an estimate rests on: its working tells of every figure put in whence it came."""
    measures = [one.label for one in recipe.measures] if recipe else []
    given = {*measures, *(one.label for one in recipe.parameters)} if recipe else set()
    whence: dict[str, BasedOn] = {}
    for row in estimate.working:
        label = row["meaning"]
        if row.get("part") == "given" and label in given and not row["formula"]:
            whence.setdefault(label, _based_on(row["source"]))
    counts = Counter(whence.values())
    confirmed = sum(
        (
            line.amount_likely
            for line in lines
            if line.price is not None and line.price.is_confirmed and not line.is_by_hand
        ),
        NOTHING,
    )
    money = estimate.money_likely
    return Evidence(
        measured=counts[BasedOn.MEASURED],
        entered=counts[BasedOn.ENTERED],
        assumed=counts[BasedOn.ASSUMED],
        quantity=whence.get(measures[0], BasedOn.ASSUMED) if measures else BasedOn.ASSUMED,
        confirmed_share=float(min(confirmed / money, Decimal(1))) if money else 0.0,
    )


def items_with_cost(programme: Programme) -> list[ItemCost]:
    """Every item that is not shelved, with its live estimate, its lines and its days. Four queries."""
    items = list(
        with_plan(Item.objects.filter(phase__project__programme=programme))
        .exclude(state=ItemState.SHELVED)
        .select_related("phase__project")
        .order_by(
            "phase__project__priority",
            "phase__project__code",
            "phase__project_id",
            "phase__order",
            "phase_id",
            "order",
            "id",
        )
    )
    estimates = {
        one.item_id: one
        for one in Estimate.objects.filter(
            item__in=[item.pk for item in items], is_live=True
        ).defer("measured")
    }
    lines: dict[int, list[EstimateLine]] = defaultdict(list)
    for line in (
        EstimateLine.objects.filter(estimate__in=[one.pk for one in estimates.values()])
        .defer("working")
        .select_related("price__trend")
        .order_by("estimate_id", "order", "id")
    ):
        lines[line.estimate_id].append(line)
    recipes = recipes_of(programme.club)
    rows = []
    for item in items:
        estimate = estimates.get(item.pk)
        start, finish, words = dates_of_item(item)
        own = lines[estimate.pk] if estimate else []
        proposal = (
            propose_class(evidence_of(estimate, own, recipes.get(item.kind))) if estimate else None
        )
        rows.append(ItemCost(item, estimate, own, start, finish, words, proposal))
    return rows


def cost_of_item(item: Item) -> ItemCost:
    """One item with its live estimate and the class it seems to be of; its days are left out."""
    estimate = Estimate.objects.filter(item=item, is_live=True).first()
    if estimate is None:
        return ItemCost(item, None, (), None, None, "")
    lines = list(estimate.lines.defer("working").select_related("price"))
    recipe = recipes_of(item.club).get(item.kind)
    proposal = propose_class(evidence_of(estimate, lines, recipe))
    return ItemCost(item, estimate, lines, None, None, "", proposal)


def _costed(
    row: ItemCost,
    estimate: Estimate,
    spread: float,
    then: Mapping[PriceThen, date],
) -> CostedItem:
    """Its last day is its first where only that is known, or where the plan has moved past it."""
    start = row.start or row.finish
    finish = row.finish if start and row.finish and row.finish >= start else start
    return CostedItem(
        key=row.item.pk,
        lines=tuple(_cost_line(line, estimate, then) for line in row.lines),
        start=start,
        finish=finish,
        spread=spread,
        is_finished=row.is_finished,
    )


def _spent_by_year(programme: Programme, month: int) -> dict[Year, Decimal]:
    spent: dict[Year, Decimal] = defaultdict(lambda: NOTHING)
    for on, amount in Spend.objects.filter(item__phase__project__programme=programme).values_list(
        "spent_on", "amount"
    ):
        spent[financial_year_of(on, month)] += amount
    return dict(spent)


def _all_years(cost: CostByYear, spent: Mapping[Year, Decimal], month: int) -> list[Year]:
    known = [year for year in (*cost.years, *spent) if year is not None]
    years: list[Year] = []
    if known:
        years.extend(years_between(min(known).first, max(known).last, month))
    if None in cost.years:
        years.append(None)
    return years


def _ranges(programme: Programme, rows: Sequence[ItemCost], rules: EstimateRules) -> Ranges | None:
    """The simulation that the programme's own sheet shows."""
    club = programme.club
    return ranges_of(
        club,
        [
            Placed.on(
                row.item,
                row.estimate,
                row.item.phase,
                row.project,
                (row.start, row.finish),
                club.year_start_month,
            )
            for row in rows
            if row.estimate is not None
        ],
        sways=Sways.of(rules),
    )


def _contingency(
    priced: Sequence[tuple[ItemCost, Estimate]], ranges: Ranges | None, rules: EstimateRules
) -> Contingency:
    """Of the whole programme; what is finished counts in it and carries none of it."""
    estimates = [estimate for _, estimate in priced]
    base = sum((one.money_likely for one in estimates), NOTHING)
    chance = float(rules.contingency_chance)
    if ranges is None:
        found = by_spreads(estimates, base=base, chance=chance)
    else:
        within = ranges.whole.money.within(chance)
        found = by_simulation(within=within, base=base, chance=chance, told=ranges.sways.words)
    if any(row.is_finished for row, _ in priced):
        return replace(found, from_words=found.from_words + SHARED)
    return found


def _spreads(rows: Sequence[ItemCost], ranges: Ranges | None) -> dict[int, float]:
    """Standard deviation of each item's money by the item's key."""
    spreads = {}
    for row in rows:
        if row.estimate is None:
            continue
        drawn = ranges.of(RangeRow.Level.ITEM, str(row.item.uuid)) if ranges else None
        spreads[row.item.pk] = drawn.money.sd if drawn else row.estimate.money_sd
    return spreads


def years_sheet(programme: Programme) -> YearsSheet:
    """The whole sheet of costs by year; ``programme.club`` is to be loaded."""
    club = programme.club
    rules = rules_of(club)
    month = club.year_start_month
    rows = items_with_cost(programme)
    priced = [(row, row.estimate) for row in rows if row.estimate is not None]
    ranges = _ranges(programme, rows, rules)
    contingency = _contingency(priced, ranges, rules)
    spreads = _spreads(rows, ranges)
    then = _dates_then(rows)
    cost = cost_by_year(
        [_costed(row, estimate, spreads[row.item.pk], then) for row, estimate in priced],
        Additions(
            contingency=contingency.amount,
            design_allowance_percent=float(rules.design_allowance_percent),
            tax_percent=float(club.tax_percent),
            tax_recovered_percent=float(club.tax_recovered_percent),
        ),
        starts_in_month=month,
    )
    spent = _spent_by_year(programme, month)
    trends = {
        line.price.trend.pk: line.price.trend
        for row in rows
        for line in row.lines
        if line.price is not None and line.price.trend is not None
    }
    return YearsSheet(
        programme=programme,
        rules=rules,
        items=rows,
        cost=cost,
        contingency=contingency,
        years=_all_years(cost, spent, month),
        spent=spent,
        trends=sorted(trends.values(), key=lambda one: one.name),
        without_trend=sum(
            (line.amount_likely for row in rows for line in row.lines if _trend_of(line) is None),
            NOTHING,
        ),
        finished=[row.item for row, _ in priced if row.is_finished],
        without_estimate=[row.item for row in rows if row.estimate is None],
        without_days=[row.item for row, _ in priced if row.start is None and row.finish is None],
        one_day_only=[row.item for row, _ in priced if row.start and not row.finish],
    )
