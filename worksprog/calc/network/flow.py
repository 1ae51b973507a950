"""Which way water goes through the joined reaches, and how much gathers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from worksprog.calc.network.joining import Joined

ROWS_AT_ONCE = 500  # keeps the unpacked bits of a large network to a few megabytes


@dataclass(frozen=True)
class Way:
    """The network as reaches that hand on to reaches.

    ``falling_order`` has every reach after those above it, and lacks those in or below a loop;
    ``building_order`` has every reach after those below it, and lacks those in or above a loop.
    """

    above: tuple[tuple[int, ...], ...]
    below: tuple[tuple[int, ...], ...]
    enters_at_m: dict[int, float]
    falling_order: tuple[int, ...]
    building_order: tuple[int, ...]
    loops: tuple[tuple[int, ...], ...]
    divides: bool


def find_way(joined: Joined, count: int) -> Way:
    """Follow the joins: a reach hands its water to every reach that starts where it ends."""
    above: list[list[int]] = [[] for _ in range(count)]
    below: list[list[int]] = [[] for _ in range(count)]
    for junction in joined.junctions:
        for first in junction.into:
            for second in junction.out_of:
                below[first].append(second)
                above[second].append(first)
    enters_at_m: dict[int, float] = {}
    for along in joined.enters:
        below[along.reach].append(along.other)
        above[along.other].append(along.reach)
        enters_at_m[along.reach] = along.chainage_m
    for along in joined.leaves:
        below[along.other].append(along.reach)
        above[along.reach].append(along.other)
    return Way(
        above=tuple(map(tuple, above)),
        below=tuple(map(tuple, below)),
        enters_at_m=enters_at_m,
        falling_order=_order(above, below),
        building_order=_order(below, above),
        loops=_loops(below),
        divides=any(len(others) > 1 for others in below),
    )


def _order(first: Sequence[Sequence[int]], then: Sequence[Sequence[int]]) -> tuple[int, ...]:
    """Every reach after all of its ``first``; what waits on a loop never comes up."""
    waiting = [len(others) for others in first]
    order = [index for index, left in enumerate(waiting) if left == 0]
    for index in order:
        for other in then[index]:
            waiting[other] -= 1
            if waiting[other] == 0:
                order.append(other)
    return tuple(order)


def _loops(below: Sequence[Sequence[int]]) -> tuple[tuple[int, ...], ...]:
    count = len(below)
    links = [(index, other) for index, others in enumerate(below) for other in others]
    if not links:
        return ()
    rows, columns = np.array(links).T
    graph = coo_array((np.ones(len(links)), (rows, columns)), shape=(count, count))
    labels = connected_components(graph, directed=True, connection="strong")[1]
    sizes = np.bincount(labels)
    own_tail = {index for index, other in links if index == other}
    found = [
        _round(np.flatnonzero(labels == label).tolist(), below)
        for label in np.flatnonzero(sizes > 1).tolist()
    ]
    return tuple(found + [(index,) for index in sorted(own_tail) if sizes[labels[index]] == 1])


def _round(members: list[int], below: Sequence[Sequence[int]]) -> tuple[int, ...]:
    """One way round inside a knot of reaches, in the order the water would run."""
    inside = set(members)
    path: list[int] = []
    here = members[0]
    while here not in path:
        path.append(here)
        here = next(other for other in below[here] if other in inside)
    return tuple(path[path.index(here) :])


def gather(way: Way, own: NDArray[np.float64]) -> NDArray[np.float64]:
    """What gathers at the lower end of each reach from columns of its own; NaN below a loop.

    Where the flow divides, each branch is given all of it, since levels alone do not tell how it
    divides; where branches meet again nothing is counted twice.
    """
    total = np.full(own.shape, np.nan)
    if not way.divides:
        columns = [column.tolist() for column in own.T]
        for column in columns:
            for index in way.falling_order:
                for other in way.below[index]:
                    column[other] += column[index]
        order = list(way.falling_order)
        total[order] = np.array(columns).T[order]
        return total
    count = len(own)
    sources: dict[int, int] = {}  # the reaches above each, as bits of one number
    for index in way.falling_order:
        bits = 1 << index
        for other in way.above[index]:
            bits |= sources[other]
        sources[index] = bits
    order = list(way.falling_order)
    for at in range(0, len(order), ROWS_AT_ONCE):
        some = order[at : at + ROWS_AT_ONCE]
        packed = b"".join(sources[index].to_bytes((count + 7) // 8, "little") for index in some)
        rows = np.frombuffer(packed, dtype=np.uint8).reshape(len(some), -1)
        total[some] = np.unpackbits(rows, axis=1, bitorder="little", count=count) @ own
    return total
