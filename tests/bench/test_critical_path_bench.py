"""The critical path of a thousand jobs inside their windows."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np

from worksprog.calc.critical_path import DatedActivity, Link, dated_path
from worksprog.calc.workdays import Calendar, MonthDay, Window

WINDOWS: tuple[list[Window], ...] = (
    [],
    [Window("felling", MonthDay(9, 1), MonthDay(2, 29), "nesting birds")],
    [Window("ditching", MonthDay(10, 1), MonthDay(12, 11), "clay too wet after")],
)


def test_the_critical_path_of_a_thousand_jobs(benchmark: Any) -> None:
    chance = np.random.default_rng(11)
    calendar = Calendar.around(dt.date(2026, 10, 5), dt.date(2031, 10, 3))
    masks = [calendar.window_days(one) & calendar.workdays for one in WINDOWS]
    activities = [DatedActivity(key, 2, masks[key % 3]) for key in range(1000)]
    links = [Link(int(chance.integers(max(0, k - 40), k)), k) for k in range(1, 1000, 2)]
    path = benchmark(dated_path, activities, links)
    assert len(path.times) == 1000
