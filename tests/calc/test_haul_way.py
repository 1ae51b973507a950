"""The way over the course: round what is closed, over crossings, never shorter than straight."""

from __future__ import annotations

from math import hypot
from typing import Any

import networkx as nx
import numpy as np
import pytest
from shapely.geometry import LineString, Polygon, box

from worksprog.calc.haul_way import haul_grid, steepest

BOUNDS = (0.0, 0.0, 400.0, 300.0)


def test_open_ground_is_driven_straight():
    (way,) = haul_grid(BOUNDS).ways_to((350, 250), [(20, 30)])
    assert way.is_round
    assert way.length_m == pytest.approx(hypot(330, 220), rel=0.01)


def test_a_wood_is_driven_round():
    wood = box(150, 0, 200, 200)
    (way,) = haul_grid(BOUNDS, closed=[wood]).ways_to((350, 50), [(20, 50)])
    over_the_corners = hypot(130, 150) + 50 + hypot(150, 150)
    assert way.length_m == pytest.approx(over_the_corners, rel=0.03)
    assert not LineString(way.points).crosses(wood.buffer(-8))


def test_a_ditch_is_crossed_at_the_bridge_only():
    ditch = LineString([(200, -10), (200, 310)])
    bridge = LineString([(190, 280), (210, 280)])
    ends = ((300.0, 40.0), [(100.0, 40.0)])
    (dry,) = haul_grid(BOUNDS, closed=[ditch], crossings=[bridge]).ways_to(*ends)
    assert dry.is_round
    assert dry.length_m == pytest.approx(2 * hypot(100, 240), rel=0.03)
    (cut_off,) = haul_grid(BOUNDS, closed=[ditch]).ways_to(*ends)
    assert not cut_off.is_round
    assert cut_off.length_m == pytest.approx(200)


def test_a_fairway_is_driven_round_where_that_costs_little():
    fairway = box(100, 100, 300, 160)
    grid = haul_grid(BOUNDS, dear=[fairway])
    (along,) = grid.ways_to((320, 150), [(80, 150)])
    assert LineString(along.points).intersection(fairway).length < 30
    (over,) = grid.ways_to((200, 200), [(200, 60)])
    assert LineString(over.points).intersection(fairway).length == pytest.approx(60, rel=0.2)


def test_works_on_closed_ground_start_from_its_edge():
    tee = Polygon([(90, 90), (130, 90), (130, 130), (90, 130)])
    (way,) = haul_grid(BOUNDS, closed=[tee]).ways_to((300, 110), [(110, 110)])
    assert way.is_round
    assert way.points[0] == (110, 110)
    assert way.length_m == pytest.approx(190, rel=0.15)


def test_as_long_as_by_networkx_over_the_same_cells():
    rng = np.random.default_rng(5)
    closed = [box(x, y, x + 30, y + 40) for x, y in rng.uniform(20, 250, (9, 2))]
    grid = haul_grid(BOUNDS, closed=closed, cell_m=10)
    graph: nx.Graph[Any] = nx.Graph()
    rows, columns = grid.counts.shape
    for r in range(rows):
        for c in range(columns):
            for dr, dc in ((0, 1), (1, 0), (1, 1), (1, -1)):
                r2, c2 = r + dr, c + dc
                if 0 <= r2 < rows and 0 <= c2 < columns:
                    weight = (grid.counts[r, c] + grid.counts[r2, c2]) / 2 * 10 * hypot(dr, dc)
                    if np.isfinite(weight):
                        graph.add_edge((r, c), (r2, c2), weight=weight)
    starts = [(5.0, 5.0), (395.0, 5.0), (5.0, 295.0)]
    for start, way in zip(starts, grid.ways_to((395.0, 295.0), starts), strict=True):
        cell = (int(start[1] // 10), int(start[0] // 10))
        over_cells = nx.shortest_path_length(graph, cell, (29, 39), weight="weight")
        straight = hypot(395 - start[0], 295 - start[1])
        assert straight - 1e-9 <= way.length_m <= over_cells + 1e-6


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: haul_grid((0, 0, 0, 10)), "no extent"),
        (lambda: haul_grid((0, 0, float("nan"), 10)), "no extent"),
        (lambda: haul_grid(BOUNDS, cell_m=0), "longer than nothing"),
        (lambda: haul_grid(BOUNDS, closed=[box(-50, -50, 500, 500)]), "open to a trailer"),
    ],
)
def test_bad_ground_is_refused(make, words):
    with pytest.raises(ValueError, match=words):
        make()


def test_the_steepest_ten_metres_of_a_way():
    along = np.array([0.0, 50.0, 60.0, 100.0])
    level = np.array([10.0, 11.0, 13.0, 13.0])
    assert steepest(along, level) == pytest.approx(0.2)
    assert steepest(along, level, over_m=20) == pytest.approx((2 + 0.2) / 20)
    assert steepest(along[:1], level[:1]) is None
    assert steepest(along, np.full(4, np.nan)) is None
    short = steepest(np.array([0.0, 4.0]), np.array([1.0, 1.5]))
    assert short == pytest.approx(0.125)
    with pytest.raises(ValueError, match="some length"):
        steepest(along, level, over_m=0)
