"""Spreadsheets in (``reading``) and out (``writing``)."""

from __future__ import annotations

from worksprog.clubs.spreadsheets.reading import (
    Cell,
    Fault,
    FileRefused,
    Formula,
    Limits,
    Row,
    Table,
    decoded,
    place_of,
    read_table,
    words_of,
)
from worksprog.clubs.spreadsheets.writing import (
    XLSX,
    Column,
    Kind,
    Line,
    SheetOut,
    Worked,
    Written,
    sheet_title,
    workbook_answer,
    write_workbook,
)

__all__ = [
    "XLSX",
    "Cell",
    "Column",
    "Fault",
    "FileRefused",
    "Formula",
    "Kind",
    "Limits",
    "Line",
    "Row",
    "SheetOut",
    "Table",
    "Worked",
    "Written",
    "decoded",
    "place_of",
    "read_table",
    "sheet_title",
    "words_of",
    "workbook_answer",
    "write_workbook",
]
