from __future__ import annotations

import csv
import io
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.test import Client

from tests.hours.conftest import TODAY, Site
from worksprog.hours.models import HourEntry
from worksprog.hours.queries import leaf_hours, routine_hours, week_of
from worksprog.hours.services import approve_hours, correct_approved, query_hours, withdraw_hours

MONDAY = date(2026, 11, 23)
WEEK = "/c/first/hours/week/?week=2026-11-24"


def _person(site: Site, name: str):
    week = week_of(site.cast.club, TODAY)
    return next(row for row in week.people if str(row.person.user) == name)


def test_people_down_and_days_across(site: Site) -> None:
    site.log(hours=6.5, worked_on=MONDAY)
    site.log(hours=1.5, worked_on=MONDAY, routine="leaves")
    site.log(site.cast.manager, hours=2, routine="training")
    withdraw_hours(entry=site.log(hours=3), by=site.person())
    week = week_of(site.cast.club, TODAY)
    assert week.monday == MONDAY
    assert [str(row.person.user) for row in week.people] == ["Mara Quill", "Ada Wick", "Sam Thorne"]
    assert week.hours == 10
    assert week.by_day[:2] == [Decimal("8.0"), Decimal("2.0")]
    assert _person(site, "Sam Thorne").cells[0].hours == 8


def test_oddities_are_pointed_out(site: Site) -> None:
    site.log(hours=9)
    site.log(hours=6, ground="stood_down", quantity=3)
    site.tee.state, site.tee.finished_on = "done", MONDAY - timedelta(days=1)
    site.tee.save()
    site.log(item=site.tee, hours=1, worked_on=MONDAY)
    told = _person(site, "Sam Thorne").oddities
    assert told == [
        "Monday: hours on Rebuild tee 8, which is done since 22 Nov 2026.",
        "Tuesday: 15 h, over 14 h in one day.",
        "Tuesday: Lay carrier C2–C3 has a quantity, yet the ground was too wet.",
        "Tuesday: Lay carrier C2–C3 is logged 2 times.",
    ]


def test_a_quantity_above_what_was_left_is_pointed_out_with_its_unit(
    site: Site, as_manager: Client
) -> None:
    """The carrier is 180 m: 100 fit, 90 more do not, and a queried 50 leaves what it found."""
    site.log(hours=1, quantity=100, worked_on=MONDAY - timedelta(days=7))
    query_hours(
        entry=site.log(hours=1, quantity=50, worked_on=MONDAY - timedelta(days=6)),
        by=site.cast.manager,
        reason="Fifty?",
    )
    site.log(hours=1, quantity=80, worked_on=MONDAY)
    assert _person(site, "Sam Thorne").oddities == []
    site.log(site.cast.other_staff, hours=1, quantity=90.5)
    huge = site.log(hours=1)
    huge.quantity = 999_999
    huge.save()
    assert _person(site, "Ada Wick").oddities == [
        "Tuesday: 90.5 m on a job of 180 m, 0 m of it left: Lay carrier C2–C3."
    ]
    assert _person(site, "Sam Thorne").oddities == [
        "Tuesday: 999,999 m on a job of 180 m, 0 m of it left: Lay carrier C2–C3."
    ]
    page = as_manager.get(WEEK).content.decode()
    assert "90.5 m done" in page
    assert page.count(">to look at</span>") == 2
    assert "2 entries pointed out below are approved one by one." in page


def test_approving_all_leaves_what_is_pointed_out(site: Site, as_manager: Client) -> None:
    plain, odd = site.log(hours=8, worked_on=MONDAY), site.log(hours=14.5)
    page = as_manager.get(WEEK).content.decode()
    assert "Approve all 1 with nothing to look at" in page
    assert "1 entry pointed out below is approved one by one." in page
    told = as_manager.post("/c/first/hours/week/approve/", {"week": "2026-11-23"}, follow=True)
    assert "1 entry approved. 1 to look at left: approve one by one." in told.content.decode()
    assert list(HourEntry.objects.filter(state="approved")) == [plain]
    told = as_manager.post("/c/first/hours/week/approve/", {"week": "2026-11-23"}, follow=True)
    assert "Nothing approved: all 1 are to be looked at" in told.content.decode()
    assert "Approve all" not in told.content.decode()
    as_manager.post("/c/first/hours/week/approve/", {"week": "2026-11-23", "entry": odd.uuid})
    odd.refresh_from_db()
    assert odd.state == "approved"


def test_hours_on_the_day_a_job_was_finished_are_not_odd(site: Site) -> None:
    site.tee.state, site.tee.finished_on = "done", TODAY
    site.tee.save()
    site.log(item=site.tee, hours=8)
    assert _person(site, "Sam Thorne").oddities == []


def test_a_corrected_row_is_shown_and_not_counted(site: Site, as_manager: Client) -> None:
    entry = site.log(hours=8)
    approve_hours(club=site.cast.club, entries=[entry], by=site.cast.manager)
    correct_approved(entry=entry, by=site.person(site.cast.manager), hours=6, reason="Left at two")
    assert _person(site, "Sam Thorne").hours == 6
    page = as_manager.get(WEEK).content.decode()
    assert "corrects 8.0 h: Left at two" in page
    assert "corrected by a later row" in page


def test_approve_one_then_all(site: Site, as_manager: Client) -> None:
    first, second = site.log(hours=1), site.log(hours=2, routine="leaves")
    third = site.log(hours=3, routine="mowing")
    assert "Approve all 3 that wait" in as_manager.get(WEEK).content.decode()
    answer = as_manager.post(
        "/c/first/hours/week/approve/", {"week": "2026-11-23", "entry": second.uuid}
    )
    assert answer["Location"].endswith("?week=2026-11-23")
    assert HourEntry.objects.get(state="approved") == second
    as_manager.post("/c/first/hours/week/approve/", {"week": "2026-11-23"})
    assert HourEntry.objects.filter(state="approved").count() == 3
    assert {first.pk, second.pk, third.pk} == set(
        HourEntry.objects.filter(decided_by=site.cast.manager).values_list("pk", flat=True)
    )
    again = as_manager.post(
        "/c/first/hours/week/approve/", {"week": "2026-11-23", "entry": "x"}, follow=True
    )
    assert "Nothing was left to approve" in again.content.decode()


def test_query_with_words(site: Site, as_manager: Client) -> None:
    entry = site.log(hours=12)
    as_manager.post(f"/c/first/hours/entries/{entry.uuid}/query/", {"reason": "Twelve?"})
    entry.refresh_from_db()
    assert (entry.state, entry.reason) == ("queried", "Twelve?")
    empty = as_manager.post(f"/c/first/hours/entries/{entry.uuid}/query/", follow=True)
    assert "Say in a few words" in empty.content.decode()


def test_put_right_through_the_page(site: Site, as_manager: Client) -> None:
    entry = site.log(hours=8, quantity=20)
    address = f"/c/first/hours/entries/{entry.uuid}/correct/"
    early = as_manager.post(address, {"hours": "6", "quantity": "15", "reason": "Noon"})
    assert "Only what is approved" in early.content.decode()
    approve_hours(club=site.cast.club, entries=[entry], by=site.cast.manager)
    wrong = as_manager.post(address, {"hours": "6.3", "quantity": "15", "reason": "Noon"})
    assert "half-hour steps" in wrong.content.decode()
    assert as_manager.get(address).status_code == 200
    as_manager.post(address, {"hours": "6", "quantity": "15", "reason": "Noon"})
    row = HourEntry.objects.get(corrects=entry)
    assert (row.hours, row.quantity, row.reason) == (Decimal("6.0"), 15, "Noon")


def test_csv_cannot_carry_a_formula(site: Site, as_manager: Client) -> None:
    site.log(hours=1.5, routine="leaves", note='=HYPERLINK("http://x","y")')
    site.log(hours=2, routine="mowing", note='said "two", then three')
    withdraw_hours(entry=site.log(hours=4), by=site.person())
    answer = as_manager.get("/c/first/hours/week/hours.csv?week=2026-11-24")
    text = answer.content.decode("utf-8-sig")
    assert "\r\n" in text
    rows = list(csv.DictReader(io.StringIO(text)))
    assert [row["note"] for row in rows] == [
        '\'=HYPERLINK("http://x","y")',
        'said "two", then three',
    ]
    assert rows[0] | {"note": ""} == {
        "day": "2026-11-24",
        "person": "Sam Thorne",
        "job": "",
        "routine": "leaves",
        "hours": "1.5",
        "quantity": "",
        "ground": "",
        "state": "logged",
        "note": "",
        "reason": "",
    }


@pytest.mark.parametrize("told", ["", "nonsense", "0001-01-01", "9999-12-31"])
def test_any_week_asked_for_is_answered(site: Site, as_manager: Client, told: str) -> None:
    assert as_manager.get("/c/first/hours/week/", {"week": told}).status_code == 200


def test_routine_hours_by_kind_and_leaves_by_week(site: Site) -> None:
    site.log(hours=3, routine="leaves", worked_on=MONDAY)
    site.log(site.cast.other_staff, hours=4, routine="leaves")
    site.log(hours=2, routine="mowing")
    site.log(hours=5, routine="leaves", worked_on=MONDAY - timedelta(days=3))
    site.log(hours=1)
    assert routine_hours(site.cast.club, MONDAY, TODAY) == {"leaves": 7, "mowing": 2}
    assert leaf_hours(site.cast.club, MONDAY - timedelta(days=7), TODAY) == {
        MONDAY - timedelta(days=7): 5,
        MONDAY: 7,
    }
