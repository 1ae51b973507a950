"""Charts of ranges: what they mark, in which order, and that they can be drawn."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest
import vl_convert as vlc

from worksprog.calc.charts_ranges import DriverBar, chance_chart, drivers_chart
from worksprog.calc.simulation import PERCENTS, Spread

EVEN = Spread(150.0, 29.0, tuple(100.0 + n for n in PERCENTS), 10_000)


def drawn(spec) -> str:
    svg = vlc.vegalite_to_svg({**spec, "width": 400})
    assert svg.startswith("<svg")
    return svg


def values(spec, layer: int) -> list[dict[str, Any]]:
    return spec["layer"][layer]["data"]["values"]


@pytest.mark.parametrize(("sign", "unit", "said"), [("£", "", "£180"), ("", "h", "180 h")])
def test_chance_marks_quantiles_and_the_likely_sum(sign, unit, said):
    spec = chance_chart(EVEN, base=140, unit=unit, sign=sign, title="By chance")
    assert [one["chance"] for one in values(spec, 2)] == list(PERCENTS)
    marked = {one["chance"]: one for one in values(spec, 3)}
    assert set(marked) == {10, 50, 80, 90}
    assert marked[80]["value"] == 180 and marked[80]["told"] == said
    assert values(spec, 1)[0]["words"] == "likely sum: 40% chance"
    svg = drawn(spec)
    assert f"P80  {said}" in svg.replace("\u00a0", " ") and "40% chance" in svg


def test_likely_sum_beyond_the_draws_is_still_on_the_chart():
    for base in (20.0, 400.0):
        spec = chance_chart(EVEN, base=base, unit="h")
        low, high = spec["layer"][0]["encoding"]["x"]["scale"]["domain"]
        assert low <= base <= high


def test_certain_figures_can_be_drawn():
    drawn(chance_chart(Spread(5.0, 0.0, (5.0,) * 99, 100), base=5, unit="h"))


def test_drivers_stand_in_their_order_whatever_they_are():
    bars = [
        DriverBar("hands of the crew", 0.5, True),
        DriverBar("price of stone", 0.25, False),
        DriverBar("weather of winter 2026/27", 0.0625, True),
        DriverBar("output of " + "a very long line " * 5, 0.03, False),
    ]
    spec = drivers_chart(bars, title="Drivers")
    assert [one["row"] for one in values(spec, 0)] == [0, 2]
    assert [one["row"] for one in values(spec, 1)] == [1, 3]
    assert spec["layer"][0]["encoding"]["y"]["scale"]["domain"] == [0, 1, 2, 3]
    assert spec["layer"][0]["mark"]["fill"] != spec["layer"][1]["mark"]["fill"]
    assert "strokeDash" in spec["layer"][1]["mark"], "apart without colour"
    told = values(spec, 2)
    assert [one["percent"] for one in told] == ["50%", "25%", "6.2%", "3.0%"]
    assert told[3]["words"].endswith("…") and told[3]["whole"] == bars[3].words
    svg = drawn(spec)
    down = [
        float(re.search(rf"translate\([\d.]+,([\d.]+)\)[^>]*>{bar.words[:9]}", svg)[1])
        for bar in bars
    ]
    assert down == sorted(set(down))
    json.dumps(spec)


def test_no_drivers_at_all():
    drawn(drivers_chart([]))
