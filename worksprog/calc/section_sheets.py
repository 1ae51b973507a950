"""A long section laid on paper to a true scale: which scale, how many sheets, which datum.

The scales are the usual ones of engineers' sheets (ISO 5455 and common practice).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

HORIZONTAL = (100, 200, 250, 500, 1000)
VERTICAL = (10, 20, 50, 100)
# Greater exaggeration than ten makes a drain look like a waterfall (common practice, no source).
MOST_EXAGGERATION = 10
DATUM_STEP_MM = 10.0  # a datum line stands at a round level, which this is on paper
MATCH_AT_M = 5.0  # match lines stand at round chainages


@dataclass(frozen=True)
class Span:
    """All that is drawn at a chainage lies between these levels."""

    chainage_m: float
    lowest_m: float
    highest_m: float


@dataclass(frozen=True)
class Panel:
    """One sheet's part of the section, with the level of its datum line."""

    upper_chainage_m: float
    lower_chainage_m: float
    datum_m: float

    @property
    def length_m(self) -> float:
        return self.upper_chainage_m - self.lower_chainage_m


@dataclass(frozen=True)
class SectionSheets:
    """Scales (1 : n) and the panels from the top down."""

    horizontal: int
    vertical: int
    panels: tuple[Panel, ...]

    @property
    def exaggeration(self) -> float:
        return self.horizontal / self.vertical

    def x_mm(self, panel: Panel, chainage_m: float) -> float:
        """From the panel's left end, where its upper chainage is."""
        return (panel.upper_chainage_m - chainage_m) * 1000 / self.horizontal

    def y_mm(self, panel: Panel, level_m: float) -> float:
        """Above the panel's datum line."""
        return (level_m - panel.datum_m) * 1000 / self.vertical


def lay_on_sheets(
    spans: Sequence[Span],
    *,
    length_m: float,
    width_mm: float,
    height_mm: float,
    horizontal: int | None = None,
    vertical: int | None = None,
    most_sheets: int = 40,
) -> SectionSheets:
    """The section on sheets with room of ``width_mm`` by ``height_mm`` for the profile.

    A horizontal scale not given is the largest at which all stands on one sheet, else the
    smallest. A vertical scale not given is the largest within an exaggeration of ten at which the
    levels of every sheet fit as long as the paper allows; where none does, the sheets are shorter.

    ValueError for a scale that is not usual, a length that cannot be, or where the chosen vertical
    scale leaves no room for the depth at one place.
    """
    if not math.isfinite(length_m) or length_m <= 0:
        raise ValueError("A long section has a length of more than 0 m.")
    if horizontal is not None and horizontal not in HORIZONTAL:
        raise ValueError(f"1:{horizontal} is no usual horizontal scale: {_listed(HORIZONTAL)}.")
    if vertical is not None and vertical not in VERTICAL:
        raise ValueError(f"1:{vertical} is no usual vertical scale: {_listed(VERTICAL)}.")
    across = horizontal or next(
        (scale for scale in HORIZONTAL if length_m * 1000 / scale <= width_mm), HORIZONTAL[-1]
    )
    reach_m = width_mm * across / 1000
    wanted = math.ceil(round(length_m / reach_m, 9))
    best: list[Panel] = []
    up = vertical or VERTICAL[-1]
    for scale in (vertical,) if vertical is not None else VERTICAL:
        if vertical is None and across / scale > MOST_EXAGGERATION:
            continue
        panels = _panels(spans, length_m, reach_m, height_mm, scale)
        if panels and (not best or len(panels) < len(best)):
            best, up = panels, scale
        if len(best) == wanted:
            break
    if not best:
        raise ValueError(
            f"At 1:{vertical or VERTICAL[-1]} vertically the depth at one place alone is taller "
            "than the paper leaves room for: choose a smaller scale or larger paper."
        )
    if len(best) > most_sheets:
        raise ValueError(
            f"At 1:{across} and 1:{up} the section takes {len(best)} sheets, which is more than "
            f"{most_sheets}: choose a smaller scale or larger paper."
        )
    return SectionSheets(across, up, tuple(best))


def _listed(scales: tuple[int, ...]) -> str:
    return ", ".join(f"1:{scale}" for scale in scales)


def _panels(
    spans: Sequence[Span], length_m: float, reach_m: float, height_mm: float, vertical: int
) -> list[Panel]:
    """Panels from the top down, each as long as paper and levels allow; [] where none fits."""
    step = DATUM_STEP_MM * vertical / 1000
    rise_m = height_mm * vertical / 1000
    panels: list[Panel] = []
    upper = length_m
    while upper > 1e-6:
        lower = max(0.0, upper - reach_m)
        if lower > 0:
            lower = math.ceil(lower / MATCH_AT_M - 1e-9) * MATCH_AT_M
        while True:
            low, high = _between(spans, lower, upper)
            datum = math.floor(low / step + 1e-9) * step
            if high - datum <= rise_m:
                break
            shorter = math.floor((lower + MATCH_AT_M) / MATCH_AT_M + 1e-9) * MATCH_AT_M
            if shorter >= upper - 1e-6:
                return []
            lower = shorter
        if lower >= upper - 1e-6:
            return []
        panels.append(Panel(upper, lower, datum))
        upper = lower
    return panels


def _between(spans: Sequence[Span], lower: float, upper: float) -> tuple[float, float]:
    """Lowest and highest level of a stretch; at its ends straight between the neighbours."""
    if not spans:
        return 0.0, 1.0
    ordered = sorted(spans, key=lambda span: span.chainage_m)
    at = [span.chainage_m for span in ordered]
    lows, highs = [span.lowest_m for span in ordered], [span.highest_m for span in ordered]
    inside = [k for k, chainage in enumerate(at) if lower <= chainage <= upper]
    ends = [lower, upper]
    return (
        float(min([lows[k] for k in inside] + np.interp(ends, at, lows).tolist())),
        float(max([highs[k] for k in inside] + np.interp(ends, at, highs).tolist())),
    )
