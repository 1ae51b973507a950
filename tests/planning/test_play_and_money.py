"""Fixtures, holes out of play at once and money by date hold the plan as they say."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from worksprog.clubs.records import save_record
from worksprog.course.models import Hole
from worksprog.planning.models import Fixture, MoneyRelease, PlayRules
from worksprog.planning.play import FixtureDays, Play
from worksprog.planning.queries.money import money_by_year
from worksprog.planning.services import give_up_wish
from worksprog.planning.services.play import keep_fixture, keep_play_rules, keep_release
from worksprog.works.models import Estimate, Spend
from worksprog.works.services import create_phase, create_project

D = dt.date


@pytest.fixture
def holes(crewed: Any) -> dict[int, Hole]:
    return {
        number: save_record(
            Hole(club=crewed.cast.club, number=number, par=4), by=crewed.cast.manager
        )
        for number in (31, 32, 33)
    }


def fixture(crewed: Any, name: str, first: dt.date, last: dt.date, stops: str, *on: Hole) -> Any:
    return keep_fixture(
        fixture=Fixture(
            club=crewed.cast.club, name=name, from_date=first, to_date=last, stops=stops
        ),
        holes=on,
        by=crewed.cast.manager,
    )


def limit(crewed: Any, **rules: Any) -> None:
    keep_play_rules(rules=PlayRules(club=crewed.cast.club, **rules), by=crewed.cast.manager)


def release(crewed: Any, day: dt.date, amount: str, project: Any = None) -> None:
    keep_release(
        release=MoneyRelease(
            club=crewed.cast.club, programme=crewed.programme, project=project,
            from_date=day, amount=Decimal(amount),
        ),
        by=crewed.cast.manager,
    )  # fmt: skip


def costs(crewed: Any, name: str, money: str) -> None:
    row = Estimate.objects.get(item=crewed.jobs[name], is_live=True)
    row.money_low = row.money_likely = row.money_high = Decimal(money)
    save_record(row, by=crewed.cast.manager)


def days(crewed: Any, name: str, plan: Any) -> tuple[dt.date, dt.date]:
    row = crewed.planned(plan, name)
    return row.start, row.finish


def test_a_fixture_pauses_the_works_that_it_stops(crewed, holes):
    """10 h a day from Monday 7 September: 20 h are Monday and Tuesday. With the Tuesday taken by
    an open day the job goes on on the Wednesday."""
    crewed.job("Tee", "path", hours=20)
    assert days(crewed, "Tee", crewed.plan()) == (D(2026, 9, 7), D(2026, 9, 8))
    open_day = fixture(crewed, "Open day", D(2026, 9, 8), D(2026, 9, 8), "all")
    assert days(crewed, "Tee", crewed.plan()) == (D(2026, 9, 7), D(2026, 9, 9))
    give_up_wish(
        programme=crewed.programme, wish=f"fixture:{open_day.uuid}", words="Open day",
        reason="rained off", by=crewed.cast.manager,
    )  # fmt: skip
    assert days(crewed, "Tee", crewed.plan()) == (D(2026, 9, 7), D(2026, 9, 8))


def test_a_fixture_stops_only_what_it_says(crewed, holes):
    crewed.job("Closing", "path", hours=10, holes=[holes[31]], holes_closed=True)
    fixture(crewed, "Medal", D(2026, 9, 7), D(2026, 9, 7), "closing")
    fixture(crewed, "Match", D(2026, 9, 8), D(2026, 9, 8), "here", holes[32])
    assert days(crewed, "Closing", crewed.plan())[0] == D(2026, 9, 8)
    fixture(crewed, "Second match", D(2026, 9, 8), D(2026, 9, 8), "here", holes[31])
    assert days(crewed, "Closing", crewed.plan())[0] == D(2026, 9, 9)


def test_a_job_that_closes_nothing_goes_on_while_closing_work_stops(crewed, holes):
    crewed.job("Open", "path", hours=10, holes=[holes[31]])
    fixture(crewed, "Medal", D(2026, 9, 7), D(2026, 9, 7), "closing")
    assert days(crewed, "Open", crewed.plan())[0] == D(2026, 9, 7)


def test_two_fixtures_on_one_day_both_count(crewed, holes):
    crewed.job("On 31", "path", hours=10, holes=[holes[31]])
    fixture(crewed, "One", D(2026, 9, 7), D(2026, 9, 8), "here", holes[31])
    fixture(crewed, "Two", D(2026, 9, 8), D(2026, 9, 9), "all")
    assert days(crewed, "On 31", crewed.plan())[0] == D(2026, 9, 10)


def test_a_fixture_on_holes_needs_them_and_ends_after_it_begins(crewed):
    with pytest.raises(ValidationError, match="Choose the holes"):
        fixture(crewed, "Match", D(2026, 9, 8), D(2026, 9, 8), "here")
    with pytest.raises(ValidationError, match="before the first"):
        fixture(crewed, "Match", D(2026, 9, 8), D(2026, 9, 7), "all")
    assert not Fixture.objects.exists()


def test_holes_out_of_play_at_once_stay_within_the_limit_until_in_play(crewed, holes):
    """Each job is a day's work and grows in for two weeks: with one hole at a time the second
    begins when the first is back in play."""
    for number in (31, 32):
        crewed.job(
            f"On {number}", "path", hours=10, holes=[holes[number]], holes_closed=True,
            growing_in_weeks=2,
        )  # fmt: skip
    plan = crewed.plan()
    assert {row.start for row in plan.items.all()} <= {D(2026, 9, 7), D(2026, 9, 8)}
    limit(crewed, holes_at_once=1)
    plan = crewed.plan()
    first, second = sorted(plan.items.all(), key=lambda row: row.start)
    assert first.in_play_on == D(2026, 9, 22) == second.start
    assert second.waits_for == "waits for fewer holes to be out of play"


def test_more_holes_than_the_limit_is_told_and_can_be_given_up(crewed, holes):
    crewed.job("Both", "path", hours=10, holes=[holes[31], holes[32]], holes_closed=True)
    limit(crewed, holes_at_once=1)
    plan = crewed.plan()
    assert crewed.planned(plan, "Both").not_placed == (
        "takes 2 holes out of play; at most 1 may be"
    )
    (conflict,) = plan.conflicts
    assert [name for name, _ in conflict["wishes"]] == ["holes"]
    name, words = conflict["wishes"][0]
    give_up_wish(programme=crewed.programme, wish=name, words=words, reason="agreed",
                 by=crewed.cast.manager)  # fmt: skip
    assert crewed.planned(crewed.plan(), "Both").start == D(2026, 9, 7)


def test_in_the_season_fewer_holes(crewed, holes):
    crewed.job("On 31", "path", hours=10, holes=[holes[31]], holes_closed=True)
    limit(crewed, holes_in_season=0)
    assert crewed.planned(crewed.plan(), "On 31").start == D(2026, 10, 1)


def test_a_season_over_new_year():
    play = Play(at_once=3, in_season=1, season=(11, 2))
    assert [play.limit_on(D(2026, month, 5)) for month in (10, 11, 1, 2, 3)] == [3, 1, 1, 1, 3]
    assert Play(in_season=1).limit_on(D(2026, 1, 5)) is None


def test_a_fixture_here_touches_only_its_holes():
    one = FixtureDays("u", "Match", D(2026, 9, 7), D(2026, 9, 7), "here", frozenset({1, 2}))
    assert one.stops_work(closes=False, holes=frozenset({2, 5}))
    assert not one.stops_work(closes=True, holes=frozenset({5}))


def test_nothing_begins_before_its_money(crewed):
    """600 of 1,000 is begun in September; the next 600 wait for April's release."""
    for name in ("One", "Two"):
        crewed.job(name, "path", hours=10)
        costs(crewed, name, "600.00")
    release(crewed, D(2026, 4, 1), "1000")
    release(crewed, D(2027, 4, 1), "500")
    plan = crewed.plan()
    first, second = sorted(plan.items.all(), key=lambda row: row.start)
    assert (first.start, second.start) == (D(2026, 9, 7), D(2027, 4, 1))
    assert second.waits_for == "waits for money to be released"
    years = money_by_year(crewed.programme, list(MoneyRelease.objects.all()))
    assert [(row.year.name, row.released, row.begun, row.left) for row in years] == [
        ("2026/27", 1000, 600, 400),
        ("2027/28", 500, 600, 300),
    ]


def test_a_financial_year_from_october(crewed):
    club = crewed.cast.club
    club.year_start_month = 10
    crewed.job("One", "path", hours=10)
    costs(crewed, "One", "600.00")
    release(crewed, D(2026, 9, 1), "1000")
    release(crewed, D(2026, 10, 1), "200")
    crewed.plan()
    crewed.programme.club = club
    years = money_by_year(crewed.programme, list(MoneyRelease.objects.all()))
    assert [(row.year.name, row.left) for row in years] == [("2025/26", 400), ("2026/27", 600)]


def test_a_project_with_money_of_its_own_spends_only_that(crewed):
    own = create_project(
        programme=crewed.programme, code="OWN", name="Own", by=crewed.cast.manager, priority=2
    )
    phase = create_phase(project=own, name="First", by=crewed.cast.manager)
    crewed.job("Rich", "path", hours=10)
    crewed.job("Poor", "path", hours=10, phase=phase)
    costs(crewed, "Rich", "900.00")
    costs(crewed, "Poor", "100.00")
    release(crewed, D(2026, 4, 1), "1000")
    release(crewed, D(2027, 1, 4), "60", own)
    plan = crewed.plan()
    assert crewed.planned(plan, "Rich").start <= D(2026, 9, 8)
    assert crewed.planned(plan, "Poor").not_placed.startswith("needs 100 of money")
    (conflict,) = plan.conflicts
    assert [name for name, _ in conflict["wishes"]] == ["money:OWN"]
    save_record(
        Spend(
            club=crewed.cast.club, item=crewed.jobs["Poor"], spent_on=D(2026, 9, 1),
            description="Stone", amount=Decimal("50"),
        ),
        by=crewed.cast.manager,
    )  # fmt: skip
    # 60 released less 50 spent leaves 10, and 50 are still to come.
    assert crewed.planned(crewed.plan(), "Poor").not_placed
    release(crewed, D(2027, 3, 1), "40", own)
    assert crewed.planned(crewed.plan(), "Poor").start == D(2027, 3, 1)
    MoneyRelease.objects.filter(project=None).delete()
    (year,) = money_by_year(crewed.programme, list(MoneyRelease.objects.all()))
    assert (year.released, year.begun, year.left) == (100, 100, 0)


def test_the_page_keeps_and_takes_out(crewed, holes, client):
    club = crewed.cast.club
    client.force_login(crewed.cast.manager)
    page = reverse("planning:play", args=[club.slug])
    for name in ("Medal", "Open day"):
        client.post(
            reverse("planning:fixtures", args=[club.slug]),
            {"name": name, "from_date": "2026-10-03", "to_date": "2026-10-03",
             "stops": "closing"},
        )  # fmt: skip
    assert "share a day" in client.get(page).content.decode()
    wrong = client.post(
        reverse("planning:fixtures", args=[club.slug]),
        {"name": "Match", "from_date": "2026-10-03", "to_date": "2026-10-03", "stops": "here"},
    )
    assert wrong.status_code == 422 and "Choose the holes" in wrong.content.decode()
    client.post(
        reverse("planning:play-rules", args=[club.slug]),
        {"holes_at_once": 2, "holes_in_season": "", "season_from_month": 4, "season_to_month": 9},
    )
    assert PlayRules.objects.get().holes_at_once == 2
    client.post(
        reverse("planning:releases", args=[club.slug]),
        {"from_date": "2026-10-01", "amount": "1200.50", "words": "Committee"},
    )
    kept = MoneyRelease.objects.get()
    assert (kept.amount, kept.project) == (Decimal("1200.50"), None)
    body = client.get(page).content.decode()
    assert "1,200.50" in body and "2026/27" in body
    client.post(reverse("planning:drop-release", args=[club.slug, kept.uuid]))
    for row in Fixture.objects.all():
        client.post(reverse("planning:drop-fixture", args=[club.slug, row.uuid]))
    assert not MoneyRelease.objects.exists() and not Fixture.objects.exists()
    body = client.get(page).content.decode()
    assert "No fixtures yet" in body and "No money is released" in body
