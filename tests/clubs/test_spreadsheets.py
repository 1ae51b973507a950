"""Files in and out: what is read, what is refused, and that nothing is ever worked out."""

from __future__ import annotations

import io
import zipfile
from datetime import date
from decimal import Decimal
from typing import Any

import openpyxl
import pytest

from worksprog.clubs.csv_files import guarded, unguarded
from worksprog.clubs.spreadsheets import (
    Column,
    Fault,
    FileRefused,
    Formula,
    Kind,
    Limits,
    Line,
    SheetOut,
    Worked,
    place_of,
    read_table,
    sheet_title,
    words_of,
    write_workbook,
)


def xlsx(*rows, title="Prices", also=()) -> bytes:
    book = openpyxl.Workbook()
    book.active.title = title
    for row in rows:
        book.active.append(row)
    for name in also:
        book.create_sheet(name)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def repacked(data: bytes, change) -> bytes:
    """The same package with its parts changed: name, content -> content."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w", 8) as new:
        for name in old.namelist():
            new.writestr(name, change(name, old.read(name)))
    return out.getvalue()


def test_cells_keep_their_types_and_their_places():
    data = xlsx(
        ["code", "price", "dated", "yes"],
        [],
        ["turf", 8.4, date(2026, 3, 2), True],
        also=["Notes"],
    )
    table = read_table(data)
    assert [row.number for row in table.rows] == [1, 3]
    assert table.rows[1].cells[:2] == ("turf", Decimal("8.4"))
    assert words_of(table.rows[1].cells[2]) == "2026-03-02"
    assert table.rows[1].at(3) is True
    assert table.rows[1].at(9) is None
    assert (table.name, table.unread) == ("Prices", ("Notes",))
    assert place_of(3, 1) == "B3"


def test_a_formula_arrives_as_one_and_not_as_what_it_came_to():
    data = xlsx(["a", "b"], ["=1+1", "#REF!"])

    def with_value(name, content):
        return content.replace(b"<v></v>", b"<v>2</v>").replace(b"<v />", b"<v>2</v>")

    data = repacked(data, with_value)
    assert openpyxl.load_workbook(io.BytesIO(data), data_only=True).active["A2"].value == 2
    cells = read_table(data).rows[1].cells
    assert cells == (Formula("=1+1"), Fault("#REF!"))
    assert read_table(b'a,b\n=1+1,"=HYPERLINK(""http://x"")"\n').rows[1].cells == (
        Formula("=1+1"),
        Formula('=HYPERLINK("http://x")'),
    )


def test_a_sheet_that_is_hidden_or_empty_is_passed_over():
    book = openpyxl.Workbook()
    book.active.title = "Blank"
    hidden = book.create_sheet("Hidden")
    hidden.append(["not this"])
    hidden.sheet_state = "hidden"
    book.create_sheet("Book").append(["this"])
    out = io.BytesIO()
    book.save(out)
    assert read_table(out.getvalue()).name == "Book"


def test_a_sheet_of_100_000_rows_is_refused_without_reading_it():
    rows = "".join(
        f'<row r="{number}"><c r="A{number}" t="n"><v>1</v></c></row>'
        for number in range(1, 100_001)
    )

    def many(name, content):
        if name != "xl/worksheets/sheet1.xml":
            return content
        head, tail = content.split(b"<sheetData", 1)
        return (
            head
            + b"<sheetData>"
            + rows.encode()
            + b"</sheetData>"
            + tail.split(b">", 1)[1].split(b"</sheetData>")[-1]
        )

    with pytest.raises(FileRefused, match="The sheet has more than 5,000 rows"):
        read_table(repacked(xlsx(["x"]), many))
    with pytest.raises(FileRefused, match="more than 5,000 rows"):
        read_table(b"a,b\n" * 100_000)


def test_the_rows_that_count_are_those_of_the_sheet_that_is_read():
    book = openpyxl.Workbook(write_only=True)
    for title, count in (("Long", 31), ("Short", 30)):
        sheet = book.create_sheet(title)
        for number in range(count):
            sheet.append([number])
    out = io.BytesIO()
    book.save(out)
    with pytest.raises(FileRefused, match="“Long” has more than 30 rows"):
        read_table(out.getvalue(), limits=Limits(rows=30))
    assert read_table(out.getvalue(), limits=Limits(rows=31)).name == "Long"
    with pytest.raises(FileRefused, match="The sheet has more than 29 rows"):
        read_table(out.getvalue(), limits=Limits(rows=29))


def test_one_cell_far_down_costs_no_memory():
    book = openpyxl.Workbook()
    book.active["A1"] = "code"
    book.active["A1048576"] = "last"
    out = io.BytesIO()
    book.save(out)
    assert [row.number for row in read_table(out.getvalue()).rows] == [1, 1_048_576]


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"PK\x03\x04 and then nothing", "cannot be read as one"),
        (b"\xd0\xcf\x11\xe0old", "old binary kind"),
        (b"\x89PNG\r\n\x1a\n\x00\x00", "neither a CSV nor an XLSX"),
        (b"a" * 21_000_000, "at most 20.0 MB"),
        (b"a,b\n1," + b"x" * 3000 + b"\n", "Cell B2 holds more than 2,000 letters"),
        (b"a,b\n" + b"," * 90 + b"x\n", "beyond 60 columns"),
        (xlsx(["x"] * 61), "beyond 60 columns"),
        (xlsx(["x" * 2001]), "more than 2,000 letters"),
    ],
)
def test_what_cannot_be_taken_is_told(data, words):
    with pytest.raises(FileRefused, match=words):
        read_table(data)


def test_a_package_that_unpacks_to_too_much_is_refused_before_it_is_unpacked():
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as package:
        package.writestr("xl/workbook.xml", b"<a/>" + b" " * 70_000_000)
    assert len(out.getvalue()) < 100_000
    with pytest.raises(FileRefused, match="unpacks to 70 MB"):
        read_table(out.getvalue())
    with pytest.raises(FileRefused, match="parts"):
        read_table(xlsx(["x"]), limits=Limits(packed_parts=3))
    with zipfile.ZipFile(out, "w") as package:
        package.writestr("content.xml", b"<a/>")
    with pytest.raises(FileRefused, match="no XLSX"):
        read_table(out.getvalue())


def test_definitions_that_grow_when_read_are_refused():
    grow = b'<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "c">]>'

    def defined(name, content):
        return grow + content if name == "xl/worksheets/sheet1.xml" else content

    def coded(name, content):
        return content.decode().encode("utf-16") if name.endswith("sheet1.xml") else content

    for change in (defined, coded):
        with pytest.raises(FileRefused, match=r"sheet1\.xml is not what a spreadsheet program"):
            read_table(repacked(xlsx(["x"]), change))


def test_separators_marks_and_western_code_pages():
    table = read_table("\ufeffa;b\r\n1,5;m²\r\n".encode())
    assert table.separator == ";"
    assert table.rows[1].cells == ("1,5", "m²")
    assert read_table("m²\t2\n".encode("cp1252")).rows[0].cells == ("m²", "2")
    assert read_table("m²\t2\n".encode("utf-16")).rows[0].cells == ("m²", "2")


@pytest.mark.parametrize(
    "words", ["=1+1", "+44 1632 960", "-C3", "@x", "\t=1", " =1", "＝1", "-1+1"]
)
def test_the_guard_is_taken_off_again(words):
    written = guarded(words)
    assert unguarded(written) == words
    assert written[0] == "'"


@pytest.mark.parametrize("plain", ["-12.5", "+3", "-1e-3", "C3", "", "'quoted", "3-4"])
def test_numbers_and_plain_words_are_left_alone(plain):
    assert guarded(plain) == plain == unguarded(plain)


COLUMNS = [
    Column("What", width=30),
    Column("Quantity", Kind.NUMBER, places=1),
    Column("Amount", Kind.MONEY),
    Column("Share", Kind.PERCENT, places=0),
    Column("Dated", Kind.DATE),
]


def test_a_written_book_holds_types_formulas_and_their_values():
    rows: list[Any] = [
        ["=cmd|' /C calc'!A0", 2.5, Decimal("10.10"), 0.2, date(2026, 3, 2)],
        Line(["Sum", None, Worked("=SUM(C4:C4)", Decimal("10.10")), None, None], strong=True),
    ]
    sheets = [
        SheetOut("Works: 2026/27", COLUMNS, rows, above=["Ashlode Vale\x07"]),
        SheetOut("Works: 2026/27", [Column("What")], [["x"]]),
    ]
    data = write_workbook(sheets)
    plain = openpyxl.load_workbook(io.BytesIO(data))
    assert plain.sheetnames == ["Works  2026 27", "Works  2026 27 2"]
    sheet = plain.worksheets[0]
    assert sheet["A1"].value == "Ashlode Vale"
    assert sheets[0].heading_row == 3
    assert sheet["A4"].data_type == "s"
    assert sheet["A4"].quotePrefix
    assert (sheet["B4"].value, sheet["C4"].value, sheet["D4"].number_format) == (2.5, 10.1, "0%")
    assert sheet["E4"].is_date
    assert sheet["C5"].value == "=SUM(C4:C4)"
    assert sheet["A5"].font.bold
    worked = openpyxl.load_workbook(io.BytesIO(data), data_only=True).worksheets[0]
    assert worked["C5"].value == 10.1
    assert worked["A4"].value == "=cmd|' /C calc'!A0"


def test_a_row_of_another_width_is_a_fault_of_the_writer():
    with pytest.raises(ValueError, match="1 cells in a row of 5"):
        write_workbook([SheetOut("x", COLUMNS, [["only one"]])])


def test_sheet_titles_are_short_and_not_taken_twice():
    assert sheet_title("a" * 40) == "a" * 31
    assert sheet_title("A" * 40, ["a" * 31]) == "A" * 29 + " 2"
    assert sheet_title("[]") == "Sheet"
