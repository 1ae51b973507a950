"""What keeps a layout of laterals."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from worksprog.calc.laterals import DrainWish, Wish
from worksprog.clubs.models import User
from worksprog.clubs.records import save_record
from worksprog.course.models import DRAIN_LINES, Feature, Kind
from worksprog.course.queries import live_ground
from worksprog.drainage.models import LateralLayout
from worksprog.drainage.queries.laterals import lay_into


@transaction.atomic
def keep_layout(
    *,
    area: Feature,
    carrier: Feature | None,
    wish: Wish,
    drain: DrainWish,
    inputs: dict[str, Any],
    by: User | None,
) -> LateralLayout:
    """Lay drains into an area and keep them as its layout, in place of any earlier one.

    inputs  every figure of the form, so that it opens again as it was kept
    ValidationError in words, and nothing kept, when the layout cannot be.
    """
    area = Feature.objects.select_for_update().get(pk=area.pk)
    if area.kind != Kind.LATERALS:
        raise ValidationError(f"A {area.get_kind_display()} is no area for laterals.")
    if carrier is not None and (carrier.club_id != area.club_id or carrier.kind not in DRAIN_LINES):
        raise ValidationError("Laterals are joined to a pipe or ditch of the same club.")
    try:
        laid = lay_into(area, carrier, wish, drain, live_ground(area.club))
    except ValueError as error:
        raise ValidationError(str(error)) from error
    if not laid.layout.laterals:
        raise ValidationError(
            "No drain fits in this area at that spacing and least length; nothing was kept."
        )
    row = LateralLayout.objects.filter(feature=area).first()
    row = row or LateralLayout(club=area.club, feature=area)
    row.carrier = carrier
    row.pattern = wish.pattern
    row.spacing_m = wish.spacing_m
    row.angle_to_fall_deg = wish.angle_to_fall_deg
    row.bore_mm = drain.bore_m * 1000
    row.inputs = inputs
    row.lines = laid.layout.as_lines()
    row.joined = laid.layout.joined
    row.mean_depth_m = laid.mean_depth_m
    row.outline_version = area.version
    row.full_clean()
    return save_record(row, by=by)
