"""The drain network as the live plan builds it: when each drain stands, and the check of each state.

The rule: a drain that is to be built carries water from the day after the last day of its last
job; while it is being built it carries none. One that stands carries water while it is worked on,
and is gone on the day on which what replaces it stands. A drain to be built whose jobs have no
dates is in no state at all, and is named.
"""

from __future__ import annotations

import pickle
from collections import OrderedDict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from hashlib import sha256
from threading import Lock
from typing import Any, TypeVar, cast
from uuid import UUID

from worksprog.calc.network import Limits, NetworkCheck, Node, Reach, Storm, check_drains
from worksprog.calc.network.through_time import (
    NetworkState,
    Span,
    Spell,
    ThroughTime,
    check_through_time,
    state_on,
)
from worksprog.clubs.models import Club
from worksprog.clubs.templatetags.figures import day as day_words
from worksprog.course.models import DRAIN_LINES, Feature, State
from worksprog.drainage.bridge import STANDING, short_name, storm_of
from worksprog.drainage.queries import drain_rows, live_storm
from worksprog.drainage.queries.rain import design_rain_of
from worksprog.planning.models import PlannedItem
from worksprog.works.models import Item, ItemState

T = TypeVar("T")
MOST_KEPT = 64  # checks kept in memory, the least used dropped first
_kept: OrderedDict[str, Any] = OrderedDict()
_door = Lock()


@dataclass(frozen=True)
class DatedDrains:
    """Everything the check through time is given. ``jobs`` are each drain's, last one first."""

    reaches: list[Reach]
    nodes: list[Node]
    storm: Storm
    spans: list[Span]
    jobs: Mapping[str, list[Item]]
    undated: list[str]


@dataclass(frozen=True)
class DrainWeeks:
    through: ThroughTime
    jobs: Mapping[str, list[Item]]
    undated: list[str]

    def job_of(self, keys: Iterable[str]) -> Item | None:
        return next((self.jobs[key][0] for key in keys if self.jobs.get(key)), None)


def dated_drains(club: Club) -> DatedDrains:
    """At most eight queries, however many drains and jobs."""
    drains = drain_rows(club)
    limits = Limits()
    reaches, nodes = drains.as_given({one.uuid for one in drains.features}, limits)
    through = Item.features.through.objects.filter(
        item__phase__project__programme__club=club, item__phase__project__programme__is_live=True
    ).exclude(item__state=ItemState.SHELVED)
    plan = PlannedItem.objects.filter(
        plan__club=club, plan__is_live=True, plan__programme__is_live=True
    )
    ends = {item: finish for item, finish in plan.values_list("item_id", "finish") if finish}
    by_feature: dict[int, list[Item]] = {}
    for link in through.select_related("item").defer("item__parameters"):
        by_feature.setdefault(link.feature_id, []).append(link.item)
    spans: dict[UUID, Span] = {}
    jobs: dict[str, list[Item]] = {}
    undated = []
    for feature in drains.features:
        items = by_feature.get(feature.pk, [])
        key = str(feature.uuid)
        finishes = [ends[item.pk] for item in items if item.pk in ends]
        if items:
            jobs[key] = sorted(items, key=lambda item: ends.get(item.pk, date.min), reverse=True)
        spans[feature.uuid] = _span(feature, items, finishes)
        if spans[feature.uuid].never and feature.kind in DRAIN_LINES:
            undated.append(short_name(feature))
    for uuid, later in ((UUID(key), later) for key, later in drains.replaced_by.items()):
        after = spans[later]
        spans[uuid] = _replaced(spans[uuid], after)
    row = live_storm(club)
    return DatedDrains(
        reaches,
        nodes,
        storm_of(row, design_rain_of(row)),
        list(spans.values()),
        jobs,
        undated,
    )


def _span(feature: Feature, items: list[Item], finishes: list[date]) -> Span:
    key = str(feature.uuid)
    if feature.state == State.EXISTING:
        return Span(key)
    if feature.state in STANDING:
        return Span(key, stands_from=feature.state_date)
    if not items and feature.kind not in DRAIN_LINES:
        return Span(key)
    if not finishes or len(finishes) < len(items):
        return Span(key, never=True)
    return Span(key, stands_from=max(finishes) + timedelta(days=1))


def _replaced(span: Span, after: Span) -> Span:
    """Gone when what takes its place stands; one that always stood has been gone for as long."""
    if after.never:
        return span
    if after.stands_from is None or (
        span.stands_from is not None and after.stands_from <= span.stands_from
    ):
        return Span(span.key, never=True, replaced_by=after.key)
    return Span(span.key, span.stands_from, after.stands_from, after.key, span.never)


def _remember(given: tuple[Any, ...], work: Callable[[], T]) -> T:
    """The result for exactly these rows: any change of them makes another key."""
    mark = sha256(pickle.dumps(given)).hexdigest()
    with _door:
        if mark in _kept:
            _kept.move_to_end(mark)
            return cast(T, _kept[mark])
    found = work()
    with _door:
        _kept[mark] = found
        while len(_kept) > MOST_KEPT:
            _kept.popitem(last=False)
    return found


def drain_weeks(club: Club) -> DrainWeeks:
    """Every state of the network from today on, by the live plan."""
    given, first = dated_drains(club), club.today()
    through = _remember(
        ("through", given.reaches, given.nodes, given.storm, given.spans, first),
        lambda: check_through_time(
            given.reaches, given.nodes, given.storm, given.spans, today=first
        ),
    )
    return DrainWeeks(through, given.jobs, given.undated)


def drains_on(club: Club, on: date) -> tuple[NetworkCheck, list[str]]:
    """The check of what stands on a date, and the keys of the drains that are replaced by then."""
    given = dated_drains(club)
    spans = {span.key: span for span in given.spans}
    reaches, nodes = state_on(given.reaches, given.nodes, spans, on)
    check = _remember(
        ("on", reaches, nodes, given.storm), lambda: check_drains(reaches, nodes, given.storm)
    )
    gone = [
        reach.key
        for reach in given.reaches
        if (span := spans[reach.key]).replaced_by
        and (span.never or (span.gone_from is not None and span.gone_from <= on))
    ]
    return check, gone


def listed(names: Iterable[str]) -> str:
    names = list(names)
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def week_words(first: date, until: date | None) -> str:
    """Weeks by number, as "weeks 2 to 9 of 2028"; the last is the one before it is over."""
    begin = first.isocalendar()
    if until is None:
        return f"from week {begin.week} of {begin.year}"
    end = (until - timedelta(days=1)).isocalendar()
    if (begin.year, begin.week) == (end.year, end.week):
        return f"week {begin.week} of {begin.year}"
    if begin.year == end.year:
        return f"weeks {begin.week} to {end.week} of {begin.year}"
    return f"week {begin.week} of {begin.year} to week {end.week} of {end.year}"


def short_words(spell: Spell) -> str:
    if spell.worst_m3s > 0:
        litres = spell.worst_m3s * 1000
        return (
            f"too small by {litres:.0f} l/s" if litres >= 9.5 else f"too small by {litres:.1f} l/s"
        )
    return spell.verdict.partition(":")[0]


def ending_words(spell: Spell, through: ThroughTime) -> str:
    if spell.until is None:
        return "to the end of the plan"
    if not spell.ended_by:
        return f"until {day_words(spell.until)}"
    names = [through.names[key] for key in spell.ended_by]
    state = through.on(spell.until)
    if spell.key in state.went:
        return f"until it is replaced by {listed(names)}"
    return f"until {listed(names)} {'stands' if len(names) == 1 else 'stand'}"


def spell_words(spell: Spell, through: ThroughTime) -> str:
    """ "C4 too small by 12 l/s until it is replaced by C9 (weeks 2 to 9 of 2028)"."""
    return (
        f"{spell.name} {short_words(spell)} {ending_words(spell, through)} "
        f"({week_words(spell.starts_on, spell.until)})"
    )


def order_words(spell: Spell, weeks: DrainWeeks) -> str:
    """What order of the works avoids it; "" where none was found that does."""
    if not spell.build_first or not spell.brought_by:
        return ""
    names = weeks.through.names
    first, then = weeks.job_of(spell.build_first), weeks.job_of(spell.brought_by)
    first_words = f"“{first.name}”" if first else listed(names[key] for key in spell.build_first)
    then_words = f"“{then.name}”" if then else listed(names[key] for key in spell.brought_by)
    if first is not None and first == then:
        return ""
    return (
        f"With {first_words} done before {then_words} it does not happen: that order was checked."
    )


def change_words(state: NetworkState, names: Mapping[str, str]) -> str:
    parts = []
    if state.came:
        parts.append(
            f"{listed(names[key] for key in state.came)} "
            f"{'stands' if len(state.came) == 1 else 'stand'}"
        )
    if state.went:
        parts.append(
            f"{listed(names[key] for key in state.went)} {'is' if len(state.went) == 1 else 'are'} gone"
        )
    return "; ".join(parts) or "only chambers, headwalls or outfalls"
