"""Chart of a finish by chance."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from worksprog.calc.charts import MONO, PAPER, SANS, SCHEMA, Palette, Spec, chart_config

MARKED = (10, 50, 80, 90)


def finish_chart(
    by_percent: Sequence[dt.date | None],
    *,
    planned: dt.date | None,
    title: str = "",
    palette: Palette = PAPER,
) -> Spec:
    """Up the chance in per cent, along the day by whose end it is finished.

    Full line: the futures. Dots: P10, P50, P80 and P90. Dashed upright: the day of the plan.
    ``by_percent`` holds the days of 1, 2, … 99 per cent, None beyond the last day followed.
    """
    curve = [
        {"day": day.isoformat(), "chance": percent, "told": f"{day:%-d %b %Y}"}
        for percent, day in enumerate(by_percent, start=1)
        if day is not None
    ]
    marked = [
        one | {"words": f"P{one['chance']}  {one['told']}"}
        for one in curve
        if one["chance"] in MARKED
    ]
    x: Spec = {
        "field": "day",
        "type": "temporal",
        "scale": {"nice": True, "padding": 30},
        "axis": {
            "title": "finished by the end of",
            "titleFont": SANS,
            "labelFont": MONO,
            "tickCount": 4,
            "format": "%d %b %Y",
            "labelOverlap": True,
        },
    }
    y: Spec = {
        "field": "chance",
        "type": "quantitative",
        "scale": {"domain": [0, 100]},
        "axis": {
            "title": "chance, %",
            "titleFont": SANS,
            "labelFont": MONO,
            "values": [0, 20, 40, 60, 80, 100],
        },
    }
    tips = [{"field": "chance", "title": "chance, %"}, {"field": "told", "title": "finished by"}]
    line: Spec = {
        "data": {"values": curve},
        "mark": {"type": "line", "color": palette.ink, "strokeWidth": 2, "tooltip": True},
        "encoding": {"x": x, "y": y, "tooltip": tips},
    }
    dots: Spec = {
        "data": {"values": marked},
        "mark": {
            "type": "point",
            "shape": "circle",
            "filled": True,
            "size": 60,
            "color": palette.ink,
            "opacity": 1,
            "tooltip": True,
        },
        "encoding": {"x": x, "y": y, "tooltip": tips},
    }
    words: Spec = {
        "data": {"values": marked},
        "mark": {
            "type": "text",
            "align": "right",
            "dx": -9,
            "dy": -4,
            "font": MONO,
            "fontSize": 11,
            "fill": palette.ink,
        },
        "encoding": {"x": x, "y": y, "text": {"field": "words"}},
    }
    layers = [line, dots, words]
    if planned is not None:
        layers.insert(
            0,
            {
                "data": {"values": [{"day": planned.isoformat()}]},
                "mark": {
                    "type": "rule",
                    "color": palette.accent,
                    "strokeDash": [5, 4],
                    "strokeWidth": 1.5,
                },
                "encoding": {"x": x},
            },
        )
    return {
        "$schema": SCHEMA,
        "description": title,
        "background": None,
        "width": "container",
        "height": 260,
        "layer": layers,
        "config": chart_config(palette),
    }
