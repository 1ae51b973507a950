"""Hours a day from people: worked by hand, and against the usual weeks."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from worksprog.calc.crew_days import Person, crew_days, days_there
from worksprog.calc.workdays import Calendar, CrewWeek, crew_hours

D = dt.date
FIRST, LAST = D(2026, 1, 5), D(2026, 12, 27)
USUAL = {week: CrewWeek(week, 240, 100) for week in range(1, 53)}


def person(name: str = "Ash", grade: str = "greenkeeper", **facts) -> Person:
    return Person(name, name, grade, facts.pop("day_h", 8.0), **facts)


def year(first: D = FIRST, last: D = LAST, **facts) -> Calendar:
    return Calendar.around(first, last, **facts)


def test_six_people_at_eight_hours_are_the_usual_weeks():
    calendar = year(holidays={D(2026, 12, 25): "Christmas"})
    usual = crew_hours(calendar, USUAL)
    found = crew_days(calendar, [person(str(k)) for k in range(6)], USUAL).hours
    for name in ("crew_h", "routine_h", "left_h", "left_day_h"):
        np.testing.assert_allclose(getattr(found, name), getattr(usual, name))


def test_hours_by_grade_and_skill_with_an_absence_and_the_allowance():
    calendar = year(D(2026, 2, 2), D(2026, 2, 8))
    people = [
        person("Ash", "head", skills=frozenset({"digger", "saw"}), day_h=7.5),
        person("Bea", "hand", skills=frozenset({"saw"}), away=((D(2026, 2, 3), D(2026, 2, 4)),)),
    ]
    found = crew_days(calendar, people, {6: CrewWeek(6, 0, 20)}, sickness=0.04)
    np.testing.assert_allclose(found.grade_h["head"], [7.2] * 5 + [0, 0])
    np.testing.assert_allclose(found.grade_h["hand"], [7.68, 0, 0, 7.68, 7.68, 0, 0])
    np.testing.assert_allclose(found.skill_h["digger"], found.grade_h["head"])
    np.testing.assert_allclose(found.skill_h["saw"], found.grade_h["head"] + found.grade_h["hand"])
    assert found.hours.crew_h[0] == pytest.approx(36 + 23.04)
    assert found.hours.left_h[0] == pytest.approx(39.04)
    # The day alone has its share of what is left: 7.2 of 59.04 hours.
    assert found.hours.left_day_h[1] == pytest.approx(39.04 * 7.2 / 59.04)
    assert found.hours.left_day_h.sum() == pytest.approx(39.04)


def test_absences_that_overlap_count_a_day_once():
    calendar = year(D(2026, 2, 2), D(2026, 2, 8))
    away = ((D(2026, 2, 2), D(2026, 2, 4)), (D(2026, 2, 4), D(2026, 2, 5)))
    assert days_there(calendar, person(away=away)).sum() == 1
    assert days_there(calendar, person(), [(D(2026, 2, 6), D(2026, 2, 6))]).sum() == 4
    both = days_there(calendar, person(away=away), [(D(2026, 2, 2), D(2026, 2, 2))])
    assert both.sum() == 1


def test_somebody_employed_for_one_day_works_one_day():
    calendar = year()
    one = person(first=D(2026, 3, 4), last=D(2026, 3, 4))
    days = np.flatnonzero(days_there(calendar, one))
    assert [calendar.date(int(day)) for day in days] == [D(2026, 3, 4)]
    assert days_there(calendar, person(last=D(2025, 12, 31))).sum() == 0
    assert days_there(calendar, person(first=D(2027, 12, 31))).sum() == 0


def test_a_crew_of_zero_has_no_hours_and_is_no_error():
    found = crew_days(year(), [], USUAL)
    assert found.hours.left_day_h.sum() == found.hours.crew_h.sum() == 0
    assert found.grade_h == {} and found.skill_h == {}


def test_days_of_ones_own_and_closed_days():
    calendar = year(D(2026, 2, 2), D(2026, 2, 8), holidays={D(2026, 2, 7): "match"})
    weekend = days_there(calendar, person(week_days=frozenset({5, 6})))
    assert np.flatnonzero(weekend).tolist() == [6]


def test_week_53_is_as_week_52_and_an_unknown_week_leaves_nothing():
    calendar = year(D(2026, 12, 21), D(2027, 1, 10))
    found = crew_days(calendar, [person(str(k)) for k in range(6)], {52: CrewWeek(52, 0, 40)})
    assert calendar.monday(1).isocalendar().week == 53
    np.testing.assert_allclose(found.hours.left_h, [200, 200, 0])
    assert found.hours.crew_h[2] == 240


@pytest.mark.parametrize("sunday", [D(2026, 3, 29), D(2026, 10, 25)])
def test_the_day_on_which_clocks_change_has_the_hours_of_any_other(sunday):
    monday = sunday - dt.timedelta(days=6)
    calendar = year(monday, sunday, week_days=range(7))
    found = crew_days(calendar, [person()], {monday.isocalendar().week: CrewWeek(1, 0, 0)})
    np.testing.assert_allclose(found.hours.left_day_h, [8.0] * 7)


def test_routine_work_beyond_the_crew_leaves_nothing():
    calendar = year(D(2026, 2, 2), D(2026, 2, 8))
    assert crew_days(calendar, [person()], USUAL).hours.left_day_h.sum() == 0


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"day_h": 17}, "from 0 to 16"),
        ({"day_h": float("nan")}, "from 0 to 16"),
        ({"week_days": frozenset({7})}, "from 0 to 6"),
        ({"first": D(2026, 2, 2), "last": D(2026, 2, 1)}, "before the first day"),
        ({"away": ((D(2026, 2, 2), D(2026, 2, 1)),)}, "before the first day"),
    ],
)
def test_wrong_facts_are_told(wrong, words):
    with pytest.raises(ValueError, match=words):
        person(**wrong)


def test_a_wrong_allowance_is_told():
    with pytest.raises(ValueError, match="share from 0 to 1"):
        crew_days(year(), [person()], USUAL, sickness=3)
