"""The network written to files and read back: same places, levels and sizes."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest
import shapely

from tests.cast import Cast
from tests.drainage.drawn import draw_ditch, draw_node, draw_pipe
from tests.drainage.test_as_built import keep
from worksprog.course.models import Feature, Kind
from worksprog.course.reading.files import Sort, recognise
from worksprog.drainage.exchange import (
    CSV_HEAD,
    SIZES,
    network_csv,
    network_dxf,
    network_geopackage,
    read_network,
)


@pytest.fixture
def network(cast: Cast) -> list[Feature]:
    """A bent pipe, a ditch, a pipe without levels, chambers; built levels on the first."""
    club, by = cast.club, cast.manager
    bent = draw_pipe(
        club, by, "P1", (0.1234, 0.5678), (40.4321, 3.3333), (70.0004, 30.7777),
        upstream_invert_m=52.123, downstream_invert_m=51.456, material="twin wall",
    )  # fmt: skip
    made = [
        bent,
        draw_ditch(club, by, "D1", (70.0004, 30.7777), (120, 60)),
        draw_pipe(club, by, "P2", (0, 90), (50, 95), upstream_invert_m=None,
                  downstream_invert_m=None, inside_diameter_mm=225.0),
        draw_node(club, by, Kind.CHAMBER, "C1", 0.1234, 0.5678, cover=53.4, invert=52.1),
        draw_node(club, by, Kind.OUTFALL, "O1", 120, 60),
    ]  # fmt: skip
    keep(cast, bent, 52.13, 0.5)
    keep(cast, bent, 51.44, bent.length_m - 0.2)
    return made


@pytest.mark.parametrize(
    ("write", "sort"), [(network_geopackage, Sort.GEOPACKAGE), (network_dxf, Sort.DXF)]
)
def test_out_and_back_in(cast: Cast, network: list[Feature], tmp_path: Path, write, sort) -> None:
    path = tmp_path / "drains"
    path.write_bytes(write(cast.club))
    assert recognise(path) is sort
    read = read_network(path, sort, epsg=cast.club.epsg)
    found = {one.ref: one for one in read.drains}
    assert len(read.drains) == len(network)
    for feature in network:
        one = found[feature.ref]
        assert one.kind == feature.kind
        off = shapely.get_coordinates(one.geometry) - shapely.get_coordinates(feature.geometry)
        assert abs(off).max() <= 0.001
        reach = getattr(feature, "reach", None)
        for name in SIZES if reach else ():
            value = getattr(reach, name)
            said = one.told.get(name, "")
            if isinstance(value, float):
                assert float(said) == pytest.approx(value, rel=1e-9), name
            else:
                assert said == (value or ""), name
    bent = found["P1"]
    assert (bent.levels[0], bent.levels[-1]) == pytest.approx((52.123, 51.456), abs=5e-4)
    assert len(bent.levels) == 3
    assert found["P2"].levels == ()
    assert found["C1"].levels == pytest.approx((52.1,), abs=5e-4)
    assert (bent.told["built_upstream_m"], bent.told["built_downstream_m"]) == ("52.130", "51.440")
    assert sorted(z for _, _, z in read.built) == pytest.approx([51.44, 52.13], abs=5e-4)


def test_as_a_table(cast: Cast, network: list[Feature]) -> None:
    rows = list(csv.DictReader(io.StringIO(network_csv(cast.club))))
    assert tuple(rows[0]) == CSV_HEAD
    bent = [row for row in rows if row["ref"] == "P1" and row["part"] == "line"]
    drawn = shapely.get_coordinates(network[0].geometry)
    for row, (x, y) in zip(bent, drawn, strict=True):
        assert abs(float(row["easting"]) - x) <= 0.0005 + 1e-9
        assert abs(float(row["northing"]) - y) <= 0.0005 + 1e-9
        assert row["epsg"] == str(cast.club.epsg)
    assert (bent[0]["level"], bent[-1]["level"]) == ("52.123", "51.456")
    assert bent[0]["inside_diameter_mm"] == "300"
    assert [row["level"] for row in rows if row["part"] == "built"] == ["52.130", "51.440"]


def test_words_that_a_drawing_would_trip_over(cast: Cast, tmp_path: Path) -> None:
    draw_pipe(cast.club, cast.manager, 'P"1\\', (0, 0), (9, 0), material='4" clay; old, "red"')
    path = tmp_path / "drains.dxf"
    path.write_bytes(network_dxf(cast.club))
    (one,) = read_network(path, Sort.DXF, epsg=cast.club.epsg).drains
    assert (one.ref, one.told["material"]) == ("P'1/", "4' clay, old, 'red'")
    assert one.levels == (51.0, 50.0)


def test_nothing_drawn_gives_no_file(cast: Cast) -> None:
    assert network_geopackage(cast.club) == network_dxf(cast.club) == b""
