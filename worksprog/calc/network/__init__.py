"""The drain network: how reaches join, what flows where, what each can carry, what comes first."""

from __future__ import annotations

from worksprog.calc.network.check import check_drains
from worksprog.calc.network.given import Limits, Node, NodeKind, Reach, ReachKind, Storm
from worksprog.calc.network.joining import Junction, Moved, join_ends
from worksprog.calc.network.result import Finding, NetworkCheck, PathPiece, ReachCheck
from worksprog.calc.network.water_line import LevelsAt, WaterAt

__all__ = [
    "Finding",
    "Junction",
    "LevelsAt",
    "Limits",
    "Moved",
    "NetworkCheck",
    "Node",
    "NodeKind",
    "PathPiece",
    "Reach",
    "ReachCheck",
    "ReachKind",
    "Storm",
    "WaterAt",
    "check_drains",
    "join_ends",
]
