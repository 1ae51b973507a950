"""What the manager made of the crew's hours: a job left out, one accounted for, a rate in use."""

from __future__ import annotations

from datetime import UTC, datetime

from worksprog.clubs.models import Club, User
from worksprog.demo.programme import FROZEN_DAY
from worksprog.hours.models import EvidenceWord
from worksprog.hours.services_rates import adopt_rate, say_of_evidence
from worksprog.works.models import Estimate, Item, ItemState, WorkKind
from worksprog.works.services import build_estimate

SAID = (
    (
        "Drain, 15 tee to the pond",
        EvidenceWord.What.LEFT_OUT,
        "Two days of clearing storm wood were logged on it, and nobody can say which.",
        datetime(2026, 3, 30, 8, 0, tzinfo=UTC),
    ),
    (
        "Lay carrier O2–C2",
        EvidenceWord.What.ACCOUNT,
        "An old clay pipe lay across the line for 30 m: dug out by hand, and the trench pumped for "
        "two days. Usual ground otherwise, so it counts.",
        datetime(2026, 10, 6, 8, 0, tzinfo=UTC),
    ),
)


def learn_from_hours(club: Club, by: User) -> None:
    """The carrier's rate goes into use; its jobs to come are worked out by it."""
    for name, what, words, at in SAID:
        item = Item.objects.get(club=club, name=name)
        say_of_evidence(item=item, what=what, words=words, by=by, at=at)
    adopt_rate(club=club, kind=WorkKind.CARRIER_PIPE, as_of=FROZEN_DAY, by=by)
    for item in Item.objects.filter(
        club=club, kind=WorkKind.CARRIER_PIPE, state=ItemState.PROPOSED
    ).select_related("club"):
        live = Estimate.objects.get(item=item, is_live=True)
        if live.approved_on is None:
            build_estimate(item=item, by=by, made_at=datetime(2026, 11, 24, 7, 30, tzinfo=UTC))
