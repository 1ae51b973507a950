from __future__ import annotations

import json
import re

import numpy as np
import pytest
import shapely

from worksprog.calc import grid


def test_describes_a_grid() -> None:
    told = grid.describe_grid(27700)
    assert told.projected_in_metres
    assert "National Grid" in told.name


@pytest.mark.parametrize("epsg", [4326, 3857, 2276])
def test_degrees_feet_and_stretched_metres_are_no_grid_in_metres(epsg: int) -> None:
    assert not grid.describe_grid(epsg).projected_in_metres


def test_unknown_code_is_told() -> None:
    with pytest.raises(ValueError, match="99999 is not an EPSG code"):
        grid.describe_grid(99999)


def test_there_and_back() -> None:
    x, y = np.array([451000.0, 452500.0]), np.array([213000.0, 214200.0])
    lon, lat = grid.to_lonlat(27700, x, y)
    back_x, back_y = grid.from_lonlat(27700, lon, lat)
    assert np.allclose(back_x, x, rtol=0, atol=2e-3)
    assert np.allclose(back_y, y, rtol=0, atol=2e-3)
    assert (lon < 0).all()
    assert ((lat > 51) & (lat < 53)).all()


def test_a_place_outside_the_world_is_told() -> None:
    with pytest.raises(ValueError, match="outside what"):
        grid.convert("EPSG:4326", "EPSG:27700", [0.0], [95.0])


def test_grid_extent_holds_great_britain() -> None:
    extent = grid.grid_extent(27700)
    assert extent is not None
    west, south, east, north = extent
    assert west < 91492 < east
    assert south < 11318 < north
    assert east < 1_000_000


def test_many_geometries_convert_at_once_and_missing_stays_missing() -> None:
    shapes = [shapely.Point(451000, 213000, 61.2), None, shapely.LineString([(0, 0), (1, 1)])]
    moved = grid.convert_geometries(shapes, "EPSG:27700", "EPSG:27700")
    assert moved[1] is None
    assert not moved[0].has_z
    degrees = grid.to_wgs84(27700, shapes[:2])
    assert degrees[1] is None
    assert -2 < degrees[0].x < -1
    assert grid.from_wgs84(27700, degrees)[0].distance(shapely.Point(451000, 213000)) < 2e-3


def test_written_with_seven_decimals_and_longitude_first() -> None:
    text = grid.geojson_texts([shapely.Point(451000, 213000)], 27700)[0]
    lon, lat = json.loads(text)["coordinates"]
    assert lon < 0 < 50 < lat
    assert all(len(decimals) <= 7 for decimals in re.findall(r"\.(\d+)", text))
    assert grid.geojson_texts([], 27700) == []
    assert grid.geojson_of([None], 27700) == [None]


def test_collection_keeps_ids_and_properties() -> None:
    text = grid.feature_collection_text(
        [shapely.Point(451000, 213000), None], [{"name": "é"}, {}], 27700, ids=["a", "b"]
    )
    read = json.loads(text)
    assert [f["id"] for f in read["features"]] == ["a", "b"]
    assert read["features"][0]["properties"] == {"name": "é"}
    assert read["features"][1]["geometry"] is None
    with pytest.raises(ValueError, match="Each geometry"):
        grid.feature_collection_text([None], [], 27700)


def test_a_drawing_comes_back_within_a_centimetre() -> None:
    drawn = shapely.Polygon([(451000, 213000), (451100, 213000), (451050, 213080)])
    text = grid.geojson_texts([drawn], 27700)[0]
    read = grid.geometry_from_geojson(text, 27700)
    assert shapely.hausdorff_distance(read, drawn) < 0.01
    assert grid.area_m2(read) == pytest.approx(4000, abs=1)
    assert grid.length_m(shapely.LineString([(0, 0), (3, 4)])) == 5


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ("{", "not GeoJSON"),
        ("[]", "expected a point"),
        ('{"type":"Garden"}', "expected a point"),
        ('{"type":"GeometryCollection","geometries":[]}', "expected a point"),
        ('{"type":"Point","coordinates":"garbage"}', "not numbers"),
        ('{"type":"LineString","coordinates":[[0,51]]}', "could not be read"),
        ('{"type":"Point","coordinates":[]}', "empty"),
        ('{"type":"Point","coordinates":[NaN,51]}', "not numbers|empty"),
        ('{"type":"Point","coordinates":[451000,213000]}', "not longitude and latitude"),
        (
            '{"type":"Polygon","coordinates":[[[-1,51],[-1.001,51.001],[-1,51.001],'
            "[-1.001,51],[-1,51]]]}",
            "crosses itself",
        ),
        ('{"type":"Polygon"}', "could not be read"),
    ],
)
def test_bad_drawings_are_told(data: str, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        grid.geometry_from_geojson(data, 27700)


def test_distance_to_a_box() -> None:
    away = grid.distance_to_box_m([5, 13, -3], [5, 14, 5], (0, 0, 10, 10))
    assert away.tolist() == [0, 5, 3]


def test_a_point_beyond_the_national_transformation_still_has_a_place() -> None:
    """Off the coast OSTN15 ends; its neighbour inside is not drawn along by it."""
    lon, lat = np.array([-2.54407618349, -9.5]), np.array([51.42754743020, 50.0])
    east, north = grid.from_lonlat(27700, lon, lat)
    assert np.isfinite(east).all()
    assert east[0] == pytest.approx(362269.991, abs=0.002)
    back = grid.to_lonlat(27700, east, north)
    assert back[0] == pytest.approx(lon, abs=1e-6)
    assert back[1] == pytest.approx(lat, abs=1e-6)


def test_shapes_of_arrays_are_kept() -> None:
    lon, lat = np.meshgrid([-2.5, -2.4], [51.4, 51.5, 51.6])
    east, north = grid.from_lonlat(27700, lon, lat)
    assert east.shape == north.shape == (3, 2)
    assert east[0, 0] < east[0, 1]
    assert north[0, 0] < north[1, 0]


@pytest.mark.parametrize(
    ("epsg", "metres", "words"),
    [
        (27700, 0.1, "OSTN15"),
        (32630, 0.0, "by formula alone"),
        (31467, 2.0, "needs a correction grid"),
    ],
)
def test_what_a_place_is_good_for_is_said(epsg: int, metres: float, words: str) -> None:
    accuracy = grid.place_accuracy(epsg)
    assert accuracy.metres == metres
    assert words in accuracy.words


def test_the_accuracy_of_an_unknown_grid_is_refused() -> None:
    with pytest.raises(ValueError, match="not an EPSG code"):
        grid.place_accuracy(1)
