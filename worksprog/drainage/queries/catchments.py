"""What the ground says drains to each reach, beside what is entered."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import shapely

from worksprog.calc.ground import Catchment, Drain, Shares, shares_of
from worksprog.calc.working import Working
from worksprog.clubs.models import Club
from worksprog.course.models import DRAIN_LINES, Feature, Kind
from worksprog.course.queries_water import water_raster
from worksprog.drainage.models import DrainReach
from worksprog.drainage.queries.network import drain_rows

LEAVES_POND_M = 1.0
MUCH_APART = 0.25


@dataclass(frozen=True, eq=False)
class ReachShare:
    """One reach: its own catchment as entered and by the ground.

    catchments  its own, and those of the ponds that it leaves; none when no ground drains to it
    ground_fault  why the ground cannot tell it
    """

    feature: Feature
    row: DrainReach | None
    catchments: tuple[Catchment, ...]
    ponds: tuple[str, ...]
    outside_m: float
    ground_fault: str

    @property
    def area_ha(self) -> float | None:
        if self.ground_fault:
            return None
        return round(sum(one.area_m2 for one in self.catchments) / 10_000, 3)

    @property
    def _longest(self) -> Catchment | None:
        return max(self.catchments, key=lambda one: one.longest.length_m, default=None)

    @property
    def path_m(self) -> float | None:
        """None where water meets the drain at once."""
        length = self._longest.longest.length_m if self._longest else 0.0
        return round(length, 1) or None

    @property
    def fall_m(self) -> float | None:
        """Along the longest way; none where hollows make it end higher than it began."""
        if self._longest is None or self.path_m is None or self._longest.longest.fall_m < 0:
            return None
        return round(self._longest.longest.fall_m, 2)

    @property
    def edge_m(self) -> float:
        return sum(one.edge_m for one in self.catchments)

    @property
    def entered_ha(self) -> float:
        return self.row.catchment_ha if self.row else 0.0

    @property
    def taken(self) -> bool:
        """Whether these very figures are on the record already."""
        row = self.row
        return (
            row is not None
            and row.catchment_from == "ground"
            and (row.catchment_ha, row.flow_path_m, row.flow_path_fall_m)
            == (self.area_ha, self.path_m, self.fall_m)
        )

    @property
    def doubts(self) -> list[str]:
        found = [self.ground_fault] if self.ground_fault else []
        if self.outside_m:
            found.append(f"{self.outside_m:.0f} m of it lie outside the surveyed ground")
        if self.edge_m:
            found.append(f"touches {self.edge_m:.0f} m of the survey's edge: more may drain to it")
        if self.ponds:
            found.append(f"with what drains to {' and '.join(self.ponds)}")
        return found

    @property
    def may_be_whole(self) -> bool:
        return not (self.ground_fault or self.outside_m or self.edge_m)

    def working(self, cell_m: float) -> Working | None:
        return self._longest.working(cell_m) if self._longest else None


@dataclass(frozen=True, eq=False)
class NetworkShares:
    """All reaches as they will be, in the order of their references."""

    reaches: tuple[ReachShare, ...]
    rest_ha: float
    whole_ha: float
    pond_ha: float
    cell_m: float


def shares_by_ground(club: Club) -> NetworkShares:
    """The shares of every pipe and ditch that stands or is to stand, but what is to be replaced.

    ValueError when there is no drain or no ground. Four queries.
    """
    drains = drain_rows(club, as_built=False)
    here = {feature.uuid for feature in drains.features}
    rows = [one for one in drains.features if drains.replaced_by.get(str(one.uuid)) not in here]
    reaches = [one for one in rows if one.kind in DRAIN_LINES and one.length_m > 0]
    ponds = [one for one in rows if one.kind == Kind.POND]
    if not reaches:
        raise ValueError("No pipe or ditch is drawn yet.")
    raster = water_raster(club)
    if raster is None:
        raise ValueError("There is no ground yet: make it of a survey first.")
    shares = shares_of(raster, [Drain(str(one.uuid), one.geometry) for one in [*reaches, *ponds]])
    leaves = _leaving(reaches, ponds)
    found = tuple(_share(one, shares, leaves.get(one.pk, [])) for one in reaches)
    led_off = {pond.pk for ones in leaves.values() for pond in ones}
    left = [shares.catchments.get(str(one.uuid)) for one in ponds if one.pk not in led_off]
    return NetworkShares(
        found,
        shares.rest_m2 / 10_000,
        shares.whole_m2 / 10_000,
        sum(one.area_m2 for one in left if one) / 10_000,
        shares.cell_m,
    )


def _leaving(reaches: Sequence[Feature], ponds: Sequence[Feature]) -> dict[int, list[Feature]]:
    """The ponds whose water each reach takes: the first reach that begins in it or at its edge."""
    found: dict[int, list[Feature]] = {}
    for pond in ponds:
        for reach in reaches:
            start: Any = shapely.get_point(reach.geometry, 0)
            if shapely.dwithin(start, pond.geometry, LEAVES_POND_M):
                found.setdefault(reach.pk, []).append(pond)
                break
    return found


def _share(feature: Feature, shares: Shares, ponds: Sequence[Feature]) -> ReachShare:
    keys = [str(one.uuid) for one in (feature, *ponds)]
    fault = "lies outside the surveyed ground" if keys[0] in shares.outside else ""
    return ReachShare(
        feature,
        getattr(feature, "reach", None),
        tuple(shares.catchments[key] for key in keys if key in shares.catchments),
        tuple(str(one) for one in ponds),
        shares.partly.get(keys[0], 0.0),
        fault,
    )
