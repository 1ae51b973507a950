"""Schedules that keep every rule and are as good as can be found in the time given.

``problem`` what there is to keep, ``search`` a genetic search over orders of the tasks (kernels in
``kernel``, arrays in ``packed``), ``proof`` the same problem for CP-SAT, ``solve`` the two together.
"""

from __future__ import annotations

from worksprog.calc.solver.problem import (
    Gain,
    Hold,
    Link,
    LinkKind,
    Placed,
    Problem,
    ProblemError,
    Resource,
    Schedule,
    Task,
    Until,
    Way,
)
from worksprog.calc.solver.search import Found, search
from worksprog.calc.solver.solve import Solved, least_goal, solve

__all__ = [
    "Found",
    "Gain",
    "Hold",
    "Link",
    "LinkKind",
    "Placed",
    "Problem",
    "ProblemError",
    "Resource",
    "Schedule",
    "Solved",
    "Task",
    "Until",
    "Way",
    "least_goal",
    "search",
    "solve",
]
