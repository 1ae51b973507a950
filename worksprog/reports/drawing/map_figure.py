"""The course and its works as a map figure at a stated, round scale."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import ceil, log10
from typing import Any

from worksprog.reports.drawing import svg

Point = tuple[float, float]

_STEPS = (1.0, 1.25, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.5, 8.0)
_MARGIN_MM = 6.0
_LEGEND_MM = 33.0

# Grounds lie below what is built on them, and lines and marks on top.
_ORDER = (
    *("boundary", "wood", "fairway", "mound", "pond", "laterals", "green", "tee", "bunker"),
    *("hedge", "fence", "path", "service", "bridge", "ditch", "pipe", "tree"),
    *("chamber", "headwall", "outfall"),
)
_AREA: dict[str, tuple[str, str, float]] = {  # fill, outline, line in mm
    "boundary": ("none", svg.SOFT, 0.3),
    "wood": ("url(#map-wood)", svg.WOOD, 0.15),
    "fairway": ("#e6ecd9", "#b9c99a", 0.12),
    "mound": ("#ede9dc", svg.PATH, 0.15),
    "pond": ("#cfe0e6", svg.WATER, 0.2),
    "laterals": ("none", svg.WATER, 0.15),
    "green": (svg.GREEN, "#4d6140", 0.2),
    "tee": ("#cddab8", "#4d6140", 0.2),
    "bunker": (svg.SAND, svg.INK, 0.12),
}
_LINE: dict[str, tuple[str, float, str | None]] = {  # colour, line in mm, dashes
    "hedge": (svg.WOOD, 0.7, "0.8 0.4"),
    "fence": (svg.INK, 0.15, "2.4 0.6 0.2 0.6"),
    "path": (svg.PATH, 0.4, None),
    "service": (svg.SOFT, 0.2, "0.4 0.8"),
    "bridge": (svg.INK, 0.7, None),
    "ditch": (svg.WATER, 0.4, None),
    "pipe": (svg.WATER, 0.4, "1.6 0.9"),
}
_NODES = ("chamber", "headwall", "outfall")
_WORK_WORDS = {
    "proposed": "proposed",
    "on_site": "on site",
    "growing_in": "growing in",
    "done": "built",
}


@dataclass(frozen=True)
class MapFigure:
    svg: str
    scale: int
    words: str


def round_scale(extent_m: float, room_mm: float) -> int:
    """The largest round scale (the smallest number after "1 to") at which the extent finds room."""
    if extent_m <= 0:
        return 500
    least = max(extent_m * 1000 / room_mm, 1.0)
    power = 10 ** int(log10(least))
    for step in (*_STEPS, 10.0):
        if step * power >= least - 1e-9:
            return int(step * power)
    return int(ceil(least / power) * power)


def _bar_length(scale: int) -> int:
    """A round number of metres that is 25 to 60 mm long on paper."""
    for length in (10, 20, 25, 50, 100, 150, 200, 250, 500, 1000, 2000, 5000):
        if length * 1000 / scale >= 25:
            return length
    return 10_000


def coordinates_of(shape: Mapping[str, Any]) -> list[list[Point]]:
    """All rings, lines or points of a GeoJSON shape, each as a list of points."""
    kind, values = shape["type"], shape["coordinates"]
    match kind:
        case "Point":
            return [[(values[0], values[1])]]
        case "LineString":
            return [[(p[0], p[1]) for p in values]]
        case "Polygon":
            return [[(p[0], p[1]) for p in ring] for ring in values]
        case "MultiPolygon":
            return [[(p[0], p[1]) for p in ring] for part in values for ring in part]
        case "MultiLineString":
            return [[(p[0], p[1]) for p in line] for line in values]
        case "MultiPoint":
            return [[(p[0], p[1])] for p in values]
    raise ValueError(f"A map figure has no drawing for a {kind}.")


class _Frame:
    """From metres on the grid to millimetres on the sheet, north up."""

    def __init__(self, bounds: tuple[float, float, float, float], width: float, height: float):
        west, south, east, north = bounds
        room_x, room_y = width - 2 * _MARGIN_MM, height - _LEGEND_MM - 2 * _MARGIN_MM
        self.scale = max(round_scale(east - west, room_x), round_scale(north - south, room_y))
        self.per_m = 1000 / self.scale
        used_y = (north - south) * self.per_m
        self.bottom = min(used_y, room_y) + 2 * _MARGIN_MM
        self._x0 = width / 2 - (west + east) / 2 * self.per_m
        self._y0 = self.bottom / 2 + (south + north) / 2 * self.per_m

    def at(self, point: Point) -> Point:
        return self._x0 + point[0] * self.per_m, self._y0 - point[1] * self.per_m

    def all(self, points: Iterable[Point]) -> list[Point]:
        return [self.at(point) for point in points]


def _bounds(shapes: Iterable[Mapping[str, Any]]) -> tuple[float, float, float, float] | None:
    points = [p for shape in shapes for part in coordinates_of(shape) for p in part]
    if not points:
        return None
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    return min(xs), min(ys), max(xs), max(ys)


def _feature(feature: Mapping[str, Any], frame: _Frame) -> str:
    kind, state = feature["kind"], feature["state"]
    parts = [frame.all(part) for part in coordinates_of(feature["shape"])]
    proposed = state == "proposed"
    if kind in _AREA:
        fill, line, width = _AREA[kind]
        dashes = "1.2 0.7" if proposed else ("3 1 0.6 1" if kind == "boundary" else None)
        return svg.element(
            "path",
            d=svg.ring_path(parts),
            fill="none" if proposed else fill,
            fill_rule="evenodd",
            stroke=line,
            stroke_width=width,
            stroke_dasharray=dashes,
        )
    if kind in _LINE:
        line, width, dashes = _LINE[kind]
        return "".join(
            svg.polyline(
                part,
                stroke=line,
                stroke_width=width,
                stroke_linejoin="round",
                **({"stroke_dasharray": "0.3 0.8"} if proposed else {}),
                **({"stroke_dasharray": dashes} if dashes and not proposed else {}),
            )
            for part in parts
        )
    return "".join(_mark(kind, *part[0]) for part in parts)


def _mark(kind: str, x: float, y: float) -> str:
    if kind == "tree":
        return svg.element("circle", cx=x, cy=y, r=0.45, fill=svg.WOOD)
    if kind == "outfall":
        points = [(x - 1, y - 0.8), (x + 1, y - 0.8), (x, y + 1)]
        return svg.element("path", d=svg.ring_path([points]), fill=svg.WATER)
    if kind == "headwall":
        return svg.element("rect", x=x - 0.9, y=y - 0.35, width=1.8, height=0.7, fill=svg.INK)
    return svg.element(
        "rect", x=x - 0.6, y=y - 0.6, width=1.2, height=1.2, fill=svg.SHEET, stroke=svg.INK,
        stroke_width=0.25,
    )  # fmt: skip


def _work_style(state: str) -> dict[str, str | float]:
    """How a work is drawn: by line and hatching, so that it is read without colour."""
    style: dict[str, str | float] = {
        "stroke": svg.INK,
        "stroke_width": 0.6,
        "stroke_linejoin": "round",
    }
    if state == "proposed":
        style |= {"stroke_dasharray": "1.4 0.9"}
    elif state == "on_site":
        style |= {"stroke": svg.ACCENT, "stroke_width": 1.4}
    return style


def _work(work: Mapping[str, Any], frame: _Frame) -> str:
    state = work["state"]
    style = _work_style(state)
    drawn = []
    for shape in work["shapes"]:
        parts = [frame.all(part) for part in coordinates_of(shape)]
        if shape["type"].endswith("Polygon"):
            fill = {"growing_in": "url(#map-hatch)", "done": "none", "proposed": "none"}.get(
                state, "none"
            )
            drawn.append(
                svg.element("path", d=svg.ring_path(parts), fill=fill, fill_rule="evenodd", **style)
            )
        elif shape["type"].endswith("LineString"):
            for part in parts:
                if state == "growing_in":
                    drawn.append(svg.polyline(part, stroke="url(#map-hatch)", stroke_width=2.2))
                drawn.append(svg.polyline(part, **style))
        else:
            ring: dict[str, str | float] = {**style, "stroke_width": 0.5}
            drawn.extend(
                svg.element("circle", cx=part[0][0], cy=part[0][1], r=1.3, fill="none", **ring)
                for part in parts
            )
    return "".join(drawn)


class _Labels:
    """Puts labels where nothing else was written yet; the first free place is taken."""

    def __init__(self, width: float, height: float) -> None:
        self._room = (0.6, 0.6, width - 0.6, height - 0.6)
        self._taken: list[tuple[float, float, float, float]] = []

    def place(self, x: float, y: float, width: float, height: float) -> Point:
        """The centre of the label near (x, y)."""
        for away in (1.2, 3.0, 6.0):
            side, lift = width / 2 + away, height / 2 + away
            for dx, dy in (
                *((side, 0.0), (-side, 0.0), (0.0, -lift), (0.0, lift)),
                *((side, -lift), (-side, -lift), (side, lift), (-side, lift)),
            ):
                box = self._box(x + dx, y + dy, width, height)
                if self._is_free(box):
                    self._taken.append(box)
                    return x + dx, y + dy
        self.take(x, y, width, height)
        return x, y

    def take(self, x: float, y: float, width: float, height: float) -> None:
        self._taken.append(self._box(x, y, width, height))

    @staticmethod
    def _box(x: float, y: float, width: float, height: float) -> tuple[float, float, float, float]:
        return x - width / 2, y - height / 2, x + width / 2, y + height / 2

    def _is_free(self, box: tuple[float, float, float, float]) -> bool:
        west, top, east, low = box
        if west < self._room[0] or top < self._room[1]:
            return False
        if east > self._room[2] or low > self._room[3]:
            return False
        return all(
            east <= other[0] or west >= other[2] or low <= other[1] or top >= other[3]
            for other in self._taken
        )


def _middle(shapes: Sequence[Mapping[str, Any]]) -> Point:
    """Where the label hangs: half way along the longest part."""
    longest = max((part for shape in shapes for part in coordinates_of(shape)), key=len)
    if shapes and shapes[0]["type"].endswith("Polygon"):
        ring = longest[:-1] or longest
        return sum(p[0] for p in ring) / len(ring), sum(p[1] for p in ring) / len(ring)
    half = len(longest) // 2
    if len(longest) == 2:
        (x1, y1), (x2, y2) = longest
        return (x1 + x2) / 2, (y1 + y2) / 2
    return longest[half]


def _north(x: float, y: float) -> str:
    left, right = [(x, y - 6), (x - 1.6, y), (x, y - 1.2)], [(x, y - 6), (x + 1.6, y), (x, y - 1.2)]
    outline: dict[str, str | float] = {"stroke": svg.INK, "stroke_width": 0.2}
    return (
        svg.element("path", d=svg.ring_path([left]), fill=svg.INK, **outline)
        + svg.element("path", d=svg.ring_path([right]), fill="#ffffff", **outline)
        + svg.words("N", x, y - 7, text_anchor="middle", font_weight="600")
    )


def _scale_bar(x: float, y: float, scale: int) -> str:
    length = _bar_length(scale)
    quarter = length * 1000 / scale / 4
    blocks = "".join(
        svg.element(
            "rect", x=x + i * quarter, y=y, width=quarter, height=1.3,
            fill=svg.INK if i % 2 == 0 else "#ffffff", stroke=svg.INK, stroke_width=0.2,
        )
        for i in range(4)
    )  # fmt: skip
    return (
        blocks
        + svg.words("0", x, y - 0.9, size=2.4, face=svg.MONO)
        + svg.words(
            f"{length} m", x + 4 * quarter, y - 0.9, size=2.4, face=svg.MONO, text_anchor="end"
        )
    )


def _legend(y: float, width: float, kinds: set[str], states: set[str], scale: int) -> str:
    entries: list[tuple[str, str]] = []

    def area(kind: str) -> str:
        fill, line, thick = _AREA[kind]
        return svg.element(
            "rect", x=0, y=-2, width=7, height=2.6, fill=fill, stroke=line, stroke_width=thick,
            stroke_dasharray="3 1 0.6 1" if kind == "boundary" else None,
        )  # fmt: skip

    def line(kind: str) -> str:
        colour, thick, dashes = _LINE[kind]
        extra: dict[str, str] = {"stroke_dasharray": dashes} if dashes else {}
        return svg.polyline([(0, -0.8), (7, -0.8)], stroke=colour, stroke_width=thick, **extra)

    names = {"ditch": "ditch, open", "pipe": "pipe", "laterals": "laterals", "service": "service"}
    for state in ("done", "on_site", "growing_in", "proposed"):
        if state in states:
            sample = {
                "kind": "",
                "state": state,
                "shapes": [{"type": "LineString", "coordinates": [(0, 0.8), (7, 0.8)]}],
            }
            entries.append((_work(sample, _Flat()), f"works {_WORK_WORDS[state]}"))
    for kind in _ORDER:
        if kind not in kinds or kind in ("bridge", "mound"):
            continue
        if kind in _AREA:
            entries.append((area(kind), names.get(kind, kind)))
        elif kind in _LINE:
            entries.append((line(kind), names.get(kind, kind)))
        else:
            entries.append((_mark(kind, 3.5, -0.8), kind))
    columns, row_mm, column_mm = 4, 4.6, (width - 38) / 4
    shown = "".join(
        svg.element(
            "g",
            sample,
            svg.words(text, 8.6, 0, size=2.5),
            transform=(
                f"translate({svg.number(4 + (i % columns) * column_mm)} "
                f"{svg.number(y + 6 + (i // columns) * row_mm)})"
            ),
        )
        for i, (sample, text) in enumerate(entries)
    )
    bar_mm = _bar_length(scale) * 1000 / scale
    return (
        svg.element("line", x1=0, y1=y, x2=width, y2=y, stroke=svg.INK, stroke_width=0.3)
        + shown
        + _north(width - 7, y + 14)
        + _scale_bar(width - 5 - bar_mm, y + 24, scale)
        + svg.words(
            f"1 to {scale:,}", width - 5, y + 29.5, size=2.6, face=svg.MONO, text_anchor="end"
        )
    )


class _Flat(_Frame):
    """Millimetres as they are, for the samples of the legend."""

    def __init__(self) -> None:
        self.scale = 1000

    def at(self, point: Point) -> Point:
        return point[0], -point[1]


_PATTERNS = svg.element(
    "defs",
    svg.element(
        "pattern",
        svg.element("rect", width=2.4, height=2.4, fill="#dfe5da"),
        svg.element("circle", cx=0.7, cy=0.7, r=0.35, fill=svg.WOOD),
        svg.element("circle", cx=1.9, cy=1.9, r=0.35, fill=svg.WOOD),
        id="map-wood", width=2.4, height=2.4, patternUnits="userSpaceOnUse",
    ),
    svg.element(
        "pattern",
        svg.element("path", d="M0 1.2 L1.2 0", stroke=svg.INK, stroke_width=0.22),
        id="map-hatch", width=1.2, height=1.2, patternUnits="userSpaceOnUse",
    ),
)  # fmt: skip


def draw_map(
    place: Mapping[str, Any], *, width_mm: float, height_mm: float, on_words: str
) -> MapFigure | None:
    """The figure, or None when there is nothing with a place.

    ``place`` holds ``features`` (kind, state, shape), ``holes`` (number, at) and ``works`` (label, state,
    shapes), all shapes as GeoJSON in the club's grid in metres. ``on_words`` is the date it shows.
    """
    features = [f for f in place["features"] if f["state"] != "removed"]
    works = [w for w in place["works"] if w["shapes"]]
    bounds = _bounds(
        [f["shape"] for f in features] + [shape for w in works for shape in w["shapes"]]
    )
    if bounds is None:
        return None
    frame = _Frame(bounds, width_mm, height_mm)
    by_kind = sorted(
        (f for f in features if f["kind"] in _ORDER), key=lambda f: _ORDER.index(f["kind"])
    )
    grounds = [_feature(f, frame) for f in by_kind]
    drawn_works = [_work(w, frame) for w in works]

    labels = _Labels(width_mm, frame.bottom)
    marks: list[str] = []
    for hole in place["holes"]:
        x, y = frame.at((hole["at"][0], hole["at"][1]))
        labels.take(x, y, 4, 4)
        marks.append(
            svg.element(
                "circle", cx=x, cy=y, r=1.9, fill="#ffffff", stroke=svg.INK, stroke_width=0.2
            )
            + svg.words(
                str(hole["number"]), x, y + 0.85, size=2.4, face=svg.MONO, text_anchor="middle"
            )
        )
    seen: set[str] = set()
    for work in works:
        if work["label"] in seen:
            continue
        seen.add(work["label"])
        size = 2.5
        wide = len(work["label"]) * size * svg.MONO_ADVANCE + 1.4
        x, y = frame.at(_middle(work["shapes"]))
        cx, cy = labels.place(x, y, wide, 3.6)
        marks.append(
            svg.element("line", x1=x, y1=y, x2=cx, y2=cy, stroke=svg.INK, stroke_width=0.15)
            + svg.element(
                "rect", x=cx - wide / 2, y=cy - 1.8, width=wide, height=3.6, fill="#ffffff",
                stroke=svg.INK, stroke_width=0.25,
            )
            + svg.words(
                work["label"], cx, cy + 0.9, size=size, face=svg.MONO, text_anchor="middle",
                font_weight="600",
            )
        )  # fmt: skip
    kinds = {f["kind"] for f in features}
    total = frame.bottom + _LEGEND_MM
    text = (
        f"Map of the course on {on_words} at 1 to {frame.scale:,}, north up, "
        f"with {len(works)} works of the programme."
    )
    picture = svg.drawing(
        _PATTERNS,
        *grounds,
        *drawn_works,
        *marks,
        _legend(frame.bottom, width_mm, kinds, {w["state"] for w in works}, frame.scale),
        svg.element(
            "rect", x=0.15, y=0.15, width=width_mm - 0.3, height=total - 0.3, fill="none",
            stroke=svg.INK, stroke_width=0.3,
        ),
        width_mm=width_mm,
        height_mm=total,
        title=text,
    )  # fmt: skip
    return MapFigure(svg=picture, scale=frame.scale, words=text)
