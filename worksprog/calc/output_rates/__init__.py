"""Learning hours a unit from the crew's own hours.

``evidence`` from logged days to what a job says, ``belief`` the closed-form update, ``learning``
the two put together for one kind of work, ``calibration`` whether ranges held.
"""

from __future__ import annotations

from worksprog.calc.output_rates.belief import Belief, Foretold, Pace, Piece
from worksprog.calc.output_rates.calibration import Calibration, Outcome, calibrate, exact_limits
from worksprog.calc.output_rates.evidence import (
    LONG_DAY_H,
    Choice,
    DayLogged,
    Doubt,
    JobEvidence,
    JobLogged,
    Part,
    Stretch,
    gather,
)
from worksprog.calc.output_rates.learning import (
    BOOK_JOBS,
    Design,
    Judged,
    Learnt,
    Range,
    learn,
    prior_of_book,
)

__all__ = [
    "BOOK_JOBS",
    "LONG_DAY_H",
    "Belief",
    "Calibration",
    "Choice",
    "DayLogged",
    "Design",
    "Doubt",
    "Foretold",
    "JobEvidence",
    "JobLogged",
    "Judged",
    "Learnt",
    "Outcome",
    "Pace",
    "Part",
    "Piece",
    "Range",
    "Stretch",
    "calibrate",
    "exact_limits",
    "gather",
    "learn",
    "prior_of_book",
]
