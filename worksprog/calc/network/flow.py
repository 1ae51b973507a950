"""Which way water goes through the joined reaches, and how much gathers."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from worksprog.calc.network.joining import Joined


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
    ponded: frozenset[tuple[int, int]]  # pairs with a pond between them
    leaves: dict[int, tuple[int, ...]]  # drains that start part way along another, by that other


def find_way(joined: Joined, count: int) -> Way:
    """Follow the joins: a reach hands its water to every reach that starts where it ends.

    What enters a pond goes on into every reach that leaves it.
    """
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
    ponded = frozenset(_through_ponds(joined))
    for first, second in sorted(ponded):
        if second not in below[first]:
            below[first].append(second)
            above[second].append(first)
    for along in joined.leaves:
        below[along.other].append(along.reach)
        above[along.reach].append(along.other)
    leaves: dict[int, tuple[int, ...]] = {}
    for along in joined.leaves:
        leaves[along.other] = (*leaves.get(along.other, ()), along.reach)
    return Way(
        above=tuple(map(tuple, above)),
        below=tuple(map(tuple, below)),
        enters_at_m=enters_at_m,
        falling_order=_order(above, below),
        building_order=_order(below, above),
        loops=_loops(below),
        ponded=ponded,
        leaves=leaves,
    )


def _through_ponds(joined: Joined) -> Iterator[tuple[int, int]]:
    enter: dict[str, list[int]] = defaultdict(list)
    leave: dict[str, list[int]] = defaultdict(list)
    for junction in joined.junctions:
        for node in junction.nodes:
            if node.kind == "pond" and node.pond:
                enter[node.pond] += junction.into
                leave[node.pond] += junction.out_of
    for pond, into in enter.items():
        for first in into:
            for second in leave[pond]:
                if first != second:
                    yield first, second


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


def shares_of(way: Way, capacity_m3s: NDArray[np.float64]) -> tuple[tuple[float, ...], ...]:
    """Which share of its water each reach hands to each reach below it.

    Where the flow divides, by what each branch can carry at its own gradient; evenly where one of
    them cannot be told. A drain that starts part way along another shares with the rest of that
    other. The shares of a reach never add up to more than 1, so no water is made.
    """
    capacity = capacity_m3s.tolist()
    found: list[tuple[float, ...]] = []
    for index, others in enumerate(way.below):
        aside = way.leaves.get(index, ())
        if not aside and len(others) < 2:
            found.append((1.0,) * len(others))
            continue
        onward = [other for other in others if other not in aside]
        split = _by_capacity([capacity[index], *(capacity[other] for other in aside)])
        taken = dict(zip(aside, split[1:], strict=True))
        rest = _by_capacity([capacity[other] for other in onward])
        taken |= {other: split[0] * share for other, share in zip(onward, rest, strict=True)}
        found.append(tuple(taken[other] for other in others))
    return tuple(found)


def _by_capacity(weights: list[float]) -> list[float]:
    total = sum(weights)
    if not 0 < total < math.inf:
        return [1 / len(weights)] * len(weights) if weights else []
    return [weight / total for weight in weights]


def gather(
    way: Way, own: NDArray[np.float64], shares: tuple[tuple[float, ...], ...]
) -> NDArray[np.float64]:
    """What gathers at the lower end of each reach from columns of its own; NaN below a loop."""
    total = np.full(own.shape, np.nan)
    order = list(way.falling_order)
    columns = [column.tolist() for column in own.T]
    for column in columns:
        for index in order:
            value = column[index]
            for other, share in zip(way.below[index], shares[index], strict=True):
                column[other] += share * value
    if columns:
        total[order] = np.array(columns).T[order]
    return total
