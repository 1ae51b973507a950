"""Money as it is released, for a plan that begins nothing before it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from decimal import Decimal

from worksprog.planning.models import MoneyRelease
from worksprog.works.models import Programme

PENCE = 100


@dataclass(frozen=True)
class Release:
    """``project``: its code, "" where the money is for every project without releases of its own."""

    project: str
    from_date: dt.date
    pence: int


def pence(amount: Decimal) -> int:
    return round(amount * PENCE)


def read_releases(programme: Programme) -> tuple[Release, ...]:
    """One query."""
    rows = MoneyRelease.objects.filter(programme=programme).values_list(
        "project__code", "from_date", "amount"
    )
    return tuple(Release(code or "", day, pence(amount)) for code, day, amount in rows)
