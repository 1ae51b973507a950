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
ROOM = 0.88  # share of the width beyond which a name no longer fits after its line
LONG_D = 550  # days from which every third month is named


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
    long = bool(points) and (points[-1].on - points[0].on).days > LONG_D
    colours = [palette.soft, palette.good, palette.accent]
    x: Spec = {
        "field": "on",
        "type": "temporal",
        "timeUnit": "utcyearmonthdate",
        "scale": {"type": "utc", "nice": False},
        "axis": {
            "title": None,
            "format": "%b %y",
            "tickCount": {"interval": "month", "step": 3 if long else 1},
            "labelFont": MONO,
            "labelOverlap": True,
        },
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
        *(
            {
                "data": {"values": [end]},
                "mark": {
                    "type": "text",
                    "font": SANS,
                    "fontSize": 12,
                    "fontWeight": 600,
                    **_beside(end, ends, points),
                },
                "encoding": {"x": x, "y": y, "text": {"field": "line"}, "color": colour},
            }
            for end in ends.values()
        ),
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


def _beside(end: Spec, ends: dict[str, Spec], points: Sequence[CurveValue]) -> Spec:
    """Where a line's name stands: after its end where there is room, clear of the others."""
    first, last = points[0].on, points[-1].on
    gone = (dt.date.fromisoformat(end["on"]) - first).days
    has_room = gone < ROOM * (last - first).days
    place: Spec = {"align": "left", "dx": 6} if has_room else {"align": "right", "dx": -4}
    if end["line"] == "planned":
        return {**place, "dy": 14}
    other = ends["actual" if end["line"] == "earned" else "earned"]
    is_lower = (end["value"], end["line"]) < (other["value"], other["line"])
    return {**place, "dy": 8 if is_lower else -8}
