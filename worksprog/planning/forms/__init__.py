"""Forms of the plan's pages."""

from __future__ import annotations

from worksprog.planning.forms.plans import (
    MONTHS,
    MOST_HOURS,
    BandForm,
    BaselineForm,
    ClosureForm,
    ItemPlanningForm,
    RulesForm,
    TryForm,
    UsualYearForm,
    WindowForm,
)

__all__ = [
    "MONTHS",
    "MOST_HOURS",
    "BandForm",
    "BaselineForm",
    "ClosureForm",
    "ItemPlanningForm",
    "RulesForm",
    "TryForm",
    "UsualYearForm",
    "WindowForm",
]
