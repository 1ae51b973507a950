"""The rows of the works, by subject."""

from __future__ import annotations

from worksprog.works.models.estimates import (
    MOST_PLACES,
    Estimate,
    EstimateLine,
    EstimateRules,
    LearntRate,
)
from worksprog.works.models.price_drafts import PriceDraft
from worksprog.works.models.prices import (
    BookVersion,
    Category,
    OutputRate,
    Price,
    PriceTrend,
    SwayedBy,
)
from worksprog.works.models.programme import (
    Consent,
    Item,
    ItemState,
    Link,
    Phase,
    Programme,
    Project,
    Spend,
    WorkKind,
)
from worksprog.works.models.ranges import RangeRow, RangesRun
from worksprog.works.models.recipes import WorkRecipe
from worksprog.works.models.worth import Benefit, LeftAsIs, WorthRules

__all__ = [
    "MOST_PLACES",
    "Benefit",
    "BookVersion",
    "Category",
    "Consent",
    "Estimate",
    "EstimateLine",
    "EstimateRules",
    "Item",
    "ItemState",
    "LearntRate",
    "LeftAsIs",
    "Link",
    "OutputRate",
    "Phase",
    "Price",
    "PriceDraft",
    "PriceTrend",
    "Programme",
    "Project",
    "RangeRow",
    "RangesRun",
    "Spend",
    "SwayedBy",
    "WorkKind",
    "WorkRecipe",
    "WorthRules",
]
