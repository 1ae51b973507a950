"""Reads that span plans, by subject."""

from __future__ import annotations

from worksprog.planning.queries.plans import (
    MOVES_DATES,
    Move,
    PlanSheet,
    ProjectRows,
    RowSheet,
    dates_of_items,
    feature_states_on,
    later_words,
    latest_baseline,
    live_plan,
    moves_between,
    plan_before,
    plan_sheet,
    planned_items,
    planned_programme,
    slips,
)

__all__ = [
    "MOVES_DATES",
    "Move",
    "PlanSheet",
    "ProjectRows",
    "RowSheet",
    "dates_of_items",
    "feature_states_on",
    "later_words",
    "latest_baseline",
    "live_plan",
    "moves_between",
    "plan_before",
    "plan_sheet",
    "planned_items",
    "planned_programme",
    "slips",
]
