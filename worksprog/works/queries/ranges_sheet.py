"""What the page of ranges shows of a programme."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from worksprog.calc.ranges import sum_spreads
from worksprog.calc.working import Step, Working
from worksprog.works.bridge_ranges import Placed, Sways
from worksprog.works.models import EstimateRules, Item, ItemState, Programme
from worksprog.works.queries.programme import CORRELATION, placed_items
from worksprog.works.queries.ranges import Level, RangeOf, Ranges, last_kept, ranges_of
from worksprog.works.queries.rules import rules_of

CHANCES = (0.50, 0.60, 0.70, 0.75, 0.80, 0.85, 0.90, 0.95)
NORMAL_P80 = 0.8416212


@dataclass(frozen=True)
class RangesSheet:
    """``ranges`` is None while nothing can be shown; ``too_many`` lines for a page to draw then."""

    programme: Programme
    rules: EstimateRules
    sways: Sways
    placed: Sequence[Placed]
    ranges: Ranges | None
    too_many: bool
    without_estimate: Sequence[Item]

    @property
    def chance(self) -> float:
        return float(self.rules.contingency_chance)

    def items_of(self, project_key: str) -> list[RangeOf]:
        if self.ranges is None:
            return []
        inside = {str(one.item.uuid) for one in self.placed if str(one.project.uuid) == project_key}
        return [row for row in self.ranges.at(Level.ITEM) if row.key in inside]

    def phases_of(self, project_key: str) -> list[RangeOf]:
        if self.ranges is None:
            return []
        inside = {
            str(one.phase.uuid) for one in self.placed if str(one.project.uuid) == project_key
        }
        return [row for row in self.ranges.at(Level.PHASE) if row.key in inside]

    def working(self, row: RangeOf) -> Working:
        """How a group's 8 in 10 came about, with the closed form beside it as a check."""
        inside = [
            one.estimate
            for one in self.placed
            if row.level == Level.PROGRAMME or str(one.project.uuid) == row.key
        ]
        mean, sd = sum_spreads(
            [(one.money_mean, one.money_sd) for one in inside], correlation=CORRELATION
        )
        money = row.money
        return Working(
            f"{row.label}: money by chance",
            (
                Step("n", "jobs drawn", float(len(inside))),
                Step("B", "sum of the likely figures", f"{row.base_money:,}"),
                Step("N", "draws", float(money.draws), "", "", f"seed {self.sways.seed}"),
                Step("", "mean of the draws", money.mean),
                Step("", "standard deviation of the draws", money.sd),
                Step("P50", "half of the draws lie below", money.within(0.5)),
                Step("", "standard error of P80", money.standard_error(0.8), "",
                     "√(p (1 − p) / N) / f, f the density of the draws there"),
                Step("", "check by the closed form: mean", mean, "", "sum of the items' means",
                     "each line's money taken as one three-point figure"),
                Step("", "check by the closed form: standard deviation", sd, "",
                     "√(Σs² + ρ ((Σs)² − Σs²))", f"ρ = {CORRELATION:g} between items"),
                Step("", "check by the closed form: 8 in 10 within", mean + NORMAL_P80 * sd, "",
                     "µ + 0.842 σ", "normal curve"),
                Step("K", f"contingency at {self.chance:.0%}",
                     f"{row.contingency(self.chance):,}", "", "value at that chance − B"),
                Step("P80", "money, 8 in 10 chance within", money.within(0.8), "",
                     "80 % of the draws lie below", self.sways.words),
            ),
            (
                "The closed form takes low × low and high × high as the ends of a line's money, "
                "which seldom meet; the draws take quantity, output and price apart.",
            ),
        )  # fmt: skip


def ranges_sheet(programme: Programme) -> RangesSheet:
    """A programme's ranges: kept, drawn for the page, or the last kept ones where they are stale.

    Ten queries at most.
    """
    rules = rules_of(programme.club)
    sways = Sways.of(rules)
    placed = placed_items(programme)
    ranges = ranges_of(programme.club, placed, sways=sways, ranked=True)
    stale = None
    if ranges is None and placed:
        stale = last_kept(programme)
    known = {one.item.pk for one in placed}
    return RangesSheet(
        programme=programme,
        rules=rules,
        sways=stale.sways if stale else sways,
        placed=placed,
        ranges=ranges or stale,
        too_many=bool(placed) and ranges is None,
        without_estimate=list(
            Item.objects.filter(phase__project__programme=programme)
            .exclude(pk__in=known)
            .exclude(state=ItemState.SHELVED)
        ),
    )


@dataclass(frozen=True)
class ByChance:
    chance: float
    money: Decimal
    contingency: Decimal
    hours: float
    extra_h: float


def by_chance(row: RangeOf, chosen: float) -> list[ByChance]:
    """What suffices by each chance, the chosen one among them."""
    return [
        ByChance(
            chance,
            row.base_money + row.contingency(chance),
            row.contingency(chance),
            row.hours.within(chance),
            row.contingency_h(chance),
        )
        for chance in sorted({*CHANCES, chosen})
    ]
