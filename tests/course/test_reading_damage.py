"""Files damaged at random: whatever arrives, the answer is a result or words, never a fault."""

from __future__ import annotations

import json
import random
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from shapely import LineString, Point, box

from tests.course.survey_files import (
    ascii_grid,
    write_dxf,
    write_geopackage,
    write_geotiff,
    write_zipped_shapefile,
)
from tests.course.test_import_services import table
from worksprog.calc import grid
from worksprog.course.models import SHAPES
from worksprog.course.reading.features import read_features
from worksprog.course.reading.files import Sort, recognise
from worksprog.course.reading.ground_grid import read_ground_grid
from worksprog.course.reading.results import ReadError
from worksprog.course.reading.spot_heights import read_spot_heights

NEAR = (451000.0, 213000.0, 452000.0, 213800.0)
TEE = box(451200, 213200, 451212, 213209)
DITCH = LineString([(451100, 213100), (451180, 213140)])
PIECES = (
    *(b"null", b"1e999", b"-1", b"[]", b"{}", b'"\\u0000"', b'"\\ud800"', b"9" * 400),
    *(b",", b";", b"\n", b'"', b"\xff", b"nan", b"\t", b"0\n", b"Polygon", b"GeometryCollection"),
)


def whole(folder: Path, sort: str) -> bytes:
    match sort:
        case "gpkg":
            return write_geopackage(
                folder / "a.gpkg",
                {"tee": [(TEE, {"name": "a"})], "ditch": [(DITCH, {"name": "b"})]},
            ).read_bytes()
        case "dxf":
            return write_dxf(
                folder / "a.dxf", [(DITCH, "ditch"), (TEE, "tee"), (Point(451300, 213300), "tree")]
            ).read_bytes()
        case "zip":
            return write_zipped_shapefile(
                folder / "a.zip", {"tee": [(TEE, {"name": "a"})]}, geometry_type="Polygon"
            ).read_bytes()
        case "geojson":
            shape = grid.geojson_of([TEE], 27700)[0]
            member = {"type": "Feature", "properties": {"layer": "tee"}, "geometry": shape}
            return json.dumps({"type": "FeatureCollection", "features": [member] * 2}).encode()
        case "tif":
            return write_geotiff(folder / "a.tif", 60 + np.eye(40)).read_bytes()
        case "asc":
            return ascii_grid(60 + np.eye(30))
    return table(step=25)


def damaged(data: bytes, dice: random.Random) -> bytes:
    out = bytearray(data)
    for _ in range(dice.choice([1, 1, 2, 5, 20])):
        at = dice.randrange(len(out) or 1)
        match dice.randrange(4):
            case 0 if out:
                out[at] = dice.randrange(256)
            case 1:
                del out[at : at + dice.choice([1, 4, 50, 5000])]
            case 2:
                out[at : at + dice.choice([0, 1, 5, 20])] = dice.choice(PIECES)
            case _:
                out = out[at // 2 :] if dice.random() < 0.1 else out
    return bytes(out)


def read(path: Path, near: Any, swap: bool) -> None:
    sort = recognise(path)
    if sort is Sort.TABLE:
        got = read_spot_heights(path.read_bytes(), epsg=27700, near=near, swap_axes=swap)
        assert np.isfinite(got.xyz).all()
    elif sort in (Sort.GEOTIFF, Sort.ASCII_GRID):
        assert read_ground_grid(path, sort, epsg=27700, near=near, keep=near).cells > 0
    else:
        found = read_features(
            path,
            sort,
            kind_of=lambda layer: layer if layer in SHAPES else "tee",
            shapes=SHAPES,
            epsg=27700,
            near=near,
            swap_axes=swap,
        )
        for row in found.accepted:
            assert row.geometry.is_valid
            assert row.geometry.geom_type == SHAPES[row.kind]
            assert (row.name + row.ref + row.layer).isprintable()


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("sort", ["gpkg", "dxf", "zip", "geojson", "tif", "asc", "csv"])
def test_damage_is_answered_in_words(tmp_path: Path, sort: str) -> None:
    data = whole(tmp_path, sort)
    dice = random.Random(f"damage to {sort}")
    path = tmp_path / "damaged"
    answers = {"read": 0, "refused": 0}
    for _ in range(60):
        path.write_bytes(damaged(data, dice))
        try:
            read(path, dice.choice([NEAR, None]), dice.random() < 0.2)
            answers["read"] += 1
        except ReadError as error:
            assert len(str(error)) > 20
            answers["refused"] += 1
    assert answers["read"], "some damage is harmless; if none is read the test damages too much"
    assert answers["refused"]


def test_names_no_database_keeps_are_mended(tmp_path: Path) -> None:
    member = {
        "type": "Feature",
        "properties": {"layer": "tee\u0000s", "name": "a\ud800\u0000b\u0007" + "x" * 500},
        "geometry": grid.geojson_of([TEE], 27700)[0],
    }
    path = tmp_path / "a.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [member]}))
    got = read_features(
        path, recognise(path), kind_of=lambda layer: "tee", shapes=SHAPES, epsg=27700
    )
    assert got.layers[0].name == "tees"
    assert got.accepted[0].name.startswith("a?bxxx")
    assert len(got.accepted[0].name) == 120


@pytest.mark.parametrize("number", ["9" * 400, "9" * 5000, "1e999"])
def test_numbers_beyond_reason_are_refused(tmp_path: Path, number: str) -> None:
    path = tmp_path / "a.geojson"
    path.write_text(
        '{"type":"FeatureCollection","features":[{"type":"Feature","properties":{},'
        f'"geometry":{{"type":"Point","coordinates":[{number},51]}}}}]}}'
    )
    try:
        got = read_features(
            path, recognise(path), kind_of=lambda layer: "tree", shapes=SHAPES, epsg=27700
        )
    except ReadError as error:
        assert "digits" in str(error) or "empty" in str(error)
    else:
        assert got.accepted == ()
        assert got.refusals[0].reason == "has a coordinate that is not a number"
    with pytest.raises(ValueError, match=r"drawing"):
        grid.geometry_from_geojson(f'{{"type":"Point","coordinates":[{number},51]}}', 27700)
    rows = f"451010,213020,61\n{number[:400]},213021,61\n451011,213022,61\n".encode()
    heights = read_spot_heights(rows, epsg=27700, near=NEAR)
    assert len(heights.xyz) == 2
    assert heights.refusals[0].row == "line 2"


def test_a_first_line_of_too_few_columns_is_told() -> None:
    with pytest.raises(ReadError, match="too few columns"):
        read_spot_heights(
            b"1;2\n451010;213020;61\n451011;213020;61\n451012;213020;61\n", epsg=27700
        )
