"""Items and features as the spoil balance reads them: cuts, fills, places, and where wheels may go."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

import shapely
from shapely.geometry.base import BaseGeometry

from worksprog.calc.build_up import RECIPES, EarthRole
from worksprog.calc.earth_balance import Cut, Fill, Matter
from worksprog.calc.haul_way import HaulGrid, haul_grid
from worksprog.calc.ranges import ThreePoint
from worksprog.calc.soils import SOILS, Soil
from worksprog.course.models import Feature, Kind, State
from worksprog.works.models import Estimate

WINTER_FROM_MONTH = 7  # works of one winter begin after midsummer
STANDING = frozenset({State.EXISTING, State.ON_SITE, State.GROWING_IN, State.AS_BUILT})
CLOSED = (Kind.GREEN, Kind.TEE, Kind.BUNKER, Kind.POND, Kind.WOOD, Kind.TREE, Kind.DITCH)
CROSSINGS = (Kind.BRIDGE, Kind.PATH)
MATTER = {
    EarthRole.CUT: Matter.SUBSOIL,
    EarthRole.FILL: Matter.SUBSOIL,
    EarthRole.TOPSOIL_OFF: Matter.TOPSOIL,
    EarthRole.TOPSOIL_ON: Matter.TOPSOIL,
    EarthRole.UNSUITABLE: Matter.UNSUITABLE,
}
FILLS = frozenset({EarthRole.FILL, EarthRole.TOPSOIL_ON})


def winter_of(day: date) -> int:
    """The year in which the winter of that day begins."""
    return day.year if day.month >= WINTER_FROM_MONTH else day.year - 1


def winter_words(winter: int) -> str:
    return f"{winter}/{(winter + 1) % 100:02}"


def _soil_of(role: EarthRole, parameters: Mapping[str, Any], ground: Soil) -> Soil:
    """The kind of ground, with what a person entered on the item instead of the table's figure."""
    if role is EarthRole.UNSUITABLE:
        return SOILS["silt"]
    if role is EarthRole.TOPSOIL_OFF:
        return SOILS["topsoil"]
    changed: dict[str, Any] = {}
    if "bulking" in parameters:
        changed["loose_per_bank"] = ThreePoint.exactly(float(parameters["bulking"]))
    if "compacted" in parameters:
        changed["compacted_per_bank"] = float(parameters["compacted"])
    if not changed:
        return ground
    return replace(ground, **changed, source=f"entered on the item; else {ground.source}")


def cuts_and_fills(
    estimate: Estimate,
    *,
    starts: date | None,
    ends: date | None,
    ground: Soil,
    spread_share: float | None = None,
) -> tuple[list[Cut], list[Fill]]:
    """What an estimate's item digs out and what it fills.

    ``spread_share``: of what no fill takes; left out, what the estimate says by its share carted.
    """
    share = spread_share
    if share is None:
        share = 1 - float(estimate.parameters.get("carted_share", 0.0))
    cuts, fills = [], []
    for one in estimate.earth:
        role = EarthRole(one["role"])
        key = f"{estimate.item_id}:{one['name']}"
        name, volume = estimate.item.name, float(one["volume_m3"])
        if role in FILLS:
            fills.append(Fill(key, name, MATTER[role], volume, starts, ends))
        else:
            soil = _soil_of(role, estimate.parameters, ground)
            cuts.append(Cut(key, name, MATTER[role], soil, volume, starts, ends, share))
    return cuts, fills


def place_of(kind: str, features: Iterable[Feature]) -> tuple[float, float] | None:
    """Where the earth of an item lies: the point of its shapes nearest to their middle."""
    listed = list(features)
    on = RECIPES[kind].on if kind in RECIPES else ()
    counted = [one for one in listed if one.kind in on] or listed
    shapes = [one.geometry for one in counted if one.geometry is not None]
    if not shapes:
        return None
    joined = shapely.union_all(shapes)
    point = shapely.shortest_line(joined, joined.centroid)
    x, y = shapely.get_coordinates(point)[0]
    return float(x), float(y)


def where_wheels_go(features: Sequence[Feature], *, cell_m: float = 8.0) -> HaulGrid:
    """The course as a trailer finds it: what stands is kept off, ditches crossed at bridges."""
    by_kind: dict[str, list[BaseGeometry]] = {}
    for feature in features:
        if feature.state in STANDING and feature.geometry is not None:
            by_kind.setdefault(feature.kind, []).append(feature.geometry)
    everything = [shape for shapes in by_kind.values() for shape in shapes]
    if not everything:
        raise ValueError("The course has no features yet: bring in a survey or draw them first.")
    bounds = tuple(shapely.total_bounds(everything))
    closed = [shape for kind in CLOSED for shape in by_kind.get(kind, [])]
    outlines = by_kind.get(Kind.BOUNDARY, [])
    if outlines:
        closed.append(shapely.box(*bounds).difference(shapely.union_all(outlines)))
    return haul_grid(
        bounds,
        closed=closed,
        dear=by_kind.get(Kind.FAIRWAY, []),
        crossings=[shape for kind in CROSSINGS for shape in by_kind.get(kind, [])],
        cell_m=cell_m,
    )
