"""The rows of planning, by subject."""

from __future__ import annotations

from worksprog.planning.models.crew import Absence, CrewMember, Grade
from worksprog.planning.models.money import MoneyRelease
from worksprog.planning.models.plans import (
    GivenUp,
    ItemPlanning,
    Plan,
    PlannedItem,
    PlanRules,
    RiskRun,
)
from worksprog.planning.models.play import Fixture, PlayRules
from worksprog.planning.models.year import Closure, CrewWeek, WorkWindow

__all__ = [
    "Absence",
    "Closure",
    "CrewMember",
    "CrewWeek",
    "Fixture",
    "GivenUp",
    "Grade",
    "ItemPlanning",
    "MoneyRelease",
    "Plan",
    "PlanRules",
    "PlannedItem",
    "PlayRules",
    "RiskRun",
    "WorkWindow",
]
