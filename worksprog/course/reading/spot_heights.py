"""Spot heights from a text table: easting, northing, level, code."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from worksprog.course.reading.place import Box, check_place, far_ones
from worksprog.course.reading.results import ReadError, Refusal, many

MOST_ROWS = 1_000_000
LOWEST_M, HIGHEST_M = -450.0, 9000.0
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?")
_DECIMAL_COMMA = re.compile(r"[+-]?\d+,\d+")
_NAMES: dict[str, frozenset[str]] = {
    "easting": frozenset({"easting", "eastings", "east", "e", "x", "xcoord", "xcoordinate"}),
    "northing": frozenset({"northing", "northings", "north", "n", "y", "ycoord", "ycoordinate"}),
    "level": frozenset(
        {"level", "levels", "elevation", "elev", "height", "z", "rl", "reducedlevel", "altitude"}
        | {"h", "zcoord", "ht", "groundlevel", "spotheight"}
    ),
    "code": frozenset(
        {"code", "codes", "feature", "featurecode", "description", "desc", "remark", "remarks"}
        | {"string", "type", "note", "notes"}
    ),
}
_DEGREES = frozenset({"lat", "latitude", "lon", "lng", "long", "longitude"})


@dataclass(frozen=True)
class TableForm:
    """How the table was found to be written."""

    separator: str
    decimal: str
    encoding: str
    has_heading: bool
    columns: tuple[str, ...]

    def in_words(self) -> str:
        separator = {",": "comma", ";": "semicolon", "\t": "tab"}[self.separator]
        decimal = "decimal comma" if self.decimal == "," else "decimal point"
        heading = "heading row" if self.has_heading else "no heading row"
        return f"{separator}-separated, {decimal}, {self.encoding}, {heading}: " + ", ".join(
            name or "(not used)" for name in self.columns
        )


@dataclass(frozen=True, eq=False)
class SpotHeights:
    """xyz (n, 3) in the club's grid; rows: the line of the file each came from."""

    xyz: npt.NDArray[np.float64]
    codes: tuple[str, ...]
    rows: npt.NDArray[np.int64]
    refusals: tuple[Refusal, ...]
    notices: tuple[str, ...]
    form: TableForm


def _decoded(data: bytes) -> tuple[str, str]:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        try:
            text = data.decode("utf-16")
        except UnicodeDecodeError as error:
            raise ReadError("The file says it is UTF-16 text but is not.") from error
        if "\x00" in text:
            raise ReadError("The file is binary, not a text table.")
        return text, "UTF-16"
    if b"\x00" in data:
        raise ReadError("The file is binary, not a text table.")
    try:
        return data.decode("utf-8-sig"), "UTF-8"
    except UnicodeDecodeError:
        return data.decode("latin-1"), "Latin-1"


def _separator(lines: list[str]) -> str:
    for candidate in ("\t", ";", ","):
        if sum(line.count(candidate) >= 2 for line in lines) > len(lines) / 2:
            return candidate
    raise ReadError(
        "The columns could not be told apart: expected comma, semicolon or tab between easting, "
        f"northing and level. The first line reads “{lines[0][:80]}”."
    )


def _plain(name: str) -> str:
    return re.sub(r"[^a-z]", "", re.sub(r"[\(\[].*?[\)\]]", "", name.lower()))


def _by_heading(fields: list[str]) -> tuple[str, ...]:
    plain = [_plain(field) for field in fields]
    if any(name in _DEGREES for name in plain):
        raise ReadError(
            "The table gives latitude and longitude in degrees. Expected eastings and northings in "
            "metres in the club's grid. Nothing was saved; export it again in that grid."
        )
    found: list[str] = []
    for name in plain:
        role = next((role for role, names in _NAMES.items() if name in names), "")
        found.append(role if role not in found else "")
    missing = [role for role in ("easting", "northing", "level") if role not in found]
    if missing:
        raise ReadError(
            f"The heading row ({', '.join(fields)[:120]}) names no column for "
            f"{' and '.join(missing)}. Expected easting, northing, level and, if there is one, code."
        )
    return tuple(found)


def _by_position(row: list[str], first_column: list[str]) -> tuple[str, ...]:
    """Columns without a heading: E, N, level(, code), or with a point number in front."""
    numeric = [bool(_NUMBER.fullmatch(field)) for field in row]
    width = len(row)
    counts = len(set(first_column)) == len(first_column) and all(
        text.isdigit() and len(text) < 6 for text in first_column
    )
    numbered = width >= 4 and all(numeric[1:4]) and (counts or not numeric[0])
    if width < 3 + numbered:
        raise ReadError(
            f"The first line ({', '.join(row)[:80]}) has too few columns. Expected easting, northing, "
            "level and, if there is one, code."
        )
    roles = ["easting", "northing", "level", "code"]
    if numbered:
        roles = ["", *roles]
    return tuple((roles + [""] * width)[:width])


class _Table:
    """The rows of a table with their line numbers, and how it is written."""

    def __init__(self, data: bytes) -> None:
        text, encoding = _decoded(data)
        sample = [
            line for line in text[:20_000].splitlines() if line.strip() and not _is_comment(line)
        ][:50]
        if not sample:
            raise ReadError("The table has no rows.")
        self.text, separator = text, _separator(sample)
        fields = [row for _, row in self._rows(separator, most=50)]
        first = fields[0]
        decimal = "."
        if separator != ",":
            bodies = [field.strip() for row in fields[1:] or fields for field in row]
            if any(_DECIMAL_COMMA.fullmatch(field) for field in bodies):
                decimal = ","
        has_heading = not any(self._number(field, decimal) for field in first[:3]) and bool(
            len(fields) > 1 or any(_plain(field) in _NAMES["easting"] for field in first)
        )
        body = fields[1:] if has_heading else fields
        if separator == "," and body and self._comma_means_two_things(first, body, has_heading):
            raise ReadError(
                "The comma seems to stand both between columns and inside numbers (line "
                f"{1 + has_heading}: “{','.join(body[0])[:60]}”). Expected semicolons or tabs "
                "between columns when numbers have a decimal comma."
            )
        if has_heading:
            columns = _by_heading(first)
        else:
            columns = _by_position(
                [field.strip().replace(decimal, ".") for field in first],
                [row[0].strip() for row in body],
            )
        self.form = TableForm(separator, decimal, encoding, has_heading, columns)

    @staticmethod
    def _number(field: str, decimal: str) -> bool:
        return bool(_NUMBER.fullmatch(field.strip().replace(decimal, ".")))

    @staticmethod
    def _comma_means_two_things(first: list[str], body: list[list[str]], has_heading: bool) -> bool:
        whole = all(re.fullmatch(r"\s*-?\d*\s*", field) for row in body for field in row[:6])
        if not whole:
            return False
        if has_heading:
            return all(len(row) >= len(first) + 2 for row in body)
        return all(len(row) >= 6 for row in body)

    def _rows(self, separator: str, most: int | None = None) -> Iterator[tuple[int, list[str]]]:
        reader = csv.reader(io.StringIO(self.text, newline=""), delimiter=separator)
        count = 0
        try:
            for row in reader:
                if not any(field.strip() for field in row) or _is_comment(row[0]):
                    continue
                yield reader.line_num, row
                count += 1
                if most is not None and count >= most:
                    return
        except csv.Error as error:
            raise ReadError(f"Line {reader.line_num} cannot be read: {error}.") from error

    def body(self) -> Iterator[tuple[int, list[str]]]:
        rows = self._rows(self.form.separator)
        if self.form.has_heading:
            next(rows, None)
        return rows


def _is_comment(line: str) -> bool:
    return line.lstrip().startswith(("#", "//"))


def read_spot_heights(
    data: bytes, *, epsg: int, near: Box | None = None, swap_axes: bool = False
) -> SpotHeights:
    """Read a table of spot heights.

    epsg       the club's grid, in which the table has to be
    near       west, south, east, north of the course; None for a first survey
    swap_axes  take the first coordinate as northing, when the one who brought it says so
    Raises ReadError (AxesSwapped) when the table as a whole cannot be used.
    """
    if not data.strip():
        raise ReadError("The file is empty.")
    table = _Table(data)
    form = table.form
    at = {role: form.columns.index(role) for role in form.columns if role}
    if swap_axes:
        at["easting"], at["northing"] = at["northing"], at["easting"]
    taken: list[tuple[float, float, float]] = []
    lines: list[int] = []
    codes: list[str] = []
    refusals: list[tuple[int, str]] = []
    for line, row in table.body():
        if len(lines) + len(refusals) >= MOST_ROWS:
            raise ReadError(f"The table has more than {MOST_ROWS:,} rows; deliver it thinned.")
        values: list[float] = []
        for role in ("easting", "northing", "level"):
            field = row[at[role]].strip() if at[role] < len(row) else ""
            number = field.replace(",", ".") if form.decimal == "," else field
            if not _NUMBER.fullmatch(number) or not math.isfinite(float(number)):
                said = f"“{field[:30]}” is not a number" if field else "is missing"
                refusals.append((line, f"the {role} {said}"))
                break
            values.append(float(number))
        else:
            if not LOWEST_M <= values[2] <= HIGHEST_M:
                refusals.append((line, f"a level of {values[2]:g} m is not on this earth"))
                continue
            taken.append((values[0], values[1], values[2]))
            lines.append(line)
            code_at = at.get("code")
            codes.append(
                row[code_at].strip()[:40] if code_at is not None and code_at < len(row) else ""
            )
    if not taken and not refusals:
        raise ReadError("The table has a heading row and nothing below it.")
    xyz = np.array(taken, dtype=float).reshape(-1, 3)
    rows = np.array(lines, dtype=np.int64)
    check_place(xyz[:, 0], xyz[:, 1], epsg, near)
    keep = np.ones(len(xyz), dtype=bool)
    for index, reason in far_ones(xyz[:, 0], xyz[:, 1], epsg, near).items():
        keep[index] = False
        refusals.append((lines[index], reason))
    twice = _doubles(xyz, keep)
    for index, first in twice.items():
        keep[index] = False
        apart = abs(xyz[index, 2] - xyz[first, 2])
        same = "the same level" if apart < 0.0005 else f"levels {apart:.3f} m apart"
        refusals.append(
            (lines[index], f"same place as line {lines[first]}, {same}; first one kept")
        )
    notices = [f"Read as {form.in_words()}."]
    if form.encoding == "Latin-1":
        notices.append("The text is not UTF-8; it was read as Latin-1, so check accents in codes.")
    if swap_axes:
        notices.append("Easting and northing were exchanged on reading, as asked.")
    if twice:
        notices.append(f"{many(len(twice), 'place')} told more than once; each is kept once.")
    return SpotHeights(
        xyz=np.round(xyz[keep], 4),
        codes=tuple(code for code, kept in zip(codes, keep, strict=True) if kept),
        rows=rows[keep],
        refusals=tuple(Refusal(f"line {line}", reason) for line, reason in sorted(refusals)),
        notices=tuple(notices),
        form=form,
    )


def _doubles(xyz: npt.NDArray[np.float64], keep: npt.NDArray[np.bool_]) -> dict[int, int]:
    """Points at a place (to the millimetre) that an earlier one has already."""
    seen: dict[tuple[float, float], int] = {}
    found: dict[int, int] = {}
    places = np.round(xyz[:, :2], 3)
    for index, (x, y) in enumerate(places.tolist()):
        if not keep[index]:
            continue
        first = seen.setdefault((x, y), index)
        if first != index:
            found[index] = first
    return found
