"""Reads of the course: the ground, the features as the map and the lists show them."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from django.db.models import BinaryField, ExpressionWrapper, F, Prefetch, QuerySet
from shapely.geometry.base import BaseGeometry

from worksprog.calc import grid
from worksprog.calc.ground import Ground, load_ground
from worksprog.clubs.models import Club
from worksprog.course.models import SHAPES, Feature, GroundModel, Hole, Kind, State

# Grounds first, then what lies on them, lines, and marks on top: the order the map draws in.
DRAW_ORDER = (
    *(Kind.BOUNDARY, Kind.WOOD, Kind.FAIRWAY, Kind.MOUND, Kind.POND, Kind.LATERALS, Kind.GREEN),
    *(Kind.TEE, Kind.BUNKER, Kind.TREE, Kind.HEDGE, Kind.FENCE, Kind.PATH, Kind.SERVICE),
    *(Kind.DITCH, Kind.PIPE, Kind.BRIDGE, Kind.HEADWALL, Kind.OUTFALL, Kind.CHAMBER),
)
# All shapes are then read in one call, which a field that reads its own cannot do.
_AS_STORED = ExpressionWrapper(F("geometry"), output_field=BinaryField())
_RANK: dict[str, int] = {kind: rank for rank, kind in enumerate(DRAW_ORDER)}


def live_ground_model(club: Club) -> GroundModel | None:
    """The newest ground model's row without its large parts. One query."""
    return GroundModel.objects.filter(club=club).defer("data", "contours", "shading").first()


def live_ground(club: Club) -> Ground | None:
    """The newest ground model, ready for levels and falls. One query."""
    row = GroundModel.objects.filter(club=club).only("data").first()
    return None if row is None else load_ground(bytes(row.data))


def holes_of_features(club: Club) -> dict[int, list[int]]:
    """Hole numbers by feature key. One query."""
    found: dict[int, list[int]] = defaultdict(list)
    pairs = Feature.holes.through.objects.filter(hole__club=club).order_by("hole__number")
    for feature_id, number in pairs.values_list("feature_id", "hole__number"):
        found[feature_id].append(number)
    return found


def map_data(club: Club) -> str:
    """All features as one GeoJSON text in longitude and latitude. Two queries, one conversion."""
    rows = list(
        Feature.objects.filter(club=club)
        .annotate(wkb=_AS_STORED)
        .order_by("id")
        .values_list("id", "uuid", "kind", "ref", "name", "state", "state_date", "width_m", "wkb")
    )
    rows.sort(key=lambda row: _RANK[row[2]])
    holes = holes_of_features(club)
    properties, ids = [], []
    for pk, uuid, kind, ref, name, state, state_date, width_m, _ in rows:
        told: dict[str, Any] = {"kind": kind, "state": state}
        if ref:
            told["ref"] = ref
        if name:
            told["name"] = name
        if state_date:
            told["since"] = state_date.isoformat()
        if width_m is not None:
            told["width"] = float(width_m)
        if pk in holes:
            told["holes"] = holes[pk]
        properties.append(told)
        ids.append(str(uuid))
    shapes = list(shapely.from_wkb([bytes(row[-1]) for row in rows]))
    return grid.feature_collection_text(shapes, properties, club.epsg, ids=ids)


def map_extent(club: Club) -> list[list[float]] | None:
    """South-west and north-east corners, latitude first, of what the map opens on."""
    shapes = Feature.objects.filter(club=club).exclude(state=State.REMOVED)
    drawn: list[Any] = list(shapes.values_list("geometry", flat=True))
    corners = shapely.total_bounds(drawn) if drawn else np.full(4, np.nan)
    if not np.isfinite(corners).all():
        model = live_ground_model(club)
        return model.shading_bounds or None if model else None
    lon, lat = grid.to_lonlat(club.epsg, corners[[0, 2, 0, 2]], corners[[1, 1, 3, 3]])
    return [[float(lat.min()), float(lon.min())], [float(lat.max()), float(lon.max())]]


def grid_extent_of(club: Club) -> list[list[float]]:
    """The area that the club's grid is meant for: where an empty map opens."""
    west, south, east, north = grid.describe_grid(club.epsg).bounds_lonlat or (-180, -60, 180, 70)
    return [[south, west], [north, east]]


def local_fit(club: Club, extent: list[list[float]] | None) -> dict[str, Any]:
    """Easting and northing near the course as polynomials of the second degree in degrees.

    With them the map's script tells a length while it is drawn, to a centimetre over a few
    kilometres; what is kept is converted and measured again here, by the full formulas.
    Rows of ``east`` and ``north`` go with 1, x, y, x², xy, y² for x, y degrees from ``at``.
    """
    (south, west), (north, east) = extent or grid_extent_of(club)
    lon, lat = (west + east) / 2, (south + north) / 2
    reach = 0.03  # degrees: about 3 km
    x, y = (side.ravel() for side in np.meshgrid(*[np.linspace(-reach, reach, 5)] * 2))
    terms = np.column_stack([np.ones_like(x), x, y, x * x, x * y, y * y])
    easting, northing = grid.from_lonlat(club.epsg, lon + x, lat + y)
    return {
        "at": [lon, lat],
        "east": np.linalg.lstsq(terms, easting, rcond=None)[0].tolist(),
        "north": np.linalg.lstsq(terms, northing, rcond=None)[0].tolist(),
    }


def listed_features(
    club: Club, *, kind: str = "", state: str = "", hole: int | None = None, words: str = ""
) -> QuerySet[Feature]:
    """Features for the list, their holes fetched with them."""
    rows = Feature.objects.filter(club=club).prefetch_related(
        Prefetch("holes", queryset=Hole.objects.order_by("number"))
    )
    if kind:
        rows = rows.filter(kind=kind)
    if state:
        rows = rows.filter(state=state)
    if hole is not None:
        rows = rows.filter(holes__number=hole)
    if words:
        rows = rows.filter(name__icontains=words) | rows.filter(ref__icontains=words)
    return rows.order_by("kind", "ref", "name", "id")


@dataclass(frozen=True)
class Measure:
    """One figure of a shape: what it is, its value and unit, and how it was found."""

    what: str
    value: float
    places: int
    unit: str
    how: str


def measures_of(kind: str, shape: BaseGeometry, ground: Ground | None) -> list[Measure]:
    """What a shape measures, and the ground's levels at it."""
    found: list[Measure] = []
    plan = "in plan, in the club's grid"
    match SHAPES[kind]:
        case "LineString":
            found.append(Measure("Length", grid.length_m(shape), 1, "m", plan))
        case "Polygon":
            found.append(Measure("Area", grid.area_m2(shape), 0, "m²", plan))
            found.append(Measure("Outline", grid.length_m(shape), 1, "m", plan))
    if ground is None:
        return found
    points = shapely.get_coordinates(shape)
    levels = ground.levels_at(points[:, 0], points[:, 1])
    how = "from the ground model"
    if SHAPES[kind] == "LineString":
        ends = (("Ground where it starts", levels[0]), ("Ground where it ends", levels[-1]))
        found += [Measure(what, float(z), 2, "m", how) for what, z in ends if np.isfinite(z)]
        if np.isfinite(levels[[0, -1]]).all():
            fall = float(levels[0] - levels[-1])
            found.append(Measure("Fall of the ground", fall, 2, "m", "from start to end"))
    elif SHAPES[kind] == "Point":
        if np.isfinite(levels[0]):
            found.append(Measure("Ground level", float(levels[0]), 2, "m", how))
    elif np.isfinite(levels).any():
        low, high = float(np.nanmin(levels)), float(np.nanmax(levels))
        found.append(Measure("Lowest edge", low, 2, "m", how))
        found.append(Measure("Highest edge", high, 2, "m", how))
    return found


def coordinates_text(shape: BaseGeometry) -> str:
    """Easting and northing, a point a line; an empty line before each inner ring."""
    if isinstance(shape, shapely.Polygon):
        rings = [list(ring.coords)[:-1] for ring in (shape.exterior, *shape.interiors)]
    else:
        rings = [list(shape.coords)]
    return "\n\n".join("\n".join(f"{x:.3f}, {y:.3f}" for x, y in ring) for ring in rings)
