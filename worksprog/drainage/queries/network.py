"""Reads of the drain network: its check, its long sections, what must be built before what."""

from __future__ import annotations

import datetime
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

import numpy as np
import shapely
from django.utils import timezone
from numpy.typing import NDArray

from worksprog.calc.long_section import LongSection, lay_out_long_section
from worksprog.calc.network import Limits, NetworkCheck, Node, Reach, check_drains
from worksprog.clubs.models import Change, Club
from worksprog.course.models import DRAIN_LINES, DRAIN_NODES, Feature, Kind, State
from worksprog.course.queries import live_ground
from worksprog.drainage import bridge
from worksprog.drainage.bridge_as_built import with_built_levels
from worksprog.drainage.models import DesignStorm, DrainReach
from worksprog.drainage.queries.as_built import built_ends_of
from worksprog.drainage.queries.rain import design_rain_of

NEAR_SERVICE_M = 3.0
FAR_FROM_REACH_M = 0.3
DEEP_CHAMBER_M = 6.0


def live_storm(club: Club) -> DesignStorm:
    """The storm the club checks for; an unsaved one with the usual figures when it has set none."""
    rows = DesignStorm.objects.filter(club=club, is_live=True).select_related("table")
    row = rows.order_by("-pk").first()
    return row or DesignStorm(club=club, source="not set by the club yet")


def check_network(
    club: Club,
    on_date: datetime.date | None = None,
    *,
    states: Mapping[UUID, str] | None = None,
    limits: Limits | None = None,
    storm: DesignStorm | None = None,
    over_ground: bool = True,
    as_built: bool = True,
) -> NetworkCheck:
    """The club's whole drain network, checked for its live storm or another. At most six queries.

    Without a date: everything that stands or is to stand, but what is to be replaced. With one:
    only what stands then, by the features' own states and dates. ``states`` (feature uuid → state)
    stands before both, for those who know the programme. Without ``over_ground`` the ground is not
    read: it then is not known where water would come out at places without a cover level. A drain
    that was levelled at both ends is checked by those levels, and says so; without ``as_built``
    all go by their design.
    """
    limits = limits or Limits()
    drains = drain_rows(club, as_built=as_built)
    standing = {feature.uuid for feature in drains.features if _stands_on(feature, on_date, states)}
    kept = standing - {
        feature.uuid
        for feature in drains.features
        if drains.replaced_by.get(str(feature.uuid)) in standing
    }
    reaches, nodes = drains.as_given(kept, limits, states)
    ground = live_ground(club) if over_ground and reaches else None
    row = storm or live_storm(club)
    return check_drains(
        reaches,
        nodes,
        bridge.storm_of(row, design_rain_of(row)),
        limits,
        ground_at=None if ground is None else ground.levels_at,
    )


@dataclass(frozen=True)
class DrainRows:
    """Every pipe, ditch, node and pond that is not gone, and what each drain is replaced by."""

    features: list[Feature]
    replaced_by: dict[str, UUID]
    built: Mapping[int, Any]

    def as_given(
        self,
        kept: Collection[UUID],
        limits: Limits,
        states: Mapping[UUID, str] | None = None,
    ) -> tuple[list[Reach], list[Node]]:
        """Reaches and nodes for the check, of the features that are kept."""
        reaches, nodes, ponds = [], [], []
        for feature in self.features:
            if feature.uuid not in kept:
                continue
            if feature.kind in DRAIN_LINES:
                if feature.length_m > 0:
                    state = (states or {}).get(feature.uuid, feature.state)
                    row = getattr(feature, "reach", None)
                    reach = bridge.reach_of(feature, row, standing=state in bridge.STANDING)
                    if feature.pk in self.built:
                        reach = with_built_levels(reach, self.built[feature.pk])
                    reaches.append(reach)
            elif feature.kind in DRAIN_NODES:
                nodes.append(bridge.node_of(feature, getattr(feature, "node", None)))
            else:
                ponds.append(feature)
        nodes += bridge.ponds_as_nodes(reaches, ponds, tolerance_m=limits.tolerance_m)
        return reaches, nodes


def drain_rows(club: Club, *, as_built: bool = True) -> DrainRows:
    """Two queries, however many drains."""
    rows = list(
        Feature.objects.filter(club=club, kind__in=[*DRAIN_LINES, *DRAIN_NODES, Kind.POND])
        .exclude(state=State.REMOVED)
        .select_related("reach", "node", "pond")
        .defer("notes")
        .order_by("ref", "pk")
    )
    by_pk = {feature.pk: feature.uuid for feature in rows}
    return DrainRows(
        rows,
        {
            str(feature.uuid): by_pk[row.replaced_by_id]
            for feature in rows
            if (row := getattr(feature, "reach", None)) and row.replaced_by_id in by_pk
        },
        built_ends_of(club) if as_built else {},
    )


def _stands_on(
    feature: Feature, on_date: datetime.date | None, states: Mapping[UUID, str] | None
) -> bool:
    state = (states or {}).get(feature.uuid, feature.state)
    if state == State.REMOVED:
        return False
    if on_date is None:
        return True
    standing = state in bridge.STANDING
    if states is not None and feature.uuid in states:
        return standing
    return standing and (feature.state_date is None or feature.state_date <= on_date)


def check_holding(
    club: Club, uuid: UUID, *, over_ground: bool = True, as_built: bool = True
) -> NetworkCheck:
    """The check of all that is to stand; of today, where this drain is to be replaced.

    Today's then has the drain itself rather than what takes its place.
    """
    check = check_network(club, over_ground=over_ground, as_built=as_built)
    row = DrainReach.objects.filter(feature__uuid=uuid, replaced_by__isnull=False)
    row = row.select_related("replaced_by")
    held = None if str(uuid) in check.given else row.first()
    if held is None or held.replaced_by is None:
        return check
    states = {uuid: State.EXISTING.value, held.replaced_by.uuid: State.PROPOSED.value}
    return check_network(
        club, club.today(), states=states, over_ground=over_ground, as_built=as_built
    )


def long_section_of(club: Club, reach_uuid: UUID, check: NetworkCheck | None = None) -> LongSection:
    """The long section from a reach down to its outfall, over the live ground.

    KeyError when the network has no such reach.
    """
    check = check or check_network(club)
    ground = live_ground(club)
    if ground is None:
        return lay_out_long_section(check, str(reach_uuid))

    def levels_at(points: NDArray[np.float64]) -> NDArray[np.float64]:
        return ground.levels_at(points[:, 0], points[:, 1])

    return lay_out_long_section(check, str(reach_uuid), levels_at=levels_at)


def implied_order(club: Club) -> list[tuple[UUID, UUID]]:
    """(feature below, feature above): the drain below is built before the one above it.

    No storm changes the order, so the club's own is not read, nor are levels as built. One query.
    """
    check = check_network(club, storm=DesignStorm(club=club), over_ground=False, as_built=False)
    return [(UUID(below), UUID(above)) for below, above in check.pairs_below_first()]


def services_near(club: Club, feature: Feature) -> list[Feature]:
    """Buried services that cross a feature or pass within a few metres of it."""
    rows = Feature.objects.filter(club=club, kind=Kind.SERVICE).exclude(state=State.REMOVED)
    return [row for row in rows if shapely.dwithin(row.geometry, feature.geometry, NEAR_SERVICE_M)]


@dataclass(frozen=True)
class LevelsAtNode:
    """Which reaches have a level of their own at a node, which take the node's, what is odd."""

    own: tuple[str, ...]
    taken: tuple[str, ...]
    odd: tuple[str, ...]


def levels_at_node(check: NetworkCheck, key: str) -> LevelsAtNode:
    """KeyError when the network has no such node."""
    node = check.nodes[key]
    own, taken, odd = [], [], []
    if (
        node.invert_m is not None
        and node.cover_m is not None
        and node.cover_m - node.invert_m > DEEP_CHAMBER_M
    ):
        odd.append(
            f"The invert lies {node.cover_m - node.invert_m:.2f} m below the cover, which is deep "
            "for a drain of a course: check both levels."
        )
    for reach in check.reaches:
        given = check.given[reach.key]
        for keys, level, does in (
            (reach.downstream_node_keys, given.downstream_invert_m, "arrives"),
            (reach.upstream_node_keys, given.upstream_invert_m, "leaves"),
        ):
            if key not in keys:
                continue
            if level is None:
                taken.append(reach.name)
                continue
            own.append(reach.name)
            if node.invert_m is not None and abs(node.invert_m - level) > FAR_FROM_REACH_M:
                side = "below" if node.invert_m < level else "above"
                odd.append(
                    f"The invert entered here, {node.invert_m:.2f} m, lies "
                    f"{abs(node.invert_m - level):.2f} m {side} the level at which {reach.name} "
                    f"{does}, {level:.2f} m. Check both, unless a drop or a sump is meant."
                )
    return LevelsAtNode(tuple(dict.fromkeys(own)), tuple(dict.fromkeys(taken)), tuple(odd))


def last_change_of(club: Club, *uuids: UUID) -> str:
    """Who changed one of these records last, and when, in words."""
    rows = Change.objects.filter(club=club, record_uuid__in=uuids)
    last = rows.select_related("by").order_by("-at", "-id").first()
    if last is None:
        return "It was changed"
    at = timezone.localtime(last.at, timezone=ZoneInfo(club.time_zone))
    return f"{last.by or 'The program'} changed it at {at:%H:%M} on {at.day} {at:%b}"
