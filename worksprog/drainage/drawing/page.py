"""Drawings of the drain network as SVG: the long section and a small map of the reaches.

Every mark carries its own attributes, so a drawing looks the same in a page and in a PDF; the
class names only let the page's dark scheme recolour it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from worksprog.calc.long_section import LongSection, Piece, Station
from worksprog.calc.network import NetworkCheck, ReachCheck
from worksprog.drainage.drawing.marks import joined

INK, SOFT, HAIR, GROUND = "#1a2320", "#59645d", "#e2dccd", "#8d7d6b"
WATER, ACCENT, SHEET = "#1d6a86", "#7b2d43", "#fbf9f3"
MONO = "IBM Plex Mono, DejaVu Sans Mono, monospace"
EXAGGERATIONS = (1, 2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 50, 75, 100, 150, 200)
DRAWN_ONE_BY_ONE = 400  # reaches, above which a small map no longer names each
MARK_PX = 14  # the small map is shown at about two thirds of its drawn size
LETTER_PX = 6.1  # width of a letter of the mono face at 10 px
LEFT, RIGHT, TOP, PROFILE, ROW = 76.0, 22.0, 18.0, 190.0, 19.0


def _line(
    x1: float, y1: float, x2: float, y2: float, *, stroke: str, css: str, width: float = 1,
    dash: str = "none",
) -> SafeString:  # fmt: skip
    return format_html(
        '<line class="{}" x1="{}" y1="{}" x2="{}" y2="{}" stroke="{}" stroke-width="{}" '
        'stroke-dasharray="{}"/>',
        css, f"{x1:.1f}", f"{y1:.1f}", f"{x2:.1f}", f"{y2:.1f}", stroke, width, dash,
    )  # fmt: skip


def _text(
    x: float, y: float, words: str, *, anchor: str = "middle", fill: str = INK,
    css: str = "draw-ink-fill", weight: int = 400, turn: float = 0, size: int = 10,
) -> SafeString:  # fmt: skip
    turned = f"rotate({turn:.1f} {x:.1f} {y:.1f})" if turn else "rotate(0)"
    return format_html(
        '<text class="{}" x="{}" y="{}" text-anchor="{}" fill="{}" font-family="{}" '
        'font-size="{}" font-weight="{}" transform="{}">{}</text>',
        css, f"{x:.1f}", f"{y:.1f}", anchor, fill, MONO, size, weight, turned, words,
    )  # fmt: skip


@dataclass(frozen=True)
class _Frame:
    """Where a chainage and a level come to lie; the outfall is at the right."""

    length_m: float
    bottom_m: float
    px_per_m: float
    exaggeration: int

    def x(self, chainage_m: float) -> float:
        return LEFT + (self.length_m - chainage_m) * self.px_per_m

    def y(self, level_m: float) -> float:
        return TOP + PROFILE - (level_m - self.bottom_m) * self.px_per_m * self.exaggeration


def _frame(section: LongSection, width: float) -> _Frame:
    px_per_m = (width - LEFT - RIGHT) / max(section.length_m, 1.0)
    rise = max(section.highest_m - section.lowest_m, 0.2)
    fitting = [step for step in EXAGGERATIONS if rise * px_per_m * step <= PROFILE - 24]
    exaggeration = fitting[-1] if fitting else 1
    spare = PROFILE / (px_per_m * exaggeration) - rise
    return _Frame(section.length_m, section.lowest_m - spare * 0.35, px_per_m, exaggeration)


def _tick_step(rise_m: float) -> float:
    for step in (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0):
        if rise_m / step <= 6:
            return step
    return 50.0


def _levels(section: LongSection, frame: _Frame, width: float) -> list[SafeString]:
    step = _tick_step(PROFILE / (frame.px_per_m * frame.exaggeration))
    level = math.ceil(frame.bottom_m / step) * step
    marks = []
    while frame.y(level) >= TOP:
        y = frame.y(level)
        marks.append(_line(LEFT, y, width - RIGHT, y, stroke=HAIR, css="draw-hair"))
        marks.append(
            _text(LEFT - 8, y + 3.5, f"{level:.1f}", anchor="end", fill=SOFT, css="draw-soft-fill")
        )
        level += step
    return marks


def _ground(section: LongSection, frame: _Frame) -> list[SafeString]:
    if len(section.ground) < 2:
        return []
    points = " ".join(
        f"{frame.x(point.chainage_m):.1f},{frame.y(point.level_m):.1f}" for point in section.ground
    )
    near = section.ground[min(len(section.ground) - 1, max(1, len(section.ground) // 12))]
    return [
        format_html(
            '<polyline class="draw-ground" points="{}" fill="none" stroke="{}" '
            'stroke-width="1.8"/>',
            points,
            GROUND,
        ),
        _text(
            frame.x(near.chainage_m), frame.y(near.level_m) - 7, "ground", anchor="start",
            fill=SOFT, css="draw-soft-fill",
        ),
    ]  # fmt: skip


def _drawn_piece(piece: Piece, frame: _Frame) -> list[SafeString]:
    left, right = frame.x(piece.upper_chainage_m), frame.x(piece.lower_chainage_m)
    if piece.upper_invert_m is None or piece.lower_invert_m is None:
        y = TOP + PROFILE - 6
        return [
            _line(left, y, right, y, stroke=ACCENT, css="draw-accent", dash="1 5", width=2),
            _text((left + right) / 2, y - 6, "level missing", fill=ACCENT, css="draw-accent-fill"),
        ]
    top, bottom = frame.y(piece.upper_invert_m), frame.y(piece.lower_invert_m)
    stroke, css = (WATER, "draw-water") if piece.kind == "ditch" else (INK, "draw-ink")
    dash = "none" if piece.standing else "6 4"
    marks = [_line(left, top, right, bottom, stroke=stroke, css=css, width=3, dash=dash)]
    if piece.bore_m is not None:
        lift = piece.bore_m * frame.px_per_m * frame.exaggeration
        if lift > 3:
            marks.append(
                _line(
                    left, top - lift, right, bottom - lift, stroke=stroke, css=css, width=0.8,
                    dash=dash,
                )
            )  # fmt: skip
    return marks


def _water(section: LongSection, frame: _Frame) -> list[SafeString]:
    marks = []
    for piece in section.pieces:
        if piece.upper_water_m is None or piece.lower_water_m is None:
            continue
        marks.append(
            _line(
                frame.x(piece.upper_chainage_m), frame.y(piece.upper_water_m),
                frame.x(piece.lower_chainage_m), frame.y(piece.lower_water_m),
                stroke=WATER, css="draw-water", width=1.2, dash="9 3 2 3",
            )
        )  # fmt: skip
    return marks


def _as_built(built: Iterable[tuple[float, float]], frame: _Frame) -> list[SafeString]:
    marks = []
    for chainage, level in built:
        x, y = frame.x(chainage), frame.y(level)
        for rise in (4, -4):
            marks.append(
                _line(x - 4, y - rise, x + 4, y + rise, stroke=INK, css="draw-ink", width=1.4)
            )
    return marks


def _labelled(stations: Sequence[Station], frame: _Frame, room_px: float) -> list[Station]:
    """Stations whose labels have room: the ends first, then nodes, then plain joints."""
    ends = [stations[-1], stations[0]]
    rest = sorted(stations[1:-1], key=lambda station: not station.is_node)
    kept: list[Station] = []
    for station in ends + rest:
        x = frame.x(station.chainage_m)
        if all(abs(x - frame.x(other.chainage_m)) >= room_px for other in kept):
            kept.append(station)
    return sorted(kept, key=lambda station: -station.chainage_m)


def _short(name: str, room_px: float) -> str:
    letters = max(3, int(room_px / LETTER_PX))
    return name if len(name) <= letters else f"{name[: letters - 1]}…"


def _figure(value: float | None) -> str:
    return "–" if value is None else f"{value:.2f}"


def _rows(section: LongSection, frame: _Frame, width: float) -> tuple[list[SafeString], float]:
    """The bands under the profile: names, chainage, ground, invert, depth."""
    top = TOP + PROFILE + 8
    stations = _labelled(section.stations, frame, 46)
    bands: tuple[tuple[str, Callable[[Station], str]], ...] = (
        ("at", lambda station: _short(station.name if station.is_node else "", 46)),
        ("chainage", lambda station: f"{station.chainage_m:.0f}"),
        ("ground", lambda station: _figure(station.ground_m)),
        ("invert", lambda station: _figure(station.invert_m)),
        ("depth", lambda station: _figure(station.depth_m)),
    )
    marks: list[SafeString] = []
    for number, (words, figure) in enumerate(bands):
        y = top + (number + 1) * ROW
        marks.append(_line(0, y, width, y, stroke=HAIR, css="draw-hair"))
        marks.append(_text(0, y - 6, words, anchor="start", fill=SOFT, css="draw-soft-fill"))
        for station in stations:
            marks.append(
                _text(
                    frame.x(station.chainage_m), y - 6, figure(station),
                    weight=600 if number == 0 else 400,
                )
            )  # fmt: skip
    bottom = top + len(bands) * ROW
    return marks, bottom


def piece_words(piece: Piece) -> str:
    """'300 mm 1 in 95', as a drawing says it."""
    size = f"{piece.bore_m * 1000:.0f} mm" if piece.bore_m is not None else piece.kind
    fall = f"1 in {piece.one_in:.0f}" if piece.one_in is not None and piece.one_in > 0 else ""
    return f"{size} {fall}".strip()


def _piece_labels(section: LongSection, frame: _Frame, y: float) -> list[SafeString]:
    marks = []
    for piece in section.pieces:
        left, right = frame.x(piece.upper_chainage_m), frame.x(piece.lower_chainage_m)
        words, middle = piece_words(piece), (left + right) / 2
        warn = f"× {piece.fault_words}" if piece.state == "fault" else ""
        warn = "▲ too small" if piece.state == "too_small" else warn
        room = right - left
        colour = {"fill": ACCENT, "css": "draw-accent-fill"} if warn else {}
        if len(words) * LETTER_PX < room:
            marks.append(_text(middle, y - 6, words, **colour))  # type: ignore[arg-type]
        if warn and room > len(warn) * LETTER_PX:
            marks.append(_text(middle, y + 7, warn, **colour))  # type: ignore[arg-type]
    return marks


def draw_long_section(
    section: LongSection, *, width: float = 720, built: Sequence[tuple[float, float]] = ()
) -> SafeString:
    """The long section with its bands of figures, upstream at the left and the outfall at the right.

    ``built`` are (chainage, level) pairs taken on the finished drain, marked by crosses.

    The vertical exaggeration is the greatest round one that fits, and is written on the drawing.
    """
    frame = _frame(section, width)
    marks = _levels(section, frame, width)
    marks += _ground(section, frame)
    for station in section.stations:
        if station.ground_m is not None and station.invert_m is not None:
            x = frame.x(station.chainage_m)
            marks.append(
                _line(
                    x, frame.y(station.ground_m), x, frame.y(station.invert_m) + 2, stroke=INK,
                    css="draw-ink", width=1.2 if station.is_node else 0.6,
                )
            )  # fmt: skip
    for piece in section.pieces:
        marks += _drawn_piece(piece, frame)
    marks += _water(section, frame) + _as_built(built, frame)
    bands, bottom = _rows(section, frame, width)
    marks += bands
    marks += _piece_labels(section, frame, bottom + ROW)
    has_water = any(piece.upper_water_m is not None for piece in section.pieces)
    words = (
        "Solid: standing. Dashed: to be built. "
        f"{'Dash and dot: water or its pressure. ' if has_water else ''}"
        f"{'Crosses: as built. ' if built else ''}"
        f"Metres; chainage from the outfall. Vertical scale ×{frame.exaggeration}."
    )
    bottom += 2 * ROW + 12
    marks.append(_text(0, bottom, words, anchor="start", fill=SOFT, css="draw-soft-fill"))
    outfall = section.outfall_name or "no outfall"
    title = (
        f"Long section from {section.top_name} to {outfall}, {section.length_m:.0f} m, of which "
        f"{section.standing_m:.0f} m stand"
    )
    return format_html(
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {} {}" width="{}" height="{}" '
        'role="img" data-frame="{} {} {} {}"><title>{}</title>{}</svg>',
        f"{width:.0f}", f"{bottom + 8:.0f}", f"{width:.0f}", f"{bottom + 8:.0f}",
        f"{LEFT:.1f}", f"{width - RIGHT:.1f}", f"{TOP:.1f}", f"{TOP + PROFILE:.1f}", title,
        joined(marks),
    )  # fmt: skip


def draw_network(
    check: NetworkCheck, *, addresses: Mapping[str, str], here: str = "", width: float = 520
) -> SafeString:
    """A small map of the reaches: ditch solid, pipe dashed, to be built finely dotted; north is up.

    ``addresses`` gives the page of each reach that shall be a link; ``here`` is drawn heavier.
    """
    if not check.reaches:
        return mark_safe("")
    points = [point for reach in check.given.values() for point in reach.line]
    points += [(node.x_m, node.y_m) for node in check.nodes.values()]
    west, east = min(x for x, _ in points), max(x for x, _ in points)
    south, north = min(y for _, y in points), max(y for _, y in points)
    scale = (width - 24) / max(east - west, 40.0)
    scale = min(scale, (width * 0.9 - 24) / max(north - south, 40.0))
    height = (north - south) * scale + 24

    def place(x: float, y: float) -> tuple[float, float]:
        return 12 + (x - west) * scale, 12 + (north - y) * scale

    if len(check.reaches) > DRAWN_ONE_BY_ONE:
        marks = _drawn_together(check, place)
        marks += [
            _drawn_reach(reach, check, place, "", True, width)
            for reach in check.reaches
            if reach.key == here
        ]
    else:
        marks = [
            _drawn_reach(
                reach, check, place, addresses.get(reach.key, ""), reach.key == here, width
            )
            for reach in check.reaches
        ]
    for node in check.nodes.values():
        x, y = place(node.x_m, node.y_m)
        if node.kind == "outfall":
            marks.append(
                format_html(
                    '<path class="draw-ink draw-sheet-fill" d="M{} {}l6 10h-12z" fill="{}" '
                    'stroke="{}" stroke-width="1.5"><title>outfall {}</title></path>',
                    f"{x:.1f}", f"{y - 5:.1f}", SHEET, INK, node.name,
                )
            )  # fmt: skip
        elif node.kind != "pond":
            marks.append(
                format_html(
                    '<circle class="draw-ink draw-sheet-fill" cx="{}" cy="{}" r="{}" fill="{}" '
                    'stroke="{}" stroke-width="1.2"><title>{} {}</title></circle>',
                    f"{x:.1f}", f"{y:.1f}", "2.6", SHEET, INK, node.kind, node.name,
                )
            )  # fmt: skip
    title = f"The drain network, {len(check.reaches)} reaches, north at the top"
    return format_html(
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {} {}" width="{}" height="{}" '
        'role="group" aria-label="{}">{}</svg>',
        f"{width:.0f}", f"{height:.0f}", f"{width:.0f}", f"{height:.0f}", title, joined(marks),
    )  # fmt: skip


def _style(reach: ReachCheck) -> tuple[str, str, str, float]:
    """Colour, class, dash and width of a reach on the map."""
    stroke, css = (WATER, "draw-water") if reach.kind == "ditch" else (INK, "draw-ink")
    wrong = reach.state in ("fault", "too_small")
    if wrong:
        stroke, css = ACCENT, "draw-accent"
    dash = "1 4" if not reach.standing else ("none" if reach.kind == "ditch" else "6 4")
    return stroke, css, dash, 2.6 if wrong else 1.8


def _drawn_together(
    check: NetworkCheck, place: Callable[[float, float], tuple[float, float]]
) -> list[SafeString]:
    """One path for all reaches drawn alike: a large network stays a small page."""
    paths: dict[tuple[str, str, str, float], list[str]] = {}
    for reach in check.reaches:
        drawn = [place(x, y) for x, y in check.given[reach.key].line]
        corners = "L".join(f"{x:.0f} {y:.0f}" for x, y in drawn)
        paths.setdefault(_style(reach), []).append(f"M{corners}")
    return [
        format_html(
            '<path class="{}" d="{}" fill="none" stroke="{}" stroke-width="{}" '
            'stroke-dasharray="{}"/>',
            css, "".join(parts), stroke, width, dash,
        )
        for (stroke, css, dash, width), parts in paths.items()
    ]  # fmt: skip


def _mark_beside(drawn: Sequence[tuple[float, float]], words: str, width_px: float) -> SafeString:
    """Words beside the middle of a line, never on it: above one that lies, next to one that stands."""
    middle = len(drawn) // 2
    (x1, y1), (x2, y2) = drawn[middle - 1], drawn[middle]
    x, y = (x1 + x2) / 2, (y1 + y2) / 2
    if abs(y2 - y1) <= abs(x2 - x1) / 2:
        half = len(words) * MARK_PX * 0.31
        x, y, anchor = min(max(x, half), width_px - half), y - 6, "middle"
    elif x > width_px * 0.6:
        x, y, anchor = x - 7, y + 5, "end"
    else:
        x, y, anchor = x + 7, y + 5, "start"
    return _text(
        x, y, words, anchor=anchor, fill=ACCENT, css="draw-accent-fill", weight=600, size=MARK_PX
    )


def _drawn_reach(
    reach: ReachCheck,
    check: NetworkCheck,
    place: Callable[[float, float], tuple[float, float]],
    address: str,
    is_here: bool,
    width_px: float,
) -> SafeString:
    drawn = [place(x, y) for x, y in check.given[reach.key].line]
    points = " ".join(f"{x:.1f},{y:.1f}" for x, y in drawn)
    stroke, css, dash, width = _style(reach)
    if is_here:
        width = 4.5
    line = format_html(
        '<polyline class="{}" points="{}" fill="none" stroke="{}" stroke-width="{}" '
        'stroke-dasharray="{}" stroke-linecap="round"><title>{}: {}</title></polyline>',
        css, points, stroke, width, dash, reach.name, reach.verdict,
    )  # fmt: skip
    mark = {"fault": "×", "too_small": "▲", "unknown": "?", "carries": ""}[reach.state]
    if mark:
        line = line + _mark_beside(drawn, f"{mark} {reach.fault_words}".strip(), width_px)
    if not address:
        return line
    # One tab stop a reach would bury the table beside it, which has the same links.
    return format_html('<a href="{}" tabindex="-1" aria-hidden="true">{}</a>', address, line)
