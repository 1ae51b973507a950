"""The charts are read back from the drawing that the PDF would carry."""

from __future__ import annotations

import datetime as dt
import re

import pytest
import vl_convert

from worksprog.calc.charts import (
    Bar,
    WeekHours,
    closed_spans,
    crew_hours_chart,
    crew_year_chart,
    winters_chart,
)

D = dt.date


def drawn(spec) -> str:
    return vl_convert.vegalite_to_svg(spec, vl_version="6.4", allowed_base_urls=[])


def bars():
    return [
        Bar("BC Brook carrier", D(2026, 10, 5), D(2027, 11, 20), heading=True),
        Bar("Outfall's headwall", D(2026, 10, 5), D(2026, 10, 15), state="done"),
        Bar(
            "Carrier",
            D(2026, 10, 20),
            D(2026, 12, 10),
            state="on_site",
            baseline=(D(2026, 10, 1), D(2026, 11, 1)),
            closed=[(D(2027, 3, 1), D(2027, 9, 1))],
        ),
        Bar("Laterals", D(2027, 10, 1), D(2027, 11, 20), note="waits for Carrier"),
        Bar("Tee 8", D(2026, 9, 5), D(2026, 10, 25), D(2027, 5, 10), state="growing_in"),
        Bar("Copse", note="needs 120 h in a window that leaves 84 h"),
    ]


def winters(**more):
    span = {"first": D(2026, 9, 1), "last": D(2028, 9, 1), "today": D(2026, 11, 24), "width": 900}
    return winters_chart(bars(), **{**span, **more})


def test_the_winters_are_drawn_with_every_job_and_its_words():
    svg = drawn(winters())
    for words in ["BC Brook carrier", "Laterals", "waits for Carrier", "today, 24 Nov 2026"]:
        assert words in svg
    assert "Outfall's headwall" in svg.replace("&#39;", "'").replace("&apos;", "'")
    assert "needs 120 h in a window that leaves 84 h" in svg
    assert "winter 26/27" in svg and "winter 27/28" in svg


def test_each_bar_is_said_for_those_who_do_not_see_it():
    svg = drawn(winters())
    assert 'aria-label="Laterals, proposed, 1 Oct 2027 to 19 Nov 2027, waits for Carrier"' in svg
    assert svg.count('aria-roledescription="tick"') == 0


def test_each_state_has_a_mark_of_its_own():
    svg = drawn(winters())
    proposed = re.findall(r"<path[^>]*stroke-dasharray=\"4,2\"[^>]*>", svg)
    assert len(proposed) == 1 and 'fill="#fbf9f3"' in proposed[0]
    assert len(re.findall(r"<path[^>]*fill=\"#1a2320\"[^>]*stroke=\"#1a2320\"", svg)) == 1
    spec = winters()
    hatches = next(layer for layer in spec["layer"] if layer["mark"]["type"] == "tick")
    rows = {value["row"] for value in hatches["data"]["values"]}
    assert rows == {4}


def test_what_lies_outside_the_days_shown_is_cut_and_today_is_left_out():
    spec = winters(first=D(2027, 1, 1), last=D(2027, 6, 1))
    text = str(spec)
    assert "today, 24" not in text
    for layer in spec["layer"]:
        for value in layer["data"]["values"]:
            assert "2027-01-01" <= value["from"] <= "2027-06-01"
    assert "Carrier" in drawn(spec)


def test_crew_hours_are_drawn_and_keep_their_figures():
    weeks = [
        WeekHours(D(2026, 11, 23), 220, 160, 60, 42.5),
        WeekHours(D(2026, 11, 30), 220, 200, 20, 20),
    ]
    spec = crew_hours_chart(weeks, today=D(2026, 11, 24), width=700)
    assert spec["data"]["values"][0]["planned"] == 42.5
    assert "crew hours a week" in drawn(spec)


def test_the_usual_year_never_shows_less_than_nothing_left():
    spec = crew_year_chart([(1, 200, 150), (2, 100, 140)], width=700)
    values = spec["data"]["values"]
    assert values[1] == {"week": 2, "crew": 100, "routine": 100, "left": 0}
    assert "week of the year" in drawn(spec)


@pytest.mark.parametrize(
    ("days", "spans"),
    [
        ([True, False, False, True], [(D(2026, 1, 2), D(2026, 1, 4))]),
        ([False, True, False], [(D(2026, 1, 1), D(2026, 1, 2)), (D(2026, 1, 3), D(2026, 1, 4))]),
        ([True, True], []),
        ([], []),
    ],
)
def test_closed_spans_are_half_open(days, spans):
    assert closed_spans(days, D(2026, 1, 1)) == spans
