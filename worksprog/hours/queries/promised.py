"""What works promised to give back against what the crew's own log says of it."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Sum

from worksprog.calc.ranges import ThreePoint
from worksprog.calc.worth import Claim, Measured, Week, compare_seasons
from worksprog.clubs.models import Club
from worksprog.course.models import Feature, Kind, State
from worksprog.hours.models import HourEntry, RoutineKind
from worksprog.works.models import Benefit, Item, ItemState, Project, WorkKind
from worksprog.works.queries.worth import Standing, promises_of_club

# Which kind of routine work of the log tells of a promise; something else is told by none.
TOLD_BY: dict[str, str] = {
    Benefit.What.LEAVES: RoutineKind.LEAVES,
    Benefit.What.BUNKERS: RoutineKind.BUNKERS,
    Benefit.What.WET_GROUND: RoutineKind.WET_GROUND,
}
YEAR = timedelta(weeks=52)
NONE = ThreePoint.exactly(0.0)
# Half and half again of an area's or a count's share: common practice, no source.
SPREAD = ThreePoint(0.5, 1.0, 1.5)
LEAST_H = 0.5


@dataclass(frozen=True)
class Logged:
    """Hours by week: of each kind of routine work, of everything, and of the works."""

    kinds: dict[str, dict[date, float]]
    all_h: dict[date, float]
    works_h: dict[date, float]

    def weeks(self, kind: str) -> list[Week]:
        of_kind = self.kinds.get(kind, {})
        return [
            Week(monday, of_kind.get(monday, 0.0), hours, self.works_h.get(monday, 0.0))
            for monday, hours in sorted(self.all_h.items())
        ]


def logged_by_week(club: Club, *, during: tuple[date, date] | None = None) -> Logged:
    """The club's log by week, the whole or between two days, queried entries left out. One query."""
    kinds: dict[str, dict[date, float]] = defaultdict(lambda: defaultdict(float))
    all_h: dict[date, float] = defaultdict(float)
    works_h: dict[date, float] = defaultdict(float)
    rows = HourEntry.objects.counted().filter(club=club)
    if during is not None:
        rows = rows.filter(worked_on__range=during)
    for row in rows.order_by().values("worked_on", "routine").annotate(total=Sum("hours")):
        monday = row["worked_on"] - timedelta(days=row["worked_on"].weekday())
        hours = float(row["total"])
        all_h[monday] += hours
        if row["routine"]:
            kinds[row["routine"]][monday] += hours
        else:
            works_h[monday] += hours
    return Logged(kinds, all_h, works_h)


@dataclass(frozen=True)
class KindPromised:
    """All promises of one kind, and what the log says of its routine work on the whole course.

    measured  None where no routine work of the log tells of it, or nothing stands yet
    promised  hours a year, the mean of what stood over the days since the first stands
    """

    what: str
    label: str
    routine: str
    standing: list[Standing]
    to_come: list[Standing]
    promised: ThreePoint
    stands_from: date | None
    measured: Measured | None = None

    @property
    def why_not(self) -> str:
        if not self.routine:
            return (
                "No kind of routine work in the log tells of it; the promise stands as it was made."
            )
        return "No work that promises it is in play yet." if not self.standing else ""

    @property
    def crowded_out(self) -> float:
        """Hours more that the works took in the compared weeks, where they could explain it."""
        if self.measured is None or self.measured.claim is Claim.NOTHING:
            return 0.0
        more = self.measured.works_after_h - self.measured.works_before_h
        return more if more > 0 and self.measured.fewer_h > 0 else 0.0

    @property
    def claim_class(self) -> str:
        if self.measured is None:
            return "nothing"
        return {
            Claim.MEASURED: "measured",
            Claim.INDICATION: "indication",
            Claim.TOO_FEW: "few",
            Claim.NOTHING: "nothing",
        }[self.measured.claim]


def measured_promises(club: Club, today: date) -> list[KindPromised]:
    """Promised against measured by kind of routine work, like for like by week. Three queries.

    The log tells of the whole course, not of one wood: so promises of one kind are measured
    together, from before the first of their works began to since the first of them stands.
    """
    by_what: dict[str, list[Standing]] = defaultdict(list)
    for one in promises_of_club(club, today):
        by_what[one.promised.benefit.what].append(one)
    if not by_what:
        return []
    logged = logged_by_week(club)
    return [
        _measure(what, by_what[what], logged, today)
        for what in Benefit.What.values
        if what in by_what
    ]


def _measure(what: str, found: Sequence[Standing], logged: Logged, today: date) -> KindPromised:
    standing = [one for one in found if one.promised.stands]
    to_come = [one for one in found if not one.promised.stands]
    routine = TOLD_BY.get(what, "")
    begun = [one.promised.begins for one in standing if one.promised.begins is not None]
    stands_from = min(begun, default=None)
    promised = NONE
    measured = None
    if stands_from is not None:
        for one in standing:
            share = one.promised.share_in(stands_from, max(today, stands_from))
            promised = promised.plus(one.promised.benefit.hours.times(share))
        if routine:
            began = [one.works_began for one in standing if one.works_began is not None]
            measured = compare_seasons(
                logged.weeks(routine),
                works_began=min([*began, stands_from]),
                stands_from=stands_from,
                today=today,
                promised=promised,
            )
    return KindPromised(
        what=what,
        label=str(Benefit.What(what).label),
        routine=str(RoutineKind(routine).label) if routine else "",
        standing=standing,
        to_come=to_come,
        promised=promised,
        stands_from=stands_from,
        measured=measured,
    )


@dataclass(frozen=True)
class Reckoned:
    """What the log says of one kind of routine work; ``hours`` the project's part, where it is told."""

    what: str
    label: str
    year_h: float
    words: str
    hours: ThreePoint | None = None

    @property
    def fields(self) -> str:
        """What a press puts into the form, as JSON."""
        assert self.hours is not None
        return json.dumps(
            {
                "what": self.what,
                "hours_low": round(self.hours.low, 1),
                "hours_likely": round(self.hours.likely, 1),
                "hours_high": round(self.hours.high, 1),
                "words": self.words,
            }
        )


def reckoned_from_log(project: Project, today: date) -> tuple[list[Reckoned], int]:
    """What the last 52 whole weeks of the club's log say of leaves, bunkers and wet ground, with the
    part of it that lies on the project's features; and how many of these weeks hold any hours.

    Leaves by stems felled over the stems of all woods and trees, bunkers by area: filled ones less
    new ones, so that hours below 0 are what new bunkers bring. Four queries.
    """
    club = project.club
    monday = today - timedelta(days=today.weekday())
    sunday = monday - timedelta(days=1)
    logged = logged_by_week(club, during=(monday - YEAR, sunday))
    weeks = sum(1 for hours in logged.all_h.values() if hours > 0)
    year = {kind: sum(logged.kinds.get(kind, {}).values()) for kind in TOLD_BY.values()}
    items = list(
        Item.objects.filter(phase__project=project)
        .exclude(state=ItemState.SHELVED)
        .prefetch_related("features")
    )
    there = list(
        Feature.objects.filter(club=club, kind__in=[Kind.WOOD, Kind.TREE, Kind.BUNKER]).exclude(
            state__in=[State.PROPOSED, State.REMOVED]
        )
    )
    of_year = f"the log's {weeks} weeks to {sunday.day} {sunday:%b %Y}"

    def part(what: str, share: float, by: str) -> Reckoned:
        hours = year[TOLD_BY[what]]
        ends = sorted(at * share * hours for at in (SPREAD.low, SPREAD.likely, SPREAD.high))
        words = (
            f"{hours:,.0f} h in {of_year}, times {by}; half and half again of it as low and high."
        )
        label = str(Benefit.What(what).label)
        if abs(share * hours) < LEAST_H:
            return Reckoned(what, label, hours, words)
        return Reckoned(what, label, hours, words, ThreePoint(*ends))

    found = []
    felled = sum(_stems(item) for item in items if item.kind == WorkKind.TREE_THINNING)
    standing = sum(one.stems or int(one.kind == Kind.TREE) for one in there)
    if felled and standing:
        share = min(felled / standing, 1.0)
        by = f"{felled:,.0f} stems to fell of {standing:,.0f} in all woods"
        found.append(part(Benefit.What.LEAVES, share, by))
    filled, made = _bunkers(items, WorkKind.BUNKER_FILLED), _bunkers(items, WorkKind.BUNKER_NEW)
    known = {one.pk: one.area_m2 for one in there if one.kind == Kind.BUNKER} | filled
    if (filled or made) and known:
        net = sum(filled.values()) - sum(made.values())
        by = f"{net:,.0f} m² of bunkers over {sum(known.values()):,.0f} m² on the course"
        found.append(part(Benefit.What.BUNKERS, net / sum(known.values()), by))
    told = {one.what for one in found}
    for what, kind in TOLD_BY.items():
        if what in told:
            continue
        words = f"{year[kind]:,.0f} h on the whole course in {of_year}"
        if what == Benefit.What.LEAVES:
            words += _wood_words(items, there)
        words += "; which part of it this project ends is for you to judge."
        found.append(Reckoned(what, str(Benefit.What(what).label), year[kind], words))
    return found, weeks


def _wood_words(items: Sequence[Item], there: Sequence[Feature]) -> str:
    """Where no stems are known: how much of the wooded ground the project is on."""
    all_m2 = sum(one.area_m2 for one in there if one.kind == Kind.WOOD)
    on = {
        one.pk: one.area_m2
        for item in items
        for one in item.features.all()
        if one.kind == Kind.WOOD
    }
    if not on or not all_m2:
        return ""
    return (
        f"; the project is on {sum(on.values()):,.0f} m² of wood of {all_m2:,.0f} m² on the course"
    )


def _stems(item: Item) -> float:
    given = item.parameters.get("stems")
    return float(given) if given else 0.0


def _bunkers(items: Sequence[Item], kind: str) -> dict[int, float]:
    """Areas by key of the bunkers that items of this kind are on."""
    return {
        one.pk: one.area_m2
        for item in items
        if item.kind == kind
        for one in item.features.all()
        if one.kind == Kind.BUNKER and one.area_m2
    }
