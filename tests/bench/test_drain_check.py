"""Ten thousand reaches are to be checked in a second, by length of storm, with water levels."""

from __future__ import annotations

import random
import time

import pytest

from worksprog.calc.ditches import DitchSection
from worksprog.calc.network import Node, Reach, Storm, check_drains
from worksprog.calc.pipes import PipeSection
from worksprog.calc.rainfall import DesignRain


def network(count: int, *, divides: bool) -> tuple[list[Reach], list[Node]]:
    """Random trees falling to outfalls, pipes and ditches mixed, ends a little off."""
    chance = random.Random(11)
    places = [(0.0, 0.0)]
    levels = [50.0]
    reaches = []
    for index in range(count):
        below = chance.randrange(max(0, index - 60), index + 1)
        place = (37.0 * (index % 50) + 20, 41.0 * (index // 50) + 20)
        level = levels[below] + chance.uniform(0.05, 0.6)
        is_pipe = chance.random() < 0.7
        x, y = places[below]
        near = (x + chance.uniform(-0.1, 0.1), y + chance.uniform(-0.1, 0.1))
        reaches.append(
            Reach(
                key=str(index),
                name=f"R{index}",
                kind="pipe" if is_pipe else "ditch",
                line=(place, near),
                length_m=60.0,
                upstream_invert_m=level,
                downstream_invert_m=levels[below],
                section=PipeSection(0.225) if is_pipe else DitchSection(0.5, 1.5, 0.8, 0.035, 0.15),
                catchment_ha=chance.uniform(0.01, 0.1),
            )
        )
        places.append(place)
        levels.append(level)
    if divides:
        reaches[-1] = Reach(
            key="split",
            name="split",
            kind="pipe",
            line=(reaches[count // 2].line[0], (-500.0, -500.0)),
            length_m=100.0,
        )
    return reaches, [Node("O1", "O1", "outfall", 0.0, 0.0)]


RAIN = DesignRain((5, 15, 30, 60, 120, 360, 720, 1440), (9, 15, 19, 24, 29, 38, 45, 52))
STORM = Storm("1 in 10 year", 24.0, rain=RAIN)


# The machine's own work is timed, not its waiting for others on the same cores.
@pytest.mark.benchmark(timer=time.process_time)
@pytest.mark.parametrize("divides", [False, True])
@pytest.mark.parametrize(("count", "seconds"), [(2_000, 0.25), (5_000, 0.55), (10_000, 1.0)])
def test_reaches_checked(benchmark, count, seconds, divides):
    reaches, nodes = network(count, divides=divides)
    check_drains(reaches[:10], nodes, STORM)
    check = benchmark.pedantic(check_drains, (reaches, nodes, STORM), rounds=5)
    assert len(check.reaches) == count
    assert check.count("carries") > count // 4
    assert benchmark.stats.stats.median <= seconds
