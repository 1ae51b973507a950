"""Small made-up trees for the tests of the sizing."""

from __future__ import annotations

import random
from collections.abc import Sequence

from worksprog.calc.network import NetworkCheck, Node, Reach, Storm, check_drains
from worksprog.calc.pipes import PipeSection
from worksprog.calc.sizing import (
    Costing,
    DepthBand,
    Design,
    LowerEnd,
    PipeSize,
    SizingReach,
    Tree,
)

RAIN = Storm("test", 36.0)  # a hectare that runs off wholly brings 0.1 m³/s


def size(bore_mm: int, money: float) -> PipeSize:
    return PipeSize(bore_mm, bore_mm / 1000 * 0.97, bore_mm / 1000 * 1.12, money)


SIZES = (size(150, 8.7), size(225, 15.2), size(300, 24.0), size(375, 36.4), size(450, 52.0))


def costing(sizes: Sequence[PipeSize] = SIZES) -> Costing:
    return Costing(
        tuple(sizes),
        line_per_m=10.0,
        dig_per_m3=5.2,
        fill_per_m3=3.9,
        spoil_per_m3=5.5,
        stone_per_m3=63.0,
        trench_bands=(DepthBand(1.2, 12.0), DepthBand(1.6, 25.0)),
        chamber_each=380.0,
        chamber_bands=(DepthBand(1.3, 150.0),),
    )


def random_tree(
    seed: int, count: int, *, flow_m3s: float = 0.012, points: int = 4, end_m: float = 48.9
) -> Tree:
    """Reach 0 is the lowest; the others join it or one that does, over uneven falling ground."""
    chance = random.Random(seed)
    heads = [50.0]
    below: list[int] = []
    for index in range(count):
        low = 0 if index == 0 else chance.randrange(max(0, index - 4), index) + 1
        below.append(low)
        heads.append(heads[low] + chance.uniform(0.1, 1.3))
    flows = [chance.uniform(0.2, 1.0) * flow_m3s for _ in range(count)]
    for index in range(count - 1, 0, -1):
        flows[below[index] - 1] += flows[index]
    reaches = []
    for index in range(count):
        length = chance.uniform(25.0, 80.0)
        first, last = heads[index + 1], heads[below[index]]
        ground = [
            (
                length * part / (points - 1),
                first
                + (last - first) * part / (points - 1)
                + (chance.uniform(-0.2, 0.2) if 0 < part < points - 1 else 0.0),
            )
            for part in range(points)
        ]
        reaches.append(
            SizingReach(
                key=str(index),
                name=f"R{index}",
                length_m=length,
                flow_m3s=flows[index],
                ground=tuple(ground),
                below=None if index == 0 else str(below[index] - 1),
            )
        )
    return Tree(tuple(reaches), LowerEnd("outfall O1", end_m))


def checked(tree: Tree, design: Design, storm: Storm = RAIN) -> NetworkCheck:
    """The design as the check of the network sees it."""
    own = {reach.key: reach.flow_m3s for reach in tree.reaches}
    for reach in tree.reaches:
        if reach.below is not None:
            own[reach.below] -= reach.flow_m3s
    place = {
        reach.key: (100.0 * number, 30.0 * number**2) for number, reach in enumerate(tree.reaches)
    }
    ends = {
        reach.key: (-100.0, 0.0) if reach.below is None else place[reach.below]
        for reach in tree.reaches
    }
    reaches = [
        Reach(
            key=reach.key,
            name=reach.name,
            kind="pipe",
            line=(place[reach.key], ends[reach.key]),
            length_m=reach.length_m,
            upstream_invert_m=design.reach(reach.key).upstream_m,
            downstream_invert_m=design.reach(reach.key).downstream_m,
            section=PipeSection(design.reach(reach.key).inside_m or 0.0, reach.roughness_m),
            catchment_ha=max(0.0, own[reach.key] * 10),
            runoff_coefficient=1.0,
        )
        for reach in tree.reaches
    ]
    return check_drains(reaches, [Node("O1", "O1", "outfall", -100.0, 0.0)], storm)
