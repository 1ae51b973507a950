"""What the reach page shows beside flow and capacity: arrival, water levels, a ditch's bed and banks."""

from __future__ import annotations

from typing import Any

from worksprog.calc.ditches import LININGS
from worksprog.calc.network import NetworkCheck, ReachCheck
from worksprog.calc.network.water_line import NOTICED_M

TOLD_FROM_M = 0.01  # what two decimals show
FORMULAS = {"bransby": "Bransby-Williams", "kirpich": "Kirpich"}


def arrival_of(check: NetworkCheck, found: ReachCheck) -> dict[str, Any]:
    """How long the water takes, in words."""
    given = check.given[found.key]
    if given.flow_path_gradient is None:
        over = "a usual time, for its flow path over the ground is not entered"
    else:
        over = f"{given.flow_path_m:.0f} m over the ground, by {FORMULAS[check.storm.formula]}"
    last = found.furthest_key
    return {
        "over": over,
        "furthest": check.reach(last).name if last and last != found.key else "",
        "in_time": None
        if found.contributing_ha is None or not found.runoff_area_ha
        else found.contributing_ha / found.runoff_area_ha,
    }


def water_of(check: NetworkCheck, found: ReachCheck) -> list[dict[str, Any]]:
    """The level of the water at both ends, and how far it stands from coming out there."""
    ends = zip(
        ("upper", "lower"),
        (found.water_up_m, found.water_down_m),
        (found.upstream_name, found.downstream_name),
        check.water_at_ends(found.key),
        strict=True,
    )
    return [
        {
            "end": end,
            "level_m": level_m,
            "at_m": at.level_m,
            "differs": level_m is not None
            and at.level_m is not None
            and abs(at.level_m - level_m) >= TOLD_FROM_M,
            "place": place,
            "surface_from": at.surface_from,
            "above_m": at.above_m,
            "is_out": place == found.outfall_name,
            "below_m": None if at.above_m is None else -at.above_m,
            "comes_out": at.above_m is not None and at.above_m > NOTICED_M,
        }
        for end, level_m, place, at in ends
    ]


def ditch_of(check: NetworkCheck, found: ReachCheck) -> dict[str, Any] | None:
    if found.kind != "ditch" or found.depth_m is None:
        return None
    lining = LININGS.get(check.given[found.key].lining)
    stands = lining.velocity_ms if lining else check.limits.most_ditch_velocity_ms
    return {
        "lining": lining.words if lining else "earth or sparse grass",
        "source": lining.source if lining else "between the published limits",
        "stands_ms": stands,
        "cuts": (found.velocity_ms or 0.0) > stands,
        "shoots": (found.froude or 0.0) > 1,
        "wanted_m": getattr(check.given[found.key].section, "freeboard_m", 0.0),
    }
