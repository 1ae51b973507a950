"""What the crew measured while the brook carrier was laid, kept as they keep it on the bank."""

from __future__ import annotations

from datetime import date
from typing import Any

from worksprog.clubs.models import Club, User
from worksprog.course.models import Feature
from worksprog.demo.programme import FROZEN_DAY
from worksprog.drainage.models import AsBuiltLevel
from worksprog.drainage.queries.as_built import design_line_of, levelled_nodes
from worksprog.drainage.services.as_built import (
    Measured,
    close_trench,
    correct_level,
    keep_facts,
    measure_level,
)

EVERY_M = 9.0
ACCURACY_M = 0.005
# How true a laser and a careful crew lay a pipe; one length lies a little high.
OFF_MM = (0, 2, -3, 1, 12, -2, -4, 3, 1, -1)
BACKFALL_AT_M, BACKFALL_MM = 31.5, 23
PIPE: dict[str, Any] = {
    "material": "twin-wall polypropylene",
    "inside_diameter_mm": 300.0,
    "outside_diameter_mm": 344.0,
    "bedding": "10 mm single-size stone, 100 mm under the pipe",
    "laid_by": "own crew",
}


def _stations(length_m: float, upwards_to_m: float) -> list[float]:
    """From the lower end upwards, as a drain is laid."""
    count = max(1, round(length_m / EVERY_M))
    every = [round(length_m - 0.3 - k * (length_m - 0.6) / count, 2) for k in range(count + 1)]
    return [at for at in every if at >= upwards_to_m]


def _lay(feature: Feature, day: date, by: User, *, from_m: float = 0.0) -> None:
    design = design_line_of(feature, levelled_nodes(feature.club))
    if design is None:
        raise ValueError(f"The demonstration's {feature} has no line.")
    for number, at in enumerate(_stations(design.length_m, from_m)):
        drawn = design.level_at(at)
        if drawn is None:
            raise ValueError(f"The demonstration's {feature} has no levels.")
        off = OFF_MM[number % len(OFF_MM)] / 1000
        _keep(feature, at, drawn + off, day, by)


def _taken(at: float, level: float, day: date, note: str = "") -> Measured:
    return Measured(
        of=AsBuiltLevel.Of.INVERT,
        how=AsBuiltLevel.How.LEVEL,
        measured_on=day,
        level_m=round(level, 3),
        chainage_m=at,
        level_accuracy_m=ACCURACY_M,
        note=note,
    )


def _keep(
    feature: Feature, at: float, level: float, day: date, by: User, note: str = ""
) -> AsBuiltLevel:
    return measure_level(
        feature=feature, measured=_taken(at, level, day, note), by=by, today=FROZEN_DAY
    )


def measure_the_brook_carrier(club: Club, manager: User, crew: User) -> None:
    """Two reaches laid and closed; a third under way, its backfall caught before it was covered."""
    drains = {
        one.ref: one
        for one in Feature.objects.filter(club=club, kind="pipe").select_related("reach", "club")
    }
    for ref, day, closed in (
        ("C1–O2", date(2026, 9, 22), date(2026, 9, 24)),
        ("C2–C1", date(2026, 9, 30), date(2026, 10, 1)),
    ):
        _lay(drains[ref], day, crew)
        close_trench(feature=drains[ref], on=closed, by=manager, today=FROZEN_DAY, **PIPE)
    upper = drains["C3–C2"]
    keep_facts(feature=upper, by=manager, today=FROZEN_DAY, **PIPE)
    day = date(2026, 11, 19)
    _lay(upper, day, crew, from_m=BACKFALL_AT_M + 8)
    design = design_line_of(upper, levelled_nodes(club))
    above = None if design is None else design.level_at(BACKFALL_AT_M)
    below = None if design is None else design.level_at(BACKFALL_AT_M + 6)
    if above is None or below is None:
        raise ValueError("The demonstration's upper carrier has no levels.")
    # The upper end of this length lay low, so that its water would have stood.
    low = _keep(upper, BACKFALL_AT_M, below - BACKFALL_MM / 1000, day, crew, "sling slipped")
    _keep(upper, BACKFALL_AT_M + 6, below, day, crew)
    correct_level(
        wrong=low,
        measured=_taken(BACKFALL_AT_M, above + 0.002, day),
        why="backfall seen before the trench was filled; bedding made up and laid again",
        by=crew,
        today=FROZEN_DAY,
    )
