"""Grids of levels as GeoTIFF and ASCII grid."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from rasterio.transform import Affine

from tests.course.survey_files import ascii_grid, write_geotiff
from worksprog.calc import grid, ground
from worksprog.course.reading.files import recognise
from worksprog.course.reading.ground_grid import GridRead, read_ground_grid
from worksprog.course.reading.results import AxesSwapped, ReadError

NEAR = (451050.0, 213100.0, 451150.0, 213400.0)


def plane(x: Any, y: Any) -> Any:
    return 60 + 0.03 * (x - 451000) + 0.02 * (y - 213000)


def levels(rows: int = 250, columns: int = 150, cell: float = 2, north: float = 213500) -> Any:
    """Rows from north to south, each level that of its cell's middle."""
    x = 451000 + (np.arange(columns) + 0.5) * cell
    y = north - (np.arange(rows) + 0.5) * cell
    return plane(*np.meshgrid(x, y))


def read(path: Path, **more: Any) -> GridRead:
    told = {"epsg": 27700, "near": NEAR, **more}
    return read_ground_grid(path, recognise(path), **told)


def test_geotiff_levels_lie_in_the_middle_of_their_cells(tmp_path: Path) -> None:
    got = read(write_geotiff(tmp_path / "a.tif", levels().astype("float32")))
    assert ground.level_at(got.ground, 451100, 213222) == pytest.approx(
        plane(451100, 213222), abs=1e-3
    )
    assert got.cells == 250 * 150
    assert got.ground.cell_m == 2


def test_ascii_grid_is_the_same_ground(tmp_path: Path) -> None:
    path = tmp_path / "a.asc"
    path.write_bytes(ascii_grid(levels()))
    got = read(path)
    assert ground.level_at(got.ground, 451100, 213222) == pytest.approx(
        plane(451100, 213222), abs=2e-3
    )
    assert any("does not state its grid" in notice for notice in got.notices)


def test_empty_cells_and_wild_values_have_no_level(tmp_path: Path) -> None:
    data = levels()
    data[:10] = -9999
    data[20, 20] = 1e20
    got = read(write_geotiff(tmp_path / "a.tif", data.astype("float32")))
    assert got.cells == 240 * 150 - 1
    assert ground.level_at(got.ground, 451100, 213495) is None
    assert any("1 cell hold values that are no levels" in notice for notice in got.notices)
    assert any("1,501 cells of 37,500 have no level" in notice for notice in got.notices)


def test_another_grid_is_converted(tmp_path: Path) -> None:
    west, north = (
        float(v[0]) for v in grid.convert("EPSG:27700", "EPSG:25830", [451000], [213500])
    )
    x, y = np.meshgrid(west + (np.arange(150) + 0.5) * 2, north - (np.arange(250) + 0.5) * 2)
    east, up = grid.convert("EPSG:25830", "EPSG:27700", x.ravel(), y.ravel())
    path = write_geotiff(
        tmp_path / "a.tif",
        plane(east, up).reshape(250, 150),
        west=west,
        north=north,
        crs="EPSG:25830",
    )
    got = read(path)
    assert any("it was converted to EPSG 27700" in notice for notice in got.notices)
    assert ground.level_at(got.ground, 451100, 213222) == pytest.approx(
        plane(451100, 213222), abs=0.01
    )


def test_only_the_part_around_the_course_is_kept(tmp_path: Path) -> None:
    path = write_geotiff(tmp_path / "a.tif", levels(1000, 1000, 2, 214000), north=214000)
    got = read(path, keep=NEAR)
    west, south, east, north = got.ground.bounds
    assert west == pytest.approx(451001)
    assert south <= NEAR[1] - 98
    assert east == pytest.approx(NEAR[2] + 300, abs=3)
    assert north == pytest.approx(NEAR[3] + 300, abs=3)
    assert any("within 300 m around the course" in notice for notice in got.notices)
    assert ground.level_at(got.ground, 451100, 213222) == pytest.approx(
        plane(451100, 213222), abs=1e-3
    )


def test_a_very_fine_grid_is_averaged_and_keeps_its_levels(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("worksprog.course.reading.ground_grid.KEPT_CELLS", 9_000)
    got = read(write_geotiff(tmp_path / "a.tif", levels()))
    assert got.ground.cell_m == 6
    assert any("averaged to cells of 6 m" in notice for notice in got.notices)
    assert ground.level_at(got.ground, 451100, 213222) == pytest.approx(
        plane(451100, 213222), abs=1e-3
    )


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"west": 610000, "north": 5741000}, "km from the course"),
        ({"west": -1.26, "north": 51.81, "cell": 0.0001, "crs": None}, "latitude and longitude"),
        ({"transform": Affine.identity()}, "does not say where it lies"),
        ({"transform": Affine(2, 0.5, 451000, 0.5, -2, 213500)}, "turned"),
        ({"transform": Affine(2, 0, 451000, 0, -3, 213500)}, "not square"),
        ({"transform": Affine(2, 0, 451000, 0, 2, 213000)}, "north to south"),
    ],
)
@pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning")
def test_grids_that_cannot_be_used_are_told(tmp_path: Path, more: Any, words: str) -> None:
    with pytest.raises(ReadError, match=words):
        read(write_geotiff(tmp_path / "a.tif", levels().astype("float32"), **more))


def test_swapped_axes_are_recognised(tmp_path: Path) -> None:
    with pytest.raises(AxesSwapped):
        read(write_geotiff(tmp_path / "a.tif", levels(), west=213000, north=451500))


def test_a_picture_is_no_ground(tmp_path: Path) -> None:
    picture = np.zeros((20, 20, 3), dtype="uint8")
    with pytest.raises(ReadError, match="coloured picture"):
        read(write_geotiff(tmp_path / "a.tif", picture, nodata=None))


def test_a_grid_without_any_level_is_told(tmp_path: Path) -> None:
    with pytest.raises(ReadError, match="holds no level"):
        read(write_geotiff(tmp_path / "a.tif", np.full((20, 20), -9999.0)))


def test_too_many_cells_are_refused_before_they_are_read(tmp_path: Path) -> None:
    path = write_geotiff(tmp_path / "a.tif", np.zeros((1, 1), dtype="uint8"), nodata=None)
    import rasterio

    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=60_000,
        height=60_000,
        count=1,
        dtype="uint8",
        crs="EPSG:27700",
        transform=Affine(1, 0, 451000, 0, -1, 213500),
        sparse_ok=True,
        compress="deflate",
        tiled=True,
    ):
        pass
    assert path.stat().st_size < 3_000_000
    with pytest.raises(ReadError, match="60,000 by 60,000 cells"):
        read(path)


def test_damaged_grids_are_told(tmp_path: Path) -> None:
    whole = write_geotiff(tmp_path / "a.tif", levels()).read_bytes()
    (tmp_path / "b.tif").write_bytes(whole[:5000])
    with pytest.raises(ReadError, match="damaged"):
        read(tmp_path / "b.tif")
    (tmp_path / "c.asc").write_bytes(b"ncols 4\nnrows nonsense\n")
    with pytest.raises(ReadError, match="damaged"):
        read(tmp_path / "c.asc")
