"""Ponds as the arithmetic wants them, and what came of a routing as a record keeps it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from worksprog.calc.routing import Outlet, Pond, Through
from worksprog.drainage import models
from worksprog.drainage.bridge import short_name

POINTS_KEPT = 240


def outlet_of(row: models.PondOutlet) -> Outlet:
    """ValueError, in words, for an outlet without its size."""
    return Outlet(
        kind=row.kind,  # type: ignore[arg-type]
        level_m=row.level_m,
        diameter_m=None if row.diameter_mm is None else row.diameter_mm / 1000,
        width_m=row.width_m,
        into="" if row.reach is None else str(row.reach.uuid),
    )


def pond_of(row: models.Pond, outlets: Iterable[models.PondOutlet]) -> Pond:
    """A pond's row with its outlets; ValueError, naming the place, when it cannot be."""
    levels = tuple(float(level) for level, _ in row.stages)
    areas = tuple(float(area) for _, area in row.stages)
    return Pond(
        key=str(row.feature.uuid),
        name=short_name(row.feature),
        levels_m=levels,
        areas_m2=areas,
        outlets=tuple(outlet_of(outlet) for outlet in outlets),
        bank_m=row.bank_level_m,
        resting_m=row.resting_level_m,
        surface_m2=float(row.feature.area_m2),
    )


def _thin(values: NDArray[np.float64], *, most: bool) -> list[float]:
    """At most so many points: the greatest, or the last, of each stretch."""
    stretch = -(-len(values) // POINTS_KEPT)
    parts = [values[at : at + stretch] for at in range(0, len(values), stretch)]
    return [round(float(part.max() if most else part[-1]), 6) for part in parts]


def _hours(through: Through) -> list[float]:
    stretch = -(-through.steps // POINTS_KEPT)
    ends = [min(at + stretch, through.steps) for at in range(0, through.steps, stretch)]
    return [round(end * through.step_s / 3600, 4) for end in ends]


def as_kept(through: Through, places: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """Plain figures for the record. places: where water stood, with its holes."""
    balance = through.balance
    return {
        "rain": {
            "words": through.rain_words,
            "mm": through.rain_mm,
            "mm_h": _thin(through.rain_mm_h, most=True),
        },
        "hours": through.hours,
        "step_s": through.step_s,
        "at_h": _hours(through),
        "stretch_min": -(-through.steps // POINTS_KEPT) * through.step_s / 60,
        "reaches": [
            {
                "key": one.key,
                "name": one.name,
                "kind": one.kind,
                "capacity_m3s": one.capacity_m3s,
                "arriving_m3s": one.arriving_m3s,
                "leaving_m3s": one.leaving_m3s,
                "leaving_at_h": one.leaving_at_h,
                "over_h": one.over_h,
                "standing_h": one.standing_h,
                "standing_m3": one.standing_m3,
                "travel_min": one.travel_min,
                "pieces": one.pieces,
            }
            for one in through.reaches
        ],
        "ponds": [
            {
                "key": one.key,
                "name": one.name,
                "start_m": one.start_m,
                "bank_m": one.bank_m,
                "peak_m": one.peak_m,
                "peak_at_h": one.peak_at_h,
                "end_m": one.end_m,
                "above_start_h": one.hours_above(one.start_m),
                "peak_inflow_m3s": one.peak_inflow_m3s,
                "peak_outflow_m3s": one.peak_outflow_m3s,
                "outflow_at_h": one.outflow_at_h,
                "over_bank_h": one.over_bank_h,
                "over_bank_m3": one.over_bank_m3,
                "inflow_m3s": _thin(one.inflow_m3s, most=True),
                "outflow_m3s": _thin(one.outflow_m3s, most=True),
                "level_m": _thin(one.level_m, most=False),
                "warnings": list(one.warnings),
            }
            for one in through.ponds
        ],
        "hydrographs": [
            {"key": one.key, "name": one.name, "flow_m3s": _thin(one.leaving_m3s, most=True)}
            for one in through.hydrographs
        ],
        "places": list(places),
        "balance": {
            "words": balance.words,
            "error": balance.error,
            "holds": balance.holds,
            "rows": balance.working().as_rows(),
        },
        "notes": list(through.notes),
    }
