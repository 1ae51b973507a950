"""Futures of the live plan: drawn as a job, kept, shown, and what they say of promises."""

from __future__ import annotations

import datetime as dt

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse

from worksprog.calc.rainfall.gauge import GaugeRead, YearMost
from worksprog.clubs.records import save_record
from worksprog.drainage.services.rain import keep_gauge
from worksprog.planning.models import ItemPlanning, RiskRun
from worksprog.planning.queries.risk import risk_sheet
from worksprog.planning.services.risk import draw_futures
from worksprog.runs.models import Run, RunState
from worksprog.runs.services import perform_run
from worksprog.works.models import Estimate
from worksprog.works.services import link_items

FIRST = dt.date(2026, 9, 7)
COUNT = 400


@pytest.fixture
def planned(crewed, today):
    today(FIRST)
    crewed.job("Pipe on the 4th", "carrier_pipe", hours=120)
    crewed.job("Path to the 4th", "path", hours=60)
    crewed.job("Felling by the 6th", "tree_felling", hours=40)
    link_items(
        first=crewed.jobs["Pipe on the 4th"],
        then=crewed.jobs["Path to the 4th"],
        by=crewed.cast.manager,
    )
    for row in Estimate.objects.filter(club=crewed.cast.club):
        row.labour_low_h = 0.7 * row.labour_likely_h
        row.labour_high_h = 1.8 * row.labour_likely_h
        save_record(row, by=crewed.cast.manager)
    return crewed


def draw(course, plan, seed=1):
    return draw_futures(plan=plan, by=course.cast.manager, seed=seed, count=COUNT)


def test_every_dated_job_its_project_and_its_winter_have_finishes_by_chance(planned):
    plan = planned.plan(FIRST)
    draw(planned, plan)
    sheet = risk_sheet(plan)
    assert sheet is not None
    assert {one.label for one in sheet.jobs} == set(planned.jobs)
    assert len(sheet.projects) == 1 and sheet.winters
    for one in (*sheet.jobs, sheet.whole):
        assert one.p50 and one.p80 and one.planned
        assert one.p10 <= one.p50 <= one.p80 <= one.p90
    ends = {one.label: one for one in sheet.jobs}
    assert ends["Path to the 4th"].p50 > ends["Pipe on the 4th"].p50
    assert sheet.whole.p80 >= max(one.p80 for one in sheet.jobs)
    assert sheet.weather["source"] == "stated"


def test_felling_goes_on_while_the_clay_is_wet(planned):
    plan = planned.plan(FIRST)
    draw(planned, plan)
    ends = {one.label: one for one in risk_sheet(plan).jobs}
    assert ends["Pipe on the 4th"].lost_days > 3 * ends["Felling by the 6th"].lost_days


def test_the_seed_decides_and_a_new_run_takes_the_place_of_the_one_before(planned):
    plan = planned.plan(FIRST)
    first, again = draw(planned, plan).results, draw(planned, plan).results
    assert first == again
    assert draw(planned, plan, seed=2).results["jobs"] != first["jobs"]
    assert RiskRun.objects.filter(plan=plan).count() == 1


def test_a_promise_far_off_holds_and_one_too_near_does_not(planned):
    pipe, felling = planned.jobs["Pipe on the 4th"], planned.jobs["Felling by the 6th"]
    plan = planned.plan(FIRST)
    for item, day in ((pipe, dt.date(2026, 9, 8)), (felling, dt.date(2028, 2, 1))):
        row = ItemPlanning.objects.filter(item=item).first() or ItemPlanning(
            club=item.club, item=item
        )
        row.promised_by = day
        save_record(row, by=planned.cast.manager)
    draw(planned, plan)
    first, last = risk_sheet(plan).promises
    assert (first.item, first.chance) == (pipe, 0.0)
    assert (last.item, last.chance) == (felling, 1.0)


def test_years_of_the_clubs_own_gauge_take_the_place_of_stated_rain(planned):
    start = dt.date(2015, 7, 1)
    days = {start + dt.timedelta(days=n): 30.0 for n in range(9 * 366)}
    keep_gauge(
        club=planned.cast.club, by=planned.cast.manager, name="Yard", year_begins=1,
        read=GaugeRead("daily", (YearMost(2016, 1440, 30.0),), (), (), (), days),
    )  # fmt: skip
    plan = planned.plan(FIRST)
    draw(planned, plan)
    sheet = risk_sheet(plan)
    assert sheet.weather["source"] == "own" and sheet.weather["first"] == "2015/16"
    assert sheet.whole.unfinished == 1.0 and sheet.whole.p50 is None  # 30 mm on every day


def test_a_plan_without_dates_and_one_replaced_are_refused_in_words(planned):
    plan = planned.plan(FIRST)
    newer = planned.plan(FIRST)
    plan.refresh_from_db()
    with pytest.raises(ValidationError, match="has replaced"):
        draw(planned, plan)
    newer.items.update(start=None, finish=None)
    with pytest.raises(ValidationError, match="has dates"):
        draw(planned, newer)


def test_the_page_asks_draws_and_shows(planned, as_manager: Client, django_assert_max_num_queries):
    address = reverse("planning:risk", args=[planned.cast.club.slug])
    assert "No plan is made yet" in as_manager.get(address).content.decode()
    planned.plan(FIRST)
    assert "No futures are drawn" in as_manager.get(address).content.decode()
    wrong = as_manager.post(address, {"count": 3, "seed": 1})
    assert wrong.status_code == 422 and "greater than or equal to 100" in wrong.content.decode()
    reply = as_manager.post(address, {"count": COUNT, "seed": 5})
    run = Run.objects.get(kind="planning.futures")
    assert reply.status_code == 302 and str(run.uuid) in reply["Location"]
    perform_run(run.uuid)
    run.refresh_from_db()
    assert run.state == RunState.DONE, run.words
    assert "in 8 cases of 10" in run.outcome["words"]
    with django_assert_max_num_queries(15):
        page = as_manager.get(address).content.decode()
    assert "Pipe on the 4th" in page and "Winter 2026/27" in page
    assert "No job that is still to be done is promised" in page
    winter = as_manager.get(address, {"of": "winter:2026"}).content.decode()
    assert "What drives it: Winter 2026/27" in winter
