"""Ponds with their tables, and the network led through a rain."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import shapely

from worksprog.calc.ground import level_at
from worksprog.calc.network import NetworkCheck, Reach
from worksprog.calc.routing import Pond as CalcPond
from worksprog.calc.routing import (
    RainCourse,
    Through,
    days_of_rain,
    even_storm,
    nested_storm,
    route,
)
from worksprog.clubs.models import Club
from worksprog.course.models import DRAIN_LINES, Feature, Hole, Kind, State
from worksprog.course.queries import live_ground
from worksprog.course.queries_water import live_water
from worksprog.drainage.bridge_water import as_kept, pond_of
from worksprog.drainage.models import DesignStorm, Pond
from worksprog.drainage.queries.network import check_network, live_storm
from worksprog.drainage.queries.rain import design_rain_of

LARGE = 4_000_000  # reaches times steps: about a second
WATCHED = 8
NEAR_HOLLOW_M = 15.0


@dataclass(frozen=True)
class RainWish:
    """The rain asked for, as the form has it and a record keeps it.

    kind      "storm" (the design storm, of one duration) or "days"
    share     of the rain that runs off, for all catchments; None as entered for each
    place     uuid of a reach whose flow is shown besides; ""
    half_in_h half of each day's rain falls in so many hours; None: evenly over the day
    """

    kind: str
    duration_h: float
    days_mm: tuple[float, ...]
    after_h: float
    step_s: float
    share: float | None
    place: str = ""
    half_in_h: float | None = None

    def as_inputs(self) -> dict[str, Any]:
        return {
            "kind": self.kind,
            "duration_h": self.duration_h,
            "days_mm": list(self.days_mm),
            "after_h": self.after_h,
            "step_s": self.step_s,
            "share": self.share,
            "place": self.place,
            "half_in_h": self.half_in_h,
        }

    @classmethod
    def of(cls, inputs: dict[str, Any]) -> RainWish:
        return cls(**{**inputs, "days_mm": tuple(inputs["days_mm"])})

    @property
    def steps(self) -> int:
        wet_h = self.duration_h if self.kind == "storm" else 24.0 * len(self.days_mm)
        return int((wet_h + self.after_h) * 3600 / self.step_s)


def rain_of(wish: RainWish, storm: DesignStorm) -> RainCourse:
    """ValueError in words for rain that cannot be."""
    if wish.kind == "days":
        return days_of_rain(
            wish.days_mm, after_h=wish.after_h, step_s=wish.step_s, half_in_h=wish.half_in_h
        )
    design = design_rain_of(storm)
    if design is not None:
        return nested_storm(
            design, duration_h=wish.duration_h, after_h=wish.after_h, step_s=wish.step_s
        )
    return even_storm(
        intensity_mm_h=storm.intensity_mm_h,
        duration_h=wish.duration_h,
        after_h=wish.after_h,
        step_s=wish.step_s,
    )


def is_large(club: Club, wish: RainWish) -> bool:
    """Whether it is better done as a job. One query."""
    count = Feature.objects.filter(club=club, kind__in=DRAIN_LINES).exclude(state=State.REMOVED)
    return count.count() * wish.steps > LARGE


def ponds_of(club: Club) -> tuple[list[CalcPond], list[str]]:
    """The ponds that have a table, and words for those whose table cannot be. Two queries."""
    found, refused = [], []
    rows = (
        Pond.objects.filter(club=club)
        .exclude(feature__state=State.REMOVED)
        .select_related("feature")
        .prefetch_related("outlets__reach")
        .order_by("feature__ref", "pk")
    )
    for row in rows:
        if not row.stages:
            continue
        try:
            found.append(pond_of(row, row.outlets.all()))
        except ValueError as error:
            refused.append(f"{error} It is taken to hand on what comes to it.")
    return found, refused


@dataclass(frozen=True)
class Routed:
    """What came of it, and the same as plain figures for a record."""

    through: Through
    kept: dict[str, Any]


def route_network(
    club: Club, wish: RainWish, *, tell: Callable[[float, str], None] | None = None
) -> Routed:
    """Lead a rain through everything that stands or is to stand. ValueError in words."""
    storm = live_storm(club)
    rain = rain_of(wish, storm)
    check = check_network(club, storm=storm, over_ground=False)
    reaches = list(check.given.values())
    if wish.share is not None:
        reaches = [_with_share(reach, wish.share) for reach in reaches]
    ponds, refused = ponds_of(club)
    through = route(
        reaches,
        list(check.nodes.values()),
        ponds,
        rain,
        storm=check.storm,
        limits=check.limits,
        watch=_watched(check, wish.place),
        tell=tell,
    )
    kept = as_kept(through, _places(club, check, through))
    kept["notes"] += refused
    if wish.kind == "days":
        kept["notes"].append(_shape_words(wish.half_in_h))
    kept["ponds_without_table"] = _ponds_without(club, {pond.key for pond in ponds})
    return Routed(through, kept)


def _shape_words(half_in_h: float | None) -> str:
    if half_in_h is None:
        return (
            "Each day's rain is spread evenly over its 24 hours, the mildest way it can fall. Rain "
            "of a day that comes in a few hours loads the drains more: lead that through as well."
        )
    return (
        f"Half of each day's rain falls in {half_in_h:g} hours about noon, the other half evenly in "
        "the rest of the day."
    )


def _with_share(reach: Reach, share: float) -> Reach:
    return replace(reach, runoff_coefficient=share)


def _watched(check: NetworkCheck, place: str) -> list[str]:
    """The place asked for, the reaches at outfalls and those too small, the fullest first."""
    flow = {reach.key: reach.flow_m3s or 0.0 for reach in check.reaches}
    ends = [reach for reach in check.reaches if not reach.below or reach.state == "too_small"]
    ends.sort(key=lambda reach: (reach.state != "too_small", -flow[reach.key]))
    keys = [key for key in (place,) if key in flow] + [reach.key for reach in ends]
    return list(dict.fromkeys(keys))[:WATCHED]


def _places(club: Club, check: NetworkCheck, through: Through) -> list[dict[str, Any]]:
    """Where water stood at the head of a full drain, longest first, with the holes of the drain."""
    stood = sorted(
        (one for one in through.reaches if one.standing_h > 0),
        key=lambda one: -one.standing_h,
    )
    holes: dict[str, list[int]] = {}
    pairs = Hole.objects.filter(
        club=club, features__uuid__in=[one.key for one in stood]
    ).values_list("features__uuid", "number")
    for uuid, number in pairs:
        holes.setdefault(str(uuid), []).append(number)
    hollows = _hollows(club) if stood else []
    return [
        {
            "key": one.key,
            "reach": one.name,
            "place": check.reach(one.key).upstream_name,
            "holes": sorted(holes.get(one.key, [])),
            "hours": one.standing_h,
            "most_m3": one.standing_m3,
            "at_h": one.standing_at_h,
            "low_spot": _low_spot(hollows, check.given[one.key].line[0], one.standing_m3),
        }
        for one in stood
    ]


Hollows = list[tuple[Any, dict[str, Any]]]


def _hollows(club: Club) -> Hollows:
    """The closed hollows of the live ground, where they have been found. One query."""
    kept = live_water(club, "hollows")
    if kept is None:
        return []
    return [(shapely.geometry.shape(facts["outline"]), facts) for facts in kept.hollows]


def _low_spot(hollows: Hollows, place: tuple[float, float], most_m3: float) -> dict[str, Any]:
    """The hollow of the ground that water held at a place would lie in, and how full it becomes."""
    here = shapely.Point(place)
    near = [(float(outline.distance(here)), facts) for outline, facts in hollows]
    away, facts = min(near, key=lambda one: one[0], default=(NEAR_HOLLOW_M + 1, {}))
    if away > NEAR_HOLLOW_M:
        return {}
    return {
        "depth_m": facts["depth_m"],
        "area_m2": facts["area_m2"],
        "volume_m3": facts["volume_m3"],
        "filled": most_m3 / facts["volume_m3"] if facts["volume_m3"] else None,
    }


def _ponds_without(club: Club, with_table: set[str]) -> list[dict[str, str]]:
    rows = Feature.objects.filter(club=club, kind=Kind.POND).exclude(state=State.REMOVED)
    return [
        {"key": str(row.uuid), "name": row.title}
        for row in rows.defer("notes")
        if str(row.uuid) not in with_table
    ]


def bank_from_ground(feature: Feature) -> float | None:
    """The lowest ground along a pond's outline; None where it is not known."""
    ground = live_ground(feature.club)
    if ground is None:
        return None
    levels = [level_at(ground, x, y) for x, y, *_ in feature.geometry.exterior.coords]
    known = [level for level in levels if level is not None]
    return round(min(known), 3) if known else None
