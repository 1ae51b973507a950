"""Filling, directions, hollows, ways, catchments and the shares of drains."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from worksprog.calc import ground
from worksprog.calc.ground import Drain, kernel
from worksprog.calc.ground.catchments import touched_cells


def raster(levels, cell_m=1.0):
    return ground.ground_from_grid(west=1000, south=2000, cell_m=cell_m, levels=levels)


@st.composite
def rough_ground(draw):
    """Small grounds with many flats, ties, hollows and missing cells."""
    rows, columns = draw(st.integers(2, 14)), draw(st.integers(2, 14))
    chance = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    levels = chance.integers(0, draw(st.integers(1, 12)), (rows, columns)).astype(float)
    levels += draw(st.sampled_from([0.0, 0.01])) * np.arange(rows)[:, None]
    levels[chance.random((rows, columns)) < draw(st.sampled_from([0.0, 0.2]))] = np.nan
    levels[0, 0] = 3.0
    return levels


@given(rough_ground(), st.booleans())
@settings(max_examples=150, deadline=None)
def test_every_cell_leaves_somewhere_and_none_twice(levels, through):
    water = ground.run_water(raster(levels), through_hollows=through)
    known = np.isfinite(levels)
    assert water.cells[water.down == kernel.LEAVES].sum() == known.sum()
    assert (water.cells[~known] == 0).all()
    assert (water.down[~known] == kernel.NO_GROUND).all()
    assert (water.filled[known] >= levels[known]).all()
    for row, column in np.argwhere(known):
        way = ground.way_from(water, 1000 + column, 2000 + row)
        assert way.length_m <= known.sum() * math.sqrt(2)


@given(rough_ground())
@settings(max_examples=60, deadline=None)
def test_filled_ground_has_no_hollow_left_and_is_the_least_that_has_none(levels):
    """The level of a cell is the lowest high point over all ways out, found here by relaxing."""
    known = np.isfinite(levels)
    beyond = np.pad(np.where(known, levels, np.nan), 1, constant_values=np.nan)
    wanted = np.full(beyond.shape, np.inf)
    inside = np.argwhere(np.isfinite(beyond))
    for row, column in inside:
        if np.isnan(beyond[row - 1 : row + 2, column - 1 : column + 2]).any():
            wanted[row, column] = beyond[row, column]
    changed = True
    while changed:
        changed = False
        for row, column in inside:
            around = wanted[row - 1 : row + 2, column - 1 : column + 2].min()
            level = max(beyond[row, column], around)
            if level < wanted[row, column]:
                wanted[row, column], changed = level, True
    filled = ground.run_water(raster(levels)).filled
    assert (filled[known] == wanted[1:-1, 1:-1][known]).all()


@given(rough_ground(), st.integers(0, 2**32 - 1), st.integers(1, 4))
@settings(max_examples=100, deadline=None)
def test_shares_of_the_drains_and_the_rest_are_the_whole(levels, seed, count):
    rows, columns = levels.shape
    chance = np.random.default_rng(seed)
    drains = [
        Drain(
            str(number),
            shapely.LineString(chance.uniform((1000, 2000), (1000 + columns, 2000 + rows), (2, 2))),
        )
        for number in range(count)
    ]
    shares = ground.shares_of(raster(levels), drains)
    total = sum(one.area_m2 for one in shares.catchments.values()) + shares.rest_m2
    assert total == pytest.approx(np.isfinite(levels).sum()) == pytest.approx(shares.whole_m2)
    outlines = [one.outline for one in shares.catchments.values()]
    assert sum(one.area for one in outlines) == pytest.approx(shapely.union_all(outlines).area)
    for one in shares.catchments.values():
        assert one.outline.area == pytest.approx(one.area_m2)


def test_a_catchment_is_what_the_cell_gathers():
    chance = np.random.default_rng(5)
    water = ground.run_water(raster(chance.random((40, 50)) + np.arange(40)[:, None] * 0.2, 2.0))
    for row, column in [(0, 10), (5, 25), (20, 3), (39, 49)]:
        found = ground.catchment_of(water, 1000 + 2 * column, 2000 + 2 * row)
        assert found.area_m2 == water.cells[row, column] * 4
        assert found.outline.area == pytest.approx(found.area_m2)
        assert found.outline.buffer(0.01).contains(found.longest.line) if found.longest.line else 1


def test_catchment_of_a_plane_by_hand():
    """A strip one cell wide of a plane falling 1 in 50 to the south, up to the rim."""
    z = 60 + 0.02 * 2.0 * np.tile(np.arange(30.0)[:, None], (1, 9))
    water = ground.run_water(raster(z, 2.0))
    found = ground.catchment_of(water, 1008.3, 2019.6)
    assert found.area_m2 == 20 * 4
    assert found.longest.length_m == 38
    assert found.mean_fall == pytest.approx(0.02)
    assert found.edge_m == 2.0
    rows = {row["symbol"]: row for row in found.working(2.0).as_rows()}
    assert rows["n"]["value"] == "20"
    assert "edge of the surveyed ground" in " ".join(found.working(2.0).notes)


def test_a_finger_beside_the_valley_finds_it():
    row, column = np.mgrid[0:40, 0:41].astype(float)
    water = ground.run_water(raster(50 + 0.1 * np.abs(column - 20) + 0.01 * row))
    beside = ground.catchment_of(water, 1022, 2010)
    found = ground.catchment_of(water, 1022, 2010, within_m=3)
    assert beside.area_m2 < 41
    assert found.area_m2 == 41 * 32  # three cells down the valley: rows 8 to 39
    assert ground.catchment_of(water, 1022, 2010, within_m=2.0).area_m2 == 41 * 30


def test_way_of_a_drop_through_a_hollow():
    z = 60 + 0.1 * np.tile(np.arange(20.0)[:, None], (1, 11))
    z[8:11, 4:7] -= 1.0
    water = ground.run_water(raster(z))
    way = ground.way_from(water, 1005, 2018)
    assert way.fall_m == pytest.approx(1.8)
    assert 2 < way.stood_m < 6
    (hollow,) = ground.hollows_of(water, least_area_m2=1)
    assert hollow.spill_m == pytest.approx(60.7)
    assert hollow.depth_m == pytest.approx(60.7 - 59.8)
    assert hollow.area_m2 == 9
    assert hollow.volume_m3 == pytest.approx(3 * (0.9 + 0.8 + 0.7))
    assert hollow.lowest == (1004, 2008)
    assert hollow.outline.area == 9
    within = ground.catchment_of(water, 1004, 2009)
    assert within.at_spill
    assert within.area_m2 >= 9 + 3 * 9  # the hollow and the three columns above it
    assert not ground.catchment_of(water, 1005, 2015).at_spill
    assert not ground.hollows_of(water, least_area_m2=10)
    assert not ground.hollows_of(water, least_area_m2=1, least_depth_m=1)


def test_of_equal_falls_the_straight_one_from_the_south_is_taken():
    peak = np.full((3, 3), 9.0)
    peak[1, 1] = 10
    assert ground.run_water(raster(peak)).down[1, 1] == 0
    peak[0, 0] = 10 - math.sqrt(2)
    assert ground.run_water(raster(peak)).down[1, 1] == 0
    peak[0, 0] -= 1e-6
    assert ground.run_water(raster(peak)).down[1, 1] == 4


def test_flow_paths_meet_at_their_ends():
    row, column = np.mgrid[0:60, 0:81].astype(float)
    z = 50 + 0.02 * row + 0.2 * np.minimum(np.abs(column - 20), np.abs(column - 60))
    water = ground.run_water(raster(z))
    paths = ground.flow_paths(water, least_area_m2=500)
    assert len(paths) == 2
    assert {path.line.coords[-1] for path in paths} == {(1020.0, 2000.0), (1060.0, 2000.0)}
    assert {path.area_m2 for path in paths} == {water.cells[0, 20], water.cells[0, 60]}
    with pytest.raises(ValueError, match="more than nothing"):
        ground.flow_paths(water, least_area_m2=0)


def test_the_first_drain_met_takes_the_water():
    z = 60 + 0.1 * np.tile(np.arange(40.0)[:, None], (1, 21))
    across = [
        Drain(name, shapely.LineString([(999, 2000 + row), (1021, 2000 + row)]))
        for name, row in (("low", 10.2), ("high", 30.2))
    ]
    shares = ground.shares_of(raster(z), across)
    # The row just below a drain falls back into it: it is burned in half a metre.
    assert shares.catchments["high"].area_m2 == 21 * 11
    assert shares.catchments["low"].area_m2 == 21 * 20
    assert shares.rest_m2 == 21 * 9
    assert shares.catchments["high"].longest.length_m == 9
    level = ground.shares_of(raster(z), across, burned_m=0)
    assert level.catchments["high"].area_m2 == 21 * 10


def test_slanting_drains_let_no_water_slip_through():
    z = 60 + 0.1 * np.tile(np.arange(80.0)[:, None], (1, 80))
    drain = Drain("slant", shapely.LineString([(999, 1999 + 10.3), (1081, 2000 + 63.7)]))
    shares = ground.shares_of(raster(z), [drain], burned_m=0)
    above = sum(80 - (10.3 - 1 + (63.7 - 9.3) * (x + 1) / 82) for x in range(80))
    assert shares.catchments["slant"].area_m2 == pytest.approx(above, rel=0.03)


def test_long_lines_touch_the_same_cells_as_short_ones():
    wide = raster(np.zeros((300, 300)))
    line = shapely.LineString([(1001.3, 2002.1), (1290.2, 2250.4), (1100.7, 2280.2)])
    r, c = np.mgrid[0:300, 0:300]
    boxes = shapely.box(999.5 + c, 1999.5 + r, 1000.5 + c, 2000.5 + r)
    wanted = np.flatnonzero(shapely.intersects(boxes, line))
    assert touched_cells(wide, line).tolist() == wanted.tolist()


def test_drains_off_the_ground_are_named():
    z = 60 + 0.1 * np.tile(np.arange(20.0)[:, None], (1, 20))
    drains = [
        Drain("far", shapely.LineString([(0, 0), (10, 10)])),
        Drain("half", shapely.LineString([(1010, 2010), (1040, 2010)])),
    ]
    shares = ground.shares_of(raster(z), drains)
    assert shares.outside == ("far",)
    assert shares.partly["half"] == pytest.approx(20.5, abs=0.6)
    assert set(shares.catchments) == {"half"}


def test_distance_to_the_survey():
    xyz = [(0, 0, 5), (40, 0, 5), (0, 30, 6), (40, 30, 6), (20, 15, 5)]
    model = ground.ground_from_spot_heights(xyz)
    grid = ground.as_grid(model, cell_m=5)
    away = ground.distance_to_survey(model, grid)
    assert away[0, 0] == 0
    assert away[3, 4] == 0
    assert away[0, 4] == pytest.approx(15)
    assert ground.guess_from_m(model) == pytest.approx(0.75 * math.sqrt(1200 / 5))


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda w: ground.catchment_of(w, 0, 0), "lies outside the ground"),
        (lambda w: ground.way_from(w, math.nan, 0), "needs an easting"),
        (lambda w: ground.wetness_of(w, least_slope=0), "more than nothing"),
        (lambda w: ground.run_water(w.raster, outlets=np.zeros((2, 2))), "not one raster"),
        (lambda w: ground.shares_of(w.raster, []), "no drain"),
        (lambda w: ground.shares_of(w.raster, [Drain("a", shapely.Point(0, 0))] * 2), "one key"),
    ],
)
def test_what_cannot_be_is_refused(call, words):
    with pytest.raises(ValueError, match=words):
        call(ground.run_water(raster(np.zeros((4, 5)))))
