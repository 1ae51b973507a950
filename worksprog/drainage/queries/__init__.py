"""Reads of the drain network, one module a subject."""

from __future__ import annotations

from worksprog.drainage.queries.network import (
    DEEP_CHAMBER_M,
    FAR_FROM_REACH_M,
    NEAR_SERVICE_M,
    DrainRows,
    LevelsAtNode,
    check_holding,
    check_network,
    drain_rows,
    implied_order,
    last_change_of,
    levels_at_node,
    live_storm,
    long_section_of,
    services_near,
)

__all__ = [
    "DEEP_CHAMBER_M",
    "FAR_FROM_REACH_M",
    "NEAR_SERVICE_M",
    "DrainRows",
    "LevelsAtNode",
    "check_holding",
    "check_network",
    "drain_rows",
    "implied_order",
    "last_change_of",
    "levels_at_node",
    "live_storm",
    "long_section_of",
    "services_near",
]
