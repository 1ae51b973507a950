"""What is remarkable about one level when it is kept: another person's beside it, the ground below it."""

from __future__ import annotations

import numpy as np

from worksprog.calc.ground import Ground
from worksprog.course.queries import live_ground
from worksprog.drainage.models import AsBuiltLevel
from worksprog.drainage.queries.as_built import ReachAsBuilt, as_built_of

STEP_M = 5.0
# A buried invert this far above the ground is a slip; less may be the ground model (our own figure).
ABOVE_GROUND_M = 0.3


def ground_along(one: ReachAsBuilt, ground: Ground | None) -> list[float | None]:
    """Ground levels at even steps of about 5 m along a drain, both ends included; [] without any."""
    if ground is None or one.design is None:
        return []
    count = max(1, round(one.design.length_m / STEP_M))
    steps = np.linspace(0.0, one.design.length_m, count + 1)
    places = np.array([one.design.place_at(float(at)) for at in steps])
    levels = ground.levels_at(places[:, 0], places[:, 1])
    return [round(float(level), 2) if np.isfinite(level) else None for level in levels]


def above_ground_words(row: AsBuiltLevel, ground: Ground | None) -> str:
    """Words for what should lie in the ground and was taken above it; else ""."""
    if ground is None or row.of == AsBuiltLevel.Of.COVER:
        return ""
    there = float(ground.levels_at(np.array([row.x_m]), np.array([row.y_m]))[0])
    if not np.isfinite(there) or row.level_m - there <= ABOVE_GROUND_M:
        return ""
    return (
        f"{row.get_of_display()} at {row.level_m:.3f} m lies {row.level_m - there:.2f} m above the "
        f"ground there ({there:.2f} m); look at the figure"
    )


def remarks_on(row: AsBuiltLevel) -> list[str]:
    """Sentences for whoever has just kept this level; five queries."""
    found = []
    for line in as_built_of(row.feature).lines:
        if line.again is not None and row.pk in (line.again.pk, line.row.pk) and line.unlike:
            found.append(line.unlike)
        elif line.row.pk == row.pk and line.again is not None:
            found.append(f"a level taken later here stands: {line.again.level_m:.3f} m")
    above = above_ground_words(row, live_ground(row.club))
    return [f"{words[0].upper()}{words[1:]}." for words in ([above] if above else []) + found]
