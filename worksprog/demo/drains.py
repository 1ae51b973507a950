"""What the walk along the drains added to the survey: how a culvert begins, what ditches are lined with."""

from __future__ import annotations

from worksprog.clubs.models import Club, User
from worksprog.course.models import Feature, Kind
from worksprog.drainage.models import DrainNode
from worksprog.drainage.services import set_node_levels, set_reach

BROOK_IN_FLOOD_M = 0.25  # above the inverts of the outfalls on its bank, by the mark on the bridge


def describe_drains(club: Club, by: User) -> None:
    """The old pipe takes an open ditch at a square headwall; ditches are grassed; the brook rises."""
    for feature in Feature.objects.filter(club=club, kind=Kind.DITCH).order_by("ref"):
        set_reach(feature=feature, by=by, lining="grass_weak")
    set_reach(
        feature=Feature.objects.get(club=club, ref="P1"),
        by=by,
        culvert_inlet="square",
    )
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
