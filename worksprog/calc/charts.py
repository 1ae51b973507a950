"""Charts as Vega-Lite specifications: plain dicts from pure functions, the same for page and paper.

State is told by outline, fill and hatching, and by words beside the bar; never by colour alone.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

Spec = dict[str, Any]
Span = tuple[dt.date, dt.date]

SCHEMA = "https://vega.github.io/schema/vega-lite/v6.json"
SANS = "IBM Plex Sans"
MONO = "IBM Plex Mono"


@dataclass(frozen=True)
class Palette:
    """The colours of the survey sheet, light scheme; a page may put its own in their place."""

    sheet: str = "#fbf9f3"
    ink: str = "#1a2320"
    soft: str = "#59645d"
    rule: str = "#cdc5b2"
    hairline: str = "#e2dccd"
    accent: str = "#7b2d43"
    good: str = "#2f6b4f"
    water: str = "#1d6a86"


PAPER = Palette()

ROW_PX = 24
BAR_PX = 12
HATCHES_ACROSS = 160
LONGEST_LABEL = 34
LONG_SPAN_D = 800
NOTE_TURNS_AT = 0.7
WINTER_LABELS = (
    "utcmonth(datum.value) == 9 ? 'winter ' + utcFormat(datum.value, '%y') + '/' + "
    "utcFormat(time(datum.value) + 31536000000, '%y') : utcFormat(datum.value, '%b %y')"
)


@dataclass(frozen=True)
class Bar:
    """One row of the chart of the winters.

    state     proposed, on_site, growing_in or done
    finish    day after the last day of work; ``in_play`` the day it is played on again
    closed    days on which its kind of work is closed
    baseline  dates it had in the baseline
    note      words beside the bar
    heading   a project's row: drawn as a thin span, in bold
    """

    label: str
    start: dt.date | None = None
    finish: dt.date | None = None
    in_play: dt.date | None = None
    state: str = "proposed"
    closed: Sequence[Span] = ()
    baseline: Span | None = None
    note: str = ""
    critical: bool = False
    heading: bool = False


@dataclass(frozen=True)
class WeekHours:
    monday: dt.date
    crew_h: float
    routine_h: float
    left_h: float
    planned_h: float = 0.0


STATE_WORDS = {
    "proposed": "proposed",
    "on_site": "on site",
    "growing_in": "growing in",
    "done": "done",
}


def winters_chart(
    bars: Sequence[Bar],
    *,
    first: dt.date,
    last: dt.date,
    today: dt.date,
    palette: Palette = PAPER,
    title: str = "",
    width: int | None = None,
    today_words: str = "today,",
) -> Spec:
    """The chart of the winters from ``first`` to ``last``: a bar a job, closed days shaded.

    Dashed outline proposed, solid ink on site, hatched growing in, filled pale done. A thin line
    below a bar is its baseline; the rule down the chart is today.
    """
    rows = _Rows(bars, first, last)
    y: Spec = {
        "field": "row",
        "type": "ordinal",
        "sort": None,
        "scale": {"domain": list(range(len(bars)))},
        "axis": {
            "title": None,
            "domain": False,
            "ticks": False,
            "labelExpr": rows.label_expression(),
            "labelLimit": 260,
            "labelPadding": 8,
            "labelFont": SANS,
            "labelFontWeight": {
                "condition": {"test": rows.heading_test(), "value": 600},
                "value": 400,
            },
        },
    }
    x_axis: Spec = {
        "title": None,
        "orient": "top",
        "labelExpr": WINTER_LABELS,
        "values": _quarters(first, last),
        "grid": True,
        "labelFlush": True,
        "labelFont": MONO,
    }
    from_: Spec = {"field": "from", "type": "temporal", "scale": {"nice": False, "type": "utc"}}
    tips = [
        {"field": "label", "title": "job"},
        {"field": "words", "title": "state"},
        {"field": "dates", "title": "work"},
        {"field": "play", "title": "in play"},
        {"field": "note", "title": "note"},
    ]
    said = {"field": "said"}
    bar: Spec = {"type": "bar", "height": BAR_PX, "tooltip": True}
    span: Spec = {"x": {**from_, "axis": x_axis}, "x2": {"field": "to"}, "y": y}

    def layer(values: list[Spec], mark: Spec, **encoding: Any) -> Spec:
        return {
            "data": {"values": values},
            "mark": mark,
            "encoding": {**span, **encoding},
        }

    pen = {"condition": {"test": "datum.critical", "value": palette.accent}, "value": palette.ink}
    heavy = {"condition": {"test": "datum.critical", "value": 2.75}, "value": 1.5}
    layers = [
        layer(
            rows.closed,
            {"type": "bar", "height": ROW_PX - 1, "fill": palette.hairline, "aria": False},
        ),
        layer(
            rows.growing,
            {**bar, "fill": palette.sheet, "stroke": palette.good, "strokeWidth": 1},
            tooltip=tips,
            description=said,
        ),
        layer(
            rows.of("proposed"),
            {**bar, "fill": palette.sheet, "strokeDash": [4, 2]},
            stroke=pen,
            strokeWidth=heavy,
            tooltip=tips,
            description=said,
        ),
        layer(
            rows.of("on_site"),
            {**bar, "strokeWidth": 1.5},
            fill=pen,
            stroke=pen,
            tooltip=tips,
            description=said,
        ),
        layer(
            rows.of("done"),
            {**bar, "fill": palette.rule, "stroke": palette.ink, "strokeWidth": 1},
            tooltip=tips,
            description=said,
        ),
        layer(
            rows.of("growing_in"),
            {**bar, "fill": palette.sheet, "stroke": palette.good, "strokeWidth": 1.5},
            tooltip=tips,
            description=said,
        ),
        layer(
            rows.headings,
            {"type": "bar", "height": 4, "fill": palette.ink, "aria": False},
        ),
        layer(
            rows.baselines,
            {"type": "bar", "height": 2, "yOffset": 10, "fill": palette.soft, "aria": False},
        ),
        {
            "data": {"values": rows.hatches},
            "mark": {
                "type": "tick",
                "height": BAR_PX,
                "thickness": 1.5,
                "color": palette.good,
                "aria": False,
            },
            "encoding": {"x": from_, "y": y},
        },
        _notes(rows.notes, from_, y, palette, align="left", away_px=6),
        _notes(rows.notes_before, from_, y, palette, align="right", away_px=-6),
    ]
    if first <= today <= last:
        now = [{"from": _day(today), "words": f"{today_words} {today.day} {today:%b %Y}"}]
        layers += [
            {
                "data": {"values": now},
                "mark": {"type": "rule", "color": palette.accent, "strokeWidth": 2},
                "encoding": {"x": from_},
            },
            {
                "data": {"values": now},
                "mark": {
                    "type": "text",
                    "align": "left",
                    "baseline": "top",
                    "dy": 4,
                    "font": SANS,
                    "fontSize": 11,
                    "fontWeight": 600,
                    "fill": palette.accent,
                },
                "encoding": {
                    "x": from_,
                    "y": {"value": len(bars) * ROW_PX},
                    "text": {"field": "words"},
                },
            },
        ]
    # The days shown are said once, by a layer without a second end: said twice, or with one, they
    # are taken for a conflict.
    edges = {
        "data": {"values": [{"from": _day(first)}, {"from": _day(last)}]},
        "mark": {"type": "rule", "color": palette.ink, "aria": False},
        "encoding": {
            "x": {**from_, "scale": {**from_["scale"], "domain": [_day(first), _day(last)]}}
        },
    }
    layers = [*(layer for layer in layers if layer["data"]["values"]), edges]
    return {
        "$schema": SCHEMA,
        "description": title or "Chart of the winters: when each job is worked",
        "background": None,
        "width": width or "container",
        "height": {"step": ROW_PX},
        "layer": layers,
        "config": chart_config(palette),
    }


def crew_hours_chart(
    weeks: Sequence[WeekHours],
    *,
    today: dt.date | None = None,
    palette: Palette = PAPER,
    width: int | None = None,
    height: int = 170,
) -> Spec:
    """Hours by week: left for works as an outlined step, planned as filled bars within it."""
    values = [
        {
            "week": _day(week.monday),
            "next": _day(week.monday + dt.timedelta(days=7)),
            "left": round(week.left_h, 1),
            "planned": round(week.planned_h, 1),
            "crew": round(week.crew_h, 1),
            "routine": round(week.routine_h, 1),
            "name": f"week of {week.monday.day} {week.monday:%b %Y}",
        }
        for week in weeks
    ]
    x: Spec = {
        "field": "week",
        "type": "temporal",
        "scale": {"type": "utc", "nice": False},
        "axis": {
            "title": None,
            "format": "%b %y",
            "tickCount": {"interval": "month", "step": 3},
            "labelFont": MONO,
        },
    }
    axis = {"title": "crew hours a week", "titleFont": SANS, "labelFont": MONO, "tickCount": 4}
    most = max((max(week.left_h, week.planned_h) for week in weeks), default=0.0)
    scale = {"domain": [0, most * 1.1 or 1.0]}
    tips = [
        {"field": "name", "title": "week"},
        {"field": "crew", "title": "crew hours"},
        {"field": "routine", "title": "routine work"},
        {"field": "left", "title": "left for works"},
        {"field": "planned", "title": "planned"},
    ]
    layers: list[Spec] = [
        {
            "mark": {"type": "bar", "fill": palette.ink, "tooltip": True},
            "encoding": {
                "x": x,
                "x2": {"field": "next"},
                "y": {
                    "field": "planned",
                    "type": "quantitative",
                    "axis": axis,
                    "scale": scale,
                },
                "y2": {"datum": 0},
                "tooltip": tips,
            },
        },
        {
            "mark": {
                "type": "line",
                "interpolate": "step-after",
                "color": palette.water,
                "strokeWidth": 1.5,
                "strokeDash": [5, 2],
            },
            "encoding": {"x": x, "y": {"field": "left", "type": "quantitative"}},
        },
    ]
    if today is not None:
        layers.append(
            {
                "data": {"values": [{"week": _day(today)}]},
                "mark": {"type": "rule", "color": palette.accent, "strokeWidth": 2},
                "encoding": {"x": x},
            }
        )
    return {
        "$schema": SCHEMA,
        "description": "Crew hours by week: left for works and planned",
        "background": None,
        "width": width or "container",
        "height": height,
        "data": {"values": values},
        "layer": layers,
        "config": chart_config(palette),
    }


def crew_year_chart(
    weeks: Sequence[tuple[int, float, float]], *, palette: Palette = PAPER, width: int | None = None
) -> Spec:
    """The usual year: crew hours by week, routine work filled, what is left for works outlined.

    weeks   (week of the year, crew hours, routine hours)
    """
    values = [
        {"week": week, "crew": crew, "routine": min(routine, crew), "left": max(crew - routine, 0)}
        for week, crew, routine in weeks
    ]
    tips = [
        {"field": "week", "title": "week of the year"},
        {"field": "crew", "title": "crew hours"},
        {"field": "routine", "title": "routine work"},
        {"field": "left", "title": "left for works"},
    ]
    x: Spec = {
        "field": "week",
        "type": "ordinal",
        "axis": {
            "title": "week of the year",
            "titleFont": SANS,
            "labelFont": MONO,
            "labelAngle": 0,
            "labelExpr": "datum.value % 4 == 1 ? datum.label : ''",
            "ticks": False,
        },
        "scale": {"paddingInner": 0.15},
    }
    axis = {"title": "hours a week", "titleFont": SANS, "labelFont": MONO, "tickCount": 5}
    return {
        "$schema": SCHEMA,
        "description": "Crew hours of the usual year by week: routine work and what is left",
        "background": None,
        "width": width or "container",
        "height": 200,
        "data": {"values": values},
        "layer": [
            {
                "mark": {
                    "type": "bar",
                    "fill": palette.sheet,
                    "stroke": palette.ink,
                    "strokeWidth": 1,
                    "tooltip": True,
                },
                "encoding": {
                    "x": x,
                    "y": {"field": "crew", "type": "quantitative", "axis": axis},
                    "tooltip": tips,
                },
            },
            {
                "mark": {"type": "bar", "fill": palette.rule, "stroke": palette.soft},
                "encoding": {
                    "x": x,
                    "y": {"field": "routine", "type": "quantitative"},
                    "tooltip": tips,
                },
            },
        ],
        "config": chart_config(palette),
    }


def closed_spans(open_days: Sequence[bool], first: dt.date) -> list[Span]:
    """Stretches of days that are not open, as (first closed day, next open day)."""
    spans: list[Span] = []
    begun: int | None = None
    for place, is_open in enumerate([*open_days, True]):
        if not is_open and begun is None:
            begun = place
        elif is_open and begun is not None:
            spans.append((first + dt.timedelta(days=begun), first + dt.timedelta(days=place)))
            begun = None
    return spans


def _quarters(first: dt.date, last: dt.date) -> list[Spec]:
    """Firsts of October and April, and of January and July when there is room for them."""
    months = (1, 4, 7, 10) if (last - first).days < LONG_SPAN_D else (4, 10)
    days = [
        dt.date(year, month, 1) for year in range(first.year, last.year + 1) for month in months
    ]
    return [
        {"year": day.year, "month": day.month, "date": 1, "utc": True}
        for day in days
        if first <= day <= last
    ]


def _notes(
    values: list[Spec], x: Spec, y: Spec, palette: Palette, *, align: str, away_px: int
) -> Spec:
    return {
        "data": {"values": values},
        "mark": {
            "type": "text",
            "align": align,
            "dx": away_px,
            "font": SANS,
            "fontSize": 11,
            "fill": palette.soft,
            "aria": False,
        },
        "encoding": {"x": x, "y": y, "text": {"field": "note"}},
    }


@dataclass
class _Rows:
    """The values of every layer, cut to the days shown."""

    bars: Sequence[Bar]
    first: dt.date
    last: dt.date
    closed: list[Spec] = field(default_factory=list)
    growing: list[Spec] = field(default_factory=list)
    hatches: list[Spec] = field(default_factory=list)
    headings: list[Spec] = field(default_factory=list)
    baselines: list[Spec] = field(default_factory=list)
    notes: list[Spec] = field(default_factory=list)
    notes_before: list[Spec] = field(default_factory=list)
    work: list[Spec] = field(default_factory=list)

    def __post_init__(self) -> None:
        for row, bar in enumerate(self.bars):
            self._add(row, bar)

    def of(self, state: str) -> list[Spec]:
        return [value for value in self.work if value["state"] == state]

    def label_expression(self) -> str:
        labels = [
            _short(bar.label) if bar.heading else f"  {_short(bar.label)}" for bar in self.bars
        ]
        return f"{_js_list(labels)}[datum.value]"

    def heading_test(self) -> str:
        flags = ",".join("1" if bar.heading else "0" for bar in self.bars)
        return f"[{flags}][datum.value] == 1"

    def _cut(self, row: int, start: dt.date, end: dt.date) -> Spec | None:
        start, end = max(start, self.first), min(end, self.last)
        if start >= end:
            return None
        return {"row": row, "from": _day(start), "to": _day(end)}

    def _add(self, row: int, bar: Bar) -> None:
        for start, end in bar.closed:
            if (cut := self._cut(row, start, end)) is not None:
                self.closed.append(cut)
        if bar.baseline and (cut := self._cut(row, *bar.baseline)) is not None:
            self.baselines.append(cut)
        if bar.start is None or bar.finish is None:
            if bar.note:
                self.notes.append({"row": row, "from": _day(self.first), "note": bar.note})
            return
        cut = self._cut(row, bar.start, max(bar.finish, bar.start + dt.timedelta(days=1)))
        if bar.heading:
            if cut is not None:
                self.headings.append(cut)
            return
        tip = {
            "label": bar.label,
            "state": bar.state,
            "words": STATE_WORDS[bar.state],
            "critical": bar.critical,
            "dates": f"{_words(bar.start)} to {_words(bar.finish - dt.timedelta(days=1))}",
            "play": _words(bar.in_play or bar.finish),
            "note": bar.note,
        }
        tip["said"] = ", ".join(
            str(tip[name]) for name in ("label", "words", "dates", "note") if tip[name]
        )
        if cut is not None:
            self.work.append({**cut, **tip})
            if bar.state == "growing_in":
                self._hatch(row, bar.start, bar.finish)
        end = bar.finish
        if bar.in_play and bar.in_play > bar.finish:
            end = bar.in_play
            grown = self._cut(row, bar.finish, bar.in_play)
            if grown is not None:
                self.growing.append({**grown, **tip})
                self._hatch(row, bar.finish, bar.in_play)
        if not bar.note or cut is None:
            return
        turns_at = self.first + (self.last - self.first) * NOTE_TURNS_AT
        if end < turns_at:
            self.notes.append({"row": row, "from": _day(end), "note": bar.note})
        else:
            self.notes_before.append({"row": row, "from": cut["from"], "note": bar.note})

    def _hatch(self, row: int, start: dt.date, end: dt.date) -> None:
        every = max((self.last - self.first).days // HATCHES_ACROSS, 2)
        day = max(start, self.first) + dt.timedelta(days=every // 2)
        while day < min(end, self.last):
            self.hatches.append({"row": row, "from": _day(day)})
            day += dt.timedelta(days=every)


def chart_config(palette: Palette) -> Spec:
    return {
        "font": SANS,
        "view": {"stroke": palette.ink, "strokeWidth": 1.5},
        "axis": {
            "labelColor": palette.ink,
            "titleColor": palette.soft,
            "titleFontWeight": 400,
            "gridColor": palette.rule,
            "domainColor": palette.ink,
            "tickColor": palette.ink,
            "labelFontSize": 12,
        },
    }


def _day(day: dt.date) -> str:
    return day.isoformat()


def _words(day: dt.date) -> str:
    return f"{day.day} {day:%b %Y}"


def _short(text: str) -> str:
    return text if len(text) <= LONGEST_LABEL else f"{text[: LONGEST_LABEL - 1].rstrip()}…"


def _js_list(words: Sequence[str]) -> str:
    quoted = (word.replace("\\", "\\\\").replace("'", "\\'") for word in words)
    return "[" + ",".join(f"'{word}'" for word in quoted) + "]"
