"""Charts of rain: annual maxima with the law fitted to them, and depths by duration."""

from __future__ import annotations

from collections.abc import Sequence

from worksprog.calc.charts import MONO, PAPER, SANS, SCHEMA, Palette, Spec, chart_config
from worksprog.calc.rainfall.extremes import Band
from worksprog.calc.rainfall.table import reduced_variate

PERIODS_SHOWN = (2, 5, 10, 20, 30, 50, 100)


def fit_chart(
    points: Sequence[tuple[float, float]],
    band: Band,
    *,
    title: str,
    palette: Palette = PAPER,
) -> Spec:
    """Rings: the years at their plotting positions; full line: the law; dashed: its band."""
    last = band.return_years[-1]
    ticks = [years for years in PERIODS_SHOWN if years <= last]
    at = {round(reduced_variate(years), 4): years for years in ticks}
    says = " : ".join(
        f"abs(datum.value - {where}) < 0.01 ? '{years}'" for where, years in at.items()
    )
    x: Spec = {
        "field": "y",
        "type": "quantitative",
        "scale": {"domain": [-1.6, reduced_variate(last) + 0.1], "nice": False},
        "axis": {
            "title": "once in so many years",
            "values": list(at),
            "labelExpr": f"{says} : ''",
            "titleFont": SANS,
            "labelFont": MONO,
        },
    }
    y: Spec = {
        "type": "quantitative",
        "scale": {"zero": True},
        "axis": {"title": "depth, mm", "titleFont": SANS, "labelFont": MONO, "tickCount": 6},
    }
    curve = [
        {
            "y": reduced_variate(years),
            "years": years,
            "mm": round(depth, 2),
            "low": round(low, 2),
            "high": round(high, 2),
        }
        for years, depth, low, high in zip(
            band.return_years, band.depth_mm, band.low_mm, band.high_mm, strict=True
        )
    ]
    tips = [
        {"field": "years", "title": "once in years", "format": ".1f"},
        {"field": "mm", "title": "mm", "format": ".1f"},
    ]
    data: Spec = {"values": curve}

    def edge(field: str) -> Spec:
        return {
            "data": data,
            "mark": {"type": "line", "color": palette.ink, "strokeWidth": 1, "strokeDash": [5, 3]},
            "encoding": {"x": x, "y": {**y, "field": field}},
        }

    layers: list[Spec] = [
        {
            "data": data,
            "mark": {"type": "area", "color": palette.water, "opacity": 0.14},
            "encoding": {"x": x, "y": {**y, "field": "low"}, "y2": {"field": "high"}},
        },
        edge("low"),
        edge("high"),
        {
            "data": data,
            "mark": {"type": "line", "color": palette.water, "strokeWidth": 2, "tooltip": True},
            "encoding": {"x": x, "y": {**y, "field": "mm"}, "tooltip": tips},
        },
        {
            "data": {
                "values": [
                    {"y": reduced_variate(years), "years": years, "mm": value}
                    for years, value in points
                ]
            },
            "mark": {
                "type": "point",
                "shape": "circle",
                "size": 46,
                "filled": False,
                "color": palette.ink,
                "strokeWidth": 1.5,
                "tooltip": True,
            },
            "encoding": {"x": x, "y": {**y, "field": "mm"}, "tooltip": tips},
        },
    ]
    return {
        "$schema": SCHEMA,
        "description": title,
        "background": None,
        "width": "container",
        "height": 300,
        "layer": layers,
        "config": chart_config(palette),
    }
