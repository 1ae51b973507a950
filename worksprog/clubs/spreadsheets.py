"""Tables from CSV and XLSX files, and XLSX files to download.

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
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from enum import StrEnum
from functools import partial
from typing import Any

from django.http import HttpResponse
from openpyxl import Workbook, load_workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
from openpyxl.styles import Alignment, Border, Font, Side
from openpyxl.utils import get_column_letter

from worksprog.clubs.csv_files import reads_as_formula, unguarded

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
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
            for part in parts:
                if part.filename.lower().endswith(_MARKUP):
                    _check_markup(part.filename, package.read(part))
    except FileRefused:
        raise
    except Exception as error:
        raise not_one from error


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


class Kind(StrEnum):
    """What a column of a written sheet holds."""

    WORDS = "words"
    NUMBER = "number"
    MONEY = "money"
    PERCENT = "percent"  # given as a share: 0.2 for 20 %
    DATE = "date"


@dataclass(frozen=True)
class Column:
    title: str
    kind: Kind = Kind.WORDS
    width: float = 14.0  # in letters
    places: int = 2  # of numbers and percents


@dataclass(frozen=True)
class Worked:
    """A formula of our own and what it comes to, so that readers which work nothing out show it.

    formula  as a spreadsheet writes it, with the equals sign: "=SUM(D2:D9)"
    """

    formula: str
    value: Decimal | float | int


Written = str | Decimal | float | int | date | bool | Worked | None


@dataclass(frozen=True)
class Line:
    """One row to write; ``strong`` for sums and sub-headings."""

    cells: Sequence[Written]
    strong: bool = False


@dataclass(frozen=True)
class SheetOut:
    """A sheet to write: words above the table, the heading, the rows (tuples or ``Line``).

    The heading stands in row ``heading_row``, the first row of figures right below it.
    """

    title: str
    columns: Sequence[Column]
    rows: Iterable[Line | Sequence[Written]]
    above: Sequence[str] = ()

    @property
    def heading_row(self) -> int:
        return len(self.above) + 2 if self.above else 1


_RULE = Border(bottom=Side(style="thin"))
_STRONG = Font(bold=True)
_TITLE_SIGNS = re.compile(r"[\[\]:*?/\\]")


def sheet_title(words: str, taken: Iterable[str] = ()) -> str:
    """A name that a sheet may bear: at most 31 letters, none of []:*?/\\, not twice."""
    base = _TITLE_SIGNS.sub(" ", words).strip().strip("'") or "Sheet"
    have = {name.lower() for name in taken}
    title, count = base[:31], 1
    while title.lower() in have:
        count += 1
        title = f"{base[: 31 - len(str(count)) - 1]} {count}"
    return title


def write_workbook(sheets: Sequence[SheetOut]) -> bytes:
    """An XLSX file: typed cells, words never taken for formulas, own formulas with their value.

    ValueError when a row has not as many cells as its sheet has columns.
    """
    lines = [_lines_of(out) for out in sheets]
    book = Workbook(write_only=True)
    values: list[dict[str, str]] = []
    for out, rows in zip(sheets, lines, strict=True):
        sheet = book.create_sheet(sheet_title(out.title, book.sheetnames))
        values.append(_write_sheet(sheet, out, rows))
    stream = io.BytesIO()
    book.save(stream)
    return _with_values(stream.getvalue(), values)


def _lines_of(out: SheetOut) -> list[Line]:
    lines = [row if isinstance(row, Line) else Line(row) for row in out.rows]
    for line in lines:
        if len(line.cells) != len(out.columns):
            raise ValueError(
                f"Sheet “{out.title}”: {len(line.cells)} cells in a row of {len(out.columns)}."
            )
    return lines


def _write_sheet(sheet: Any, out: SheetOut, lines: Sequence[Line]) -> dict[str, str]:
    worked: dict[str, str] = {}
    for place, column in enumerate(out.columns, start=1):
        sheet.column_dimensions[get_column_letter(place)].width = column.width
    sheet.freeze_panes = f"A{out.heading_row + 1}"
    for words in out.above:
        sheet.append([_words_cell(sheet, words)])
    if out.above:
        sheet.append([])
    heading = []
    for column in out.columns:
        cell = _words_cell(sheet, column.title)
        cell.font, cell.border = _STRONG, _RULE
        if column.kind not in (Kind.WORDS, Kind.DATE):
            cell.alignment = Alignment(horizontal="right", wrap_text=True)
        heading.append(cell)
    sheet.append(heading)
    for number, line in enumerate(lines, start=out.heading_row + 1):
        cells = []
        for place, (column, value) in enumerate(zip(out.columns, line.cells, strict=True)):
            cell = _cell(sheet, value, column)
            if cell is not None and line.strong:
                cell.font = _STRONG
            cells.append(cell)
            if isinstance(value, Worked):
                worked[place_of(number, place)] = _plain_number(value.value)
        sheet.append(cells)
    return worked


def _cell(sheet: Any, value: Written, column: Column) -> Any:
    if value is None:
        return None
    if isinstance(value, str):
        return _words_cell(sheet, value)
    cell = WriteOnlyCell(sheet, value=value.formula if isinstance(value, Worked) else value)
    if isinstance(value, date):
        cell.number_format = "yyyy-mm-dd"
    elif not isinstance(value, bool):
        cell.number_format = _format_of(column)
    return cell


def _format_of(column: Column) -> str:
    places = 2 if column.kind == Kind.MONEY else column.places
    decimals = f".{'0' * places}" if places else ""
    if column.kind == Kind.PERCENT:
        return f"0{decimals}%"
    return f"#,##0{decimals}"


def _words_cell(sheet: Any, words: str) -> Any:
    """Words as words: the type says so, and the mark keeps them so when the cell is edited."""
    text = ILLEGAL_CHARACTERS_RE.sub("", words)
    cell = WriteOnlyCell(sheet, value=text)
    cell.data_type = "s"
    if reads_as_formula(text):
        cell.quotePrefix = True
    return cell


def _plain_number(value: Decimal | float | int) -> str:
    return f"{value:f}" if isinstance(value, Decimal) else repr(value)


_FORMULA_CELL = re.compile(r'(<c r="([A-Z]+[0-9]+)"[^>]*><f>[^<]*</f>)(?:<v ?/>|<v></v>)')


def _with_value(known: Mapping[str, str], found: re.Match[str]) -> str:
    return f"{found[1]}<v>{known[found[2]]}</v>"


def _with_values(data: bytes, values: Sequence[Mapping[str, str]]) -> bytes:
    """Put what each formula comes to beside it; the writer below leaves that place empty."""
    if not any(values):
        return data
    by_part = {
        f"xl/worksheets/sheet{place}.xml": known for place, known in enumerate(values, start=1)
    }
    stream = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(data)) as old,
        zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for part in old.infolist():
            content = old.read(part)
            known = by_part.get(part.filename)
            if known:
                content = _FORMULA_CELL.sub(partial(_with_value, known), content.decode()).encode()
            new.writestr(part.filename, content)
    return stream.getvalue()


def workbook_answer(name: str, sheets: Sequence[SheetOut]) -> HttpResponse:
    answer = HttpResponse(write_workbook(sheets), content_type=XLSX)
    answer["Content-Disposition"] = f'attachment; filename="{name}.xlsx"'
    return answer
