"""Costs by financial year add up to the penny in every direction, whatever is laid upon them."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from worksprog.calc.apportion import apportion
from worksprog.calc.build_up import Category
from worksprog.calc.cost_years import (
    Additions,
    CostedItem,
    CostLine,
    Parts,
    add_parts,
    cost_by_year,
)
from worksprog.calc.escalation import (
    Trend,
    escalated,
    growth,
    mid_point_years,
    straight_line,
)
from worksprog.calc.financial_years import financial_year_of, stretches, years_between
from worksprog.calc.ranges import ThreePoint

PRICED = dt.date(2026, 2, 2)
STONE = Trend("stone", ThreePoint(2, 4, 6), "invented")


def test_left_over_pennies_go_to_those_who_lost_most() -> None:
    assert apportion(Decimal("10.00"), [1, 1, 1]) == [
        Decimal("3.34"),
        Decimal("3.33"),
        Decimal("3.33"),
    ]
    assert apportion(Decimal("0.05"), [1, 2, 4]) == [
        Decimal("0.01"),
        Decimal("0.01"),
        Decimal("0.03"),
    ]
    assert apportion(Decimal("-0.01"), [0, 3]) == [Decimal("0.00"), Decimal("-0.01")]
    assert apportion(Decimal("1.00"), [0, 0]) == [Decimal("0.50"), Decimal("0.50")]


@given(
    pennies=st.integers(-(10**9), 10**9),
    weights=st.lists(st.floats(0, 1e9) | st.integers(0, 400), min_size=1, max_size=12),
)
def test_shares_add_up_and_lie_within_a_penny(pennies: int, weights: list[float]) -> None:
    total = Decimal(pennies) / 100
    shares = apportion(total, weights)
    assert sum(shares) == total
    together = sum(weights)
    if together > 1e-6:
        for share, weight in zip(shares, weights, strict=True):
            assert abs(float(share) - float(total) * weight / together) < 0.01 + 1e-6


@pytest.mark.parametrize(
    ("total", "weights", "words"),
    [
        (Decimal("1.00"), [], "Nothing"),
        (Decimal("1.005"), [1], "whole number"),
        (Decimal("NaN"), [1], "whole number"),
        (Decimal("1.00"), [1, -1], "below 0"),
        (Decimal("1.00"), [float("nan")], "must be a number"),
        (Decimal("1.00"), [float("inf"), 1], "must be a number"),
    ],
)
def test_what_cannot_be_shared_is_refused(total: Decimal, weights: list[float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        apportion(total, weights)


def test_a_year_starts_in_any_month() -> None:
    assert financial_year_of(dt.date(2026, 11, 24), 4).name == "2026/27"
    assert financial_year_of(dt.date(2027, 3, 31), 4).name == "2026/27"
    assert financial_year_of(dt.date(2026, 9, 30), 10).name == "2025/26"
    assert financial_year_of(dt.date(2026, 10, 1), 10).name == "2026/27"
    assert financial_year_of(dt.date(2026, 10, 1), 1).name == "2026"
    assert financial_year_of(dt.date(2099, 10, 1), 10).name == "2099/00"
    for month in range(1, 13):
        years = years_between(dt.date(2024, 1, 1), dt.date(2028, 12, 31), month)
        for before, after in pairwise(years):
            assert after.first - before.last == dt.timedelta(days=1)
        assert years[0].first <= dt.date(2024, 1, 1)
        assert years[-1].last >= dt.date(2028, 12, 31)
    with pytest.raises(ValueError, match="month"):
        financial_year_of(dt.date(2026, 1, 1), 13)


def test_work_over_the_turn_of_an_october_year_is_shared_by_its_weekdays() -> None:
    # Monday 21 September to Friday 9 October 2026: 8 weekdays, then 7.
    cut = stretches(dt.date(2026, 9, 21), dt.date(2026, 10, 9), 10)
    assert [(one.year.name, one.days) for one in cut] == [("2025/26", 8), ("2026/27", 7)]
    assert (cut[0].last, cut[1].first) == (dt.date(2026, 9, 30), dt.date(2026, 10, 1))
    weekend = stretches(dt.date(2026, 11, 21), dt.date(2026, 11, 22), 4)
    assert [(one.year.name, one.days) for one in weekend] == [("2026/27", 2)]
    # A Saturday and Sunday before the turn have no weekday and so no money of the work after it.
    assert [one.year.name for one in stretches(dt.date(2028, 9, 30), dt.date(2028, 10, 6), 10)] == [
        "2028/29"
    ]
    with pytest.raises(ValueError, match="before it starts"):
        stretches(dt.date(2026, 11, 2), dt.date(2026, 11, 1), 4)


def test_mid_point_and_growth() -> None:
    # One Julian year after the base to the middle of a two-day job.
    assert mid_point_years(dt.date(2026, 1, 1), dt.date(2027, 1, 1), dt.date(2027, 1, 2)) == (
        pytest.approx(366 / 365.25)
    )
    assert mid_point_years(PRICED, dt.date(2025, 5, 1), dt.date(2025, 6, 1)) == 0.0
    assert growth(0, 7.5) == 0.0
    assert growth(-3, 2) == pytest.approx(0.97**2 - 1)
    assert escalated(0.0, 4, 3) == 0.0
    # The straight line lies below the compound figure beyond a year, both being rises.
    assert 0 < straight_line(4 / 12, 24) < growth(4, 2)
    assert straight_line(4 / 12, 6) > growth(4, 0.5) > 0
    for bad in ((-100, 1), (4, -0.1), (float("nan"), 1), (4, float("inf"))):
        with pytest.raises(ValueError):
            growth(*bad)
    with pytest.raises(ValueError, match="before it begins"):
        mid_point_years(PRICED, dt.date(2026, 2, 2), dt.date(2026, 2, 1))


def _line(pounds: str, category: Category = Category.MATERIAL, trend: Trend | None = STONE):
    return CostLine(Decimal(pounds), category, PRICED, trend)


def test_one_item_by_hand() -> None:
    item = CostedItem(
        1,
        (_line("800.00"), _line("200.00", Category.LABOUR, None)),
        dt.date(2027, 9, 6),
        dt.date(2027, 9, 10),
        spread=50.0,
    )
    additions = Additions(
        contingency=Decimal("100.00"),
        design_allowance_percent=5,
        tax_percent=20,
        tax_recovered_percent=25,
    )
    (cell,) = cost_by_year([item], additions, starts_in_month=10).cells
    # 2 Feb 2026 to the middle of 6 to 10 Sep 2027: 581 + 2.5 days.
    years = 583.5 / 365.25
    rise = 800 * (1.04**years - 1) / 1000
    laid = Decimal("1150.00")
    assert cell.year is not None and cell.year.name == "2026/27"
    assert cell.years_to_mid == pytest.approx(years)
    assert cell.growth == pytest.approx(rise)
    assert cell.parts.base == Decimal("1000.00")
    assert cell.parts.own_crew == Decimal("200.00")
    stone, wages = cell.lines
    assert (stone.amount, wages.amount) == (Decimal("800.00"), Decimal("200.00"))
    assert stone.growth == pytest.approx(1.04**years - 1)
    assert stone.straight == pytest.approx(0.04 * years)
    assert (wages.growth, wages.straight) == (0.0, 0.0)
    assert cell.growth == pytest.approx(0.8 * stone.growth)
    assert cell.straight == pytest.approx(0.8 * stone.straight)
    assert cell.parts.design_allowance == Decimal("50.00")
    assert cell.parts.contingency == Decimal("100.00")
    assert cell.parts.escalation == round(laid * Decimal(rise), 2)
    # Tax on what is bought and on its share of what is laid upon it.
    taxable = 1150 * (0.8 * 1.04**years)
    assert float(cell.parts.tax) == pytest.approx(taxable * 0.2, abs=0.005)
    assert cell.parts.tax_recovered == round(cell.parts.tax * Decimal("0.25"), 2)
    assert cell.parts.before_tax == laid + cell.parts.escalation
    assert cell.parts.cost == cell.parts.before_tax + cell.parts.tax - cell.parts.tax_recovered


def test_without_days_nothing_rises_and_the_column_is_its_own() -> None:
    placed = CostedItem(1, (_line("100.00"),), dt.date(2028, 1, 3), dt.date(2028, 1, 7))
    unplaced = CostedItem(2, (_line("50.00"),))
    found = cost_by_year([placed, unplaced], Additions(), starts_in_month=4)
    assert [year.name if year else None for year in found.years] == ["2027/28", None]
    assert found.by_year()[None].escalation == 0
    assert found.by_item()[1].escalation > 0
    assert found.total().base == Decimal("150.00")


def test_finished_work_carries_no_allowance_contingency_or_escalation() -> None:
    days = (dt.date(2027, 9, 6), dt.date(2027, 9, 10))
    over = CostedItem(1, (_line("1000.00"),), *days, spread=400.0, is_finished=True)
    to_do = CostedItem(2, (_line("500.00"),), *days, spread=20.0)
    additions = Additions(contingency=Decimal("60.00"), design_allowance_percent=5, tax_percent=20)
    found = cost_by_year([over, to_do], additions, starts_in_month=10)
    parts = found.by_item()
    assert parts[1] == Parts(base=Decimal("1000.00"), tax=parts[1].tax)
    assert parts[1].tax == Decimal("200.00")
    assert parts[2].design_allowance == Decimal("25.00")
    assert parts[2].contingency == Decimal("60.00")
    assert parts[2].escalation > 0
    assert found.total().cost == parts[1].cost + parts[2].cost
    (finished, _) = found.cells
    assert "Finished" in finished.working.notes[0]
    alone = cost_by_year([over], additions, starts_in_month=10).total()
    assert alone == Parts(base=Decimal("1000.00"), tax=Decimal("200.00"))


def test_years_without_work_still_stand_in_the_table() -> None:
    items = [
        CostedItem(n, (_line("10.00"),), dt.date(year, 11, 2), dt.date(year, 11, 6))
        for n, year in enumerate((2026, 2029))
    ]
    found = cost_by_year(items, Additions(), starts_in_month=10)
    assert [year.name for year in found.years if year] == [
        "2026/27",
        "2027/28",
        "2028/29",
        "2029/30",
    ]
    assert found.by_year()[found.years[1]] == Parts()
    assert cost_by_year([], Additions(), starts_in_month=4).years == []


_days = st.dates(dt.date(2025, 1, 1), dt.date(2032, 1, 1))
_money = st.integers(0, 5_000_000).map(lambda pennies: Decimal(pennies) / 100)
_trends = st.sampled_from([None, STONE, Trend("falling", ThreePoint(-8, -2, 0))])


@st.composite
def _items(draw: st.DrawFn) -> list[CostedItem]:
    found = []
    for key in range(draw(st.integers(1, 6))):
        lines = tuple(
            CostLine(draw(_money), draw(st.sampled_from(list(Category))), PRICED, draw(_trends))
            for _ in range(draw(st.integers(1, 4)))
        )
        start = draw(st.none() | _days)
        finish = start and start + dt.timedelta(days=draw(st.integers(0, 900)))
        spread = draw(st.floats(0, 500))
        found.append(CostedItem(key, lines, start, finish, spread, draw(st.booleans())))
    return found


@settings(max_examples=60, deadline=None)
@given(
    items=_items(),
    month=st.integers(1, 12),
    additions=st.builds(
        Additions,
        contingency=_money,
        design_allowance_percent=st.floats(0, 30),
        tax_percent=st.sampled_from([0.0, 17.5, 20.0]),
        tax_recovered_percent=st.sampled_from([0.0, 33.3, 100.0]),
    ),
)
def test_it_adds_up_in_every_direction(
    items: list[CostedItem], month: int, additions: Additions
) -> None:
    found = cost_by_year(items, additions, starts_in_month=month)
    total = found.total()
    assert add_parts(found.by_year().values()) == total
    assert add_parts(found.by_item().values()) == total
    assert total.base == sum(item.base for item in items)
    still_open = [item for item in items if not item.is_finished]
    assert total.contingency == (additions.contingency if still_open else 0)
    open_base = sum((item.base for item in still_open), Decimal(0))
    exact = open_base * Decimal(repr(additions.design_allowance_percent)) / 100
    assert abs(total.design_allowance - exact) <= Decimal("0.005")
    heads = found.heads_by_year()
    for year, parts in found.by_year().items():
        assert sum(heads[year].values()) == parts.base
        assert heads[year][Category.LABOUR] == parts.own_crew
    for cell in found.cells:
        assert sum(share.amount for share in cell.lines) == cell.parts.base
    for item in items:
        parts = found.by_item()[item.key]
        assert parts.base == item.base
        if item.is_finished:
            assert parts.before_tax == parts.base
    for cell in found.cells:
        assert cell.parts.escalation_low <= cell.parts.escalation <= cell.parts.escalation_high


def test_bad_additions_are_refused() -> None:
    with pytest.raises(ValueError, match="contingency"):
        Additions(contingency=Decimal("-0.01"))
    with pytest.raises(ValueError, match="comes back"):
        Additions(tax_recovered_percent=101)
    with pytest.raises(ValueError, match="design allowance"):
        Additions(design_allowance_percent=float("nan"))
