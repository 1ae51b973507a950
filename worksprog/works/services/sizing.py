"""A sized design becomes what is designed: inverts and bores of proposed pipes."""

from __future__ import annotations

from collections.abc import Mapping

from django.core.exceptions import ValidationError
from django.db import transaction

from worksprog.calc.sizing import Design
from worksprog.clubs.models import Club, User
from worksprog.course.models import Feature, Kind, State
from worksprog.drainage.services import Collision, set_reach


@transaction.atomic
def take_over_design(
    *, club: Club, design: Design, marks: Mapping[str, str], by: User | None
) -> list[Feature]:
    """Write inverts and inside diameters of a design's open reaches; all of them or none.

    marks  of each reach when the design was worked out: a change made since by somebody else is
           refused, as is a reach that is no longer only proposed. ValidationError in words.
    """
    wanted = {one.key: one for one in design.reaches if one.size is not None}
    features = {
        str(feature.uuid): feature
        for feature in Feature.objects.select_for_update().filter(
            club=club, uuid__in=list(wanted), kind=Kind.PIPE
        )
    }
    written = []
    for key, one in wanted.items():
        feature = features.get(key)
        if feature is None:
            raise ValidationError(f"{one.name} is no longer there. Nothing was written.")
        if feature.state != State.PROPOSED:
            raise ValidationError(
                f"{one.name} is {feature.get_state_display()} by now: what is built is not "
                "designed anew. Nothing was written."
            )
        assert one.size is not None
        try:
            set_reach(
                feature=feature,
                by=by,
                seen=marks[key],
                upstream_invert_m=round(one.upstream_m, 3),
                downstream_invert_m=round(one.downstream_m, 3),
                inside_diameter_mm=round(one.size.inside_m * 1000, 1),
            )
        except Collision as error:
            raise ValidationError(f"{error} Nothing was written; work it out anew.") from error
        written.append(feature)
    return written
