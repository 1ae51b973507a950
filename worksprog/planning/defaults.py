"""Working windows and a usual year to start from: common practice, no source; a club edits them."""

from __future__ import annotations

from worksprog.calc.workdays import CrewWeek, MonthDay, Window
from worksprog.works.models import WorkKind

CLAY_BEARS = "Clay carries a machine until the winter's rain has soaked it, and again from March."
PLAY_IS_LIGHT = "Play is light and the turf heals before the season."
NESTING = (
    "Birds nest from about March to August. The law protects a nest in use on any date and gives "
    "no season; check for nests and for bats before felling in every month."
)
LOW_WATER = "The brook is low, and concrete sets before the frosts."
DRY_SOIL = "Soil moved when dry keeps its structure."
WARM_SOIL = "Seed needs warm soil, about 10 °C, and moisture."
STONE = "Stone does not bed on soaked or frozen ground."
BOUND = "A bound surface is laid on dry ground and out of the frost."
AFTER_FELLING = "After the felling, and before the holes would lie open in the season."
NO_WATERING = "The watering is off, so that a pipe can be cut."
POSTS_HOLD = "Posts drive and hold in moist ground; play is light."


def _window(kind: str, opens: tuple[int, int], closes: tuple[int, int], reason: str) -> Window:
    return Window(kind, MonthDay(*opens), MonthDay(*closes), reason)


WINDOWS: tuple[Window, ...] = (
    *(
        window
        for kind in (WorkKind.CARRIER_PIPE, WorkKind.DITCH_DUG, WorkKind.DITCH_REGRADED)
        for window in (
            _window(kind, (9, 1), (12, 20), CLAY_BEARS),
            _window(kind, (3, 1), (4, 15), CLAY_BEARS),
        )
    ),
    _window(
        WorkKind.LATERALS,
        (8, 15),
        (11, 15),
        "Dry enough to trench through turf, with time for the slits to heal.",
    ),
    _window(WorkKind.HEADWALL, (7, 1), (11, 30), LOW_WATER),
    _window(WorkKind.BRIDGE, (7, 1), (11, 30), LOW_WATER),
    _window(WorkKind.TEE_REBUILD, (10, 1), (3, 15), PLAY_IS_LIGHT),
    _window(WorkKind.BUNKER_NEW, (10, 1), (3, 31), PLAY_IS_LIGHT),
    _window(WorkKind.BUNKER_FILLED, (10, 1), (3, 31), PLAY_IS_LIGHT),
    _window(WorkKind.PATH, (3, 1), (11, 30), STONE),
    _window(WorkKind.TREE_THINNING, (9, 1), (2, 29), NESTING),
    _window(WorkKind.MOUNDING, (5, 1), (10, 31), DRY_SOIL),
    _window(WorkKind.SEEDING, (8, 15), (9, 30), WARM_SOIL),
    _window(WorkKind.SEEDING, (4, 15), (5, 31), WARM_SOIL),
    _window(WorkKind.CHAMBER, (9, 1), (12, 20), CLAY_BEARS),
    _window(WorkKind.CHAMBER, (3, 1), (4, 15), CLAY_BEARS),
    _window(WorkKind.OUTFALL, (7, 1), (11, 30), LOW_WATER),
    _window(WorkKind.CULVERT, (7, 1), (11, 30), LOW_WATER),
    _window(WorkKind.PATH_BOUND, (4, 1), (10, 31), BOUND),
    _window(WorkKind.TREE_FELLING, (9, 1), (2, 29), NESTING),
    _window(WorkKind.STUMPS, (9, 1), (4, 15), AFTER_FELLING),
    _window(WorkKind.HEDGE_SCRUB, (9, 1), (2, 29), NESTING),
    _window(WorkKind.CROSSING, (10, 1), (3, 31), NO_WATERING),
    _window(WorkKind.FENCING, (9, 1), (4, 30), POSTS_HOLD),
    _window(WorkKind.TURFING, (10, 1), (3, 31), "Turf laid cool and moist roots in spring."),
)

LEAVES_H = 55.0

# First and last week, share of the crew's hours, hours on top, and what it is.
USUAL_YEAR: tuple[tuple[int, int, float, float, str], ...] = (
    (1, 8, 0.45, 0.0, "winter mowing, tidying, machines"),
    (9, 13, 0.60, 0.0, "first cuts, aeration"),
    (14, 21, 0.85, 0.0, "growing season, matches"),
    (22, 35, 0.92, 0.0, "growing season, watering, matches"),
    (36, 39, 0.78, 0.0, "autumn renovation"),
    (40, 50, 0.50, LEAVES_H, "leaves and routine cuts"),
    (51, 53, 0.45, 0.0, "winter mowing, tidying, machines"),
)


def usual_year(crew_h: float) -> list[CrewWeek]:
    """A usual year for a crew that works ``crew_h`` hours a week."""
    return [
        CrewWeek(week, crew_h, min(round(crew_h * share + more, 1), crew_h), note)
        for first, last, share, more, note in USUAL_YEAR
        for week in range(first, last + 1)
    ]
