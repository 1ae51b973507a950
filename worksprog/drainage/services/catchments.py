"""Taking over what the ground says drains to each reach."""

from __future__ import annotations

from collections.abc import Collection
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction

from worksprog.clubs.models import Club, User
from worksprog.drainage.models import CatchmentFrom, DrainReach
from worksprog.drainage.queries.catchments import shares_by_ground
from worksprog.drainage.services.network import set_reach


def take_ground_catchments(
    *, club: Club, by: User | None, reaches: Collection[UUID] | None = None
) -> list[DrainReach]:
    """Set area, longest flow path and its fall of these reaches, or of all, by the live ground.

    All or nothing. A reach that lies outside the ground keeps what it has. ValidationError when
    there is no ground or no drain, or a reach that was named is not in the network or not on the
    ground.
    """
    try:
        shares = shares_by_ground(club)
    except ValueError as error:
        raise ValidationError(str(error)) from error
    by_uuid = {one.feature.uuid: one for one in shares.reaches}
    if reaches is None:
        chosen = [one for one in shares.reaches if not one.ground_fault]
    else:
        missing = set(reaches) - set(by_uuid)
        if missing:
            raise ValidationError(
                f"{len(missing)} of the drains chosen are no longer in the network. Look again."
            )
        chosen = [by_uuid[uuid] for uuid in reaches]
        off = [str(one.feature) for one in chosen if one.ground_fault]
        if off:
            raise ValidationError(f"{', '.join(off)}: outside the surveyed ground.")
    if not chosen:
        raise ValidationError("No drain was chosen, so nothing was taken over.")
    with transaction.atomic():
        return [
            set_reach(
                feature=one.feature,
                by=by,
                catchment_ha=one.area_ha or 0.0,
                flow_path_m=one.path_m,
                flow_path_fall_m=one.fall_m,
                catchment_from=CatchmentFrom.GROUND,
            )
            for one in chosen
            if not one.taken
        ]
