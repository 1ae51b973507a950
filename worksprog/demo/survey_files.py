"""Survey files as a surveyor would deliver them: spot heights, the course, the old drains."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from pathlib import Path

import numpy as np
import pyogrio.raw
import shapely

from worksprog.demo.ground import spot_heights
from worksprog.demo.layout import Thing, course_things, drainage_as_found

CRS = "EPSG:27700"

# A surveyor's own layer names, and the kind each is on the map.
COURSE_LAYERS = {
    "Greens": "green",
    "Tees": "tee",
    "Fairways": "fairway",
    "Bunkers": "bunker",
    "Paths": "path",
    "Bridges": "bridge",
    "Ponds": "pond",
    "Woodland": "wood",
    "Single trees": "tree",
    "Services from records": "service",
    "Boundary": "boundary",
}
DRAIN_LAYERS = {
    "DR-OPEN DITCH": "ditch",
    "DR-PIPE": "pipe",
    "DR-HEADWALL": "headwall",
    "DR-OUTFALL": "outfall",
}


def write_spot_heights(path: Path) -> None:
    points, codes = spot_heights()
    with path.open("w", newline="", encoding="utf-8") as out:
        writer = csv.writer(out)
        writer.writerow(["easting", "northing", "level", "code"])
        for (east, north, height), code in zip(points, codes, strict=True):
            writer.writerow([f"{east:.3f}", f"{north:.3f}", f"{height:.3f}", code])


def _write_layer(
    path: Path,
    driver: str,
    layer: str,
    things: Iterable[Thing],
    fields: dict[str, list[str]],
    append: bool,
) -> None:
    shapes = np.array([shapely.to_wkb(thing.shape) for thing in things], dtype=object)
    kinds = {shapely.from_wkb(shape).geom_type for shape in shapes}
    pyogrio.raw.write(
        str(path),
        geometry=shapes,
        field_data=[np.array(values, dtype=object) for values in fields.values()],
        fields=list(fields),
        geometry_type=kinds.pop() if len(kinds) == 1 else "Unknown",
        crs=CRS,
        driver=driver,
        layer=layer,
        append=append,
        encoding="UTF-8",
    )


def write_course(path: Path) -> None:
    """A GeoPackage with one layer per kind of thing."""
    things = course_things()
    first = True
    for layer, kind in COURSE_LAYERS.items():
        chosen = [thing for thing in things if thing.kind == kind]
        fields = {
            "ref": [thing.ref for thing in chosen],
            "name": [thing.name for thing in chosen],
        }
        _write_layer(path, "GPKG", layer, chosen, fields, append=not first)
        first = False


def write_old_drains(path: Path) -> None:
    """A drawing-exchange file whose layers are the surveyor's, everything in one go."""
    by_kind = {kind: layer for layer, kind in DRAIN_LAYERS.items()}
    things = drainage_as_found()
    fields = {"Layer": [by_kind[thing.kind] for thing in things]}
    _write_layer(path, "DXF", "entities", things, fields, append=False)
