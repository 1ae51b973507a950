"""Charts of learnt rates: the book, the crew's jobs and the next one; and whether ranges held."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from worksprog.calc.charts import MONO, PAPER, SANS, SCHEMA, Palette, Spec, chart_config

ROW_PX = 26
LONGEST = 230
TICKS = (
    0.1,
    0.2,
    0.3,
    0.4,
    0.5,
    0.6,
    0.8,
    1.0,
    1.25,
    1.5,
    2.0,
    2.5,
    3.0,
    4.0,
    5.0,
    7.0,
    10.0,
    20.0,
)


@dataclass(frozen=True)
class RangeRow:
    """One row: a range with its middle, or one job's figure; ``words`` say what the eye may miss."""

    label: str
    low: float | None = None
    middle: float | None = None
    high: float | None = None
    actual: float | None = None
    filled: bool = True
    heavy: bool = False
    words: str = ""


def range_chart(
    rows: Sequence[RangeRow],
    *,
    axis: str,
    mark: float,
    mark_words: str,
    palette: Palette = PAPER,
    width: int | None = None,
) -> Spec:
    """Ranges as bars with a tick in the middle, figures as dots; hollow where they do not count.

    Log scale: half and double are as far from 1. A dot outside its range is a diamond.
    """
    names = [row.label for row in rows]
    values: list[dict[str, Any]] = [
        {
            "row": place,
            "label": row.label,
            "low": row.low,
            "middle": row.middle,
            "high": row.high,
            "actual": row.actual,
            "heavy": row.heavy,
            "filled": row.filled,
            "inside": _inside(row),
            "words": row.words,
        }
        for place, row in enumerate(rows)
    ]
    y: Spec = {
        "field": "row",
        "type": "ordinal",
        "sort": None,
        "scale": {"domain": list(range(len(rows)))},
        "axis": {
            "title": None,
            "domain": False,
            "ticks": False,
            "labelExpr": f"{json.dumps(names, ensure_ascii=False)}[datum.value]",
            "labelLimit": LONGEST,
            "labelPadding": 8,
            "labelFont": SANS,
        },
    }
    figures = [value for row in rows for value in (row.low, row.high, row.actual) if value]
    low, high = min([*figures, mark]) * 0.95, max([*figures, mark]) * 1.05

    def x(field: str) -> Spec:
        return {
            "field": field,
            "type": "quantitative",
            "scale": {"type": "log", "domain": [low, high], "nice": False},
            "axis": {
                "title": axis,
                "labelFont": MONO,
                "format": ".2~f",
                "values": [tick for tick in TICKS if low <= tick <= high],
                "grid": True,
                "labelOverlap": True,
            },
        }

    tips = [
        {"field": "label", "title": "job"},
        {"field": "actual", "title": "took", "format": ".2f"},
        {"field": "low", "title": "1 in 10 below", "format": ".2f"},
        {"field": "middle", "title": "middle", "format": ".2f"},
        {"field": "high", "title": "1 in 10 above", "format": ".2f"},
        {"field": "words", "title": "note"},
    ]
    dots: Spec = {
        "type": "point",
        "size": 90,
        "strokeWidth": 1.8,
        "opacity": 1,
        "color": palette.accent,
    }
    layers: list[Spec] = [
        {
            "data": {"values": [{"at": mark, "words": mark_words}]},
            "mark": {"type": "rule", "strokeDash": [4, 3], "color": palette.soft},
            "encoding": {"x": {**x("at")}},
        },
        {
            "transform": [{"filter": "datum.low != null && !datum.heavy"}],
            "mark": {"type": "rule", "strokeWidth": 3, "color": palette.soft},
            "encoding": {"y": y, "x": x("low"), "x2": {"field": "high"}, "tooltip": tips},
        },
        {
            "transform": [{"filter": "datum.low != null && datum.heavy"}],
            "mark": {"type": "bar", "height": 10, "color": palette.ink},
            "encoding": {"y": y, "x": x("low"), "x2": {"field": "high"}, "tooltip": tips},
        },
        {
            "transform": [{"filter": "datum.middle != null"}],
            "mark": {"type": "tick", "thickness": 3, "size": 18, "color": palette.good},
            "encoding": {"y": y, "x": x("middle")},
        },
        {
            "transform": [{"filter": "datum.actual != null"}],
            "mark": dots,
            "encoding": {
                "y": y,
                "x": x("actual"),
                "shape": {
                    "condition": {"test": "datum.inside", "value": "circle"},
                    "value": "diamond",
                },
                "fill": {
                    "condition": {"test": "datum.filled", "value": palette.accent},
                    "value": palette.sheet,
                },
                "tooltip": tips,
            },
        },
    ]
    spec: Spec = {
        "$schema": SCHEMA,
        "background": None,
        "padding": {"left": 12, "top": 5, "right": 5, "bottom": 5},
        "data": {"values": values},
        "height": {"step": ROW_PX},
        "layer": layers,
        "config": chart_config(palette),
    }
    if width is not None:
        spec["width"] = width
    return spec


def _inside(row: RangeRow) -> bool:
    if row.actual is None or row.low is None or row.high is None:
        return True
    return row.low <= row.actual <= row.high
