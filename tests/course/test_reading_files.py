"""What a file really is, and what must never be opened."""

from __future__ import annotations

import io
import json
import sqlite3
import stat
import zipfile
from pathlib import Path

import pytest

from worksprog.course.reading import files
from worksprog.course.reading.files import Sort, expect, name_told, recognise
from worksprog.course.reading.results import ReadError


def put(folder: Path, data: bytes, name: str = "survey.bin") -> Path:
    path = folder / name
    path.write_bytes(data)
    return path


def zipped(*entries: tuple[str, bytes]) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in entries:
            archive.writestr(name, data)
    return buffer.getvalue()


@pytest.mark.parametrize(
    ("data", "sort"),
    [
        (b"451010,213020,61.2\n", Sort.TABLE),
        (b"\xef\xbb\xbfeasting;northing;level\n", Sort.TABLE),
        ("451010,213020,61.2\n".encode("utf-16"), Sort.TABLE),
        (b'\xef\xbb\xbf {"type": "FeatureCollection"', Sort.GEOJSON),
        (b"  0\r\nSECTION\r\n  2\r\nHEADER\r\n", Sort.DXF),
        (b"999\nwritten by hand\n0\nSECTION\n2\nENTITIES\n", Sort.DXF),
        (b"II*\x00rest", Sort.GEOTIFF),
        (b"MM\x00*rest", Sort.GEOTIFF),
        (b"ncols 4\nnrows 5\n", Sort.ASCII_GRID),
        (b"NCOLS         4\r\nNROWS 5\r\n", Sort.ASCII_GRID),
        (zipped(("course/ditches.shp", b"x")), Sort.SHAPES),
    ],
)
def test_told_from_content_whatever_the_name(tmp_path: Path, data: bytes, sort: Sort) -> None:
    assert recognise(put(tmp_path, data, "lying.pdf")) is sort


def test_a_geopackage_is_a_database_with_its_table_of_contents(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    base = sqlite3.connect(path)
    base.execute("CREATE TABLE other (a)")
    base.commit()
    with pytest.raises(ReadError, match="no GeoPackage"):
        recognise(path)
    base.execute("CREATE TABLE gpkg_contents (a)")
    base.commit()
    base.close()
    assert recognise(path) is Sort.GEOPACKAGE
    with pytest.raises(ReadError, match="damaged database"):
        recognise(put(tmp_path, b"SQLite format 3\x00" + b"\xff" * 4000))


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"\x00" * 100, "empty"),
        (b"%PDF-1.7", "PDF"),
        (b"AC1032....", "DWG"),
        (b"\x89PNG\r\n", "picture"),
        (b"MZ\x90\x00", "program"),
        (b"\x7fELF", "program"),
        (b"\x1f\x8b\x08", "gzip"),
        (b"LASF\x00", "point cloud"),
        (b"\x01\x02\x00\x03 something", "binary"),
        (b"<?xml version='1.0'?><kml xmlns='x'>", "KML"),
        (b"<OGRVRTDataSource><SrcDataSource>/etc/passwd", "XML"),
        (b"[1, 2, 3]", "not GeoJSON"),
        (b"PK\x03\x04 cut short", "damaged"),
        (zipped(("readme.txt", b"x")), "no Shapefile"),
        (zipped(("xl/workbook.xml", b"x")), "spreadsheet"),
        (zipped(("doc.kml", b"x")), "KMZ"),
    ],
)
def test_strangers_are_named(tmp_path: Path, data: bytes, words: str) -> None:
    with pytest.raises(ReadError, match=words):
        recognise(put(tmp_path, data, "points.csv"))


def test_the_wrong_sort_for_the_purpose_says_what_it_is() -> None:
    expect(Sort.TABLE, "spot_heights")
    with pytest.raises(ReadError, match=r"is a GeoPackage: that holds features\. For spot heights"):
        expect(Sort.GEOPACKAGE, "spot_heights")
    with pytest.raises(ReadError, match="expected a GeoTIFF or an ASCII grid"):
        expect(Sort.TABLE, "ground_grid")


def test_a_lying_ending_is_told() -> None:
    assert name_told("levels.csv", Sort.TABLE) is None
    told = name_told("course.csv", Sort.GEOPACKAGE)
    assert told is not None
    assert "ends in .csv" in told
    assert "GeoPackage" in told
    assert "no ending" in (name_told("course", Sort.DXF) or "")


def test_a_file_of_200_mb_is_refused_by_its_size_alone() -> None:
    with pytest.raises(ReadError, match=r"200 MB; the most that is taken is 60 MB"):
        files.check_size(200 * files.MEGABYTE, 60 * files.MEGABYTE)
    with pytest.raises(ReadError, match="empty"):
        files.check_size(0, 60)
    files.check_size(10, 60)


def unpack(folder: Path, data: bytes) -> list[tuple[str, Path]]:
    target = folder / "out"
    target.mkdir()
    return files.unpack_shapefiles(put(folder, data, "a.zip"), target)[0]


def whole(name: str) -> tuple[tuple[str, bytes], ...]:
    return tuple((f"{name}{ending}", b"data") for ending in (".shp", ".shx", ".dbf", ".prj"))


def test_shapefiles_are_unpacked_under_names_of_our_own(tmp_path: Path) -> None:
    found = unpack(tmp_path, zipped(*whole("a/ditches"), *whole("a/tees"), ("a/read me.exe", b"x")))
    assert [name for name, _ in found] == ["ditches", "tees"]
    assert sorted(p.name for p in (tmp_path / "out").iterdir())[0] == "layer0.dbf"
    assert len(list((tmp_path / "out").iterdir())) == 8


def test_a_missing_grid_is_told(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    path = put(tmp_path, zipped(*whole("tees")[:3]))
    assert "does not state its grid" in files.unpack_shapefiles(path, tmp_path / "out")[1][0]


@pytest.mark.parametrize(
    "name", ["../evil.shp", "/etc/evil.shp", "a/../../evil.shp", "C:\\evil.shp", "..\\evil.shp"]
)
def test_names_that_lead_outside_are_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(ReadError, match="leads outside"):
        unpack(tmp_path, zipped((name, b"x")))
    assert not (tmp_path / "evil.shp").exists()
    assert list((tmp_path / "out").iterdir()) == []


def test_a_link_in_a_zip_is_refused(tmp_path: Path) -> None:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        link = zipfile.ZipInfo("tees.shp")
        link.external_attr = (stat.S_IFLNK | 0o777) << 16
        archive.writestr(link, "/etc/passwd")
    with pytest.raises(ReadError, match="holds a link"):
        unpack(tmp_path, buffer.getvalue())


def test_a_zip_bomb_is_not_unpacked(tmp_path: Path) -> None:
    with pytest.raises(ReadError, match="would unpack to 400 MB"):
        unpack(tmp_path, zipped(("tees.shp", b"\x00" * 400 * files.MEGABYTE)))
    assert list((tmp_path / "out").iterdir()) == []


def test_a_bomb_of_many_files_is_not_unpacked(tmp_path: Path) -> None:
    with pytest.raises(ReadError, match="300 files"):
        unpack(tmp_path, zipped(*((f"{n}.shp", b"") for n in range(300))))


def test_a_zip_that_lies_about_its_sizes_is_stopped_while_writing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(files, "_check_entries", lambda archive: archive.infolist())
    monkeypatch.setattr(files, "MOST_UNPACKED", files.MEGABYTE)
    with pytest.raises(ReadError, match="more than it says"):
        unpack(tmp_path, zipped(("tees.shp", b"\x00" * 3 * files.MEGABYTE)))
    written = sum(p.stat().st_size for p in (tmp_path / "out").iterdir())
    assert written <= files.MEGABYTE


def test_a_locked_zip_is_told(tmp_path: Path) -> None:
    data = bytearray(zipped(*whole("tees")))
    at = -1
    while (at := data.find(b"PK\x01\x02", at + 1)) >= 0:
        data[at + 8] |= 1
    with pytest.raises(ReadError, match="password"):
        unpack(tmp_path, bytes(data))


def test_a_shapefile_without_its_parts_is_told(tmp_path: Path) -> None:
    with pytest.raises(ReadError, match=r"missing its part \.shx and \.dbf"):
        unpack(tmp_path, zipped(("tees.shp", b"x")))


def test_a_damaged_zip_is_told(tmp_path: Path) -> None:
    with pytest.raises(ReadError, match="damaged"):
        unpack(tmp_path, zipped(*whole("tees"))[:60])


def test_json_that_breaks_off_says_where(tmp_path: Path) -> None:
    with pytest.raises(ReadError, match=r"line 2, column \d+"):
        files.load_json(put(tmp_path, b'{"type":\n "Feat'), limit=1000)
    with pytest.raises(ReadError, match="UTF-8"):
        files.load_json(put(tmp_path, b'{"a": "\xe9"}'), limit=1000)
    with pytest.raises(ReadError, match="nests too deeply"):
        files.load_json(put(tmp_path, b'{"a":' + b"[" * 200_000), limit=1_000_000)
    assert files.load_json(put(tmp_path, json.dumps({"a": 1}).encode()), limit=1000) == {"a": 1}
