"""What happened to single estimates: shared with a contractor, made anew, and overtaken by a level."""

from __future__ import annotations

from datetime import UTC, datetime

from worksprog.clubs.models import Club, User
from worksprog.course.models import Feature
from worksprog.drainage.services import set_reach
from worksprog.works.models import Item
from worksprog.works.queries import Hands
from worksprog.works.services import build_estimate, set_parameters
from worksprog.works.services.hands import choose_hands

# The upper carrier was approved as first drawn; then chamber C3 was lowered, so that the drain from
# the approach to 9 can fall into it.
LOWERED = "C3–C2"
LOWERED_M = 0.20
# The long carrier is dug and filled by a contractor with his own machine; the crew lays it.
SHARED = "Lay carrier O3–C7"
GIVEN = ("dig-driver", "backfill-crew")
# Approved at the usual width, then widened where two buggies pass: a second revision beside it.
WIDENED = "Path, 16 green to 17 tee"
WIDER_M = 3.0
WIDENED_AT = datetime(2026, 10, 5, 10, 30, tzinfo=UTC)


def _upper_invert(club: Club, change_m: float, by: User) -> None:
    feature = Feature.objects.select_related("reach").get(club=club, ref=LOWERED)
    level = feature.reach.upstream_invert_m
    assert level is not None
    set_reach(feature=feature, by=by, upstream_invert_m=round(level + change_m, 3))


def as_first_drawn(club: Club, by: User) -> None:
    """The upper carrier as it was when its estimate was approved."""
    _upper_invert(club, LOWERED_M, by)


def lower_the_chamber(club: Club, by: User) -> None:
    """After the approval: the estimate that was approved stays, and is told to be out of date."""
    _upper_invert(club, -LOWERED_M, by)


def share_with_a_contractor(items: dict[str, Item], by: User) -> None:
    choose_hands(item=items[SHARED], hands=Hands(contract_steps=GIVEN), by=by)


def widen_a_path(items: dict[str, Item], by: User) -> None:
    """A second revision of an approved estimate, by another width."""
    item = set_parameters(item=items[WIDENED], parameters={"width_m": WIDER_M}, by=by)
    build_estimate(item=item, by=by, new_revision=True, made_at=WIDENED_AT)
