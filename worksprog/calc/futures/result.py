"""What many futures tell: finishes by chance, promises, and what drives the end."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

PERCENTS = tuple(range(1, 100))


@dataclass(frozen=True)
class Finish:
    """Last days of work in all futures.

    quantiles  the day by whose end 1, 2, … 99 per cent of the futures are finished; None where
               that lies beyond the calendar
    planned    its last day in the plan, and the share of futures that keep it
    lost_days  mean days on which it stood ready and the weather kept it from work
    """

    quantiles: tuple[int | None, ...]
    planned: int | None
    keeps_plan: float | None
    unfinished: float
    lost_days: float

    def within(self, percent: int) -> int | None:
        """The day by which it is finished in ``percent`` of 100 futures (1 to 99)."""
        if not 1 <= percent <= 99:
            raise ValueError(f"A chance from 1 to 99 % can be read, not {percent} %.")
        return self.quantiles[percent - 1]


@dataclass(frozen=True)
class Promise:
    key: int
    promised: int
    chance: float


@dataclass(frozen=True)
class Driver:
    """Share of the spread of a finish that goes with one source: correlation squared.

    kind  "job" (its own hours), "winter" (the year from July whose weather it is), "together"
    """

    kind: str
    name: str
    share: float


@dataclass(frozen=True)
class Futures:
    """One run: the same plan, seed and number of futures give the same run."""

    seed: int
    futures: int
    works: Mapping[int, Finish]
    groups: Mapping[str, Finish]
    whole: Finish
    promises: tuple[Promise, ...]
    drivers: Mapping[str, tuple[Driver, ...]]  # by group; "" is the whole
