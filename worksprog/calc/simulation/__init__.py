"""Ranges by simulation: hours and money of jobs, groups and the whole, and what drives them."""

from worksprog.calc.simulation.given import (
    LEAST_DRAWS,
    MOST_DRAWS,
    Job,
    Sway,
    Uncertain,
    UncertainLine,
)
from worksprog.calc.simulation.result import (
    PERCENTS,
    Drivers,
    LineShare,
    Ranged,
    Simulated,
    SourceShare,
    Spread,
)
from worksprog.calc.simulation.run import simulate

__all__ = [
    "LEAST_DRAWS",
    "MOST_DRAWS",
    "PERCENTS",
    "Drivers",
    "Job",
    "LineShare",
    "Ranged",
    "Simulated",
    "SourceShare",
    "Spread",
    "Sway",
    "Uncertain",
    "UncertainLine",
    "simulate",
]
