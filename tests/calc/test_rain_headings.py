"""Headings of rain files that are no figure are refused, not read as another one."""

from __future__ import annotations

import pytest

from worksprog.calc.rainfall.gauge import read_maxima
from worksprog.calc.rainfall.table import DepthTable, read_depths


@pytest.mark.parametrize("heading", ["1e308", "-1", "1e3", "+2"])
def test_a_heading_that_is_no_return_period_is_refused(heading):
    depths, refused = read_depths(f"duration, {heading}, 30\n15 min, 9.1, 14")
    assert [one.return_years for one in depths] == [30]
    assert f"“{heading}” is no return period" in refused[0].words


@pytest.mark.parametrize("heading", ["10", "10 years", "1 in 10", "1 in 10 year"])
def test_usual_headings_stay(heading):
    depths, refused = read_depths(f"duration, {heading}\n15 min, 9.1")
    assert not refused
    assert depths[0].return_years == 10


def test_a_heading_of_a_gauge_that_is_no_duration_is_told_and_its_column_left_out():
    rows, refused = read_maxima("year, 15 min, 1e308 h, 99999 h\n1998, 9.1, 14, 15")
    assert [one.duration_min for one in rows] == [15]
    assert [one.line for one in refused] == [1, 1]


def test_a_gauge_with_no_heading_to_be_read_is_not_taken_for_lines_of_duration_and_depth():
    rows, refused = read_maxima("year, 1e308 h, nan min\n1998, 5, 20")
    assert not rows
    assert len(refused) == 2


def test_headings_without_figures_stay_a_list_of_lines():
    rows, refused = read_maxima("year, duration (min), depth (mm)\n1998, 60, 21.4")
    assert not refused
    assert rows[0].duration_min == 60


def test_a_table_whose_gaps_make_a_longer_storm_bring_less_says_so():
    rows = [(2, 30, 10), (5, 30, 29), (100, 30, 30), (2, 60, 10), (100, 60, 30)]
    table = DepthTable.of(rows)
    with pytest.raises(ValueError, match=r"The table has gaps.* 30 min and only .* in 1 h"):
        table.design_rain(5)
