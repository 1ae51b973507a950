"""A programme of 300 items with six lines each as a workbook: at most 2 s, reading it included."""

from __future__ import annotations

import io
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from openpyxl import load_workbook

from tests.cast import make_cast
from worksprog.calc.build_up import Category
from worksprog.clubs.spreadsheets import write_workbook
from worksprog.works.models import Estimate, EstimateLine, Item, Phase, Programme, Project
from worksprog.works.queries import ranges
from worksprog.works.queries.years import years_sheet
from worksprog.works.workbook import workbook_sheets

MOST_S = 2.0
ITEMS, LINES = 300, 6


def _programme() -> Programme:
    club = make_cast().club
    programme = Programme.objects.create(
        club=club, name="Large", starts_on=date(2026, 9, 1), ends_on=date(2031, 8, 31)
    )
    projects = [
        Project.objects.create(club=club, programme=programme, code=f"P{n}", name=f"Project {n}")
        for n in range(12)
    ]
    phases = [
        Phase.objects.create(club=club, project=project, name=f"Phase {n}", order=n)
        for project in projects
        for n in range(2)
    ]
    items = Item.objects.bulk_create(
        Item(
            club=club,
            phase=phases[n % len(phases)],
            kind="path",
            name=f"Item {n}",
            started_on=(start := date(2026, 9, 7) + timedelta(days=6 * n)),
            finished_on=start + timedelta(days=18),
        )
        for n in range(ITEMS)
    )
    estimates = Estimate.objects.bulk_create(
        Estimate(club=club, item=item, money_likely=Decimal("6000.00"), money_sd=900.0)
        for item in items
    )
    heads = [*Category, Category.MATERIAL]
    EstimateLine.objects.bulk_create(
        EstimateLine(
            club=club,
            estimate=estimate,
            order=n,
            step=f"line-{n}",
            category=heads[n],
            description=f"Line {n}",
            unit="t",
            **_three("quantity", 20.0),
            **_three("measured", 20.0),
            **_three("rate", Decimal("50.00")),
            **_three("amount", Decimal("1000.00")),
        )
        for estimate in estimates
        for n in range(LINES)
    )
    return programme


def _three(name: str, value: Any) -> dict[str, Any]:
    part = type(value)("0.9"), type(value)("1"), type(value)("1.3")
    ends = zip(("low", "likely", "high"), part, strict=True)
    return {f"{name}_{end}": value * factor for end, factor in ends}


@pytest.mark.django_db
def test_a_full_programme(benchmark: Any) -> None:
    programme = _programme()

    def export() -> bytes:
        ranges._memory.clear()  # as asked for the first time: the contingency is drawn too
        return write_workbook(workbook_sheets(years_sheet(programme)))

    data = benchmark.pedantic(export, rounds=5, warmup_rounds=1)
    book = load_workbook(io.BytesIO(data))
    assert book["Programme"].max_row > ITEMS * (LINES + 1)
    assert benchmark.stats.stats.median <= MOST_S
