"""The price book as a CSV file: read with a reason for every row refused, and written."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from pathlib import Path

from worksprog.works.models import Category, OutputRate, Price

COLUMNS = ("what", "category", "code", "name", "unit", "low", "likely", "high", "source")
NEEDED = frozenset(COLUMNS) - {"source", "category"}
MOST_ROWS = 5000
_CODE = re.compile(r"^[A-Za-z0-9_-]{1,40}$")
DEFAULT_BOOK = Path(__file__).with_name("default_price_book.csv")


@dataclass(frozen=True)
class BookRow:
    """One good row; ``category`` is empty for an output rate."""

    number: int
    is_rate: bool
    category: str
    code: str
    name: str
    unit: str
    low: Decimal
    likely: Decimal
    high: Decimal
    source: str


@dataclass(frozen=True)
class Refusal:
    """A row that was not taken, and why."""

    number: int
    reason: str


@dataclass(frozen=True)
class BookFile:
    rows: tuple[BookRow, ...]
    refusals: tuple[Refusal, ...]


def decode(data: bytes) -> str:
    """The file's text; UTF-8 with or without a mark, else the usual Western code page."""
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def read_price_file(text: str) -> BookFile:
    """Read comma, semicolon or tab separated rows with a heading.

    ValueError when it is not such a file at all: empty, no heading, columns missing, too long.
    """
    lines = text.splitlines()
    if not lines or not lines[0].strip():
        raise ValueError("The file is empty; a heading and at least one row are expected.")
    separator = max(",;\t", key=lines[0].count)
    reader = csv.DictReader(io.StringIO(text), delimiter=separator)
    heading = [(name or "").strip().lower() for name in reader.fieldnames or ()]
    missing = [name for name in COLUMNS if name in NEEDED - set(heading)]
    if missing:
        raise ValueError(
            f"The heading lacks {', '.join(missing)}; expected are {', '.join(COLUMNS)}."
        )
    reader.fieldnames = heading
    rows: list[BookRow] = []
    refusals: list[Refusal] = []
    seen: dict[tuple[bool, str], int] = {}
    for record in reader:
        number = reader.line_num
        if number > MOST_ROWS:
            raise ValueError(f"The file has more than {MOST_ROWS:,} rows; bring it in by parts.")
        cells = {
            key: (value or "").strip()
            for key, value in record.items()
            if isinstance(key, str) and not isinstance(value, list)
        }
        if not any(cells.values()):
            continue
        try:
            row = _read_row(number, cells, decimal_comma=separator != ",")
            before = seen.setdefault((row.is_rate, row.code), number)
            if before != number:
                raise ValueError(f"the code '{row.code}' stands in row {before} already")
        except ValueError as error:
            refusals.append(Refusal(number, str(error)))
        else:
            rows.append(row)
    if not rows and not refusals:
        raise ValueError("The file has a heading but no rows.")
    return BookFile(tuple(rows), tuple(refusals))


def _figure(cells: dict[str, str], name: str, *, decimal_comma: bool) -> Decimal:
    written = cells.get(name, "")
    text = written.replace(" ", "").replace("\u00a0", "")
    text = text.replace(".", "").replace(",", ".") if decimal_comma and "," in text else text
    try:
        value = Decimal(text)
    except InvalidOperation:
        raise ValueError(f"{name}: a number is expected, not '{written}'") from None
    if not value.is_finite() or value < 0 or value >= 10**9:
        raise ValueError(f"{name}: a number from 0 to 999,999,999 is expected, not '{written}'")
    return value


def _read_row(number: int, cells: dict[str, str], *, decimal_comma: bool) -> BookRow:
    what = cells.get("what", "").lower()
    if what not in ("price", "output"):
        raise ValueError(f"what: 'price' or 'output' is expected, not '{cells.get('what', '')}'")
    is_rate = what == "output"
    category = cells.get("category", "").lower()
    if not is_rate and category not in Category.values:
        raise ValueError(f"category: one of {', '.join(Category.values)} is expected")
    if not _CODE.match(cells.get("code", "")):
        raise ValueError("code: up to 40 letters, figures, hyphens and underscores are expected")
    for name, most in (("name", 120), ("unit", 12)):
        if not 0 < len(cells.get(name, "")) <= most:
            raise ValueError(f"{name}: from 1 to {most} characters are expected")
    low, likely, high = (
        _figure(cells, name, decimal_comma=decimal_comma) for name in ("low", "likely", "high")
    )
    if not low <= likely <= high:
        raise ValueError(f"low, likely and high must rise, not {low}, {likely}, {high}")
    if is_rate and low <= 0:
        raise ValueError("low: an output rate must be more than 0")
    return BookRow(
        number=number,
        is_rate=is_rate,
        category="" if is_rate else category,
        code=cells["code"],
        name=cells["name"],
        unit=cells["unit"],
        low=low,
        likely=likely,
        high=high,
        source=cells.get("source", "")[:200],
    )


def _guarded(text: str) -> str:
    """A cell that a spreadsheet would take for a formula is kept as words."""
    return f"'{text}" if text[:1] in ("=", "+", "-", "@") else text


def write_price_file(prices: Iterable[Price], rates: Iterable[OutputRate]) -> str:
    """The book as a file that ``read_price_file`` reads back."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    rows: list[Price | OutputRate] = [*prices, *rates]
    for row in rows:
        is_rate = isinstance(row, OutputRate)
        writer.writerow(
            [
                "output" if is_rate else "price",
                "" if isinstance(row, OutputRate) else row.category,
                row.code,
                _guarded(row.name),
                row.unit,
                *(f"{value.normalize():f}" for value in (row.low, row.likely, row.high)),
                _guarded(row.source),
            ]
        )
    return out.getvalue()
