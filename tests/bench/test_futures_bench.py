"""Ten thousand futures of a plan of 150 jobs over five winters, within half a second once warm."""

from __future__ import annotations

import datetime as dt
import time

import numpy as np

from worksprog.calc.futures import Given, Opening, Work, follow_futures
from worksprog.calc.ranges import ThreePoint
from worksprog.calc.solver import Link, LinkKind
from worksprog.calc.weather import workable_years
from worksprog.calc.workdays import Calendar, MonthDay, Window

MOST_S = 0.5


def five_winters(jobs: int = 150) -> Given:
    chance = np.random.default_rng(5)
    calendar = Calendar.around(dt.date(2026, 9, 7), dt.date(2033, 6, 30))
    windows = {
        "ground": [Window("", MonthDay(9, 15), MonthDay(12, 11), "")],
        "felling": [Window("", MonthDay(9, 1), MonthDay(2, 28), "")],
        "any": [],
    }
    openings = {
        name: Opening(calendar.workdays & calendar.window_days(some), calendar.window_days(some))
        for name, some in windows.items()
    }
    works = []
    for key in range(jobs):
        hours = float(chance.integers(16, 120))
        works.append(
            Work(
                key,
                f"job {key}",
                ThreePoint(0.7 * hours, hours, 1.9 * hours),
                a_day=16.0,
                earliest=int(key / jobs * 5) * 365 + int(chance.integers(0, 60)),
                opening=("ground", "felling", "any")[key % 3],
                waits_for_ground=key % 3 == 0,
                groups=(f"project {key % 8}", f"winter {int(key / jobs * 5)}"),
                planned=int(key / jobs * 5) * 365 + 90,
            )
        )
    links = tuple(
        Link(key - int(chance.integers(1, min(key, 12) + 1)), key, LinkKind.FS, 0)
        for key in range(1, jobs, 2)
    )
    return Given(
        first_day=calendar.first_day,
        works=tuple(works),
        links=links,
        crew_day_h=np.where(calendar.workdays, 32.0, 0.0),
        openings=openings,
        workdays=calendar.workdays,
        weather=workable_years(seed=3),
    )


def test_ten_thousand_futures_of_150_jobs() -> None:
    given = five_winters()
    follow_futures(given, futures=100)
    times = []
    for _ in range(3):
        # Of all threads together: more than an idle machine takes, and the same on a busy one.
        began = time.process_time()
        told = follow_futures(given, seed=7, futures=10_000)
        times.append(time.process_time() - began)
    assert len(told.works) == 150
    assert min(times) <= MOST_S, f"{min(times):.2f} s"
