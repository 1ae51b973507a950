"""Small made-up networks for the tests of the drain check."""

from __future__ import annotations

from typing import Any

from worksprog.calc.ditches import DitchSection
from worksprog.calc.network import Node, Reach, Storm
from worksprog.calc.pipes import PipeSection

STORM = Storm("1 in 10 year", 30.0)
BORE_300 = PipeSection(0.3)
DITCH = DitchSection(0.5, 1.5, 0.9, freeboard_m=0.3)


def pipe(name: str, start: tuple[float, float], end: tuple[float, float], **changes: Any) -> Reach:
    """A 300 mm pipe between two points, 1 ha of its own, falling from 51 to 50 m."""
    length = ((end[0] - start[0]) ** 2 + (end[1] - start[1]) ** 2) ** 0.5
    usual: dict[str, Any] = {
        "key": name,
        "name": name,
        "kind": "pipe",
        "line": (start, end),
        "length_m": length,
        "upstream_invert_m": 51.0,
        "downstream_invert_m": 50.0,
        "section": BORE_300,
        "catchment_ha": 1.0,
        "runoff_coefficient": 0.5,
    }
    return Reach(**{**usual, **changes})


def ditch(name: str, start: tuple[float, float], end: tuple[float, float], **changes: Any) -> Reach:
    return pipe(name, start, end, **{"kind": "ditch", "section": DITCH, **changes})


def outfall(x: float, y: float, name: str = "O1") -> Node:
    return Node(name, name, "outfall", x, y)
