"""The network on any date: which reach is overloaded from when until when, by what, ended by what."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.calc.drains import STORM, outfall, pipe
from worksprog.calc.network import check_drains
from worksprog.calc.network.through_time import Span, check_through_time, state_on
from worksprog.calc.pipes import PipeSection

TODAY = date(2027, 1, 4)
JOINED, RENEWED = date(2027, 3, 1), date(2027, 5, 3)

# An old 150 mm pipe carries its own 0.2 ha; the new carrier above brings another hectare on to it.
OLD = pipe("old", (100, 0), (0, 0), section=PipeSection(0.15), catchment_ha=0.2)
NEW = pipe("new", (100, 0), (0, 0), catchment_ha=0.2, standing=False)
ABOVE = pipe(
    "above", (200, 0), (100, 0), upstream_invert_m=52.0, downstream_invert_m=51.0, standing=False
)
REACHES, NODES = [OLD, NEW, ABOVE], [outfall(0, 0)]


def spans(joined: date, renewed: date) -> list[Span]:
    return [
        Span("old", gone_from=renewed, replaced_by="new"),
        Span("new", stands_from=renewed),
        Span("above", stands_from=joined),
    ]


def test_a_new_drain_overloads_an_old_pipe_until_it_is_replaced():
    found = check_through_time(REACHES, NODES, STORM, spans(JOINED, RENEWED), today=TODAY)
    assert [(state.starts_on, state.until) for state in found.states] == [
        (TODAY, JOINED),
        (JOINED, RENEWED),
        (RENEWED, None),
    ]
    assert [(state.came, state.went) for state in found.states] == [
        ((), ()),
        (("above",), ()),
        (("new",), ("old",)),
    ]
    (spell,) = found.spells
    assert (spell.key, spell.starts_on, spell.until) == ("old", JOINED, RENEWED)
    assert spell.lasts == "for_a_time"
    assert spell.is_passing
    assert spell.brought_by == ("above",)
    assert spell.ended_by == ("new",)
    assert spell.build_first == ("new",)
    # By the rational method 1.2 ha × 0.5 × 30 mm/h ÷ 360 comes to it.
    capacity = found.states[1].check.reach("old").capacity_m3s
    assert capacity is not None
    assert spell.worst_m3s == pytest.approx(1.2 * 0.5 * 30 / 360 - capacity)
    assert found.states[1].worst == "old"
    assert found.states[2].worst is None


def test_in_the_other_order_nothing_is_overloaded():
    found = check_through_time(REACHES, NODES, STORM, spans(RENEWED, JOINED), today=TODAY)
    assert found.spells == ()
    assert len(found.states) == 3


def test_an_order_that_would_not_help_is_not_proposed():
    too_small_as_well = replace(NEW, section=PipeSection(0.1))
    found = check_through_time(
        [OLD, too_small_as_well, ABOVE], NODES, STORM, spans(JOINED, RENEWED), today=TODAY
    )
    old = next(spell for spell in found.spells if spell.key == "old")
    assert old.lasts == "for_a_time"
    assert old.build_first == ()
    new = next(spell for spell in found.spells if spell.key == "new")
    assert (new.lasts, new.starts_on, new.until) == ("for_good", RENEWED, None)
    assert not new.is_passing


def test_what_is_overloaded_all_along_is_told_apart():
    tight = replace(OLD, section=PipeSection(0.1))
    found = check_through_time([tight], NODES, STORM, [], today=TODAY)
    assert [spell.lasts for spell in found.spells] == ["all_along"]
    assert not found.spells[0].is_passing


def test_an_overload_of_today_that_is_only_put_right_is_no_warning_but_one_made_worse_is():
    tight = replace(OLD, section=PipeSection(0.1))
    reaches = [tight, NEW, ABOVE]
    (spell,) = check_through_time(reaches, NODES, STORM, spans(RENEWED, JOINED), today=TODAY).spells
    assert (spell.lasts, spell.made_worse, spell.is_passing) == ("until_put_right", False, False)
    (spell,) = check_through_time(reaches, NODES, STORM, spans(JOINED, RENEWED), today=TODAY).spells
    assert (spell.lasts, spell.made_worse, spell.is_passing) == ("until_put_right", True, True)
    assert spell.worst_from == JOINED
    assert spell.brought_by == ("above",)
    assert spell.worst_m3s - spell.first_m3s == pytest.approx(0.5 * 30 / 360)


def test_a_drain_built_before_what_takes_its_water_leads_nowhere_for_a_time():
    found = check_through_time(
        [NEW, ABOVE],
        NODES,
        STORM,
        [Span("above", stands_from=JOINED), Span("new", stands_from=RENEWED)],
        today=TODAY,
    )
    (spell,) = found.spells
    assert (spell.key, spell.starts_on, spell.until) == ("above", JOINED, RENEWED)
    assert "leads nowhere" in spell.verdict
    assert spell.ended_by == ("new",)
    assert spell.build_first == ("new",)


def test_days_on_which_nothing_of_the_network_changes_make_no_state():
    found = check_through_time(
        [OLD],
        NODES,
        STORM,
        [Span("a path", stands_from=JOINED), Span("old")],
        today=TODAY,
    )
    assert [state.starts_on for state in found.states] == [TODAY]


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ([Span("old"), Span("old")], "Two spans"),
        ([Span("old", RENEWED, JOINED)], "before it stands"),
    ],
)
def test_spans_that_cannot_be(wrong, words):
    with pytest.raises(ValueError, match=words):
        check_through_time(REACHES, NODES, STORM, wrong, today=TODAY)


days = st.integers(min_value=-200, max_value=600).map(lambda n: TODAY + timedelta(days=n))


@settings(max_examples=40, deadline=None)
@given(joined=days, renewed=days)
def test_far_in_the_future_the_network_is_as_it_will_be_in_the_end(joined, renewed):
    found = check_through_time(REACHES, NODES, STORM, spans(joined, renewed), today=TODAY)
    last = found.on(date(2099, 1, 1))
    alone = check_drains([NEW, ABOVE], NODES, STORM)
    assert last.until is None
    assert [one.verdict for one in last.check.reaches] == [one.verdict for one in alone.reaches]
    # Whatever day is asked for, the state told is the one worked out for that day alone.
    for day in (TODAY, joined, renewed, max(joined, renewed) - timedelta(days=1)):
        if day < TODAY:
            continue
        standing, nodes = state_on(
            REACHES, NODES, {span.key: span for span in spans(joined, renewed)}, day
        )
        here = check_drains(standing, nodes, STORM)
        assert {one.key: one.verdict for one in found.on(day).check.reaches} == {
            one.key: one.verdict for one in here.reaches
        }
