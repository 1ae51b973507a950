"""The workbook of a programme, opened by a spreadsheet program: its sums are intact, to the penny."""

from __future__ import annotations

import csv
import io
import re
import subprocess
import zipfile
from dataclasses import replace
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from openpyxl import load_workbook

from tests.cast import Cast
from tests.works.conftest import Works
from worksprog.clubs.records import save_record
from worksprog.clubs.spreadsheets import Line, SheetOut, Worked, write_workbook
from worksprog.works.models import Estimate, EstimateLine, Price, PriceTrend
from worksprog.works.queries.years import YearsSheet, years_sheet
from worksprog.works.services import (
    build_estimates,
    create_item,
    create_phase,
    create_programme,
    create_project,
)
from worksprog.works.services.years import set_allowances
from worksprog.works.workbook import workbook_sheets

# Every sheet as CSV: comma, quoted where needed, UTF-8, figures as kept and not as shown.
TO_CSV = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,true,false,false,false,-1"
_CACHED = re.compile(rb"(</f>)<v>[^<]*</v>")


@pytest.fixture
def sheet(works: Works, cast: Cast) -> YearsSheet:
    """Two projects, one named to look like formulas and conditions; two items in each year."""
    by = cast.manager
    trend = PriceTrend.objects.create(
        club=cast.club, name="all", low=1, likely=4, high=8, dated=date(2026, 9, 1)
    )
    Price.objects.filter(club=cast.club).update(trend=trend)
    wicked = create_project(programme=works.programme, code=">0", name="=1+1", by=by)
    phase = create_phase(project=wicked, name="@SUM(A1)", by=by)
    create_item(
        phase=phase,
        kind=works.tee_item.kind,
        name='=HYPERLINK("http://a.example","x")',
        features=list(works.tee_item.features.all()),
        by=by,
    )
    create_item(phase=phase, kind=works.carrier.kind, name="-2+3", features=[], by=by)
    build_estimates(programme=works.programme, by=by)
    for item, days in (
        (works.carrier, (date(2027, 3, 22), date(2027, 4, 9))),
        (works.tee_item, (date(2028, 9, 4), date(2028, 9, 29))),
    ):
        item.refresh_from_db()
        item.started_on, item.finished_on = days
        save_record(item, by=by)
    set_allowances(
        club=cast.club,
        design_allowance_percent=Decimal("5"),
        contingency_chance=Decimal("0.8"),
        by=by,
    )
    works.programme.club = cast.club
    return years_sheet(works.programme)


def _without_values(data: bytes) -> bytes:
    """The same file with nothing kept beside its formulas, so that they have to be worked out."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        for part in old.infolist():
            new.writestr(part.filename, _CACHED.sub(rb"\1", old.read(part)))
    return out.getvalue()


def _opened(folder: Path, name: str, sheets: list[SheetOut]) -> dict[str, list[list[str]]]:
    found = {}
    for one in sheets:
        with (folder / f"{name}-{one.title}.csv").open(encoding="utf-8", newline="") as file:
            found[one.title] = list(csv.reader(file))
    return found


def _compare(sheets: list[SheetOut], opened: dict[str, list[list[str]]]) -> int:
    """How many formulas there were; every cell is what we say it is."""
    formulas = 0
    for one in sheets:
        rows = opened[one.title]
        assert rows[one.heading_row - 1] == [column.title for column in one.columns]
        for row, line in zip(rows[one.heading_row :], one.rows, strict=True):
            assert isinstance(line, Line)
            for text, cell in zip(row, line.cells, strict=True):
                if isinstance(cell, Worked):
                    formulas += 1
                    cell = cell.value
                if isinstance(cell, Decimal | float | int):
                    assert abs(Decimal(text) - Decimal(repr(float(cell)))) < Decimal("0.0005")
                elif isinstance(cell, str):
                    assert text == cell
    return formulas


@pytest.mark.django_db
def test_it_opens_elsewhere_with_its_sums_intact(sheet: YearsSheet, tmp_path: Path) -> None:
    """Once as it is, once with nothing kept beside the formulas; one run of the program for both."""
    sheets = [replace(one, rows=list(one.rows)) for one in workbook_sheets(sheet)]
    data = write_workbook(sheets)
    (tmp_path / "kept.xlsx").write_bytes(data)
    (tmp_path / "bare.xlsx").write_bytes(_without_values(data))
    subprocess.run(
        ["soffice", f"-env:UserInstallation={(tmp_path / 'profile').as_uri()}", "--headless",
         "--convert-to", TO_CSV, "--outdir", tmp_path, tmp_path / "kept.xlsx",
         tmp_path / "bare.xlsx"],
        check=True, capture_output=True, timeout=120,
    )  # fmt: skip
    kept = _opened(tmp_path, "kept", sheets)
    bare = _opened(tmp_path, "bare", sheets)
    assert _compare(sheets, kept) == _compare(sheets, bare) > 80
    # What the sheets say in all is what the estimates say.
    likely = sum(one.money_likely for one in Estimate.objects.filter(is_live=True))
    assert Decimal(bare["Programme"][4][7]) == likely
    assert Decimal(bare["Years"][-2][8]) == sheet.total.cost
    assert Decimal(bare["Years"][-1][1]) == 0
    assert Decimal(bare["Projects by year"][-1][-1]) == sheet.total.cost
    names = {row[2] for row in bare["Programme"]}
    assert {"=1+1", "@SUM(A1)", '=HYPERLINK("http://a.example","x")', "-2+3"} <= names


@pytest.mark.django_db
def test_only_our_own_formulas_are_in_it(sheet: YearsSheet) -> None:
    book = load_workbook(io.BytesIO(write_workbook(workbook_sheets(sheet))))
    assert book.sheetnames == ["Programme", "Items by year", "Years", "Projects by year"]
    own = re.compile(
        r"=(SUBTOTAL\(9,|ROUND\([A-Z]+\d+\*[A-Z]+\d+,2\)$|SUM\(|SUMIFS\('Items by year'!|"
        r"[A-Z]+\d+\+[A-Z]+\d+-[A-Z]+\d+$|B\d+-'Programme'!H5$)"
    )
    for page in book:
        for row in page.iter_rows():
            for cell in row:
                if cell.data_type == "f":
                    assert own.match(cell.value), (page.title, cell.coordinate, cell.value)


@pytest.mark.django_db
def test_an_amount_that_two_ways_of_rounding_part_stays_a_figure(sheet: YearsSheet) -> None:
    """2.5 × 0.05 is 0.125: 0.12 to the even penny, 0.13 as spreadsheets round."""
    line = EstimateLine.objects.filter(estimate__is_live=True).first()
    assert line is not None
    line.quantity_likely, line.rate_likely = 2.5, Decimal("0.05")
    line.amount_likely = Decimal("0.12")
    line.save()
    again = years_sheet(sheet.programme)
    rows = [row.cells for row in workbook_sheets(again)[0].rows if isinstance(row, Line)]
    (amount,) = [cells[7] for cells in rows if cells[0] == "line" and cells[4] == 2.5]
    assert amount == Decimal("0.12")
    others = [cells[7] for cells in rows if cells[0] == "line" and cells[4] != 2.5]
    assert sum(isinstance(one, Worked) for one in others) > 0.8 * len(others)


@pytest.mark.django_db
def test_a_programme_with_nothing_in_it_is_a_workbook_too(cast: Cast) -> None:
    programme = create_programme(
        club=cast.club,
        name="Empty",
        starts_on=date(2026, 9, 1),
        ends_on=date(2027, 9, 1),
        by=cast.manager,
    )
    programme.club = cast.club
    book = load_workbook(io.BytesIO(write_workbook(workbook_sheets(years_sheet(programme)))))
    assert [cell.value for cell in book["Programme"][5]][:3] == ["programme", None, "Empty"]
    assert book["Projects by year"].max_column == 3
