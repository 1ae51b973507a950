"""Charts of the report: the same Vega-Lite specification that the pages show, drawn as SVG."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from functools import lru_cache
from html import escape
from pathlib import Path
from typing import Any

from worksprog.calc.charts import Bar, winters_chart

_VEGA_LITE = "6.4"
WIDTH_PX = 470


def programme_spec(chart: Mapping[str, Any]) -> dict[str, Any] | None:
    """The chart of the winters from the frozen rows; None when no row has dates."""
    rows = chart["rows"]
    if not any(row["start"] and row["finish"] for row in rows):
        return None
    bars = [
        Bar(
            label=row["label"],
            start=_day(row["start"]),
            finish=_day(row["finish"]),
            in_play=_day(row["in_play"]),
            state=row["state"],
            baseline=_span(row["was_start"], row["was_finish"]),
            note=row["note"],
            heading=row["heading"],
        )
        for row in rows
    ]
    return winters_chart(
        bars,
        first=date.fromisoformat(chart["from"]),
        last=date.fromisoformat(chart["to"]),
        today=date.fromisoformat(chart["on"]),
        title=chart["title"],
        width=WIDTH_PX,
        today_words="figures to",
    )


def _day(value: str | None) -> date | None:
    return date.fromisoformat(value) if value else None


def _span(start: str | None, finish: str | None) -> tuple[date, date] | None:
    return (date.fromisoformat(start), date.fromisoformat(finish)) if start and finish else None


@lru_cache(maxsize=1)
def _register(fonts: Path) -> None:
    import vl_convert

    vl_convert.register_font_directory(str(fonts))


def spec_to_svg(spec: Mapping[str, Any], *, fonts: Path, title: str) -> str:
    """Draw a specification without a browser and without any address to fetch from."""
    import vl_convert

    _register(fonts)
    picture: str = vl_convert.vegalite_to_svg(
        dict(spec), vl_version=_VEGA_LITE, allowed_base_urls=[], show_warnings=False
    )
    head, rest = picture.split(">", 1)
    return f'{head} role="img"><title>{escape(title)}</title>{rest}'
