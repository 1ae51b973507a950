"""A sketch of the course with the earth of one winter: marks where it is dug and filled, ways between."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import hypot, sqrt

import shapely
from django.utils.html import format_html
from django.utils.safestring import SafeString
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from worksprog.calc.earth_balance import Matter
from worksprog.course.models import Feature, Kind
from worksprog.drainage.drawing.marks import joined
from worksprog.works.bridge_earth import STANDING
from worksprog.works.queries.spoil_parts import EarthItem, ShownMove, SpoilSheet

WIDTH = 760.0
MARGIN_M = 60.0
LEAST_ACROSS_M = 320.0
TALLEST, FLATTEST = 0.62, 0.42  # height over width
APART = 31.0  # between the middles of two labels
CLEAR = 17.0  # of the marks at the ends of a way
# Drawn in this order; what is not listed is left out so that the ways stand out.
LAYERS = (
    (Kind.WOOD, "spo-wood"),
    (Kind.FAIRWAY, "spo-fairway"),
    (Kind.POND, "spo-pond"),
    (Kind.BUNKER, "spo-bunker"),
    (Kind.TEE, "spo-tee"),
    (Kind.GREEN, "spo-green"),
    (Kind.DITCH, "spo-ditch"),
    (Kind.PATH, "spo-path"),
    (Kind.BRIDGE, "spo-path"),
)

To = Callable[[float, float], tuple[float, float]]


@dataclass(frozen=True)
class _Window:
    west: float
    south: float
    east: float
    north: float

    @property
    def tall(self) -> float:
        return WIDTH * (self.north - self.south) / (self.east - self.west)

    def to(self, x: float, y: float) -> tuple[float, float]:
        scale = WIDTH / (self.east - self.west)
        return (x - self.west) * scale, (self.north - y) * scale


def _window(points: Sequence[tuple[float, float]]) -> _Window:
    """Round all that is shown, widened so that the sketch is neither a strip nor a column."""
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    across = max(max(xs) - min(xs) + 2 * MARGIN_M, LEAST_ACROSS_M)
    up = max(ys) - min(ys) + 2 * MARGIN_M
    across = max(across, up / TALLEST)
    up = max(up, across * FLATTEST)
    x, y = (max(xs) + min(xs)) / 2, (max(ys) + min(ys)) / 2
    return _Window(x - across / 2, y - up / 2, x + across / 2, y + up / 2)


def _points_text(coordinates: Sequence[Sequence[float]], to: To) -> str:
    return " ".join("{:.1f},{:.1f}".format(*to(x, y)) for x, y in coordinates)


def _shape(shape: BaseGeometry, css: str, window: _Window) -> list[SafeString]:
    seen = shapely.clip_by_rect(
        shape.simplify(0.8), window.west, window.south, window.east, window.north
    )
    marks = []
    for part in shapely.get_parts(seen):
        if part.geom_type == "Polygon" and not part.is_empty:
            points = _points_text(part.exterior.coords, window.to)
            marks.append(format_html('<polygon class="{}" points="{}"/>', css, points))
        elif part.geom_type == "LineString" and not part.is_empty:
            points = _points_text(part.coords, window.to)
            marks.append(format_html('<polyline class="{}" points="{}"/>', css, points))
    return marks


class _Labels:
    """Places that are taken, so that letters and marks do not cover each other."""

    def __init__(self) -> None:
        self.taken: list[tuple[float, float]] = []

    def room_at(self, x: float, y: float) -> float:
        return min((hypot(x - a, y - b) for a, b in self.taken), default=float("inf"))

    def take(self, x: float, y: float) -> None:
        self.taken.append((x, y))


def _way(one: ShownMove, most_m3: float, window: _Window) -> tuple[LineString, SafeString]:
    """The way on the sketch, its ends kept clear of the marks, and the line that shows it."""
    whole = LineString([window.to(x, y) for x, y in one.way.points])
    clear = min(CLEAR, whole.length / 4)
    # Works at one place have no way between them, and a line of one point is none.
    way = whole
    if clear > 0:
        way = LineString(substring(whole, clear, whole.length - clear).coords)
    wide = 1.6 + 4.4 * sqrt(one.move.loose_m3.likely / most_m3)
    css = "spo-way spo-topsoil" if one.move.cut.matter is Matter.TOPSOIL else "spo-way"
    points = " ".join(f"{x:.1f},{y:.1f}" for x, y in way.coords)
    return way, format_html(
        '<polyline class="{}" points="{}" stroke-width="{}" marker-end="url(#spo-head)"/>',
        css, points, f"{wide:.1f}",
    )  # fmt: skip


def _letter(letter: str, way: LineString, labels: _Labels) -> SafeString:
    """The letter of a way, where it has most room along it."""
    best = (-1.0, 0.0, 0.0)
    for share in (0.5, 0.42, 0.58, 0.34, 0.66, 0.26, 0.74):
        point = way.interpolate(share, normalized=True)
        room = labels.room_at(point.x, point.y)
        if room > best[0]:
            best = (min(room, APART), point.x, point.y)
    _, x, y = best
    labels.take(x, y)
    return format_html(
        '<circle class="spo-letter" cx="{}" cy="{}" r="13"/>'
        '<text class="spo-words" x="{}" y="{}" text-anchor="middle">{}</text>',
        f"{x:.1f}", f"{y:.1f}", f"{x:.1f}", f"{y + 6:.1f}", letter,
    )  # fmt: skip


def _set_apart(places: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """The marks' places, those that would cover another pushed off it."""
    set_down: list[tuple[float, float]] = []
    for x, y in places:
        for _ in range(8):
            near = next((p for p in set_down if hypot(x - p[0], y - p[1]) < APART), None)
            if near is None:
                break
            off = hypot(x - near[0], y - near[1])
            along = ((x - near[0]) / off, (y - near[1]) / off) if off > 1 else (0.0, 1.0)
            x, y = near[0] + along[0] * (APART + 1), near[1] + along[1] * (APART + 1)
        set_down.append((x, y))
    return set_down


def _item(
    number: int, one: EarthItem, at: tuple[float, float], told: str, tall: float
) -> list[SafeString]:
    x, y = at
    if one.fills:
        mark = format_html(
            '<rect class="spo-fill{}" x="{}" y="{}" width="28" height="28"/>',
            " spo-settled" if one.is_settled else "", f"{x - 14:.1f}", f"{y - 14:.1f}",
        )  # fmt: skip
    else:
        mark = format_html(
            '<circle class="spo-cut{}" cx="{}" cy="{}" r="15"/>',
            " spo-settled" if one.is_settled else "", f"{x:.1f}", f"{y:.1f}",
        )  # fmt: skip
    css = "spo-words spo-on-fill" if one.fills else "spo-words"
    marks = [
        mark,
        format_html(
            '<text class="{}" x="{}" y="{}" text-anchor="middle">{}</text>',
            css, f"{x:.1f}", f"{y + 6:.1f}", number,
        ),
    ]  # fmt: skip
    if told:
        marks.append(
            format_html(
                '<text class="spo-small" x="{}" y="{}" text-anchor="middle">{}</text>',
                f"{min(max(x, 70), WIDTH - 70):.1f}", f"{min(y + 32, tall - 6):.1f}", told,
            )
        )  # fmt: skip
    return marks


def draw_spoil(sheet: SpoilSheet, features: Sequence[Feature]) -> SafeString | None:
    """The sketch, north up; None where nothing of the winter has a place."""
    placed = [
        (number, one) for number, one in enumerate(sheet.items, start=1) if one.place is not None
    ]
    if not placed:
        return None
    points = [one.place for _, one in placed if one.place is not None]
    points += [point for one in sheet.moves for point in one.way.points]
    window = _window(points)
    marks: list[SafeString] = []
    for kind, css in LAYERS:
        for feature in features:
            if feature.kind == kind and feature.state in STANDING:
                marks += _shape(feature.geometry, css, window)
    labels = _Labels()
    at = _set_apart([window.to(*one.place) for _, one in placed if one.place is not None])
    for x, y in at:
        labels.take(x, y)
    most = max((one.move.loose_m3.likely for one in sheet.moves), default=1.0)
    ways = [(one.letter, *_way(one, most, window)) for one in sheet.moves]
    marks += [line for _, _, line in ways]
    marks += [_letter(letter, way, labels) for letter, way, _ in ways]
    brought = {one.fill.key: one for one in sheet.balance.brought}
    for (number, item), place in zip(placed, at, strict=True):
        needs = sum(brought[fill.key].mass_t for fill in item.fills if fill.key in brought)
        told = f"{needs:,.0f} t brought in" if needs >= 1 else ""
        marks += _item(number, item, place, told, window.tall)
    title = f"Where the earth goes: {len(sheet.moves)} hauls between {len(placed)} works"
    return format_html(
        '<svg xmlns="http://www.w3.org/2000/svg" class="spo-sketch" viewBox="0 0 {} {}" '
        'role="img"><title>{}</title><defs><marker id="spo-head" viewBox="0 0 10 10" refX="8" '
        'refY="5" markerWidth="15" markerHeight="15" markerUnits="userSpaceOnUse" orient="auto">'
        '<path class="spo-arrow" d="M0 0 L10 5 L0 10 z"/></marker></defs>{}</svg>',
        f"{WIDTH:.0f}", f"{window.tall:.0f}", title, joined(marks),
    )  # fmt: skip
