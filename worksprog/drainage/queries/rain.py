"""Rain: the depths by duration that a storm is checked with."""

from __future__ import annotations

from worksprog.calc.rainfall import DepthTable, DesignRain
from worksprog.drainage.models import DesignStorm

SHORTEST_AT_MOST_MIN = 60.0


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
            f"Its shortest storm lasts {shortest:g} min. Drains of a course are loaded most by "
            f"storms of minutes: a table for them begins at {SHORTEST_AT_MOST_MIN:g} min or less."
        )
