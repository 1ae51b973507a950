"""The S-curve of planned, earned and actual as a Vega-Lite specification."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from worksprog.calc.charts import MONO, PAPER, SANS, SCHEMA, Palette, Spec, chart_config


@dataclass(frozen=True)
class CurveValue:
    """Cumulative figures at the end of a day; earned and actual are None in days to come."""

    on: dt.date
    planned: float
    earned: float | None = None
    actual: float | None = None


LINES = ("planned", "earned", "actual")


def s_curve_chart(
    points: Sequence[CurveValue],
    *,
    today: dt.date,
    unit: str,
    palette: Palette = PAPER,
    width: int | None = None,
    height: int = 280,
) -> Spec:
    """Three lines told apart by how they are drawn: planned dashed, earned solid, actual dotted.

    Each line has its name at its end, so that no colour has to be looked up.
    """
    values = [
        {"on": point.on.isoformat(), "line": line, "value": round(value, 2)}
        for point in points
        for line in LINES
        if (value := getattr(point, line)) is not None
    ]
    ends = {value["line"]: value for value in values}
    colours = [palette.soft, palette.good, palette.accent]
    x: Spec = {
        "field": "on",
        "type": "temporal",
        "timeUnit": "utcyearmonthdate",
        "scale": {"type": "utc", "nice": False},
        "axis": {"title": None, "format": "%b %y", "labelFont": MONO, "labelOverlap": True},
    }
    y: Spec = {
        "field": "value",
        "type": "quantitative",
        "axis": {"title": unit, "titleFont": SANS, "labelFont": MONO, "format": ",.0f"},
    }
    colour: Spec = {
        "field": "line",
        "type": "nominal",
        "legend": None,
        "scale": {"domain": list(LINES), "range": colours},
    }
    tips = [
        {"field": "on", "type": "temporal", "timeUnit": "utcyearmonthdate", "title": "day"},
        {"field": "line", "title": "line"},
        {"field": "value", "type": "quantitative", "format": ",.0f", "title": unit},
    ]
    layers: list[Spec] = [
        {
            "mark": {"type": "line", "strokeWidth": 2, "tooltip": True},
            "encoding": {
                "x": x,
                "y": y,
                "color": colour,
                "strokeDash": {
                    "field": "line",
                    "type": "nominal",
                    "legend": None,
                    "scale": {"domain": list(LINES), "range": [[6, 3], [1, 0], [2, 3]]},
                },
                "tooltip": tips,
            },
        },
        {
            "data": {"values": _apart(list(ends.values()))},
            "mark": {
                "type": "text",
                "align": "right",
                "dx": -4,
                "font": SANS,
                "fontSize": 12,
                "fontWeight": 600,
            },
            "encoding": {
                "x": x,
                "y": y,
                "yOffset": {"field": "shift", "type": "quantitative", "scale": None},
                "text": {"field": "line"},
                "color": colour,
            },
        },
        {
            "data": {"values": [{"on": today.isoformat()}]},
            "mark": {"type": "rule", "color": palette.accent, "strokeWidth": 1.5},
            "encoding": {"x": x},
        },
    ]
    return {
        "$schema": SCHEMA,
        "description": f"Planned, earned and actual, cumulative, in {unit}",
        "background": None,
        "width": width or "container",
        "height": height,
        "data": {"values": values},
        "layer": layers,
        "config": chart_config(palette),
    }


def _apart(ends: Sequence[Spec]) -> list[Spec]:
    """Names above their line's end, but below it for the lower of earned and actual."""
    told = {end["line"]: end["value"] for end in ends}
    low = min(("earned", "actual"), key=lambda line: told.get(line, 0.0))
    return [{**end, "shift": 12 if end["line"] == low else -10} for end in ends]
