"""People of the crew: a plan takes its hours from them, and only who may plan sees them."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse

from worksprog.clubs.models import Change
from worksprog.planning.models import Absence, CrewMember, Grade, PlanRules
from worksprog.planning.services import (
    drop_crew_member,
    keep_absence,
    keep_crew_member,
    keep_plan_rules,
)

D = dt.date
MOST_QUERIES = 15


def at(name: str, club, *args) -> str:
    return reverse(f"planning:{name}", args=[club.slug, *args])


def add(course, name: str, grade: str = "greenkeeper", **facts) -> CrewMember:
    member = CrewMember(club=course.cast.club, name=name, **facts)
    return keep_crew_member(member=member, grade=grade, by=course.cast.manager)


def no_sickness(course) -> None:
    rules = PlanRules(club=course.cast.club, sickness_percent=0)
    keep_plan_rules(rules=rules, by=course.cast.manager)


def away(course, member: CrewMember | None, first: D, last: D, why: str = "holiday") -> Absence:
    row = Absence(club=course.cast.club, member=member, from_date=first, to_date=last, why=why)
    return keep_absence(absence=row, by=course.cast.manager)


def week_of(plan, monday: D) -> dict[str, Any]:
    return next(week for week in plan.weeks if week["week"] == monday.isoformat())


def test_people_who_work_the_usual_hours_leave_the_plan_as_it_was(crewed):
    crewed.job("Path", "path", hours=120)
    before = crewed.plan()
    no_sickness(crewed)
    for k in range(5):
        add(crewed, f"Person {k}")
    after = crewed.plan()
    assert after.weeks == before.weeks
    assert crewed.planned(after, "Path").finish == crewed.planned(before, "Path").finish


def test_a_plan_takes_the_crews_hours_from_people_absences_and_the_allowance(crewed):
    crewed.job("Path", "path", hours=40)
    people = [add(crewed, f"Person {k}") for k in range(6)]
    plan = crewed.plan()
    assert week_of(plan, D(2026, 9, 7))["crew_h"] == pytest.approx(240 * 0.97)
    assert week_of(plan, D(2026, 9, 7))["left_h"] == pytest.approx(82.8)
    away(crewed, None, D(2026, 9, 7), D(2026, 9, 13), "training")
    away(crewed, people[0], D(2026, 9, 10), D(2026, 9, 15))
    away(crewed, people[0], D(2026, 9, 14), D(2026, 9, 16), "sickness")
    plan = crewed.plan()
    assert week_of(plan, D(2026, 9, 7))["crew_h"] == 0
    assert week_of(plan, D(2026, 9, 14))["crew_h"] == pytest.approx((240 - 24) * 0.97, abs=0.05)
    assert crewed.planned(plan, "Path").start == D(2026, 9, 14)


def test_a_crew_that_has_all_left_places_nothing_and_says_so(crewed):
    crewed.job("Path", "path", hours=40)
    crewed.job("Contractor's pond", "mounding", hours=40, by_contractor=True)
    add(crewed, "Ash", employed_from=D(2026, 9, 1), employed_to=D(2026, 9, 1))
    plan = crewed.plan()
    assert "the crew has 0 h left for it" in crewed.planned(plan, "Path").not_placed
    assert crewed.planned(plan, "Contractor's pond").finish is not None


def test_people_without_usual_weeks_are_told_what_is_missing(course):
    course.job("Path", "path", hours=40)
    add(course, "Ash")
    assert "No routine hours are entered" in " ".join(course.plan().notes)


def test_a_name_stands_once_and_a_grade_is_shared(course):
    add(course, "Ash", "Greenkeeper")
    add(course, "Bea", "greenkeeper ")
    assert Grade.objects.get().name == "Greenkeeper"
    with pytest.raises(ValidationError, match="There is a ash in the crew already"):
        add(course, "ash")
    assert CrewMember.objects.count() == 2


def test_who_is_taken_out_is_kept_by_the_records_with_the_days_away(course):
    member = add(course, "Ash")
    away(course, member, D(2026, 9, 7), D(2026, 9, 8))
    drop_crew_member(member=member, by=course.cast.manager)
    assert not CrewMember.objects.exists() and not Absence.objects.exists()
    kinds = Change.objects.filter(action="removed").values_list("kind", flat=True)
    assert set(kinds) == {"crewmember", "absence"}


def test_the_manager_enters_people_and_days_away(crewed, as_manager: Client, today):
    today(D(2026, 9, 7))
    club = crewed.cast.club
    assert "Nobody is entered yet" in as_manager.get(at("people", club)).content.decode()
    data = {"name": "Ash", "grade_name": "greenkeeper", "skills_told": "Digger, saw, digger",
            "day_h": "7.5", "own_days": ["0", "1", "2", "3"]}  # fmt: skip
    assert as_manager.post(at("add-person", club), data).status_code == 302
    member = CrewMember.objects.get()
    assert (member.skills, member.weekdays) == (["digger", "saw"], [0, 1, 2, 3])
    data = {"member": str(member.pk), "why": "training", "from_date": "2026-09-08",
            "to_date": "2026-09-08", "note": "first aid"}  # fmt: skip
    assert as_manager.post(at("absences", club), data).status_code == 302
    page = as_manager.get(at("people", club)).content.decode()
    assert "can do: digger" in page and "3 days × 7.5 h" in page and "first aid" in page
    assert as_manager.post(at("sickness", club), {"sickness_percent": "5"}).status_code == 302
    assert PlanRules.objects.get().sickness_percent == 5
    shown = as_manager.get(at("crew", club)).content.decode()
    assert "People are entered, so plans take" in shown
    for name, row in (("drop-absence", Absence.objects.get()), ("drop-person", member)):
        assert as_manager.post(at(name, club, row.uuid)).status_code == 302
    assert not CrewMember.objects.exists()


def test_wrong_entries_are_told_and_nothing_is_lost(crewed, as_manager: Client):
    club = crewed.cast.club
    data = {"name": "Ash", "grade_name": "hand", "day_h": "20", "employed_from": "2026-09-07",
            "employed_to": "2026-09-01"}  # fmt: skip
    reply = as_manager.post(at("add-person", club), data)
    page = reply.content.decode()
    assert reply.status_code == 422 and 'value="Ash"' in page
    assert "less than or equal to 16" in page and "The last day is before the first." in page
    member = add(crewed, "Ash")
    reply = as_manager.post(at("add-person", club), {"name": "ash", "grade_name": "x", "day_h": 8})
    assert "There is a ash in the crew already" in reply.content.decode()
    reply = as_manager.post(at("person", club, member.uuid), {"name": "", "day_h": 8})
    assert reply.status_code == 422
    bad = {"why": "holiday", "from_date": "2026-09-09", "to_date": "2026-09-08"}
    reply = as_manager.post(at("absences", club), bad)
    assert "The last day is before the first." in reply.content.decode()
    assert as_manager.post(at("sickness", club), {"sickness_percent": 90}).status_code == 422
    assert not Absence.objects.exists() and Grade.objects.count() == 1


def test_names_and_absences_are_for_who_may_plan(crewed, as_committee: Client):
    member = add(crewed, "Ash")
    club = crewed.cast.club
    for url in (at("people", club), at("person", club, member.uuid)):
        assert as_committee.get(url).status_code == 403
    assert at("people", club) not in as_committee.get(at("crew", club)).content.decode()


def test_queries_do_not_grow_with_the_crew(
    crewed, as_manager: Client, today, django_assert_max_num_queries
):
    today(D(2026, 9, 7))
    for k in range(12):
        away(crewed, add(crewed, f"Person {k}", f"grade {k}"), D(2026, 9, 7), D(2026, 9, 9))
    with django_assert_max_num_queries(MOST_QUERIES):
        as_manager.get(at("people", crewed.cast.club))
