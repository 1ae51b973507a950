from __future__ import annotations

import json
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
import vl_convert
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from tests.hours.conftest import TODAY, Site, estimate
from worksprog.calc.progress_chart import CurveValue, s_curve_chart
from worksprog.clubs.records import save_record
from worksprog.hours.queries import earned_value, progress_of_items, share_done
from worksprog.hours.services import query_hours
from worksprog.planning.models import Plan, PlannedItem
from worksprog.planning.remaining import share_done as what_planning_asks
from worksprog.works.models import ItemState
from worksprog.works.services import create_item, record_spend


def plan(site: Site, rows: list[tuple[Any, date, date]], **facts: Any) -> Plan:
    made = Plan(
        club=site.cast.club,
        programme=site.programme,
        made_by=site.cast.manager,
        as_of=date(2026, 9, 1),
        weeks=[{"week": "2026-09-07"}],
        notes=["made by hand"],
        **facts,
    )
    save_record(made, by=site.cast.manager)
    for item, start, finish in rows:
        PlannedItem.objects.create(
            club=site.cast.club, plan=made, item=item, start=start, finish=finish
        )
    return made


def test_measured_over_planned_capped_and_told(site: Site) -> None:
    site.log(quantity=60)
    site.log(site.cast.other_staff, quantity=30)
    site.log(item=site.tee, hours=1, quantity=300, worked_on=TODAY - timedelta(days=1))
    query_hours(entry=site.log(hours=1, quantity=50), by=site.cast.manager, reason="Fifty more?")
    told = progress_of_items(site.programme, TODAY)
    carrier, tee = told[site.carrier.pk], told[site.tee.pk]
    assert (carrier.measured, carrier.share, carrier.over) == (90, 0.5, 0)
    assert (tee.share, tee.over) == (1.0, 80)
    assert told[site.headwall.pk].basis == "no estimate yet"
    before = progress_of_items(site.programme, TODAY - timedelta(days=2))
    assert before[site.carrier.pk].share == 0


def test_a_finished_job_counts_in_full_from_its_day(site: Site) -> None:
    site.headwall.state, site.headwall.finished_on = ItemState.GROWING_IN, TODAY
    site.headwall.save()
    assert progress_of_items(site.programme, TODAY)[site.headwall.pk].share == 1
    yesterday = TODAY - timedelta(days=1)
    assert progress_of_items(site.programme, yesterday)[site.headwall.pk].share == 0


def test_planning_reads_the_share_done_from_here(site: Site) -> None:
    site.log(quantity=45)
    progress = progress_of_items(site.programme, TODAY)
    planned = [(one.item, one.quantity or 0.0) for one in progress.values()]
    asked = what_planning_asks(site.programme, TODAY, planned)
    assert asked == share_done(site.programme, TODAY, planned)
    assert asked == {key: one.share for key, one in progress.items()}
    assert asked[site.carrier.pk] == 0.25


def test_earned_value_in_hours_and_money_by_hand(site: Site) -> None:
    """Carrier 540 h, £16,000, half measured; planned over 10 working days of which 8 are gone."""
    plan(
        site,
        [
            (site.carrier, date(2026, 11, 16), date(2026, 11, 27)),
            (site.tee, date(2027, 1, 4), date(2027, 1, 29)),
        ],
    )
    site.log(hours=8, quantity=60, worked_on=TODAY - timedelta(days=1))
    site.log(site.cast.other_staff, hours=6.5, quantity=30)
    record_spend(
        item=site.carrier,
        spent_on=date(2026, 11, 20),
        description="Pipe",
        amount=Decimal("2100.50"),
        by=site.cast.manager,
    )
    record_spend(
        item=site.carrier,
        spent_on=date(2026, 11, 25),
        description="Gravel, after the day",
        amount=Decimal("900"),
        by=site.cast.manager,
    )
    told = earned_value(site.programme, TODAY)
    assert (told.hours.bac, told.money.bac) == (700, 22000)
    # Monday the 16th to Tuesday the 24th: seven of ten.
    assert told.hours.pv == pytest.approx(540 * 0.7)
    assert told.hours.ev == pytest.approx(270)
    assert told.hours.ac == 14.5
    assert told.money.pv == pytest.approx(16000 * 0.7)
    assert told.money.ev == pytest.approx(8000)
    assert told.money.ac == pytest.approx(14.5 * 20 + 2100.50)
    assert [item.name for item in told.without_estimate] == ["Headwall O2"]
    assert [item.name for item in told.without_dates] == ["Headwall O2"]
    assert told.workings["money_ac"].steps[-1].value == told.money.ac
    assert told.workings["hours_ev"].steps[0].formula == "540.0 × 0.500"
    assert "live plan" in told.plan_words


def test_a_baseline_is_measured_against_and_a_contractor_is_in_the_money_only(site: Site) -> None:
    plan(
        site,
        [(site.carrier, date(2026, 9, 7), date(2026, 9, 18))],
        is_live=False,
        baseline_name="Committee, June",
    )
    plan(site, [(site.carrier, date(2027, 2, 1), date(2027, 2, 12))])
    assert earned_value(site.programme, TODAY).plan_ends == date(2027, 2, 12)
    site.tee.by_contractor = True
    site.tee.save()
    told = earned_value(site.programme, TODAY)
    assert told.hours.pv == 540
    assert told.plan_words == "Planned value by the baseline “Committee, June”."
    assert (told.hours.bac, told.money.bac) == (540, 22000)


def test_curve_ends_at_the_day_and_agrees_with_the_figures(site: Site) -> None:
    plan(site, [(site.carrier, date(2026, 9, 7), date(2027, 3, 26))])
    site.log(quantity=20, worked_on=date(2026, 10, 30))
    site.log(quantity=30)
    told = earned_value(site.programme, TODAY)
    days = [point.on for point in told.curve]
    assert days == sorted(set(days))
    assert (days[0], days[-1]) == (date(2026, 8, 31), date(2027, 8, 31))
    now = next(point for point in told.curve if point.on == TODAY)
    assert (now.ev_h, now.ac_h, now.pv_h) == (told.hours.ev, told.hours.ac, told.hours.pv)
    october = next(point for point in told.curve if point.on == date(2026, 10, 31))
    assert october.ev_h == pytest.approx(540 * 20 / 180)
    assert all(point.ev_h is None for point in told.curve if point.on > TODAY)
    assert told.curve[-1].pv_h == 540
    assert told.schedule is not None
    assert told.schedule.es < told.schedule.at
    assert told.ends_about is not None
    assert told.ends_about > date(2027, 3, 31)
    assert told.plan_ends == date(2027, 3, 26)
    (words,) = told.workings["schedule"].notes
    assert words.startswith("If the whole programme went on at the pace so far, which no season")
    assert words.endswith("; the plan says 26 Mar 2027.")


def test_an_early_pace_is_not_carried_on_to_the_end(site: Site) -> None:
    plan(site, [(site.carrier, date(2026, 9, 7), date(2027, 3, 26))])
    site.log(quantity=20)
    told = earned_value(site.programme, TODAY)
    assert told.schedule is not None
    assert told.schedule.forecast is not None
    assert told.ends_about is None
    assert "not told as a day" in told.workings["schedule"].notes[0]


def test_without_a_plan_nothing_is_due(site: Site) -> None:
    told = earned_value(site.programme, TODAY)
    assert (told.hours.pv, told.hours.spi, told.schedule) == (0, None, None)
    assert "No plan is made yet" in told.plan_words


def test_page_in_words_and_with_workings(site: Site, as_committee: Client) -> None:
    plan(site, [(site.carrier, date(2026, 11, 16), date(2026, 11, 27))])
    site.log(quantity=200)
    page = as_committee.get("/c/first/hours/progress/?on=2026-11-24").content.decode()
    assert "20.0 m more than planned" in page
    assert "43 % ahead of the plan" in page
    assert page.count("Show working") == 25
    assert "The plan ends" in page
    assert "All done, at this pace" not in page
    assert page.index("27 Nov 2026") < page.index("IEAC(t)")
    for on in ("nonsense", "2999-01-01", "1900-01-01"):
        assert as_committee.get("/c/first/hours/progress/", {"on": on}).status_code == 200
    unknown = as_committee.get("/c/first/hours/progress/", {"programme": "x"})
    assert unknown.status_code == 200


def test_page_of_a_club_without_a_programme(as_stranger: Client) -> None:
    assert "no programme yet" in as_stranger.get("/c/second/hours/progress/").content.decode()


def test_chart_is_drawn_and_tells_lines_apart_by_their_dashes() -> None:
    points = [
        CurveValue(date(2026, 9, 30), 10, 8, 9),
        CurveValue(date(2026, 10, 31), 20, 18, 21),
        CurveValue(date(2026, 11, 30), 30),
    ]
    spec = s_curve_chart(points, today=date(2026, 10, 31), unit="crew hours", width=600)
    json.dumps(spec)
    svg = vl_convert.vegalite_to_svg(spec)
    for name in ("planned", "earned", "actual", "crew hours"):
        assert f">{name}<" in svg
    assert 'stroke-dasharray="6,3"' in svg
    assert 'stroke-dasharray="2,3"' in svg


PAGES = (
    ("/c/first/hours/", "staff"),
    ("/c/first/hours/week/?week=2026-11-24", "manager"),
    ("/c/first/hours/progress/?on=2026-11-24", "committee"),
)


def test_pages_ask_as_much_however_large_the_club_is(site: Site) -> None:
    plan(site, [(site.carrier, date(2026, 9, 7), date(2026, 12, 18))])
    site.log(quantity=5)

    def counts() -> list[int]:
        found = []
        for address, who in PAGES:
            client = Client()
            client.force_login(
                getattr(site.cast, who), backend="django.contrib.auth.backends.ModelBackend"
            )
            with CaptureQueriesContext(
                connection,
            ) as asked:
                assert client.get(address).status_code == 200
            found.append(len(asked))
        return found

    small = counts()
    for number in range(12):
        item = create_item(
            phase=site.carrier.phase, kind="path", name=f"Path {number}", by=site.cast.manager
        )
        item.state = ItemState.ON_SITE
        item.save()
        estimate(item, by=site.cast.manager, quantity=90, unit="m", hours=40, money="900")
        site.log(item=item, hours=0.5, quantity=3)
        site.log(site.cast.other_staff, item=item, hours=0.5, worked_on=TODAY - timedelta(days=1))
    assert counts() == small
    assert max(small) <= 15, small
