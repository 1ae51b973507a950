"""Many futures of one plan: weather and hours drawn, the plan's order followed, finishes told."""

from __future__ import annotations

from worksprog.calc.futures.given import Given, Opening, Work
from worksprog.calc.futures.result import Driver, Finish, Futures, Promise
from worksprog.calc.futures.run import follow_futures

__all__ = [
    "Driver",
    "Finish",
    "Futures",
    "Given",
    "Opening",
    "Promise",
    "Work",
    "follow_futures",
]
