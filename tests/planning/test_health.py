"""The page that holds the live plan against published points and practices."""

from __future__ import annotations

import datetime as dt

import pytest
from django.test import Client

from tests.planning.test_pages import MOST_QUERIES, at, text_of
from worksprog.calc.schedule_health import Verdict
from worksprog.planning.models import ItemPlanning
from worksprog.planning.queries.health import plan_health
from worksprog.planning.services import keep_baseline, keep_item_planning
from worksprog.works.models import Link
from worksprog.works.services import link_items

D = dt.date


@pytest.fixture
def monday(today):
    today(D(2026, 9, 7))


def by_number(rows):
    return {one.number: one for one in rows}


def test_without_a_programme_and_without_a_plan_it_says_so(cast, as_manager: Client):
    assert "No programme is live yet" in text_of(as_manager.get(at("plan-health", cast.club)))


def test_without_a_plan_it_says_so(crewed, as_manager: Client):
    assert "No plan is made yet" in text_of(as_manager.get(at("plan-health", crewed.cast.club)))


def test_what_is_to_mend_is_named(crewed, as_manager: Client, monday):
    path = crewed.job("Path", "path", hours=20)
    gate = crewed.job("Gate", "path", hours=20)
    crewed.job("Alone", "path", hours=20)
    crewed.job("Unpriced", "path", hours=None)
    link_items(first=path, then=gate, type=Link.Type.FS, lag_days=3, by=crewed.cast.manager)
    keep_item_planning(
        planning=ItemPlanning(club=path.club, item=path, promised_by=D(2026, 9, 30)),
        by=crewed.cast.manager,
    )
    crewed.plan()
    health = plan_health(crewed.programme, D(2026, 9, 7), long_days=44)
    points, practices = by_number(health.points), by_number(health.practices)
    assert any(words.startswith("Alone") for words in points[1].mend)
    assert points[3].mend == ("Path → Gate (FS +3 days)",)
    assert points[5].mend == ("Path",)
    assert points[7].verdict == Verdict.KEPT
    assert points[12].verdict == points[13].verdict == Verdict.KEPT
    assert practices[1].mend == ("Unpriced",)
    assert practices[5].verdict == Verdict.KEPT
    assert practices[8].mend == ("no futures of this plan were drawn",)
    page = text_of(as_manager.get(at("plan-health", crewed.cast.club)))
    assert "Path → Gate (FS +3 days)" in page and "Unpriced" in page


def test_a_promise_that_is_missed_is_negative_float(crewed):
    path = crewed.job("Path", "path", hours=100)
    plan = crewed.plan()
    last = crewed.planned(plan, "Path").finish
    early = last - dt.timedelta(days=7)
    keep_item_planning(
        planning=ItemPlanning(club=path.club, item=path, promised_by=early),
        by=crewed.cast.manager,
    )
    points = by_number(plan_health(crewed.programme, D(2026, 9, 7), long_days=44).points)
    assert points[7].mend == ("Path (-5 days)",)


def test_the_baseline_and_an_old_plan(crewed):
    crewed.job("Path", "path", hours=20)
    plan = keep_baseline(plan=crewed.plan(), name="Agreed", by=crewed.cast.manager)
    due = plan.items.get().finish
    health = plan_health(crewed.programme, due + dt.timedelta(days=60), long_days=44)
    points, practices = by_number(health.points), by_number(health.practices)
    assert points[11].mend == ("Path",) and points[14].figure == 0
    assert points[9].verdict == Verdict.MEND
    assert any("days old" in words for words in practices[9].mend)


def test_the_setting_and_one_that_is_none(crewed, as_manager: Client, monday):
    crewed.job("Path", "path", hours=200)
    crewed.plan()
    address = at("plan-health", crewed.cast.club)
    assert "more than 10 working days" in text_of(as_manager.get(address + "?long_days=10"))
    reply = as_manager.get(address + "?long_days=none")
    assert reply.status_code == 422 and "Enter a whole number" in text_of(reply)


def test_queries_do_not_grow(crewed, as_manager: Client, monday, django_assert_max_num_queries):
    before = None
    for number in range(8):
        job = crewed.job(f"Job {number}", "path", hours=10)
        if before is not None:
            link_items(first=before, then=job, by=crewed.cast.manager)
        before = job
    keep_baseline(plan=crewed.plan(), name="Agreed", by=crewed.cast.manager)
    with django_assert_max_num_queries(MOST_QUERIES):
        as_manager.get(at("plan-health", crewed.cast.club))
