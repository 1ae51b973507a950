"""From whom Ashlode Vale buys, and its programme drawn by chance and kept."""

from __future__ import annotations

from datetime import UTC, datetime

from worksprog.clubs.models import Club, User
from worksprog.works.models import Price, Programme
from worksprog.works.services import name_suppliers
from worksprog.works.services.ranges import keep_ranges

NAMED_AT = datetime(2026, 2, 2, 12, 0, tzinfo=UTC)
SUPPLIERS = {
    "pipe": "the pipe merchant",
    "chamber": "the pipe merchant",
    "outfall": "the pipe merchant",
    "stone": "the quarry",
    "sand": "the quarry",
    "soil": "the quarry",
    "turf": "the turf grower",
    "seed": "the turf grower",
    "plant": "the plant hire yard",
    "fence": "the timber yard",
    "edging": "the timber yard",
}


def name_our_suppliers(club: Club, by: User) -> None:
    codes = Price.objects.filter(club=club).values_list("code", flat=True)
    of = {code: SUPPLIERS.get(code.partition("-")[0], "") for code in codes}
    name_suppliers(
        club=club,
        suppliers={code: supplier for code, supplier in of.items() if supplier},
        by=by,
        made_at=NAMED_AT,
    )


def draw_the_programme(programme: Programme, by: User) -> None:
    keep_ranges(programme=programme, by=by)
