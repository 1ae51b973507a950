"""The pond on the east ditch, and the network led through two rains."""

from __future__ import annotations

from worksprog.calc.routing import stages_from_outline
from worksprog.clubs.models import Club, User
from worksprog.course.models import Feature
from worksprog.demo.layout import (
    POND_BANK_M,
    POND_DEPTH_M,
    POND_PIPE,
    POND_SIDE,
    POND_WEIR,
)
from worksprog.drainage.queries.water import RainWish
from worksprog.drainage.services.water import OutletWish, keep_routing, set_pond

DAYS_MM = (12.0, 26.0, 31.0, 21.0, 10.0)


def describe_pond(club: Club, by: User) -> None:
    """Stages by its outline and sides; a pipe and a weir into the ditch below."""
    pond = Feature.objects.get(club=club, ref="PD1")
    below = Feature.objects.get(club=club, ref="D4")
    stages = stages_from_outline(
        pond.geometry, bank_m=POND_BANK_M, depth_m=POND_DEPTH_M, side_slope=POND_SIDE
    )
    set_pond(
        feature=pond,
        by=by,
        stages=stages,
        bank_level_m=POND_BANK_M,
        resting_level_m=POND_PIPE[0],
        outlets=[
            OutletWish("pipe", POND_PIPE[0], diameter_mm=POND_PIPE[1], reach=below),
            OutletWish("weir", POND_WEIR[0], width_m=POND_WEIR[1], reach=below),
        ],
    )


def lead_rain_through(club: Club, by: User) -> None:
    """An hour of the design storm, and 100 mm in five days on soaked ground."""
    storm = RainWish(
        kind="storm", duration_h=1.0, days_mm=(), after_h=11.0, step_s=60.0, share=None
    )
    keep_routing(club=club, wish=storm, by=by)
    days = RainWish(
        kind="days", duration_h=1.0, days_mm=DAYS_MM, after_h=24.0, step_s=60.0, share=0.5
    )
    keep_routing(club=club, wish=days, by=by)
