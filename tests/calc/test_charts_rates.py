"""The chart of ranges is read back from its drawing: what is outside has a mark of its own."""

from __future__ import annotations

import re
from typing import Any

from tests.calc.test_charts import drawn
from worksprog.calc.charts_rates import RangeRow, range_chart

ROWS = [
    RangeRow("The book alone", 0.7, 1.0, 1.5),
    RangeRow("Bob\u2019s \u201cbig\u201d drain", 0.9, 1.0, 1.2, 1.1),
    RangeRow("Over", 0.9, 1.0, 1.2, 1.6),
    RangeRow("Left out", actual=2.4, filled=False),
    RangeRow("The next job", 0.9, 1.15, 1.5, heavy=True),
]


def chart() -> dict[str, Any]:
    return range_chart(ROWS, axis="hours over the book", mark=1.0, mark_words="as the book says")


def test_every_row_is_named_and_the_axis_says_what_it_is() -> None:
    text = re.sub(r"&[lr]dquo;|&quot;", '"', drawn(chart()))
    for words in ("The book alone", "Over", "Left out", "The next job", "hours over the book"):
        assert words in text
    assert "drain" in text


def test_outside_is_a_diamond_and_left_out_is_hollow() -> None:
    values = chart()["data"]["values"]
    assert [one["inside"] for one in values] == [True, True, False, True, True]
    dots = chart()["layer"][-1]["encoding"]
    assert dots["shape"]["value"] == "diamond"
    assert dots["fill"]["condition"]["test"] == "datum.filled"
    assert [one["filled"] for one in values][3] is False


def test_the_scale_holds_every_figure_and_its_ticks() -> None:
    x = chart()["layer"][1]["encoding"]["x"]
    low, high = x["scale"]["domain"]
    assert low < 0.7 and high > 2.4
    assert all(low <= tick <= high for tick in x["axis"]["values"])
    assert {1.0, 1.5, 2.0} <= set(x["axis"]["values"])
