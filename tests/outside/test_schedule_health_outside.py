"""The published indices of a schedule, and the test by 600 days on printed networks."""

from __future__ import annotations

import datetime as dt

import pytest

from tests.outside.test_critical_path import CPM_1, CPM_2
from worksprog.calc.critical_path import Link
from worksprog.calc.schedule_health import (
    Verdict,
    execution_index,
    fourteen_points,
    moves_with_its_path,
    path_length_index,
)

PAMPHLET = "DCMA-EA PAM 200.1 (2012), examples by arithmetic"


@pytest.mark.parametrize(
    ("length", "slack", "index"), [(110, -8, 0.9273), (110, 0, 1.0), (200, 10, 1.05)]
)
def test_index_of_the_paths_length(outside, length, slack, index):
    outside(
        quantity=f"SQ-1 path length index of {length} and {slack:+} days",
        expected=index,
        got=path_length_index(length, slack),
        tolerance=5e-5,
        source=f"{PAMPHLET} §3.1.2.3 (C)",
    )


def test_the_index_below_its_limit_is_told():
    (point,) = (
        one
        for one in fourteen_points([], [], today=dt.date(2026, 9, 7), length_d=110, end_float_d=-8)
        if one.number == 13
    )
    assert point.verdict == Verdict.MEND


def test_index_of_what_got_done_at_its_limit(outside):
    outside(
        quantity="SQ-2 execution index of 38 in 40",
        expected=0.95,
        got=execution_index(38, 40),
        tolerance=0,
        source=f"{PAMPHLET} §3.1.2.4 (C); not below the limit of 0.95",
    )


@pytest.mark.parametrize("arcs", [CPM_1, CPM_2], ids=["one", "two"])
def test_six_hundred_days_more_move_the_end_as_far(arcs):
    links = [Link(a, b) for a in arcs for b in arcs if a.split("-")[1] == b.split("-")[0]]
    assert moves_with_its_path([(key, float(days)) for key, days in arcs.items()], links)
