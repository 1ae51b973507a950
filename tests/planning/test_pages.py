"""The planning pages: who sees what, what they show, how they answer bad input, how many queries."""

from __future__ import annotations

import datetime as dt

import pytest
from django.test import Client
from django.urls import reverse

from worksprog.planning.models import (
    Closure,
    CrewWeek,
    ItemPlanning,
    Plan,
    PlanRules,
    WorkWindow,
)
from worksprog.planning.services import keep_baseline
from worksprog.works.services import link_items, set_item_state

D = dt.date
MOST_QUERIES = 15


def at(name: str, club, *args) -> str:
    return reverse(f"planning:{name}", args=[club.slug, *args])


@pytest.fixture
def monday(today):
    today(D(2026, 9, 7))


def text_of(reply) -> str:
    return reply.content.decode()


def test_without_a_programme_the_page_says_what_goes_here(cast, as_manager: Client):
    page = text_of(as_manager.get(at("plan", cast.club)))
    assert "No programme is live yet" in page


def test_the_manager_makes_the_first_plan_and_sees_it(crewed, as_manager: Client, monday):
    crewed.job("Path to the 4th", "path", hours=20)
    page = text_of(as_manager.get(at("plan", crewed.cast.club)))
    assert "No plan is made yet" in page and "Make the plan" in page
    reply = as_manager.post(at("make", crewed.cast.club), follow=True)
    page = text_of(reply)
    assert "The plan is made: 1 job has dates." in page
    assert "7 Sep 2026 to 8 Sep 2026" in page
    assert "This is the first plan." in page
    assert "Plan of 7 Sep 2026, working copy" in page
    charts = reply.context["charts"]
    labels = str(charts["winters"])
    assert "Path to the 4th" in labels and "A Brook drain" in labels
    assert charts["hours"]["data"]["values"][0]["left"] == 50


def test_the_page_shows_what_moved_what_is_not_placed_and_slip(crewed, as_manager, monday):
    path = crewed.job("Path", "path", hours=50)
    crewed.job("Pond", hours=None)
    plan = crewed.plan()
    keep_baseline(plan=plan, name="Agreed", by=crewed.cast.manager)
    crewed.estimate(path, 100)
    page = text_of(as_manager.get(at("plan", crewed.cast.club)))
    assert "changed after this plan was made" in page
    crewed.plan()
    page = text_of(as_manager.get(at("plan", crewed.cast.club)))
    assert "changed after this plan was made" not in page
    assert "finishes 7 days later" in page
    told = page.index("1 job moved</a> since the plan of ")
    assert page.index("Make the plan again") < told < page.index("The chart")
    assert "a plan made as of 7 Sep 2026 and kept" in page
    assert "no hours are estimated yet" in page
    assert "Against “Agreed”" in page and "7 days later" in page


def test_one_winter_shows_only_what_is_worked_in_it(crewed, as_manager, monday):
    crewed.job("Soon", "path", hours=20, not_before=D(2026, 10, 5))
    crewed.job("Next year", "path", hours=20, not_before=D(2027, 11, 1))
    crewed.plan()
    reply = as_manager.get(at("plan", crewed.cast.club), {"winter": "2027"})
    chart = str(reply.context["charts"]["winters"])
    assert "Next year" in chart and "Soon" not in chart
    assert "winter 27/28" in text_of(reply)
    set_item_state(
        item=crewed.jobs["Soon"], state="shelved", on=D(2026, 9, 7), by=crewed.cast.manager
    )
    crewed.plan()
    empty = as_manager.get(at("plan", crewed.cast.club), {"winter": "2026"})
    assert "No job is worked on or growing in during winter 26/27" in text_of(empty)


def test_trying_other_hours_shows_what_would_move_and_keeps_nothing(crewed, as_manager, monday):
    dig = crewed.job("Dig", "ditch_dug", hours=100)
    pipe = crewed.job("Pipe", "carrier_pipe", hours=30)
    link_items(first=dig, then=pipe, by=crewed.cast.manager)
    crewed.plan()
    address = at("try", crewed.cast.club)
    page = text_of(as_manager.get(address, {"item": dig.uuid, "hours": "150"}))
    assert "2 jobs would move" in page and page.count("finishes 7 days later") == 2
    part = as_manager.get(address, {"item": dig.uuid, "hours": "150"}, headers={"X-Part": "moves"})
    assert "<html" not in text_of(part) and "finishes 7 days later" in text_of(part)
    same = text_of(as_manager.get(address, {"item": dig.uuid, "hours": "100"}))
    assert "nothing would move" in same
    assert Plan.objects.count() == 1
    for sent, words in [
        ({"item": dig.uuid, "hours": "-4"}, "The hours still to be worked cannot be below 0."),
        ({"item": dig.uuid, "hours": "many"}, "Enter the hours still to be worked as a number."),
        ({"item": dig.uuid}, "Enter the hours still to be worked."),
        ({"item": dig.uuid, "hours": "200000"}, "At most 100,000 hours can be tried."),
        ({"item": "x", "hours": "4"}, "Choose one of the jobs in the list"),
    ]:
        wrong = as_manager.get(address, sent)
        assert wrong.status_code == 422 and words in text_of(wrong)


def test_a_baseline_needs_a_name(crewed, as_manager, monday):
    crewed.job("Path", "path", hours=20)
    crewed.plan()
    wrong = as_manager.post(at("baseline", crewed.cast.club), {"name": ""})
    assert wrong.status_code == 422 and "This field is required" in text_of(wrong)
    page = text_of(
        as_manager.post(at("baseline", crewed.cast.club), {"name": "Agreed"}, follow=True)
    )
    assert "Kept for ever as “Agreed”" in page


def test_making_and_keeping_without_a_programme_answers_in_words(cast, as_manager):
    page = text_of(as_manager.post(at("make", cast.club), follow=True))
    assert "There is no live programme to plan yet" in page
    page = text_of(as_manager.post(at("baseline", cast.club), {"name": "x"}, follow=True))
    assert "There is no plan to keep yet" in page


def test_the_committee_reads_and_changes_nothing(crewed, as_committee, as_staff, monday):
    job = crewed.job("Path", "path", hours=20)
    crewed.plan()
    club = crewed.cast.club
    page = text_of(as_committee.get(at("plan", club)))
    assert "Make the plan again" not in page and "Path" in page
    for name, args in [("plan", ()), ("crew", ()), ("windows", ()), ("item", (job.uuid,))]:
        assert as_committee.get(at(name, club, *args)).status_code == 200
        assert as_staff.get(at(name, club, *args)).status_code == 403
    assert as_committee.post(at("item", club, job.uuid), {"gang": 2}).status_code == 403
    assert as_committee.post(at("windows", club), {"kind": "path"}).status_code == 403
    assert as_committee.post(at("make", club)).status_code == 403
    assert not ItemPlanning.objects.exists()


def test_a_job_shows_its_dates_and_takes_a_gang(crewed, as_manager, monday):
    job = crewed.job("Path", "path", hours=60)
    address = at("item", crewed.cast.club, job.uuid)
    assert "This job is in no plan yet" in text_of(as_manager.get(address))
    crewed.plan()
    page = text_of(as_manager.get(address))
    assert "7 Sep 2026 to 14 Sep 2026" in page and "1 March to 30 November" in page
    reply = as_manager.post(
        address, {"gang": "1", "least_days": "", "may_spread": "on"}, follow=True
    )
    assert "Make the plan again to see the dates move" in text_of(reply)
    row = ItemPlanning.objects.get(item=job)
    assert (row.gang, row.least_days, row.may_spread) == (1, None, True)
    wrong = as_manager.post(address, {"gang": "0"})
    assert wrong.status_code == 422


def test_windows_are_loaded_added_changed_and_taken_out(cast, as_manager):
    club = cast.club
    assert "No windows yet" in text_of(as_manager.get(at("windows", club)))
    page = text_of(as_manager.post(at("usual-windows", club), follow=True))
    assert "usual windows are added" in page and "a nest in use is protected on any date" in page
    new = {"kind": "path", "from_day": 31, "from_month": 4, "to_day": 1, "to_month": 6}
    wrong = as_manager.post(at("windows", club), new)
    assert wrong.status_code == 422 and "April has no day 31" in text_of(wrong)
    assert 'value="31"' in text_of(wrong)
    as_manager.post(at("windows", club), {**new, "from_day": 30, "reason": "Dry", "is_firm": "on"})
    window = WorkWindow.objects.get(club=club, reason="Dry")
    as_manager.post(at("window", club, window.uuid), {**new, "from_day": 15, "reason": "Drier"})
    window.refresh_from_db()
    assert (window.from_day, window.reason, window.is_firm) == (15, "Drier", False)
    as_manager.post(at("drop-window", club, window.uuid))
    assert not WorkWindow.objects.filter(pk=window.pk).exists()


def test_crew_hours_are_filled_changed_and_closed_days_entered(cast, as_manager):
    club = cast.club
    assert "No crew hours yet" in text_of(as_manager.get(at("crew", club)))
    as_manager.post(at("usual-year", club), {"crew_h": "222"})
    band = {"from_week": 40, "to_week": 50, "crew_h": 222, "routine_h": 170, "note": "leaves"}
    wrong = as_manager.post(at("crew-weeks", club), {**band, "to_week": 39, "routine_h": 300})
    page = text_of(wrong)
    assert wrong.status_code == 422
    assert "Week 39 is before week 40" in page
    assert "Routine work takes 300 h, the crew has 222 h" in page
    page = text_of(as_manager.post(at("crew-weeks", club), band, follow=True))
    assert "40 – 50" in page and "52.0" in page
    assert CrewWeek.objects.get(club=club, week=45).routine_h == 170
    wrong = as_manager.post(
        at("closures", club), {"name": "Cup", "from_date": "2026-10-02", "to_date": "2026-10-01"}
    )
    assert wrong.status_code == 422 and "The last day is before the first" in text_of(wrong)
    as_manager.post(
        at("closures", club), {"name": "Cup", "from_date": "2026-10-02", "to_date": "2026-10-02"}
    )
    closure = Closure.objects.get(club=club)
    as_manager.post(at("drop-closure", club, closure.uuid))
    assert not Closure.objects.exists()
    as_manager.post(at("rules", club), {"gang": 4, "works_saturday": "on"})
    rules = PlanRules.objects.get(club=club)
    assert (rules.gang, rules.works_saturday) == (4, True)
    assert as_manager.post(at("rules", club), {"gang": 0}).status_code == 422


def test_the_states_of_features_on_a_date(crewed, as_staff, monday):
    pipe = crewed.pipe("P1", 0, 80)
    crewed.job("Carrier", "carrier_pipe", hours=50, features=[pipe], growing_in_weeks=2)
    crewed.plan()
    address = at("feature-states", crewed.cast.club)

    def state(on: str) -> str:
        return as_staff.get(address, {"on": on}).json()["states"][str(pipe.uuid)]

    assert state("2026-09-06") == "proposed"
    assert state("2026-09-07") == "on_site"
    assert state("2026-09-11") == "on_site"
    assert state("2026-09-12") == "growing_in"
    assert state("2026-09-25") == "growing_in"
    assert state("2026-09-26") == "as_built"
    whole = as_staff.get(address).json()
    assert (whole["on"], whole["starts_on"]) == ("2026-09-07", "2026-09-01")
    wrong = as_staff.get(address, {"on": "soon"})
    assert wrong.status_code == 400 and "expected one like 2027-03-18" in wrong.json()["error"]


def test_a_feature_worked_on_twice_and_one_that_stood_before(crewed, as_staff, monday):
    stood = crewed.pipe("P1", 0, 80, state="existing")
    crewed.job("Relay", "carrier_pipe", hours=50, features=[stood])
    crewed.job("Turf", "turfing", hours=20, features=[stood])
    crewed.plan()
    address = at("feature-states", crewed.cast.club)
    states = [
        as_staff.get(address, {"on": on}).json()["states"][str(stood.uuid)]
        for on in ("2026-09-06", "2026-09-08", "2026-09-20", "2026-10-01", "2026-10-09")
    ]
    assert states == ["existing", "on_site", "existing", "on_site", "as_built"]


def test_every_page_keeps_to_its_queries_however_large_the_programme(
    crewed, as_manager, monday, django_assert_max_num_queries
):
    club = crewed.cast.club

    def grow(first, last):
        for number in range(first, last):
            crewed.job(f"Path {number}", "path", hours=5)
        crewed.plan()

    grow(0, 3)
    keep_baseline(plan=Plan.objects.get(is_live=True), name="Agreed", by=crewed.cast.manager)
    for size in (0, 1):
        grow(3 + 9 * size, 6 + 9 * size)
        job = crewed.jobs["Path 1"]
        for name, args in [("plan", ()), ("crew", ()), ("windows", ()), ("item", (job.uuid,))]:
            with django_assert_max_num_queries(MOST_QUERIES):
                assert as_manager.get(at(name, club, *args)).status_code == 200
        # It reads what a plan is made from: people, fixtures, play and money have their own rows.
        with django_assert_max_num_queries(24):
            as_manager.get(at("try", club), {"item": job.uuid, "hours": "9"})
