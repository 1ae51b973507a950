"""Small drains that the crew laid in the winter before the programme, from which its rate is learnt."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta

import numpy as np

from worksprog.clubs.models import Club, User
from worksprog.demo.ground import SEED
from worksprog.demo.logged import Logged
from worksprog.works.models import Item, ItemState, WorkKind
from worksprog.works.services import (
    build_estimate,
    create_item,
    create_phase,
    create_programme,
    create_project,
    set_item_state,
)

ESTIMATED_AT = datetime(2026, 2, 3, 9, 0, tzinfo=UTC)
SPARE = frozenset({"machines", "training", "other"})  # what gives way when a drain is laid
GANG = 3
MOST_H = 6.0
LEAST_LEFT_H = 1.0
WET, DRY = 1.22, 0.92  # hours of a metre in showers and on dry ground, over the job's own


@dataclass(frozen=True)
class SmallDrain:
    """``against_book``: hours that it took over those of the book."""

    name: str
    length_m: float
    depth_m: float
    first: date
    against_book: float
    wet_days: float = 0.35


DRAINS = (
    SmallDrain("Drain, 4 green to the ditch", 64.0, 0.9, date(2026, 2, 9), 1.16),
    SmallDrain("Drain, practice ground", 92.0, 0.8, date(2026, 2, 17), 1.10),
    SmallDrain("Drain, 11 approach", 55.0, 1.0, date(2026, 3, 2), 0.98, 0.6),
    SmallDrain("Drain, 15 tee to the pond", 48.0, 0.9, date(2026, 3, 10), 2.05, 0.5),
    SmallDrain("Drain, 18 fairway", 78.0, 0.9, date(2026, 3, 18), 1.08, 0.5),
)


def make_small_drains(club: Club, by: User) -> dict[str, Item]:
    """A programme of its own, no longer live; quantities entered by hand, nothing was drawn then."""
    programme = create_programme(
        club=club,
        name="Small drains, winter 2025/26",
        starts_on=date(2026, 2, 2),
        ends_on=date(2026, 4, 30),
        by=by,
        is_live=False,
    )
    project = create_project(
        programme=programme,
        code="SD",
        name="Small drains",
        purpose="Wet places put right by the crew before the five winters were planned.",
        by=by,
    )
    phase = create_phase(project=project, name="Winter 2025/26", by=by)
    items = {}
    for drain in DRAINS:
        items[drain.name] = create_item(
            phase=phase,
            kind=WorkKind.CARRIER_PIPE,
            name=drain.name,
            by=by,
            parameters={
                "length_m": drain.length_m,
                "mean_depth_m": drain.depth_m,
                "pipe_mm": 225.0,
            },
        )
        build_estimate(item=items[drain.name], by=by, made_at=ESTIMATED_AT)
    return items


def fit_in(
    year: Iterable[Logged], estimates: dict[str, tuple[float, float]]
) -> tuple[list[Logged], dict[str, tuple[date, date]]]:
    """The year with the small drains worked in where other winter work gave way, and their days.

    estimates  job → (labour hours in the book, quantity)
    """
    rows = list(year)
    by_day: dict[date, list[int]] = defaultdict(list)
    for place, row in enumerate(rows):
        if row.routine in SPARE and row.hours >= MOST_H:
            by_day[row.on].append(place)
    rng = np.random.default_rng(SEED + 60)
    added: list[Logged] = []
    spans: dict[str, tuple[date, date]] = {}
    for drain in DRAINS:
        book_h, length = estimates[drain.name]
        left, day, days = length, drain.first, []
        while left > 0:
            gang = by_day[day][:GANG]
            if len(gang) >= GANG - 1:
                wet = bool(rng.random() < drain.wet_days)
                metre_h = book_h / length * drain.against_book * (WET if wet else DRY)
                wanted = min(MOST_H * len(gang), left * metre_h)
                hours = max(round(wanted / len(gang) * 2) / 2, 0.5)
                made = round(min(hours * len(gang) / metre_h, left), 1)
                done = made if left - made > 0.5 else round(left, 1)
                left = round(left - done, 1)
                for n, place in enumerate(gang):
                    row = rows[place]
                    rows[place] = replace(row, hours=max(row.hours - hours, LEAST_LEFT_H))
                    added.append(
                        Logged(
                            row.person,
                            day,
                            hours,
                            job=drain.name,
                            quantity=done if n == 0 else None,
                            ground="showers" if wet else "dry",
                        )
                    )
                by_day[day] = by_day[day][GANG:]
                days.append(day)
            day += timedelta(days=1)
        spans[drain.name] = (days[0], days[-1])
    return sorted([*rows, *added], key=lambda row: row.on), spans


def finish_small_drains(
    items: dict[str, Item], spans: dict[str, tuple[date, date]], by: User
) -> None:
    for name, (first, last) in spans.items():
        begun = set_item_state(item=items[name], state=ItemState.ON_SITE, on=first, by=by)
        items[name] = set_item_state(item=begun, state=ItemState.DONE, on=last, by=by)
