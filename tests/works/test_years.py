"""Costs by the club's financial year, on the page and as files; the class of an estimate."""

from __future__ import annotations

import csv
import io
import re
from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.test import Client

from tests.cast import Cast
from tests.works.conftest import Works
from worksprog.calc.escalation import growth, mid_point_years
from worksprog.clubs.models import Change
from worksprog.clubs.records import save_record
from worksprog.clubs.spreadsheets.writing import Line
from worksprog.works.models import Estimate, EstimateLine, ItemState, Price, PriceTrend, Programme
from worksprog.works.queries import years as queries_years
from worksprog.works.queries.years import YearsSheet, years_sheet
from worksprog.works.services import (
    approve_project,
    build_estimates,
    record_spend,
    set_item_state,
)
from worksprog.works.services.years import set_allowances, set_estimate_class
from worksprog.works.workbook import workbook_sheets

ROOM = "/c/first/works"
TREND = {"low": Decimal("1.00"), "likely": Decimal("4.00"), "high": Decimal("7.00")}


@pytest.fixture
def priced(works: Works, cast: Cast) -> Works:
    """Two estimates; every price of one trend; the carrier over the turn of an October year."""
    by = cast.manager
    trend = PriceTrend.objects.create(
        club=cast.club, name="all prices", dated=date(2026, 9, 1), source="invented", **TREND
    )
    Price.objects.filter(club=cast.club).update(trend=trend, dated=date(2026, 9, 1))
    build_estimates(programme=works.programme, by=by)
    Estimate.objects.update(made_at=datetime(2026, 9, 2, 9, tzinfo=UTC))
    cast.club.year_start_month = 10
    save_record(cast.club, by=by)
    works.carrier.refresh_from_db()
    works.carrier.started_on, works.carrier.finished_on = date(2026, 9, 21), date(2026, 10, 9)
    works.carrier.state = ItemState.DONE
    save_record(works.carrier, by=by)
    works.tee_item.refresh_from_db()
    works.tee_item.not_before = date(2027, 9, 6)
    save_record(works.tee_item, by=by)
    return works


def _sheet(cast: Cast) -> YearsSheet:
    programme = Programme.objects.get(club=cast.club)
    programme.club = cast.club
    return years_sheet(programme)


def test_money_falls_on_the_days_worked_and_adds_up(priced: Works, cast: Cast) -> None:
    sheet = _sheet(cast)
    carrier = Estimate.objects.get(item=priced.carrier, is_live=True)
    tee = Estimate.objects.get(item=priced.tee_item, is_live=True)
    by_year = {year.name if year else "": parts for year, parts in sheet.by_year.items()}
    # 8 of the carrier's 15 weekdays lie before 1 October, 7 after; the tee's only known day is later.
    assert list(by_year) == ["2025/26", "2026/27"]
    assert float(by_year["2025/26"].base) == pytest.approx(
        float(carrier.money_likely) * 8 / 15, abs=0.05
    )
    assert sheet.total.base == carrier.money_likely + tee.money_likely
    assert by_year["2025/26"].base + by_year["2026/27"].base == sheet.total.base
    assert sheet.one_day_only == [priced.tee_item]
    project, of_year, whole = sheet.by_project()[0]
    assert (project, whole) == (priced.project, sheet.total)
    assert sum(parts.cost for parts in of_year.values()) == sheet.total.cost


def test_prices_rise_to_the_mid_point_from_their_own_day(priced: Works, cast: Cast) -> None:
    (cell,) = _sheet(cast).cells_of[priced.tee_item.pk]
    years = mid_point_years(date(2026, 9, 1), date(2027, 9, 6), date(2027, 9, 6))
    assert cell.years_to_mid == pytest.approx(years)
    assert cell.growth == pytest.approx(growth(4.0, years))
    # The book moves on, and the estimate's own version still tells the day of its prices.
    Price.objects.filter(club=cast.club).update(high=9999, likely=9998, dated=date(2026, 11, 1))
    (cell,) = _sheet(cast).cells_of[priced.tee_item.pk]
    assert cell.years_to_mid == pytest.approx(years)
    # Where no version is known it is a price of the estimate's day.
    Estimate.objects.update(book=None)
    (cell,) = _sheet(cast).cells_of[priced.tee_item.pk]
    assert cell.years_to_mid == pytest.approx(
        mid_point_years(date(2026, 9, 2), date(2027, 9, 6), date(2027, 9, 6))
    )
    PriceTrend.objects.all().delete()
    sheet = _sheet(cast)
    assert sheet.total.escalation == 0
    assert sheet.without_trend == sheet.total.base


def test_allowance_contingency_and_tax_are_laid_on_apart(priced: Works, cast: Cast) -> None:
    assert _sheet(cast).total.design_allowance == 0
    set_allowances(
        club=cast.club,
        design_allowance_percent=Decimal("7.50"),
        contingency_chance=Decimal("0.90"),
        by=cast.manager,
    )
    sheet = _sheet(cast)
    assert sheet.contingency.is_simulated
    assert "simulated" in sheet.contingency.from_words
    assert sheet.contingency.chance == pytest.approx(0.9)
    total = sheet.total
    tee = Estimate.objects.get(item=priced.tee_item, is_live=True)
    assert abs(total.design_allowance - tee.money_likely * Decimal("0.075")) <= Decimal("0.005")
    assert total.contingency == sheet.contingency.amount > 0
    labour = sum(line.amount_likely for line in EstimateLine.objects.filter(category="labour"))
    assert total.own_crew == labour
    bought = 0.0
    for parts in sheet.cost.by_item().values():
        bought += float(parts.before_tax) * (1 - float(parts.own_crew) / float(parts.base))
    # One trend for all, so what is bought keeps its share of each job.
    assert float(total.tax) == pytest.approx(0.2 * bought, rel=0.01)
    assert total.tax_recovered == 0
    assert (
        Change.objects.filter(kind="works.estimaterules").exists()
        or Change.objects.filter(label="rules of estimating").exists()
    )


def test_a_finished_job_stands_at_its_estimate_alone(
    priced: Works, cast: Cast, as_committee: Client
) -> None:
    set_allowances(
        club=cast.club,
        design_allowance_percent=Decimal("5"),
        contingency_chance=Decimal("0.80"),
        by=cast.manager,
    )
    sheet = _sheet(cast)
    assert sheet.finished == [priced.carrier]
    by_item = sheet.cost.by_item()
    over, to_do = by_item[priced.carrier.pk], by_item[priced.tee_item.pk]
    assert over.before_tax == over.base == priced.carrier.estimates.get(is_live=True).money_likely
    assert over.design_allowance == over.contingency == over.escalation == 0
    assert to_do.contingency == sheet.contingency.amount > 0
    assert "shared over the jobs not finished" in sheet.contingency.from_words
    page = as_committee.get(f"{ROOM}/years/").content.decode()
    assert "1 finished job stands here at its estimate" in page
    own = as_committee.get(f"{ROOM}/items/{priced.carrier.uuid}/years/").content.decode()
    assert "This job is finished" in own
    answer = as_committee.get(f"{ROOM}/programmes/{priced.programme.uuid}/years.csv")
    rows = csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig")))
    assert {row["item"]: (row["state"], row["base"] == row["before tax"]) for row in rows} == {
        "Lay C1": ("finished", True),
        "Rebuild tee 8": ("not finished", False),
    }
    items = workbook_sheets(sheet)[1]
    lines = [row for row in items.rows if isinstance(row, Line)][:-1]
    assert {(row.cells[2], row.cells[-1]) for row in lines} == {
        ("Lay C1", "finished"),
        ("Rebuild tee 8", "not finished"),
    }
    # Growing in is finished too; a job taken up again is not.
    priced.carrier.state = ItemState.GROWING_IN
    save_record(priced.carrier, by=cast.manager)
    assert _sheet(cast).finished == [priced.carrier]
    priced.carrier.state = ItemState.ON_SITE
    save_record(priced.carrier, by=cast.manager)
    sheet = _sheet(cast)
    assert sheet.finished == []
    assert sheet.cost.by_item()[priced.carrier.pk].design_allowance > 0


def test_where_nothing_can_be_drawn_the_closed_form_says_so(
    priced: Works, cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    simulated = _sheet(cast).contingency
    monkeypatch.setattr(queries_years, "ranges_of", lambda *_, **__: None)
    closed = _sheet(cast).contingency
    assert not closed.is_simulated
    assert closed.from_words.startswith("worked out from the items' spreads, not simulated")
    # The two agree roughly: they know of the same lines, but share causes differently.
    assert float(closed.amount) == pytest.approx(float(simulated.amount), rel=0.5)


def test_what_has_gone_out_stands_beside_the_year_it_went_out(priced: Works, cast: Cast) -> None:
    for on, amount in ((date(2026, 9, 30), "100.00"), (date(2026, 10, 1), "40.01")):
        record_spend(
            item=priced.carrier,
            spent_on=on,
            description="stone",
            amount=Decimal(amount),
            by=cast.manager,
        )
    spent = {year.name: amount for year, amount in _sheet(cast).spent.items() if year}
    assert spent == {"2025/26": Decimal("100.00"), "2026/27": Decimal("40.01")}


def test_shelved_items_and_items_without_estimate_are_left_out(priced: Works, cast: Cast) -> None:
    set_item_state(
        item=priced.tee_item, state=ItemState.SHELVED, on=date(2026, 11, 1), by=cast.manager
    )
    Estimate.objects.filter(item=priced.carrier).update(is_live=False)
    sheet = _sheet(cast)
    assert sheet.years == []
    assert sheet.without_estimate == [priced.carrier]
    assert sheet.contingency.amount == 0


def test_the_page(priced: Works, cast: Cast, as_committee: Client, as_manager: Client) -> None:
    answer = as_committee.get(f"{ROOM}/years/")
    page = answer.content.decode()
    assert answer.status_code == 200
    assert "starts in October" in page
    total = _sheet(cast).total
    assert f"£{total.cost:,.2f}" in page
    assert "The year 2026/27" in page
    assert "Change allowance" not in page
    assert "Change allowance" in as_manager.get(f"{ROOM}/years/").content.decode()
    uuid = priced.programme.uuid
    assert as_committee.get(f"{ROOM}/programmes/{uuid}/years/").status_code == 200
    assert as_committee.get(f"{ROOM}/years/allowances/").status_code == 403


def test_an_item_line_by_line(priced: Works, cast: Cast, as_committee: Client) -> None:
    address = f"{ROOM}/items/{priced.carrier.uuid}/years/"
    page = as_committee.get(address).content.decode()
    first, second = _sheet(cast).cells_of[priced.carrier.pk]
    assert "8 of 15 days" in page
    assert "all prices, 4 % a year" in page
    for cell in (first, second):
        assert f"£{cell.parts.base:,.2f}" in page
        assert cell.working.steps[-1].value == f"{cell.parts.cost:,}"
    Estimate.objects.filter(item=priced.carrier).update(is_live=False)
    assert "no estimate yet" in as_committee.get(address).content.decode()


def test_the_page_before_there_is_anything(cast: Cast, as_manager: Client) -> None:
    assert "No programme is live" in as_manager.get(f"{ROOM}/years/").content.decode()


def test_allowances_are_kept_by_form(priced: Works, cast: Cast, as_manager: Client) -> None:
    address = f"{ROOM}/years/allowances/"
    bad = as_manager.post(address, {"design_allowance_percent": "-1", "contingency_percent": "100"})
    assert bad.status_code == 422
    assert bad.content.decode().count('class="errors"') >= 2
    good = as_manager.post(address, {"design_allowance_percent": "5", "contingency_percent": "80"})
    assert good.status_code == 302
    rules = _sheet(cast).rules
    assert (rules.design_allowance_percent, rules.contingency_chance) == (
        Decimal("5.00"),
        Decimal("0.80"),
    )


def test_the_file_adds_up_and_no_name_is_taken_for_a_formula(
    priced: Works, cast: Cast, as_committee: Client
) -> None:
    priced.carrier.name = '=HYPERLINK("x")'
    save_record(priced.carrier, by=cast.manager)
    answer = as_committee.get(f"{ROOM}/programmes/{priced.programme.uuid}/years.csv")
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert {row["item"] for row in rows} == {'\'=HYPERLINK("x")', "Rebuild tee 8"}
    total = _sheet(cast).total
    for name, amount in (("base", total.base), ("cost to the club", total.cost)):
        assert sum(Decimal(row[name]) for row in rows) == amount


def test_the_class_is_proposed_with_reasons_and_set_by_the_manager(
    priced: Works, cast: Cast, as_manager: Client, as_committee: Client
) -> None:
    address = f"{ROOM}/items/{priced.carrier.uuid}/class/"
    page = as_committee.get(address).content.decode()
    assert "its quantity is measured on the map" in page
    assert "written for process plant" in page
    proposed = int(re.search(r"Why class (\d) is proposed", page)[1])  # type: ignore[index]
    assert as_committee.post(address, {"number": "2"}).status_code == 403
    assert as_manager.post(address, {"number": "2"}).status_code == 302
    estimate = Estimate.objects.get(item=priced.carrier, is_live=True)
    assert estimate.estimate_class == 2
    assert "Set by the manager" in as_committee.get(address).content.decode()
    classes = {row.one.number: row.items for row in _sheet(cast).by_class()}
    assert classes[2] == 1
    assert sum(classes.values()) == 2
    assert as_manager.post(address, {"number": ""}).status_code == 302
    estimate.refresh_from_db()
    assert estimate.estimate_class is None
    assert proposed in (3, 4)
    # A club that confirms its prices and enters its design comes out better.
    Price.objects.update(is_confirmed=True)
    confirmed = queries_years.cost_of_item(priced.carrier).proposal
    assert confirmed is not None
    assert "100% of its money" in " ".join(confirmed.reasons)


def test_what_was_approved_keeps_its_class(priced: Works, cast: Cast) -> None:
    approve_project(
        project=priced.project,
        amount=Decimal("20000"),
        approved_on=date(2026, 10, 1),
        by=cast.manager,
    )
    estimate = Estimate.objects.get(item=priced.carrier, is_live=True)
    with pytest.raises(ValidationError, match="stays as it is"):
        set_estimate_class(estimate=estimate, number=1, by=cast.manager)
    estimate.approved_on, estimate.is_live = None, False
    with pytest.raises(ValidationError, match="earlier revision"):
        set_estimate_class(estimate=estimate, number=1, by=cast.manager)
    estimate.is_live = True
    with pytest.raises(ValidationError, match="1 to 5"):
        set_estimate_class(estimate=estimate, number=6, by=cast.manager)
