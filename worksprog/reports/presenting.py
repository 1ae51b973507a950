"""From the frozen figures to what a template shows: dates, sums in words, drawings."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any

from django.utils.safestring import mark_safe

from worksprog.calc.long_section import Extreme, GroundPoint, LongSection, Piece, Station
from worksprog.clubs.templatetags.figures import NO_FIGURE, day, fig
from worksprog.drainage.drawing import draw_long_section
from worksprog.reports.drawing.chart import programme_spec, spec_to_svg
from worksprog.reports.drawing.map_figure import draw_map

WIDTH_MM = 172.0
_MAP_HEIGHT_MM = {"A4": 205.0, "Letter": 187.0}
_CHART_HEIGHT_MM = {"A4": 205.0, "Letter": 187.0}
_SECTION_PX = 720.0
_FIRST_PAGE_LINES = 8


def _date(value: str | None) -> date | None:
    return date.fromisoformat(value) if value else None


def short_day(value: str | None) -> str:
    """'18 Mar 27', as a table has room for."""
    when = _date(value)
    return NO_FIGURE if when is None else f"{when.day} {when:%b %y}"


def long_day(value: str | None) -> str:
    """'24 November 2026'."""
    when = _date(value)
    return NO_FIGURE if when is None else f"{when.day} {when:%B %Y}"


def share(value: float | None) -> str:
    return NO_FIGURE if value is None else f"{fig(value * 100)} %"


def short_money(amount: str | None, sign: str) -> str:
    """'£38.2k': for the key figures, where the exact sum stands in the table below."""
    if amount is None:
        return NO_FIGURE
    value = Decimal(amount)
    minus = "−" if value < 0 else ""
    value = abs(value)
    if value >= 999_950:
        return f"{minus}{sign}{fig(value / 1_000_000, 2)}m"
    if value >= 9_999:
        return f"{minus}{sign}{fig(value / 1000, 1)}k"
    return f"{minus}{sign}{fig(value)}"


def _as_kept(amount: str) -> str:
    """With the pence that the figures were frozen with, and none where they were frozen without."""
    return fig(amount, max(0, -int(Decimal(amount).as_tuple().exponent)))


def _row(row: Mapping[str, Any]) -> dict[str, Any]:
    return {
        **row,
        "earned": share(row["earned_share"]),
        "logged": fig(row["logged_h"]),
        "estimated": fig(row["estimated_h"]),
        "spent": _as_kept(row["spent"]),
        "approved": _as_kept(row["approved"]),
        "forecast": fig(row["forecast"]),
        "finish": short_day(row["finish_on"]),
    }


def _key_figures(figures: Mapping[str, Any]) -> list[dict[str, Any]]:
    key, sign = figures["key"], figures["club"]["sign"]
    last = key["last_job_on"]
    planned = key["planned_share"]
    return [
        {
            "value": share(key["earned_share"]),
            "lines": [
                f"of {key['earned_of']} earned",
                f"{share(planned)} planned" if planned is not None else key["planned_words"],
            ],
        },
        {
            "value": short_money(key["spent"], sign),
            "lines": [
                f"spent of {short_money(key['approved'], sign)} approved",
                f"forecast {short_money(key['forecast'], sign)}",
            ],
        },
        {
            "value": f"{fig(key['logged_h'])} h",
            "lines": ["crew hours on works", f"of {fig(key['estimated_h'])} estimated"],
        },
        {
            "value": NO_FIGURE if last is None else f"{_date(last).day} {_date(last):%b}",  # type: ignore[union-attr]
            "lines": [key["last_job_words"], key["last_job"]],
        },
    ]


def _sized(picture: str, *, most_height_mm: float) -> str:
    """A chart's SVG at the full width of the sheet, or smaller when it would be too high for it."""
    head, rest = picture.split(">", 1)
    values = head.split('viewBox="', 1)[1].split('"', 1)[0].split()
    wide, high = float(values[2]), float(values[3])
    per_px = min(WIDTH_MM / wide, most_height_mm / high)
    attributes = [
        part for part in head.split(" ") if not part.startswith(("width=", "height=", "class="))
    ]
    attributes += [
        'class="drawing"',
        f'width="{wide * per_px:.1f}mm"',
        f'height="{high * per_px:.1f}mm"',
    ]
    return f"{' '.join(attributes)}>{rest}"


def _chart(told: Mapping[str, Any], paper: str) -> dict[str, Any] | None:
    from worksprog.clubs.typefaces import FONTS

    spec = programme_spec(told)
    if spec is None:
        return None
    picture = spec_to_svg(spec, fonts=FONTS / "truetype", title=told["title"])
    picture = _sized(picture, most_height_mm=_CHART_HEIGHT_MM[paper])
    return {"heading": told["heading"], "svg": mark_safe(picture)}  # noqa: S308


def _thaw(layout: Mapping[str, Any]) -> LongSection:
    """The long section as it was when the figures were frozen."""

    def extreme(value: Mapping[str, Any] | None) -> Extreme | None:
        return Extreme(**value) if value else None

    return LongSection(
        top_name=layout["top_name"],
        outfall_name=layout["outfall_name"],
        length_m=layout["length_m"],
        stations=tuple(Station(**station) for station in layout["stations"]),
        pieces=tuple(Piece(**piece) for piece in layout["pieces"]),
        ground=tuple(GroundPoint(**point) for point in layout["ground"]),
        least_cover=extreme(layout["least_cover"]),
        deepest_invert=extreme(layout["deepest_invert"]),
    )


def present(figures: Mapping[str, Any], *, paper: str | None = None) -> dict[str, Any]:
    """The context of both templates, the PDF's and the page's. The SVG in it is our own, escaped inside."""
    report = figures["report"]
    paper = paper or report["paper"]
    on_words = long_day(report["to_date"])
    map_figure = draw_map(
        figures["map"],
        width_mm=WIDTH_MM,
        height_mm=_MAP_HEIGHT_MM[paper],
        on_words=on_words,
    )
    charts = [chart for told in figures["charts"] if (chart := _chart(told, paper)) is not None]
    section = figures["section"]
    section_svg = section and _sized(
        draw_long_section(_thaw(section["layout"]), width=_SECTION_PX), most_height_mm=110.0
    )
    return {
        "figures": figures,
        "club": figures["club"],
        "report": {**report, "paper": paper},
        "programme": figures["programme"],
        "status": status_words(report),
        "period": f"{long_day(report['from_date'])} to {on_words}",
        "to_words": on_words,
        "to_short": day(_date(report["to_date"])),
        "meeting_words": long_day(report["meeting_on"]) if report["meeting_on"] else "",
        "issued_words": long_day(report["issued_on"]) if report["issued_on"] else "",
        "key_figures": _key_figures(figures),
        "decisions": figures["decisions"],
        "projects": [_row(row) for row in figures["projects"]],
        "total": _row(figures["total"]) if figures["projects"] else None,
        "map": map_figure and {"svg": mark_safe(map_figure.svg), "scale": f"{map_figure.scale:,}"},  # noqa: S308
        "works_key": figures["map"]["works_key"],
        "charts": charts,
        # With few projects the drain stands on the first page; else it would leave a hole there.
        "drain_first": len(figures["projects"]) + 2 * len(figures["decisions"])
        <= _FIRST_PAGE_LINES,
        "section": section,
        "section_svg": section_svg and mark_safe(section_svg),  # noqa: S308
        "done": figures["done"],
        "next": figures["next"],
        "cautions": figures["cautions"],
        "method": figures["method"],
    }


def status_words(report: Mapping[str, Any]) -> str:
    if not report["number"]:
        return "Working copy, not issued"
    return f"No. {report['number']}, issued to {report['addressed_to']}"
