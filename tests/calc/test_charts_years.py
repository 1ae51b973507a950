"""The chart of costs by year, read back from its drawing."""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise

import vl_convert

from worksprog.calc.charts_years import STACK, YearBar, years_chart
from worksprog.calc.cost_years import Parts


def _parts(base: str, more: str) -> Parts:
    part = Decimal(more)
    return Parts(
        base=Decimal(base), design_allowance=part, contingency=part, escalation=part, tax=part
    )


def test_a_bar_for_each_year_with_its_parts_one_above_the_other() -> None:
    bars = [
        YearBar("2026/27", _parts("1000.00", "100.50"), spent=650.0),
        YearBar("2027/28", Parts()),
        YearBar("2028/29", _parts("500.00", "0.00")),
    ]
    spec = years_chart(bars, sign="£")
    first = [
        value
        for layer in spec["layer"]
        for value in layer["data"]["values"]
        if value["year"] == "2026/27" and "from" in value
    ]
    assert [value["part"] for value in first] == [words for _, words in STACK]
    for below, above in pairwise(first):
        assert below["to"] == above["from"]
    assert first[-1]["to"] == float(bars[0].parts.cost) == 1402.0
    svg = vl_convert.vegalite_to_svg(spec, vl_version="6.4", allowed_base_urls=[])
    for words in ("2026/27", "2027/28", "£1,402", "£500", "2026/27, spent so far: £650.00"):
        assert words in svg
    assert "2026/27, contingency: £100.50" in svg


def test_no_years_is_no_bars() -> None:
    svg = vl_convert.vegalite_to_svg(years_chart([]), vl_version="6.4", allowed_base_urls=[])
    assert svg.startswith("<svg")
