"""A year of the crew's hours: routine work by the season, and the first winter's jobs."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from worksprog.demo.ground import SEED
from worksprog.demo.programme import CREW, FROZEN_DAY

FIRST_DAY = date(2025, 11, 24)
DAY_H = 8.0


@dataclass(frozen=True)
class Logged:
    person: int
    on: date
    hours: float
    job: str = ""
    routine: str = ""
    quantity: float | None = None
    ground: str = "dry"
    note: str = ""


@dataclass(frozen=True)
class Doing:
    """How a job went: its share done by the frozen day, and what an hour's work took against the book."""

    job: str
    share: float
    against_book: float
    gang: tuple[int, ...]


DOINGS = (
    Doing("Headwall at outfall O2", 1.0, 1.10, (0, 2)),
    Doing("Lay carrier O2–C2", 1.0, 1.24, (0, 2, 4)),
    Doing("Lay carrier C2–C3", 0.62, 1.12, (0, 2, 4)),
    Doing("Rebuild tee 8", 1.0, 0.94, (1, 3)),
    Doing("Thin copse behind 6 green", 31 / 46, 1.03, (4, 5)),
    Doing("Path, 2 green to 3 tee", 0.34, 1.0, (1, 3)),
)

# Shares of routine hours by kind in each quarter of the year's work.
_SEASONS = {
    "leaf fall": {
        "leaves": 0.24,
        "mowing": 0.10,
        "greens": 0.14,
        "bunkers": 0.12,
        "machines": 0.10,
        "other": 0.04,
        "wet_ground": 0.04,
    },
    "winter": {
        "leaves": 0.05,
        "mowing": 0.06,
        "greens": 0.22,
        "bunkers": 0.17,
        "machines": 0.28,
        "training": 0.07,
        "other": 0.05,
        "wet_ground": 0.10,
    },
    "growing": {
        "mowing": 0.46,
        "greens": 0.22,
        "bunkers": 0.17,
        "events": 0.07,
        "machines": 0.05,
        "other": 0.03,
    },
}


# Before two large bunkers were given up in the autumn of 2025, raking took more of the crew.
PAPER_FROM = date(2024, 9, 2)
RAKED_UNTIL = date(2025, 9, 22)
MORE_RAKING = 0.022


def _season(day: date) -> str:
    if (day.month, day.day) >= (10, 12) and (day.month, day.day) <= (12, 20):
        return "leaf fall"
    return "growing" if 4 <= day.month <= 10 else "winter"


def _half(hours: float) -> float:
    return round(hours * 2) / 2


def entries(
    *,
    estimates: dict[str, tuple[float, float]],
    days: dict[str, tuple[date, date]],
) -> Iterator[Logged]:
    """Every entry in the order of days.

    estimates  job → (labour hours in the book, quantity)
    days       job → first and last day it was worked on
    """
    rng = np.random.default_rng(SEED + 40)
    working = [
        day
        for day in (FIRST_DAY + timedelta(days=n) for n in range((FROZEN_DAY - FIRST_DAY).days + 1))
        if day.weekday() < 5 and not (day.month == 12 and day.day >= 24) and day != date(2026, 1, 1)
    ]
    todo: dict[str, list[tuple[date, float, float]]] = {}
    for doing in DOINGS:
        if doing.job not in estimates:
            continue
        book_h, quantity = estimates[doing.job]
        first, last = days[doing.job]
        span = [day for day in working if first <= day <= last]
        weights = rng.uniform(0.7, 1.3, len(span))
        cumulative = np.cumsum(weights) / weights.sum()
        total_h, total_q = book_h * doing.share * doing.against_book, quantity * doing.share
        done_h = done_q = 0.0
        rows = []
        for day, reached in zip(span, cumulative, strict=True):
            hours, made = (
                _half(float(total_h * reached)) - done_h,
                round(float(total_q * reached), 1) - done_q,
            )
            done_h, done_q = done_h + hours, round(done_q + made, 1)
            rows.append((day, hours, round(made, 1)))
        todo[doing.job] = rows

    gangs = {doing.job: doing.gang for doing in DOINGS}
    on_day: dict[date, list[tuple[str, float, float]]] = {}
    for job, rows in todo.items():
        for day, hours, made in rows:
            on_day.setdefault(day, []).append((job, hours, made))

    for day in working:
        away = set(rng.choice(len(CREW), size=1)) if rng.random() < 0.22 else set()
        left = {person: (0.0 if person in away else DAY_H) for person in range(len(CREW))}
        wet = bool(rng.random() < (0.3 if _season(day) != "growing" else 0.12))
        for job, hours, made in on_day.get(day, []):
            order = [p for p in gangs[job] if left[p] > 0] + [
                p for p in left if p not in gangs[job]
            ]
            need, first_of_day = hours, True
            for person in order:
                if need <= 0:
                    break
                # A gang shares the day; nobody is left with less than an hour for setting up.
                takes = min(
                    _half(max(hours / len(gangs[job]), 0.5)), need, max(left[person] - 1.0, 0)
                )
                if takes <= 0:
                    continue
                left[person] -= takes
                need -= takes
                yield Logged(
                    person,
                    day,
                    takes,
                    job=job,
                    quantity=made if first_of_day and made > 0 else None,
                    ground="showers" if wet else "dry",
                )
                first_of_day = False
            for person in order:
                extra = min(need, left[person])
                if extra <= 0:
                    continue
                left[person] -= extra
                need -= extra
                yield Logged(person, day, extra, job=job, ground="showers" if wet else "dry")
        shares = _SEASONS[_season(day)]
        kinds, odds = list(shares), np.array(list(shares.values()))
        for person, hours in left.items():
            if hours > 0:
                kind = str(rng.choice(kinds, p=odds / odds.sum()))
                yield Logged(person, day, hours, routine=kind)


def routine_before() -> Iterator[Logged]:
    """The crew's paper sheets from before the year: routine work alone, an entry a person and day."""
    rng = np.random.default_rng(SEED + 41)
    for day in (PAPER_FROM + timedelta(days=n) for n in range((FIRST_DAY - PAPER_FROM).days)):
        if day.weekday() >= 5 or _is_christmas(day):
            continue
        away = int(rng.integers(len(CREW))) if rng.random() < 0.22 else None
        shares = dict(_SEASONS[_season(day)])
        if day < RAKED_UNTIL:
            shares["bunkers"] += MORE_RAKING
        kinds, odds = list(shares), np.array(list(shares.values()))
        for person in range(len(CREW)):
            if person != away:
                kind = str(rng.choice(kinds, p=odds / odds.sum()))
                yield Logged(person, day, DAY_H, routine=kind)


def _is_christmas(day: date) -> bool:
    return (day.month, day.day) >= (12, 24) or (day.month, day.day) == (1, 1)
