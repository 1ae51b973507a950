"""How the club estimates."""

from __future__ import annotations

from typing import Any

from django.db.models import OuterRef, Subquery

from worksprog.clubs.models import Club
from worksprog.works.models import EstimateRules


def rules_of(club: Club) -> EstimateRules:
    """The club's rules of estimating; the usual ones, not saved, while it has set none."""
    return EstimateRules.objects.filter(club=club).first() or EstimateRules(club=club)


_SWAYING = (
    *("sway_weather", "sway_ground", "sway_supplier", "sway_hands", "sway_programme"),
    *("range_shape", "draws", "seed"),
)


def swaying_beside() -> dict[str, Subquery]:
    """What simulations go by, to be read along with a row of the club: see ``swaying_of``."""
    rules = EstimateRules.objects.filter(club=OuterRef("club"))
    return {f"rules_{name}": Subquery(rules.values(name)[:1]) for name in _SWAYING}


def swaying_of(row: Any) -> EstimateRules:
    """The rules read along with a row, as far as simulations go by them; the usual without any."""
    told = {name: getattr(row, f"rules_{name}") for name in _SWAYING}
    return EstimateRules(**{name: value for name, value in told.items() if value is not None})
