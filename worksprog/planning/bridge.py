"""A programme's rows as jobs, links, windows and crew hours; a plan's dates back as rows."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Any

from django.db.models import Exists, OuterRef, Subquery, Sum

from worksprog.calc import workdays
from worksprog.calc.solver import Link, LinkKind
from worksprog.clubs.models import Club
from worksprog.planning.crew import Crew, any_people, read_crew
from worksprog.planning.models import (
    Closure,
    CrewWeek,
    GivenUp,
    ItemPlanning,
    PlannedItem,
    PlanRules,
    WorkWindow,
)
from worksprog.planning.money import Release, pence, read_releases
from worksprog.planning.play import Play, read_play
from worksprog.planning.remaining import share_done
from worksprog.works.models import Estimate, Item, ItemState, Programme, Spend, WorkKind
from worksprog.works.models import Link as DrawnLink
from worksprog.works.queries import factor_in_use, forecast_factor

DRAIN_KINDS = frozenset(
    {
        WorkKind.CARRIER_PIPE,
        WorkKind.DITCH_DUG,
        WorkKind.DITCH_REGRADED,
        WorkKind.LATERALS,
        WorkKind.HEADWALL,
        WorkKind.OUTFALL,
        WorkKind.CHAMBER,
        WorkKind.CULVERT,
    }
)
NOTHING = Decimal(0)
WORKED = frozenset({ItemState.DONE, ItemState.GROWING_IN})


@dataclass(frozen=True)
class ClubYear:
    """A club's windows, crew hours and closures as calc takes them."""

    windows: dict[str, list[workdays.Window]]
    crew: dict[int, workdays.CrewWeek]
    closures: list[tuple[dt.date, dt.date, str]]
    gang: int
    week_days: frozenset[int]
    day_h: float
    goals: tuple[str, ...] = ()
    people: Crew | None = None

    def calendar(self, first: dt.date, last: dt.date) -> workdays.Calendar:
        holidays = {
            begin + dt.timedelta(days=n): name
            for begin, end, name in self.closures
            for n in range((end - begin).days + 1)
        }
        return workdays.Calendar.around(first, last, week_days=self.week_days, holidays=holidays)


@dataclass(frozen=True)
class ItemFacts:
    """One item as the plan needs it. ``labour_h`` is the whole estimate, ``left_h`` what remains,
    ``was`` the first and last day of work in the live plan."""

    item: Item
    labour_h: float | None
    left_h: float
    gang: int
    least_days: int
    may_spread: bool
    consents: tuple[str, ...] = ()
    promised_by: dt.date | None = None
    holes_closed: int = 0
    holes: frozenset[int] = frozenset()
    money_left_p: int = 0
    spent_p: int = 0
    was: tuple[dt.date, dt.date] | None = None

    @property
    def is_worked(self) -> bool:
        return self.item.state in WORKED


@dataclass(frozen=True)
class Facts:
    """Everything a plan is made from, read at one time."""

    programme: Programme
    today: dt.date
    year: ClubYear
    items: list[ItemFacts]
    links: list[Link]
    implied: list[tuple[int, int]]
    given_up: frozenset[str] = frozenset()
    play: Play = field(default_factory=Play)
    releases: tuple[Release, ...] = ()


@dataclass
class Dated:
    """What the plan says of one item."""

    item: Item
    labour_h: float
    earliest_start: dt.date | None = None
    earliest_finish: dt.date | None = None
    float_days: int | None = None
    is_critical: bool = False
    start: dt.date | None = None
    finish: dt.date | None = None
    in_play_on: dt.date | None = None
    hours_by_week: dict[str, float] = field(default_factory=dict)
    waits_for: str = ""
    not_placed: str = ""
    caution: str = ""
    gang: int | None = None


def read_club_year(club: Club) -> ClubYear:
    """Four queries, six where people of the crew are entered."""
    windows: dict[str, list[workdays.Window]] = {}
    for row in WorkWindow.objects.filter(club=club):
        windows.setdefault(row.kind, []).append(window_of(row))
    weeks = list(CrewWeek.objects.filter(club=club).annotate(any_people=any_people(club)))
    crew = {
        row.week: workdays.CrewWeek(row.week, row.crew_h, row.routine_h, row.note) for row in weeks
    }
    closures = [(row.from_date, row.to_date, row.name) for row in Closure.objects.filter(club=club)]
    rules = PlanRules.objects.filter(club=club).first() or PlanRules(club=club)
    week_days = {0, 1, 2, 3, 4}
    if rules.works_saturday:
        week_days.add(5)
    if rules.works_sunday:
        week_days.add(6)
    return ClubYear(
        windows,
        crew,
        closures,
        rules.gang,
        frozenset(week_days),
        float(club.working_day_h),
        tuple(rules.goals),
        read_crew(club, rules) if not weeks or weeks[0].any_people else None,
    )


def window_of(row: WorkWindow) -> workdays.Window:
    return workdays.Window(
        row.kind,
        workdays.MonthDay(row.from_month, row.from_day),
        workdays.MonthDay(row.to_month, row.to_day),
        row.reason,
        row.is_firm,
    )


def read_facts(programme: Programme, today: dt.date) -> Facts:
    """Read a programme; the number of queries does not grow with it."""
    from worksprog.drainage.queries import implied_order

    year = read_club_year(programme.club)
    live = Estimate.objects.filter(item=OuterRef("pk"), is_live=True)
    dated = PlannedItem.objects.filter(item=OuterRef("pk"), plan__is_live=True)
    wishes = GivenUp.objects.filter(programme=programme)
    spent = (
        Spend.objects.filter(item=OuterRef("pk"))
        .order_by()
        .values("item")
        .annotate(amount=Sum("amount"))
        .values("amount")
    )
    rows = list(
        Item.objects.filter(phase__project__programme=programme)
        .exclude(state=ItemState.SHELVED)
        .annotate(
            live_labour_h=Subquery(live.values("labour_likely_h")),
            live_quantity=Subquery(live.values("quantity")),
            live_learnt=Subquery(live.values("learnt")),
            live_money=Subquery(live.values("money_likely")),
            money_spent=Subquery(spent),
            learnt_factor=factor_in_use(),
            was_start=Subquery(dated.values("start")),
            was_finish=Subquery(dated.values("finish")),
            any_given_up=Exists(wishes),
        )
        .select_related("phase__project", "planning")
        .prefetch_related("features", "consents", "holes")
    )
    done = share_done(programme, today, [(row, row.live_quantity or 0.0) for row in rows])
    items = [
        replace(
            _item_facts(
                row,
                row.live_labour_h,
                done.get(row.pk, 0.0),
                year,
                forecast_factor(row.live_learnt, row.learnt_factor),
            ),
            holes_closed=len(row.holes.all()) if row.holes_closed else 0,
            holes=frozenset(hole.number for hole in row.holes.all()),
            spent_p=pence(row.money_spent or NOTHING),
            money_left_p=max(pence((row.live_money or NOTHING) - (row.money_spent or NOTHING)), 0),
            was=(row.was_start, row.was_finish) if row.was_start and row.was_finish else None,
        )
        for row in rows
    ]
    keys = {row.pk for row in rows}
    links = [
        Link(row.first_id, row.then_id, LinkKind(row.type), row.lag_days)
        for row in DrawnLink.objects.filter(first__in=keys, then__in=keys).order_by("id")
    ]
    pairs = [(str(below), str(above)) for below, above in implied_order(programme.club)]
    given_up: frozenset[str] = frozenset()
    if any(row.any_given_up for row in rows):
        given_up = frozenset(wishes.values_list("wish", flat=True))
    return Facts(
        programme,
        today,
        year,
        items,
        links,
        implied_between(rows, pairs),
        given_up,
        read_play(programme.club, today),
        read_releases(programme),
    )


def _item_facts(
    row: Item, hours: float | None, done: float, year: ClubYear, factor: float
) -> ItemFacts:
    """``factor``: what the crew's learnt rate makes of the estimate's hours still to come."""
    told: ItemPlanning | None = getattr(row, "planning", None)
    left = (hours or 0.0) * factor * (1 - min(max(done, 0.0), 1.0))
    gang = told.gang if told and told.gang else year.gang
    least_days = told.least_days if told and told.least_days else 0
    if row.by_contractor:
        # A contractor's hours are not the crew's: they only say how long it takes.
        if not least_days and hours:
            least_days = math.ceil(hours / (gang * year.day_h))
        left = 0.0
    return ItemFacts(
        item=row,
        labour_h=hours,
        left_h=left,
        gang=gang,
        least_days=least_days,
        # A job begun late in its window goes on when the window opens again.
        may_spread=row.state == ItemState.ON_SITE or bool(told and told.may_spread),
        consents=tuple(one.name for one in row.consents.all() if one.granted_on is None),
        promised_by=told.promised_by if told else None,
    )


def implied_between(
    items: Iterable[Item], pairs: Iterable[tuple[str, str]]
) -> list[tuple[int, int]]:
    """Items below and above, from features below and above.

    A reach on which nothing is done passes the order on to the next one above it.
    """
    on_feature: dict[str, list[int]] = {}
    for item in items:
        if item.kind in DRAIN_KINDS:
            for feature in item.features.all():
                on_feature.setdefault(str(feature.uuid), []).append(item.pk)
    upstream: dict[str, list[str]] = {}
    for below, above in pairs:
        upstream.setdefault(below, []).append(above)
    found: dict[tuple[int, int], None] = {}
    for reach, lower in on_feature.items():
        seen = {reach}
        ahead = list(upstream.get(reach, ()))
        while ahead:
            above = ahead.pop(0)
            if above in seen:
                continue
            seen.add(above)
            higher = on_feature.get(above, [])
            found.update({(a, b): None for a in lower for b in higher if a != b})
            if not higher:
                ahead += upstream.get(above, ())
    return list(found)


def row_of(dated: Dated, **more: Any) -> PlannedItem:
    return PlannedItem(
        item=dated.item,
        club_id=dated.item.club_id,
        labour_h=dated.labour_h,
        earliest_start=dated.earliest_start,
        earliest_finish=dated.earliest_finish,
        float_days=dated.float_days,
        is_critical=dated.is_critical,
        gang=dated.gang,
        start=dated.start,
        finish=dated.finish,
        in_play_on=dated.in_play_on,
        hours_by_week=dated.hours_by_week,
        waits_for=dated.waits_for,
        not_placed=dated.not_placed[:300],
        caution=dated.caution,
        **more,
    )
