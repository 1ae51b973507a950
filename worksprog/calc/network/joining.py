"""Which ends meet: points within a tolerance are one junction, and what moved is told."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from worksprog.calc.network.given import Node, Point, Reach

TOLD_FROM_M = 0.005  # nearer than survey accuracy is not worth telling


@dataclass(frozen=True, slots=True)
class Junction:
    """One meeting point. ``into`` and ``out_of`` are indices of reaches that end and start here."""

    name: str
    place: Point
    into: tuple[int, ...]
    out_of: tuple[int, ...]
    nodes: tuple[Node, ...]

    @property
    def takes_water_away(self) -> bool:
        return any(node.kind in ("outfall", "pond") for node in self.nodes)

    @property
    def invert(self) -> tuple[float, str] | None:
        """A level known at this junction, and from which node."""
        for node in self.nodes:
            if node.invert_m is not None:
                return node.invert_m, f"{node.kind} {node.name}"
        return None


@dataclass(frozen=True, slots=True)
class Moved:
    """An end that was taken as joined although it does not lie exactly on what it joins."""

    reach_key: str
    end: Literal["upstream", "downstream"]
    to: str
    gap_m: float

    def words(self, reach_name: str) -> str:
        return f"{reach_name}: its {self.end} end was joined to {self.to}, {self.gap_m:.2f} m away."


@dataclass(frozen=True, slots=True)
class Along:
    """An end that meets another reach part way along it."""

    reach: int
    other: int
    chainage_m: float
    gap_m: float


@dataclass(frozen=True)
class Joined:
    junctions: tuple[Junction, ...]
    upstream: NDArray[np.int64]  # junction of each reach's upstream end
    downstream: NDArray[np.int64]
    enters: tuple[Along, ...]  # downstream ends that enter another reach part way along
    leaves: tuple[Along, ...]  # upstream ends that start part way along another reach
    moved: tuple[Moved, ...]
    strung_out: tuple[int, ...]  # junctions whose points lie further apart than the tolerance


def _labels(points: NDArray[np.float64], tolerance_m: float) -> NDArray[np.int64]:
    pairs = cKDTree(points).query_pairs(tolerance_m, output_type="ndarray")
    count = len(points)
    links = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    labels: NDArray[np.int64] = connected_components(links, directed=False)[1].astype(np.int64)
    return labels


def join_ends(reaches: Sequence[Reach], nodes: Sequence[Node], *, tolerance_m: float) -> Joined:
    """Join the ends of reaches and the nodes that lie within ``tolerance_m`` of each other.

    An end that meets nothing but lies within the tolerance of another reach's line joins that
    reach part way along, as a pipe enters a ditch.
    """
    count = len(reaches)
    points = np.array(
        [reach.line[0] for reach in reaches]
        + [reach.line[-1] for reach in reaches]
        + [(node.x_m, node.y_m) for node in nodes],
        dtype=np.float64,
    ).reshape(-1, 2)
    if not np.isfinite(points).all():
        raise ValueError("A drain or node has a coordinate that is not a number.")
    labels = _labels(points, tolerance_m) if len(points) else np.zeros(0, dtype=np.int64)
    members: dict[int, list[int]] = defaultdict(list)
    for index, label in enumerate(labels.tolist()):
        members[label].append(index)

    where: list[Point] = [(x, y) for x, y in points.tolist()]
    junctions: list[Junction] = []
    moved: list[Moved] = []
    strung_out: list[int] = []
    for label in range(len(members)):
        here = members[label]
        at_nodes = [nodes[index - 2 * count] for index in here if index >= 2 * count]
        into = tuple(index - count for index in here if count <= index < 2 * count)
        out_of = tuple(index for index in here if index < count)
        anchor = next((index for index in here if index >= 2 * count), here[0])
        place = where[anchor]
        if at_nodes:
            # A pond is a node at every drain that meets it: named once.
            name = " / ".join(dict.fromkeys(node.name for node in at_nodes))
        else:
            name = _plain_name(reaches, into, out_of)
        junctions.append(Junction(name, place, into, out_of, tuple(at_nodes)))
        if len(here) == 1:
            continue
        gaps = [math.dist(where[index], place) for index in here]
        if max(gaps) > tolerance_m:
            strung_out.append(label)
        for index, gap in zip(here, gaps, strict=True):
            if index < 2 * count and gap > TOLD_FROM_M:
                end: Literal["upstream", "downstream"] = (
                    "upstream" if index < count else "downstream"
                )
                moved.append(Moved(reaches[index % count].key, end, name, gap))
    enters, leaves = _along(reaches, junctions, tolerance_m)
    for end_name, meetings in (("downstream", enters), ("upstream", leaves)):
        for meeting in meetings:
            if meeting.gap_m > TOLD_FROM_M:
                moved.append(
                    Moved(
                        reaches[meeting.reach].key,
                        end_name,  # type: ignore[arg-type]
                        f"{reaches[meeting.other].name} at {meeting.chainage_m:.0f} m along",
                        meeting.gap_m,
                    )
                )
    return Joined(
        junctions=tuple(junctions),
        upstream=labels[:count],
        downstream=labels[count : 2 * count],
        enters=tuple(enters),
        leaves=tuple(leaves),
        moved=tuple(moved),
        strung_out=tuple(strung_out),
    )


def _plain_name(reaches: Sequence[Reach], into: tuple[int, ...], out_of: tuple[int, ...]) -> str:
    def first(indices: tuple[int, ...]) -> str:
        return min(reaches[index].name for index in indices)

    if into and out_of:
        return f"{first(into)} to {first(out_of)}"
    return f"end of {first(into)}" if into else f"head of {first(out_of)}"


def _along(
    reaches: Sequence[Reach], junctions: Sequence[Junction], tolerance_m: float
) -> tuple[list[Along], list[Along]]:
    """Ends with nothing beyond them that lie on another reach's line."""
    loose = [
        junction
        for junction in junctions
        if bool(junction.into) != bool(junction.out_of)
        and not any(node.kind == "pond" for node in junction.nodes)
    ]
    if not loose or len(reaches) < 2:
        return [], []
    lines: NDArray[np.object_] = np.asarray(
        shapely.linestrings(
            np.array([point for reach in reaches for point in reach.line]),
            indices=np.repeat(np.arange(len(reaches)), [len(reach.line) for reach in reaches]),
        )
    )
    places: NDArray[np.object_] = np.asarray(shapely.points([junction.place for junction in loose]))
    near = shapely.STRtree(lines).query(places, predicate="dwithin", distance=tolerance_m)
    gaps = shapely.distance(places[near[0]], lines[near[1]])
    best: dict[int, tuple[float, int]] = {}
    for which, other, gap in zip(*near.tolist(), gaps.tolist(), strict=True):
        if other in loose[which].into or other in loose[which].out_of:
            continue
        best[which] = min(best.get(which, (gap, other)), (gap, other))
    enters: list[Along] = []
    leaves: list[Along] = []
    for which, (gap, other) in sorted(best.items()):
        drawn = float(shapely.line_locate_point(lines[other], places[which]))
        chainage = drawn * reaches[other].length_m / lines[other].length
        for index in loose[which].into:
            enters.append(Along(index, other, chainage, gap))
        for index in loose[which].out_of:
            leaves.append(Along(index, other, chainage, gap))
    return enters, leaves
