"""The club's price book through the year: the starting list, its own wages, dearer stone in July.

All figures, suppliers and papers are invented.
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import ROUND_HALF_EVEN, Decimal
from pathlib import Path

from worksprog.clubs.models import Club, User
from worksprog.clubs.spreadsheets import Column, Kind, SheetOut, Written, write_workbook
from worksprog.works.models import BookVersion, Price, Programme
from worksprog.works.queries.prices import preview_of
from worksprog.works.services import (
    DEMO_SOURCE,
    accept_price_draft,
    build_estimates,
    load_default_price_book,
    read_price_draft,
)
from worksprog.works.services.money import set_club_money

STARTED_ON = date(2026, 2, 2)
STARTED_AT = datetime(2026, 2, 2, 9, 0, tzinfo=UTC)
WAGES_AT = datetime(2026, 2, 16, 14, 30, tzinfo=UTC)
QUARRY_FROM = date(2026, 7, 1)
QUARRY_AT = datetime(2026, 7, 3, 10, 15, tzinfo=UTC)
PIPES_AT = datetime(2026, 11, 23, 16, 40, tzinfo=UTC)
QUARRY_RISE = Decimal("1.085")
HEADINGS = (
    *("what", "category", "code", "name", "unit", "low", "likely", "high"),
    *("supplier", "source", "dated", "currency"),
)

# Wages and hires come to the likely figures of the starting list; the pipe merchant's list is as
# such lists are before anybody has tidied them.
WAGES = Path(__file__).with_name("wages_and_hire.csv")
PIPES = Path(__file__).with_name("pipe_merchant.csv")


def settle_money(club: Club, by: User) -> None:
    """A club that recovers part of the tax it pays."""
    club.tax_recovered_percent = Decimal("30")
    set_club_money(club=club, by=by)


def begin_book(club: Club, by: User) -> None:
    load_default_price_book(club=club, by=by, dated=STARTED_ON, made_at=STARTED_AT)


def bring_in_wages(club: Club, by: User) -> None:
    """The club's own grades of labour and what it hires, by what they are made of."""
    _take(club, by, WAGES.read_bytes(), "Wages and hire, February 2026.csv", WAGES_AT)


def dearer_stone(programme: Programme, by: User) -> BookVersion:
    """The quarry's list from 1 July: stone, sand and soil go up; open estimates are worked out anew."""
    club = programme.club
    version = _take(club, by, _quarry_list(club), "Quarry prices from July 2026.xlsx", QUARRY_AT)
    build_estimates(programme=programme, by=by, made_at=QUARRY_AT)
    return version


def leave_a_file_waiting(club: Club, by: User) -> None:
    """The pipe merchant's list, read and not yet taken: some rows of it are refused."""
    read_price_draft(
        club=club,
        data=PIPES.read_bytes(),
        file_name="Pipe merchant, November 2026.csv",
        by=by,
        read_at=PIPES_AT,
    )


def _quarry_list(club: Club) -> bytes:
    rows: list[list[Written]] = [
        [
            *("price", price.category, price.code, price.name, price.unit),
            *(_risen(figure) for figure in (price.low, price.likely, price.high)),
            *("the quarry", DEMO_SOURCE, QUARRY_FROM, club.currency),
        ]
        for price in Price.objects.filter(club=club, trend__name="stone, sand and soil")
    ]
    kinds = {"low": Kind.MONEY, "likely": Kind.MONEY, "high": Kind.MONEY, "dated": Kind.DATE}
    columns = [Column(name, kinds.get(name, Kind.WORDS)) for name in HEADINGS]
    return write_workbook([SheetOut("From July", columns, rows)])


def _risen(figure: Decimal) -> Decimal:
    """To the next ten pence, as a quarry's list has it."""
    return (figure * QUARRY_RISE).quantize(Decimal("0.1"), ROUND_HALF_EVEN)


def _take(club: Club, by: User, data: bytes, name: str, at: datetime) -> BookVersion:
    draft = read_price_draft(club=club, data=data, file_name=name, by=by, read_at=at)
    seen = preview_of(draft).seen
    return accept_price_draft(draft=draft, seen=seen, by=by, made_at=at).version
