"""How much is done, by measured quantity, and what it was planned to take and took."""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from decimal import Decimal
from itertools import accumulate

from django.db.models import Sum

from worksprog.calc import earned_value as calc
from worksprog.calc.working import Step, Working
from worksprog.clubs.models import Club
from worksprog.clubs.templatetags.figures import day as day_words
from worksprog.hours.models import HourEntry, RoutineKind
from worksprog.planning.models import Plan, PlannedItem
from worksprog.planning.queries import latest_baseline, live_plan
from worksprog.works.models import (
    Category,
    Estimate,
    EstimateLine,
    Item,
    ItemState,
    Price,
    Programme,
    Spend,
)
from worksprog.works.queries import factor_in_use, forecast_factor

LOGGED = "logged on the phone, approved or not; queried entries are left out"


@dataclass(frozen=True)
class Sums:
    """What came in about one item, cumulative by day."""

    days: list[date] = field(default_factory=list)
    totals: list[float] = field(default_factory=list)

    @classmethod
    def of(cls, amounts: Mapping[date, float]) -> Sums:
        days = sorted(amounts)
        return cls(days, list(accumulate(amounts[day] for day in days)))

    def by(self, day: date) -> float:
        """Everything up to and with ``day``."""
        place = bisect_right(self.days, day)
        return self.totals[place - 1] if place else 0.0

    def last(self, day: date) -> date | None:
        """The last day up to and with ``day`` on which anything came in."""
        place = bisect_right(self.days, day)
        return self.days[place - 1] if place else None


@dataclass
class ItemProgress:
    """One job on the day asked for."""

    item: Item
    estimate: Estimate | None
    measured: float
    share: float
    over: float
    basis: str
    hours: float = 0.0
    spent: float = 0.0
    rate: float = 0.0
    budget_h: float = 0.0
    budget_money: float = 0.0
    planned_share: float | None = None
    reported_h: float = 0.0
    learnt: float | None = None

    @property
    def unit(self) -> str:
        return self.estimate.unit if self.estimate else ""

    @property
    def quantity(self) -> float | None:
        return self.estimate.quantity if self.estimate and self.estimate.quantity > 0 else None

    @property
    def wages(self) -> float:
        """The crew's logged hours at the estimate's labour rate."""
        return self.hours * self.rate

    @property
    def actual_money(self) -> float:
        """What it cost so far: money gone out, and the wages of the hours logged."""
        return self.wages + self.spent

    @property
    def forecast_money(self) -> float:
        """What it comes to with the rest as estimated: AC + (BAC − EV), as for the programme."""
        return self.actual_money + self.budget_money * (1 - self.share)

    @property
    def forecast_h(self) -> float | None:
        """Hours it will take: the rest by the learnt rate, without one at its own pace so far.

        Hours since the last reported quantity are part of the rest. None where neither is known.
        """
        if self.learnt is not None and self.share < 1:
            return max(self.reported_h + self.budget_h * (1 - self.share) * self.learnt, self.hours)
        return self.hours / self.share if self.share > 0 and self.hours > 0 else None

    @property
    def forecast_by(self) -> str:
        """By which of the two."""
        if self.forecast_h is None:
            return ""
        if self.learnt is not None and self.share < 1:
            return "rest by the learnt rate"
        return "at its own pace" if self.share < 1 else ""


@dataclass(frozen=True)
class CurvePoint:
    """Planned, earned and actual at the end of ``on``; earned and actual None in days to come."""

    on: date
    pv_h: float
    pv_money: float
    ev_h: float | None = None
    ac_h: float | None = None
    ev_money: float | None = None
    ac_money: float | None = None


@dataclass
class ProgrammeValue:
    """Earned value of a programme in hours and in money, with what it rests on."""

    programme: Programme
    on: date
    hours: calc.EarnedValue
    money: calc.EarnedValue
    schedule: calc.EarnedSchedule | None
    items: list[ItemProgress]
    curve: list[CurvePoint]
    plan: Plan | None
    workings: dict[str, Working]
    without_estimate: list[Item]
    without_dates: list[Item]
    unpriced_h: float
    queried_h: float
    plan_ends: date | None

    @property
    def plan_words(self) -> str:
        if self.plan is None:
            return "No plan is made yet, so nothing is due by any day."
        if self.plan.baseline_name:
            return f"Planned value by the baseline “{self.plan.baseline_name}”."
        made = self.plan.made_at
        return (
            f"Planned value by the live plan of {made.day} {made:%b %Y}, which moves with the work: "
            "keep a baseline to measure against."
        )

    @property
    def ends_about(self) -> date | None:
        """When the whole ends at the pace so far, by earned schedule; None while that says little."""
        if self.schedule is None or self.schedule.forecast is None:
            return None
        if self.hours.ev < TELLING * self.hours.bac:
            return None
        return self.programme.starts_on + timedelta(days=round(self.schedule.forecast * MONTH_D))


MONTH_D = 365.25 / 12
# Share of the work done from which its pace is carried on to the end: common practice, no source.
TELLING = 0.2


def progress_of_items(programme: Programme, on: date) -> dict[int, ItemProgress]:
    """Measured quantity over planned, by item key; over 1 is capped and told. Three queries."""
    return _progress(_read_items(programme), _read_measured(programme), on)


def share_done(
    programme: Programme, on: date, planned: Iterable[tuple[Item, float]]
) -> dict[int, float]:
    """Share done, 0 to 1, by item key: what the plan takes off the hours to come. One query.

    ``planned`` are the items with the quantity that their live estimates plan, 0 without one.
    """
    measured = _read_measured(programme).quantity
    return {
        item.pk: _share_on(item, quantity, measured.get(item.pk, NONE), on).share
        for item, quantity in planned
    }


def _read_items(programme: Programme) -> list[tuple[Item, Estimate | None]]:
    items = list(
        Item.objects.filter(phase__project__programme=programme)
        .exclude(state=ItemState.SHELVED)
        .annotate(learnt_factor=factor_in_use())
        .select_related("phase__project")
    )
    live = {
        one.item_id: one
        for one in Estimate.objects.filter(
            item__phase__project__programme=programme, is_live=True
        ).defer("working", "measured", "feature_versions", "parameters")
    }
    return [(item, live.get(item.pk)) for item in items]


@dataclass
class Logged:
    hours: dict[int, Sums]
    quantity: dict[int, Sums]


def _read_measured(programme: Programme) -> Logged:
    hours: dict[int, dict[date, float]] = defaultdict(dict)
    quantity: dict[int, dict[date, float]] = defaultdict(dict)
    rows = (
        HourEntry.objects.counted()
        .filter(item__phase__project__programme=programme)
        .order_by()
        .values("item_id", "worked_on")
        .annotate(total_h=Sum("hours"), total_q=Sum("quantity"))
    )
    for row in rows:
        hours[row["item_id"]][row["worked_on"]] = float(row["total_h"])
        if row["total_q"]:
            quantity[row["item_id"]][row["worked_on"]] = row["total_q"]
    return Logged(
        {key: Sums.of(days) for key, days in hours.items()},
        {key: Sums.of(days) for key, days in quantity.items()},
    )


NONE = Sums()


def _is_finished(item: Item, on: date) -> bool:
    """Growing in counts as finished: the crew's work is over."""
    over = item.state in (ItemState.DONE, ItemState.GROWING_IN)
    return over and (item.finished_on is None or item.finished_on <= on)


def _planned(estimate: Estimate | None) -> float:
    return estimate.quantity if estimate is not None else 0.0


def _share_on(item: Item, planned: float, quantity: Sums, on: date) -> calc.Progress:
    if planned > 0:
        measured = calc.measured_progress(measured=quantity.by(on), planned=planned)
    else:
        measured = calc.Progress(0.0)
    if _is_finished(item, on):
        return calc.Progress(1.0, measured.over)
    return measured


def _basis(item: Item, estimate: Estimate | None, measured: float, on: date) -> str:
    if _is_finished(item, on):
        return "finished"
    if estimate is None:
        return "no estimate yet"
    if not estimate.quantity > 0:
        return "no planned quantity: counts when it is finished"
    if measured <= 0:
        return "nothing measured yet"
    return "measured quantity over planned"


def _progress(
    rows: Iterable[tuple[Item, Estimate | None]], logged: Logged, on: date
) -> dict[int, ItemProgress]:
    found = {}
    for item, estimate in rows:
        quantity = logged.quantity.get(item.pk, NONE)
        share = _share_on(item, _planned(estimate), quantity, on)
        measured = quantity.by(on)
        hours = logged.hours.get(item.pk, NONE)
        found[item.pk] = ItemProgress(
            item=item,
            estimate=estimate,
            measured=measured,
            share=share.share,
            over=share.over,
            basis=_basis(item, estimate, measured, on),
            hours=hours.by(on),
            reported_h=hours.by(last) if (last := quantity.last(on)) is not None else 0.0,
        )
        if estimate is not None and not item.by_contractor:
            found[item.pk].budget_h = estimate.labour_likely_h
            in_use: float | None = item.learnt_factor  # type: ignore[attr-defined]
            if in_use is not None:
                found[item.pk].learnt = forecast_factor(estimate.learnt, in_use)
    return found


def _labour_rates(programme: Programme) -> tuple[dict[int, float], float | None]:
    """Money an hour by item, from its estimate's labour; and the price book's for the others."""
    rates = {
        row["estimate__item_id"]: float(row["amount"]) / row["hours"]
        for row in EstimateLine.objects.filter(
            estimate__item__phase__project__programme=programme,
            estimate__is_live=True,
            category=Category.LABOUR,
        )
        .order_by()
        .values("estimate__item_id")
        .annotate(amount=Sum("amount_likely"), hours=Sum("quantity_likely"))
        if row["hours"]
    }
    price = Price.objects.filter(club=programme.club_id, category=Category.LABOUR).order_by("id")
    usual = price.first()
    return rates, float(usual.likely) if usual else None


def _planned_rows(
    programme: Programme,
) -> tuple[Plan | None, dict[int, calc.Planned], date | None]:
    """The baseline's dates, else the live plan's; a job the baseline does not know has the latter.

    And the day the live plan ends, which is what the plan says now.
    """
    baseline, live = latest_baseline(programme), live_plan(programme)
    plan = baseline or live
    wanted = [one.pk for one in (live, baseline) if one is not None]
    found: dict[int, calc.Planned] = {}
    rows = PlannedItem.objects.filter(plan__in=wanted).exclude(start=None).exclude(finish=None)
    as_of = {one.pk: one.as_of for one in (live, baseline) if one is not None}
    ends: date | None = None
    for row in sorted(rows, key=lambda row: wanted.index(row.plan_id)):
        assert row.start and row.finish
        if live is not None and row.plan_id == live.pk:
            ends = max(row.finish, ends or row.finish)
        # A job that was under way when the plan was made has only its later hours by week.
        begun = row.start < as_of[row.plan_id]
        weeks = {} if begun else row.hours_by_week
        found[row.item_id] = calc.Planned(
            row.start,
            max(row.start, row.finish),
            {date.fromisoformat(monday): float(hours) for monday, hours in weeks.items()},
        )
    return plan, found, ends


def earned_value(programme: Programme, on: date) -> ProgrammeValue:
    """PV, EV and AC of a programme at the end of ``on``, in hours and money, with the S-curve.

    Budget: the live estimates' likely figures. Earned: budget × measured share. Actual: hours
    logged; in money those at the estimate's labour rate, and what was spent. A contractor's job
    is in the money, not in the crew's hours. At most ten queries.
    """
    rows = _read_items(programme)
    logged = _read_measured(programme)
    rates, usual_rate = _labour_rates(programme)
    plan, dates, plan_ends = _planned_rows(programme)
    spent_days: dict[int, dict[date, float]] = defaultdict(lambda: defaultdict(float))
    for item_id, day, amount in Spend.objects.filter(
        item__phase__project__programme=programme
    ).values_list("item_id", "spent_on", "amount"):
        spent_days[item_id][day] += float(amount)
    spends = {key: Sums.of(days) for key, days in spent_days.items()}
    queried = (
        HourEntry.objects.standing()
        .filter(item__phase__project__programme=programme, state="queried", worked_on__lte=on)
        .aggregate(total=Sum("hours"))["total"]
    )
    items = list(_progress(rows, logged, on).values())
    for one in items:
        key = one.item.pk
        one.spent = spends.get(key, NONE).by(on)
        one.rate = rates.get(key, usual_rate or 0.0)
        if one.estimate is not None:
            one.budget_money = float(one.estimate.money_likely)
        if key in dates:
            one.planned_share = calc.share_planned_by(dates[key], on)

    def point(day: date, *, past: bool) -> CurvePoint:
        pv_h = pv_money = ev_h = ev_money = ac_h = ac_money = 0.0
        for one in items:
            key = one.item.pk
            planned = calc.share_planned_by(dates[key], day) if key in dates else 0.0
            pv_h += one.budget_h * planned
            pv_money += one.budget_money * planned
            if past:
                quantity = logged.quantity.get(key, NONE)
                share = _share_on(one.item, _planned(one.estimate), quantity, day).share
                hours = logged.hours.get(key, NONE).by(day)
                ev_h += one.budget_h * share
                ev_money += one.budget_money * share
                ac_h += hours
                ac_money += hours * one.rate + spends.get(key, NONE).by(day)
        if not past:
            return CurvePoint(day, pv_h, pv_money)
        return CurvePoint(day, pv_h, pv_money, ev_h, ac_h, ev_money, ac_money)

    now = point(on, past=True)
    assert now.ev_h is not None and now.ac_h is not None
    assert now.ev_money is not None and now.ac_money is not None
    last = max([programme.ends_on, *(one.finish for one in dates.values())])
    ends = _month_ends(programme.starts_on, last)
    eve = programme.starts_on - timedelta(days=1)
    curve = [point(day, past=day <= on) for day in (eve, *ends)]
    if programme.starts_on <= on <= last and on not in ends:
        curve = sorted([*curve, now], key=lambda one: one.on)
    sign = programme.club.currency_sign.strip()
    hours = calc.earned_value(
        bac=sum(one.budget_h for one in items), pv=now.pv_h, ev=now.ev_h, ac=now.ac_h, unit="h"
    )
    money = calc.earned_value(
        bac=sum(one.budget_money for one in items),
        pv=now.pv_money,
        ev=now.ev_money,
        ac=now.ac_money,
        unit=sign,
    )
    value = ProgrammeValue(
        programme=programme,
        on=on,
        hours=hours,
        money=money,
        schedule=_schedule(programme, curve, ends, hours, on),
        items=items,
        curve=curve,
        plan=plan,
        workings={},
        without_estimate=[one.item for one in items if one.estimate is None],
        without_dates=[one.item for one in items if one.planned_share is None],
        unpriced_h=sum(one.hours for one in items if one.rate <= 0),
        queried_h=float(queried or 0),
        plan_ends=plan_ends,
    )
    value.workings = _workings(value)
    return value


def _month_ends(first: date, last: date) -> list[date]:
    ends: list[date] = []
    year, month = first.year, first.month
    while True:
        year, month = (year + 1, 1) if month == 12 else (year, month + 1)
        end = date(year, month, 1) - timedelta(days=1)
        if end >= last:
            return [*ends, last]
        ends.append(end)


def _schedule(
    programme: Programme,
    curve: Iterable[CurvePoint],
    ends: list[date],
    hours: calc.EarnedValue,
    on: date,
) -> calc.EarnedSchedule | None:
    """In months, by the crew's hours; None where the plan holds none."""
    chosen = set(ends)
    plan = [point.pv_h for point in curve if point.on in chosen]
    if not plan or plan[-1] <= 0 or on < programme.starts_on:
        return None
    gone = ((on - programme.starts_on).days + 1) / MONTH_D
    return calc.earned_schedule(plan, ev=hours.ev, at=gone)


def _pace_words(value: ProgrammeValue) -> str:
    """IEAC(t) as a day, with what it is: it knows of no season, the plan does."""
    plan = f"; the plan says {day_words(value.plan_ends)}" if value.plan_ends else ""
    if value.ends_about is None:
        return (
            "IEAC(t) carries the pace so far on over the whole programme, which no season allows, "
            "and is not told as a day before a fifth of the work is done: until then it says "
            f"little{plan}."
        )
    return (
        "If the whole programme went on at the pace so far, which no season allows, IEAC(t) would "
        f"end it on {day_words(value.ends_about)}{plan}."
    )


def _workings(value: ProgrammeValue) -> dict[str, Working]:
    """Every figure of the page by its name: the sums by job, and what follows from them."""
    found: dict[str, Working] = {}
    for kind, one in (("hours", value.hours), ("money", value.money)):
        found |= {f"{kind}_{name}": working for name, working in one.workings().items()}
        by_hours = kind == "hours"

        def budget(row: ItemProgress, by_hours: bool = by_hours) -> float:
            return row.budget_h if by_hours else row.budget_money

        counted = [row for row in value.items if budget(row)]
        found[f"{kind}_bac"] = Working(
            "Budget at completion",
            (
                *(
                    Step("", row.item.name, budget(row), one.unit, "likely", "live estimate")
                    for row in counted
                ),
                Step("BAC", "budget at completion", one.bac, one.unit, "sum of the jobs"),
            ),
        )
        found[f"{kind}_pv"] = Working(
            "Planned value",
            (
                *(
                    Step(
                        "",
                        row.item.name,
                        budget(row) * row.planned_share,
                        one.unit,
                        f"{budget(row):,.1f} × {row.planned_share:.3f}",
                        "estimate × share planned by the day",
                    )
                    for row in counted
                    if row.planned_share
                ),
                Step("PV", "planned value to the day", one.pv, one.unit, "sum of the jobs"),
            ),
            (value.plan_words,),
        )
        found[f"{kind}_ev"] = Working(
            "Earned value",
            (
                *(
                    Step(
                        "",
                        row.item.name,
                        budget(row) * row.share,
                        one.unit,
                        f"{budget(row):,.1f} × {row.share:.3f}",
                        f"estimate × share done ({row.basis})",
                    )
                    for row in counted
                    if row.share
                ),
                Step("EV", "earned value to the day", one.ev, one.unit, "sum of the jobs"),
            ),
        )
    found["hours_ac"] = Working(
        "Actual hours",
        (
            *(
                Step("", row.item.name, row.hours, "h", "", LOGGED)
                for row in value.items
                if row.hours
            ),
            Step("AC", "hours to the day", value.hours.ac, "h", "sum of the jobs"),
        ),
    )
    found["money_ac"] = Working(
        "Actual cost",
        (
            *(
                Step(
                    "",
                    row.item.name,
                    row.hours * row.rate + row.spent,
                    value.money.unit,
                    f"{row.hours:,.1f} h × {row.rate:,.2f} + {row.spent:,.2f}",
                    "hours × labour rate of the estimate + spent",
                )
                for row in value.items
                if row.hours or row.spent
            ),
            Step("AC", "cost to the day", value.money.ac, value.money.unit, "sum of the jobs"),
        ),
    )
    if value.schedule is not None:
        found["schedule"] = replace(value.schedule.working("months"), notes=(_pace_words(value),))
    return found


def routine_hours(club: Club, first: date, last: date) -> dict[str, Decimal]:
    """Hours of routine work by kind, both days counted. One query."""
    return dict(
        HourEntry.objects.counted()
        .filter(club=club, worked_on__range=(first, last))
        .exclude(routine="")
        .order_by()
        .values("routine")
        .annotate(total=Sum("hours"))
        .values_list("routine", "total")
    )


def leaf_hours(club: Club, first: date, last: date) -> dict[date, Decimal]:
    """Hours of clearing leaves by week (its Monday). One query."""
    weeks: dict[date, Decimal] = defaultdict(Decimal)
    rows = HourEntry.objects.counted().filter(
        club=club, routine=RoutineKind.LEAVES, worked_on__range=(first, last)
    )
    for day, hours in rows.order_by("worked_on").values_list("worked_on", "hours"):
        weeks[day - timedelta(days=day.weekday())] += hours
    return dict(weeks)
