"""Working days and links with lags against libraries that count them in another way."""

from __future__ import annotations

import datetime as dt
from typing import Any

import networkx as nx
import pandas as pd

from worksprog.calc.critical_path import Activity, Link, LinkKind, critical_path
from worksprog.calc.workdays import Calendar, MonthDay, Window

FIRST, LAST = dt.date(2026, 9, 7), dt.date(2031, 9, 5)
CLOSED = [dt.date(2026, 12, 25), dt.date(2026, 12, 28), dt.date(2028, 2, 29), dt.date(2027, 3, 26)]


def test_working_days_of_five_years(outside):
    calendar = Calendar.around(FIRST, LAST, holidays=dict.fromkeys(CLOSED, "closed"))
    days = pd.bdate_range(FIRST, calendar.date(calendar.days - 1), freq="C", holidays=CLOSED)
    mine = [calendar.date(n) for n in range(calendar.days) if calendar.workdays[n]]
    assert mine == [day.date() for day in days]
    outside(
        quantity="working days of five years with four closed days",
        expected=len(days),
        got=int(calendar.workdays.sum()),
        tolerance=0,
        unit="days",
        source="pandas bdate_range with holidays (C)",
    )


def test_days_of_a_window_over_new_year_and_a_leap_day(outside):
    calendar = Calendar.around(FIRST, LAST)
    window = Window("piping", MonthDay(10, 1), MonthDay(2, 29), "the clay bears")
    days = pd.date_range(FIRST, periods=calendar.days)
    inside = days[(days.month >= 10) | (days.month <= 2)]
    outside(
        quantity="days of a window from 1 October to the end of February, five winters",
        expected=len(inside),
        got=int(calendar.window_days([window]).sum()),
        tolerance=0,
        unit="days",
        source="pandas date_range by months (C)",
    )


def test_links_of_four_kinds_with_lags_as_a_longest_path(outside):
    durations = {"A": 6, "B": 9, "C": 4, "D": 7, "E": 3}
    links = [
        Link("A", "B", LinkKind.START_START, 2),
        Link("A", "C", LinkKind.FINISH_START, 5),
        Link("B", "D", LinkKind.FINISH_FINISH, 4),
        Link("C", "D", LinkKind.FINISH_START, -1),
        Link("B", "E", LinkKind.START_FINISH, 12),
        Link("D", "E", LinkKind.FINISH_START, 1),
    ]
    path = critical_path([Activity(*one) for one in durations.items()], links)
    graph: nx.DiGraph[Any] = nx.DiGraph()
    for key, days in durations.items():
        graph.add_edge("begin", (key, "S"), weight=0)
        graph.add_edge((key, "S"), (key, "F"), weight=-days)
        graph.add_edge((key, "F"), (key, "S"), weight=days)
    for link in links:
        ends = (link.before, link.kind[0]), (link.after, link.kind[1])
        graph.add_edge(*ends, weight=-link.lag)
    longest = nx.single_source_bellman_ford_path_length(graph, "begin")
    for key in durations:
        outside(
            quantity=f"earliest start of {key} in a network with lags",
            expected=-longest[key, "S"],
            got=path.times[key].early_start,
            tolerance=1e-9,
            unit="days",
            source="networkx Bellman-Ford longest path (C)",
        )
