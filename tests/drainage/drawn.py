"""Drains drawn for the tests, through the services."""

from __future__ import annotations

from typing import Any

import numpy as np
from django.utils import timezone
from shapely.geometry import LineString, Point

from worksprog.calc.ground import dump_ground, ground_from_spot_heights
from worksprog.clubs.models import Club, User
from worksprog.course.models import Feature, GroundModel, Kind, State
from worksprog.course.services import create_feature
from worksprog.drainage.services import set_node_levels, set_reach

WEST, SOUTH = 451000.0, 231000.0


def line(*points: tuple[float, float]) -> LineString:
    return LineString([(WEST + x, SOUTH + y) for x, y in points])


def draw_pipe(
    club: Club,
    by: User,
    ref: str,
    *points: tuple[float, float],
    state: str = State.EXISTING,
    **figures: Any,
) -> Feature:
    """A 300 mm pipe falling from 51 to 50 m with 1 ha of its own at 0.5."""
    feature = create_feature(
        club=club, kind=Kind.PIPE, geometry=line(*points), by=by, ref=ref, state=state
    )
    usual: dict[str, Any] = {
        "upstream_invert_m": 51.0,
        "downstream_invert_m": 50.0,
        "inside_diameter_mm": 300.0,
        "catchment_ha": 1.0,
        "runoff_coefficient": 0.5,
    }
    set_reach(feature=feature, by=by, **{**usual, **figures})
    return feature


def draw_ditch(
    club: Club, by: User, ref: str, *points: tuple[float, float], **figures: Any
) -> Feature:
    feature = create_feature(club=club, kind=Kind.DITCH, geometry=line(*points), by=by, ref=ref)
    usual: dict[str, Any] = {
        "upstream_invert_m": 50.0,
        "downstream_invert_m": 49.0,
        "bottom_width_m": 0.5,
        "side_slope": 1.5,
        "depth_m": 0.9,
        "catchment_ha": 2.0,
        "runoff_coefficient": 0.4,
    }
    set_reach(feature=feature, by=by, **{**usual, **figures})
    return feature


def draw_node(
    club: Club,
    by: User,
    kind: str,
    ref: str,
    x: float,
    y: float,
    cover: float | None = None,
    invert: float | None = None,
) -> Feature:
    feature = create_feature(
        club=club, kind=kind, geometry=Point(WEST + x, SOUTH + y), by=by, ref=ref
    )
    if cover is not None or invert is not None:
        set_node_levels(feature=feature, by=by, cover_level_m=cover, invert_level_m=invert)
    return feature


def draw_flat_ground(club: Club, level_m: float) -> GroundModel:
    """Level ground 50 m and more around the drains drawn along the axis from 0 to 200 m."""
    x, y = np.meshgrid(np.arange(-50, 251, 10.0), np.arange(-50, 51, 10.0))
    points = np.column_stack([WEST + x.ravel(), SOUTH + y.ravel(), np.full(x.size, level_m)])
    return GroundModel.objects.create(
        club=club, method="triangles", made_at=timezone.now(),
        data=dump_ground(ground_from_spot_heights(points)),
    )  # fmt: skip
