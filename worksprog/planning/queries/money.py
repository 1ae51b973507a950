"""Money released beside what the planned jobs take, by financial year."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import DecimalField, OuterRef, Subquery, Sum

from worksprog.calc.financial_years import FinancialYear, financial_year_of, years_between
from worksprog.planning.models import MoneyRelease, PlannedItem
from worksprog.works.models import Estimate, ItemState, Programme, Spend

NOTHING = Decimal(0)


@dataclass(frozen=True)
class MoneyYear:
    """``left``: released so far less what the jobs begun so far take."""

    year: FinancialYear
    released: Decimal
    begun: Decimal
    left: Decimal


def money_by_year(programme: Programme, releases: Sequence[MoneyRelease]) -> Sequence[MoneyYear]:
    """Of the jobs whose money waits for a release, by the year in which the live plan begins each:
    what is spent on work that is over, else its likely money, or what is spent where that is more.
    One query."""
    month = programme.club.year_start_month
    live = Estimate.objects.filter(item=OuterRef("item"), is_live=True)
    spends = (
        Spend.objects.filter(item=OuterRef("item"))
        .order_by()
        .values("item")
        .annotate(amount=Sum("amount"))
    )
    planned = PlannedItem.objects.filter(
        plan__programme=programme, plan__is_live=True, start__isnull=False
    )
    own = {release.project_id for release in releases}
    if None not in own:
        planned = planned.filter(item__phase__project__in=own)
    rows = planned.annotate(
        likely=Subquery(live.values("money_likely")),
        spent=Subquery(spends.values("amount"), output_field=DecimalField()),
    ).values_list("start", "item__state", "likely", "spent")
    begun: dict[FinancialYear, Decimal] = defaultdict(Decimal)
    days: list[date] = []
    for start, state, likely, spent in rows:
        assert start is not None
        out = spent or NOTHING
        if state not in (ItemState.DONE, ItemState.GROWING_IN):
            out = max(out, likely or NOTHING)
        begun[financial_year_of(start, month)] += out
        days.append(start)
    released: dict[FinancialYear, Decimal] = defaultdict(Decimal)
    for release in releases:
        released[financial_year_of(release.from_date, month)] += release.amount
        days.append(release.from_date)
    if not days:
        return []
    found, left = [], NOTHING
    for year in years_between(min(days), max(days), month):
        left += released[year] - begun[year]
        found.append(MoneyYear(year, released[year], begun[year], left))
    return found
