"""What the futures of a plan are drawn from."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from worksprog.calc.ranges import ThreePoint
from worksprog.calc.solver import Link
from worksprog.calc.weather import WorkableYears

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Opening:
    """Days on which a kind of work may go on, whatever the weather.

    days     of the calendar
    in_window  the same with weekends and closures left in, to tell a pause from an end
    """

    days: Bools
    in_window: Bools


@dataclass(frozen=True)
class Work:
    """One job as the futures take it.

    amount     what is left of it: crew hours, or days of work where the crew is not needed
    a_day      most of it done on one day
    share      most of the crew's hours of a day that it may take, 0 to 1
    earliest   first day on which it may begin, counted from the calendar's first
    waits_for_ground  it is done only while the ground bears work
    may_split  it may be left at the end of its window and taken up in the next
    under_way  it goes on from where it stands, however near the end of its window is
    promised   the day by whose end it is promised
    planned    its last day of work in the plan
    groups     names of what it belongs to: its project, its winter
    """

    key: int
    label: str
    amount: ThreePoint
    a_day: float
    needs_crew: bool = True
    share: float = 1.0
    earliest: int = 0
    opening: str = ""
    waits_for_ground: bool = False
    may_split: bool = False
    under_way: bool = False
    promised: int | None = None
    planned: int | None = None
    groups: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.amount.low < 0:
            raise ValueError(f"'{self.label}': what is left of it is not below 0.")
        if not self.a_day > 0:
            raise ValueError(f"'{self.label}': something must be done on a day of work.")
        if not 0 < self.share <= 1:
            raise ValueError(f"'{self.label}': its share of the crew lies above 0 and up to 1.")


@dataclass(frozen=True)
class Given:
    """A plan in its order, the crew's hours by day, openings by name, and years of weather.

    works       in the plan's order: who stands first takes the crew's hours first
    crew_day_h  hours for works on each day of the calendar
    together    share of each job's luck that all have in common (the crew, the estimator)
    """

    first_day: dt.date
    works: tuple[Work, ...]
    links: tuple[Link, ...]
    crew_day_h: Floats
    openings: Mapping[str, Opening]
    workdays: Bools
    weather: WorkableYears
    together: float = 0.25

    def __post_init__(self) -> None:
        if not self.works:
            raise ValueError("No job of the plan has dates, so there is nothing to follow.")
        keys = [work.key for work in self.works]
        if len(set(keys)) < len(keys):
            raise ValueError("Every job of a plan stands in it once.")
        if not 0 <= self.together <= 1:
            raise ValueError(f"A share lies between 0 and 1, not at {self.together:g}.")
        for work in self.works:
            if work.opening not in self.openings:
                raise ValueError(f"'{work.label}': its working window is not known.")
        for name, opening in self.openings.items():
            if len(opening.days) != self.days or len(opening.in_window) != self.days:
                raise ValueError(f"The window {name} is not of this calendar's days.")

    @property
    def days(self) -> int:
        return len(self.crew_day_h)
