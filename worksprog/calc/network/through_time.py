"""The network as it changes: which drains stand from when until when, each state checked once."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from worksprog.calc.network.check import check_drains
from worksprog.calc.network.given import Limits, Node, Reach, Storm
from worksprog.calc.network.result import NetworkCheck

Lasts = Literal["for_a_time", "until_put_right", "for_good", "all_along"]
USUAL_LIMITS = Limits()
# A shortfall that grows by less than this share is the same shortfall, not one made worse.
WORSE_SHARE = 0.01


@dataclass(frozen=True)
class Span:
    """How long one reach or node stands.

    stands_from  first day on which it carries water; None when it has always stood
    gone_from    first day on which it no longer does; None when it stays
    replaced_by  key of what takes its place
    never        it has no date at all and is left out of every state
    """

    key: str
    stands_from: datetime.date | None = None
    gone_from: datetime.date | None = None
    replaced_by: str = ""
    never: bool = False

    def stands_on(self, day: datetime.date) -> bool:
        return (
            not self.never
            and (self.stands_from is None or self.stands_from <= day)
            and (self.gone_from is None or day < self.gone_from)
        )


@dataclass(frozen=True)
class NetworkState:
    """The network between two changes; ``until`` is the first day of the next state."""

    starts_on: datetime.date
    until: datetime.date | None
    came: tuple[str, ...]  # keys of the reaches that stand since its first day
    went: tuple[str, ...]
    check: NetworkCheck = field(repr=False)

    @property
    def worst(self) -> str | None:
        """Key of the reach that is short by most; None where all carry."""
        small = [reach for reach in self.check.reaches if reach.state == "too_small"]
        return max(small, key=lambda reach: reach.shortfall_m3s).key if small else None


@dataclass(frozen=True)
class Spell:
    """A stretch of days in which one reach is too small, at fault or leads nowhere.

    until        first day on which it is over; None when it lasts to the last state
    worst_m3s    by how much it is too small in the worst state; 0 when it is only at fault
    first_m3s    the same on the spell's first day
    brought_by   new reaches whose water came to it: the lowest ones of each branch
    ended_by     what came on the day it was over
    build_first  what, built before ``brought_by``, keeps it from happening; proven by a check of
                 the network in that order, and empty where that was no help
    """

    key: str
    name: str
    starts_on: datetime.date
    until: datetime.date | None
    lasts: Lasts
    worst_from: datetime.date
    worst_m3s: float
    first_m3s: float
    verdict: str
    brought_by: tuple[str, ...] = ()
    ended_by: tuple[str, ...] = ()
    build_first: tuple[str, ...] = ()

    @property
    def made_worse(self) -> bool:
        return self.worst_m3s > self.first_m3s * (1 + WORSE_SHARE)

    @property
    def is_passing(self) -> bool:
        """The order of the works brings it about or makes it worse, and later works end it."""
        return self.lasts == "for_a_time" or (self.lasts == "until_put_right" and self.made_worse)


@dataclass(frozen=True)
class ThroughTime:
    states: tuple[NetworkState, ...]
    spells: tuple[Spell, ...]
    names: Mapping[str, str]

    def on(self, day: datetime.date) -> NetworkState:
        """The state on a day; before the first, the first."""
        found = self.states[0]
        for state in self.states:
            if state.starts_on <= day:
                found = state
        return found

    @property
    def passing(self) -> tuple[Spell, ...]:
        return tuple(spell for spell in self.spells if spell.is_passing)


def state_on(
    reaches: Sequence[Reach],
    nodes: Sequence[Node],
    spans: Mapping[str, Span],
    day: datetime.date,
) -> tuple[list[Reach], list[Node]]:
    """What stands on a day. What has no span has always stood."""
    return (
        [reach for reach in reaches if _stands(spans, reach.key, day)],
        [node for node in nodes if _stands(spans, node.key, day)],
    )


def _stands(spans: Mapping[str, Span], key: str, day: datetime.date) -> bool:
    span = spans.get(key)
    return span is None or span.stands_on(day)


def check_through_time(
    reaches: Sequence[Reach],
    nodes: Sequence[Node],
    storm: Storm,
    spans: Sequence[Span],
    *,
    today: datetime.date,
    limits: Limits = USUAL_LIMITS,
) -> ThroughTime:
    """Check every state the network goes through from today on, each once.

    A state lasts from one day on which a drain comes or goes to the next. Raises ValueError for
    two spans of one key, for one that is gone before it stands, and as ``check_drains`` does.
    """
    by_key = {span.key: span for span in spans}
    if len(by_key) != len(spans):
        raise ValueError("Two spans are given for the same drain.")
    names = {reach.key: reach.name for reach in reaches}
    for span in spans:
        if span.stands_from and span.gone_from and span.gone_from < span.stands_from:
            raise ValueError(
                f"{names.get(span.key, span.key)} would be gone on {span.gone_from}, before it "
                f"stands on {span.stands_from}."
            )
    known = {*names, *(node.key for node in nodes)}
    days = {today}
    for span in spans:
        if span.key in known and not span.never:
            days |= {day for day in (span.stands_from, span.gone_from) if day and day > today}
    found: dict[tuple[frozenset[str], frozenset[str]], NetworkCheck] = {}
    stretches: list[tuple[datetime.date, frozenset[str], NetworkCheck]] = []
    for day in sorted(days):
        standing, joints = state_on(reaches, nodes, by_key, day)
        keys = frozenset(reach.key for reach in standing)
        mark = (keys, frozenset(node.key for node in joints))
        if mark not in found:
            found[mark] = check_drains(standing, joints, storm, limits)
        if not stretches or stretches[-1][2] is not found[mark]:
            stretches.append((day, keys, found[mark]))
    states = []
    for index, (day, keys, check) in enumerate(stretches):
        before = stretches[index - 1][1] if index else keys
        states.append(
            NetworkState(
                day,
                stretches[index + 1][0] if index + 1 < len(stretches) else None,
                tuple(sorted(keys - before, key=names.__getitem__)),
                tuple(sorted(before - keys, key=names.__getitem__)),
                check,
            )
        )
    spells = [
        _with_better_order(spell, states, reaches, nodes, storm, by_key, limits)
        for spell in _find_spells(states, names, by_key)
    ]
    return ThroughTime(tuple(states), tuple(spells), names)


def _ill(state: NetworkState) -> dict[str, tuple[float, str]]:
    """Shortfall (m³/s) and words of every reach that is too small, at fault or leads nowhere."""
    return {
        reach.key: (reach.shortfall_m3s, reach.verdict)
        for reach in state.check.reaches
        if reach.state in ("too_small", "fault")
    }


def _find_spells(
    states: Sequence[NetworkState], names: Mapping[str, str], spans: Mapping[str, Span]
) -> list[Spell]:
    ill = [_ill(state) for state in states]
    spells = []
    last = len(states) - 1
    for key in dict.fromkeys(key for one in ill for key in one):
        begins = [
            at for at in range(last + 1) if key in ill[at] and (not at or key not in ill[at - 1])
        ]
        for begin in begins:
            end = begin
            while end < last and key in ill[end + 1]:
                end += 1
            worst = max(range(begin, end + 1), key=lambda at: (ill[at][key][0], -at))
            over = states[end + 1] if end < last else None
            lasts: Lasts
            if begin:
                lasts = "for_a_time" if over else "for_good"
            else:
                lasts = "until_put_right" if over else "all_along"
            stood = {reach.key for reach in states[max(begin - 1, 0)].check.reaches}
            spells.append(
                Spell(
                    key=key,
                    name=names[key],
                    starts_on=states[begin].starts_on,
                    until=over.starts_on if over else None,
                    lasts=lasts,
                    worst_from=states[worst].starts_on,
                    worst_m3s=ill[worst][key][0],
                    first_m3s=ill[begin][key][0],
                    verdict=ill[worst][key][1],
                    brought_by=_brought_by(states[worst].check, key, stood),
                    ended_by=_ended_by(key, over, spans) if over else (),
                )
            )
    return sorted(spells, key=lambda spell: (spell.starts_on, -spell.worst_m3s, spell.name))


def _brought_by(check: NetworkCheck, key: str, stood: set[str]) -> tuple[str, ...]:
    """New reaches above one, the lowest of each branch; itself when it is new and none is above."""
    found: list[str] = []
    seen = {key}
    to_do = list(check.reach(key).above)
    while to_do:
        here = to_do.pop(0)
        if here in seen:
            continue
        seen.add(here)
        if here not in stood:
            found.append(here)
        else:
            to_do += check.reach(here).above
    return tuple(found) or ((key,) if key not in stood else ())


def _ended_by(key: str, over: NetworkState, spans: Mapping[str, Span]) -> tuple[str, ...]:
    span = spans.get(key)
    if span is not None and span.replaced_by and key in over.went:
        return (span.replaced_by,)
    return over.came


def _with_better_order(
    spell: Spell,
    states: Sequence[NetworkState],
    reaches: Sequence[Reach],
    nodes: Sequence[Node],
    storm: Storm,
    spans: Mapping[str, Span],
    limits: Limits,
) -> Spell:
    """Try what ends a passing spell before what brings it; keep it only if the check agrees."""
    first = set(spell.ended_by)
    if not spell.is_passing or not first or first & set(spell.brought_by):
        return spell
    worst = next(state for state in states if state.starts_on == spell.worst_from)
    stand = {reach.key for reach in worst.check.reaches} | first
    gone = {span.key for span in spans.values() if span.replaced_by in first}
    day = next(
        (span.stands_from for key in first if (span := spans.get(key)) and span.stands_from),
        spell.worst_from,
    )
    joints = [
        node
        for node in nodes
        if _stands(spans, node.key, spell.worst_from) or _stands(spans, node.key, day)
    ]
    tried = check_drains(
        [reach for reach in reaches if reach.key in stand - gone], joints, storm, limits
    )
    small = {reach.key for reach in tried.reaches if reach.state in ("too_small", "fault")}
    if small & (first | {spell.key}):
        return spell
    return replace(spell, build_first=tuple(sorted(first)))
