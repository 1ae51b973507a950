"""A whole programme as a workbook: every line, with sums that a spreadsheet works out again."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from decimal import ROUND_HALF_UP, Decimal
from functools import partial
from itertools import groupby

from worksprog.calc.cost_years import Parts, add_parts
from worksprog.clubs.spreadsheets import (
    Column,
    Kind,
    Line,
    SheetOut,
    Worked,
    Written,
    place_of,
)
from worksprog.works.models import Category, EstimateLine, Project
from worksprog.works.queries.estimates import NOTHING
from worksprog.works.queries.years import ItemCost, Year, YearsSheet

LINES, BY_ITEM, BY_YEAR, BY_PROJECT = "Programme", "Items by year", "Years", "Projects by year"
OF_FINISHED = (
    "A finished job stands at its estimate, with no design allowance, contingency or escalation."
)
_CENT = Decimal("0.01")
_NEAR_A_HALF = Decimal("0.000001")  # of a penny, where two ways of rounding may part


def workbook_sheets(sheet: YearsSheet) -> list[SheetOut]:
    """The programme line by line, then its money by item and year, by year, by project and year."""
    return [_lines_sheet(sheet), _items_sheet(sheet), _years_sheet(sheet), _projects_sheet(sheet)]


def name_of_year(year: Year) -> str:
    """Never a plain figure, which a spreadsheet might take for a number or a date."""
    return f"FY {year.name}" if year else "not placed yet"


def _numbers_of(sheet: YearsSheet) -> dict[int, tuple[int, Project]]:
    """A number for each project, by which the formulas find it: a code may read as a condition."""
    projects = {row.project.pk: row.project for row in sheet.items}
    return {key: (number, one) for number, (key, one) in enumerate(projects.items(), start=1)}


_LINE_COLUMNS = (
    Column("Level", width=10),
    Column("Project", width=9),
    Column("What", width=46),
    Column("Head", width=12),
    Column("Quantity", Kind.NUMBER, width=11),
    Column("Unit", width=8),
    Column("Price of one", Kind.MONEY, width=12),
    Column("Likely", Kind.MONEY),
    Column("Low", Kind.MONEY),
    Column("High", Kind.MONEY),
    Column("Crew hours", Kind.NUMBER, width=11, places=1),
    Column("First day", Kind.DATE, width=11),
    Column("Last day", Kind.DATE, width=11),
    Column("Class", Kind.NUMBER, width=7, places=0),
    Column("Price book", width=26),
)
_SUMMED = {"likely": 7, "low": 8, "high": 9, "hours": 10}  # columns, from 0


def _amount(line: EstimateLine, row: int) -> Written:
    """Quantity × price, worked out again by the spreadsheet where that gives the same penny."""
    exact = Decimal(repr(line.quantity_likely)) * line.rate_likely
    past_half = abs((exact / _CENT) % 1 - Decimal("0.5"))
    if past_half > _NEAR_A_HALF and exact.quantize(
        _CENT, ROUND_HALF_UP
    ) == line.amount_likely.quantize(_CENT):
        return Worked(f"=ROUND({place_of(row, 4)}*{place_of(row, 6)},2)", line.amount_likely)
    return line.amount_likely


class _Tree:
    """Rows of the tree in order; a parent stands above what it sums."""

    def __init__(self, first: int) -> None:
        self.next = first
        self.rows: list[Line] = []

    def add(self, line: Line) -> None:
        self.rows.append(line)
        self.next += 1

    def put(self, below: Callable[[], list[EstimateLine]], **cells: Written) -> list[EstimateLine]:
        """A parent, and after it what ``below`` adds; each sum leaves out the sums in its range,
        so that no child counts twice.
        """
        place = len(self.rows)
        self.add(Line(()))
        first_row = self.next
        lines = below()
        row: list[Written] = [None] * len(_LINE_COLUMNS)
        for at, value in zip(_SUMMED.values(), _sums_of(lines), strict=True):
            if self.next > first_row:
                span = f"{place_of(first_row, at)}:{place_of(self.next - 1, at)}"
                row[at] = Worked(f"=SUBTOTAL(9,{span})", value)
        for name, cell in cells.items():
            row[_PLACE[name]] = cell
        self.rows[place] = Line(row, strong=True)
        return lines


_PLACE = {"level": 0, "project": 1, "what": 2, "first": 11, "last": 12, "class_": 13}


def _sums_of(lines: Sequence[EstimateLine]) -> tuple[Decimal | float, ...]:
    return (
        sum((line.amount_likely for line in lines), NOTHING),
        sum((line.amount_low for line in lines), NOTHING),
        sum((line.amount_high for line in lines), NOTHING),
        sum(line.quantity_likely for line in lines if line.category == Category.LABOUR),
    )


def _line_row(line: EstimateLine, code: str, row: int) -> Line:
    hours = line.quantity_likely if line.category == Category.LABOUR else None
    return Line(
        (
            "line",
            code,
            line.description,
            line.category,
            line.quantity_likely,
            line.unit,
            line.rate_likely,
            _amount(line, row),
            line.amount_low,
            line.amount_high,
            hours,
            None,
            None,
            None,
            line.price.name if line.price is not None else "entered by hand",
        )
    )


def _lines_sheet(sheet: YearsSheet) -> SheetOut:
    programme = sheet.programme
    above = (
        f"{programme.name}, revision {programme.revision}",
        f"Before tax, in {programme.club.currency}, at the prices of the book. A sum stands above "
        "what it adds up.",
    )
    out = SheetOut(LINES, _LINE_COLUMNS, (), above)
    tree = _Tree(out.heading_row + 1)

    def item(row: ItemCost) -> list[EstimateLine]:
        for line in row.lines:
            tree.add(_line_row(line, row.project.code, tree.next))
        return list(row.lines)

    def phase(rows: list[ItemCost]) -> list[EstimateLine]:
        return [
            line
            for row in rows
            for line in tree.put(
                partial(item, row),
                level="item",
                project=row.project.code,
                what=row.item.name,
                first=row.start,
                last=row.finish,
                class_=row.number_of_class,
            )
        ]

    def project(rows: list[ItemCost]) -> list[EstimateLine]:
        return [
            line
            for part in _together(rows, lambda row: row.item.phase_id)
            for line in tree.put(
                partial(phase, part),
                level="phase",
                project=part[0].project.code,
                what=part[0].item.phase.name,
            )
        ]

    def everything() -> list[EstimateLine]:
        return [
            line
            for part in _together(sheet.items, lambda row: row.project.pk)
            for line in tree.put(
                partial(project, part),
                level="project",
                project=part[0].project.code,
                what=part[0].project.name,
            )
        ]

    tree.put(everything, level="programme", what=programme.name)
    return SheetOut(LINES, _LINE_COLUMNS, tree.rows, above)


def _together(rows: Sequence[ItemCost], key: Callable[[ItemCost], int]) -> list[list[ItemCost]]:
    """Rows of one parent together, in their order."""
    return [list(group) for _, group in groupby(rows, key)]


_PARTS = (
    ("Base", "base"),
    ("Design allowance", "design_allowance"),
    ("Contingency", "contingency"),
    ("Escalation", "escalation"),
    ("Before tax", "before_tax"),
    ("Tax", "tax"),
    ("Tax recovered", "tax_recovered"),
    ("Cost to the club", "cost"),
)
_ITEM_COLUMNS = (
    Column("No.", Kind.NUMBER, width=6, places=0),
    Column("Project", width=9),
    Column("Item", width=40),
    Column("Year", width=14),
    Column("First day", Kind.DATE, width=11),
    Column("Last day", Kind.DATE, width=11),
    Column("Years to mid-point", Kind.NUMBER, width=11),
    *(Column(title, Kind.MONEY, width=15) for title, _ in _PARTS),
    Column("State", width=13),
)
_FIRST_PART = 7


def _part_cells(parts: Parts, row: int, first: int) -> list[Written]:
    """The parts of one row, with what follows from them worked out by the spreadsheet."""
    cells: list[Written] = [getattr(parts, name) for _, name in _PARTS]
    span = f"{place_of(row, first)}:{place_of(row, first + 3)}"
    cells[4] = Worked(f"=SUM({span})", parts.before_tax)
    cells[7] = Worked(
        f"={place_of(row, first + 4)}+{place_of(row, first + 5)}-{place_of(row, first + 6)}",
        parts.cost,
    )
    return cells


def _column_sums(
    first_row: int, last_row: int, first: int, values: Sequence[Decimal]
) -> list[Written]:
    return [
        Worked(f"=SUM({place_of(first_row, at)}:{place_of(last_row, at)})", value)
        if last_row >= first_row
        else value
        for at, value in enumerate(values, start=first)
    ]


def _items_above(sheet: YearsSheet) -> tuple[str, ...]:
    club = sheet.programme.club
    return (
        "What each item costs in each financial year",
        f"Each item's money is spread over its weekdays. Escalation is to the middle of its days "
        f"in the year. Contingency {sheet.contingency.from_words}. {club.tax_name} "
        f"{club.tax_percent.normalize():f} % on what is bought. {OF_FINISHED}",
    )


def _items_sheet(sheet: YearsSheet) -> SheetOut:
    above = _items_above(sheet)
    first_row = SheetOut(BY_ITEM, _ITEM_COLUMNS, (), above).heading_row + 1
    numbers = _numbers_of(sheet)
    cells_of = sheet.cells_of
    rows: list[Line] = []
    for one in sheet.items:
        for cell in cells_of.get(one.item.pk, ()):
            number, project = numbers[one.project.pk]
            rows.append(
                Line(
                    (
                        number,
                        project.code,
                        one.item.name,
                        name_of_year(cell.year),
                        cell.stretch.first if cell.stretch else None,
                        cell.stretch.last if cell.stretch else None,
                        cell.years_to_mid if cell.stretch else None,
                        *_part_cells(cell.parts, first_row + len(rows), _FIRST_PART),
                        "finished" if cell.is_finished else "not finished",
                    )
                )
            )
    total = sheet.total
    sums = _column_sums(
        first_row,
        first_row + len(rows) - 1,
        _FIRST_PART,
        [getattr(total, name) for _, name in _PARTS],
    )
    rows.append(Line((None, None, "All", None, None, None, None, *sums, None), strong=True))
    return SheetOut(BY_ITEM, _ITEM_COLUMNS, rows, above)


def _found(sheet: YearsSheet, column: int, *conditions: tuple[int, str]) -> str:
    """The formula that adds up a column of the items' sheet where the conditions hold."""
    first = len(_items_above(sheet)) + 3
    last = max(first + len(sheet.cost.cells) - 1, first)

    def span(at: int) -> str:
        start, end = place_of(first, at), place_of(last, at)
        letters, digits = start.rstrip("0123456789"), end.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
        return f"'{BY_ITEM}'!${letters}${first}:${letters}${digits}"

    asked = ",".join(f"{span(at)},{where}" for at, where in conditions)
    return f"=SUMIFS({span(column)},{asked})"


def _years_sheet(sheet: YearsSheet) -> SheetOut:
    columns = (
        Column("Year", width=16),
        *(Column(title, Kind.MONEY, width=16) for title, _ in _PARTS),
        Column("Spent so far", Kind.MONEY, width=16),
    )
    above = (
        f"{sheet.programme.name} by financial year",
        "Base, design allowance and contingency stand at the book's prices; escalation is what "
        f"rising prices add to all three. {OF_FINISHED}",
    )
    first_row = SheetOut(BY_YEAR, columns, (), above).heading_row + 1
    rows: list[Line] = []
    for year, parts in sheet.by_year.items():
        row = first_row + len(rows)
        cells = _part_cells(parts, row, 1)
        for at, (_, name) in enumerate(_PARTS):
            if not isinstance(cells[at], Worked):
                where = (3, place_of(row, 0))
                cells[at] = Worked(_found(sheet, _FIRST_PART + at, where), getattr(parts, name))
        rows.append(Line((name_of_year(year), *cells, sheet.spent.get(year, NOTHING))))
    total = sheet.total
    values = [getattr(total, name) for _, name in _PARTS]
    sums = _column_sums(
        first_row,
        first_row + len(rows) - 1,
        1,
        [*values, sum(sheet.spent.values(), NOTHING)],
    )
    rows.append(Line(("All", *sums), strong=True))
    base = place_of(first_row + len(rows) - 1, 1)
    likely = place_of(len(above) + 3, _SUMMED["likely"])
    check = Worked(f"={base}-'{LINES}'!{likely}", NOTHING)
    blank = [None] * (len(columns) - 2)
    rows.append(Line(("base less the programme's lines", check, *blank)))
    return SheetOut(BY_YEAR, columns, rows, above)


def _projects_sheet(sheet: YearsSheet) -> SheetOut:
    years = sheet.years
    columns = (
        Column("No.", Kind.NUMBER, width=6, places=0),
        Column("Project", width=34),
        *(Column(name_of_year(year), Kind.MONEY, width=15) for year in years),
        Column("All", Kind.MONEY, width=16),
    )
    above = ("Cost to the club of each project by financial year, all parts and tax together",)
    heading = SheetOut(BY_PROJECT, columns, (), above).heading_row
    numbers = _numbers_of(sheet)
    cost = _FIRST_PART + len(_PARTS) - 1
    rows: list[Line] = []
    by_year: dict[Year, list[Parts]] = defaultdict(list)
    for project, parts_of, whole in sheet.by_project():
        row = heading + 1 + len(rows)
        cells: list[Written] = []
        for at, year in enumerate(years, start=2):
            by_year[year].append(parts_of[year])
            formula = _found(sheet, cost, (0, place_of(row, 0)), (3, place_of(heading, at)))
            cells.append(Worked(formula, parts_of[year].cost))
        across = f"=SUM({place_of(row, 2)}:{place_of(row, len(years) + 1)})"
        cells.append(Worked(across, whole.cost) if years else whole.cost)
        rows.append(Line((numbers[project.pk][0], str(project), *cells)))
    values = [add_parts(by_year[year]).cost for year in years]
    sums = _column_sums(heading + 1, heading + len(rows), 2, [*values, sum(values, NOTHING)])
    rows.append(Line((None, "All", *sums), strong=True))
    return SheetOut(BY_PROJECT, columns, rows, above)
