"""A plan of laterals in their area, as SVG in the club's grid, north upwards."""

from __future__ import annotations

import math
from collections.abc import Iterable

import shapely
from django.utils.html import format_html
from django.utils.safestring import SafeString
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from worksprog.calc.laterals import LateralLevels, Layout
from worksprog.drainage.drawing.marks import joined

WIDTH, MOST_HEIGHT, MARGIN = 720.0, 560.0, 34.0
NUMBERED = 60  # drains, above which only every so many carries its number
BARS_M = (1, 2, 5, 10, 20, 50, 100, 200)


class _Frame:
    """Where a place in the grid comes to lie on the sheet."""

    def __init__(self, shapes: Iterable[BaseGeometry]) -> None:
        west, south, east, north = shapely.total_bounds(list(shapes)).tolist()
        self.west, self.north = west, north
        wide, high = max(east - west, 1.0), max(north - south, 1.0)
        self.scale = min((WIDTH - 2 * MARGIN) / wide, (MOST_HEIGHT - 2 * MARGIN) / high)
        self.height = high * self.scale + 2 * MARGIN + 18

    def at(self, x: float, y: float) -> tuple[float, float]:
        return (
            MARGIN + (x - self.west) * self.scale,
            MARGIN + (self.north - y) * self.scale,
        )

    def points(self, coordinates: Iterable[Iterable[float]]) -> str:
        return " ".join(
            f"{px:.1f},{py:.1f}" for x, y, *_ in coordinates for px, py in [self.at(x, y)]
        )


def draw_laterals(
    area: Polygon,
    carrier: LineString | None,
    layout: Layout,
    levels: tuple[LateralLevels, ...],
    *,
    fall_bearing_deg: float | None,
    title: str,
) -> SafeString:
    """The area, its drains and the stretch of carrier near it; drains at fault are dashed."""
    near = None if carrier is None else carrier.intersection(area.buffer(40))
    shapes: list[BaseGeometry] = [area, *([near] if near is not None else [])]
    frame = _Frame(shape for shape in shapes if not shape.is_empty)
    parts = [
        format_html('<polygon class="lat-area" points="{}"/>', frame.points(area.exterior.coords))
    ]
    for piece in [] if near is None else shapely.get_parts(near):
        if isinstance(piece, LineString):
            parts += _carrier(frame, piece)
    every = max(1, math.ceil(len(layout.laterals) / NUMBERED))
    for lateral, level in zip(layout.laterals, levels, strict=True):
        css = "lat-drain lat-fault" if level.is_fault else "lat-drain"
        parts.append(
            format_html('<polyline class="{}" points="{}"/>', css, frame.points(lateral.line))
        )
        if (lateral.number - 1) % every == 0:
            x, y = frame.at(*lateral.line[0])
            parts.append(
                format_html('<text class="lat-number" x="{}" y="{}">{}</text>',
                            f"{x:.1f}", f"{y - 3:.1f}", lateral.number)
            )  # fmt: skip
    parts += _marks(frame, fall_bearing_deg)
    return format_html(
        '<svg class="laterals-plan" viewBox="0 0 {} {}" role="img" aria-label="{}">{}</svg>',
        f"{WIDTH:.0f}",
        f"{frame.height:.0f}",
        title,
        joined(parts),
    )


def _carrier(frame: _Frame, line: LineString) -> list[SafeString]:
    middle = line.interpolate(0.5, normalized=True)
    on = line.interpolate(min(line.length, line.length / 2 + 1))
    (x, y), (x2, y2) = frame.at(middle.x, middle.y), frame.at(on.x, on.y)
    turn = math.degrees(math.atan2(y2 - y, x2 - x))
    return [
        format_html('<polyline class="lat-carrier" points="{}"/>', frame.points(line.coords)),
        format_html('<path class="lat-flow" d="M-7 -5 L7 0 L-7 5 Z" transform="translate({} {}) '
                    'rotate({})"/>', f"{x:.1f}", f"{y:.1f}", f"{turn:.0f}"),
    ]  # fmt: skip


def _marks(frame: _Frame, fall_bearing_deg: float | None) -> list[SafeString]:
    """North, the way the ground falls, and a scale bar."""
    parts = [
        format_html(
            '<g transform="translate({} 30)"><path class="lat-mark" d="M0 14 V-12 M-5 -5 L0 -14 '
            'L5 -5"/><text class="lat-words" x="9" y="4">N</text></g>',
            f"{WIDTH - 30:.0f}",
        )
    ]
    if fall_bearing_deg is not None:
        parts.append(
            format_html(
                '<g transform="translate({} 84)"><path class="lat-mark" d="M0 14 V-12 M-5 -5 L0 '
                '-14 L5 -5" transform="rotate({})"/><text class="lat-words" text-anchor="end" '
                'x="12" y="34">falls</text></g>',
                f"{WIDTH - 30:.0f}",
                f"{fall_bearing_deg:.0f}",
            )
        )
    bar = max((size for size in BARS_M if size * frame.scale <= 160), default=BARS_M[0])
    y = frame.height - 10
    parts.append(
        format_html(
            '<path class="lat-mark" d="M{0} {2} v-6 M{0} {2} H{1} v-6"/><text class="lat-words" '
            'x="{3}" y="{2}">{4} m</text>',
            f"{MARGIN:.0f}",
            f"{MARGIN + bar * frame.scale:.1f}",
            f"{y:.1f}",
            f"{MARGIN + bar * frame.scale + 8:.1f}",
            bar,
        )
    )
    return parts
