"""XLSX files to download: typed cells, words never taken for formulas, own formulas with values."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum
from functools import partial
from typing import Any

from django.http import HttpResponse
from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
from openpyxl.styles import Alignment, Border, Font, Side
from openpyxl.utils import get_column_letter

from worksprog.clubs.csv_files import reads_as_formula
from worksprog.clubs.spreadsheets.reading import place_of

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


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
