"""Coordinates against published positions, and GeoJSON against its own standard."""

from __future__ import annotations

import json
from collections.abc import Callable

import numpy as np
import pytest
import shapely

from worksprog.calc import grid

OS_ANNEX_C = "Ordnance Survey, A guide to coordinate systems in Great Britain, annex C (G1, C2)"


def degrees(d: float, m: float, s: float) -> float:
    return d + m / 60 + s / 3600


def test_national_grid_worked_example(outside: Callable[..., None]) -> None:
    """The survey's own example stays on its datum, so EPSG:4277 (OSGB36), not WGS 84."""
    east, north = grid.convert(
        "EPSG:4277", "EPSG:27700", [degrees(1, 43, 4.5177)], [degrees(52, 39, 27.2531)]
    )
    for what, expected, got in (
        ("National Grid easting", 651409.903, east[0]),
        ("National Grid northing", 313177.270, north[0]),
    ):
        outside(
            quantity=what, expected=expected, got=got, tolerance=0.001, unit="m", source=OS_ANNEX_C
        )


def test_national_grid_second_point(outside: Callable[..., None]) -> None:
    east, north = grid.convert("EPSG:4277", "EPSG:27700", [0.5], [50.5])
    source = "EPSG guidance note 7-2, transverse Mercator example (C2)"
    outside(
        quantity="National Grid easting, 50.5 N 0.5 E",
        expected=577274.99,
        got=east[0],
        tolerance=0.01,
        unit="m",
        source=source,
    )
    outside(
        quantity="National Grid northing, 50.5 N 0.5 E",
        expected=69740.50,
        got=north[0],
        tolerance=0.01,
        unit="m",
        source=source,
    )


@pytest.mark.parametrize(
    ("lat", "lon", "easting", "northing"),
    [
        (49.92226393730, -6.29977752014, 91492.146, 11318.804),
        (51.42754743020, -2.54407618349, 362269.991, 169978.690),
        (53.8002151963, -1.66379168242, 422242.186, 433818.701),
    ],
)
def test_degrees_to_national_grid(
    outside: Callable[..., None], lat: float, lon: float, easting: float, northing: float
) -> None:
    source = "Ordnance Survey OSTN15 developer pack test points (G2, C2)"
    east, north = grid.from_lonlat(27700, [lon], [lat])
    for what, expected, got in (("easting", easting, east[0]), ("northing", northing, north[0])):
        outside(
            quantity=f"National Grid {what} of the OSTN15 test point at {lat:.2f} N",
            expected=expected,
            got=float(got),
            tolerance=0.002,
            unit="m",
            source=source,
        )
    back_lon, back_lat = grid.to_lonlat(27700, [easting], [northing])
    off_m = float(np.hypot((back_lon[0] - lon) * 70_000, (back_lat[0] - lat) * 111_000))
    outside(
        quantity=f"and back to degrees at {lat:.2f} N, off by",
        expected=0,
        got=off_m,
        tolerance=0.002,
        unit="m",
        source=source,
    )


def test_a_survey_in_utm_goes_through_the_same_transformation(outside: Callable[..., None]) -> None:
    """UTM 30N on ETRS89 is another projection of the degrees of the test point."""
    x, y = grid.convert("EPSG:4258", "EPSG:25830", [-2.54407618349], [51.42754743020])
    east, north = grid.convert("EPSG:25830", "EPSG:27700", x, y)
    outside(
        quantity="OSTN15 test point brought in by UTM 30N, off by",
        expected=0,
        got=float(np.hypot(east[0] - 362269.991, north[0] - 169978.690)),
        tolerance=0.002,
        unit="m",
        source="Ordnance Survey OSTN15 developer pack test points (G2, C2)",
    )


def test_rings_run_as_the_standard_says(outside: Callable[..., None]) -> None:
    """RFC 7946 3.1.6: outer rings counter-clockwise, holes clockwise, however they were drawn."""
    hole = [(451020, 213010), (451020, 213020), (451040, 213020), (451040, 213010)]
    clockwise = shapely.Polygon(
        [(451000, 213000), (451000, 213050), (451100, 213050), (451100, 213000)], [hole[::-1]]
    )
    assert not clockwise.exterior.is_ccw
    assert clockwise.interiors[0].is_ccw
    written = json.loads(grid.geojson_texts([clockwise], 27700)[0])
    outer, inner = (shapely.LinearRing(ring) for ring in written["coordinates"])
    source = "RFC 7946 section 3.1.6"
    outside(
        quantity="outer ring counter-clockwise",
        expected=1,
        got=float(outer.is_ccw),
        tolerance=0,
        source=source,
    )
    outside(
        quantity="hole counter-clockwise",
        expected=0,
        got=float(inner.is_ccw),
        tolerance=0,
        source=source,
    )
