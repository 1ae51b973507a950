"""Nothing is begun before its money is released."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from worksprog.calc import workdays
from worksprog.calc.solver import Resource
from worksprog.planning.bridge import ItemFacts
from worksprog.planning.money import PENCE, Release
from worksprog.works.models import ItemState

MONEY = "money"


@dataclass(frozen=True)
class Purse:
    """What may be committed by each day: by one project, or by all that have no releases."""

    resource: Resource
    words: str


def purse_name(releases: Sequence[Release], one: ItemFacts) -> str:
    """The wish and resource that a job's money falls under; "" where none is released by date."""
    code = one.item.phase.project.code
    known = {release.project for release in releases}
    if code in known:
        return f"{MONEY}:{code}"
    return MONEY if "" in known else ""


def purses(
    releases: Sequence[Release], items: Sequence[ItemFacts], calendar: workdays.Calendar
) -> dict[str, Purse]:
    """Pence by day: released so far, less what is spent and what work on site still takes."""
    found: dict[str, Purse] = {}
    for code in sorted({release.project for release in releases}):
        name = f"{MONEY}:{code}" if code else MONEY
        by_day = np.zeros(calendar.days, dtype=np.int64)
        for release in releases:
            if release.project == code:
                by_day[max(calendar.index(release.from_date), 0) :] += release.pence
        for one in items:
            if purse_name(releases, one) == name:
                by_day -= one.spent_p
                if one.item.state == ItemState.ON_SITE:
                    by_day -= one.money_left_p
        whose = f"Project {code}" if code else "The programme"
        total = sum(release.pence for release in releases if release.project == code)
        found[name] = Purse(
            Resource(name, "money released", np.maximum(by_day, 0)),
            f"{whose} begins nothing before its money is released ({total / PENCE:,.0f} in all)",
        )
    return found


def held_p(one: ItemFacts) -> int:
    """What a job commits on its first day: its likely money, less what is spent on it."""
    return 0 if one.item.state == ItemState.ON_SITE else one.money_left_p
