"""What the walk along the drains added to the survey: how a culvert begins, what ditches are lined with."""

from __future__ import annotations

from worksprog.clubs.models import Club, User
from worksprog.course.models import Feature, Kind
from worksprog.drainage.models import DrainNode
from worksprog.drainage.services import set_node_levels, set_reach

# Longest way of the water over the ground and its fall (m), paced and levelled.
FLOW_PATHS = {"BK": (1400.0, 22.0), "D1": (260.0, 5.0), "D3": (310.0, 6.5), "P1": (120.0, 2.1)}
BROOK_IN_FLOOD_M = 0.25  # above the inverts of the outfalls on its bank, by the mark on the bridge


def describe_drains(club: Club, by: User) -> None:
    """The old pipe takes an open ditch at a square headwall; ditches are grassed; the brook rises."""
    drains = {feature.ref: feature for feature in Feature.objects.filter(club=club)}
    for ref, (path_m, fall_m) in FLOW_PATHS.items():
        set_reach(feature=drains[ref], by=by, flow_path_m=path_m, flow_path_fall_m=fall_m)
    for feature in Feature.objects.filter(club=club, kind=Kind.DITCH).order_by("ref"):
        set_reach(feature=feature, by=by, lining="grass_weak")
    set_reach(feature=drains["P1"], by=by, culvert_inlet="square")
    rows = DrainNode.objects.filter(club=club, feature__ref__in=["O1", "O2", "O3", "O4"])
    for row in rows.select_related("feature").order_by("feature__ref"):
        if row.invert_level_m is None:
            continue
        set_node_levels(
            feature=row.feature,
            by=by,
            cover_level_m=row.cover_level_m,
            invert_level_m=row.invert_level_m,
            size=row.size,
            water_level_m=round(row.invert_level_m + BROOK_IN_FLOOD_M, 2),
        )
