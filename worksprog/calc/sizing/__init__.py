"""What size, what fall, how deep: the cheapest sizes and inverts of a tree of drains."""

from __future__ import annotations

from worksprog.calc.sizing.answer import (
    Answer,
    Eased,
    WouldFit,
    size_tree,
    size_until_flows_agree,
)
from worksprog.calc.sizing.conflict import Conflict
from worksprog.calc.sizing.figures import Design, Parts, Sized, capacity_working, cost_working
from worksprog.calc.sizing.given import (
    Costing,
    DepthBand,
    Held,
    LowerEnd,
    PipeSize,
    SizingLimits,
    SizingReach,
    Tree,
)

__all__ = [
    "Answer",
    "Conflict",
    "Costing",
    "DepthBand",
    "Design",
    "Eased",
    "Held",
    "LowerEnd",
    "Parts",
    "PipeSize",
    "Sized",
    "SizingLimits",
    "SizingReach",
    "Tree",
    "WouldFit",
    "capacity_working",
    "cost_working",
    "size_tree",
    "size_until_flows_agree",
]
