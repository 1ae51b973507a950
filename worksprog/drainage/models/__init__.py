"""The rows of the drain network, by subject."""

from __future__ import annotations

from worksprog.drainage.models.as_built import AsBuiltFacts, AsBuiltLevel
from worksprog.drainage.models.ground_drains import BuriedService, LateralLayout
from worksprog.drainage.models.network import CatchmentFrom, CulvertInlet, DrainNode, DrainReach
from worksprog.drainage.models.rain import DesignStorm, GaugeRecord, RainTable
from worksprog.drainage.models.tidy import TidyRules
from worksprog.drainage.models.water import Pond, PondOutlet, Routing

__all__ = [
    "AsBuiltFacts",
    "AsBuiltLevel",
    "BuriedService",
    "CatchmentFrom",
    "CulvertInlet",
    "DesignStorm",
    "DrainNode",
    "DrainReach",
    "GaugeRecord",
    "LateralLayout",
    "Pond",
    "PondOutlet",
    "RainTable",
    "Routing",
    "TidyRules",
]
