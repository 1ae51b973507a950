"""Hours and money of a programme by chance: as kept by the last run, or drawn at once."""

from __future__ import annotations

import threading
from collections import OrderedDict, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from decimal import Decimal
from typing import Any

from worksprog.calc.build_up import to_penny
from worksprog.calc.simulation import Drivers, Simulated, SourceShare, Spread, simulate
from worksprog.calc.simulation.run import Tell
from worksprog.clubs.models import Club
from worksprog.works import bridge_ranges
from worksprog.works.bridge_ranges import Placed, Sways
from worksprog.works.models import EstimateLine, OutputRate, Programme, RangeRow
from worksprog.works.queries.rules import rules_of

AT_ONCE_LINES = 3_000  # about a second and a half; beyond, only the job draws
KEPT_IN_MEMORY = 8
MOST_DRIVERS = 40
Level = RangeRow.Level
Key = tuple[str, str]
WHOLE: Key = (Level.PROGRAMME, "")


@dataclass(frozen=True)
class RangeOf:
    """Hours and money of one group or item by chance, beside the sum of its likely figures."""

    level: str
    key: str
    label: str
    base_h: float
    base_money: Decimal
    hours: Spread
    money: Spread
    drivers: Mapping[str, Any] = field(default_factory=dict)

    @property
    def money_p80(self) -> Decimal:
        return to_penny(Decimal(repr(self.money.within(0.8))))

    def contingency_h(self, chance: float) -> float:
        return self.hours.contingency(self.base_h, chance)

    def contingency(self, chance: float) -> Decimal:
        """Money on top of the likely sum; may be below 0."""
        return to_penny(Decimal(repr(self.money.within(chance)))) - self.base_money


@dataclass(frozen=True)
class Ranges:
    """What one simulation found, by level and key."""

    mark: str
    sways: Sways
    rows: Mapping[Key, RangeOf]
    made_at: datetime | None = None  # None: drawn for this page
    is_stale: bool = False  # kept from before something moved

    @property
    def whole(self) -> RangeOf:
        return self.rows[WHOLE]

    def of(self, level: str, key: str = "") -> RangeOf | None:
        return self.rows.get((level, key))

    def at(self, level: str) -> list[RangeOf]:
        return [row for row in self.rows.values() if row.level == level]


_memory: OrderedDict[str, Ranges] = OrderedDict()
_memory_lock = threading.Lock()


def ranges_of(
    club: Club, placed: Sequence[Placed], *, sways: Sways | None = None, ranked: bool = False
) -> Ranges | None:
    """Levels of these items: of a kept run of just these figures, else drawn at once.

    The same figures, rules and dates give the same answer either way. None where there is nothing
    to draw or too much for a page. Four queries at most, and the rules' alone where it is still in
    memory.
    """
    if not placed:
        return None
    sways = sways or Sways.of(rules_of(club))
    return known_ranges(club, placed, sways, ranked=ranked) or draw_at_once(
        placed, lines_of(placed), sways, ranked=ranked
    )


def known_ranges(
    club: Club, placed: Sequence[Placed], sways: Sways, *, ranked: bool = False
) -> Ranges | None:
    """From memory, else from a kept run of just these figures; one query at most."""
    mark = bridge_ranges.mark_of(placed, sways)
    with _memory_lock:
        known = _memory.get(mark)
        if known is not None and (known.whole.drivers or not ranked):
            _memory.move_to_end(mark)
            return known
    rows = list(
        RangeRow.objects.filter(club=club, run__mark=mark)
        .select_related("run")
        .order_by("-run", "order")
    )
    found = _of_rows([row for row in rows if row.run_id == rows[0].run_id])
    return None if found is None else _remembered(found)


def draw_at_once(
    placed: Sequence[Placed],
    lines: Mapping[int, Sequence[EstimateLine]],
    sways: Sways,
    *,
    ranked: bool = False,
) -> Ranges | None:
    """Drawn while a page waits; None where there is nothing to draw or too much for that."""
    if sum(len(some) for some in lines.values()) > AT_ONCE_LINES:
        return None
    found = draw_ranges(placed, lines, sways, ranked=ranked)
    return None if found is None else _remembered(found)


def _remembered(found: Ranges) -> Ranges:
    with _memory_lock:
        _memory[found.mark] = found
        while len(_memory) > KEPT_IN_MEMORY:
            _memory.popitem(last=False)
    return found


def lines_of(placed: Iterable[Placed]) -> dict[int, list[EstimateLine]]:
    """The lines of these estimates by their key. One query."""
    lines: dict[int, list[EstimateLine]] = defaultdict(list)
    for line in (
        EstimateLine.objects.filter(estimate__in=[one.estimate.pk for one in placed])
        .select_related("price")
        .defer("working")
        .order_by("estimate", "order", "id")
    ):
        lines[line.estimate_id].append(line)
    return lines


def swayed_by(club: Club) -> dict[str, str]:
    """What each output rate goes well or badly with, by its code."""
    return dict(OutputRate.objects.filter(club=club).values_list("code", "swayed_by"))


def draw_ranges(
    placed: Sequence[Placed],
    lines: Mapping[int, Sequence[EstimateLine]],
    sways: Sways,
    *,
    ranked: bool = False,
    tell: Tell | None = None,
) -> Ranges | None:
    """The simulation itself, with what drives the whole and each project where it is ``ranked``.

    None where no estimate has a line. ValueError in words for figures that cannot be.
    """
    names: dict[str, str] = {}
    jobs, groups = [], {WHOLE: _Base(Level.PROGRAMME, "", "The whole programme")}
    for one in placed:
        drawn = lines.get(one.estimate.pk, ())
        if not drawn:
            continue
        shares: dict[str, float] = {}
        for level, key, label, share in (
            (Level.PROGRAMME, "", "", 1.0),
            (Level.PROJECT, str(one.project.uuid), str(one.project), 1.0),
            (Level.PHASE, str(one.phase.uuid), f"{one.project} · {one.phase}", 1.0),
            *((Level.YEAR, year, year, share) for year, share in one.years.items()),
            (Level.ITEM, str(one.item.uuid), one.item.name, 1.0),
        ):
            base = groups.setdefault((level, key), _Base(level, key, label))
            base.add(one, share)
            if level not in (Level.PROGRAMME, Level.ITEM):
                shares[f"{level} {key}"] = share
        named = bridge_ranges.job_of(
            one.item,
            drawn,
            one.estimate.simulated.get("causes", {}),
            sways,
            place=one.project.code,
            winter=one.winter,
            shares=shares,
        )
        names |= named.names
        jobs.append(named.job)
    if not jobs:
        return None
    projects = {f"{Level.PROJECT} {key}" for level, key in groups if level == Level.PROJECT}
    run = simulate(
        jobs,
        seed=sways.seed,
        draws=sways.draws,
        shape=sways.shape,
        drivers_of=("", *sorted(projects)) if ranked else (),
        tell=tell,
    )
    places = {one.project.code: str(one.project) for one in placed}
    ranked_by = {
        group.removeprefix(f"{Level.PROJECT} "): _told(drivers, jobs, names, places)
        for group, drivers in run.drivers.items()
    }
    return Ranges(
        mark=bridge_ranges.mark_of(placed, sways),
        sways=sways,
        rows={
            key: base.ranged(run, ranked_by.get(key[1], {}) if key[0] in _RANKED else {})
            for key, base in _in_order(groups)
        },
    )


_RANKED = (Level.PROGRAMME, Level.PROJECT)
_ORDER = {level: place for place, level in enumerate(Level)}


def _in_order(groups: Mapping[Key, _Base]) -> list[tuple[Key, _Base]]:
    def place(entry: tuple[Key, _Base]) -> tuple[int, str]:
        (level, key), _ = entry
        return _ORDER[Level(level)], key if level == Level.YEAR else ""

    return sorted(groups.items(), key=place)


class _Base:
    """A group while its items are added up."""

    def __init__(self, level: str, key: str, label: str) -> None:
        self.level, self.key, self.label = level, key, label
        self.hours, self.money = 0.0, Decimal("0.00")

    def add(self, one: Placed, share: float) -> None:
        self.hours += share * one.estimate.labour_likely_h
        money = one.estimate.money_likely
        self.money += money if share == 1.0 else to_penny(money * Decimal(repr(share)))

    def ranged(self, run: Simulated, drivers: Mapping[str, Any]) -> RangeOf:
        if self.level == Level.PROGRAMME:
            found = run.total
        elif self.level == Level.ITEM:
            found = run.jobs[self.key]
        else:
            found = run.groups[f"{self.level} {self.key}"]
        return RangeOf(
            self.level,
            self.key,
            self.label,
            self.hours,
            self.money,
            found.hours,
            found.money,
            drivers,
        )


def _told(
    drivers: Drivers,
    jobs: Sequence[Any],
    names: Mapping[str, str],
    places: Mapping[str, str],
) -> dict[str, Any]:
    """What drives a group, in words and plain figures, the largest first."""
    labels = {job.key: job.label for job in jobs}

    def sources(found: Sequence[SourceShare]) -> list[dict[str, Any]]:
        return [
            {
                "words": bridge_ranges.cause_words(one.source, places)
                if one.is_cause
                else names.get(one.source, one.source),
                "is_cause": one.is_cause,
                "share": round(one.share, 5),
            }
            for one in found[:MOST_DRIVERS]
        ]

    def lines(found: Sequence[Any]) -> list[dict[str, Any]]:
        return [
            {
                "words": f"{one.label}, {labels[one.job]}",
                "item": one.job,
                "share": round(one.share, 5),
            }
            for one in found[:MOST_DRIVERS]
            if one.share > 0
        ]

    return {
        "draws": drivers.draws,
        "lines": len(drivers.money_lines),
        "hours_lines": lines(drivers.hours_lines),
        "money_lines": lines(drivers.money_lines),
        "hours_sources": sources(drivers.hours_sources),
        "money_sources": sources(drivers.money_sources),
    }


def last_kept(programme: Programme) -> Ranges | None:
    """The programme's kept run, whatever moved since; one query."""
    rows = list(
        RangeRow.objects.filter(run__programme=programme)
        .select_related("run")
        .order_by("-run", "order")
    )
    found = _of_rows([row for row in rows if row.run_id == rows[0].run_id])
    return None if found is None else replace(found, is_stale=True)


def _of_rows(kept: Sequence[RangeRow]) -> Ranges | None:
    """The rows of one run as they were found; None where there are none."""
    if not kept:
        return None
    run = kept[0].run
    rows = {
        (row.level, row.key): RangeOf(
            row.level,
            row.key,
            row.label,
            row.base_h,
            row.base_money,
            bridge_ranges.row_to_spread(row.hours, run.draws),
            bridge_ranges.row_to_spread(row.money, run.draws),
            row.drivers,
        )
        for row in kept
    }
    sways = Sways.of_facts({**run.rules, "seed": run.seed, "draws": run.draws})
    return Ranges(run.mark, sways, rows, run.made_at)
