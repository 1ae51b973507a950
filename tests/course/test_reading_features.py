"""Feature files: what is taken, what is refused with its place, what is told."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
import shapely
from shapely import LineString, MultiLineString, MultiPolygon, Point, Polygon, box

from tests.course.survey_files import (
    write_dxf,
    write_geopackage,
    write_layer,
    write_zipped_shapefile,
)
from worksprog.calc import grid
from worksprog.course.models import SHAPES
from worksprog.course.reading.features import FeaturesRead, read_features
from worksprog.course.reading.files import recognise
from worksprog.course.reading.results import AxesSwapped, ReadError

NEAR = (451000.0, 213000.0, 452000.0, 213800.0)
DITCH = LineString([(451100, 213100), (451180, 213140)])
TEE = box(451200, 213200, 451212, 213209)
TREE = Point(451300, 213300)
BOW_TIE = Polygon([(451400, 213400), (451420, 213420), (451420, 213400), (451400, 213420)])
MAPPING = {"ditches": "ditch", "tees": "tee", "trees": "tree", "chambers": "chamber"}


def read(path: Path, **more: Any) -> FeaturesRead:
    told = {
        "kind_of": lambda layer: MAPPING.get(layer, ""),
        "shapes": SHAPES,
        "epsg": 27700,
        "near": NEAR,
        **more,
    }
    return read_features(path, recognise(path), **told)


def geojson(folder: Path, *features: dict[str, Any], **more: Any) -> Path:
    path = folder / "course.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features, **more}))
    return path


def member(shape: Any, layer: str = "tees", degrees: bool = True, **told: str) -> dict[str, Any]:
    geometry = grid.geojson_of([shape], 27700)[0] if degrees else shapely.geometry.mapping(shape)
    return {"type": "Feature", "geometry": geometry, "properties": {"layer": layer, **told}}


def test_geopackage_layers_become_kinds(tmp_path: Path) -> None:
    path = write_geopackage(
        tmp_path / "course.gpkg",
        {
            "ditches": [(DITCH, {"name": "Brook ditch", "ref": "D1"})],
            "tees": [(TEE, {"name": "Tee 4"})],
            "fences": [(DITCH, {}), (LineString([(451100, 213110), (451150, 213110)]), {})],
        },
    )
    got = read(path)
    assert got.refusals == ()
    assert [(f.kind, f.name, f.ref, f.layer) for f in got.accepted] == [
        ("ditch", "Brook ditch", "D1", "ditches"),
        ("tee", "Tee 4", "", "tees"),
    ]
    assert got.accepted[0].geometry.equals(DITCH)
    assert [(layer.name, layer.count) for layer in got.layers] == [
        ("ditches", 1),
        ("tees", 1),
        ("fences", 2),
    ]
    assert any("“fences” is left out (2 features)" in notice for notice in got.notices)


def test_shapefile_in_a_zip(tmp_path: Path) -> None:
    path = write_zipped_shapefile(
        tmp_path / "a.zip", {"tees": [(TEE, {"name": "Tee 4"})]}, geometry_type="Polygon"
    )
    got = read(path)
    assert [(f.kind, f.name) for f in got.accepted] == [("tee", "Tee 4")]
    assert got.accepted[0].geometry.equals(TEE)


def test_shapefile_without_grid_is_taken_as_the_clubs_and_told(tmp_path: Path) -> None:
    path = write_zipped_shapefile(
        tmp_path / "a.zip", {"tees": [(TEE, {"name": "x"})]}, geometry_type="Polygon", crs=None
    )
    got = read(path)
    assert len(got.accepted) == 1
    assert any("no .prj" in notice for notice in got.notices)


def test_dxf_layers_closed_lines_and_small_outlines(tmp_path: Path) -> None:
    cover = LineString(box(451299.5, 213299.5, 451300.5, 213300.5).exterior.coords)
    path = write_dxf(
        tmp_path / "course.dxf",
        [
            (DITCH, "ditches"),
            (LineString(TEE.exterior.coords), "tees"),
            (cover, "chambers"),
            (TREE, "trees"),
        ],
    )
    got = read(path)
    assert got.refusals == ()
    shapes = {f.kind: f.geometry for f in got.accepted}
    assert shapes["tee"].equals(TEE)
    assert shapes["chamber"].equals(Point(451300, 213300))
    assert shapes["ditch"].equals(DITCH)
    assert any("1 closed line became areas" in notice for notice in got.notices)
    assert any("1 small outline became points" in notice for notice in got.notices)


def test_geojson_is_read_in_degrees(tmp_path: Path) -> None:
    got = read(geojson(tmp_path, member(TEE, name="Tee 4"), member(DITCH, "ditches")))
    assert len(got.accepted) == 2
    assert shapely.hausdorff_distance(got.accepted[0].geometry, TEE) < 0.02
    assert any("converted to EPSG 27700" in notice for notice in got.notices)


def test_geojson_in_metres_is_told(tmp_path: Path) -> None:
    got = read(geojson(tmp_path, member(TEE, degrees=False)))
    assert got.accepted[0].geometry.equals(TEE)
    assert any("metres, not degrees" in notice for notice in got.notices)


def test_geojson_that_names_its_grid(tmp_path: Path) -> None:
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::27700"}}
    assert (
        read(geojson(tmp_path, member(TEE, degrees=False), crs=crs))
        .accepted[0]
        .geometry.equals(TEE)
    )
    crs["properties"] = {"name": "the grid next door"}
    with pytest.raises(ReadError, match="cannot be understood"):
        read(geojson(tmp_path, member(TEE, degrees=False), crs=crs))


def test_a_file_in_another_grid_is_converted(tmp_path: Path) -> None:
    moved = grid.convert_geometries([TEE], "EPSG:27700", "EPSG:25830")[0]
    got = read(
        write_geopackage(tmp_path / "a.gpkg", {"tees": [(moved, {"name": "x"})]}, crs="EPSG:25830")
    )
    assert shapely.hausdorff_distance(got.accepted[0].geometry, TEE) < 0.02
    assert any("ETRS89 / UTM zone 30N" in notice and "OSTN15" in notice for notice in got.notices)


def test_self_crossing_areas_are_refused_with_the_place(tmp_path: Path) -> None:
    got = read(
        write_geopackage(
            tmp_path / "a.gpkg", {"tees": [(TEE, {"name": "x"}), (BOW_TIE, {"name": "y"})]}
        )
    )
    assert len(got.accepted) == 1
    assert [(r.row, r.reason) for r in got.refusals] == [
        ("layer “tees”, feature 2", "crosses itself at 451410.0, 213410.0")
    ]


def test_shapes_of_several_parts_are_split_and_told(tmp_path: Path) -> None:
    other = box(451230, 213200, 451240, 213209)
    rows = [(MultiPolygon([TEE, other]), {"name": "Tee 4"})]
    got = read(write_geopackage(tmp_path / "a.gpkg", {"tees": rows}))
    assert [f.geometry.geom_type for f in got.accepted] == ["Polygon", "Polygon"]
    assert got.accepted[1].row.endswith("part 2")
    assert any("1 shape of several parts became 2 features" in notice for notice in got.notices)
    path = geojson(tmp_path, member(MultiLineString([DITCH]), "ditches"))
    alone = read(path)
    assert alone.accepted[0].geometry.geom_type == "LineString"
    assert not any("several parts" in notice for notice in alone.notices)


def test_levels_of_shapes_are_left_and_told(tmp_path: Path) -> None:
    line = LineString([(451100, 213100, 61.2), (451180, 213140, 60.4)])
    got = read(write_dxf(tmp_path / "a.dxf", [(line, "ditches")]))
    assert not got.accepted[0].geometry.has_z
    assert "1 feature came with levels (60.40 to 61.20 m)" in got.flat_notice()
    assert got.flat_notice({got.accepted[0].row}) == ""


def test_missing_shapes_empty_layers_and_doubles(tmp_path: Path) -> None:
    path = write_geopackage(
        tmp_path / "a.gpkg",
        {
            "tees": [(TEE, {"name": "a"}), (None, {"name": "b"}), (TEE, {"name": "c"})],
            "ditches": [],
        },
    )
    got = read(path)
    assert len(got.accepted) == 1
    assert [(r.row, r.reason) for r in got.refusals] == [
        ("layer “tees”, feature 2", "has no shape"),
        ("layer “tees”, feature 3", "is the same shape as layer “tees”, feature 1"),
    ]
    assert any("Layer “ditches” is empty" in notice for notice in got.notices)


def test_all_layers_empty_is_told(tmp_path: Path) -> None:
    with pytest.raises(ReadError, match="Every layer of the file is empty"):
        read(write_geopackage(tmp_path / "a.gpkg", {"ditches": []}))
    with pytest.raises(ReadError, match="no layer with shapes"):
        read(geojson(tmp_path))


def test_a_shape_that_does_not_suit_its_kind(tmp_path: Path) -> None:
    got = read(write_dxf(tmp_path / "a.dxf", [(DITCH, "tees"), (TREE, "trees")]))
    assert [r.reason for r in got.refusals] == ["is a line; a tee has to be an area"]
    assert [f.kind for f in got.accepted] == ["tree"]


def test_a_shape_without_size_is_refused(tmp_path: Path) -> None:
    dot = LineString([(451100, 213100), (451100, 213100)])
    got = read(
        write_geopackage(
            tmp_path / "a.gpkg", {"ditches": [(DITCH, {"name": "a"}), (dot, {"name": "b"})]}
        )
    )
    assert got.refusals[0].reason == "has no size: all its points lie at 451100.0, 213100.0"


def test_one_far_feature_is_refused_and_the_rest_taken(tmp_path: Path) -> None:
    rows = [(Point(451300 + i, 213300), {"name": str(i)}) for i in range(5)]
    rows.append((Point(400000, 213300), {"name": "far"}))
    got = read(write_geopackage(tmp_path / "a.gpkg", {"trees": rows}))
    assert len(got.accepted) == 5
    assert got.refusals[0].reason == "lies 51.0 km from the course (400000.0, 213300.0)"


def test_a_wrong_grid_is_recognised(tmp_path: Path) -> None:
    other = write_dxf(tmp_path / "a.dxf", [(Point(610000, 5741000), "trees")])
    with pytest.raises(ReadError, match="km from the course"):
        read(other)
    degrees = write_dxf(tmp_path / "b.dxf", [(Point(-1.26, 51.81), "trees")])
    with pytest.raises(ReadError, match="latitude and longitude"):
        read(degrees)


@pytest.mark.parametrize("near", [NEAR, None])
def test_swapped_latitude_and_longitude_are_recognised(tmp_path: Path, near: Any) -> None:
    lon, lat = grid.to_lonlat(27700, [451300], [213300])
    feature = {
        "type": "Feature",
        "properties": {"layer": "trees"},
        "geometry": {"type": "Point", "coordinates": [float(lat[0]), float(lon[0])]},
    }
    with pytest.raises(AxesSwapped, match="look exchanged"):
        read(geojson(tmp_path, feature), near=near)
    got = read(geojson(tmp_path, feature), near=near, swap_axes=True)
    assert got.accepted[0].geometry.distance(TREE) < 0.01


def test_swapped_axes_of_a_drawing_are_recognised(tmp_path: Path) -> None:
    path = write_dxf(tmp_path / "a.dxf", [(Point(213300, 451300), "trees")])
    with pytest.raises(AxesSwapped):
        read(path)
    assert read(path, swap_axes=True).accepted[0].geometry.equals(TREE)


def test_broken_members_of_geojson_are_refused_one_by_one(tmp_path: Path) -> None:
    broken: list[dict[str, Any]] = [
        {"type": "Feature", "properties": {"layer": "trees"}, "geometry": None},
        {
            "type": "Feature",
            "properties": {"layer": "trees"},
            "geometry": {"type": "Point", "coordinates": "here"},
        },
        {"type": "Feature", "properties": {"layer": "trees"}, "geometry": {"type": "Garden"}},
    ]
    got = read(geojson(tmp_path, member(TREE, "trees"), *broken))
    assert len(got.accepted) == 1
    assert sorted(r.row for r in got.refusals) == ["feature 2", "feature 3", "feature 4"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('{"type": "Topology"}', "type reads “Topology”"),
        (
            '{"type": "gdal_streamed_alg", "command_line": "gdal vector pipeline read /etc"}',
            "not GeoJSON",
        ),
        ('{"type": "FeatureCollection", "features": 3}', "without a list"),
        ('{"type": "FeatureCollection", "features": [', "not whole GeoJSON"),
    ],
)
def test_json_that_is_no_geojson(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "a.json"
    path.write_text(text)
    with pytest.raises(ReadError, match=words):
        read(path)


def test_damaged_files_are_told(tmp_path: Path) -> None:
    whole = write_geopackage(tmp_path / "a.gpkg", {"tees": [(TEE, {"name": "x"})]}).read_bytes()
    (tmp_path / "b.gpkg").write_bytes(whole[:40_000] + b"\xff" * 30_000)
    with pytest.raises(ReadError, match="damaged"):
        read(tmp_path / "b.gpkg")
    (tmp_path / "c.dxf").write_bytes(b"0\nSECTION\n2\nENTITIES\n0\nLINE\n8\n")
    with pytest.raises(ReadError):
        read(tmp_path / "c.dxf")


def test_a_table_without_shapes_is_left_out_and_told(tmp_path: Path) -> None:
    path = write_geopackage(tmp_path / "a.gpkg", {"tees": [(TEE, {"name": "x"})]})
    import numpy as np
    import pyogrio

    pyogrio.raw.write(
        path,
        None,
        field_data=[np.array(["a"], dtype=object)],
        fields=np.array(["remark"], dtype=object),
        driver="GPKG",
        layer="remarks",
        append=True,
    )
    got = read(path)
    assert len(got.accepted) == 1
    assert any("“remarks” is a table without shapes" in notice for notice in got.notices)


def test_an_iso_mixed_collection_is_split(tmp_path: Path) -> None:
    shape = shapely.GeometryCollection([MultiPolygon([TEE]), DITCH])
    got = read(
        write_layer(tmp_path / "a.gpkg", [(shape, {"name": "x"})], driver="GPKG", layer="tees")
    )
    assert [f.geometry.geom_type for f in got.accepted] == ["Polygon"]
    assert [r.reason for r in got.refusals] == ["is a line; a tee has to be an area"]


def test_one_point_off_the_course_refuses_its_line(tmp_path: Path) -> None:
    stray = LineString([(451100, 213100), (451180, 213140), (451190, 913150)])
    got = read(
        write_dxf(tmp_path / "a.dxf", [(DITCH, "ditches"), (stray, "ditches"), (TREE, "trees")])
    )
    assert len(got.accepted) == 2
    (refusal,) = got.refusals
    assert refusal.reason.startswith("its point 3 lies 699")
