"""Rows of the course and the drain network as the arithmetic wants them."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import shapely

from worksprog.calc.ditches import LININGS, DitchSection
from worksprog.calc.network import Node, Reach, Storm
from worksprog.calc.pipes import PipeSection
from worksprog.calc.rainfall import DesignRain
from worksprog.course.models import DRAIN_LINES, Feature, Kind, State
from worksprog.drainage.models import DesignStorm, DrainNode, DrainReach

MOVED_M = 2.0  # an end moved further than this has left its level behind
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


@dataclass(frozen=True)
class LevelsInGround:
    """A reach's levels by the way its line runs now; ``fault`` says which were left behind."""

    upstream_m: float | None
    downstream_m: float | None
    fault: str = ""


def levels_of(feature: Feature, row: DrainReach) -> LevelsInGround:
    """The row's levels, at the places where they were entered.

    A line turned round since then has its levels the other way about; an end that has moved away
    (the line was split, joined or redrawn) has lost its level.
    """
    entered = [
        (row.began_x_m, row.began_y_m, row.upstream_invert_m),
        (row.ended_x_m, row.ended_y_m, row.downstream_invert_m),
    ]
    places = [(x, y, level) for x, y, level in entered if x is not None and y is not None]
    if len(places) < 2:
        return LevelsInGround(row.upstream_invert_m, row.downstream_invert_m)
    ends = shapely.get_coordinates(feature.geometry)[[0, -1]].tolist()
    found: list[float | None] = []
    lost = []
    for end, (x, y) in zip(("upstream", "downstream"), ends, strict=True):
        away_m, level = min(
            ((math.hypot(x - was_x, y - was_y), level) for was_x, was_y, level in places),
            key=lambda one: one[0],
        )
        found.append(level if away_m <= MOVED_M else None)
        if away_m > MOVED_M and any(level is not None for _, _, level in places):
            lost.append(f"its {end} end as drawn now lies {away_m:.1f} m from any level entered")
    fault = f"{short_name(feature)}: {' and '.join(lost)}. Enter it anew." if lost else ""
    return LevelsInGround(found[0], found[1], fault)


def reach_of(feature: Feature, row: DrainReach | None, *, standing: bool) -> Reach:
    """A ditch or pipe as a reach; flow runs the way its line is drawn."""
    section, fault = None, ""
    levels = LevelsInGround(None, None)
    if row is not None:
        levels = levels_of(feature, row)
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
        upstream_invert_m=levels.upstream_m,
        downstream_invert_m=levels.downstream_m,
        level_fault=levels.fault,
        section=section,
        section_fault=fault,
        catchment_ha=row.catchment_ha if row else 0.0,
        runoff_coefficient=row.runoff_coefficient if row else 0.0,
        standing=standing,
        flow_path_m=row.flow_path_m if row else None,
        flow_path_fall_m=row.flow_path_fall_m if row else None,
        lining=row.lining if row and row.lining in LININGS else "",
        inlet=row.culvert_inlet or None if row else None,  # type: ignore[arg-type]
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
        water_m=row.water_level_m if row else None,
        loss_k=row.head_loss_k if row else None,
    )


def ponds_as_nodes(
    reaches: Iterable[Reach], ponds: Iterable[Feature], *, tolerance_m: float
) -> list[Node]:
    """A node wherever a reach ends or starts in a pond or at its edge, at its usual level."""
    waters = list(ponds)
    if not waters:
        return []
    ends = [end for reach in reaches for end in (reach.line[0], reach.line[-1])]
    tree = shapely.STRtree([pond.geometry for pond in waters])
    hits = tree.query(shapely.points(ends), predicate="dwithin", distance=tolerance_m).T.tolist()
    return [
        Node(
            key=f"{waters[pond].uuid}:{end}",
            name=short_name(waters[pond]),
            kind="pond",
            x_m=ends[end][0],
            y_m=ends[end][1],
            water_m=_resting_level(waters[pond]),
            pond=str(waters[pond].uuid),
        )
        for end, pond in dict(hits).items()
    ]


def _resting_level(feature: Feature) -> float | None:
    row = getattr(feature, "pond", None)
    return None if row is None else row.resting_level_m


def storm_of(row: DesignStorm, rain: DesignRain | None = None) -> Storm:
    return Storm(
        row.name,
        row.intensity_mm_h,
        row.source,
        rain=rain,
        formula=row.time_formula,  # type: ignore[arg-type]
    )
