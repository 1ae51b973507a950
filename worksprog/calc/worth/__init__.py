"""What works give back: hours, days open and money, promised and measured.

``discounting`` money at different times, ``given_back`` what works are worth, ``seasons`` routine
hours before against after, ``charts`` its charts.
"""

from __future__ import annotations

from worksprog.calc.worth.given_back import (
    Answer,
    Assumptions,
    End,
    Left,
    Promise,
    Swing,
    Work,
    Worth,
    around,
    weigh,
)
from worksprog.calc.worth.seasons import Claim, Compared, Measured, Week, compare_seasons

__all__ = [
    "Answer",
    "Assumptions",
    "Claim",
    "Compared",
    "End",
    "Left",
    "Measured",
    "Promise",
    "Swing",
    "Week",
    "Work",
    "Worth",
    "around",
    "compare_seasons",
    "weigh",
]
