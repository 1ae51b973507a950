"""Rain: the depths a storm is checked with, and the laws fitted to a gauge's record."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from worksprog.calc.rainfall import Depth, DepthTable, DesignRain, duration_words
from worksprog.calc.rainfall.extremes import (
    FEWEST_YEARS,
    Fit,
    Law,
    fit_gev,
    fit_gumbel,
    l_moments,
    years_notes,
)
from worksprog.calc.working import Step, Working
from worksprog.clubs.models import Club
from worksprog.drainage.models import DesignStorm, GaugeRecord

SHORTEST_AT_MOST_MIN = 60.0
FITTED_PERIODS = (2.0, 5.0, 10.0, 20.0, 30.0, 50.0, 100.0)


def design_rain_of(storm: DesignStorm) -> DesignRain | None:
    """The storm's rain by duration, its allowance in; None where it has only the one intensity.

    Between two return periods of the table it is read between them. ValueError in words, naming
    the row, when the table cannot be or does not reach so far.
    """
    if storm.table is None:
        return None
    return DepthTable.of(storm.table.depths).design_rain(
        storm.return_period_years, allowance_percent=storm.climate_allowance_percent
    )


def check_serves_drains(rain: DesignRain) -> None:
    """Refuse rain without short storms: a small catchment would be checked with a day's drizzle."""
    shortest = rain.durations_min[0]
    if shortest > SHORTEST_AT_MOST_MIN:
        raise ValueError(
            f"Its shortest storm lasts {duration_words(shortest)}. Drains of a course are loaded "
            "most by storms of minutes: a table for them begins at 1 h or less."
        )


def storm_working(storm: DesignStorm) -> Working | None:
    """How the depths of a storm by a table came about; None for one intensity."""
    rain = design_rain_of(storm)
    if rain is None or storm.table is None:
        return None
    steps = [
        Step("T", "return period", float(storm.return_period_years), "years"),
        Step("", "allowance for climate change", storm.climate_allowance_percent, "%"),
    ]
    known = DepthTable.of(storm.table.depths).return_periods
    how = "read from its row"
    if storm.return_period_years not in known:
        how = "between two rows, straight over -ln(-ln(1 - 1/T))"
    for minutes, depth in zip(rain.durations_min, rain.depths_mm, strict=True):
        steps.append(
            Step("P", f"in {duration_words(minutes)}, {depth / minutes * 60:.1f} mm/h", depth, "mm",
                 how, storm.table.source)
        )  # fmt: skip
    return Working(f"{storm.name}, from {storm.table.name}", tuple(steps))


def maxima_by_duration(record: GaugeRecord) -> dict[int, list[tuple[int, float]]]:
    """(year, depth in mm) by duration (min), in order."""
    found: dict[int, list[tuple[int, float]]] = {}
    for year, minutes, depth in sorted(record.maxima, key=lambda row: (row[1], row[0])):
        found.setdefault(int(minutes), []).append((int(year), float(depth)))
    return found


@dataclass(frozen=True)
class FittedDuration:
    """One duration of a record, fitted."""

    duration_min: int
    values_mm: tuple[float, ...]
    fit: Fit

    def working(self, return_years: float) -> Working:
        found = self.fit.working(l_moments(self.values_mm), return_years)
        return Working(
            f"{duration_words(self.duration_min)}: {found.title}", found.steps, found.notes
        )


@dataclass(frozen=True)
class FittedTable:
    """A law fitted to every duration of a record that has years enough.

    refused  words for each duration that could not be fitted
    """

    law: Law
    durations: tuple[FittedDuration, ...]
    refused: tuple[str, ...]

    @property
    def years(self) -> int:
        return min((one.fit.years for one in self.durations), default=0)

    @property
    def warnings(self) -> tuple[str, ...]:
        return years_notes(self.years) if self.durations else ()

    @property
    def words(self) -> str:
        law = "Gumbel" if self.law == "gumbel" else "GEV"
        return f"{law} by L-moments, {self.years} years"

    @property
    def periods(self) -> tuple[float, ...]:
        """What may be read of so many years; twice the record at most, for beyond is guessing."""
        return tuple(one for one in FITTED_PERIODS if one <= max(2 * self.years, FEWEST_YEARS))

    @property
    def depths(self) -> tuple[Depth, ...]:
        return tuple(
            Depth(years, float(one.duration_min), round(one.fit.depth_at(years), 1))
            for one in self.durations
            for years in self.periods
        )


def fit_record(record: GaugeRecord, law: Law) -> FittedTable:
    """Fit each duration by itself; those with too few years are told in words."""
    fitted, refused = [], []
    for minutes, years in maxima_by_duration(record).items():
        values = tuple(depth for _, depth in years)
        try:
            fit = fit_gev(values) if law == "gev" else fit_gumbel(values)
        except ValueError as error:
            refused.append(f"{duration_words(minutes)}: {error}")
        else:
            fitted.append(FittedDuration(minutes, values, fit))
    return FittedTable(law, tuple(fitted), tuple(refused))


def daily_rain_of(club: Club) -> dict[date, float]:
    """Rain of each day in mm by the club's own gauges; of two records the newer one stands."""
    rain: dict[date, float] = {}
    records = GaugeRecord.objects.filter(club=club, kind=GaugeRecord.Kind.DAILY).order_by("id")
    for daily in records.values_list("daily", flat=True):
        if daily:
            first = date.fromisoformat(daily["first"])
            for step, depth in enumerate(daily["mm"]):
                if depth is not None:
                    rain[first + timedelta(days=step)] = depth
    return rain
