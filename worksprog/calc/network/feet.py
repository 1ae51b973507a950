"""Levels that were entered in feet: outliers that fit once they are divided by 3.28."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from worksprog.calc.network.given import Node, Reach
from worksprog.calc.network.result import Finding
from worksprog.calc.roots import Floats

FOOT_M = 0.3048
# Our own measure: deeper or higher than any drain of a course lies, and still near in feet.
FAR_M, NEAR_M = 20.0, 12.0
ENOUGH_LEVELS = 6


OF_REACH = ("upstream invert", "downstream invert")
OF_NODE = ("invert", "cover", "water level")


def set_aside_feet(
    reaches: Sequence[Reach],
    nodes: Sequence[Node],
    ground_at: Callable[[Floats, Floats], Floats] | None,
) -> tuple[Sequence[Reach], Sequence[Node], list[Finding]]:
    """The same reaches and nodes without the levels that look like feet, and what was set aside.

    A level is held against the ground at its place, or else against the middle of all levels entered;
    it looks like feet when it lies more than 20 m away and its 0.3048-fold within 12 m.
    """
    # Plain columns: ten thousand small objects would only keep the collector busy.
    owners: list[int] = []
    words: list[str] = []
    found: list[float] = []
    x: list[float] = []
    y: list[float] = []
    for number, reach in enumerate(reaches):
        for what, level, place in (
            (OF_REACH[0], reach.upstream_invert_m, reach.line[0]),
            (OF_REACH[1], reach.downstream_invert_m, reach.line[-1]),
        ):
            if level is not None:
                owners.append(number)
                words.append(what)
                found.append(level)
                x.append(place[0])
                y.append(place[1])
    from_reaches = len(found)
    for number, node in enumerate(nodes):
        for what, level in zip(OF_NODE, (node.invert_m, node.cover_m, node.water_m), strict=True):
            if level is not None:
                owners.append(number)
                words.append(what)
                found.append(level)
                x.append(node.x_m)
                y.append(node.y_m)
    if not found:
        return reaches, nodes, []
    levels = np.array(found)
    against = np.full(len(levels), np.nan)
    if ground_at is not None:
        against = np.array(ground_at(np.array(x), np.array(y)), dtype=np.float64)
    on_ground = np.isfinite(against)
    if len(levels) >= ENOUGH_LEVELS:
        against = np.where(on_ground, against, np.median(levels))
    odd = (np.abs(levels - against) > FAR_M) & (np.abs(levels * FOOT_M - against) < NEAR_M)
    if not odd.any():
        return reaches, nodes, []
    kept_reaches, kept_nodes = list(reaches), list(nodes)
    findings = []
    by_owner: dict[tuple[bool, int], list[int]] = {}
    for number in np.flatnonzero(odd).tolist():
        by_owner.setdefault((number >= from_reaches, owners[number]), []).append(number)
    for (is_node, owner), numbers in by_owner.items():
        told = " and ".join(f"{words[number]} {levels[number]:.2f}" for number in numbers)
        first = numbers[0]
        beside = "the ground there" if on_ground[first] else "the middle of all levels entered"
        name = nodes[owner].name if is_node else reaches[owner].name
        findings.append(
            Finding(
                "feet",
                f"{name}: {told} m, against {against[first]:.2f} m of {beside}. "
                f"In feet it would be {levels[first] * FOOT_M:.2f} m. Levels are in metres above "
                "datum: what looks like feet is not used.",
                () if is_node else (reaches[owner].key,),
                (x[first], y[first]),
            )
        )
        gone = {words[number] for number in numbers}
        if is_node:
            node = nodes[owner]
            kept_nodes[owner] = replace(
                node,
                invert_m=None if "invert" in gone else node.invert_m,
                cover_m=None if "cover" in gone else node.cover_m,
                water_m=None if "water level" in gone else node.water_m,
            )
        else:
            kept_reaches[owner] = replace(
                reaches[owner],
                upstream_invert_m=None
                if "upstream invert" in gone
                else reaches[owner].upstream_invert_m,
                downstream_invert_m=None
                if "downstream invert" in gone
                else reaches[owner].downstream_invert_m,
            )
    return kept_reaches, kept_nodes, findings
