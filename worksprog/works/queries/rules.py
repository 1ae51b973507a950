"""How the club estimates."""

from __future__ import annotations

from worksprog.clubs.models import Club
from worksprog.works.models import EstimateRules


def rules_of(club: Club) -> EstimateRules:
    """The club's rules of estimating; the usual ones, not saved, while it has set none."""
    return EstimateRules.objects.filter(club=club).first() or EstimateRules(club=club)
