from __future__ import annotations

from dataclasses import dataclass

import pytest

from tests.cast import Cast
from tests.drainage.drawn import draw_node, draw_pipe
from worksprog.course.models import Feature, Kind, State


@dataclass
class Drain:
    """C1 – P1 → C2 – P2 → O1; P1 is still to be built."""

    upper: Feature
    lower: Feature
    chamber: Feature
    outfall: Feature


@pytest.fixture
def drain(cast: Cast) -> Drain:
    club, by = cast.club, cast.manager
    upper = draw_pipe(
        club, by, "P1", (0, 0), (100, 0), state=State.PROPOSED,
        upstream_invert_m=52.0, downstream_invert_m=51.0,
    )  # fmt: skip
    lower = draw_pipe(club, by, "P2", (100, 0), (200, 0))
    chamber = draw_node(club, by, Kind.CHAMBER, "C2", 100, 0, cover=52.4, invert=50.95)
    draw_node(club, by, Kind.CHAMBER, "C1", 0, 0, cover=53.2)
    return Drain(upper, lower, chamber, draw_node(club, by, Kind.OUTFALL, "O1", 200, 0))
