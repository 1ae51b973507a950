"""Which tidy rules the drains break, over the club's ground, surfaces and services."""

from __future__ import annotations

from collections.abc import Iterable

from worksprog.calc.network import NetworkCheck
from worksprog.calc.network.tidy import Broken, Buried, Surface, check_tidy
from worksprog.clubs.models import Club
from worksprog.course.models import Feature, Kind, State
from worksprog.course.queries import live_ground
from worksprog.drainage.models import BuriedService, TidyRules

PATH_WIDTH_M = 2.0  # where none is entered
SURFACES = (Kind.FAIRWAY, Kind.TEE, Kind.GREEN, Kind.PATH)


def tidy_rules(club: Club) -> TidyRules:
    """The club's limits; an unsaved row with the usual ones where it has set none."""
    return TidyRules.objects.filter(club=club).first() or TidyRules(club=club)


def buried_services(club: Club) -> list[tuple[Feature, BuriedService | None]]:
    rows = Feature.objects.filter(club=club, kind=Kind.SERVICE).exclude(state=State.REMOVED)
    return [
        (feature, getattr(feature, "service", None))
        for feature in rows.select_related("service").defer("notes").order_by("ref", "pk")
    ]


def service_name(feature: Feature, row: BuriedService | None) -> str:
    if row is None or row.what == BuriedService.What.OTHER:
        return f"the service {feature.ref or feature.name}".strip()
    return f"the {row.get_what_display()} {feature.ref}".strip()


def broken_rules(
    club: Club, check: NetworkCheck, only: Iterable[str] | None = None
) -> tuple[Broken, ...]:
    """At most four queries beside the check's. ``only`` keeps what concerns these drains."""
    rows = Feature.objects.filter(club=club, kind__in=SURFACES).exclude(state=State.REMOVED)
    surfaces = [_surface(feature) for feature in rows.defer("notes")]
    buried = [
        Buried(
            key=str(feature.uuid),
            name=service_name(feature, row),
            line=feature.geometry,
            depth_m=row.depth_m if row else None,
            centre_level_m=row.level_m if row else None,
            outside_m=(row.outside_diameter_mm or 0.0) / 1000 if row else 0.0,
        )
        for feature, row in buried_services(club)
    ]
    ground = live_ground(club) if check.reaches else None
    found = check_tidy(
        check,
        surfaces,
        buried,
        tidy_rules(club).limits(),
        ground_at=None if ground is None else ground.levels_at,
    )
    kept = None if only is None else set(only)
    return tuple(one for one in found if kept is None or kept & set(one.reach_keys))


def _surface(feature: Feature) -> Surface:
    name = f"{feature.get_kind_display()} {feature.ref or feature.name}".strip()
    if feature.kind == Kind.PATH:
        width = float(feature.width_m or PATH_WIDTH_M)
        return Surface(name, "path", feature.geometry.buffer(width / 2))
    return Surface(name, "fairway", feature.geometry)
