"""What changes windows, crew hours, closures and plans. Each is one transaction."""

from __future__ import annotations

from worksprog.planning.services.crew import (
    drop_absence,
    drop_crew_member,
    keep_absence,
    keep_crew_member,
)
from worksprog.planning.services.plans import (
    drop_closure,
    drop_window,
    keep_baseline,
    keep_closure,
    keep_item_planning,
    keep_plan_rules,
    keep_window,
    load_default_windows,
    load_usual_year,
    make_plan,
    planning_of,
    set_crew_pattern,
    set_crew_week,
)
from worksprog.planning.services.wishes import give_up_wish, take_back_wish

__all__ = [
    "drop_absence",
    "drop_closure",
    "drop_crew_member",
    "drop_window",
    "give_up_wish",
    "keep_absence",
    "keep_baseline",
    "keep_closure",
    "keep_crew_member",
    "keep_item_planning",
    "keep_plan_rules",
    "keep_window",
    "load_default_windows",
    "load_usual_year",
    "make_plan",
    "planning_of",
    "set_crew_pattern",
    "set_crew_week",
    "take_back_wish",
]
