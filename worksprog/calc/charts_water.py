"""Charts of water through time: rain, hydrographs, a pond's level. Lines are told by their dashes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from worksprog.calc.charts import MONO, PAPER, SANS, SCHEMA, Palette, Spec, chart_config

DASHES = ([1, 0], [6, 3], [2, 2], [10, 3, 2, 3], [12, 4], [1, 4], [8, 2, 2, 2, 2, 2], [4, 6])


def _time_axis(last_h: float) -> Spec:
    return {
        "field": "h",
        "type": "quantitative",
        "scale": {"domain": [0, last_h], "nice": False},
        "axis": {"title": "hours from the start of the rain", "titleFont": SANS, "labelFont": MONO},
    }


def _value_axis(title: str) -> Spec:
    return {"title": title, "titleFont": SANS, "labelFont": MONO, "tickCount": 5}


def _sheet(description: str, height: int, layers: list[Spec], palette: Palette) -> Spec:
    config = chart_config(palette)
    config["legend"] = {"labelFont": SANS, "labelColor": palette.ink, "labelFontSize": 12}
    return {
        "$schema": SCHEMA,
        "description": description,
        "background": None,
        "width": "container",
        "height": height,
        "layer": layers,
        "config": config,
    }


def rain_chart(at_h: Sequence[float], mm_h: Sequence[float], *, palette: Palette = PAPER) -> Spec:
    """Intensity of the rain, as filled steps."""
    values: list[dict[str, float]] = []
    for begin, end, value in zip([0.0, *at_h[:-1]], at_h, mm_h, strict=True):
        if values and values[-1]["to"] == begin and abs(values[-1]["mm_h"] - value) < 1e-6:
            values[-1]["to"] = end
        elif value > 0:
            values.append({"h": begin, "to": end, "mm_h": value})
    bar: Spec = {
        "data": {"values": values},
        "mark": {"type": "bar", "fill": palette.water, "tooltip": True},
        "encoding": {
            "x": _time_axis(at_h[-1]),
            "x2": {"field": "to"},
            "y": {"field": "mm_h", "type": "quantitative", "axis": _value_axis("rain, mm/h")},
            "y2": {"datum": 0},
            "tooltip": [
                {"field": "h", "title": "from hour", "format": ".2f"},
                {"field": "mm_h", "title": "mm/h", "format": ".1f"},
            ],
        },
    }
    return _sheet("Rain by time", 90, [bar], palette)


def hydrograph_chart(
    at_h: Sequence[float],
    flows_m3s: Mapping[str, Sequence[float]],
    *,
    palette: Palette = PAPER,
    title: str = "Flow by time",
) -> Spec:
    """Flows in l/s, one line for each name."""
    values = [
        {"h": hour, "flow": round(flow * 1000, 3), "name": name}
        for name, flows in flows_m3s.items()
        for hour, flow in zip(at_h, flows, strict=True)
    ]
    names = list(flows_m3s)
    colours = [palette.ink, palette.water, palette.accent, palette.good]
    scale = {"domain": names, "range": [DASHES[at % len(DASHES)] for at in range(len(names))]}
    legend = {"title": None, "orient": "bottom", "columns": 2, "symbolSize": 600, "labelLimit": 240}
    line: Spec = {
        "data": {"values": values},
        "mark": {"type": "line", "strokeWidth": 1.8, "tooltip": True},
        "encoding": {
            "x": _time_axis(at_h[-1]),
            "y": {"field": "flow", "type": "quantitative", "axis": _value_axis("flow, l/s")},
            "strokeDash": {"field": "name", "type": "nominal", "scale": scale, "legend": legend},
            "color": {
                "field": "name",
                "type": "nominal",
                "scale": {
                    "domain": names,
                    "range": [colours[at % len(colours)] for at in range(len(names))],
                },
                "legend": legend,
            },
            "tooltip": [
                {"field": "name", "title": "in"},
                {"field": "h", "title": "hour", "format": ".2f"},
                {"field": "flow", "title": "l/s", "format": ".1f"},
            ],
        },
    }
    return _sheet(title, 260, [line], palette)


def apart_by_size(
    flows_m3s: Mapping[str, Sequence[float]], *, jump: float = 4.0
) -> list[dict[str, Sequence[float]]]:
    """The flows in groups, small ones first, so that a brook does not flatten a pipe's line.

    A new group begins where a peak is more than ``jump`` times the one before it.
    """
    groups: list[dict[str, Sequence[float]]] = []
    before = None
    for name, flows in sorted(flows_m3s.items(), key=lambda one: max(one[1])):
        peak = max(flows)
        if before is None or (before > 0 and peak > jump * before):
            groups.append({})
        groups[-1][name] = flows
        before = peak
    return groups


def level_chart(
    at_h: Sequence[float],
    level_m: Sequence[float],
    *,
    start_m: float,
    bank_m: float,
    palette: Palette = PAPER,
    title: str = "Level by time",
) -> Spec:
    """A pond's level, with its bank (heavy, dashed) and the level before the rain (dotted)."""
    low, high = min(start_m, *level_m), max(bank_m, *level_m)
    slack = 0.15 * (high - low) or 0.1
    y: Spec = {
        "field": "m",
        "type": "quantitative",
        "scale": {"domain": [low - slack, high + slack], "nice": False, "zero": False},
        "axis": _value_axis("level, m"),
    }
    values = [{"h": hour, "m": level} for hour, level in zip(at_h, level_m, strict=True)]
    layers: list[Spec] = [
        {
            "data": {"values": values},
            "mark": {
                "type": "line",
                "color": palette.water,
                "strokeWidth": 2,
                "tooltip": True,
            },
            "encoding": {
                "x": _time_axis(at_h[-1]),
                "y": y,
                "tooltip": [
                    {"field": "h", "title": "hour", "format": ".2f"},
                    {"field": "m", "title": "level, m", "format": ".2f"},
                ],
            },
        }
    ]
    for level, words, dash, width in (
        (bank_m, "bank", [8, 4], 2),
        (start_m, "before the rain", [2, 3], 1),
    ):
        data = {"values": [{"m": level, "words": words, "h": 0}]}
        layers += [
            {
                "data": data,
                "mark": {
                    "type": "rule",
                    "color": palette.ink,
                    "strokeDash": dash,
                    "strokeWidth": width,
                },
                "encoding": {"y": y},
            },
            {
                "data": data,
                "mark": {
                    "type": "text",
                    "align": "left",
                    "baseline": "bottom",
                    "dx": 6,
                    "dy": -3,
                    "color": palette.ink,
                    "font": SANS,
                },
                "encoding": {
                    "x": {"field": "h", "type": "quantitative"},
                    "y": y,
                    "text": {"field": "words"},
                },
            },
        ]
    return _sheet(title, 170, layers, palette)
