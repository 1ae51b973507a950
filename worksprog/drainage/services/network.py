"""What changes the drain network: sections, levels, direction, the design storm."""

from __future__ import annotations

import json
import math
from collections.abc import Collection
from hashlib import sha256
from typing import TypedDict, Unpack

import shapely
from django.core.exceptions import ValidationError
from django.db import transaction

from worksprog.calc.ditches import LININGS
from worksprog.clubs.models import Club, User
from worksprog.clubs.records import save_record
from worksprog.course.models import DRAIN_LINES, DRAIN_NODES, Feature
from worksprog.course.services import turn_round
from worksprog.drainage.bridge import levels_of, section_of
from worksprog.drainage.models import CatchmentFrom, DesignStorm, DrainNode, DrainReach, RainTable
from worksprog.drainage.models.network import BORE_WORDS, LARGEST_BORE_MM, SMALLEST_BORE_MM
from worksprog.drainage.queries.rain import check_serves_drains, design_rain_of


class ReachFigures(TypedDict, total=False):
    """What may be set of a reach; what is left out stays as it is."""

    upstream_invert_m: float | None
    downstream_invert_m: float | None
    catchment_ha: float
    catchment_from: str
    runoff_coefficient: float
    flow_path_m: float | None
    flow_path_fall_m: float | None
    inside_diameter_mm: float | None
    ks_mm: float
    material: str
    bottom_width_m: float | None
    side_slope: float | None
    depth_m: float | None
    freeboard_m: float
    manning_n: float
    lining: str
    culvert_inlet: str
    replaced_by: Feature | None


DEEPEST_CHAMBER_M = 10.0  # below its cover; more is a slip of the pen


class Collision(Exception):
    """Somebody else changed the reach or node since it was looked at; nothing was written."""

    def __init__(self, feature: Feature, row: DrainReach | DrainNode) -> None:
        self.feature, self.row = feature, row
        super().__init__(f"{feature.title} was changed by somebody else in the meantime.")


def mark_of(feature: Feature, row: DrainReach | DrainNode) -> str:
    """A short mark of all that is entered, and of where the feature lies, for levels belong there."""
    facts = [
        str(getattr(row, field.attname))
        for field in row._meta.concrete_fields
        if field.name != "uuid"  # a row not kept yet draws a new one each time
    ]
    place = shapely.to_wkb(feature.geometry, output_dimension=2)
    return sha256(json.dumps(facts).encode() + place).hexdigest()[:16]


def _check_seen(feature: Feature, row: DrainReach | DrainNode, seen: str | None) -> None:
    if seen is not None and seen != mark_of(feature, row):
        raise Collision(feature, row)


def _check_level(value: float | None, field: str) -> None:
    if value is not None and (not math.isfinite(value) or not -500 <= value <= 9000):
        raise ValidationError({field: f"A level is metres above datum; {value} cannot be one."})


@transaction.atomic
def set_reach(
    *, feature: Feature, by: User | None, seen: str | None = None, **figures: Unpack[ReachFigures]
) -> DrainReach:
    """Set levels, catchment and section of a pipe or ditch.

    seen  the mark of the reach when it was looked at: with it, a change made by somebody else in
          the meantime raises Collision and nothing is written
    ValidationError, and nothing saved, when a figure cannot be: it names the field.
    """
    feature = Feature.objects.select_for_update().get(pk=feature.pk)
    if feature.kind not in DRAIN_LINES:
        raise ValidationError(f"A {feature.get_kind_display()} is neither a pipe nor a ditch.")
    row = DrainReach.objects.filter(feature=feature).first()
    row = row or DrainReach(club=feature.club, feature=feature)
    _check_seen(feature, row, seen)
    levels = levels_of(feature, row)
    row.upstream_invert_m, row.downstream_invert_m = levels.upstream_m, levels.downstream_m
    if "catchment_from" not in figures and _entered_anew(row, figures):
        row.catchment_from = CatchmentFrom.ENTERED
    for name, value in figures.items():
        setattr(row, name, value)
    ends = shapely.get_coordinates(feature.geometry)[[0, -1]].tolist()
    (row.began_x_m, row.began_y_m), (row.ended_x_m, row.ended_y_m) = ends
    _check_replaced_by(row)
    check_reach(row, feature.kind)
    return save_record(row, by=by)


def check_reach(row: DrainReach, kind: str, *, exclude: Collection[str] = ()) -> None:
    """Raises ValidationError, naming the field, for levels or a section that cannot be.

    exclude  what is not known yet of a row that comes with its feature
    """
    _check_level(row.upstream_invert_m, "upstream_invert_m")
    _check_level(row.downstream_invert_m, "downstream_invert_m")
    _check_flow_path(row)
    bore = row.inside_diameter_mm
    if bore is not None and not SMALLEST_BORE_MM <= bore <= LARGEST_BORE_MM:
        raise ValidationError({"inside_diameter_mm": BORE_WORDS})
    if row.lining and row.lining not in LININGS:
        raise ValidationError({"lining": f"“{row.lining}” is no lining this program knows."})
    row.full_clean(exclude=exclude, validate_unique=not exclude, validate_constraints=not exclude)
    try:
        section_of(row, kind)
    except ValueError as error:
        field = "ks_mm" if "oughness" in str(error) else None
        raise ValidationError({field: str(error)} if field else str(error)) from error


def _check_replaced_by(row: DrainReach) -> None:
    """What takes its place is another drain of the club, and the chain of them ends."""
    seen, later = {row.feature_id}, row.replaced_by
    if later is not None and (later.club_id != row.club_id or later.kind not in DRAIN_LINES):
        raise ValidationError(
            {"replaced_by": "A pipe or ditch is replaced by another of the club."}
        )
    while later is not None:
        if later.pk in seen:
            raise ValidationError(
                {"replaced_by": f"{later.title} would take its own place in the end."}
            )
        seen.add(later.pk)
        after = DrainReach.objects.filter(feature=later).select_related("replaced_by").first()
        later = after.replaced_by if after else None


def _entered_anew(row: DrainReach, figures: ReachFigures) -> bool:
    """Whether a figure of the catchment is other than what the ground gave."""
    return any(
        name in figures and figures.get(name) != getattr(row, name)
        for name in ("catchment_ha", "flow_path_m", "flow_path_fall_m")
    )


def _check_flow_path(row: DrainReach) -> None:
    path, fall = row.flow_path_m, row.flow_path_fall_m
    if fall is not None and not path:
        raise ValidationError({"flow_path_m": "The fall is that of a path: enter its length too."})
    if path and fall is not None and fall > path:
        raise ValidationError(
            {
                "flow_path_fall_m": f"A fall of {fall:g} m along {path:g} m is steeper than "
                "1 in 1. Both are in metres."
            }
        )


def _below(cover_m: float, invert_m: float) -> str:
    return "the same level" if cover_m == invert_m else f"below {invert_m:.2f} m"


@transaction.atomic
def set_node_levels(
    *,
    feature: Feature,
    by: User | None,
    cover_level_m: float | None,
    invert_level_m: float | None,
    size: str = "",
    water_level_m: float | None = None,
    head_loss_k: float | None = None,
    seen: str | None = None,
) -> DrainNode:
    """Set the levels of a chamber, headwall or outfall; ValidationError when they cannot be.

    water_level_m  of the brook or ditch an outfall gives into, in flood; None falls free
    head_loss_k    velocity heads lost in the chamber; None lets the angle of the drains tell it

    With ``seen``, its mark when it was looked at, a change made by somebody else in the meantime
    raises Collision and nothing is written.
    """
    feature = Feature.objects.select_for_update().get(pk=feature.pk)
    if feature.kind not in DRAIN_NODES:
        raise ValidationError(f"A {feature.get_kind_display()} is no chamber, headwall or outfall.")
    row = DrainNode.objects.filter(feature=feature).first()
    row = row or DrainNode(club=feature.club, feature=feature)
    _check_seen(feature, row, seen)
    row.cover_level_m, row.invert_level_m, row.size = cover_level_m, invert_level_m, size
    row.water_level_m, row.head_loss_k = water_level_m, head_loss_k
    check_node(row)
    row.full_clean()
    return save_record(row, by=by)


def check_node(row: DrainNode) -> None:
    """Raises ValidationError, naming the field, for levels that cannot be."""
    cover_level_m, invert_level_m = row.cover_level_m, row.invert_level_m
    _check_level(cover_level_m, "cover_level_m")
    _check_level(invert_level_m, "invert_level_m")
    _check_level(row.water_level_m, "water_level_m")
    if cover_level_m is not None and invert_level_m is not None and cover_level_m <= invert_level_m:
        raise ValidationError(
            {
                "cover_level_m": f"The cover must lie above the invert; {cover_level_m:.2f} m is "
                f"{_below(cover_level_m, invert_level_m)}."
            }
        )
    if (
        cover_level_m is not None
        and invert_level_m is not None
        and cover_level_m - invert_level_m > DEEPEST_CHAMBER_M
    ):
        raise ValidationError(
            {
                "invert_level_m": f"The invert would lie {cover_level_m - invert_level_m:.2f} m "
                f"below the cover; no more than {DEEPEST_CHAMBER_M:g} m is taken. "
                "One of the two levels is wrong."
            }
        )


@transaction.atomic
def swap_direction(*, feature: Feature, by: User | None) -> Feature:
    """Turn a pipe or ditch round. Its levels stay where they are in the ground."""
    if feature.kind not in DRAIN_LINES:
        raise ValidationError(f"A {feature.get_kind_display()} has no direction of flow.")
    return turn_round(feature=feature, by=by)


def _check_table(storm: DesignStorm) -> None:
    if storm.table is None:
        return
    if storm.table.club_id != storm.club_id:
        raise ValidationError({"table": "This table is not this club's."})
    try:
        rain = design_rain_of(storm)
        if rain is not None:
            check_serves_drains(rain)
    except ValueError as error:
        raise ValidationError({"table": f"{storm.table.name}: {error}"}) from error


@transaction.atomic
def set_design_storm(
    *,
    club: Club,
    by: User | None,
    name: str,
    return_period_years: int,
    intensity_mm_h: float,
    source: str = "",
    table: RainTable | None = None,
    climate_allowance_percent: float = 0.0,
    time_formula: str = DesignStorm.TimeFormula.BRANSBY,
) -> DesignStorm:
    """Make this the storm the network is checked for. Earlier ones are kept, no longer live.

    table  of depths by duration: each reach is then checked for the duration that loads it most.
    ValidationError when the table is another club's, does not reach the return period, or has no
    storms of an hour or less.
    """
    storm = DesignStorm(
        club=club,
        name=name,
        return_period_years=return_period_years,
        intensity_mm_h=intensity_mm_h,
        source=source,
        table=table,
        climate_allowance_percent=climate_allowance_percent,
        time_formula=time_formula,
        is_live=True,
    )
    storm.full_clean()
    _check_table(storm)
    for earlier in DesignStorm.objects.filter(club=club, is_live=True):
        earlier.is_live = False
        save_record(earlier, by=by)
    return save_record(storm, by=by)
