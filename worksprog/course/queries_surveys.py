"""Reads of surveys: what the preview draws, what is handed out again."""

from __future__ import annotations

import base64
import csv
import io
import json
import tempfile
import warnings
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import shapely

from worksprog.calc import grid
from worksprog.calc import ground as calc_ground
from worksprog.calc.ground import GriddedGround
from worksprog.clubs.csv_files import guarded
from worksprog.clubs.models import Club
from worksprog.course.bridge import grid_of, points_of
from worksprog.course.models import Feature, ImportDraft, Kind, Survey
from worksprog.course.reading.features import FeaturesRead
from worksprog.course.reading.ground_grid import GridRead
from worksprog.course.reading.spot_heights import SpotHeights
from worksprog.course.services_surveys import Preview, guess_kind, layer_kinds, shading_png

MOST_POINTS_DRAWN = 8_000
MOST_SHAPES_DRAWN = 4_000


def drawing_of_points(xyz: Any, codes: Any, club: Club) -> dict[str, Any]:
    """Spot heights for a map, thinned evenly where they are too many to draw."""
    step = max(1, -(-len(xyz) // MOST_POINTS_DRAWN))
    shown = xyz[::step]
    lon, lat = grid.to_lonlat(club.epsg, shown[:, 0], shown[:, 1])
    lowest, highest = (xyz[:, 2].min(), xyz[:, 2].max()) if len(xyz) else (0, 0)
    return {
        "lowest": float(lowest),
        "highest": float(highest),
        "points": [
            [round(float(x), 7), round(float(y), 7), round(float(z), 3), code]
            for x, y, z, code in zip(lon, lat, shown[:, 2], list(codes)[::step], strict=True)
        ],
        "told": f"{len(shown):,} of {len(xyz):,} points are drawn." if step > 1 else "",
    }


def drawing_of_grid(ground: GriddedGround, club: Club) -> dict[str, Any]:
    picture, bounds = shading_png(calc_ground.as_grid(ground), epsg=club.epsg)
    return {
        "picture": "data:image/png;base64," + base64.b64encode(picture).decode(),
        "bounds": bounds,
        "told": "",
    }


def drawing_of_shapes(shapes: list[Any], told: list[dict[str, Any]], club: Club) -> dict[str, Any]:
    kept = shapes[:MOST_SHAPES_DRAWN]
    text = grid.feature_collection_text(kept, told[:MOST_SHAPES_DRAWN], club.epsg)
    more = len(shapes) > len(kept)
    return {
        "shapes": json.loads(text),
        "told": f"{len(kept):,} of {len(shapes):,} shapes are drawn." if more else "",
    }


def drawing_of_preview(seen: Preview, club: Club) -> dict[str, Any]:
    """What a preview puts on the map."""
    result = seen.result
    if isinstance(result, SpotHeights):
        return drawing_of_points(result.xyz, result.codes, club)
    if isinstance(result, GridRead):
        return drawing_of_grid(result.ground, club)
    labels = dict(Kind.choices)
    told = [
        {"kind": row.kind, "words": f"{labels[row.kind]} {row.ref or row.name}".strip()}
        for row in result.accepted
    ]
    return drawing_of_shapes([row.geometry for row in result.accepted], told, club)


def drawing_of_survey(survey: Survey) -> dict[str, Any]:
    """What a survey brought, for the map."""
    if survey.what == Survey.What.SPOT_HEIGHTS:
        return drawing_of_points(*points_of(survey), survey.club)
    if survey.what == Survey.What.GROUND_GRID:
        return drawing_of_grid(grid_of(survey), survey.club)
    rows = list(survey.features.only("kind", "ref", "name", "geometry"))
    told = [{"kind": row.kind, "words": str(row)} for row in rows]
    return drawing_of_shapes([row.geometry for row in rows], told, survey.club)


def counts_of(seen: Preview) -> list[tuple[str, int]]:
    """What would be saved, by kind."""
    if not isinstance(seen.result, FeaturesRead):
        return []
    labels = dict(Kind.choices)
    counted = Counter(row.kind for row in seen.result.accepted)
    return sorted((str(labels[kind]), count) for kind, count in counted.items())


def level_range(seen: Preview) -> tuple[float, float] | None:
    """Lowest and highest level read; None where the file holds none."""
    if isinstance(seen.result, SpotHeights) and len(seen.result.xyz):
        z = seen.result.xyz[:, 2]
    elif isinstance(seen.result, GridRead):
        z = seen.result.ground.levels
    else:
        return None
    return float(np.nanmin(z)), float(np.nanmax(z))


def layers_of(seen: Preview, draft: ImportDraft) -> list[dict[str, Any]]:
    """The file's layers with the kind and state each would become."""
    if not isinstance(seen.result, FeaturesRead):
        return []
    kept = layer_kinds(draft.club)
    rows = []
    for layer in seen.result.layers:
        kind, state = kept.get(layer.name, (guess_kind(layer.name), "existing"))
        rows.append(
            {
                "name": layer.name,
                "count": layer.count,
                "shapes": ", ".join(f"{count} {shape}" for shape, count in layer.shapes.items()),
                "grid_name": layer.grid_name,
                "kind": kind,
                "state": state,
                "is_kept": layer.name in kept,
            }
        )
    return rows


# --- handed out again ------------------------------------------------------------------------------


def spot_heights_csv(survey: Survey) -> str:
    """Easting, northing, level, code, as they were brought in."""
    xyz, codes = points_of(survey)
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(["easting", "northing", "level", "code"])
    for (x, y, z), code in zip(xyz.tolist(), codes, strict=True):
        writer.writerow([f"{x:.3f}", f"{y:.3f}", f"{z:.3f}", guarded(code)])
    return text.getvalue()


_EXPORTED = ("kind", "ref", "name", "state", "state_date", "source", "accuracy_m", "uuid")


def _exported(club: Club) -> list[Feature]:
    return list(Feature.objects.filter(club=club).order_by("kind", "ref", "id"))


def _text(value: Any) -> str:
    return "" if value is None else str(value)


def features_geojson(club: Club) -> str:
    """All features as RFC 7946 GeoJSON."""
    rows = _exported(club)
    told = [
        {"layer": row.kind} | {name: _text(getattr(row, name)) for name in _EXPORTED}
        for row in rows
    ]
    return grid.feature_collection_text(
        [row.geometry for row in rows], told, club.epsg, ids=[str(row.uuid) for row in rows]
    )


def features_geopackage(club: Club) -> bytes:
    """All features as a GeoPackage in the club's grid, one layer a kind."""
    by_kind: dict[str, list[Feature]] = {}
    for row in _exported(club):
        by_kind.setdefault(row.kind, []).append(row)
    with tempfile.TemporaryDirectory(prefix="writing-") as folder:
        path = Path(folder) / "course.gpkg"
        for kind, rows in by_kind.items():
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", RuntimeWarning)
                pyogrio.raw.write(
                    path,
                    np.array(shapely.to_wkb([row.geometry for row in rows]), dtype=object),
                    field_data=[
                        np.array([_text(getattr(row, name)) for row in rows], dtype=object)
                        for name in _EXPORTED
                    ],
                    fields=np.array(_EXPORTED, dtype=object),
                    geometry_type=str(rows[0].geometry.geom_type),
                    driver="GPKG",
                    layer=kind,
                    crs=f"EPSG:{club.epsg}",
                    append=path.exists(),
                )
        return path.read_bytes() if by_kind else b""
