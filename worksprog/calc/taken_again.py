"""Which of several levels taken at one place stands: the latest; and whether they agree."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

SAME_PLACE_M = 1.0  # our own figure: nearer than a staff is put back to the same spot
SAME_POINT_M = 0.05  # two rows of one file nearer than this are one point


@dataclass(frozen=True)
class Taking:
    """One level as far as it matters which of several stands.

    kind      what it is of; only levels of one kind are set against each other
    place     chainage (m), or easting and northing (m) where there is no line
    height_m  the level, less the design's own there where the design has one, so that the fall
              between two places a step apart is no difference
    by        who took it
    batch     the file it came in, "" for none: its points may stand close on purpose
    """

    kind: str
    place: tuple[float, ...]
    height_m: float
    doubt_m: float
    by: str
    batch: str = ""


@dataclass(frozen=True)
class TakenAgain:
    """An earlier level (by its index) for which a later one stands.

    apart_m  later less earlier; unlike: by more than √(u₁² + u₂²), and not of the same person
    """

    earlier: int
    later: int
    apart_m: float
    unlike: bool


def taken_again(takings: Sequence[Taking]) -> list[TakenAgain]:
    """Of ``takings``, earliest first, those within 1 m of a later one of their kind that stands."""
    standing: list[int] = []
    found: list[TakenAgain] = []
    for earlier in range(len(takings) - 1, -1, -1):
        this = takings[earlier]
        near = [n for n in standing if _same_place(this, takings[n])]
        if not near:
            standing.append(earlier)
            continue
        later = min(near, key=lambda n: math.dist(this.place, takings[n].place))
        other = takings[later]
        apart = other.height_m - this.height_m
        unlike = abs(apart) > math.hypot(this.doubt_m, other.doubt_m) and this.by != other.by
        found.append(TakenAgain(earlier, later, apart, unlike))
    return found[::-1]


def _same_place(one: Taking, other: Taking) -> bool:
    if one.kind != other.kind:
        return False
    one_batch = one.batch != "" and one.batch == other.batch
    return math.dist(one.place, other.place) <= (SAME_POINT_M if one_batch else SAME_PLACE_M)
