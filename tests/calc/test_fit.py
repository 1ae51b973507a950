"""Fitting jobs into the crew's weeks: cases by hand, and a checker on random programmes."""

from __future__ import annotations

import datetime as dt
import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.calc.schedule_checker import broken_rules
from worksprog.calc.critical_path import Link, LinkKind
from worksprog.calc.fit import Job, WaitKind, fit, network_priority
from worksprog.calc.workdays import Calendar, CrewWeek, MonthDay, Window, crew_hours

FELLING = Window("felling", MonthDay(9, 1), MonthDay(2, 29), "nesting birds")
DITCHING = Window("ditching", MonthDay(10, 1), MonthDay(12, 11), "clay too wet after")
WINDOWS = {"felling": [FELLING], "ditching": [DITCHING], "": []}
NAMES = {"felling": "tree thinning", "ditching": "ditches"}


def setting(first, last, *, crew=100.0, routine=50.0, holidays=None):
    calendar = Calendar.around(first, last, holidays=holidays)
    hours = crew_hours(calendar, {w: CrewWeek(w, crew, routine) for w in range(1, 54)})
    masks = {kind: calendar.window_days(windows) for kind, windows in WINDOWS.items() if kind}
    return calendar, hours, masks


def plan(jobs, links=(), first=dt.date(2026, 10, 5), last=dt.date(2028, 12, 31), **crew):
    calendar, hours, masks = setting(first, last, **crew)
    fitted = fit(
        jobs, links, calendar=calendar, day_hours=hours.left_day_h, open_days=masks,
        kind_names=NAMES,
    )  # fmt: skip
    assert broken_rules(jobs, links, calendar, hours.left_h, WINDOWS, fitted) == []
    return calendar, fitted


def test_two_jobs_share_the_crew_by_priority():
    """50 h a week are 10 h a day. A needs 75 h: Monday 5 October to Wednesday 14th at noon.
    B, 20 h, could begin that afternoon but finishes as soon by taking Thursday and Friday."""
    calendar, fitted = plan([Job("B", "B", 20, priority=2), Job("A", "A", 75, priority=1)])
    a, b = fitted.placed["A"], fitted.placed["B"]
    assert (calendar.date(a.start), calendar.date(a.finish)) == (
        dt.date(2026, 10, 5), dt.date(2026, 10, 15),
    )  # fmt: skip
    assert a.hours == pytest.approx({0: 50, 1: 25})
    assert (calendar.date(b.start), calendar.date(b.finish)) == (
        dt.date(2026, 10, 15), dt.date(2026, 10, 17),
    )  # fmt: skip
    assert a.wait is None
    assert b.wait.kind is WaitKind.CREW and b.wait.days == 10


def test_a_successor_waits_on_a_later_day_and_its_lag_counts_calendar_days():
    jobs = [Job("dig", "Ditch 4", 15), Job("sow", "Banks", 10)]
    calendar, fitted = plan(jobs, [Link("dig", "sow", LinkKind.FINISH_START, 14)])
    assert calendar.date(fitted.placed["dig"].finish) == dt.date(2026, 10, 7)
    assert calendar.date(fitted.placed["sow"].start) == dt.date(2026, 10, 21)
    wait = fitted.placed["sow"].wait
    assert (wait.kind, wait.words, wait.job) == (WaitKind.JOB, "waits for Ditch 4", "dig")


def test_a_closed_window_holds_a_job_until_it_opens():
    calendar, fitted = plan([Job(1, "Copse", 30, kind="felling")], first=dt.date(2027, 3, 8))
    placed = fitted.placed[1]
    assert calendar.date(placed.start) == dt.date(2027, 9, 1)
    assert placed.wait.kind is WaitKind.WINDOW
    assert placed.wait.words == "waits for its window to open"


def test_a_job_too_long_for_the_rest_of_its_window_goes_to_the_next_opening():
    """From 23 November 2026 to 11 December the ditching window leaves 3 weeks of 50 h."""
    calendar, fitted = plan([Job(1, "Ditch", 151, kind="ditching")], first=dt.date(2026, 11, 23))
    assert calendar.date(fitted.placed[1].start) == dt.date(2027, 10, 1)
    assert fitted.placed[1].wait.kind is WaitKind.SEASON
    calendar, fitted = plan([Job(1, "Ditch", 150, kind="ditching")], first=dt.date(2026, 11, 23))
    assert calendar.date(fitted.placed[1].finish) == dt.date(2026, 12, 12)


def test_a_job_that_may_spread_works_in_two_winters():
    """No single opening (1 October to 11 December, 51 working days of 10 h at most) holds 700 h."""
    jobs = [Job(1, "Ditch", 700, kind="ditching", may_spread=True)]
    calendar, fitted = plan(jobs)
    years = {calendar.monday(week).year for week in fitted.placed[1].hours}
    assert years == {2026, 2027}


def test_what_cannot_be_placed_says_why_and_the_rest_is_planned():
    jobs = [
        Job("big", "Long ditch", 700, kind="ditching"),
        Job("after", "Path", 10),
        Job("ring a", "Tee", 10),
        Job("ring b", "Bank", 10),
        Job("good", "Bunker", 10),
    ]
    links = [Link("big", "after"), Link("ring a", "ring b"), Link("ring b", "ring a")]
    _, fitted = plan(jobs, links)
    reasons = {one.key: one.reason for one in fitted.not_placed}
    assert reasons["big"] == "needs 700 h in a window that leaves 510 h"
    assert reasons["after"] == "waits for Long ditch, which could not be placed"
    assert "wait for each other" in reasons["ring a"] and "Bank" in reasons["ring a"]
    assert list(fitted.placed) == ["good"]
    assert fitted.rings == {"ring a", "ring b"}


def test_a_blocked_job_keeps_its_reason_and_holds_its_followers():
    jobs = [
        Job(1, "Pond", blocked="no hours are estimated yet"),
        Job(2, "Path", 5),
        Job(3, "Tee", 5),
    ]
    _, fitted = plan(jobs, [Link(1, 2)])
    assert [(one.key, one.reason) for one in fitted.not_placed] == [
        (1, "no hours are estimated yet"),
        (2, "waits for Pond, which could not be placed"),
    ]
    assert list(fitted.placed) == [3]
    assert fitted.rings == frozenset()


def test_a_window_that_never_opens_is_named():
    _, fitted = plan(
        [Job(1, "Copse", 10, kind="felling")],
        first=dt.date(2027, 3, 8),
        last=dt.date(2027, 8, 29),
    )
    assert fitted.not_placed[0].reason == (
        "its window never opens (tree thinning) before 29 August 2027"
    )


def test_too_little_crew_before_the_plan_ends():
    _, fitted = plan([Job(1, "Path", 1000)], last=dt.date(2026, 11, 1))
    assert fitted.not_placed[0].reason == (
        "needs 1,000 h; the crew has 200 h left for it before 1 November 2026"
    )


def test_a_contractors_days_take_no_crew_hours_but_keep_windows_and_holidays():
    jobs = [Job(1, "Pond lined", least_days=6, growing_in_d=70), Job(2, "Path", 50)]
    calendar, fitted = plan(jobs, holidays={dt.date(2026, 10, 7): "Club day"}, crew=125)
    lined = fitted.placed[1]
    assert calendar.date(lined.finish) == dt.date(2026, 10, 14)
    assert calendar.date(lined.in_play) == dt.date(2026, 12, 23)
    assert lined.hours == {}
    assert fitted.placed[2].start == 0


def test_a_share_of_the_week_and_a_gang_keep_a_job_slow():
    _, fitted = plan([Job(1, "A", 50, week_share=0.5), Job(2, "B", 12, gang_day_h=4)])
    assert fitted.placed[1].hours == pytest.approx({0: 25, 1: 25})
    assert fitted.placed[2].finish == 3


def test_finish_links_hold_a_job_back():
    jobs = [Job("dig", "Ditch", 60), Job("lay", "Pipe", 10)]
    links = [Link("dig", "lay", LinkKind.FINISH_FINISH, 4)]
    calendar, fitted = plan(jobs, links)
    # The ditch is over on Tuesday 13 October; the pipe may not be over before Saturday 17th.
    assert calendar.date(fitted.placed["dig"].finish) == dt.date(2026, 10, 13)
    assert calendar.date(fitted.placed["lay"].finish) == dt.date(2026, 10, 17)
    assert fitted.placed["lay"].wait.words == "may not finish before Ditch"


def test_a_job_is_drawn_together_rather_than_begun_with_a_dribble():
    """A leaves 1 h a day in its week; B (30 h at 10 h a day) could begin with those hours, but
    would finish no sooner than by starting the week after."""
    jobs = [Job("A", "A", 45, gang_day_h=9, priority=1), Job("B", "B", 48, priority=2)]
    _, fitted = plan(jobs)
    # 5 h in the first week and 43 in the second finish on the second Friday; 48 in the second
    # week finish on the same day.
    assert fitted.placed["B"].hours == pytest.approx({1: 48})


def test_work_done_stands_and_its_followers_start_after_it():
    jobs = [
        Job("done", "Outfall", 40, finished=(-20, -10), growing_in_d=3),
        Job("next", "Pipe", 10),
    ]
    _, fitted = plan(jobs, [Link("done", "next"), Link("next", "done")])
    assert fitted.placed["done"].in_play == -7
    assert fitted.placed["next"].start == 0 and fitted.placed["next"].wait is None


def test_outfall_first_by_the_network():
    below = [("outfall", "C1"), ("C1", "C2"), ("C1", "branch"), ("C2", "C3")]
    keys = ["C3", "branch", "C2", "C1", "outfall", "tee"]
    assert network_priority(keys, below) == {
        "outfall": 0, "C1": 1, "C2": 2, "branch": 2, "C3": 3, "tee": 0,
    }  # fmt: skip
    assert network_priority(["a", "b"], [("a", "b"), ("b", "a"), ("a", "a")]) == {"a": 0, "b": 0}


@pytest.mark.parametrize(
    ("bad", "words"),
    [
        ({"labour_h": -1}, "hours must be 0 or more"),
        ({"labour_h": float("nan")}, "hours must be 0 or more"),
        ({"least_days": -2}, "days must be 0 or more"),
        ({"gang_day_h": 0}, "more than 0 hours a day"),
        ({"week_share": 0}, "share of a week"),
        ({"week_share": 1.2}, "share of a week"),
        ({"growing_in_d": -1}, "growing in"),
    ],
)
def test_jobs_that_cannot_be_are_refused_by_name(bad, words):
    with pytest.raises(ValueError, match=f"Ditch 4: .*{words}"):
        Job(1, "Ditch 4", **bad)


def test_input_that_does_not_fit_together_is_refused():
    calendar, hours, masks = setting(dt.date(2026, 10, 5), dt.date(2026, 12, 31))
    good = {"calendar": calendar, "day_hours": hours.left_day_h, "open_days": masks}
    with pytest.raises(ValueError, match="'nobody', which is not in the programme"):
        fit([Job(1, "A", 1)], [Link(1, "nobody")], **good)
    with pytest.raises(ValueError, match="no windows are given for the kind 'paving'"):
        fit([Job(1, "A", 1, kind="paving")], [], **good)
    with pytest.raises(ValueError, match="same key"):
        fit([Job(1, "A", 1), Job(1, "B", 1)], [], **good)
    with pytest.raises(ValueError, match="hours left must be"):
        fit([Job(1, "A", 1)], [], **{**good, "day_hours": np.ones(3)})


@st.composite
def programmes(draw):
    count = draw(st.integers(1, 14))
    jobs = []
    for key in range(count):
        finished = draw(st.sampled_from([None, None, None, None, (-30, -20), (-3, 5)]))
        jobs.append(
            Job(
                key,
                f"Job {key}",
                labour_h=draw(st.sampled_from([0, 0, 3.5, 12, 40, 95.5, 260, 900])),
                least_days=draw(st.sampled_from([0, 0, 0, 1, 9])),
                kind=draw(st.sampled_from(["", "felling", "ditching"])),
                priority=draw(st.integers(0, 4)),
                earliest=draw(st.integers(0, 200)),
                gang_day_h=draw(st.sampled_from([float("inf"), 8, 16])),
                week_share=draw(st.sampled_from([1, 0.5, 0.3])),
                may_spread=draw(st.booleans()),
                growing_in_d=draw(st.sampled_from([0, 60])),
                finished=finished,
            )
        )
    pairs = st.tuples(st.integers(0, count - 1), st.integers(0, count - 1))
    links = [
        Link(a, b, draw(st.sampled_from(list(LinkKind))), draw(st.integers(-10, 30)))
        for a, b in draw(st.lists(pairs, max_size=14, unique=True))
        if a != b and (a < b or draw(st.integers(0, 9)) == 0)
    ]
    crew = draw(st.sampled_from([40.0, 120.0, 220.0]))
    routine = draw(st.sampled_from([0.0, 30.0, 100.0]))
    return jobs, links, crew, routine


@given(programmes())
@settings(max_examples=150, deadline=None)
def test_no_random_programme_breaks_a_rule(programme):
    jobs, links, crew, routine = programme
    first = dt.date(2026, 9, 7)
    christmas = {first + dt.timedelta(days=n): "closed" for n in range(108, 118)}
    calendar, hours, masks = setting(
        first, dt.date(2028, 3, 31), crew=crew, routine=routine, holidays=christmas
    )
    args = {"calendar": calendar, "day_hours": hours.left_day_h, "open_days": masks}
    fitted = fit(jobs, links, **args)
    assert broken_rules(jobs, links, calendar, hours.left_h, WINDOWS, fitted) == []
    again = fit(jobs, links, **args)
    assert again.placed == fitted.placed and again.not_placed == fitted.not_placed


def large_programme(count=1000, years=5):
    chance = np.random.default_rng(11)
    jobs = [
        Job(
            key,
            f"Job {key}",
            float(chance.integers(2, 12)),
            kind=["", "felling", "ditching"][key % 3],
            priority=float(chance.integers(1, 9)),
        )
        for key in range(count)
    ]
    links = [Link(int(chance.integers(max(0, k - 40), k)), k) for k in range(1, count, 2)]
    setting_ = setting(dt.date(2026, 10, 5), dt.date(2026 + years, 10, 3), crew=220, routine=150)
    return jobs, links, setting_


def test_a_thousand_jobs_over_five_years_are_placed_and_checked():
    jobs, links, (calendar, hours, masks) = large_programme()
    started = time.perf_counter()
    fitted = fit(jobs, links, calendar=calendar, day_hours=hours.left_day_h, open_days=masks)
    took = time.perf_counter() - started
    assert broken_rules(jobs, links, calendar, hours.left_h, WINDOWS, fitted) == []
    assert len(fitted.placed) > 900
    # Ten times what it takes here: this catches a change of order, not a slow machine.
    assert took < 5
