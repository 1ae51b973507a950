"""Reads of the water on the ground: its layers, its hollows and where they lie, a place's catchment."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from django.db.models import QuerySet

from worksprog.calc import grid
from worksprog.calc import ground as calc_ground
from worksprog.clubs.models import Club
from worksprog.course.models import Feature, GroundModel, GroundWater, Kind, State
from worksprog.course.queries import holes_of_features, live_ground

NEAR_HOLE_M = 25.0
FINGER_M = 6.0
_PLAYED = frozenset({Kind.GREEN, Kind.TEE, Kind.FAIRWAY, Kind.BUNKER})
_LARGE = ("levels", "hollows", "lines", "wetness", "distance")


def live_water(club: Club, *parts: str) -> GroundWater | None:
    """The layers of the live ground, without the large parts but those named; None before they
    are made. One query."""
    newest = GroundModel.objects.filter(club=club).values("pk")[:1]
    rows: QuerySet[GroundWater] = GroundWater.objects.filter(club=club, ground__in=newest)
    return rows.defer(*(set(_LARGE) - set(parts))).first()


def water_raster(club: Club) -> calc_ground.GriddedGround | None:
    """The raster on which water is followed: the kept one, or made of the live ground."""
    kept = live_water(club, "levels")
    if kept is not None:
        raster = calc_ground.load_ground(bytes(kept.levels))
        assert isinstance(raster, calc_ground.GriddedGround)
        return raster
    ground = live_ground(club)
    return None if ground is None else calc_ground.as_water_grid(ground)


@dataclass(frozen=True)
class HollowLies:
    """A kept hollow with what lies there."""

    facts: dict[str, Any]
    where: str
    in_water: bool


def hollows_where(club: Club, kept: GroundWater) -> list[HollowLies]:
    """Each hollow with the holes it lies on or near, and the ditch or pond that it is part of."""
    rows = list(
        Feature.objects.filter(club=club)
        .exclude(state=State.REMOVED)
        .exclude(kind__in=[Kind.BOUNDARY, Kind.SERVICE, Kind.TREE, Kind.HEDGE, Kind.FENCE])
        .defer("notes")
    )
    if not rows or not kept.hollows:
        return [HollowLies(facts, "", False) for facts in kept.hollows]
    holes = holes_of_features(club)
    tree = shapely.STRtree([row.geometry for row in rows])
    outlines = [shapely.geometry.shape(facts["outline"]) for facts in kept.hollows]
    hits = tree.query(np.array(outlines, dtype=object), predicate="dwithin", distance=NEAR_HOLE_M)
    near: dict[int, list[Feature]] = {}
    for hollow, row in hits.T.tolist():
        near.setdefault(hollow, []).append(rows[row])
    return [
        _lies(facts, outline, near.get(number, []), holes)
        for number, (facts, outline) in enumerate(zip(kept.hollows, outlines, strict=True))
    ]


def _lies(
    facts: dict[str, Any], outline: Any, near: list[Feature], holes: dict[int, list[int]]
) -> HollowLies:
    on = [row for row in near if row.geometry.intersects(outline)]
    played = [row for row in on if row.kind in _PLAYED]
    water = [row for row in on if row.kind in (Kind.DITCH, Kind.POND)]
    if water:
        return HollowLies(facts, f"in {water[0]}", True)
    for rows, word in ((played or on, "on"), (near, "near")):
        numbers = sorted({number for row in rows for number in holes.get(row.pk, [])})
        if numbers:
            kinds = sorted({row.get_kind_display() for row in rows if holes.get(row.pk)})
            ground = f", {' and '.join(kinds[:2])}" if word == "on" else ""
            plural = "s" if len(numbers) > 1 else ""
            return HollowLies(
                facts, f"{word} hole{plural} {', '.join(map(str, numbers[:4]))}{ground}", False
            )
    return HollowLies(facts, f"on {(played or on)[0]}" if on else "", False)


@dataclass(frozen=True)
class PlaceTold:
    """What the ground says of one place: its catchment, and where its own water goes."""

    catchment: calc_ground.Catchment
    way: calc_ground.Way
    level_m: float | None
    survey_m: float | None
    cell_m: float


def place_told(club: Club, x: float, y: float) -> PlaceTold:
    """ValueError when there is no ground or the place lies outside it."""
    raster, ground = water_raster(club), live_ground(club)
    if raster is None or ground is None:
        raise ValueError("There is no ground yet: make it of a survey first.")
    water = calc_ground.run_water(raster)
    catchment = calc_ground.catchment_of(water, x, y, within_m=FINGER_M)
    at = calc_ground.GriddedGround(x, y, 1.0, np.zeros((1, 1)))
    return PlaceTold(
        catchment,
        calc_ground.way_from(water, x, y),
        calc_ground.level_at(ground, x, y),
        float(calc_ground.distance_to_survey(ground, at)[0, 0]),
        raster.cell_m,
    )


def place_geojson(club: Club, told: PlaceTold, x: float, y: float) -> dict[str, Any]:
    """The catchment, its longest way, the drop's way and the place itself, for a map."""
    shapes = [
        told.catchment.outline,
        told.catchment.longest.line,
        told.way.line,
        shapely.Point(x, y),
    ]
    names = ["catchment", "longest", "way", "place"]
    drawn = [(name, shape) for name, shape in zip(names, shapes, strict=True) if shape is not None]
    return {
        "type": "FeatureCollection",
        "features": [
            {"type": "Feature", "geometry": geometry, "properties": {"is": name}}
            for (name, _), geometry in zip(
                drawn, grid.geojson_of([shape for _, shape in drawn], club.epsg), strict=True
            )
        ],
    }
