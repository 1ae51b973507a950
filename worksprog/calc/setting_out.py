"""Setting out a drain: stakes at even chainages and at every point that matters, what a laser and a
staff need there.

Chainage runs upstream from the outfall, the way a drain is dug and laid.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from worksprog.calc.as_built import USUAL_WALL_SHARE
from worksprog.calc.way import Crossing, Point, Way, WayPiece
from worksprog.calc.working import Step, Working

GroundAt = Callable[[float, float], float | None]
SAME_GRADIENT = 1e-5  # 1 mm in 100 m: no staff tells them apart
SAME_STAKE_M = 0.01
DROP_M = 0.005
STAFF_M = 5.0
MOST_STAKES = 2000


@dataclass(frozen=True)
class LineOfSight:
    """The height of a level's or laser's line: a known point and the staff read on it (m)."""

    mark_level_m: float
    back_sight_m: float

    def __post_init__(self) -> None:
        if not math.isfinite(self.mark_level_m) or not -500 <= self.mark_level_m <= 9000:
            raise ValueError(f"A bench mark at {self.mark_level_m:g} m cannot be.")
        if not 0 <= self.back_sight_m <= STAFF_M:
            raise ValueError(
                f"A staff reading is from 0 to {STAFF_M:g} m; {self.back_sight_m:g} was given."
            )

    @property
    def level_m(self) -> float:
        """Height of collimation = mark + back sight."""
        return self.mark_level_m + self.back_sight_m

    def reading_on(self, level_m: float) -> float:
        """Reading = height of collimation − level; below 0 where the point stands above the line."""
        return self.level_m - level_m


@dataclass(frozen=True)
class Wish:
    """How it is to be set out.

    every_m   even stations; bed_m what lies under the pipe; wall_m of the pipe, None for 7 % of
    its bore (common practice, no source); offset_m of the pegs beside the line, None for none
    """

    every_m: float = 10.0
    bed_m: float = 0.1
    wall_m: float | None = None
    offset_m: float | None = None
    sight: LineOfSight | None = None

    def __post_init__(self) -> None:
        if not math.isfinite(self.every_m) or not 0.5 <= self.every_m <= 100:
            raise ValueError(f"Stations are 0.5 to 100 m apart; {self.every_m:g} m was asked for.")
        if not math.isfinite(self.bed_m) or not 0 <= self.bed_m <= 1:
            raise ValueError(f"A bed is from 0 to 1 m thick; {self.bed_m:g} m was given.")
        if self.wall_m is not None and not 0 <= self.wall_m <= 0.3:
            raise ValueError(f"A pipe's wall is from 0 to 0.3 m; {self.wall_m:g} m was given.")
        if self.offset_m is not None and not 0 < self.offset_m <= 50:
            raise ValueError(
                f"Pegs stand up to 50 m beside a line; {self.offset_m:g} was asked for."
            )


@dataclass(frozen=True)
class Stake:
    """One line of the table. Where a drain drops, the same place stands twice: below and above."""

    chainage_m: float
    what: tuple[str, ...]
    reach_key: str
    reach_name: str
    kind: str
    place: Point
    ground_m: float | None
    invert_m: float | None
    bottom_m: float | None  # of the trench: under the bed of a pipe, the bed of a ditch
    gradient: float | None  # of the stretch above it, and at the top of the one below
    left: Point | None
    right: Point | None
    invert_reading_m: float | None
    bottom_reading_m: float | None

    @property
    def dig_m(self) -> float | None:
        """Ground to the bottom of the trench; below 0 where the ground lies under it."""
        if self.ground_m is None or self.bottom_m is None:
            return None
        return self.ground_m - self.bottom_m

    @property
    def reading_words(self) -> str:
        """Why the staff cannot be read at the bottom; "" when it can."""
        if self.bottom_reading_m is None:
            return ""
        if self.bottom_reading_m < 0:
            return "above the line of sight"
        return f"beyond a {STAFF_M:g} m staff" if self.bottom_reading_m > STAFF_M else ""


@dataclass(frozen=True)
class Run:
    """A stretch of one gradient, for which a laser is set once. It is laid from its lower end."""

    lower_chainage_m: float
    upper_chainage_m: float
    lower_invert_m: float
    upper_invert_m: float
    names: tuple[str, ...]

    @property
    def length_m(self) -> float:
        return self.upper_chainage_m - self.lower_chainage_m

    @property
    def gradient(self) -> float:
        return (self.upper_invert_m - self.lower_invert_m) / self.length_m

    @property
    def percent(self) -> float:
        """What is dialled in: above 0 rises ahead of one who lays upstream."""
        return self.gradient * 100

    @property
    def one_in(self) -> float | None:
        return 1 / self.gradient if abs(self.gradient) > 1e-9 else None

    def working(self) -> Working:
        return Working(
            title=f"Laser, {self.lower_chainage_m:.1f} to {self.upper_chainage_m:.1f} m",
            steps=(
                Step("u", "upper invert", f"{self.upper_invert_m:.3f}", "m"),
                Step("d", "lower invert", f"{self.lower_invert_m:.3f}", "m"),
                Step("L", "length along the line", f"{self.length_m:.2f}", "m"),
                Step("S", "gradient", f"{self.percent:.3f}", "%", formula="S = 100 (u − d) / L"),
            ),
        )


@dataclass(frozen=True)
class SettingOut:
    """Stakes and runs, from the outfall up."""

    wish: Wish
    stakes: tuple[Stake, ...]
    runs: tuple[Run, ...]
    missing: tuple[str, ...] = field(default=())  # reaches without both levels

    @property
    def deepest(self) -> Stake | None:
        dug = [stake for stake in self.stakes if stake.dig_m is not None]
        return max(dug, key=lambda stake: stake.dig_m or 0.0, default=None)


def set_out(
    way: Way,
    wish: Wish,
    *,
    names: Sequence[tuple[float, str]] = (),
    crossings: Sequence[Crossing] = (),
    ground_at: GroundAt | None = None,
) -> SettingOut:
    """The table for a way.

    Stations every ``wish.every_m`` from the outfall, and one wherever pieces meet, the gradient
    changes, the line bends, a drain joins or something crosses. ``names`` (chainage, name) are
    chambers and other nodes; ``ground_at`` gives a level or None.

    Level of a point = lower invert + share of the length × (upper − lower invert); trench bottom =
    invert − wall − bed. ValueError when the wish makes more than 2,000 stations.
    """
    if way.length_m / wish.every_m > MOST_STAKES:
        raise ValueError(
            f"Every {wish.every_m:g} m over {way.length_m:.0f} m makes more than {MOST_STAKES:,} "
            "stations: choose a greater distance."
        )
    marked = _marked(way, wish, names, crossings)
    stakes: list[Stake] = []
    for chainage, words in marked:
        stakes += _stakes_at(way, wish, chainage, words, ground_at)
    return SettingOut(
        wish,
        tuple(stakes),
        tuple(_runs(way)),
        tuple(piece.name for piece in way.pieces if piece.gradient is None),
    )


def _marked(
    way: Way, wish: Wish, names: Sequence[tuple[float, str]], crossings: Sequence[Crossing]
) -> list[tuple[float, tuple[str, ...]]]:
    """Chainages from the outfall up, each with what is there; places within a centimetre are one."""
    points: list[tuple[float, str]] = list(names)
    points += [(piece.lower_chainage_m, "") for piece in way.pieces]
    points.append((way.length_m, ""))
    points += [
        (one.chainage_m, f"{one.name} joins" if one.joins else f"crosses {one.what} {one.name}")
        for one in crossings
    ]
    points += [(chainage, "bend") for chainage in way.bends()]
    for upper, lower in zip(way.pieces, way.pieces[1:], strict=False):
        if upper.gradient is None or lower.gradient is None:
            continue
        if abs(upper.gradient - lower.gradient) > SAME_GRADIENT:
            points.append((lower.upper_chainage_m, "gradient changes"))
    points += [
        (number * wish.every_m, "") for number in range(int(way.length_m / wish.every_m) + 1)
    ]
    found: list[tuple[float, list[str]]] = []
    # What is there outranks an even station within a centimetre: it keeps its own chainage.
    for chainage, words in sorted(points, key=lambda one: (round(one[0], 2), one[1] == "")):
        if found and abs(found[-1][0] - chainage) <= SAME_STAKE_M:
            if words and words not in found[-1][1]:
                found[-1][1].append(words)
        else:
            found.append((chainage, [words] if words else []))
    return [(chainage, tuple(words)) for chainage, words in found]


def _stakes_at(
    way: Way, wish: Wish, chainage: float, words: tuple[str, ...], ground_at: GroundAt | None
) -> list[Stake]:
    chainage = min(max(chainage, 0.0), way.length_m)
    pieces = way.pieces_at(chainage)  # the upper one first
    place = way.place_at(chainage)
    ground = None if ground_at is None else ground_at(*place)
    left = right = None
    if wish.offset_m is not None:
        left = way.peg_at(chainage, wish.offset_m, "left")
        right = way.peg_at(chainage, wish.offset_m, "right")
    shown: list[tuple[WayPiece, tuple[str, ...]]] = [(pieces[0], words)]
    if len(pieces) > 1:
        upper, lower = pieces[0].invert_at(chainage), pieces[-1].invert_at(chainage)
        dug = (_bottom(pieces[0], upper, wish), _bottom(pieces[-1], lower, wish))
        if _apart(upper, lower) or _apart(*dug):
            shown = [
                (pieces[-1], (*words, f"drain below, {pieces[-1].name}")),
                (pieces[0], (*words, f"drain above, {pieces[0].name}")),
            ]
    stakes = []
    for piece, said in shown:
        invert = piece.invert_at(chainage)
        bottom = _bottom(piece, invert, wish)
        sight = wish.sight
        stakes.append(
            Stake(
                chainage_m=chainage,
                what=said,
                reach_key=piece.key,
                reach_name=piece.name,
                kind=piece.kind,
                place=place,
                ground_m=ground,
                invert_m=invert,
                bottom_m=bottom,
                gradient=piece.gradient,
                left=left,
                right=right,
                invert_reading_m=None if sight is None or invert is None else sight.reading_on(invert),
                bottom_reading_m=None if sight is None or bottom is None else sight.reading_on(bottom),
            )
        )  # fmt: skip
    return stakes


def _apart(first: float | None, second: float | None) -> bool:
    return first is not None and second is not None and abs(first - second) > DROP_M


def _bottom(piece: WayPiece, invert: float | None, wish: Wish) -> float | None:
    if invert is None:
        return None
    if piece.kind != "pipe":
        return invert
    wall = wish.wall_m if wish.wall_m is not None else USUAL_WALL_SHARE * (piece.bore_m or 0.0)
    return invert - wall - wish.bed_m


def _runs(way: Way) -> list[Run]:
    """Pieces of one gradient that meet without a drop are one run."""
    runs: list[Run] = []
    for piece in reversed(way.pieces):
        if piece.upper_invert_m is None or piece.lower_invert_m is None:
            continue
        last = runs[-1] if runs else None
        if (
            last is not None
            and piece.gradient is not None
            and abs(last.gradient - piece.gradient) <= SAME_GRADIENT
            and abs(last.upper_chainage_m - piece.lower_chainage_m) <= SAME_STAKE_M
            and abs(last.upper_invert_m - piece.lower_invert_m) <= DROP_M
        ):
            runs[-1] = Run(
                last.lower_chainage_m, piece.upper_chainage_m, last.lower_invert_m,
                piece.upper_invert_m, (*last.names, piece.name),
            )  # fmt: skip
        else:
            runs.append(
                Run(
                    piece.lower_chainage_m, piece.upper_chainage_m, piece.lower_invert_m,
                    piece.upper_invert_m, (piece.name,),
                )
            )  # fmt: skip
    return runs
