"""Charts of what works give back: hours by year, and what moves the answer most."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from textwrap import wrap

from worksprog.calc.charts import MONO, PAPER, SANS, SCHEMA, Palette, Spec, chart_config
from worksprog.calc.worth.given_back import Swing
from worksprog.calc.worth.seasons import Compared

MOST_SWINGS = 10
LABEL_LETTERS = 18
LINE_PX = 13
ROOM = 0.4  # of the reach of the bars, kept free on either side for what stands at their ends
SHORT_FROM = 10_000
HEADROOM = 1.15


@dataclass(frozen=True)
class YearHours:
    """Hours given back in one year, with what is already in force told apart."""

    year: str
    low: float
    likely: float
    high: float
    standing: float = 0.0


def years_chart(
    years: Sequence[YearHours], *, palette: Palette = PAPER, width: int | None = None
) -> Spec:
    """A bar a year: filled what stands already, dashed what is still promised; a line low to high."""
    values = [
        {
            "year": one.year,
            "low": round(one.low, 1),
            "likely": round(one.likely, 1),
            "high": round(one.high, 1),
            "standing": round(one.standing, 1),
            "words": f"{one.likely:,.0f}",
        }
        for one in years
    ]
    x: Spec = {
        "field": "year",
        "type": "ordinal",
        "sort": None,
        "axis": {
            "title": None,
            "labelFont": MONO,
            "labelAngle": 0,
            "labelExpr": "[slice(datum.label, 0, 4), slice(datum.label, 4)]",
            "ticks": False,
        },
        "scale": {"paddingInner": 0.35, "paddingOuter": 0.4},
    }
    axis = {"title": "hours a year", "titleFont": SANS, "labelFont": MONO, "tickCount": 5}
    tips = [
        {"field": "year", "title": "year"},
        {"field": "low", "title": "low", "type": "quantitative", "format": ",.0f"},
        {"field": "likely", "title": "likely", "type": "quantitative", "format": ",.0f"},
        {"field": "high", "title": "high", "type": "quantitative", "format": ",.0f"},
        {"field": "standing", "title": "of works done", "type": "quantitative", "format": ",.0f"},
    ]
    return {
        "$schema": SCHEMA,
        "description": "Routine hours given back by year: likely as a bar, low to high as a line",
        "background": None,
        "width": width or "container",
        "height": 240,
        "data": {"values": values},
        "layer": [
            {
                "mark": {
                    "type": "bar",
                    "fill": palette.sheet,
                    "stroke": palette.ink,
                    "strokeWidth": 1.5,
                    "strokeDash": [4, 3],
                    "tooltip": True,
                },
                "encoding": {
                    "x": x,
                    "y": {"field": "likely", "type": "quantitative", "axis": axis},
                    "tooltip": tips,
                },
            },
            {
                "mark": {
                    "type": "bar",
                    "fill": palette.rule,
                    "stroke": palette.ink,
                    "strokeWidth": 1.5,
                },
                "encoding": {
                    "x": x,
                    "y": {"field": "standing", "type": "quantitative"},
                    "tooltip": tips,
                },
            },
            {
                "mark": {"type": "rule", "color": palette.ink, "strokeWidth": 1.5},
                "encoding": {
                    "x": x,
                    "y": {"field": "low", "type": "quantitative"},
                    "y2": {"field": "high"},
                },
            },
            {
                "mark": {
                    "type": "text",
                    "align": "left",
                    "dx": 5,
                    "dy": -8,
                    "font": MONO,
                    "fontSize": 11,
                    "fill": palette.ink,
                },
                "encoding": {
                    "x": x,
                    "y": {"field": "likely", "type": "quantitative"},
                    "text": {"field": "words"},
                },
            },
        ],
        "config": chart_config(palette),
    }


def setting_words(value: float, unit: str) -> str:
    """An assumption's value as it is written: hours, years, percent, or money by its sign."""
    if unit in ("years", "days") and value == 1:
        return f"1 {unit[:-1]}"
    if unit in ("h", "years", "days"):
        return f"{value:,.0f} {unit}"
    if unit == "%":
        return f"{value:g} %"
    return f"{unit}{value:,.2f}" if value < 100 else f"{unit}{value:,.0f}"


def _short_words(value: float, unit: str) -> str:
    """As ``setting_words``, for a phone: years and days by a letter, large money in thousands."""
    if unit in ("years", "days"):
        return f"{value:,.0f} {unit[0]}"
    if unit not in ("h", "%") and value >= SHORT_FROM:
        return f"{unit}{value / 1000:,.0f}k"
    return setting_words(value, unit)


def _in_lines(name: str) -> str:
    """A label in lines short enough for a phone, parted by strokes."""
    return "|".join(wrap(name, LABEL_LETTERS))


def swings_chart(
    swings: Sequence[Swing],
    *,
    likely: float,
    sign: str,
    palette: Palette = PAPER,
    width: int | None = None,
) -> Spec:
    """What moves the net present value most: a bar from its low to its high setting, ranked.

    The setting stands at each end of its bar, so that no colour has to be looked up.
    """
    shown = list(swings[:MOST_SWINGS])
    values = [
        {
            "name": _in_lines(one.name),
            "from": round(min(one.worth_at_low, one.worth_at_high), 2),
            "to": round(max(one.worth_at_low, one.worth_at_high), 2),
        }
        for one in shown
    ]
    ends: list[Spec] = []
    for one in shown:
        low_first = one.worth_at_low <= one.worth_at_high
        for value, setting, left in (
            (one.worth_at_low, one.low, low_first),
            (one.worth_at_high, one.high, not low_first),
        ):
            ends.append(
                {
                    "name": _in_lines(one.name),
                    "at": round(value, 2),
                    "words": _short_words(setting, one.unit),
                    "left": left,
                }
            )
    y: Spec = {
        "field": "name",
        "type": "nominal",
        "sort": [_in_lines(one.name) for one in shown],
        "axis": {
            "title": None,
            "labelFont": SANS,
            "labelExpr": "split(datum.label, '|')",
            "labelOffset": {
                "condition": {"test": "indexof(datum.label, '|') > 0", "value": -LINE_PX / 2},
                "value": 0,
            },
            "ticks": False,
        },
        "scale": {"paddingInner": 0.4},
    }
    reach = [end["at"] for end in ends] + [likely]
    room = ROOM * max(max(reach) - min(reach), 1.0)
    x: Spec = {
        "field": "from",
        "type": "quantitative",
        "scale": {"zero": False, "domain": [min(reach) - room, max(reach) + room], "nice": False},
        "axis": {
            "title": f"net present value, {sign}",
            "titleFont": SANS,
            "labelFont": MONO,
            "format": ",.0f",
            "tickCount": 4,
        },
    }
    at_x = {**x, "field": "at"}

    def words(left: bool) -> Spec:
        return {
            "data": {"values": [end for end in ends if end["left"] is left]},
            "mark": {
                "type": "text",
                "align": "right" if left else "left",
                "dx": -5 if left else 5,
                "font": MONO,
                "fontSize": 11,
                "fill": palette.soft,
            },
            "encoding": {"x": at_x, "y": y, "text": {"field": "words"}},
        }

    return {
        "$schema": SCHEMA,
        "description": "How the net present value moves with each assumption alone, largest first",
        "background": None,
        "width": width or "container",
        "height": {"step": 38},
        "layer": [
            {
                "data": {"values": values},
                "mark": {
                    "type": "bar",
                    "fill": palette.rule,
                    "stroke": palette.ink,
                    "strokeWidth": 1.5,
                    "tooltip": True,
                },
                "encoding": {"y": y, "x": x, "x2": {"field": "to"}},
            },
            {
                "data": {"values": [{"at": round(likely, 2)}]},
                "mark": {"type": "rule", "color": palette.accent, "strokeWidth": 2},
                "encoding": {"x": at_x},
            },
            words(True),
            words(False),
        ],
        "config": chart_config(palette),
    }


def seasons_chart(
    weeks: Sequence[Compared], *, palette: Palette = PAPER, width: int | None = None
) -> Spec:
    """Hours by week of the year: the seasons before dashed, those after solid, each named."""
    values = [
        {"week": one.week, "season": season, "hours": round(hours, 1)}
        for one in weeks
        for season, hours in (("before", one.before_h), ("after", one.after_h))
    ]
    tops = {
        season: max((row for row in values if row["season"] == season), key=_hours)
        for season in ("before", "after")
    }
    x: Spec = {
        "field": "week",
        "type": "quantitative",
        "scale": {"nice": False, "domain": [1, 53]},
        "axis": {
            "title": "week of the year",
            "titleFont": SANS,
            "labelFont": MONO,
            "tickCount": 12,
            "format": "d",
        },
    }
    highest = max(_hours(row) for row in tops.values())
    y: Spec = {
        "field": "hours",
        "type": "quantitative",
        "scale": {"domain": [0, max(HEADROOM * highest, 1.0)], "nice": False},
        "axis": {"title": "hours a week", "titleFont": SANS, "labelFont": MONO, "tickCount": 5},
    }
    scale = {"domain": ["before", "after"], "range": [palette.soft, palette.good]}
    colour: Spec = {"field": "season", "type": "nominal", "legend": None, "scale": scale}
    return {
        "$schema": SCHEMA,
        "description": "Hours of one kind of routine work by week of the year, before and after",
        "background": None,
        "width": width or "container",
        "height": 200,
        "layer": [
            {
                "data": {"values": values},
                "mark": {"type": "line", "strokeWidth": 2, "point": {"size": 14}, "tooltip": True},
                "encoding": {
                    "x": x,
                    "y": y,
                    "color": colour,
                    "strokeDash": {
                        "field": "season",
                        "type": "nominal",
                        "legend": None,
                        "scale": {"domain": ["before", "after"], "range": [[6, 3], [1, 0]]},
                    },
                },
            },
            {
                "data": {"values": list(tops.values())},
                "mark": {
                    "type": "text",
                    "dy": -10,
                    "font": SANS,
                    "fontSize": 12,
                    "fontWeight": 600,
                },
                "encoding": {"x": x, "y": y, "text": {"field": "season"}, "color": colour},
            },
        ],
        "config": chart_config(palette),
    }


def _hours(row: Spec) -> float:
    return float(row["hours"])
