"""Several days of rain, day by day: what the soil takes, what the drain passes, what stands."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from worksprog.calc.rainfall.rational import check_area, check_runoff_coefficient
from worksprog.calc.working import Step, Working

STANDING_MM = 1.0
MOST_DAYS = 60
MOST_DAY_MM = 500.0


@dataclass(frozen=True)
class Ground:
    """What the rain falls on.

    area_ha          all that comes to the drain
    runoff_share     of the rain that runs off at once
    room_mm          water the soil can still take before the rain
    soil_gives_mm_d  most that the soil gives to its drains in a day
    dries_mm_d       evaporation in a day
    drain_m3s        most the drain passes, its outfall free all the while
    """

    area_ha: float
    runoff_share: float
    room_mm: float
    soil_gives_mm_d: float
    dries_mm_d: float
    drain_m3s: float

    def __post_init__(self) -> None:
        check_area(self.area_ha)
        check_runoff_coefficient(self.runoff_share)
        if not self.area_ha > 0:
            raise ValueError(
                "Ground of 0 ha takes no rain: enter the area that comes to the drain."
            )
        for value, most, words in (
            (self.room_mm, 500, "room in the soil is 0 to 500 mm"),
            (self.soil_gives_mm_d, 500, "soil gives 0 to 500 mm a day to its drains"),
            (self.dries_mm_d, 15, "ground dries by 0 to 15 mm a day"),
            (self.drain_m3s, 1000, "drain passes 0 to 1,000 m³/s"),
        ):
            if not math.isfinite(value) or not 0 <= value <= most:
                raise ValueError(f"The {words}; {value:g} was given.")

    @property
    def drain_mm_d(self) -> float:
        """1 mm on 1 ha is 10 m³."""
        return self.drain_m3s * 86_400 / (10 * self.area_ha)


@dataclass(frozen=True)
class Day:
    """One day's water, mm on the whole area; the last two at its end."""

    day: int
    rain_mm: float
    dried_mm: float
    drained_mm: float
    in_soil_mm: float
    standing_mm: float


@dataclass(frozen=True)
class WaterBalance:
    ground: Ground
    days: tuple[Day, ...]

    @property
    def rain_mm(self) -> float:
        return sum(day.rain_mm for day in self.days)

    @property
    def rain_m3(self) -> float:
        return 10 * self.rain_mm * self.ground.area_ha

    @property
    def days_standing(self) -> int:
        """Days at whose end more than 1 mm, on the mean of the area, stands."""
        return sum(day.standing_mm > STANDING_MM for day in self.days)

    @property
    def most_standing_m3(self) -> float:
        return 10 * self.ground.area_ha * max(day.standing_mm for day in self.days)

    @property
    def still_stands(self) -> bool:
        return self.days[-1].standing_mm > STANDING_MM

    @property
    def error_mm(self) -> float:
        """Rain less all that became of it."""
        gone = sum(day.dried_mm + day.drained_mm for day in self.days)
        return self.rain_mm - gone - self.days[-1].in_soil_mm - self.days[-1].standing_mm

    def working(self) -> Working:
        end, ground = self.days[-1], self.ground
        return Working(
            f"The balance of {len(self.days)} days",
            (
                Step("P", "rain", self.rain_mm, "mm"),
                Step("s", "share that runs off at once", ground.runoff_share),
                Step("W", "room in the soil before", ground.room_mm, "mm"),
                Step("q", "soil gives to its drains, at most", ground.soil_gives_mm_d, "mm/d"),
                Step("Qc", "drain passes, at most", ground.drain_m3s * 1000, "l/s"),
                Step("c", "the same over the area", ground.drain_mm_d, "mm/d",
                     "c = 86.4 · Qc / (10 · A)"),
                Step("O", "drained", sum(day.drained_mm for day in self.days), "mm"),
                Step("E", "dried", sum(day.dried_mm for day in self.days), "mm"),
                Step("", "in the soil at the end", end.in_soil_mm, "mm"),
                Step("", "standing at the end", end.standing_mm, "mm"),
                Step("", "rain less all of these", round(self.error_mm, 6), "mm"),
            ),
            (
                "Each day: the share runs off; the rest goes into the soil, and what it cannot take "
                "joins the water on top. The drain passes what is on top first and then what the "
                "soil gives. What is left stands.",
                "Water on top is taken to find its way to the drain. In a hollow without a gully it "
                "does not: enter for the drain what the soil gives, as mm a day times 0.116 l/s a ha.",
                "A day's mean: within a day of heavy rain more may stand for hours. How many days "
                "are too many is common practice, no source.",
            ),
        )  # fmt: skip


def balance_of_days(rain_mm: Sequence[float], ground: Ground, *, dry_days: int = 0) -> WaterBalance:
    """Follow the rain day by day, and on through ``dry_days`` after it. ValueError naming the day."""
    if not rain_mm:
        raise ValueError("Enter the rain of at least one day, in mm.")
    if dry_days < 0 or len(rain_mm) + dry_days > MOST_DAYS:
        raise ValueError(f"At most {MOST_DAYS} days are followed.")
    for number, depth in enumerate(rain_mm, start=1):
        if not math.isfinite(depth) or not 0 <= depth <= MOST_DAY_MM:
            raise ValueError(
                f"Day {number}: rain from 0 to {MOST_DAY_MM:g} mm was expected; {depth:g} was given."
            )
    soil = standing = 0.0
    days = []
    for number, depth in enumerate([*rain_mm, *[0.0] * dry_days], start=1):
        soil += (1 - ground.runoff_share) * depth
        over = max(0.0, soil - ground.room_mm)
        soil -= over
        standing += ground.runoff_share * depth + over
        dried = min(ground.dries_mm_d, soil)
        soil -= dried
        from_top = min(standing, ground.drain_mm_d)
        from_soil = min(soil, ground.soil_gives_mm_d, ground.drain_mm_d - from_top)
        standing -= from_top
        soil -= from_soil
        days.append(Day(number, depth, dried, from_top + from_soil, soil, standing))
    return WaterBalance(ground, tuple(days))
