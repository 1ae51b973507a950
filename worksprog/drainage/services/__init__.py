"""What changes the drain network, one module a subject."""

from __future__ import annotations

from worksprog.drainage.services.network import (
    DEEPEST_CHAMBER_M,
    Collision,
    ReachFigures,
    mark_of,
    set_design_storm,
    set_node_levels,
    set_reach,
    swap_direction,
)

__all__ = [
    "DEEPEST_CHAMBER_M",
    "Collision",
    "ReachFigures",
    "mark_of",
    "set_design_storm",
    "set_node_levels",
    "set_reach",
    "swap_direction",
]
