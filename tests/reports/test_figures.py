"""What is gathered, and that its sums add up."""

from __future__ import annotations

import json
import re
import uuid
from datetime import timedelta
from decimal import Decimal

import pytest
from django.template.loader import render_to_string

from tests.reports.conftest import Works
from worksprog.drainage.services import swap_direction
from worksprog.hours.queries import earned_value
from worksprog.hours.services import log_hours
from worksprog.reports.figures import canonical, fingerprint_of, settled
from worksprog.reports.gathering import gather
from worksprog.reports.gathering.facts import state_on, winter_of
from worksprog.reports.models import Report
from worksprog.reports.presenting import present
from worksprog.reports.services import draft_report, new_report
from worksprog.works.models import Consent, Item
from worksprog.works.queries import programme_totals
from worksprog.works.queries.years import years_sheet
from worksprog.works.services import create_programme, record_consent, record_spend


def _gather(report: Report):
    return gather(report, made_on=report.club.today())


def test_only_plain_json_is_gathered_and_survives_the_way_through_a_database(draft) -> None:
    figures = _gather(draft)
    assert json.loads(canonical(figures)) == figures


def test_money_and_hours_are_those_of_the_records(works: Works, draft: Report) -> None:
    figures = _gather(draft)
    row = figures["projects"][0]
    assert row["name"] == "Brook carrier"
    assert row["spent"] == "1234.50"
    assert row["approved"] == "9000.00"
    assert row["logged_h"] == "18"  # 17.5, to the even hour
    estimates = [item.estimates.get(is_live=True) for item in (works.carrier, works.upper)]
    hours = [one.labour_likely_h for one in estimates]
    assert Decimal(row["estimated_h"]) == round(Decimal(sum(hours)))
    share = 40 / estimates[0].quantity
    assert row["earned_share"] == pytest.approx(hours[0] * share / sum(hours), abs=1e-6)
    left = estimates[0].money_likely * (1 - Decimal(str(share))) + estimates[1].money_likely
    labour = estimates[0].lines.filter(category="labour")
    rate = sum(one.amount_likely for one in labour) / Decimal(
        sum(one.quantity_likely for one in labour)
    )
    wages = rate * Decimal("17.5")
    assert Decimal(row["forecast"]) == round(Decimal("1234.50") + wages + left)
    assert (
        f"Of the forecast, £{wages:,.0f} are wages of hours logged so far" in figures["money_note"]
    )
    page = render_to_string("reports/_content.html", present(figures))
    assert "the wages of the hours logged so far at the estimate’s labour rate" in page


def test_the_forecast_is_that_of_the_progress_page(works: Works, draft: Report) -> None:
    money = earned_value(works.programme, draft.to_date).money
    assert money.eac_rest_at_plan is not None
    rows = _gather(draft)["projects"]
    shown = sum(Decimal(row["forecast"]) for row in rows)
    assert float(shown) == pytest.approx(money.eac_rest_at_plan, abs=0.5 * len(rows))


def test_one_sentence_leads_from_cost_to_cost(works: Works, draft: Report) -> None:
    figures = _gather(draft)
    works.programme.club = works.cast.club
    sheet = years_sheet(works.programme)
    whole = sheet.total
    for words, parts, forecast in (
        (figures["costs_note"], whole, figures["total"]["forecast"]),
        (
            figures["decisions"][0]["costs"],
            next(parts for one, _, parts in sheet.by_project() if one == works.drain),
            figures["projects"][0]["forecast"],
        ),
    ):
        for amount in (
            parts.base, parts.cost, parts.design_allowance, parts.contingency, parts.escalation,
            parts.tax_kept,
        ):  # fmt: skip
            assert f"£{amount:,.0f} " in words
        told = int(re.search(r"£([\d,]+) is the forecast", words)[1].replace(",", ""))  # type: ignore[index]
        assert abs(told - Decimal(forecast)) <= 1  # the table's total is of rounded rows
    page = render_to_string("reports/_content.html", present(figures))
    assert page.count("three costs that differ by what they hold") == 2


def test_wages_alone_can_take_a_project_above_what_is_approved(works: Works, draft: Report) -> None:
    row = _gather(draft)["projects"][0]
    works.drain.approved = Decimal(row["forecast"])
    works.drain.save()
    before = _gather(draft)["cautions"]["findings"]
    assert not any("above what is approved" in one for one in before)
    log_hours(
        club=works.cast.club, person=works.cast.membership(works.cast.staff),
        client_id=uuid.uuid4(), worked_on=works.today, hours=Decimal(8), item=works.carrier,
    )  # fmt: skip
    after = _gather(draft)
    assert after["projects"][0]["spent"] == row["spent"]
    assert Decimal(after["projects"][0]["forecast"]) > Decimal(row["forecast"])
    assert any(
        one.startswith("Brook carrier: the forecast of £") and "above what is approved" in one
        for one in after["cautions"]["findings"]
    )


def test_the_total_is_the_sum_of_the_rows_shown(works: Works, draft: Report) -> None:
    for amount in ("0.50", "0.50"):
        record_spend(
            item=works.tee_item,
            spent_on=works.today,
            description="Seed",
            amount=Decimal(amount),
            by=works.cast.manager,
        )
    figures = _gather(draft)
    for name in ("spent", "approved", "forecast", "logged_h", "estimated_h"):
        shown = sum(Decimal(row[name]) for row in figures["projects"])
        assert Decimal(figures["total"][name]) == shown
        if name in figures["key"]:
            assert Decimal(figures["key"][name]) == shown


def test_the_money_note_tells_the_programme_by_chance(works: Works, draft: Report) -> None:
    drawn = programme_totals(works.programme)
    assert drawn.money_p80 is not None
    note = _gather(draft)["money_note"]
    assert f"no more than £{drawn.money_p80:,.0f} and" in note
    assert "in 80 of 100 cases (simulated, 10,000 draws, seed 1)" in note
    assert f"their likely figures add up to £{drawn.money_likely:,.0f}" in note


def test_what_comes_after_the_last_day_counts_for_nothing(works: Works) -> None:
    early = new_report(
        programme=works.programme, by=None,
        from_date=works.today - timedelta(days=60), to_date=works.today - timedelta(days=20),
    )  # fmt: skip
    figures = _gather(early)
    assert figures["projects"][0]["spent"] == "0.00"
    assert figures["projects"][0]["logged_h"] == "4"
    assert [row["hours"] for row in figures["done"]] == ["4.0"]
    assert all(work["state"] == "proposed" for work in figures["map"]["works"])


def test_done_and_next_name_the_jobs(works: Works, draft: Report) -> None:
    figures = _gather(draft)
    done = {row["name"]: row for row in figures["done"]}
    assert done["Lay C1"]["hours"] == "13.5"
    assert done["Lay C1"]["quantity"] == "35.0 m"
    assert "on site since" in done["Lay C1"]["words"]
    assert "leaves 8 h" in figures["done_note"]
    assert "Lay C1" in [row["name"] for row in figures["next"]]


def test_queried_hours_are_left_out(works: Works, draft: Report) -> None:
    before = _gather(draft)["projects"][0]["logged_h"]
    entry = log_hours(
        club=works.cast.club, person=works.cast.membership(works.cast.staff),
        client_id=uuid.uuid4(), worked_on=works.today, hours=Decimal(5), item=works.carrier,
    )  # fmt: skip
    assert Decimal(_gather(draft)["projects"][0]["logged_h"]) > Decimal(before)
    type(entry).objects.filter(pk=entry.pk).update(state="queried")
    assert _gather(draft)["projects"][0]["logged_h"] == before


def test_the_long_section_is_the_new_drain_from_its_top_to_its_outfall(draft: Report) -> None:
    layout = _gather(draft)["section"]["layout"]
    assert layout["length_m"] == pytest.approx(220.0)
    assert [piece["standing"] for piece in layout["pieces"]] == [False, False]


def test_a_job_on_site_without_its_consent_stands_first_of_what_needs_care(
    works: Works, draft: Report
) -> None:
    record_consent(
        consent=Consent(club=works.cast.club, item=works.carrier, name="Brook consent"),
        by=works.cast.manager,
    )
    record_consent(
        consent=Consent(club=works.cast.club, item=works.tee_item, name="Tee consent"),
        by=works.cast.manager,
    )
    figures = gather(draft, made_on=works.today)
    said = (
        "Brook consent is not granted; work before it may be unlawful; confirm with the authority"
    )
    assert figures["cautions"]["unlawful"] == [f"Lay C1 is on site. {said}."]
    alerts = {row["name"]: row["alert"] for row in figures["next"]}
    assert alerts.pop("Lay C1") == f"On site: {said}"
    assert not any(alerts.values())
    page = render_to_string("reports/_content.html", present(figures))
    care = page.split("What needs care")[1]
    assert care.index("Lay C1 is on site") < care.index('class="cautions"')
    assert page.count('class="alert"') == 2


def test_a_drain_that_runs_uphill_is_said_to(works: Works, draft: Report) -> None:
    swap_direction(feature=works.upper.features.get(), by=works.cast.manager)
    swap_direction(feature=works.carrier.features.get(), by=works.cast.manager)
    figures = _gather(draft)
    words = figures["section"]["words"]
    assert "runs uphill: " in words and "At fault: C" in words
    assert "cannot be checked yet" not in words and "cannot be told" not in words


def test_the_works_at_hand_bring_their_cautions(draft: Report) -> None:
    titles = {caution["title"] for caution in _gather(draft)["cautions"]["trade"]}
    assert {"Buried services", "Trench support"} <= titles


def test_an_empty_programme_gathers(cast) -> None:
    today = cast.club.today()
    programme = create_programme(
        club=cast.club, name="Nothing yet", starts_on=today, ends_on=today + timedelta(days=400),
        by=cast.manager,
    )  # fmt: skip
    report = draft_report(programme=programme, by=cast.manager, from_date=today, to_date=today)
    figures = _gather(report)
    assert figures["projects"] == [] and figures["section"] is None and figures["charts"] == []
    assert figures["key"]["earned_share"] is None


def test_queries_do_not_grow_with_the_programme(
    works: Works, draft: Report, django_assert_max_num_queries
) -> None:
    from tests.reports.more import add_jobs

    with django_assert_max_num_queries(60) as small:
        _gather(draft)
    add_jobs(works, 12)
    with django_assert_max_num_queries(len(small.captured_queries)):
        _gather(draft)


def test_the_fingerprint_does_not_depend_on_the_order_of_keys_and_moves_with_any_figure() -> None:
    assert fingerprint_of({"a": 1.5, "b": ["ü"]}) == fingerprint_of({"b": ["ü"], "a": 1.5})
    assert fingerprint_of({"a": 1.5}) != fingerprint_of({"a": 1.51})


def test_figures_that_no_database_would_keep_are_settled_or_refused() -> None:
    assert canonical(settled({"a": -0.0, "b": [0.1 + 0.2]})) == b'{"a":0.0,"b":[0.3]}'
    with pytest.raises(ValueError, match="JSON compliant"):
        settled({"a": float("nan")})


@pytest.mark.parametrize(
    ("started", "finished", "state", "weeks", "expected"),
    [
        (None, None, "proposed", 0, "proposed"),
        (-5, None, "on_site", 0, "on_site"),
        (5, None, "on_site", 0, "proposed"),
        (-20, -5, "done", 0, "done"),
        (-20, -5, "growing_in", 10, "growing_in"),
        (-200, -100, "growing_in", 10, "done"),
        (-20, 5, "done", 0, "on_site"),
        (5, 9, "done", 0, "proposed"),
        (None, None, "done", 0, "done"),
    ],
)
def test_a_jobs_state_on_a_day(started, finished, state, weeks, expected) -> None:
    from datetime import date

    day = date(2026, 11, 24)

    def at(days):
        return None if days is None else day + timedelta(days=days)

    item = Item(
        started_on=at(started), finished_on=at(finished), state=state, growing_in_weeks=weeks
    )
    assert state_on(item, day) == expected


def test_a_winter_is_named_by_its_two_years() -> None:
    from datetime import date

    assert winter_of(date(2026, 11, 24)).label == "winter 26/27"
    assert winter_of(date(2027, 6, 30)).label == "winter 26/27"
    assert winter_of(date(2027, 7, 1)).label == "winter 27/28"
