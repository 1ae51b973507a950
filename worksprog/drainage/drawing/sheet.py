"""The long section as an engineer's sheet, to a true scale: one user unit of the SVG is 1 mm."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from django.utils.html import format_html
from django.utils.safestring import SafeString

from worksprog.calc.long_section import LongSection, Piece
from worksprog.calc.section_sheets import Panel, SectionSheets, Span, lay_on_sheets
from worksprog.calc.way import Crossing
from worksprog.drainage.drawing import marks as m

EDGE = 10.0
LABELS = 36.0  # the column that says what each row holds
LEFT_PAD, RIGHT_PAD = 8.0, 8.0
KEY = 8.0  # the strip that explains the lines
LEADERS = 4.0
FOOT = 24.0
SMALL, USUAL, LARGE = 1.9, 2.1, 3.0
COLUMN = 3.5  # least distance of two columns of figures
CLEAR = 5.0  # above the highest level
EVERY_M = (5.0, 10.0, 20.0, 25.0, 50.0, 100.0, 200.0)
EVERY_MM = 14.0
LONGEST_NAME = 14
SAME_M = 0.01
DROP_M = 0.005
CAUTION = (
    "Services not shown may exist: locate them before digging. No trench side can be relied on to "
    "stand unsupported. Local codes and licensed practice decide."
)


@dataclass(frozen=True)
class Paper:
    name: str
    wide_mm: float
    high_mm: float


PAPERS = {"A3": Paper("A3", 420.0, 297.0), "A4": Paper("A4", 297.0, 210.0)}


@dataclass(frozen=True)
class SheetWords:
    """What the title block says."""

    club: str
    levels_from: str
    grid: str
    drawn_on: str
    status: str


@dataclass(frozen=True)
class Drawn:
    """One sheet."""

    number: int
    panel: Panel
    svg: SafeString
    words: str


@dataclass(frozen=True)
class Column:
    """One column of figures in the band under the profile."""

    chainage_m: float
    name: str
    ground_m: float | None
    invert_m: float | None
    cover_m: float | None
    water_m: float | None
    rank: int  # what gives way first where columns are too many: the highest

    @property
    def depth_m(self) -> float | None:
        if self.ground_m is None or self.invert_m is None:
            return None
        return self.ground_m - self.invert_m


def _two(value: float | None) -> str:
    return "–" if value is None else f"{value:.2f}"


def _three(value: float | None) -> str:
    return "–" if value is None else f"{value:.3f}"


Row = tuple[str, float, Callable[[Column], str]]
ROWS: tuple[Row, ...] = (
    ("Chainage, m", 9.5, lambda column: _two(column.chainage_m)),
    ("Ground level, m", 10.5, lambda column: _three(column.ground_m)),
    ("Invert level, m", 10.5, lambda column: _three(column.invert_m)),
    ("Depth to invert, m", 7.5, lambda column: _two(column.depth_m)),
    ("Cover to crown, m", 7.5, lambda column: _two(column.cover_m)),
    ("Water level, m", 10.5, lambda column: _three(column.water_m)),
)
SIZE_ROW, GRADIENT_ROW = 7.5, 7.5


def _name_row(names: Sequence[str]) -> float:
    longest = max((len(name) for name in names), default=0)
    return max(9.5, min(longest, LONGEST_NAME) * USUAL * m.EM + 3)


def _rows_for(section: LongSection) -> tuple[Row, ...]:
    """The rows of figures, without those that have none on any sheet."""
    has_pipe = any(piece.bore_m is not None for piece in section.pieces)
    has_water = any(piece.upper_water_m is not None for piece in section.pieces)
    left_out = ({"Cover to crown, m"} if not has_pipe else set()) | (
        {"Water level, m"} if not has_water else set()
    )
    return tuple(row for row in ROWS if row[0] not in left_out)


def _pieces_at(section: LongSection, chainage: float) -> list[Piece]:
    return [
        piece
        for piece in section.pieces
        if piece.lower_chainage_m - 1e-6 <= chainage <= piece.upper_chainage_m + 1e-6
    ]


def _column(
    section: LongSection, piece: Piece, chainage: float, name: str, ground: float | None, rank: int
) -> Column:
    invert = piece.invert_at(chainage)
    cover = None
    if ground is not None and invert is not None and piece.bore_m is not None:
        cover = ground - invert - piece.bore_m
    # Between its ends the water's surface is curved, and only drawn straight: no figure there.
    ends = (piece.lower_chainage_m, piece.upper_chainage_m)
    at_end = min(abs(chainage - end) for end in ends) < 0.005
    water = piece.water_at(chainage) if at_end else None
    return Column(chainage, name, ground, invert, cover, water, rank)


def _columns(
    section: LongSection, crossings: Sequence[Crossing], matches: Sequence[float], every_m: float
) -> list[Column]:
    """From the top down. A drop has two columns at one place: what arrives, then what leaves."""
    found: list[Column] = []
    for station in section.stations:
        pieces = _pieces_at(section, station.chainage_m)
        rank = 0 if station.is_node else 1
        name = station.name if station.is_node else ""
        columns = [
            _column(section, piece, station.chainage_m, name, station.ground_m, rank)
            for piece in (pieces[0], pieces[-1])
        ]
        first, second = columns[0], columns[-1]
        drops = (
            first.invert_m is not None
            and second.invert_m is not None
            and abs(first.invert_m - second.invert_m) > DROP_M
        )
        found += columns if drops else [second if first.invert_m is None else first]
    between = [(crossing.chainage_m, crossing.name, 2) for crossing in crossings]
    for chainage, name, rank in [*between, *((chainage, "", 1) for chainage in matches)]:
        if any(abs(one.chainage_m - chainage) < SAME_M for one in found):
            continue
        piece = _pieces_at(section, chainage)[0]
        found.append(_column(section, piece, chainage, name, section.ground_at(chainage), rank))
    taken = [column.chainage_m for column in found]
    chainage = every_m
    while chainage < section.length_m:
        if all(abs(one - chainage) >= every_m * 0.3 for one in taken):
            piece = _pieces_at(section, chainage)[0]
            found.append(_column(section, piece, chainage, "", section.ground_at(chainage), 3))
        chainage += every_m
    return sorted(found, key=lambda column: -column.chainage_m)


def _spans(section: LongSection, built: Sequence[tuple[float, float]]) -> list[Span]:
    chainages = {point.chainage_m for point in section.ground}
    chainages |= {station.chainage_m for station in section.stations}
    found = []
    for chainage in sorted(chainages):
        levels = [section.ground_at(chainage)]
        levels += [s.ground_m for s in section.stations if abs(s.chainage_m - chainage) < 1e-6]
        for piece in _pieces_at(section, chainage):
            invert = piece.invert_at(chainage)
            levels += [invert, piece.water_at(chainage)]
            if invert is not None and piece.bore_m is not None:
                levels.append(invert + piece.bore_m)
        known = [level for level in levels if level is not None]
        if known:
            found.append(Span(chainage, min(known), max(known)))
    return found + [Span(chainage, level, level) for chainage, level in built]


def _spread(wanted: Sequence[float], left: float, right: float) -> list[float]:
    """Places at least a column apart, each as near to where it belongs as the others let it."""
    if not wanted:
        return []
    groups: list[list[float]] = []  # [sum of wanted starts, count]
    for number, x in enumerate(wanted):
        groups.append([x - number * COLUMN, 1.0])
        while len(groups) > 1 and groups[-2][0] / groups[-2][1] > groups[-1][0] / groups[-1][1]:
            total, count = groups.pop()
            groups[-1][0] += total
            groups[-1][1] += count
    last = right - (len(wanted) - 1) * COLUMN
    starts = [
        min(max(total / count, left), max(last, left))
        for total, count in groups
        for _ in range(int(count))
    ]
    return [start + number * COLUMN for number, start in enumerate(starts)]


class _Sheet:
    """One panel on one paper."""

    def __init__(
        self,
        section: LongSection,
        laid: SectionSheets,
        number: int,
        paper: Paper,
        columns: Sequence[Column],
        band_mm: float,
    ) -> None:
        self.section, self.laid, self.number, self.paper = section, laid, number, paper
        self.panel = laid.panels[number]
        self.left = EDGE + LABELS + LEFT_PAD
        self.right = paper.wide_mm - EDGE - RIGHT_PAD
        self.band_top = paper.high_mm - EDGE - FOOT - band_mm
        self.datum_y = self.band_top - LEADERS
        self.columns, self.left_out = self._kept(columns)

    def _kept(self, columns: Sequence[Column]) -> tuple[list[Column], int]:
        inside = [
            column
            for column in columns
            if self.panel.lower_chainage_m - 1e-6
            <= column.chainage_m
            <= self.panel.upper_chainage_m + 1e-6
        ]
        room = int((self.right - self.left) / COLUMN) + 1
        if len(inside) <= room:
            return inside, 0
        kept = sorted(inside, key=lambda column: column.rank)[:room]
        marked = sum(column.rank < 3 for column in inside) - sum(column.rank < 3 for column in kept)
        return sorted(kept, key=lambda column: -column.chainage_m), marked

    def x(self, chainage_m: float) -> float:
        return self.left + self.laid.x_mm(self.panel, chainage_m)

    def y(self, level_m: float) -> float:
        return self.datum_y - self.laid.y_mm(self.panel, level_m)

    def clipped(self, upper: float, lower: float) -> tuple[float, float] | None:
        top = min(upper, self.panel.upper_chainage_m)
        bottom = max(lower, self.panel.lower_chainage_m)
        return (top, bottom) if top - bottom > 1e-6 else None

    def drawn_line(
        self, points: Sequence[tuple[float, float]], *, width: float, stroke: str = m.INK,
        dash: str = "",
    ) -> SafeString:  # fmt: skip
        """A line of (chainage, level) from the top down, cut off at the panel's ends."""
        inside: list[tuple[float, float]] = []
        for (upper, high), (lower, low) in pairwise(points):
            part = self.clipped(upper, lower)
            if part is None:
                continue
            fall = (high - low) / (upper - lower)
            for chainage in part:
                place = (self.x(chainage), self.y(low + fall * (chainage - lower)))
                if not inside or place != inside[-1]:
                    inside.append(place)
        return m.polyline(inside, width=width, stroke=stroke, dash=dash) if inside else m.joined([])

    def profile(
        self,
        crossings: Sequence[Crossing],
        built: Sequence[tuple[float, float]],
        chambers: Sequence[float],
    ) -> list[SafeString]:
        out = self._scale_of_levels() + self._ordinates()
        ground = [(point.chainage_m, point.level_m) for point in self.section.ground]
        for run in _unbroken(ground):
            out.append(self.drawn_line(run, width=0.35, stroke=m.GROUND))
        for station in self.section.stations:
            if any(abs(one - station.chainage_m) < SAME_M for one in chambers):
                out += self._chamber(station.chainage_m, station.ground_m)
        for piece in self.section.pieces:
            out += self._piece(piece)
        for crossing in crossings:
            if self._has(crossing.chainage_m):
                out += self._crossing(crossing)
        for chainage, level in built:
            if self._has(chainage):
                x, y = self.x(chainage), self.y(level)
                out.append(m.line(x - 0.9, y - 0.9, x + 0.9, y + 0.9, width=0.3))
                out.append(m.line(x - 0.9, y + 0.9, x + 0.9, y - 0.9, width=0.3))
        return out + self._match_lines()

    def _has(self, chainage: float) -> bool:
        return self.panel.lower_chainage_m - 1e-6 <= chainage <= self.panel.upper_chainage_m + 1e-6

    def _scale_of_levels(self) -> list[SafeString]:
        axis = self.left - 6
        out = [
            m.line(EDGE, self.datum_y, self.right + 3, self.datum_y, width=0.5),
            m.letters(
                EDGE + 1.5, self.datum_y - 1.2, f"Datum {self.panel.datum_m:.2f} m", size=USUAL,
                weight=600,
            ),
            m.line(axis, self.datum_y, axis, self.top, width=0.25),
        ]  # fmt: skip
        step = self.laid.vertical / 100
        end = self.x(self.panel.lower_chainage_m)
        number = 1
        while self.datum_y - number * 10 > self.top + 2:
            y = self.datum_y - number * 10
            out.append(m.line(axis - 1.2, y, axis, y, width=0.25))
            out.append(m.line(self.left, y, end, y, width=0.1, stroke=m.HAIR))
            out.append(
                m.letters(
                    axis - 2, y + 0.7, f"{self.panel.datum_m + number * step:.2f}", size=SMALL,
                    anchor="end", fill=m.SOFT,
                )
            )  # fmt: skip
            number += 1
        return out

    @property
    def top(self) -> float:
        return EDGE + KEY

    def _ordinates(self) -> list[SafeString]:
        out = []
        for column in self.columns:
            top = column.ground_m if column.ground_m is not None else column.invert_m
            if top is not None:
                x = self.x(column.chainage_m)
                out.append(m.line(x, self.datum_y, x, self.y(top), width=0.1, stroke=m.SOFT))
        return out

    def _chamber(self, chainage: float, ground: float | None) -> list[SafeString]:
        inverts = [
            level
            for piece in _pieces_at(self.section, chainage)
            if (level := piece.invert_at(chainage)) is not None
        ]
        if ground is None or not inverts or not self._has(chainage):
            return []
        x, top, foot = self.x(chainage), self.y(ground), self.y(min(inverts))
        if foot <= top:
            return []
        return [m.box(x - 0.8, top, 1.6, foot - top, width=0.3, fill="#ffffff")]

    def _piece(self, piece: Piece) -> list[SafeString]:
        upper, lower = piece.upper_chainage_m, piece.lower_chainage_m
        part = self.clipped(upper, lower)
        if part is None:
            return []
        if piece.upper_invert_m is None or piece.lower_invert_m is None:
            middle = (self.x(part[0]) + self.x(part[1])) / 2
            room = self.x(part[1]) - self.x(part[0])
            words = m.fitted("level missing", room, USUAL)
            return [m.letters(middle, self.datum_y - 3, words, size=USUAL, anchor="middle")]
        dash = "" if piece.standing else "3 1.2"
        ends = [(upper, piece.upper_invert_m), (lower, piece.lower_invert_m)]
        out = [self.drawn_line(ends, width=0.5, dash=dash)]
        if piece.bore_m is not None:
            crown = [(chainage, level + piece.bore_m) for chainage, level in ends]
            out.append(self.drawn_line(crown, width=0.25, dash=dash))
        if piece.upper_water_m is not None and piece.lower_water_m is not None:
            water = [(upper, piece.upper_water_m), (lower, piece.lower_water_m)]
            out.append(self.drawn_line(water, width=0.3, stroke=m.WATER, dash="4 1 0.6 1"))
        return out

    def _crossing(self, crossing: Crossing) -> list[SafeString]:
        x = self.x(crossing.chainage_m)
        if crossing.level_m is not None:
            y = self.y(crossing.level_m)
            return [
                format_html(
                    '<circle cx="{}" cy="{}" r="0.9" fill="#ffffff" stroke="{}" '
                    'stroke-width="0.3"/>',
                    f"{x:.3f}", f"{y:.3f}", m.INK,
                )
            ]  # fmt: skip
        ground = self.section.ground_at(crossing.chainage_m)
        y = self.top + 4 if ground is None else self.y(ground)
        diamond = [(x, y - 2.6), (x + 1.1, y - 1.3), (x, y), (x - 1.1, y - 1.3), (x, y - 2.6)]
        return [
            m.line(x, y, x, self.datum_y, width=0.25, dash="0.5 1"),
            m.polyline(diamond, width=0.3),
        ]

    def _match_lines(self) -> list[SafeString]:
        out = []
        many = len(self.laid.panels)
        for chainage, is_there, other in (
            (self.panel.upper_chainage_m, self.number > 0, self.number),
            (self.panel.lower_chainage_m, self.number < many - 1, self.number + 2),
        ):
            if is_there:
                x = self.x(chainage)
                out.append(m.line(x, self.top + 1, x, self.datum_y, width=0.5, dash="6 1.5 1 1.5"))
                side = x - 1.2 if chainage == self.panel.upper_chainage_m else x + 2.8
                out.append(
                    m.letters(
                        side, self.top + 3, f"match line {chainage:.0f} m, sheet {other}",
                        size=SMALL, upright=True, anchor="end",
                    )
                )  # fmt: skip
        return out

    def key(self, *, water: bool, built: bool, crossings: bool, joins: bool) -> list[SafeString]:
        y = EDGE + 4.6
        x = EDGE + 3.0
        out: list[SafeString] = []

        def entry(words: str, sample: Callable[[float], list[SafeString]]) -> None:
            nonlocal x
            out.extend(sample(x))
            out.append(m.letters(x + 10, y, words, size=SMALL))
            x += 10 + m.width_mm(words, SMALL) + 5

        level = y - 0.7
        pieces = self.section.pieces
        if self.section.ground:
            entry(
                "ground", lambda at: [m.line(at, level, at + 8, level, width=0.35, stroke=m.GROUND)]
            )
        if any(piece.standing for piece in pieces):
            entry("invert or bed, stands", lambda at: [m.line(at, level, at + 8, level, width=0.5)])
        if any(not piece.standing for piece in pieces):
            entry(
                "invert or bed, to be built",
                lambda at: [m.line(at, level, at + 8, level, width=0.5, dash="3 1.2")],
            )
        if any(piece.bore_m is not None for piece in pieces):
            entry("crown", lambda at: [m.line(at, level, at + 8, level, width=0.25)])
        if water:
            entry(
                "water or pressure line, design storm",
                lambda at: [
                    m.line(at, level, at + 8, level, width=0.3, stroke=m.WATER, dash="4 1 0.6 1")
                ],
            )
        if crossings:
            entry(
                "crosses, depth not known",
                lambda at: [
                    m.polyline(
                        [(at + 4, y - 2), (at + 5, y - 0.8), (at + 4, y + 0.4), (at + 3, y - 0.8),
                         (at + 4, y - 2)], width=0.3)
                ],
            )  # fmt: skip
        if joins:
            entry(
                "drain joins or crosses, invert",
                lambda at: [
                    format_html(
                        '<circle cx="{}" cy="{}" r="0.9" fill="#ffffff" stroke="{}" '
                        'stroke-width="0.3"/>', f"{at + 4:.3f}", f"{level:.3f}", m.INK)
                ],
            )  # fmt: skip
        if built:
            entry(
                "invert as built",
                lambda at: [
                    m.line(at + 3.1, level - 0.9, at + 4.9, level + 0.9, width=0.3),
                    m.line(at + 3.1, level + 0.9, at + 4.9, level - 0.9, width=0.3),
                ],
            )
        return out

    def band(
        self, materials: dict[str, str], name_row: float, figures: Sequence[Row]
    ) -> list[SafeString]:
        """The rows of figures, ruled, with a leader from each place to its column."""
        places = _spread(
            [self.x(column.chainage_m) for column in self.columns], self.left, self.right
        )
        out: list[SafeString] = []
        for column, place in zip(self.columns, places, strict=True):
            x = self.x(column.chainage_m)
            out.append(m.line(x, self.datum_y, place, self.band_top, width=0.12))
        y = self.band_top
        ends = (EDGE, self.paper.wide_mm - EDGE)
        rows = (("At", name_row, _short_name), *figures)
        for words, high, figure in rows:
            out.append(m.line(ends[0], y, ends[1], y, width=0.18))
            out.append(m.letters(EDGE + 1.5, y + high / 2 + 0.7, words, size=USUAL))
            for column, place in zip(self.columns, places, strict=True):
                weight = 600 if column.name and words == "At" else 400
                out.append(
                    m.letters(
                        place + 0.72, y + high / 2, figure(column), size=USUAL, anchor="middle",
                        weight=weight, upright=True,
                    )
                )  # fmt: skip
            y += high
        for words, high in (("Size and material", SIZE_ROW), ("Gradient and length", GRADIENT_ROW)):
            out.append(m.line(ends[0], y, ends[1], y, width=0.18))
            out.append(m.letters(EDGE + 1.5, y + high / 2 + 0.7, words, size=USUAL))
            for piece in self.section.pieces:
                out += self._along(piece, y, high, materials, sizes=words.startswith("Size"))
            y += high
        out.append(m.line(ends[0], y, ends[1], y, width=0.35))
        out.append(m.line(EDGE + LABELS, self.datum_y, EDGE + LABELS, y, width=0.18))
        return out

    def _along(
        self, piece: Piece, y: float, high: float, materials: dict[str, str], *, sizes: bool
    ) -> list[SafeString]:
        part = self.clipped(piece.upper_chainage_m, piece.lower_chainage_m)
        if part is None:
            return []
        left, right = self.x(part[0]), self.x(part[1])
        length = piece.upper_chainage_m - piece.lower_chainage_m
        if sizes:
            size, _, more = piece.size.partition(", ")
            words = (size or f"{piece.kind}, not sized", materials.get(piece.key) or more)
        else:
            fall = "level"
            if piece.one_in is None:
                fall = "–"
            elif piece.one_in > 0:
                fall = f"1 in {piece.one_in:.0f}"
            elif piece.one_in < 0:
                fall = f"rises 1 in {-piece.one_in:.0f}"
            words = (fall, f"{length:.1f} m")
        out = [m.line(right, y, right, y + high, width=0.18)]
        out.append(m.line(left, y, left, y + high, width=0.18))
        room = right - left - 1.2
        for number, said in enumerate(words):
            fitting = m.fitted(said, room, USUAL)
            out.append(
                m.letters(
                    (left + right) / 2, y + 3.0 + number * 3.2, fitting, size=USUAL, anchor="middle"
                )
            )
        return out

    def title_block(self, words: SheetWords) -> list[SafeString]:
        top = self.paper.high_mm - EDGE - FOOT
        wide = self.paper.wide_mm - 2 * EDGE
        section, panel = self.section, self.panel
        out = [m.line(EDGE, top + 4.6, EDGE + wide, top + 4.6, width=0.18)]
        caution = CAUTION
        if self.left_out:
            caution = f"{self.left_out} places are left out of the band for want of room. {CAUTION}"
        out.append(m.letters(EDGE + 1.5, top + 3.2, m.fitted(caution, wide - 3, SMALL), size=SMALL))
        title = f"Long section, {section.top_name} to {section.outfall_name or 'its end'}"
        cells = (
            ("Club", words.club, 0.17),
            ("Drawing", f"{title}, chainage {panel.upper_chainage_m:.1f} to "
                        f"{panel.lower_chainage_m:.1f}\u00a0m", 0.25),
            ("Levels from", f"{words.levels_from}. Grid {words.grid}", 0.2),
            ("Scale", f"1:{self.laid.horizontal} across, 1:{self.laid.vertical} up, on "
                      f"{self.paper.name} printed at full size", 0.14),
            ("Drawn on", words.drawn_on, 0.08),
            ("Status", f"{words.status}. Not reviewed by a chartered engineer", 0.16),
        )  # fmt: skip
        used = sum(share for _, _, share in cells)
        last = wide * 0.06
        x = EDGE
        for label, said, share in cells:
            room = (wide - last) * share / used
            out += self._cell(label, said, x, top + 4.6, room)
            x += room
            out.append(m.line(x, top + 4.6, x, top + FOOT, width=0.25))
        out += self._cell(
            "Sheet", f"{self.number + 1} of {len(self.laid.panels)}", x, top + 4.6, last
        )
        return out

    def _cell(self, label: str, said: str, x: float, y: float, room: float) -> list[SafeString]:
        size = USUAL + 0.1
        out = [m.letters(x + 1.5, y + 3.2, label, size=SMALL, fill=m.SOFT)]
        for number, line in enumerate(m.wrapped(said, room - 3, size, 5)):
            out.append(m.letters(x + 1.5, y + 6.6 + number * 2.9, line, size=size))
        return out


def _short_name(column: Column) -> str:
    name = column.name
    return name if len(name) <= LONGEST_NAME else f"{name[: LONGEST_NAME - 1]}…"


def _unbroken(points: Sequence[tuple[float, float]]) -> list[list[tuple[float, float]]]:
    """The ground in stretches: where it is not known, no line is drawn."""
    runs: list[list[tuple[float, float]]] = []
    for point in points:
        if runs and runs[-1][-1][0] - point[0] <= 10.0:
            runs[-1].append(point)
        else:
            runs.append([point])
    return runs


def _every_m(horizontal: int) -> float:
    fitting = [step for step in EVERY_M if step * 1000 / horizontal >= EVERY_MM]
    return fitting[0] if fitting else EVERY_M[-1]


def draw_sheets(
    section: LongSection,
    words: SheetWords,
    *,
    paper: Paper,
    crossings: Sequence[Crossing] = (),
    chambers: Sequence[float] = (),
    materials: dict[str, str] | None = None,
    built: Sequence[tuple[float, float]] = (),
    horizontal: int | None = None,
    vertical: int | None = None,
    most_sheets: int = 40,
) -> tuple[SectionSheets, list[Drawn]]:
    """The sheets from the top of the drain down to its outfall.

    ``chambers`` are the chainages of those; ``built`` are (chainage, level) pairs taken on the
    finished drain. ValueError as by
    ``calc.section_sheets.lay_on_sheets``.
    """
    names = [station.name for station in section.stations if station.is_node]
    name_row = _name_row([*names, *(crossing.name for crossing in crossings)])
    rows = _rows_for(section)
    band = name_row + sum(high for _, high, _ in rows) + SIZE_ROW + GRADIENT_ROW
    laid = lay_on_sheets(
        _spans(section, built),
        length_m=section.length_m,
        width_mm=paper.wide_mm - 2 * EDGE - LABELS - LEFT_PAD - RIGHT_PAD,
        height_mm=paper.high_mm - 2 * EDGE - KEY - FOOT - LEADERS - band - CLEAR,
        horizontal=horizontal,
        vertical=vertical,
        most_sheets=most_sheets,
    )
    matches = [panel.lower_chainage_m for panel in laid.panels[:-1]]
    columns = _columns(section, crossings, matches, _every_m(laid.horizontal))
    drawn = []
    for number, panel in enumerate(laid.panels):
        sheet = _Sheet(section, laid, number, paper, columns, band)
        frame = m.box(EDGE, EDGE, paper.wide_mm - 2 * EDGE, paper.high_mm - 2 * EDGE, width=0.5)
        parts = [
            m.box(0, 0, paper.wide_mm, paper.high_mm, width=0, fill="#ffffff", stroke="none"),
            frame,
            *sheet.profile(crossings, built, chambers),
            *sheet.key(
                water=any(piece.upper_water_m is not None for piece in section.pieces),
                built=bool(built),
                crossings=any(one.level_m is None for one in crossings),
                joins=any(one.level_m is not None for one in crossings),
            ),
            m.line(EDGE, EDGE + KEY, paper.wide_mm - EDGE, EDGE + KEY, width=0.18),
            *sheet.band(materials or {}, name_row, rows),
            *sheet.title_block(words),
        ]
        said = (
            f"Long section from {section.top_name} to {section.outfall_name or 'its end'}, chainage "
            f"{panel.upper_chainage_m:.1f} to {panel.lower_chainage_m:.1f} m, sheet {number + 1} "
            f"of {len(laid.panels)}, 1:{laid.horizontal} across and 1:{laid.vertical} up"
        )
        svg = format_html(
            '<svg xmlns="http://www.w3.org/2000/svg" width="{0}mm" height="{1}mm" '
            'viewBox="0 0 {0} {1}" role="img"><title>{2}</title>{3}</svg>',
            f"{paper.wide_mm:g}", f"{paper.high_mm:g}", said, m.joined(parts),
        )  # fmt: skip
        drawn.append(Drawn(number + 1, panel, svg, said))
    return laid, drawn
