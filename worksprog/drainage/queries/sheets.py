"""What the sheets of a drain show beyond its check: its way, what crosses it, what was built."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any
from uuid import UUID

import numpy as np
import shapely
from numpy.typing import NDArray

from worksprog.calc.ground import Ground
from worksprog.calc.long_section import GROUND_STEP_M, LongSection, lay_out_long_section
from worksprog.calc.network import NetworkCheck
from worksprog.calc.way import Crossing, Way, crossing_lines, joining_drains, way_of
from worksprog.clubs.models import Club
from worksprog.course.models import DRAIN_LINES, Feature, Kind, State, Survey
from worksprog.course.queries import live_ground
from worksprog.drainage.bridge import short_name
from worksprog.drainage.queries.as_built import built_levels_of
from worksprog.drainage.queries.network import check_holding


@dataclass(frozen=True)
class BuiltMark:
    """A level taken on the finished drain, by the chainage of the sheet."""

    chainage_m: float
    level_m: float


@dataclass(frozen=True)
class DrainOnPaper:
    """One drain from a reach to its outfall, with all that its sheets need."""

    check: NetworkCheck
    section: LongSection
    way: Way
    crossings: tuple[Crossing, ...]
    materials: dict[str, str]  # by the reach's key
    built: tuple[BuiltMark, ...]
    levels_from: str
    ground: Ground | None

    def ground_at(self, x_m: float, y_m: float) -> float | None:
        """Level of the ground at a place, None where it is not known.

        A cover level stands before it, as on the long section.
        """
        covers = [
            node.cover_m
            for node in self.check.nodes.values()
            if node.cover_m is not None
            and math.dist((x_m, y_m), (node.x_m, node.y_m)) <= self.check.limits.tolerance_m
        ]
        if covers:
            return covers[0]
        if self.ground is None:
            return None
        level = float(self.ground.levels_at([x_m], [y_m])[0])
        return None if np.isnan(level) else level

    @property
    def names(self) -> list[tuple[float, str]]:
        """Chambers, headwalls, outfalls and ponds on the way, with their chainages."""
        nodes = list(self.check.nodes.values())
        tolerance = self.check.limits.tolerance_m
        places = np.array([(node.x_m, node.y_m) for node in nodes], float).reshape(-1, 2)
        near = np.atleast_1d(
            shapely.dwithin(shapely.points(places), _shape_of(self.way), tolerance)
        )
        joints = [self.way.length_m, *(piece.lower_chainage_m for piece in self.way.pieces)]
        found = {}
        for node in (node for node, is_near in zip(nodes, near, strict=True) if is_near):
            chainage, _ = self.way.chainage_of((node.x_m, node.y_m))
            joint = min(joints, key=lambda one: abs(one - chainage))
            at = joint if abs(joint - chainage) <= tolerance else chainage
            found[f"{node.kind} {node.name}"] = at
        return [(chainage, words) for words, chainage in found.items()]

    def facts(self) -> dict[str, Any]:
        """The section as the page's script reads it, chainages from the top down."""
        return {
            "length": self.section.length_m,
            "widest": 2 * GROUND_STEP_M,
            "ground": [[point.chainage_m, point.level_m] for point in self.section.ground],
            "pieces": [
                {
                    "words": f"{piece.name}, {piece.size}" if piece.size else piece.name,
                    "upper": piece.upper_chainage_m,
                    "lower": piece.lower_chainage_m,
                    "upperInvert": piece.upper_invert_m,
                    "lowerInvert": piece.lower_invert_m,
                    "bore": piece.bore_m,
                    "upperWater": piece.upper_water_m,
                    "lowerWater": piece.lower_water_m,
                }
                for piece in self.section.pieces
            ],
        }

    @property
    def chambers(self) -> list[float]:
        return [chainage for chainage, words in self.names if words.startswith("chamber ")]

    @property
    def built_levels(self) -> list[tuple[float, float]]:
        return [(mark.chainage_m, mark.level_m) for mark in self.built]

    @property
    def status(self) -> str:
        """'design', 'as it stands', or how much of it stands."""
        length, standing = self.section.length_m, self.section.standing_m
        if standing < 0.01:
            return "design"
        if standing > length - 0.01:
            return "as it stands"
        return f"design, {standing:.0f} of {length:.0f} m stand"


def drain_on_paper(club: Club, reach_uuid: UUID) -> DrainOnPaper:
    """The drain by its design, what was built beside it. KeyError when there is no such reach.

    A drain that was levelled is checked by those levels elsewhere; one is set out, and a backfall
    seen, only against what was designed.
    """
    check = check_holding(club, reach_uuid, as_built=False, over_ground=False)
    ground = live_ground(club)

    def levels_at(points: NDArray[np.float64]) -> NDArray[np.float64]:
        assert ground is not None
        return ground.levels_at(points[:, 0], points[:, 1])

    section = lay_out_long_section(
        check, str(reach_uuid), levels_at=None if ground is None else levels_at
    )
    way = way_of(check, str(reach_uuid))
    keys = {piece.key for piece in way.pieces}
    rows = (
        Feature.objects.filter(club=club, kind__in=[*DRAIN_LINES, Kind.SERVICE])
        .exclude(state=State.REMOVED)
        .select_related("reach")
        .defer("notes")
    )
    near = _shape_of(way)
    lines, materials, features = [], {}, {}
    for row in rows:
        key = str(row.uuid)
        if key in keys:
            features[key] = row
            reach = getattr(row, "reach", None)
            materials[key] = reach.material if reach is not None else ""
        elif row.geometry.intersects(near):
            what = "buried service" if row.kind == Kind.SERVICE else row.kind
            points = shapely.get_coordinates(row.geometry).tolist()
            lines.append((short_name(row), what, tuple(map(tuple, points))))
    joins = joining_drains(check, way)
    crossings = joins + [
        one
        for one in crossing_lines(way, lines)
        if not any(
            join.name == one.name and abs(join.chainage_m - one.chainage_m) < 1.0 for join in joins
        )
    ]
    return DrainOnPaper(
        check=check,
        section=section,
        way=way,
        crossings=tuple(sorted(crossings, key=lambda one: -one.chainage_m)),
        materials=materials,
        built=_built(club, way, check, features),
        levels_from=_levels_from(club),
        ground=ground,
    )


def _shape_of(way: Way) -> shapely.Geometry:
    return shapely.MultiLineString([piece.line for piece in way.pieces])


def _built(
    club: Club, way: Way, check: NetworkCheck, features: dict[str, Feature]
) -> tuple[BuiltMark, ...]:
    taken = built_levels_of(club, [row.pk for row in features.values()])
    marks = []
    for piece in way.pieces:
        row = features.get(piece.key)
        if row is None:
            continue
        began_m = check.reach(piece.key).length_m - piece.length_m
        for level in taken.get(row.pk, ()):
            along = level.chainage_m - began_m
            if -0.5 <= along <= piece.length_m + 0.5:
                chainage = piece.upper_chainage_m - min(max(along, 0.0), piece.length_m)
                marks.append(BuiltMark(chainage, level.level_m))
    return tuple(marks)


def _levels_from(club: Club) -> str:
    """Which survey the ground's levels come from, and how good they are."""
    used = (
        Survey.objects.filter(club=club, ground_models__isnull=False)
        .order_by("-ground_models__made_at", "-surveyed_on")
        .only("name", "surveyed_on", "level_accuracy_m")
        .first()
    )
    if used is None:
        return "no ground model"
    good = "" if used.level_accuracy_m is None else f", ± {float(used.level_accuracy_m):g} m"
    when = "" if str(used.surveyed_on.year) in used.name else f", {used.surveyed_on:%b %Y}"
    return f"survey “{used.name}”{when}{good}"
