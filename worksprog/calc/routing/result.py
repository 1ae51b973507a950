"""What came of water routed through the network."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from worksprog.calc.working import Step, Working

Floats = NDArray[np.float64]
MOST_ERROR = 1e-3


@dataclass(frozen=True)
class ReachThrough:
    """One reach through the whole time. Times are hours from the start of the rain.

    entering_m3s    the most that entered it, at most its capacity
    leaving_m3s     the most that left it at its lower end
    arriving_m3s    the most that came to its head; above the capacity it is held back there
    over_h          hours in which more came than it carries
    standing_h      hours in which water stood at its head
    standing_m3     the most that stood there
    travel_min      K: how long a flow of half the peak takes through it
    pieces          into how many parts it was cut
    """

    key: str
    name: str
    kind: str
    capacity_m3s: float | None
    entering_m3s: float
    entering_at_h: float
    leaving_m3s: float
    leaving_at_h: float
    arriving_m3s: float
    over_h: float
    standing_h: float
    standing_m3: float
    standing_at_h: float
    travel_min: float
    pieces: int
    own_m3: float


@dataclass(frozen=True)
class PondThrough:
    """One pond through the whole time; series are means of each step, levels at its end."""

    key: str
    name: str
    start_m: float
    bank_m: float
    peak_m: float
    peak_at_h: float
    end_m: float
    peak_inflow_m3s: float
    peak_outflow_m3s: float
    outflow_at_h: float
    came_m3: float
    rain_on_it_m3: float
    over_bank_h: float
    over_bank_m3: float
    inflow_m3s: Floats
    outflow_m3s: Floats
    level_m: Floats
    step_s: float
    warnings: tuple[str, ...] = ()

    def hours_above(self, level_m: float) -> float:
        """Hours in which its level stood more than 1 cm above a level."""
        return float((self.level_m > level_m + 0.01).sum() * self.step_s / 3600)


@dataclass(frozen=True)
class Hydrograph:
    """Flow entering and leaving one reach, step by step (m³/s)."""

    key: str
    name: str
    entering_m3s: Floats
    leaving_m3s: Floats


@dataclass(frozen=True)
class Balance:
    """Where the water came from and where it is at the end (m³).

    at_start_m3  stood in ponds before the rain
    """

    came_m3: float
    at_start_m3: float
    at_outfalls_m3: float
    at_dead_ends_m3: float
    from_ponds_m3: float
    over_banks_m3: float
    more_in_ponds_m3: float
    in_drains_m3: float
    standing_m3: float

    @property
    def left_m3(self) -> float:
        return self.at_outfalls_m3 + self.at_dead_ends_m3 + self.from_ponds_m3 + self.over_banks_m3

    @property
    def stored_m3(self) -> float:
        return self.more_in_ponds_m3 + self.in_drains_m3 + self.standing_m3

    @property
    def in_ponds_m3(self) -> float:
        return self.at_start_m3 + self.more_in_ponds_m3

    @property
    def held_m3(self) -> float:
        """All that is held at the end, what stood there before the rain included."""
        return self.at_start_m3 + self.stored_m3

    @property
    def error(self) -> float:
        """Water that is missing or made, as a share of what came."""
        missing = self.came_m3 - self.left_m3 - self.stored_m3
        scale = max(self.came_m3, self.left_m3, abs(self.stored_m3))
        return missing / scale if scale else 0.0

    @property
    def holds(self) -> bool:
        return abs(self.error) <= MOST_ERROR

    @property
    def words(self) -> str:
        stood = f" and {self.at_start_m3:,.0f} m³ stood in ponds before"
        agrees = "it agrees" if self.holds else "it does not agree"
        return (
            f"{self.came_m3:,.0f} m³ came{stood if self.at_start_m3 >= 0.5 else ''}; "
            f"{self.left_m3:,.0f} m³ left and {self.held_m3:,.0f} m³ is still held: "
            f"{agrees} within {abs(self.error) * 100:.4f} %."
        )

    def working(self) -> Working:
        rows = (
            ("run-off and rain on ponds", self.came_m3),
            ("stood in ponds before the rain", self.at_start_m3),
            ("out at outfalls", self.at_outfalls_m3),
            ("out at ends that reach no outfall", self.at_dead_ends_m3),
            ("out of ponds, beyond the network", self.from_ponds_m3),
            ("over the banks of ponds", self.over_banks_m3),
            ("in ponds at the end", self.in_ponds_m3),
            ("still in drains", self.in_drains_m3),
            ("still standing where drains were full", self.standing_m3),
        )
        return Working(
            "Balance of the water",
            (
                *(Step("", words, volume, "m³") for words, volume in rows),
                Step(
                    "e",
                    "missing (+) or made (−)",
                    self.error * 100,
                    "%",
                    "(came + stood − left − held) / came, at most 0.1 %",
                ),
            ),
        )


@dataclass(frozen=True)
class Through:
    """The network through a rain."""

    rain_words: str
    rain_mm: float
    step_s: float
    steps: int
    reaches: tuple[ReachThrough, ...]
    ponds: tuple[PondThrough, ...]
    hydrographs: tuple[Hydrograph, ...]
    rain_mm_h: Floats
    balance: Balance
    notes: tuple[str, ...]

    @property
    def hours(self) -> float:
        return self.steps * self.step_s / 3600

    def reach(self, key: str) -> ReachThrough:
        """KeyError when the network has no such reach."""
        found = next((one for one in self.reaches if one.key == key), None)
        if found is None:
            raise KeyError(key)
        return found
