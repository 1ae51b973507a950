"""Rows of what was built as the arithmetic wants them."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

import shapely

from worksprog.calc.as_built import BuiltLevel, DesignLine, invert_from_crown
from worksprog.calc.ditches import DitchSection
from worksprog.calc.network import Reach
from worksprog.calc.pipes import PipeSection
from worksprog.course.models import Feature, Kind
from worksprog.drainage.bridge import LevelsInGround, levels_of, section_of
from worksprog.drainage.models import AsBuiltFacts, AsBuiltLevel, DrainNode, DrainReach

MEETS_NODE_M = 0.5


def design_line(feature: Feature, row: DrainReach | None, nodes: Iterable[DrainNode]) -> DesignLine:
    """A drain as drawn, its ends at its own levels or else at those of a chamber there."""
    coordinates = shapely.get_coordinates(feature.geometry).tolist()
    levels = levels_of(feature, row) if row is not None else LevelsInGround(None, None)
    ends = []
    for own, (x, y) in (
        (levels.upstream_m, coordinates[0]),
        (levels.downstream_m, coordinates[-1]),
    ):
        near = (
            (math.hypot(node.feature.geometry.x - x, node.feature.geometry.y - y), node)
            for node in (nodes if own is None else ())
        )
        met = min(
            (one for one in near if one[0] <= MEETS_NODE_M), key=lambda one: one[0], default=None
        )
        ends.append(own if met is None else met[1].invert_level_m)
    return DesignLine(tuple(map(tuple, coordinates)), ends[0], ends[1])


def built_level(
    row: AsBuiltLevel, design: DesignLine, facts: AsBuiltFacts | None, reach: DrainReach | None
) -> tuple[BuiltLevel | None, str]:
    """The invert that a row gives on its line as drawn now, and a remark on how; None for a cover."""
    if row.of == AsBuiltLevel.Of.COVER:
        return None, ""
    at = design.locate(row.x_m, row.y_m)
    level, accuracy, remark = row.level_m, row.level_accuracy_m, ""
    if row.of == AsBuiltLevel.Of.CROWN:
        bore, wall = bore_and_wall(facts, reach)
        if bore is None:
            return None, "its invert cannot be told: no bore is entered"
        found = invert_from_crown(
            crown_m=level, accuracy_m=accuracy or 0.0, bore_m=bore, wall_m=wall
        )
        level, accuracy = found.level_m, found.accuracy_m
        remark = f"from the top, less a bore of {bore * 1000:.0f} mm and the wall"
        if not found.wall_known:
            remark += " (taken as 7 % ± 3 % of the bore)"
    return (
        BuiltLevel(str(row.uuid), at.chainage_m, level, accuracy, at.offset_m, row.plan_accuracy_m),
        remark,
    )


def bore_and_wall(
    facts: AsBuiltFacts | None, reach: DrainReach | None
) -> tuple[float | None, float | None]:
    """Metres, as laid where that was told, else as drawn; None for what is not known."""
    inside = facts.inside_diameter_mm if facts else None
    outside = facts.outside_diameter_mm if facts else None
    inside = inside or (reach.inside_diameter_mm if reach else None)
    if inside is None:
        return None, None
    wall = (outside - inside) / 2000 if outside is not None and outside > inside else None
    return inside / 1000, wall


def built_section(
    reach: DrainReach | None, facts: AsBuiltFacts | None, kind: str
) -> PipeSection | DitchSection | None:
    """The section as laid where its bore was told, else as drawn; None when neither can be."""
    if reach is None:
        return None
    try:
        if kind == Kind.PIPE and facts is not None and facts.inside_diameter_mm:
            return PipeSection(facts.inside_diameter_mm / 1000, reach.ks_mm / 1000)
        return section_of(reach, kind)
    except ValueError:
        return None


def with_built_levels(reach: Reach, ends_m: tuple[float, float]) -> Reach:
    """The reach with the inverts that were measured on it, for a check that says so."""
    return replace(
        reach,
        upstream_invert_m=ends_m[0],
        downstream_invert_m=ends_m[1],
        level_fault="",
        levels_from="as built",
    )
