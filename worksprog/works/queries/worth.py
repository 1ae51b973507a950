"""What the works give back: promises, what they are worth, hours given back year by year."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import Case, QuerySet, Value, When

from worksprog.calc import worth as calc
from worksprog.calc.financial_years import FinancialYear, financial_year_of, years_between
from worksprog.calc.ranges import ThreePoint
from worksprog.clubs.models import Club
from worksprog.works.models import (
    Benefit,
    Category,
    Estimate,
    EstimateRules,
    Item,
    ItemState,
    LeftAsIs,
    Price,
    Programme,
    Project,
    WorthRules,
)
from worksprog.works.queries.programme import dates_of_item, live_estimates, with_plan
from worksprog.works.queries.rules import rules_of

YEAR_D = 365.25
NONE = ThreePoint.exactly(0.0)
CREW = "labour-crew"  # the crew's line of the price book; without it the first line of labour
Dates = tuple[date | None, date | None, str]


def worth_rules_of(club: Club) -> WorthRules:
    """What the club says an hour and a day are worth; the usual, not saved, while it says nothing."""
    return WorthRules.objects.filter(club=club).first() or WorthRules(club=club)


def _three(row: object, stem: str) -> ThreePoint | None:
    figures = [getattr(row, f"{stem}_{end}") for end in ("low", "likely", "high")]
    return None if None in figures else ThreePoint(*(float(figure) for figure in figures))


@dataclass(frozen=True)
class Assumed:
    """The assumptions by name, with where each is from; ``made`` None while an hour has no cost."""

    made: calc.Assumptions | None
    rules: EstimateRules
    worth: WorthRules
    hour: ThreePoint | None
    hour_from: str

    @property
    def open_day(self) -> ThreePoint | None:
        return _three(self.worth, "day")


def assumed_by(club: Club) -> Assumed:
    """What the club's figures of worth rest on. Three queries."""
    rules, worth = rules_of(club), worth_rules_of(club)
    hour, hour_from = _three(worth, "hour"), "set by the club"
    if hour is None:
        own_crew = Case(When(code=CREW, then=Value(0)), default=Value(1))
        labour = Price.objects.filter(club=club, category=Category.LABOUR)
        price = labour.order_by(own_crew, "id").first()
        if price is not None:
            hour = ThreePoint(float(price.low), float(price.likely), float(price.high))
            hour_from = f"price book: {price.name}"
    made = None
    if hour is not None:
        discount, years = calc.around(float(rules.discount_percent), rules.horizon_years)
        counted = ThreePoint(worth.counted_low, worth.counted_likely, worth.counted_high)
        made = calc.Assumptions(
            hour=hour,
            discount_percent=discount,
            horizon_years=years,
            counted=counted.times(0.01),
            open_day=_three(worth, "day"),
        )
    return Assumed(made, rules, worth, hour, hour_from)


@dataclass(frozen=True)
class Promised:
    """A promise with the day from which it stands (None: no date is known) and how that is known."""

    benefit: Benefit
    begins: date | None
    begins_from: str
    stands: bool

    @property
    def ends(self) -> date | None:
        """The day after its last."""
        if self.begins is None:
            return None
        return self.begins + timedelta(days=round(self.benefit.years * YEAR_D))

    def share_in(self, first: date, last: date) -> float:
        """Share of the days from ``first`` to ``last``, both counted, in which it stands."""
        if self.begins is None or self.ends is None:
            return 0.0
        begins, ends = max(self.begins, first), min(self.ends, last + timedelta(days=1))
        return max((ends - begins).days, 0) / ((last - first).days + 1)


def _in_play(item: Item, dates: Mapping[int, Dates]) -> date | None:
    _, finish, _ = dates.get(item.pk, (None, None, ""))
    return finish and finish + timedelta(weeks=item.growing_in_weeks, days=1)


def _promised(
    benefit: Benefit, items: Sequence[Item], dates: Mapping[int, Dates], today: date
) -> Promised:
    """When it begins: as stated, else when its item, or the last item of its project, is in play."""
    chosen = [item for item in items if benefit.item_id in (None, item.pk)]
    days = [_in_play(item, dates) for item in chosen]
    over = bool(chosen) and all(
        item.state in (ItemState.DONE, ItemState.GROWING_IN) for item in chosen
    )
    if benefit.begins_on is not None:
        begins, words = benefit.begins_on, "stated"
    elif not days or None in days:
        return Promised(benefit, None, "no date yet", False)
    else:
        begins = max(day for day in days if day is not None)
        words = "in play" if over else "planned to be in play"
    return Promised(benefit, begins, words, over and begins <= today)


def _by_project(programme: Programme) -> tuple[dict[int, list[Item]], dict[int, Dates]]:
    """A programme's items that are not shelved by project key, and the dates of each. Two queries."""
    rows = Item.objects.filter(phase__project__programme=programme).exclude(state=ItemState.SHELVED)
    found: dict[int, list[Item]] = defaultdict(list)
    dates: dict[int, Dates] = {}
    for item in with_plan(rows.select_related("phase")):
        found[item.phase.project_id].append(item)
        dates[item.pk] = dates_of_item(item)
    return found, dates


def _items_of(projects: Iterable[Project]) -> dict[int, list[Item]]:
    """Items that are not shelved, by project key. One query."""
    found: dict[int, list[Item]] = defaultdict(list)
    rows = Item.objects.filter(phase__project__in=list(projects)).exclude(state=ItemState.SHELVED)
    for item in rows.select_related("phase").order_by("phase__order", "order", "id"):
        found[item.phase.project_id].append(item)
    return found


def _benefits(projects: Iterable[Project]) -> dict[int, list[Benefit]]:
    found: dict[int, list[Benefit]] = defaultdict(list)
    rows = Benefit.objects.filter(project__in=list(projects)).select_related("item", "project")
    for benefit in rows.exclude(item__state=ItemState.SHELVED):
        found[benefit.project_id].append(benefit)
    return found


def promises_of(
    programme: Programme, *, projects: QuerySet[Project] | None = None
) -> list[Promised]:
    """Every promise of a programme with the day it begins; those of shelved items are left out.

    Four queries.
    """
    listed = list(projects if projects is not None else programme.projects.all())
    items, dates = _by_project(programme)
    today = programme.club.today()
    benefits = _benefits(listed)
    return [
        _promised(benefit, items[project.pk], dates, today)
        for project in listed
        for benefit in benefits[project.pk]
    ]


@dataclass(frozen=True)
class Standing:
    """A promise of the club's with the day its works began, told by what happened, not by a plan."""

    promised: Promised
    works_began: date | None


def promises_of_club(club: Club, today: date) -> list[Standing]:
    """Every promise of all programmes; one whose works are not over has no day. Two queries."""
    benefits = list(
        Benefit.objects.filter(club=club)
        .exclude(item__state=ItemState.SHELVED)
        .select_related("item", "project__programme")
        .order_by("project__programme__starts_on", "project__priority", "id")
    )
    items = _items_of({one.project_id: one.project for one in benefits}.values())
    found = []
    for one in benefits:
        own = [item for item in items[one.project_id] if one.item_id in (None, item.pk)]
        dates = {item.pk: (item.started_on, item.finished_on, "") for item in own}
        started = [item.started_on for item in own if item.started_on is not None]
        found.append(Standing(_promised(one, own, dates, today), min(started, default=None)))
    return found


@dataclass(frozen=True)
class YearBack:
    """Routine hours given back in one financial year.

    standing  the likely hours of promises whose works are over and which have begun
    by_what   likely hours by what they are
    """

    year: FinancialYear
    hours: ThreePoint
    standing: float
    by_what: dict[str, float]
    days: ThreePoint


def hours_back_by_year(programme: Programme) -> list[YearBack]:
    """Hours given back each financial year, from the programme's first year to the one after it.

    In proportion of the days in which each promise stands. Four queries.
    """
    return years_back(programme, promises_of(programme))


def years_back(programme: Programme, promises: Sequence[Promised]) -> list[YearBack]:
    month = programme.club.year_start_month
    after = financial_year_of(programme.ends_on, month).last + timedelta(days=1)
    found = []
    for year in years_between(programme.starts_on, after, month):
        hours, days, standing = NONE, NONE, 0.0
        by_what = dict.fromkeys(Benefit.What.values, 0.0)
        for one in promises:
            share = one.share_in(year.first, year.last)
            hours = hours.plus(one.benefit.hours.times(share))
            days = days.plus(one.benefit.days.times(share))
            by_what[one.benefit.what] += one.benefit.hours_likely * share
            standing += one.benefit.hours_likely * share * one.stands
        found.append(YearBack(year, hours, standing, by_what, days))
    return found


@dataclass(frozen=True)
class ProjectWorth:
    """A project weighed by what it promises; ``worth`` None where nothing can be weighed."""

    project: Project
    promises: list[Promised]
    left: list[LeftAsIs]
    cost: ThreePoint
    worth: calc.Worth | None

    @property
    def hours(self) -> ThreePoint:
        total = NONE
        for one in self.promises:
            total = total.plus(one.benefit.hours)
        return total

    @property
    def days(self) -> ThreePoint:
        total = NONE
        for one in self.promises:
            total = total.plus(one.benefit.days)
        return total


@dataclass(frozen=True)
class ProgrammeWorth:
    """Everything that promises are made for, weighed on the programme's first day.

    unweighed   projects that promise nothing, with their likely cost
    undated     promises of which no day is known: counted from the programme's last day
    """

    programme: Programme
    assumed: Assumed
    projects: list[ProjectWorth]
    whole: calc.Worth | None
    years: list[YearBack]
    unweighed: list[tuple[Project, Decimal]] = field(default_factory=list)
    undated: list[Promised] = field(default_factory=list)
    without_estimate: list[Item] = field(default_factory=list)

    @property
    def promises(self) -> list[Promised]:
        return [one for project in self.projects for one in project.promises]

    @property
    def hours(self) -> ThreePoint:
        total = NONE
        for one in self.projects:
            total = total.plus(one.hours)
        return total

    @property
    def days(self) -> ThreePoint:
        total = NONE
        for one in self.projects:
            total = total.plus(one.days)
        return total


def _years_after(programme: Programme, day: date) -> float:
    return max((day - programme.starts_on).days, 0) / YEAR_D


def _works_of(
    programme: Programme,
    items: Sequence[Item],
    promises: Sequence[Promised],
    left: Sequence[LeftAsIs],
    estimates: Mapping[int, Estimate],
    dates: Mapping[int, Dates],
) -> list[calc.Work]:
    """A project's items as works: each paid when it is finished, promises with what they wait for.

    A promise of the whole project goes with the item that is paid last.
    """
    if not items:
        return []
    paid = {
        item.pk: _years_after(
            programme, dates.get(item.pk, (None, None, ""))[1] or programme.ends_on
        )
        for item in items
    }
    last = max(items, key=lambda item: paid[item.pk])
    works = []
    for item in items:
        estimate = estimates.get(item.pk)
        cost = NONE
        if estimate is not None:
            cost = ThreePoint(
                float(estimate.money_low), float(estimate.money_likely), float(estimate.money_high)
            )
        own = [one for one in promises if (one.benefit.item_id or last.pk) == item.pk]
        works.append(
            calc.Work(
                name=item.name,
                cost=cost,
                paid_after_years=paid[item.pk],
                promises=tuple(
                    calc.Promise(
                        name=str(one.benefit.get_what_display()),
                        hours_a_year=one.benefit.hours,
                        days_a_year=one.benefit.days,
                        money_a_year=float(one.benefit.money_a_year),
                        after_years=max(
                            _years_after(programme, one.begins or programme.ends_on)
                            - paid[item.pk],
                            0.0,
                        ),
                        lasts_years=one.benefit.years,
                    )
                    for one in own
                ),
                left=tuple(
                    calc.Left(
                        name=one.words,
                        money_a_year=ThreePoint(
                            float(one.money_low), float(one.money_likely), float(one.money_high)
                        ),
                        grows_percent=float(one.grows_percent),
                    )
                    for one in left
                )
                if item.pk == last.pk
                else (),
            )
        )
    return works


def programme_worth(
    programme: Programme, *, projects: QuerySet[Project] | None = None
) -> ProgrammeWorth:
    """What a programme, or some of its projects, gives back and is worth. Nine queries."""
    club = programme.club
    listed = list(projects if projects is not None else programme.projects.all())
    items, dates = _by_project(programme)
    estimates, benefits = live_estimates(programme), _benefits(listed)
    left: dict[int, list[LeftAsIs]] = defaultdict(list)
    for one in LeftAsIs.objects.filter(project__in=listed).select_related("project"):
        left[one.project_id].append(one)
    assumed, today = assumed_by(club), club.today()
    weighed: list[ProjectWorth] = []
    unweighed: list[tuple[Project, Decimal]] = []
    without: list[Item] = []
    all_works: list[calc.Work] = []
    for project in listed:
        own = items[project.pk]
        live = [estimates[item.pk] for item in own if item.pk in estimates]
        promises = [_promised(one, own, dates, today) for one in benefits[project.pk]]
        if not promises and not left[project.pk]:
            unweighed.append((project, sum((one.money_likely for one in live), Decimal("0.00"))))
            continue
        works = _works_of(programme, own, promises, left[project.pk], estimates, dates)
        without += [item for item in own if item.pk not in estimates]
        all_works += works
        weighed.append(
            ProjectWorth(
                project=project,
                promises=promises,
                left=left[project.pk],
                cost=ThreePoint(
                    sum(float(one.money_low) for one in live),
                    sum(float(one.money_likely) for one in live),
                    sum(float(one.money_high) for one in live),
                ),
                worth=_weigh(works, assumed, club),
            )
        )
    promised = [one for project in weighed for one in project.promises]
    return ProgrammeWorth(
        programme=programme,
        assumed=assumed,
        projects=weighed,
        whole=_weigh(all_works, assumed, club),
        years=years_back(programme, promised),
        unweighed=unweighed,
        undated=[one for one in promised if one.begins is None],
        without_estimate=without,
    )


def _weigh(works: Sequence[calc.Work], assumed: Assumed, club: Club) -> calc.Worth | None:
    if assumed.made is None or not works:
        return None
    return calc.weigh(works, assumed.made, sign=club.currency_sign)
