"""Charts of simulated ranges: the chance that a sum suffices, and what drives its spread."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from worksprog.calc.charts import MONO, PAPER, SANS, SCHEMA, Palette, Spec, chart_config
from worksprog.calc.simulation import PERCENTS, Spread

MARKED = (10, 50, 80, 90)
DRIVER_ROW_PX = 40
LONGEST_DRIVER = 56


def chance_chart(
    spread: Spread,
    *,
    base: float,
    unit: str,
    sign: str = "",
    title: str = "",
    palette: Palette = PAPER,
) -> Spec:
    """Up the chance in per cent, along the sum that suffices by it.

    Full line: the draws. Dots: P10, P50, P80 and P90 with their figures. Dashed upright: the sum
    of the likely figures, with the chance that it suffices.
    """
    curve = [
        {"value": round(value, 2), "chance": percent, "told": _figure(value, sign, unit)}
        for percent, value in zip(PERCENTS, spread.quantiles, strict=True)
    ]
    low, high = spread.quantiles[0], spread.quantiles[-1]
    room = max(high - low, abs(high) * 0.02, 1.0)
    first, last = min(low, base) - 0.06 * room, max(high, base) + 0.24 * room
    x: Spec = {
        "field": "value",
        "type": "quantitative",
        "scale": {"domain": [max(first, 0.0), last], "nice": False, "zero": False},
        "axis": {
            "title": f"{'money' if sign else 'crew hours'} that suffices by this chance",
            "titleFont": SANS,
            "labelFont": MONO,
            "tickCount": 4,
            "labelExpr": f"'{sign}' + format(datum.value, ',.0f')",
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
    tips = [{"field": "chance", "title": "chance, %"}, {"field": "told", "title": "suffices"}]
    marked = [
        {
            "value": round(spread.within(percent / 100), 2),
            "chance": percent,
            "told": _figure(spread.within(percent / 100), sign, unit),
            "words": f"P{percent}  {_figure(spread.within(percent / 100), sign, unit)}",
        }
        for percent in MARKED
    ]
    enough = spread.chance_within(base)
    return {
        "$schema": SCHEMA,
        "description": title,
        "background": None,
        "width": "container",
        "height": 260,
        "layer": [
            {
                "data": {"values": [{"value": round(base, 2)}]},
                "mark": {
                    "type": "rule",
                    "color": palette.accent,
                    "strokeDash": [5, 4],
                    "strokeWidth": 1.5,
                },
                "encoding": {"x": x},
            },
            {
                "data": {
                    "values": [
                        {
                            "value": round(base, 2),
                            "chance": 3,
                            "words": f"likely sum: {enough:.0%} chance",
                        }
                    ]
                },
                "mark": {
                    "type": "text",
                    "align": "left" if base < (first + last) / 2 else "right",
                    "dx": 6 if base < (first + last) / 2 else -6,
                    "font": SANS,
                    "fontSize": 12,
                    "fill": palette.accent,
                },
                "encoding": {"x": x, "y": y, "text": {"field": "words"}},
            },
            {
                "data": {"values": curve},
                "mark": {
                    "type": "line",
                    "color": palette.ink,
                    "strokeWidth": 2,
                    "interpolate": "monotone",
                    "tooltip": True,
                },
                "encoding": {"x": x, "y": y, "tooltip": tips},
            },
            {
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
            },
            {
                "data": {"values": marked},
                "mark": {
                    "type": "text",
                    "align": "left",
                    "dx": 9,
                    "dy": 5,
                    "font": MONO,
                    "fontSize": 11,
                    "fill": palette.ink,
                },
                "encoding": {"x": x, "y": y, "text": {"field": "words"}},
            },
        ],
        "config": chart_config(palette),
    }


@dataclass(frozen=True)
class DriverBar:
    """A row of the ranking; ``is_cause``: moves many figures at once."""

    words: str
    share: float
    is_cause: bool


def drivers_chart(bars: Sequence[DriverBar], *, title: str = "", palette: Palette = PAPER) -> Spec:
    """A bar each, largest first, its name above it and its share behind it.

    Solid: a cause that moves many figures at once. Outlined: one figure's or one line's own.
    """
    most = max((bar.share for bar in bars), default=0.0) or 1.0
    values = [
        {
            "row": place,
            "share": bar.share,
            "words": _shortened(bar.words),
            "whole": bar.words,
            "percent": _percent(bar.share),
        }
        for place, bar in enumerate(bars)
    ]
    y: Spec = {
        "field": "row",
        "type": "ordinal",
        # Said outright: else the layers' rows would follow one another by layer.
        "scale": {"domain": list(range(len(bars)))},
        "axis": None,
    }
    x: Spec = {
        "field": "share",
        "type": "quantitative",
        "scale": {"domain": [0, most * 1.18], "nice": False},
        "axis": None,
    }
    tips = [{"field": "whole", "title": "what"}, {"field": "percent", "title": "share"}]

    def layer(is_cause: bool) -> Spec:
        some = [value for value, bar in zip(values, bars, strict=True) if bar.is_cause == is_cause]
        look = (
            {"fill": palette.ink, "stroke": palette.ink}
            if is_cause
            else {"fill": palette.sheet, "stroke": palette.ink, "strokeDash": [4, 2]}
        )
        return {
            "data": {"values": some},
            "mark": {
                "type": "bar",
                "height": 10,
                "yOffset": 8,
                "strokeWidth": 1.2,
                "tooltip": True,
                **look,
            },
            "encoding": {"y": y, "x": x, "tooltip": tips},
        }

    def text(field: str, at: Spec, **look: object) -> Spec:
        return {
            "data": {"values": values},
            "mark": {"type": "text", "align": "left", "fill": palette.ink, **look},
            "encoding": {"y": y, "x": at, "text": {"field": field}},
        }

    return {
        "$schema": SCHEMA,
        "description": title,
        "background": None,
        "width": "container",
        "height": DRIVER_ROW_PX * max(len(bars), 1),
        "layer": [
            layer(True),
            layer(False),
            text("words", {"value": 0}, dy=-7, font=SANS, fontSize=12.5),
            text("percent", x, dx=6, dy=8, font=MONO, fontSize=11),
        ],
        "config": {**chart_config(palette), "view": {"stroke": None}},
    }


def _figure(value: float, sign: str, unit: str) -> str:
    return f"{sign}{value:,.0f}" + (f" {unit}" if unit else "")


def _percent(share: float) -> str:
    return f"{share:.0%}" if share >= 0.1 else f"{share:.1%}"


def _shortened(words: str) -> str:
    return words if len(words) <= LONGEST_DRIVER else f"{words[: LONGEST_DRIVER - 1].rstrip()}…"
