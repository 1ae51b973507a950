"""What an uploaded file really is, told from its content; and safe ways to open it.

A file's name is a claim. Nothing is opened by a driver before its first bytes have said what it
is, nothing is opened but a private copy, and archives are unpacked by count and measure.
"""

from __future__ import annotations

import errno
import json
import re
import sqlite3
import stat
import tempfile
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import closing, contextmanager
from enum import StrEnum
from pathlib import Path, PurePosixPath

from worksprog.course.reading.results import ReadError

MEGABYTE = 1024 * 1024
MOST_UNPACKED = 300 * MEGABYTE
MOST_ENTRIES = 200
MOST_RATIO = 200
_SHAPE_PARTS = frozenset({".shp", ".shx", ".dbf", ".prj", ".cpg"})


class Sort(StrEnum):
    """What a file is, as a person would say it."""

    TABLE = "a text table (CSV)"
    GEOJSON = "GeoJSON"
    GEOPACKAGE = "a GeoPackage"
    SHAPES = "a zipped Shapefile"
    DXF = "a DXF drawing"
    GEOTIFF = "a GeoTIFF"
    ASCII_GRID = "an ASCII grid"


ENDINGS: dict[Sort, frozenset[str]] = {
    Sort.TABLE: frozenset({".csv", ".txt", ".tsv", ".xyz", ".asc", ".pts"}),
    Sort.GEOJSON: frozenset({".geojson", ".json"}),
    Sort.GEOPACKAGE: frozenset({".gpkg"}),
    Sort.SHAPES: frozenset({".zip"}),
    Sort.DXF: frozenset({".dxf"}),
    Sort.GEOTIFF: frozenset({".tif", ".tiff"}),
    Sort.ASCII_GRID: frozenset({".asc", ".grd", ".txt"}),
}
_FEATURES = (Sort.GEOPACKAGE, Sort.GEOJSON, Sort.SHAPES, Sort.DXF)
SUITS: dict[str, tuple[Sort, ...]] = {
    "spot_heights": (Sort.TABLE,),
    "features": _FEATURES,
    "ground_grid": (Sort.GEOTIFF, Sort.ASCII_GRID),
}
_CALLED = {
    "spot_heights": "spot heights",
    "features": "features",
    "ground_grid": "ground as a grid",
}
_STRANGERS: tuple[tuple[bytes, str], ...] = (
    (b"%PDF", "a PDF; a drawing printed to PDF has lost its coordinates"),
    (b"AC10", "a DWG drawing; save it as DXF"),
    (b"AutoCAD Binary DXF", "a binary DXF; save it as text (ASCII) DXF"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"GIF8", "a picture"),
    (b"MZ", "a program"),
    (b"\x7fELF", "a program"),
    (b"\x1f\x8b", "packed with gzip; unpack it first"),
    (b"7z\xbc\xaf", "packed with 7-Zip; unpack it first"),
    (b"Rar!", "packed with RAR; unpack it first"),
    (b"\xd0\xcf\x11\xe0", "an old office document; save the table as CSV"),
    (b"LASF", "a point cloud (LAS); thin it to spot heights or a grid first"),
)


def check_size(size: int, limit: int) -> None:
    """Raises ReadError for an empty file or one beyond the limit in bytes."""
    if size == 0:
        raise ReadError("The file is empty.")
    if size > limit:
        raise ReadError(
            f"The file has {size / MEGABYTE:,.0f} MB; the most that is taken is "
            f"{limit / MEGABYTE:,.0f} MB. Nothing was saved; deliver it in parts or thinned."
        )


def _inside_zip(path: Path) -> Sort:
    with _opened_zip(path) as archive:
        names = [PurePosixPath(name.replace("\\", "/")) for name in archive.namelist()]
    endings = {name.suffix.lower() for name in names}
    if ".shp" in endings:
        return Sort.SHAPES
    if any(name.parts[:1] == ("xl",) for name in names):
        raise ReadError("The file is a spreadsheet; save its sheet as CSV and bring that.")
    if any(name.parts[:1] == ("word",) for name in names):
        raise ReadError("The file is a text document, not survey data.")
    if ".kml" in endings:
        raise ReadError("The file is KMZ, which is not taken; deliver GeoPackage or GeoJSON.")
    held = ", ".join(sorted(str(name) for name in names)[:4]) or "nothing"
    raise ReadError(f"The zip holds no Shapefile (it holds {held}). Bring other files unzipped.")


def _is_geopackage(path: Path) -> bool:
    try:
        with closing(sqlite3.connect(f"{path.as_uri()}?mode=ro&immutable=1", uri=True)) as base:
            found = base.execute(
                "SELECT count(*) FROM sqlite_master WHERE type = 'table' AND name = 'gpkg_contents'"
            ).fetchone()
    except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
        raise ReadError(
            "The file is a damaged database, no GeoPackage that can be read."
        ) from error
    return bool(found[0])


def recognise(path: Path) -> Sort:
    """What the file is, by content alone.

    Raises ReadError, saying what it is where that can be told, for anything that is not taken.
    """
    with path.open("rb") as file:
        head = file.read(8192)
    if not head.strip(b"\x00 \r\n\t"):
        raise ReadError("The file is empty.")
    for mark, words in _STRANGERS:
        if head.startswith(mark):
            raise ReadError(f"The file is {words}. Nothing was saved.")
    if head.startswith(b"SQLite format 3\x00"):
        if _is_geopackage(path):
            return Sort.GEOPACKAGE
        raise ReadError("The file is a database, but no GeoPackage.")
    if head[:4] in (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+"):
        return Sort.GEOTIFF
    if head.startswith((b"PK\x03\x04", b"PK\x05\x06")):
        return _inside_zip(path)
    return _which_text(head)


def _which_text(head: bytes) -> Sort:
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return Sort.TABLE
    if b"\x00" in head:
        raise ReadError("The file is binary and of no kind that is taken here.")
    text = head.decode("latin-1").removeprefix("ï»¿").lstrip()
    if text.startswith("{"):
        return Sort.GEOJSON
    if text.startswith("["):
        raise ReadError("The file is JSON but not GeoJSON: it does not say what its shapes are.")
    if text.startswith("<"):
        kml = "<kml" in text[:2000].lower()
        told = "KML" if kml else "an XML or web document"
        raise ReadError(f"The file is {told}, which is not taken; deliver GeoPackage or GeoJSON.")
    if re.match(r"(999\s*\r?\n.*\r?\n\s*)*0\s*\r?\n\s*SECTION", text):
        return Sort.DXF
    if re.match(r"(?i)(ncols|nrows)\s+\d+", text):
        return Sort.ASCII_GRID
    return Sort.TABLE


def expect(sort: Sort, what: str) -> None:
    """Raises ReadError when this sort of file does not hold what is to be imported."""
    if sort in SUITS[what]:
        return
    right = next(name for name, sorts in SUITS.items() if sort in sorts)
    wanted = ", ".join(SUITS[what][:-1])
    wanted = f"{wanted} or {SUITS[what][-1]}" if wanted else str(SUITS[what][-1])
    raise ReadError(
        f"By its content the file is {sort}: that holds {_CALLED[right]}. For {_CALLED[what]} "
        f"expected {wanted}. Nothing was saved."
    )


def name_told(file_name: str, sort: Sort) -> str | None:
    """A remark when the file's ending says something else than its content."""
    ending = PurePosixPath(file_name.replace("\\", "/")).suffix.lower()
    if ending in ENDINGS[sort]:
        return None
    called = f"ends in {ending}" if ending else "has no ending"
    return f"The name {called}, but by its content the file is {sort}; it was read as that."


@contextmanager
def _opened_zip(path: Path) -> Iterator[zipfile.ZipFile]:
    try:
        with zipfile.ZipFile(path) as archive:
            yield archive
    except (zipfile.BadZipFile, NotImplementedError, EOFError, OSError, zlib.error) as error:
        if isinstance(error, OSError) and error.errno != errno.EINVAL:
            raise
        raise ReadError("The zip is damaged or cut short and cannot be opened.") from error


def _check_entries(archive: zipfile.ZipFile) -> list[zipfile.ZipInfo]:
    entries = archive.infolist()
    if len(entries) > MOST_ENTRIES:
        raise ReadError(
            f"The zip holds {len(entries):,} files; the most that is taken is {MOST_ENTRIES}."
        )
    for entry in entries:
        name = entry.filename.replace("\\", "/")
        if name.startswith("/") or ".." in name.split("/") or re.match(r"[A-Za-z]:", name):
            raise ReadError(
                f"The zip holds a name that leads outside it (“{entry.filename[:80]}”). "
                "It was not unpacked."
            )
        if stat.S_ISLNK(entry.external_attr >> 16):
            raise ReadError(f"The zip holds a link (“{entry.filename[:80]}”). It was not unpacked.")
        if entry.flag_bits & 0x1:
            raise ReadError("The zip is locked with a password; deliver it without.")
    declared = sum(entry.file_size for entry in entries)
    packed = sum(entry.compress_size for entry in entries) or 1
    if declared > MOST_UNPACKED or (declared > 10 * MEGABYTE and declared / packed > MOST_RATIO):
        raise ReadError(
            f"The zip would unpack to {declared / MEGABYTE:,.0f} MB from "
            f"{packed / MEGABYTE:,.1f} MB: it is not a survey. It was not unpacked."
        )
    return entries


def unpack_shapefiles(path: Path, into: Path) -> tuple[list[tuple[str, Path]], list[str]]:
    """Copy the parts of the Shapefiles in a zip into a folder, under names of our own.

    Returns the layers (name, path of the .shp) and remarks. What the zip declares about sizes is
    not believed: bytes are counted while they are written.
    Raises ReadError for bombs, names or links that lead outside, passwords, missing parts.
    """
    parts: dict[str, dict[str, Path]] = {}
    remarks: list[str] = []
    written = 0
    with _opened_zip(path) as archive:
        for entry in _check_entries(archive):
            name = PurePosixPath(entry.filename.replace("\\", "/"))
            ending = name.suffix.lower()
            if entry.is_dir() or ending not in _SHAPE_PARTS or "__MACOSX" in name.parts:
                continue
            layer = str(name.with_suffix(""))
            number = list(parts).index(layer) if layer in parts else len(parts)
            target = into / f"layer{number}{ending}"
            parts.setdefault(layer, {})[ending] = target
            with archive.open(entry) as packed, target.open("wb") as file:
                while block := packed.read(MEGABYTE):
                    written += len(block)
                    if written > MOST_UNPACKED:
                        raise ReadError(
                            f"The zip unpacks to more than {MOST_UNPACKED // MEGABYTE} MB, "
                            "which is more than it says. Nothing was saved."
                        )
                    file.write(block)
    layers = []
    short = len({PurePosixPath(layer).name for layer in parts}) == len(parts)
    for layer, found in parts.items():
        told = PurePosixPath(layer).name if short else layer
        if ".shp" not in found:
            continue
        missing = [ending for ending in (".shx", ".dbf") if ending not in found]
        if missing:
            raise ReadError(
                f"Shapefile “{told}” is missing its part {' and '.join(missing)}. A Shapefile is "
                "several files of one name; zip all of them."
            )
        if ".prj" not in found:
            remarks.append(
                f"Shapefile “{told}” does not state its grid (no .prj); read as the club's grid."
            )
        layers.append((told, found[".shp"]))
    return layers, remarks


@contextmanager
def private_copy(path: Path, ending: str) -> Iterator[Path]:
    """The file alone in a folder of its own, so that no driver meets a neighbour it could read."""
    with tempfile.TemporaryDirectory(prefix="reading-") as folder:
        target = Path(folder) / f"file{ending}"
        target.write_bytes(path.read_bytes())
        yield target


def load_json(path: Path, *, limit: int) -> object:
    """Parsed JSON. Raises ReadError with the place where it breaks off or is not JSON."""
    check_size(path.stat().st_size, limit)
    try:
        return json.loads(path.read_bytes().decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise ReadError("The file is not UTF-8 text, which GeoJSON has to be.") from error
    except json.JSONDecodeError as error:
        raise ReadError(
            f"The file is not whole GeoJSON: line {error.lineno}, column {error.colno}: {error.msg}."
        ) from error
    except RecursionError as error:
        raise ReadError("The file nests too deeply to be GeoJSON.") from error
    except ValueError as error:
        raise ReadError(
            "The file holds a number of thousands of digits; no GeoJSON does."
        ) from error
