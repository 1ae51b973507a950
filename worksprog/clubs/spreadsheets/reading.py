"""Tables from CSV and XLSX files.

What comes in is not trusted: how much is read is limited before it is unpacked, and nothing in it
is ever worked out. A cell with a formula arrives as a ``Formula``, never as the figure that the
file says it came to, for nobody here has checked that figure.
"""

from __future__ import annotations

import csv
import io
import re
import warnings
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

from openpyxl import load_workbook
from openpyxl.utils import get_column_letter

from worksprog.clubs.csv_files import unguarded

_LAST_ROW = 1_048_576  # of a sheet, by the format (ECMA-376)
_OLD_BINARY = b"\xd0\xcf\x11\xe0"
_MARKUP = (".xml", ".rels", ".vml")

# Checks that a file's maker put on its cells are no matter here.
warnings.filterwarnings("ignore", category=UserWarning, module=r"openpyxl\.")


class FileRefused(ValueError):
    """The file cannot be taken at all; the words tell why and what was expected."""


@dataclass(frozen=True)
class Limits:
    """How much of a file is read."""

    rows: int = 5000  # with something in them, the heading too
    columns: int = 60
    letters: int = 2000  # of one cell
    file_bytes: int = 20_000_000
    unpacked_bytes: int = 60_000_000
    packed_parts: int = 500


@dataclass(frozen=True)
class Formula:
    """A cell that would be worked out, as it stands; here it never is."""

    text: str

    def __str__(self) -> str:
        return self.text


@dataclass(frozen=True)
class Fault:
    """A cell that already says it is wrong, such as #REF!."""

    text: str

    def __str__(self) -> str:
        return self.text


Cell = str | Decimal | date | datetime | time | bool | Formula | Fault | None


@dataclass(frozen=True)
class Row:
    number: int  # as the file's own reader counts, from 1
    cells: tuple[Cell, ...]
    signs: Mapping[int, str] = field(default_factory=dict)  # currency that a cell is shown in

    def at(self, place: int) -> Cell:
        return self.cells[place] if place < len(self.cells) else None


@dataclass(frozen=True)
class Table:
    """One sheet's rows that have something in them."""

    name: str
    rows: tuple[Row, ...]
    separator: str = ""  # of a CSV file; "" where cells have types of their own
    unread: tuple[str, ...] = ()  # the file's other sheets


def place_of(row: int, column: int) -> str:
    """'C7' for the third column of row 7, as spreadsheets name a cell."""
    return f"{get_column_letter(column + 1)}{row}"


def read_table(data: bytes, *, limits: Limits | None = None) -> Table:
    """The rows of a CSV file or of an XLSX file's first sheet that has any.

    FileRefused in words when it is neither, too large, or empty.
    """
    limits = limits or Limits()
    if len(data) > limits.file_bytes:
        raise FileRefused(
            f"The file has {len(data) / 1e6:,.1f} MB; at most {limits.file_bytes / 1e6:,.1f} MB "
            "are read. Bring it in by parts."
        )
    if data[:4] == _OLD_BINARY:
        raise FileRefused(
            "This is a spreadsheet of the old binary kind, or one locked with a password; save it "
            "as XLSX or CSV, without a password."
        )
    table = _read_xlsx(data, limits) if data[:2] == b"PK" else _read_csv(data, limits)
    if not table.rows:
        raise FileRefused("The file is empty; a heading and at least one row are expected.")
    return table


def _too_many_rows(where: str, limits: Limits) -> FileRefused:
    return FileRefused(
        f"{where} has more than {limits.rows:,} rows; bring it in by parts. Nothing was taken."
    )


def decoded(data: bytes) -> str:
    """The file's text; UTF-8 with or without a mark, else the usual Western code page."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", errors="replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def _read_csv(data: bytes, limits: Limits) -> Table:
    text = decoded(data)
    if "\x00" in text:
        raise FileRefused("This is neither a CSV nor an XLSX file.")
    first = text.split("\n", 1)[0]
    separator = max(",;\t", key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    rows: list[Row] = []
    try:
        for record in reader:
            if not any(cell.strip() for cell in record):
                continue
            if len(rows) >= limits.rows:
                raise _too_many_rows("The file", limits)
            number = reader.line_num
            _check_width(number, len(record), limits)
            cells = tuple(_csv_cell(cell.strip()) for cell in record)
            _check_letters(number, cells, limits)
            rows.append(Row(number, cells))
    except csv.Error as error:
        raise FileRefused(f"Row {reader.line_num} cannot be read: {error}.") from error
    return Table("", tuple(rows), separator)


def _csv_cell(text: str) -> Cell:
    return Formula(text) if text[:1] == "=" else unguarded(text)


def _check_width(number: int, width: int, limits: Limits) -> None:
    if width > limits.columns:
        raise FileRefused(
            f"Row {number} goes on beyond {limits.columns} columns; fewer are expected."
        )


def _check_letters(number: int, cells: Sequence[Cell], limits: Limits) -> None:
    for column, cell in enumerate(cells):
        if isinstance(cell, str | Formula) and len(str(cell)) > limits.letters:
            raise FileRefused(
                f"Cell {place_of(number, column)} holds more than {limits.letters:,} letters."
            )


def _check_package(data: bytes, limits: Limits) -> None:
    """Refuse what would unpack to too much, before anything is unpacked.

    A part's stated size binds: ``zipfile`` reads no further than it.
    """
    not_one = FileRefused("The file begins like an XLSX file but cannot be read as one.")
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as package:
            parts = package.infolist()
            unpacked = sum(part.file_size for part in parts)
            if len(parts) > limits.packed_parts or unpacked > limits.unpacked_bytes:
                raise FileRefused(
                    f"The file unpacks to {unpacked / 1e6:,.0f} MB in {len(parts):,} parts; at "
                    f"most {limits.unpacked_bytes / 1e6:,.0f} MB in {limits.packed_parts:,} parts "
                    "are read."
                )
            if not any(part.filename.startswith("xl/") for part in parts):
                raise FileRefused("This is a packed file but no XLSX; save it as XLSX or CSV.")
            filled = []
            for part in parts:
                if part.filename.lower().endswith(_MARKUP):
                    markup = package.read(part)
                    _check_markup(part.filename, markup)
                    if part.filename.startswith("xl/worksheets/"):
                        filled.append(_filled_rows(markup))
    except FileRefused:
        raise
    except Exception as error:
        raise not_one from error
    if any(filled) and min(rows for rows in filled if rows) > limits.rows:
        raise _too_many_rows("The sheet", limits)


def _filled_rows(markup: bytes) -> int:
    """Rows with a value, counted in the text: quick, where reading them all would take long."""
    return sum(b"<v>" in row or b"<is>" in row for row in markup.split(b"<row")[1:])


def _check_markup(name: str, markup: bytes) -> None:
    """Refuse definitions that grow when read; no spreadsheet program writes any.

    Only what begins as plain UTF-8 passes, so that no other coding can hide them.
    """
    begins = markup.removeprefix(b"\xef\xbb\xbf").lstrip()[:1]
    if begins not in (b"<", b"") or b"<!DOCTYPE" in markup or b"<!ENTITY" in markup:
        raise FileRefused(f"The file's part {name[:80]} is not what a spreadsheet program writes.")


def _read_xlsx(data: bytes, limits: Limits) -> Table:
    _check_package(data, limits)
    try:
        # Without data_only: a formula must be seen as one, not taken for what it came to.
        book = load_workbook(
            io.BytesIO(data), read_only=True, data_only=False, keep_links=False, keep_vba=False
        )
        sheets = [sheet for sheet in book.worksheets if sheet.sheet_state == "visible"]
        for place, sheet in enumerate(sheets):
            rows = tuple(_xlsx_rows(sheet, limits))
            if rows:
                return Table(sheet.title, rows, unread=tuple(s.title for s in sheets[place + 1 :]))
    except FileRefused:
        raise
    except Exception as error:
        raise FileRefused(
            "The file begins like an XLSX file but cannot be read as one; open it in your "
            "spreadsheet program and save it again as XLSX or CSV."
        ) from error
    return Table("", ())


def _xlsx_rows(sheet: Any, limits: Limits) -> Iterator[Row]:
    sheet.reset_dimensions()  # what a file says of its own size is not believed
    count = 0
    blank: Any = None
    found = sheet.iter_rows(max_row=_LAST_ROW, max_col=limits.columns + 1)
    for number, cells in enumerate(found, start=1):
        if cells is blank:  # the reader gives one and the same for each row that a file leaves out
            continue
        read = [_xlsx_cell(cell) for cell in cells]
        while read and read[-1] is None:
            read.pop()
        if not read:
            blank = cells
            continue
        count += 1
        if count > limits.rows:
            raise _too_many_rows(f"The sheet “{sheet.title}”", limits)
        _check_width(number, len(read), limits)
        _check_letters(number, read, limits)
        signs = {
            place: sign
            for place, value in enumerate(read)
            if isinstance(value, Decimal) and (sign := _currency_in(cells[place].number_format))
        }
        yield Row(number, tuple(read), signs)


_CURRENCY = re.compile(r"\[\$([^\]-]+)[^\]]*\]|([£€$¥])(?![^\[]*\])")


def _currency_in(number_format: str) -> str:
    """'€' for a cell whose format says so; a place alone, such as [$-809], says nothing."""
    found = _CURRENCY.search(number_format or "")
    return (found[1] or found[2]).strip() if found else ""


def _xlsx_cell(cell: Any) -> Cell:
    value = cell.value
    if value is None:
        return None
    if cell.data_type == "f":
        return Formula(str(getattr(value, "text", None) or value))
    if cell.data_type == "e":
        return Fault(str(value))
    if isinstance(value, bool | date | time):
        return value
    if isinstance(value, int | float):
        return Decimal(repr(value))
    if isinstance(value, timedelta):
        return str(value)
    return str(value).strip() or None


def words_of(cell: Cell) -> str:
    """A cell as words; FileRefused never: a formula's own text comes back as it stands."""
    if cell is None:
        return ""
    if isinstance(cell, Decimal):
        return f"{cell.normalize():f}"
    if isinstance(cell, datetime):
        return cell.date().isoformat() if cell.time() == time() else cell.isoformat(sep=" ")
    if isinstance(cell, date | time):
        return cell.isoformat()
    return str(cell)
