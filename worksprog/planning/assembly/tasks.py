"""Jobs as tasks with ways, links and windows; every wish of it by its name."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import networkx as nx
import numpy as np

from worksprog.calc import critical_path, workdays
from worksprog.calc.solver import Hold, Link, LinkKind, Problem, Resource, Task, Until, Way
from worksprog.planning.assembly.crew import crew_hours_of
from worksprog.planning.assembly.goals import Goals, goals_of
from worksprog.planning.assembly.money import held_p, purse_name, purses
from worksprog.planning.assembly.play import (
    HOLES,
    clear_of,
    fixture_name,
    fixture_words,
    fixtures_of,
    holes_resource,
    holes_words,
)
from worksprog.planning.bridge import Facts, ItemFacts
from worksprog.planning.play import FixtureDays
from worksprog.works.models import ItemState

CREW = "crew"
TENTHS = 10
SMALLEST_DAY = 5  # tenths of an hour: with less than that left nobody goes out to works
MOST_WAYS = 6
DAYS_PAST_THE_END = 370


@dataclass(frozen=True)
class Wish:
    """One thing a schedule keeps. ``name`` is the same from plan to plan; ``jobs`` are its keys,
    none where it is kept for the whole programme."""

    name: str
    words: str
    jobs: tuple[int, ...]


@dataclass(frozen=True)
class Assembled:
    """The problem, and what is needed to tell of its schedule.

    refused   jobs that are not in the problem, with why
    rings     those of them that wait for each other
    lacking   people short of the gang, by job and way
    """

    facts: Facts
    calendar: workdays.Calendar
    crew: workdays.CrewHours
    problem: Problem
    goals: Goals
    wishes: dict[str, Wish]
    refused: dict[int, str]
    rings: frozenset[int]
    lacking: dict[tuple[int, int], float]
    links: list[Link]
    left_h: dict[int, float]
    earliest: dict[int, int]
    notes: list[str]


def assemble(
    facts: Facts,
    *,
    hours: Mapping[int, float] | None = None,
    given_up: Iterable[str] | None = None,
) -> Assembled:
    """Nothing is read or written.

    hours     other hours still to be worked, by item key, to see what would move
    given_up  names of wishes to leave out; without it those that the manager gave up
    """
    return _Assembly(
        facts, dict(hours or {}), facts.given_up if given_up is None else frozenset(given_up)
    ).whole()


class _Assembly:
    def __init__(self, facts: Facts, hours: dict[int, float], given_up: frozenset[str]) -> None:
        self.facts, self.given_up = facts, given_up
        last = max(facts.programme.ends_on, facts.today) + dt.timedelta(days=DAYS_PAST_THE_END)
        self.calendar = facts.year.calendar(facts.today, last)
        self.crew = crew_hours_of(facts.year, self.calendar)
        self.items = {
            one.item.pk: replace(one, left_h=hours.get(one.item.pk, one.left_h))
            for one in facts.items
        }
        self.names = {key: one.item.name for key, one in self.items.items()}
        self.open = [one for one in self.items.values() if not one.is_worked]
        self.goals = goals_of(self.open, facts.year.goals, facts.year.day_h)
        self.wishes: dict[str, Wish] = {}
        self.notes: list[str] = []
        self.lacking: dict[tuple[int, int], float] = {}
        left = np.floor(self.crew.left_day_h * TENTHS + 1e-6).astype(np.int64)
        left[: self.calendar.index(facts.today)] = 0
        self.left = left
        self.workable: dict[str, workdays.Mask] = {}
        self.shared = self._shared()

    def _shared(self) -> dict[str, Resource]:
        """Holes out of play and money released, where they are limited and the limit is kept."""
        facts, items = self.facts, list(self.items.values())
        kept = {}
        holes = holes_resource(facts.play, items, self.calendar, facts.today)
        if holes and self._wish(HOLES, holes_words(facts.play)):
            kept[HOLES] = holes
        for name, purse in purses(facts.releases, items, self.calendar).items():
            if self._wish(name, purse.words):
                kept[name] = purse.resource
        return kept

    def whole(self) -> Assembled:
        if not self.facts.year.crew:
            missing = "crew hours are" if self.facts.year.people is None else "routine hours are"
            self.notes.append(f"No {missing} entered, so no job that needs the crew can be "
                              "placed.")  # fmt: skip
        links, notes = kept_links(self.facts, self.names, self.given_up)
        self.notes += notes
        rings, refused = _rings(links, self.names, {one.item.pk for one in self.open})
        tasks: dict[int, Task] = {}
        for one in self.open:
            key = one.item.pk
            if key in refused:
                continue
            blocked = _nothing_to_plan(one)
            ways = [] if blocked else self._ways(one)
            if blocked or not ways:
                refused[key] = blocked or self._no_crew(one)
                continue
            tasks[key] = self._task(one, ways)
        self._wait_for_nothing(tasks, links, refused)
        solver_links, fixed = self._solver_links(tasks, links)
        return Assembled(
            facts=self.facts,
            calendar=self.calendar,
            crew=self.crew,
            problem=Problem(
                days=self.calendar.days,
                tasks=(*tasks.values(), *fixed),
                links=tuple(solver_links),
                resources=(Resource(CREW, "the crew's hours", self.left), *self.shared.values()),
                workable=self.workable,
                workdays=self.calendar.workdays,
            ),
            goals=self.goals,
            wishes=self.wishes,
            refused=refused,
            rings=rings,
            lacking=self.lacking,
            links=links,
            left_h={key: one.left_h for key, one in self.items.items()},
            earliest={key: task.earliest for key, task in tasks.items()},
            notes=self.notes,
        )

    def _wish(self, name: str, words: str, *jobs: int) -> bool:
        """Whether it is kept."""
        if name in self.given_up:
            return False
        self.wishes[name] = Wish(name, words, jobs)
        return True

    def _task(self, one: ItemFacts, ways: list[Way]) -> Task:
        item, key = one.item, one.item.pk
        begins = [self.facts.today]
        if item.state != ItemState.ON_SITE:
            begins.append(self.facts.programme.starts_on)
            if item.not_before and self._wish(
                f"not-before:{item.uuid}",
                f"“{item.name}” does not start before {_day(item.not_before)}",
                key,
            ):
                begins.append(item.not_before)
        ends: list[dt.date] = []
        if one.promised_by and self._wish(
            f"promise:{item.uuid}", f"“{item.name}” is finished by {_day(one.promised_by)}", key
        ):
            ends.append(one.promised_by)
        for consent in item.consents.all():
            if not (consent.granted_on or consent.expires_on):
                continue
            told = []
            if consent.granted_on:
                told.append(f"before {consent.name} of {_day(consent.granted_on)}")
            if consent.expires_on:
                told.append(f"after {consent.name} runs out on {_day(consent.expires_on)}")
            words = f"“{item.name}” is not worked {' nor '.join(told)}"
            if self._wish(f"consent:{consent.uuid}", words, key):
                begins += [consent.granted_on] if consent.granted_on else []
                ends += [consent.expires_on] if consent.expires_on else []
        windows = [window for window in self.facts.year.windows.get(item.kind, []) if window.firm]
        inside = bool(windows) and self._wish(
            f"window:{item.uuid}",
            f"“{item.name}” is worked only from {' and from '.join(map(str, windows))}",
            key,
        )
        split = one.may_spread
        if inside and not split:
            split = not self._wish(
                f"one-opening:{item.uuid}",
                f"“{item.name}” is done in one opening of its window",
                key,
            )
        latest = min((self.calendar.index(day) + 1 for day in ends), default=None)
        return Task(
            key=key,
            name=item.name,
            ways=tuple(ways),
            works_on=self._mask(
                item.kind if inside else "", self._fixtures(one), crewed=bool(ways[0].needs)
            ),
            may_split=split or not inside,
            earliest=max(self.calendar.index(day) for day in begins),
            latest=None if latest is None else max(latest, 0),
            grows_d=7 * item.growing_in_weeks,
            holds=self._holds(one),
            weight=self.goals.day_weight(key),
        )

    def _fixtures(self, one: ItemFacts) -> list[FixtureDays]:
        return [
            fixture
            for fixture in fixtures_of(self.facts.play, one)
            if self._wish(fixture_name(fixture), fixture_words(fixture))
        ]

    def _holds(self, one: ItemFacts) -> tuple[Hold, ...]:
        purse = purse_name(self.facts.releases, one)
        wanted = (
            Hold(HOLES, one.holes_closed, Until.IN_PLAY),
            Hold(purse, held_p(one), Until.FOR_EVER),
        )
        return tuple(hold for hold in wanted if hold.amount and hold.resource in self.shared)

    def _mask(self, kind: str, fixtures: Sequence[FixtureDays], *, crewed: bool) -> str:
        name = f"{kind}+crew" if crewed else (kind or "all")
        name = "+".join([name, *(fixture.uuid for fixture in fixtures)])
        if name not in self.workable:
            mask = self.calendar.workdays & self.calendar.window_days(
                self.facts.year.windows.get(kind, [])
            )
            mask &= clear_of(self.calendar, fixtures)
            # Weeks in which routine work takes every hour are a pause, as a closure is.
            self.workable[name] = mask & (self.left >= SMALLEST_DAY) if crewed else mask
        return name

    def _ways(self, one: ItemFacts) -> list[Way]:
        """The whole gang, then fewer hours a day, so that a job fits into weeks with few left.

        days = ceil(hours ÷ hours a day); the hours a day are those that some weeks leave, at most
        the gang's and at most the job's share of what is left.
        """
        key = one.item.pk
        tenths = math.ceil(one.left_h * TENTHS - 1e-6)
        if tenths <= 0:
            return [Way("", one.least_days, {}, self.goals.way_cost(key, one.least_days, 0.0))]
        gang = round(one.gang * self.facts.year.day_h * TENTHS)
        share = float(one.item.max_share)
        levels = np.unique(self.left[self.left >= SMALLEST_DAY])
        rates = sorted({min(gang, int(level * share + 1e-6)) for level in levels}, reverse=True)
        rates = [rate for rate in rates if rate > 0]
        if len(rates) > MOST_WAYS:
            kept = np.unique(np.linspace(0, len(rates) - 1, MOST_WAYS).round().astype(int))
            rates = [rates[place] for place in kept]
        ways: list[Way] = []
        person = self.facts.year.day_h * TENTHS
        for rate in rates:
            days = max(math.ceil(tenths / rate), one.least_days)
            if ways and days == ways[-1].days:
                continue
            need = math.ceil(tenths / days)
            lacking = max(one.gang - need / person, 0.0)
            self.lacking[key, len(ways)] = lacking
            cost = self.goals.way_cost(key, days, lacking)
            ways.append(Way(f"{need / TENTHS:g} h a day", days, {CREW: need}, cost))
        return ways

    def _no_crew(self, one: ItemFacts) -> str:
        until = _day(self.calendar.date(self.calendar.days - 1), long=True)
        return f"needs {one.left_h:,.0f} h; the crew has 0 h left for it before {until}"

    def _wait_for_nothing(
        self,
        tasks: dict[int, Task],
        links: Sequence[Link],
        refused: dict[int, str],
    ) -> None:
        """What waits for a job that cannot be planned cannot be planned either."""
        ahead = list(refused)
        while ahead:
            lost = ahead.pop(0)
            for link in links:
                if link.first == lost and link.then in tasks:
                    del tasks[link.then]
                    refused[link.then] = behind(self.names[lost])
                    ahead.append(link.then)

    def _solver_links(
        self, tasks: dict[int, Task], links: Sequence[Link]
    ) -> tuple[list[Link], list[Task]]:
        """Links between tasks; those from work done bound what follows."""
        made: list[Link] = []
        marks: list[Task] = []
        drawn = {(link.first, link.then) for link in self.facts.links}
        for link in links:
            before, after, lag = link.first, link.then, link.lag
            if after not in tasks:
                continue
            words = f"“{self.names[after]}” waits for “{self.names[before]}”"
            if (before, after) not in drawn:
                words = f"{words}, which is below it on the drain"
            self._wish(link_name(self.facts, link), words, before, after)
            kind = link.kind
            if before in tasks:
                made.append(Link(before, after, kind, lag))
                continue
            start, finish = done_days(self.items[before], self.calendar, self.facts.today)
            bound = (start if kind in (LinkKind.SS, LinkKind.SF) else finish) + lag
            if kind in (LinkKind.FS, LinkKind.SS):
                bounded = replace(tasks[after], earliest=max(tasks[after].earliest, bound))
                tasks[after] = bounded
            elif bound > 0:
                mark = Task(-len(marks) - 1, self.names[before], (Way("", 0),), fixed=(
                    min(bound, self.calendar.days - 1), 0
                ))  # fmt: skip
                marks.append(mark)
                made.append(Link(mark.key, after, LinkKind.SF))
        return made, marks


def done_days(one: ItemFacts, calendar: workdays.Calendar, today: dt.date) -> tuple[int, int]:
    """First day and the day after the last of work that is over."""
    finish = one.item.finished_on or today
    start = min(one.item.started_on or finish, finish)
    return calendar.index(start), calendar.index(finish) + 1


def link_name(facts: Facts, link: Link) -> str:
    uuids = {one.item.pk: one.item.uuid for one in facts.items}
    drawn = any((one.first, one.then) == (link.first, link.then) for one in facts.links)
    what = "link" if drawn else "drain-order"
    return f"{what}:{uuids[link.first]}:{uuids[link.then]}:{link.kind}"


def behind(name: str) -> str:
    return f"waits for {name}, which could not be placed"


def kept_links(
    facts: Facts, names: Mapping[int, str], given_up: frozenset[str] = frozenset()
) -> tuple[list[Link], list[str]]:
    """Drawn links and those the network implies, without the implied ones that make a ring.

    A start that has been made is a fact: nothing waits to let it happen.
    """
    begun = {one.item.pk for one in facts.items if one.item.state == ItemState.ON_SITE}
    ends = (LinkKind.FF, LinkKind.SF)
    drawn = [link for link in facts.links if link.then not in begun or link.kind in ends]
    between = {(link.first, link.then) for link in facts.links}
    wanted = [pair for pair in facts.implied if pair not in between and pair[1] not in begun]
    graph: nx.DiGraph[int] = nx.DiGraph()
    graph.add_edges_from((link.first, link.then) for link in drawn)
    graph.add_edges_from(wanted)
    ring_of = {
        key: number
        for number, group in enumerate(nx.strongly_connected_components(graph))
        if len(group) > 1
        for key in group
    }
    kept, notes = [], []
    for below, above in wanted:
        if below in ring_of and ring_of.get(below) == ring_of.get(above):
            notes.append(
                f"Outfall first is not kept between {names[below]} and {names[above]}: another "
                "order between them was drawn, or one job lies on both sides of the other."
            )
        else:
            kept.append(Link(below, above))
    both = [*drawn, *kept]
    if given_up:
        both = [link for link in both if link_name(facts, link) not in given_up]
    return both, notes


def _rings(
    links: Sequence[Link], names: Mapping[int, str], open_jobs: set[int]
) -> tuple[frozenset[int], dict[int, str]]:
    graph: nx.DiGraph[int] = nx.DiGraph()
    graph.add_edges_from(
        (link.first, link.then) for link in links if link.then in open_jobs
    )  # fmt: skip
    refused: dict[int, str] = {}
    for group in nx.strongly_connected_components(graph):
        part = graph.subgraph(group)
        if part.number_of_edges() == 0:
            continue
        ring = [before for before, _ in nx.find_cycle(part)]
        words = critical_path.ring_words([names[key] for key in ring])
        refused.update(dict.fromkeys(group, words))
    return frozenset(refused), refused


def _nothing_to_plan(one: ItemFacts) -> str:
    if one.left_h > 0 or one.least_days or one.labour_h:
        return ""
    if one.item.by_contractor:
        return "the contractor's days are not entered yet"
    return "no hours are estimated yet"


def _day(day: dt.date, *, long: bool = False) -> str:
    return f"{day.day} {day:%B %Y}" if long else f"{day.day} {day:%b %Y}"
