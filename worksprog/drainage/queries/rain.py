"""Rain: the depths by duration that a storm is checked with."""

from __future__ import annotations

from worksprog.calc.rainfall import DesignRain
from worksprog.drainage.models import DesignStorm


def design_rain_of(storm: DesignStorm) -> DesignRain | None:
    """The storm's row of its table with the allowance in; None where it has none.

    ValueError, naming the row, when the table cannot be.
    """
    if storm.table is None:
        return None
    factor = 1 + storm.climate_allowance_percent / 100
    rows = sorted(
        (float(minutes), depth_mm * factor)
        for years, minutes, depth_mm in storm.table.depths
        if years == storm.return_period_years
    )
    if not rows:
        return None
    durations, depths = zip(*rows, strict=True)
    return DesignRain(durations, depths)
