"""Rows of the course and the drain network as the arithmetic wants them."""

from __future__ import annotations

from collections.abc import Iterable

import shapely

from worksprog.calc.ditches import DitchSection
from worksprog.calc.network import Node, Reach, Storm
from worksprog.calc.pipes import PipeSection
from worksprog.course.models import DRAIN_LINES, Feature, Kind, State
from worksprog.drainage.models import DesignStorm, DrainNode, DrainReach

STANDING = frozenset({State.EXISTING, State.AS_BUILT, State.GROWING_IN})


def short_name(feature: Feature) -> str:
    """What a person calls it in a sentence: its reference, else its name, else what it is."""
    if feature.ref or feature.name:
        return feature.ref or feature.name
    if feature.kind in DRAIN_LINES:
        return f"the {feature.kind} of {feature.length_m:.0f} m without a reference"
    return f"the {feature.kind} without a reference"


def section_of(row: DrainReach, kind: str) -> PipeSection | DitchSection | None:
    """The section of a row; None when it is not entered. ValueError in words when it cannot be."""
    if kind == Kind.PIPE:
        if row.inside_diameter_mm is None:
            return None
        return PipeSection(row.inside_diameter_mm / 1000, row.ks_mm / 1000)
    if row.bottom_width_m is None or row.side_slope is None or row.depth_m is None:
        return None
    return DitchSection(
        row.bottom_width_m, row.side_slope, row.depth_m, row.manning_n, row.freeboard_m
    )


def reach_of(feature: Feature, row: DrainReach | None, *, standing: bool) -> Reach:
    """A ditch or pipe as a reach; flow runs the way its line is drawn."""
    section, fault = None, ""
    if row is not None:
        try:
            section = section_of(row, feature.kind)
        except ValueError as error:
            fault = str(error)
    coordinates = shapely.get_coordinates(feature.geometry)
    return Reach(
        key=str(feature.uuid),
        name=short_name(feature),
        kind="pipe" if feature.kind == Kind.PIPE else "ditch",
        line=tuple(map(tuple, coordinates.tolist())),
        length_m=feature.length_m,
        upstream_invert_m=row.upstream_invert_m if row else None,
        downstream_invert_m=row.downstream_invert_m if row else None,
        section=section,
        section_fault=fault,
        catchment_ha=row.catchment_ha if row else 0.0,
        runoff_coefficient=row.runoff_coefficient if row else 0.0,
        standing=standing,
    )


def node_of(feature: Feature, row: DrainNode | None) -> Node:
    return Node(
        key=str(feature.uuid),
        name=short_name(feature),
        kind=feature.kind,  # type: ignore[arg-type]
        x_m=feature.geometry.x,
        y_m=feature.geometry.y,
        invert_m=row.invert_level_m if row else None,
        cover_m=row.cover_level_m if row else None,
    )


def ponds_as_nodes(
    reaches: Iterable[Reach], ponds: Iterable[Feature], *, tolerance_m: float
) -> list[Node]:
    """A pond takes the water of every reach that ends in it or at its edge."""
    waters = list(ponds)
    if not waters:
        return []
    ends = [reach.line[-1] for reach in reaches]
    tree = shapely.STRtree([pond.geometry for pond in waters])
    hits = tree.query(shapely.points(ends), predicate="dwithin", distance=tolerance_m).T.tolist()
    return [
        Node(
            key=f"{waters[pond].uuid}:{end}",
            name=short_name(waters[pond]),
            kind="pond",
            x_m=ends[end][0],
            y_m=ends[end][1],
        )
        for end, pond in dict(hits).items()
    ]


def storm_of(row: DesignStorm) -> Storm:
    return Storm(row.name, row.intensity_mm_h, row.source)
