"""Windows, crew hours, plans and baselines as the services keep them."""

from __future__ import annotations

import datetime as dt

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import RestrictedError

from worksprog.calc.workdays import CrewWeek as CalcWeek
from worksprog.clubs.models import Change
from worksprog.planning import remaining
from worksprog.planning.defaults import WINDOWS, usual_year
from worksprog.planning.models import CrewWeek, ItemPlanning, Plan, PlannedItem, WorkWindow
from worksprog.planning.queries import (
    dates_of_items,
    latest_baseline,
    live_plan,
    moves_between,
    plan_before,
    planned_items,
    slips,
)
from worksprog.planning.services import (
    keep_baseline,
    keep_item_planning,
    keep_window,
    load_default_windows,
    load_usual_year,
    set_crew_pattern,
    set_crew_week,
)
from worksprog.works.models import Consent, WorkKind
from worksprog.works.services import create_phase, create_project, link_items, record_consent

D = dt.date


def test_every_kind_of_work_has_a_usual_window_with_its_reason():
    assert {window.kind for window in WINDOWS} == set(WorkKind.values)
    assert all(window.reason for window in WINDOWS)
    felling = [window for window in WINDOWS if window.kind == WorkKind.TREE_THINNING]
    assert not any(
        window.is_open(D(2027, month, 15)) for window in felling for month in range(3, 9)
    )


def test_usual_windows_fill_only_what_is_empty_and_are_kept_on_record(cast):
    own = WorkWindow(
        club=cast.club, kind="path", from_month=5, from_day=1, to_month=6, to_day=30, reason="ours"
    )
    keep_window(window=own, by=cast.manager)
    added = load_default_windows(club=cast.club, by=cast.manager)
    assert len(added) == len(WINDOWS) - 1
    assert [row.reason for row in WorkWindow.objects.filter(kind="path")] == ["ours"]
    assert load_default_windows(club=cast.club, by=cast.manager) == []
    change = Change.objects.get(label="usual working windows")
    assert change.by == cast.manager and change.details == {"count": len(added)}


def test_a_window_needs_days_that_a_year_has(cast):
    bad = WorkWindow(club=cast.club, kind="path", from_month=4, from_day=31, to_month=6, to_day=1)
    with pytest.raises(ValidationError, match="April has no day 31"):
        keep_window(window=bad, by=cast.manager)


def test_the_usual_year_takes_leaves_from_autumn(cast):
    rows = {row.week: row for row in usual_year(222)}
    assert len(rows) == 53
    assert rows[45].routine_h == pytest.approx(222 * 0.5 + 55)
    load_usual_year(club=cast.club, crew_h=222, by=cast.manager)
    assert CrewWeek.objects.filter(club=cast.club).count() == 53


def test_crew_weeks_are_set_once_each_and_refused_when_routine_is_more_than_the_crew(cast):
    set_crew_week(club=cast.club, week=45, crew_h=220, routine_h=170, by=cast.manager)
    set_crew_week(
        club=cast.club, week=45, crew_h=220, routine_h=180, note="leaves", by=cast.manager
    )
    assert CrewWeek.objects.get(club=cast.club, week=45).routine_h == 180
    with pytest.raises(ValidationError, match="more hours than the crew has"):
        set_crew_week(club=cast.club, week=45, crew_h=100, routine_h=180, by=cast.manager)
    with pytest.raises(
        ValidationError, match="Week 46: routine work takes 120 h, the crew has 100"
    ):
        set_crew_pattern(
            club=cast.club,
            weeks=[CalcWeek(45, 9, 9), CalcWeek(46, 100, 120)],
            by=cast.manager,
        )
    assert CrewWeek.objects.get(club=cast.club, week=45).crew_h == 220
    with pytest.raises(IntegrityError), transaction.atomic():
        CrewWeek.objects.create(club=cast.club, week=45, crew_h=1, routine_h=0)


def test_a_plan_puts_jobs_into_the_crews_weeks(crewed):
    """Turfing opens on 1 October. 10 h a day are left: 75 h are eight working days of 9.375 h from
    Thursday 1 October 2026, so to Monday 12th; the path, open now, takes its 20 h on Monday 7
    September and the day after."""
    crewed.job("Turf", hours=75, growing_in_weeks=4)
    crewed.job("Path", "path", hours=20)
    plan = crewed.plan()
    turf, path = crewed.planned(plan, "Turf"), crewed.planned(plan, "Path")
    assert (path.start, path.finish) == (D(2026, 9, 7), D(2026, 9, 8))
    assert (turf.start, turf.finish) == (D(2026, 10, 1), D(2026, 10, 12))
    assert turf.in_play_on == D(2026, 10, 13) + dt.timedelta(weeks=4)
    assert turf.waits_for == "waits for its window to open"
    assert turf.hours_by_week == {"2026-09-28": 18.75, "2026-10-05": 46.88, "2026-10-12": 9.38}
    assert (turf.gang, path.gang) == (2, 2)
    # A gang of three at 8 h needs 4 days with hours enough: 1, 2, 5, 6 October.
    assert (turf.earliest_start, turf.earliest_finish) == (D(2026, 10, 1), D(2026, 10, 6))
    assert turf.is_critical and not path.is_critical
    week = next(row for row in plan.weeks if row["week"] == "2026-10-05")
    assert week == {
        "week": "2026-10-05", "crew_h": 200.0, "routine_h": 150.0, "left_h": 50.0, "planned_h": 46.9
    }  # fmt: skip


def test_a_longer_estimate_moves_what_comes_after_it_and_shows_it(crewed):
    dig = crewed.job("Dig", "ditch_dug", hours=100)
    crewed.job("Pipe", "carrier_pipe", hours=30)
    link_items(first=dig, then=crewed.jobs["Pipe"], by=crewed.cast.manager)
    first = crewed.plan()
    assert crewed.planned(first, "Pipe").waits_for == "waits for Dig"
    crewed.estimate(dig, 150)
    second = crewed.plan()
    assert plan_before(second) == first
    moves = {m.item.name: m for m in moves_between(planned_items(first), planned_items(second))}
    # 50 h more are five working days more: a week later each.
    assert moves["Dig"].days == 7 and moves["Pipe"].days == 7
    assert moves["Pipe"].words == "finishes 7 days later"
    third = crewed.plan()
    assert plan_before(third) == second
    assert not Plan.objects.filter(pk=first.pk).exists()
    assert live_plan(crewed.programme) == third
    assert set(dates_of_items(crewed.programme)) == {item.pk for item in crewed.jobs.values()}


def test_the_drain_below_is_planned_first_and_a_ring_is_told(crewed):
    lower, upper = crewed.pipe("P1", 80, 160), crewed.pipe("P2", 0, 80)
    crewed.outfall(160)
    crewed.job("Upper carrier", "carrier_pipe", hours=40, features=[upper], order=1)
    crewed.job("Lower carrier", "carrier_pipe", hours=60, features=[lower], order=2)
    plan = crewed.plan()
    below, above = crewed.planned(plan, "Lower carrier"), crewed.planned(plan, "Upper carrier")
    assert below.finish < above.start
    assert above.waits_for == "waits for Lower carrier"
    link_items(
        first=crewed.jobs["Upper carrier"], then=crewed.jobs["Lower carrier"],
        by=crewed.cast.manager,
    )  # fmt: skip
    plan = crewed.plan()
    assert (
        crewed.planned(plan, "Upper carrier").finish < crewed.planned(plan, "Lower carrier").start
    )
    assert "Outfall first is not kept between Lower carrier and Upper carrier" in plan.notes[0]


def test_the_order_passes_over_a_reach_on_which_nothing_is_done(crewed):
    low, mid, high = (
        crewed.pipe("P1", 160, 240),
        crewed.pipe("P2", 80, 160),
        crewed.pipe("P3", 0, 80),
    )
    crewed.outfall(240)
    crewed.job("High", "carrier_pipe", hours=20, features=[high])
    crewed.job("Low", "carrier_pipe", hours=20, features=[low])
    plan = crewed.plan()
    assert crewed.planned(plan, "High").waits_for == "waits for Low"
    assert mid.pk


def test_what_cannot_be_placed_says_why_and_the_rest_has_dates(crewed):
    crewed.job("No estimate", hours=None)
    crewed.job("Too long", "laterals", hours=2000)
    crewed.job("By others", "path", hours=None, by_contractor=True)
    crewed.job("Good", "path", hours=10)
    plan = crewed.plan()
    reason = {row.item.name: row.not_placed for row in plan.items.select_related("item")}
    assert reason["No estimate"] == "no hours are estimated yet"
    assert reason["Too long"].startswith("needs 2,000 h in a window that leaves ")
    assert reason["By others"] == "the contractor's days are not entered yet"
    assert reason["Good"] == ""


def test_without_crew_hours_nothing_of_the_crews_is_placed_and_the_plan_says_so(course):
    course.job("Path", "path", hours=10)
    plan = course.plan()
    assert "No crew hours are entered" in plan.notes[0]
    assert "the crew has 0 h left" in course.planned(plan, "Path").not_placed


def test_a_contractors_job_takes_days_and_no_crew_hours(crewed):
    pond = crewed.job("Lining", "path", hours=None, by_contractor=True)
    keep_item_planning(
        planning=ItemPlanning(club=crewed.cast.club, item=pond, least_days=10),
        by=crewed.cast.manager,
    )
    plan = crewed.plan()
    row = crewed.planned(plan, "Lining")
    assert (row.start, row.finish, row.hours_by_week) == (D(2026, 9, 7), D(2026, 9, 18), {})


def test_a_gang_and_spreading_are_kept_for_a_job(crewed):
    job = crewed.job("Carrier", "carrier_pipe", hours=1100)
    plan = crewed.plan()
    assert crewed.planned(plan, "Carrier").not_placed.startswith("needs 1,100 h in a window")
    keep_item_planning(
        planning=ItemPlanning(club=crewed.cast.club, item=job, may_spread=True),
        by=crewed.cast.manager,
    )
    row = crewed.planned(crewed.plan(), "Carrier")
    assert row.start == D(2026, 9, 7) and row.finish.year == 2027


def test_work_on_site_goes_on_from_today_with_what_is_left(crewed, monkeypatch):
    job = crewed.job("Bank", "path", hours=100, state="on_site", started_on=D(2026, 8, 31))
    monkeypatch.setattr(remaining, "_reading", [])
    remaining.read_share_done_by(lambda programme, on, planned: {job.pk: 0.7})
    row = crewed.planned(crewed.plan(), "Bank")
    assert row.labour_h == pytest.approx(30)
    assert (row.start, row.finish) == (D(2026, 8, 31), D(2026, 9, 9))


def test_work_done_keeps_its_days_and_lets_others_follow(crewed):
    done = crewed.job(
        "Outfall", "headwall", hours=50, state="done",
        started_on=D(2026, 7, 6), finished_on=D(2026, 7, 10),
    )  # fmt: skip
    crewed.job("Shelved", "path", state="shelved")
    after = crewed.job("Path", "path", hours=10)
    link_items(first=done, then=after, by=crewed.cast.manager)
    plan = crewed.plan()
    row = crewed.planned(plan, "Outfall")
    assert (row.start, row.finish, row.labour_h) == (D(2026, 7, 6), D(2026, 7, 10), 0)
    assert crewed.planned(plan, "Path").start == D(2026, 9, 7)
    assert not plan.items.filter(item=crewed.jobs["Shelved"]).exists()


def test_cautions_for_advice_consents_and_a_late_finish(crewed):
    WorkWindow.objects.filter(kind="tree_thinning").update(is_firm=False)
    copse = crewed.job("Copse", "tree_thinning", hours=20, not_before=D(2027, 5, 3))
    record_consent(
        consent=Consent(club=crewed.cast.club, item=copse, name="Felling licence"),
        by=crewed.cast.manager,
    )
    crewed.job("Late", "path", hours=20, not_before=D(2028, 9, 4))
    plan = crewed.plan()
    caution = crewed.planned(plan, "Copse").caution
    assert caution.startswith("Outside 1 September to 29 February: Birds nest")
    assert caution.endswith("Not granted yet: Felling licence.")
    assert crewed.planned(plan, "Late").caution == "It finishes after the programme ends."


def test_a_project_that_is_first_takes_the_hours_first(crewed):
    manager = crewed.cast.manager
    urgent = create_project(
        programme=crewed.programme, code="Z", name="Path", by=manager, priority=0
    )
    phase = create_phase(project=urgent, name="Only", by=manager)
    crewed.job("Second", "path", hours=50)
    crewed.job("First", "path", hours=50, phase=phase)
    plan = crewed.plan()
    assert crewed.planned(plan, "First").start == D(2026, 9, 7)
    assert crewed.planned(plan, "Second").start == D(2026, 9, 14)
    assert crewed.planned(plan, "Second").waits_for == "waits for crew hours"


def test_a_baseline_is_kept_for_ever_and_slip_is_measured_against_it(crewed):
    job = crewed.job("Path", "path", hours=50)
    plan = crewed.plan()
    with pytest.raises(ValidationError, match="Give the baseline a name"):
        keep_baseline(plan=plan, name="  ", by=crewed.cast.manager)
    keep_baseline(plan=plan, name="Agreed", by=crewed.cast.manager)
    with pytest.raises(ValidationError, match="kept already as “Agreed”"):
        keep_baseline(plan=plan, name="Again", by=crewed.cast.manager)
    crewed.estimate(job, 100)
    for _ in range(3):
        live = crewed.plan()
    baseline = latest_baseline(crewed.programme)
    assert baseline == plan
    assert slips(planned_items(baseline), planned_items(live)) == {job.pk: 7}
    with pytest.raises(RestrictedError):
        job.delete()
    crewed.programme.delete()
    assert not PlannedItem.objects.exists()


def test_one_plan_is_live(crewed):
    crewed.job("Path", "path", hours=50)
    plan = crewed.plan()
    with pytest.raises(IntegrityError), transaction.atomic():
        Plan.objects.create(
            club=plan.club, programme=plan.programme, as_of=plan.as_of, is_live=True
        )
    assert PlannedItem.objects.filter(plan=plan).count() == 1


def test_reading_a_programme_takes_no_more_queries_when_it_grows(
    crewed, django_assert_max_num_queries
):
    from worksprog.planning.bridge import read_facts

    for number in range(3):
        crewed.job(f"Path {number}", "path", hours=5)
    with django_assert_max_num_queries(14):
        read_facts(crewed.programme, D(2026, 9, 7))
    for number in range(3, 12):
        crewed.job(f"Path {number}", "path", hours=5)
    with django_assert_max_num_queries(14):
        read_facts(crewed.programme, D(2026, 9, 7))
