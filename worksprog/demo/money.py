"""What the manager decided of the programme's money: allowance, contingency, classes."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from worksprog.clubs.models import Club, User
from worksprog.works.models import Estimate, Item
from worksprog.works.services.years import set_allowances, set_estimate_class

# Where the manager sees it otherwise than what is proposed: no builder has looked at the bridge yet,
# and the old pipe's line and levels are all but drawn.
CLASSES = {"New bridge on 6": 4, "Replace old pipe P1": 3}


def decide_on_money(club: Club, items: Mapping[str, Item], by: User) -> None:
    set_allowances(
        club=club,
        design_allowance_percent=Decimal("5.00"),
        contingency_chance=Decimal("0.80"),
        by=by,
    )
    for name, number in CLASSES.items():
        estimate = Estimate.objects.get(item=items[name], is_live=True)
        set_estimate_class(estimate=estimate, number=number, by=by)
