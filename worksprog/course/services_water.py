"""Where water runs and stands on the live ground, worked out once and kept for the map."""

from __future__ import annotations

import io
import math
from collections.abc import Callable
from typing import Any

import numpy as np
import shapely
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from PIL import Image

from worksprog.calc import grid
from worksprog.calc import ground as calc_ground
from worksprog.clubs.models import Club, User
from worksprog.clubs.records import save_record
from worksprog.course.models import GroundModel, GroundWater
from worksprog.runs.models import Run
from worksprog.runs.services import request_run

Told = Callable[[float, str], None]
LEAST_DEPTH_M = 0.05
LEAST_AREA_M2 = 15.0
PATH_FROM_M2 = 2500.0
MOST_HOLLOWS = 400
MOST_PATHS = 4000
MOST_PIXELS = 500_000
WET = (38, 112, 158)
GUESS = (168, 84, 40)
HATCH_PIXELS = 9


def least_depth_of(model: GroundModel) -> float:
    """Hollows shallower than twice the accuracy of the levels cannot be told from errors."""
    known = [one.level_accuracy_m for one in model.surveys.only("level_accuracy_m")]
    return max([LEAST_DEPTH_M, *(2 * float(accuracy) for accuracy in known if accuracy)])


def _png(colour: tuple[int, int, int], opacity: Any) -> bytes:
    alpha = (np.nan_to_num(opacity) * 255).astype(np.uint8)
    flat = np.broadcast_to(np.array(colour, dtype=np.uint8), (*alpha.shape, 3))
    buffer = io.BytesIO()
    Image.fromarray(np.dstack([flat, alpha])).save(buffer, "PNG", optimize=True)
    return buffer.getvalue()


def _layer(raster: calc_ground.GriddedGround, values: Any, epsg: int) -> tuple[Any, Any]:
    laid = calc_ground.GriddedGround(raster.west, raster.south, raster.cell_m, values)
    return calc_ground.laid_out_for_map(laid, epsg, most_pixels=MOST_PIXELS)


def wetness_png(raster: calc_ground.GriddedGround, wet: Any, epsg: int) -> tuple[bytes, Any]:
    """Stronger where wetter, in six steps, from the ground's own median to its wettest fiftieth."""
    picture, bounds = _layer(raster, np.asarray(wet, dtype=float), epsg)
    low, high = np.nanquantile(wet, [0.5, 0.98])
    strength = np.clip((picture - low) / max(high - low, 1e-9), 0, 1)
    return _png(WET, np.round(strength * 6) / 6 * 0.7), [list(corner) for corner in bounds]


def distance_png(
    raster: calc_ground.GriddedGround, away: Any, *, guess_from_m: float, epsg: int
) -> bytes:
    """Hatched where levels are a guess, crossed where they are twice as far from any level."""
    picture, _ = _layer(raster, away, epsg)
    row, column = np.indices(picture.shape)
    one_way = (row + column) % HATCH_PIXELS < 2
    other_way = (row - column) % HATCH_PIXELS < 2
    guess = picture > guess_from_m
    hatched = guess & (one_way | (other_way & (picture > 2 * guess_from_m)))
    return _png(GUESS, np.where(hatched, 0.9, np.where(guess, 0.12, 0.0)))


def _hollow_facts(number: int, hollow: calc_ground.Hollow) -> dict[str, Any]:
    return {
        "number": number,
        "depth_m": round(hollow.depth_m, 3),
        "area_m2": round(hollow.area_m2, 1),
        "volume_m3": round(hollow.volume_m3, 2),
        "spill_m": round(hollow.spill_m, 3),
        "lowest": [round(part, 2) for part in hollow.lowest],
        "outline": shapely.geometry.mapping(hollow.outline),
    }


def _lines(
    hollows: tuple[calc_ground.Hollow, ...],
    paths: tuple[calc_ground.FlowPath, ...],
    *,
    cell_m: float,
    epsg: int,
) -> dict[str, Any]:
    """What the map draws. Paths lose the corners of cells, hollows keep them."""
    shapes = [shapely.simplify(path.line, cell_m / 2) for path in paths]
    shapes += [hollow.outline for hollow in hollows]
    told: list[dict[str, Any]] = [
        {"is": "path", "area_ha": round(path.area_m2 / 10_000, 2)} for path in paths
    ]
    told += [
        {
            "is": "hollow",
            "number": number,
            "depth_m": round(hollow.depth_m, 2),
            "volume_m3": round(hollow.volume_m3, 1),
        }
        for number, hollow in enumerate(hollows, start=1)
    ]
    return {
        "type": "FeatureCollection",
        "features": [
            {"type": "Feature", "geometry": shape, "properties": facts}
            for shape, facts in zip(grid.geojson_of(shapes, epsg), told, strict=True)
        ],
    }


def build_water(
    *,
    model: GroundModel,
    by: User | None,
    path_from_m2: float = PATH_FROM_M2,
    tell: Told = lambda percent, words: None,
) -> GroundWater:
    """Work out and keep the water layers of a ground; what was kept of it before gives way.

    path_from_m2  flow paths are drawn where the water of at least this area passes
    ValidationError when the ground is too large to follow or the area is of no sense.
    """
    if not (math.isfinite(path_from_m2) and 10 <= path_from_m2 <= 10_000_000):
        raise ValidationError("The area above a flow path lies between 10 m² and 1,000 ha.")
    epsg = model.club.epsg
    tell(5, "Laying out the ground")
    ground = calc_ground.load_ground(bytes(model.data))
    try:
        levels = calc_ground.dump_ground(calc_ground.as_water_grid(ground))
    except ValueError as error:
        raise ValidationError(str(error)) from error
    raster = calc_ground.load_ground(levels)
    assert isinstance(raster, calc_ground.GriddedGround)
    tell(20, "Following the water")
    water = calc_ground.run_water(raster)
    tell(40, "Finding the hollows")
    least_depth = least_depth_of(model)
    hollows = calc_ground.hollows_of(
        water, least_depth_m=least_depth, least_area_m2=max(LEAST_AREA_M2, 3 * water.cell_area_m2)
    )[:MOST_HOLLOWS]
    tell(55, "Drawing where it runs")
    paths = calc_ground.flow_paths(water, least_area_m2=path_from_m2)
    paths = tuple(sorted(paths, key=lambda path: -path.area_m2)[:MOST_PATHS])
    tell(65, "How wet the ground tends to be")
    wetness, bounds = wetness_png(raster, calc_ground.wetness_of(water), epsg)
    tell(80, "How far the nearest level is")
    away = calc_ground.distance_to_survey(ground, raster)
    guess = calc_ground.guess_from_m(ground)
    distance = distance_png(raster, away, guess_from_m=guess, epsg=epsg)
    tell(95, "Saving the layers")
    with transaction.atomic():
        row = GroundWater.objects.select_for_update().filter(ground=model).first()
        row = row or GroundWater(club=model.club, ground=model)
        row.made_at = timezone.now()
        row.cell_m, row.least_depth_m = raster.cell_m, least_depth
        row.path_from_m2, row.guess_from_m = path_from_m2, guess
        row.guess_share = float((away > guess).sum() / np.isfinite(away).sum())
        row.levels, row.wetness, row.distance, row.bounds = levels, wetness, distance, bounds
        row.hollows = [_hollow_facts(number, one) for number, one in enumerate(hollows, start=1)]
        row.lines = _lines(hollows, paths, cell_m=raster.cell_m, epsg=epsg)
        return save_record(row, by=by)


def request_water(*, club: Club, by: User, path_from_m2: float = PATH_FROM_M2) -> Run:
    """Ask for the water layers of the live ground to be made by a worker."""
    if not GroundModel.objects.filter(club=club).exists():
        raise ValidationError("There is no ground yet: make it of a survey first.")
    return request_run(club=club, kind="course.water", inputs={"path_from_m2": path_from_m2}, by=by)
