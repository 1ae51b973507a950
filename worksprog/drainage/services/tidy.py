"""What changes a club's tidy rules, and what is known of its buried services."""

from __future__ import annotations

import math

from django.core.exceptions import ValidationError
from django.db import transaction

from worksprog.clubs.models import User
from worksprog.clubs.records import save_record
from worksprog.course.models import Feature, Kind
from worksprog.drainage.models import BuriedService, TidyRules


def keep_tidy_rules(*, rules: TidyRules, by: User | None) -> TidyRules:
    """ValidationError for a limit that is not between 0 and 10."""
    rules.full_clean()
    return save_record(rules, by=by)


@transaction.atomic
def set_buried_service(
    *,
    feature: Feature,
    by: User | None,
    what: str,
    depth_m: float | None = None,
    level_m: float | None = None,
    outside_diameter_mm: float | None = None,
) -> BuriedService:
    """What a service is and how deep it lies; its level stands before its depth.

    ValidationError, and nothing saved, for what is no buried service or a figure that cannot be.
    """
    if feature.kind != Kind.SERVICE:
        raise ValidationError(f"A {feature.get_kind_display()} is no buried service.")
    if level_m is not None and (not math.isfinite(level_m) or not -500 <= level_m <= 9000):
        raise ValidationError(
            {"level_m": f"A level is metres above datum; {level_m} cannot be one."}
        )
    row = BuriedService.objects.select_for_update().filter(feature=feature).first()
    row = row or BuriedService(club=feature.club, feature=feature)
    row.what, row.depth_m, row.level_m = what, depth_m, level_m
    row.outside_diameter_mm = outside_diameter_mm
    row.full_clean()
    return save_record(row, by=by)
