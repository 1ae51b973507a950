"""Chart of what works cost by the club's financial year."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from worksprog.calc.charts import MONO, PAPER, SCHEMA, Palette, Spec, chart_config
from worksprog.calc.cost_years import Parts

# From the foot of the bar upwards; the keys are also those of the key beside the chart.
STACK = (
    ("base", "base"),
    ("design_allowance", "design allowance"),
    ("contingency", "contingency"),
    ("escalation", "escalation"),
    ("tax_kept", "tax kept"),
)


@dataclass(frozen=True)
class YearBar:
    name: str
    parts: Parts
    spent: float | None = None


def years_chart(
    bars: Sequence[YearBar], *, sign: str = "", palette: Palette = PAPER, title: str = ""
) -> Spec:
    """A bar a year. Solid base, grey design allowance, dashed contingency, pale escalation, dotted
    tax; above it the whole, across it a heavy line at what is spent so far.
    """
    styles: dict[str, Spec] = {
        "base": {"fill": palette.ink, "stroke": palette.ink},
        "design_allowance": {"fill": palette.soft, "stroke": palette.ink},
        "contingency": {"fill": palette.sheet, "stroke": palette.ink, "strokeDash": [5, 3]},
        "escalation": {"fill": palette.rule, "stroke": palette.ink},
        "tax_kept": {"fill": palette.sheet, "stroke": palette.soft, "strokeDash": [1, 3]},
    }
    x: Spec = {
        "field": "year",
        "type": "nominal",
        "sort": None,
        "scale": {"paddingInner": 0.35, "paddingOuter": 0.2},
        "axis": {
            "title": None,
            "labelAngle": 0,
            "labelFont": MONO,
            "labelFontSize": 11,
            "labelOverlap": False,
            "ticks": False,
        },
    }
    most = max((float(bar.parts.cost) for bar in bars), default=0.0)
    most = max(most, *(bar.spent or 0.0 for bar in bars), 1.0)
    y: Spec = {
        "type": "quantitative",
        "scale": {"domain": [0, most * 1.12], "nice": False},
        "axis": {
            "title": None,
            "labelFont": MONO,
            "tickCount": 5,
            "minExtent": 60,
            "labelExpr": f"'{sign}' + format(datum.value, ',.0f')",
        },
    }
    tips = [
        {"field": "year", "title": "year"},
        {"field": "part", "title": "part"},
        {"field": "money", "title": "money"},
        {"field": "whole", "title": "the year in all"},
    ]
    stacked: dict[str, list[Spec]] = {key: [] for key, _ in STACK}
    tops: list[Spec] = []
    for bar in bars:
        foot = 0.0
        whole = f"{sign}{bar.parts.cost:,.2f}"
        for key, words in STACK:
            amount = getattr(bar.parts, key)
            if amount > 0:
                money = f"{sign}{amount:,.2f}"
                stacked[key].append(
                    {
                        "year": bar.name,
                        "from": foot,
                        "to": foot + float(amount),
                        "part": words,
                        "money": money,
                        "whole": whole,
                        "said": f"{bar.name}, {words}: {money}",
                    }
                )
            foot += float(amount)
        tops.append(
            {"year": bar.name, "to": max(foot, 0.0), "words": f"{sign}{bar.parts.cost:,.0f}"}
        )
    layers: list[Spec] = [
        {
            "data": {"values": stacked[key]},
            "mark": {"type": "bar", "strokeWidth": 1, "tooltip": True, **styles[key]},
            "encoding": {
                "x": x,
                "y": {**y, "field": "from"},
                "y2": {"field": "to"},
                "tooltip": tips,
                "description": {"field": "said"},
            },
        }
        for key, _ in STACK
        if stacked[key]
    ]
    layers.append(
        {
            "data": {"values": tops},
            "mark": {
                "type": "text",
                "dy": -8,
                "font": MONO,
                "fontSize": 11,
                "fill": palette.ink,
                "aria": False,
            },
            "encoding": {"x": x, "y": {**y, "field": "to"}, "text": {"field": "words"}},
        }
    )
    spent = [
        {
            "year": bar.name,
            "to": bar.spent,
            "part": "spent so far",
            "money": f"{sign}{bar.spent:,.2f}",
            "said": f"{bar.name}, spent so far: {sign}{bar.spent:,.2f}",
        }
        for bar in bars
        if bar.spent
    ]
    if spent:
        at: Spec = {"x": x, "y": {**y, "field": "to"}}
        layers.append(
            {
                "data": {"values": spent},
                "mark": {"type": "tick", "thickness": 8, "color": palette.sheet, "aria": False},
                "encoding": at,
            }
        )
        layers.append(
            {
                "data": {"values": spent},
                "mark": {"type": "tick", "thickness": 4, "color": palette.accent, "tooltip": True},
                "encoding": {**at, "tooltip": tips[:3], "description": {"field": "said"}},
            }
        )
    return {
        "$schema": SCHEMA,
        "description": title or "What the works cost by financial year",
        "background": None,
        "width": "container",
        "height": 280,
        "layer": layers,
        "config": chart_config(palette),
    }
