"""Money and spreadsheets against a published standard and another library."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pyogrio.raw
import pytest

from worksprog.calc.build_up import to_penny
from worksprog.clubs.spreadsheets import (
    Column,
    Kind,
    SheetOut,
    Worked,
    write_workbook,
)

W3C = "W3C, XPath and XQuery Functions and Operators 3.1, fn:round-half-to-even, examples (C)"
GDAL = "read by GDAL's XLSX driver (R)"


@pytest.mark.parametrize(
    ("value", "coin", "expected"),
    [
        ("0.5", "1", "0"),
        ("1.5", "1", "2"),
        ("2.5", "1", "2"),
        ("3567.812", "0.01", "3567.81"),
        ("0.0047564", "0.01", "0"),
        ("35612.25", "1E+2", "35600"),
    ],
)
def test_halves_go_to_the_even_coin(outside, value, coin, expected):
    outside(
        quantity=f"{value} to the nearest {Decimal(coin):f}",
        expected=float(expected),
        got=float(to_penny(Decimal(value), Decimal(coin))),
        tolerance=0.0,
        source=W3C,
    )


def test_a_workbook_says_the_same_to_another_reader(outside, tmp_path: Path):
    amounts = [Decimal("0.10"), Decimal("1234.56"), Decimal("99999.99")]
    total = sum(amounts, Decimal(0))
    rows: list[list[str | Decimal | Worked]] = [
        ["=1+1", amounts[0]],
        ["=1+1", amounts[1]],
        ["=1+1", amounts[2]],
        ["Sum", Worked("=SUM(B2:B4)", total)],
    ]
    file = tmp_path / "book.xlsx"
    file.write_bytes(
        write_workbook([SheetOut("Book", [Column("What"), Column("Amount", Kind.MONEY)], rows)])
    )
    _, _, _, (words, read) = pyogrio.raw.read(file, layer="Book")
    assert list(words) == ["=1+1"] * 3 + ["Sum"]
    for amount, got in zip([*amounts, total], read, strict=True):
        outside(
            quantity="amount in a written workbook",
            expected=float(amount),
            got=float(got),
            tolerance=0.0,
            source=GDAL,
        )
