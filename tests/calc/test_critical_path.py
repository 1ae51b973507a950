"""Critical path: links with lags by hand, and properties held against networkx."""

from __future__ import annotations

import datetime as dt
from typing import Any

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from worksprog.calc.critical_path import (
    Activity,
    DatedActivity,
    Link,
    LinkKind,
    RingError,
    critical_path,
    dated_path,
    order,
    three_point,
)
from worksprog.calc.workdays import Calendar, MonthDay, Window

FS, SS, FF, SF = LinkKind
NO_LAG = st.just(0)


def test_all_four_kinds_of_link_with_lags_by_hand():
    """A 5, B 4 starts 2 after A starts, C 3 finishes 1 after B finishes, D 2 follows C by 3,
    E 6 may not finish before D starts plus 4.

    Forward: A 0-5; B 2-6; C finishes at 7: 4-7; D 10-12; E finishes at 14: 8-14.
    Backward from 14: E 8-14; D starts by 10 (E) so 10-12; C finishes by 7: 4-7; B finishes by 6:
    2-6; A starts by 0 (B) so 0-5, although its own finish could slip.
    """
    network = [Activity(k, d) for k, d in [("A", 5), ("B", 4), ("C", 3), ("D", 2), ("E", 6)]]
    links = [
        Link("A", "B", SS, 2),
        Link("B", "C", FF, 1),
        Link("C", "D", FS, 3),
        Link("D", "E", SF, 4),
    ]
    path = critical_path(network, links)
    got = {
        k: (t.early_start, t.early_finish, t.late_start, t.late_finish)
        for k, t in path.times.items()
    }
    assert got == {
        "A": (0, 5, 0, 5),
        "B": (2, 6, 2, 6),
        "C": (4, 7, 4, 7),
        "D": (10, 12, 10, 12),
        "E": (8, 14, 8, 14),
    }
    assert path.length == 14
    assert path.critical == ("A", "B", "C", "D", "E")


def test_a_negative_lag_overlaps_and_never_starts_before_zero():
    network = [Activity("dig", 4), Activity("lay", 3), Activity("sow", 1)]
    path = critical_path(network, [Link("dig", "lay", FS, -2), Link("dig", "sow", SS, -9)])
    assert path.times["lay"].early_start == 2
    assert path.times["sow"].early_start == 0
    assert path.times["sow"].total_float == 4


def test_two_links_between_the_same_two_activities_both_hold():
    network = [Activity("dig", 10), Activity("lay", 4)]
    path = critical_path(network, [Link("dig", "lay", SS, 1), Link("dig", "lay", FF, 2)])
    assert path.times["lay"].early_start == 8
    assert path.times["lay"].early_finish == 12


def test_a_finish_asked_for_too_early_gives_negative_float():
    path = critical_path([Activity("a", 10), Activity("b", 3)], [], finish_by=8)
    assert path.times["a"].total_float == -2
    assert path.times["b"].total_float == 5
    assert path.critical == ("a",)


def test_a_ring_is_named_from_end_to_end():
    network = [Activity(k, 1, name) for k, name in [(1, "Ditch"), (2, "Pipe"), (3, "Path")]]
    with pytest.raises(RingError, match="wait for each other: Ditch → Pipe → Ditch") as caught:
        critical_path(network, [Link(1, 2), Link(2, 1), Link(2, 3)])
    assert set(caught.value.keys) == {1, 2}
    with pytest.raises(RingError, match="Ditch waits for itself"):
        critical_path(network, [Link(1, 1)])


@pytest.mark.parametrize("duration", [-1, float("nan"), float("inf")])
def test_durations_that_cannot_be_are_refused(duration):
    with pytest.raises(ValueError, match="duration of Ditch"):
        critical_path([Activity(1, duration, "Ditch")], [])


def test_unknown_and_repeated_activities_are_refused():
    with pytest.raises(ValueError, match="'x', which is not in the network"):
        order([Activity("a", 1)], [Link("a", "x")])
    with pytest.raises(ValueError, match="'a' is given twice"):
        order([Activity("a", 1), Activity("a", 2)], [])
    with pytest.raises(ValueError, match="lag after a"):
        order([Activity("a", 1), Activity("b", 1)], [Link("a", "b", FS, float("nan"))])


def test_an_empty_network_has_no_length():
    path = critical_path([], [])
    assert (path.length, path.critical, path.times) == (0, (), {})


@st.composite
def networks(draw, *, kinds=(FS,), lags=NO_LAG):
    count = draw(st.integers(1, 14))
    durations = draw(st.lists(st.integers(0, 12), min_size=count, max_size=count))
    pairs = [(i, j) for i in range(count) for j in range(i + 1, count)]
    chosen = draw(st.lists(st.sampled_from(pairs), unique=True, max_size=30)) if pairs else []
    links = [Link(i, j, draw(st.sampled_from(kinds)), draw(lags)) for i, j in chosen]
    return [Activity(i, d) for i, d in enumerate(durations)], links


@given(networks())
def test_length_is_the_longest_path_of_networkx(network):
    activities, links = network
    graph: Any = nx.DiGraph()
    for activity in activities:
        graph.add_edge(("start", activity.key), ("end", activity.key), weight=activity.duration)
    for link in links:
        graph.add_edge(("end", link.before), ("start", link.after), weight=0)
    path = critical_path(activities, links)
    assert path.length == nx.dag_longest_path_length(graph, weight="weight")
    assert all(time.total_float >= 0 for time in path.times.values())
    assert all(time.free_float <= time.total_float for time in path.times.values())
    assert path.times[path.critical[-1]].early_finish == path.length or path.length == 0


@given(networks(kinds=tuple(LinkKind), lags=st.integers(-4, 9)))
def test_every_link_holds_at_early_and_at_late_times(network):
    activities, links = network
    times = critical_path(activities, links).times
    for link in links:
        before, after = times[link.before], times[link.after]
        ends = {
            FS: ("finish", "start"),
            SS: ("start", "start"),
            FF: ("finish", "finish"),
            SF: ("start", "finish"),
        }[link.kind]
        for when in ("early", "late"):
            from_ = getattr(before, f"{when}_{ends[0]}")
            to = getattr(after, f"{when}_{ends[1]}")
            assert to >= from_ + link.lag - 1e-9


@given(networks(), st.data())
def test_a_moment_put_into_a_link_changes_nothing(network, data):
    activities, links = network
    if not links:
        return
    split = data.draw(st.sampled_from(links))
    rest = [link for link in links if link is not split]
    with_moment = critical_path(
        [*activities, Activity("moment", 0)],
        [*rest, Link(split.before, "moment"), Link("moment", split.after)],
    )
    plain = critical_path(activities, links)
    assert with_moment.length == plain.length
    for key, time in plain.times.items():
        assert with_moment.times[key].early_start == time.early_start
        assert with_moment.times[key].total_float == time.total_float


@given(networks(), st.integers(0, 40))
def test_lengthening_a_critical_activity_moves_the_end_by_as_much(network, more):
    activities, links = network
    path = critical_path(activities, links)
    key = path.critical[0]
    longer = [Activity(a.key, a.duration + (more if a.key == key else 0)) for a in activities]
    assert critical_path(longer, links).length == path.length + more


@given(networks(kinds=tuple(LinkKind), lags=st.integers(-3, 6)))
@settings(max_examples=60)
def test_on_days_that_are_all_open_dated_and_plain_paths_agree(network):
    activities, links = network
    # Moments stand at an instant in one and may keep an instant in the other: leave them out.
    activities = [Activity(a.key, a.duration + 1) for a in activities]
    always = np.ones(600, dtype=bool)
    dated = dated_path([DatedActivity(a.key, int(a.duration), always) for a in activities], links)
    plain = critical_path(activities, links)
    assert dated.beyond == {}
    for key, time in plain.times.items():
        assert dated.times[key].early_start == time.early_start
        assert dated.times[key].early_finish == time.early_finish
        assert dated.times[key].late_start == time.late_start
        assert dated.times[key].total_float == time.total_float
    assert set(dated.critical) == set(plain.critical)


def test_dated_path_keeps_weekends_and_a_closed_season_by_hand():
    """Digging takes 6 days from Thursday 18 February 2027 (to Thursday 25), felling 2 days after
    it: Friday 26 February is the last open working day before 1 September, so felling starts on
    1 September, or may be worked on 26 February and 1 September. It takes both: 2 open days."""
    calendar = Calendar.around(dt.date(2027, 2, 15), dt.date(2027, 12, 31))
    felling = Window("felling", MonthDay(9, 1), MonthDay(2, 29), "nesting")
    dig = DatedActivity("dig", 6, calendar.workdays, calendar.index(dt.date(2027, 2, 18)))
    fell = DatedActivity("fell", 2, calendar.workdays & calendar.window_days([felling]))
    early = DatedActivity("survey", 1, calendar.workdays)
    path = dated_path([dig, fell, early], [Link("dig", "fell"), Link("survey", "fell")])
    assert calendar.date(path.times["dig"].early_finish) == dt.date(2027, 2, 26)
    assert calendar.date(path.times["fell"].early_start) == dt.date(2027, 2, 26)
    assert calendar.date(path.times["fell"].early_finish) == dt.date(2027, 9, 2)
    assert path.times["fell"].total_float == 0
    assert path.times["dig"].total_float == 0
    # The survey may be on any working day from 15 to 25 February: nine of them, eight to spare.
    assert path.times["survey"].total_float == 8


def test_what_the_calendar_has_no_room_for_is_told_and_the_rest_is_dated():
    always = np.ones(14, dtype=bool)
    path = dated_path(
        [
            DatedActivity("long", 20, always, name="Long ditch"),
            DatedActivity("after", 1, always, name="Path"),
            DatedActivity("done", 3, always, finished=(-9, -6)),
            DatedActivity("next", 2, always),
        ],
        [Link("long", "after"), Link("done", "next")],
    )
    assert path.beyond == {
        "long": "needs 20 open days, the calendar leaves fewer",
        "after": "waits for Long ditch, which has no dates",
    }
    assert path.times["next"].early_start == 0
    assert path.times["done"].early_finish == -6


def test_three_point_refuses_figures_out_of_order():
    with pytest.raises(ValueError, match="must not fall"):
        three_point(3, 2, 5)
