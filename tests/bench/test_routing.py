"""A thousand reaches with ten ponds are to be led through five days of minutes in three seconds."""

from __future__ import annotations

import time

import pytest

from tests.bench.test_drain_check import STORM, network
from worksprog.calc.network import Node
from worksprog.calc.routing import Outlet, Pond, days_of_rain, route

RAIN = days_of_rain([20.0] * 4, after_h=24.0)


# The machine's own work is timed, not its waiting for others on the same cores.
@pytest.mark.benchmark(timer=time.process_time)
@pytest.mark.parametrize(("count", "seconds"), [(250, 1.0), (500, 1.7), (1000, 3.0)])
def test_water_through_five_days(benchmark, count, seconds):
    reaches, nodes = network(count, divides=False)
    ponds = []
    for number in range(10):
        reach = reaches[number * count // 10 + 3]
        key = f"pond {number}"
        x, y = reach.line[0]
        low = reach.upstream_invert_m or 0.0
        nodes.append(Node(key, key, "pond", x, y, pond=key))
        outlets = (Outlet("pipe", low, 0.15), Outlet("weir", low + 0.8, width_m=2.0))
        ponds.append(Pond(key, key, (low - 0.5, low, low + 1), (50.0, 200.0, 400.0), outlets))
    assert RAIN.steps == 7_200
    route(reaches[:10], nodes, [], RAIN, storm=STORM)
    found = benchmark.pedantic(
        route, (reaches, nodes, ponds, RAIN), {"storm": STORM, "watch": ["1"]}, rounds=3
    )
    assert len(found.reaches) == count
    assert len(found.ponds) == 10
    assert abs(found.balance.error) < 1e-6
    assert found.balance.came_m3 > 100
    assert benchmark.stats.stats.median <= seconds
