"""The price book as a CSV or XLSX file: read with a reason for every row refused, and written."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from pathlib import Path

from worksprog.clubs.csv_files import guarded
from worksprog.clubs.spreadsheets import (
    Cell,
    Column,
    Fault,
    FileRefused,
    Formula,
    Kind,
    Limits,
    Row,
    SheetOut,
    place_of,
    read_table,
    words_of,
)
from worksprog.works.book_entries import FIGURES, OUTPUT, PRICE, Entry, Key, key_of
from worksprog.works.models import Category, SwayedBy

COLUMNS = (
    *("what", "category", "code", "name", "unit", "low", "likely", "high"),
    *("wage", "on_cost_percent", "hire", "fuel", "supplier", "trend", "swayed_by"),
    *("source", "dated", "currency"),
)
NEEDED = ("what", "code", "name", "unit", "low", "likely", "high")
LIMITS = Limits(rows=5000, columns=60)
DEFAULT_BOOK = Path(__file__).with_name("default_price_book.csv")
_CODE = re.compile(r"^[A-Za-z0-9_-]{1,40}$")
_LENGTHS = {"name": 120, "unit": 12}
_CUT = {"source": 200, "supplier": 80}
_SIGNS = {"£": ("GBP",), "€": ("EUR",), "$": ("USD", "AUD", "CAD", "NZD", "SGD", "HKD")}
_MONEY_WORD = re.compile(r"([^\d.,+-]*)([+-]?\d[\d.,\s]*?|[+-]?\.\d+)\s*([^\d.,]*)", re.DOTALL)
_THOUSANDS = re.compile(r"[+-]?\d{1,3}(,\d{3})+(\.\d*)?")
_PLAIN = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)")
_EARLIEST = date(1990, 1, 1)
_AHEAD = timedelta(days=366)
_MOST = Decimal(10) ** 9


@dataclass(frozen=True)
class BookRow:
    """One good row; its entry has only what the file has columns for."""

    number: int
    entry: Entry


@dataclass(frozen=True)
class Refusal:
    """A row that was not taken, and why."""

    number: int
    reason: str
    code: str = ""


@dataclass(frozen=True)
class BookFile:
    rows: tuple[BookRow, ...]
    refusals: tuple[Refusal, ...]
    unread: tuple[str, ...] = ()


@dataclass(frozen=True)
class Wanted:
    """What a file is held against: the club's currency, its day, the date of undated rows."""

    currency: str
    today: date
    dated: date | None = None


def read_price_file(data: bytes, wanted: Wanted) -> BookFile:
    """Read a heading and one row an entry.

    FileRefused when it is not such a file at all: empty, no heading, columns missing, too long.
    """
    table = read_table(data, limits=LIMITS)
    places = _places_of(table.rows[0])
    reader = _RowReader(places, wanted, decimal_comma=table.separator in (";", "\t"))
    rows: list[BookRow] = []
    refusals: list[Refusal] = []
    seen: dict[Key, int] = {}
    for row in table.rows[1:]:
        try:
            entry = reader.read(row)
            before = seen.setdefault(key_of(entry), row.number)
            if before != row.number:
                raise ValueError(
                    f"the code '{entry['code']}' stands in row {before} already, which is taken"
                )
        except ValueError as error:
            code = words_of(row.at(places["code"]))[:40]
            refusals.append(Refusal(row.number, str(error), code))
        else:
            rows.append(BookRow(row.number, entry))
    if not rows and not refusals:
        raise FileRefused("The file has a heading but no rows.")
    return BookFile(tuple(rows), tuple(refusals), table.unread)


def _places_of(heading: Row) -> dict[str, int]:
    """Where each known column stands; others are not looked at."""
    names = [
        re.sub(r"[\s%-]+", "_", words_of(cell).strip().lower()).strip("_") for cell in heading.cells
    ]
    names = ["on_cost_percent" if name == "on_cost" else name for name in names]
    twice = [name for name in COLUMNS if names.count(name) > 1]
    if twice:
        raise FileRefused(f"The heading has {', '.join(twice)} more than once.")
    missing = [name for name in NEEDED if name not in names]
    if missing:
        raise FileRefused(
            f"The heading lacks {', '.join(missing)}; expected are {', '.join(COLUMNS)}."
        )
    return {name: names.index(name) for name in COLUMNS if name in names}


class _RowReader:
    def __init__(self, places: Mapping[str, int], wanted: Wanted, *, decimal_comma: bool) -> None:
        self.places = places
        self.wanted = wanted
        self.decimal_comma = decimal_comma

    def read(self, row: Row) -> Entry:
        """The row's entry; ValueError names the column and what was expected."""
        self._no_formulas(row)
        what = self._words(row, "what").lower()
        if what not in (PRICE, OUTPUT):
            raise ValueError(
                f"what: 'price' or 'output' is expected, not '{self._words(row, 'what')[:40]}'"
            )
        entry = {"what": what, "code": self._code(row)}
        if what == PRICE:
            entry["category"] = self._one_of(row, "category", Category.values)
        for name, most in _LENGTHS.items():
            entry[name] = self._words(row, name)
            if not 0 < len(entry[name]) <= most:
                raise ValueError(f"{name}: from 1 to {most} characters are expected")
        self._same_currency(row)
        if what == PRICE:
            self._parts(row, entry)
        self._figures(row, entry)
        if what == OUTPUT and "swayed_by" in self.places:
            entry["swayed_by"] = self._one_of(row, "swayed_by", SwayedBy.values, blank="hands")
        for name in ("supplier", "trend") if what == PRICE else ():
            if name in self.places:
                entry[name] = self._words(row, name)[: _CUT.get(name, 60)]
        if "source" in self.places:
            entry["source"] = self._words(row, "source")[: _CUT["source"]]
        entry["dated"] = self._dated(row)
        return entry

    def _cell(self, row: Row, name: str) -> Cell:
        place = self.places.get(name)
        return None if place is None else row.at(place)

    def _words(self, row: Row, name: str) -> str:
        return " ".join(words_of(self._cell(row, name)).split())

    def _no_formulas(self, row: Row) -> None:
        for name, place in self.places.items():
            cell = row.at(place)
            where = place_of(row.number, place)
            if isinstance(cell, Formula):
                raise ValueError(
                    f"{name}: {where} holds a formula ({str(cell)[:60]}); formulas are never "
                    "worked out here. Put in the figure itself"
                )
            if isinstance(cell, Fault):
                raise ValueError(f"{name}: {where} holds the error {cell} of a formula")

    def _code(self, row: Row) -> str:
        code = self._words(row, "code")
        if not _CODE.match(code):
            raise ValueError(
                "code: up to 40 letters, figures, hyphens and underscores are expected"
            )
        return code

    def _one_of(self, row: Row, name: str, known: Sequence[str], *, blank: str = "") -> str:
        word = self._words(row, name).lower() or blank
        if word not in known:
            raise ValueError(f"{name}: one of {', '.join(known)} is expected, not '{word[:40]}'")
        return word

    def _same_currency(self, row: Row) -> None:
        written = self._words(row, "currency").upper()
        if written and written != self.wanted.currency:
            raise ValueError(
                f"currency: the book is kept in {self.wanted.currency}; this row is in "
                f"{written[:10]}"
            )

    def _parts(self, row: Row, entry: Entry) -> None:
        for name in ("wage", "on_cost_percent", "hire", "fuel"):
            if name in self.places:
                money = name != "on_cost_percent"
                value = self._number(row, name, money=money, blank=True)
                entry[name] = "" if value is None else f"{value:.2f}"

    def _figures(self, row: Row, entry: Entry) -> None:
        is_rate = entry["what"] == OUTPUT
        follows = any(entry.get(name) for name in ("wage", "hire"))
        values = {
            name: self._number(
                row,
                name,
                money=not is_rate,
                blank=follows and name == "likely",
                places=4 if is_rate else 2,
            )
            for name in FIGURES
        }
        known = [value for value in values.values() if value is not None]
        if known != sorted(known):
            shown = ", ".join(f"{value:f}" for value in known)
            raise ValueError(f"low, likely and high must rise, not {shown}")
        if is_rate and known[0] <= 0:
            raise ValueError("low: an output rate must be more than 0")
        for name, value in values.items():
            if value is not None:
                entry[name] = f"{value.normalize():f}" if is_rate else f"{value:.2f}"

    def _number(
        self, row: Row, name: str, *, money: bool, blank: bool = False, places: int = 2
    ) -> Decimal | None:
        cell = self._cell(row, name)
        if cell is None or cell == "":
            if blank:
                return None
            raise ValueError(f"{name}: a number is expected, and there is none")
        if isinstance(cell, Decimal):
            self._check_sign(name, row.signs.get(self.places[name], ""), money=money)
            value = cell
        elif isinstance(cell, str):
            value = self._from_words(name, cell, money=money)
        else:
            raise ValueError(f"{name}: a number is expected, not '{words_of(cell)}'")
        if not value.is_finite() or not 0 <= value < _MOST:
            raise ValueError(f"{name}: a number from 0 to 999,999,999 is expected, not '{value}'")
        fine = value.quantize(Decimal(1).scaleb(-places))
        # A spreadsheet's 0.1 + 0.2, put in as a figure, is 0.30000000000000004.
        if abs(fine - value) > Decimal("1e-9"):
            raise ValueError(f"{name}: at most {places} decimal places are expected, not '{value}'")
        return fine

    def _from_words(self, name: str, written: str, *, money: bool) -> Decimal:
        parts = _MONEY_WORD.fullmatch(written.strip())
        not_one = ValueError(f"{name}: a number is expected, not '{written[:40]}'")
        if parts is None:
            raise not_one
        before, text, after = parts.groups()
        text = re.sub(r"[\s\u00a0\u202f]", "", text)
        if self.decimal_comma and "," in text:
            text = text.replace(".", "").replace(",", ".")
        elif _THOUSANDS.fullmatch(text):
            text = text.replace(",", "")
        if not _PLAIN.fullmatch(text):
            raise not_one
        for sign in (before.strip(), after.strip()):
            self._check_sign(name, sign, money=money)
        return Decimal(text)

    def _check_sign(self, name: str, sign: str, *, money: bool) -> None:
        """Words beside a figure may only be the club's own currency."""
        if not sign or (money and sign.upper() == self.wanted.currency):
            return
        currencies = _SIGNS.get(sign, (sign.upper(),) if re.fullmatch("[A-Za-z]{3}", sign) else ())
        if money and self.wanted.currency in currencies:
            return
        if money and currencies:
            raise ValueError(
                f"{name}: the book is kept in {self.wanted.currency}; this figure is in {sign}"
            )
        raise ValueError(f"{name}: a number is expected, not one with '{sign[:20]}'")

    def _dated(self, row: Row) -> str:
        cell = self._cell(row, "dated")
        if cell is None or cell == "":
            day = self.wanted.dated
            if day is None:
                raise ValueError(
                    "dated: a price without a date is not taken; put in the day it was quoted"
                )
        elif isinstance(cell, datetime):
            day = cell.date()
        elif isinstance(cell, date):
            day = cell
        else:
            day = _day(words_of(cell))
        if not _EARLIEST <= day <= self.wanted.today + _AHEAD:
            raise ValueError(
                f"dated: a day from {_EARLIEST:%Y} to a year from now is expected, not {day}"
            )
        return day.isoformat()


def _day(words: str) -> date:
    """2026-03-02, 2 Mar 2026, or day before month: 02/03/2026, 2.3.2026."""
    text = words.strip().replace(".", "/")
    for form in ("%Y-%m-%d", "%d/%m/%Y", "%d %b %Y", "%d %B %Y"):
        try:
            return datetime.strptime(text, form).date()
        except ValueError:
            continue
    raise ValueError(f"dated: a day such as 2026-03-02 is expected, not '{words[:40]}'")


_KINDS = {
    **dict.fromkeys(("low", "likely", "high", "wage", "hire", "fuel"), Kind.MONEY),
    "on_cost_percent": Kind.NUMBER,
    "dated": Kind.DATE,
}
_WIDTHS = {"code": 26.0, "name": 44.0, "source": 40.0, "supplier": 20.0, "trend": 20.0}


def _shown(entry: Entry, name: str, currency: str) -> str:
    return currency if name == "currency" else entry.get(name, "")


def write_price_csv(entries: Iterable[Entry], currency: str) -> str:
    """The book as a file that ``read_price_file`` reads back."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for entry in entries:
        writer.writerow([guarded(_shown(entry, name, currency)) for name in COLUMNS])
    return out.getvalue()


def price_sheet(entries: Iterable[Entry], currency: str) -> SheetOut:
    """The same as a sheet with numbers and dates as such."""
    columns = [
        Column(name, _KINDS.get(name, Kind.WORDS), _WIDTHS.get(name, 12.0)) for name in COLUMNS
    ]
    rows = [[_typed(entry, name, currency) for name in COLUMNS] for entry in entries]
    return SheetOut("Price book", columns, rows)


def _typed(entry: Entry, name: str, currency: str) -> str | Decimal | date | None:
    text = _shown(entry, name, currency)
    if not text:
        return None
    if name == "dated":
        return date.fromisoformat(text)
    return Decimal(text) if name in _KINDS else text
