"""What keeps a pond's table and outlets, and a network led through a rain."""

from __future__ import annotations

import json
import uuid as uuids
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from hashlib import sha256

import numpy as np
import shapely
from django.core.exceptions import ValidationError
from django.db import transaction

from worksprog.calc.as_built import feet_said
from worksprog.calc.routing import Pond as CalcPond
from worksprog.calc.routing import WaterMade
from worksprog.clubs.models import Club, User
from worksprog.clubs.records import delete_record, save_record
from worksprog.course.models import DRAIN_LINES, Feature, Kind
from worksprog.course.queries import live_ground
from worksprog.drainage.bridge import short_name
from worksprog.drainage.bridge_water import outlet_of
from worksprog.drainage.models import Pond, PondOutlet, Routing
from worksprog.drainage.queries.water import RainWish, is_large, route_network
from worksprog.runs.models import Run
from worksprog.runs.services import request_run

MOST_ROUTINGS = 30
MOST_OFF_RIM_M = 5.0  # a bank further from the ground round the pond is a slip or another datum
DEEPEST_POND_M = 15.0
RIM_STEP_M = 5.0


@dataclass(frozen=True)
class OutletWish:
    """One outlet as it is entered: a width for a weir, else an inside diameter."""

    kind: str
    level_m: float
    diameter_mm: float | None = None
    width_m: float | None = None
    reach: Feature | None = None


def mark_of_pond(row: Pond | None, outlets: Iterable[PondOutlet]) -> str:
    """A short mark of all that is entered for a pond."""
    facts: list[object] = []
    if row is not None:
        facts += [row.bank_level_m, row.resting_level_m, row.stages]
    facts += [
        [one.kind, one.level_m, one.diameter_mm, one.width_m, one.reach_id] for one in outlets
    ]
    return sha256(json.dumps(facts).encode()).hexdigest()[:16]


@transaction.atomic
def set_pond(
    *,
    feature: Feature,
    by: User | None,
    stages: Sequence[tuple[float, float]],
    bank_level_m: float | None,
    resting_level_m: float | None,
    outlets: Sequence[OutletWish],
    seen: str | None = None,
) -> Pond:
    """Set a pond's stage-area table, its bank and all its outlets, in place of what was there.

    seen  the pond's mark when it was looked at: with it, a change made by somebody else in the
          meantime is refused
    ValidationError in words, naming the stage or outlet, and nothing saved, when it cannot be.
    """
    feature = Feature.objects.select_for_update().get(pk=feature.pk)
    if feature.kind != Kind.POND:
        raise ValidationError(f"A {feature.get_kind_display()} is no pond.")
    row = Pond.objects.filter(feature=feature).first()
    there = list(row.outlets.all()) if row else []
    if seen is not None and seen != mark_of_pond(row, there):
        raise ValidationError(
            "Somebody else changed this pond in the meantime. What you entered is still here; look "
            "at the pond as it is now before you keep it."
        )
    for wish in outlets:
        if wish.reach is not None and (
            wish.reach.club_id != feature.club_id or wish.reach.kind not in DRAIN_LINES
        ):
            raise ValidationError("An outlet gives into a pipe or ditch of the same club.")
    row = row or Pond(club=feature.club, feature=feature)
    row.stages = [[float(level), float(area)] for level, area in stages]
    row.bank_level_m, row.resting_level_m = bank_level_m, resting_level_m
    rows = []
    for index, wish in enumerate(outlets):
        outlet = there[index] if index < len(there) else PondOutlet(club=feature.club, pond=row)
        outlet.kind, outlet.level_m = wish.kind, wish.level_m
        outlet.diameter_mm, outlet.width_m = wish.diameter_mm, wish.width_m
        outlet.reach = wish.reach
        rows.append(outlet)
    try:
        CalcPond(
            key=str(feature.uuid),
            name=short_name(feature),
            levels_m=tuple(level for level, _ in row.stages),
            areas_m2=tuple(area for _, area in row.stages),
            outlets=tuple(outlet_of(outlet) for outlet in rows),
            bank_m=bank_level_m,
            resting_m=resting_level_m,
        )
    except ValueError as error:
        raise ValidationError(str(error)) from error
    _check_against_ground(feature, row, rows)
    row = save_record(row, by=by)
    for outlet in rows:
        outlet.pond = row
        save_record(outlet, by=by)
    for outlet in there[len(rows) :]:
        delete_record(outlet, by=by)
    return row


def _check_against_ground(feature: Feature, row: Pond, outlets: Iterable[PondOutlet]) -> None:
    """Levels in feet or of another place: ValidationError naming the figure and the ground."""
    ground = live_ground(feature.club)
    if ground is None:
        return
    rim = shapely.get_coordinates(feature.geometry.segmentize(RIM_STEP_M))
    found = ground.levels_at(rim[:, 0], rim[:, 1])
    found = found[np.isfinite(found)]
    if not len(found):
        return
    low, high = float(found.min()), float(found.max())
    bank = row.stages[-1][0] if row.bank_level_m is None else row.bank_level_m
    bank_word = "highest stage" if row.bank_level_m is None else "bank"
    levels = [
        (bank_word, bank, low - MOST_OFF_RIM_M),
        ("usual water level", row.resting_level_m, low - DEEPEST_POND_M),
        ("lowest stage", row.stages[0][0], low - DEEPEST_POND_M),
        *((f"outlet at {one.level_m:g} m", one.level_m, low - DEEPEST_POND_M) for one in outlets),
    ]
    for name, level, least in levels:
        if level is None or least <= level <= high + MOST_OFF_RIM_M:
            continue
        off = level - high if level > high else low - level
        raise ValidationError(
            f"{short_name(feature)}: the {name}, {level:.2f} m, lies {off:.2f} m "
            f"{'above' if level > high else 'below'} the ground round its edge "
            f"({low:.2f} to {high:.2f} m). {feet_said(level, (low + high) / 2, within_m=5)} "
            "Levels are metres above the survey's datum.".replace("  ", " ")
        )


def keep_routing(
    *,
    club: Club,
    wish: RainWish,
    by: User | None,
    uuid: uuids.UUID | None = None,
    tell: Callable[[float, str], None] | None = None,
) -> Routing:
    """Lead a rain through the network and keep what came of it. ValidationError in words.

    uuid  of the job that does it: the same job done again finds its row and changes nothing
    """
    if uuid is not None:
        done = Routing.objects.filter(club=club, uuid=uuid).first()
        if done is not None:
            return done
    try:
        routed = route_network(club, wish, tell=tell)
    except (ValueError, WaterMade) as error:
        raise ValidationError(str(error)) from error
    with transaction.atomic():
        row = Routing(
            club=club,
            uuid=uuid or uuids.uuid4(),
            name=routed.through.rain_words[:120],
            inputs=wish.as_inputs(),
            result=routed.kept,
        )
        row = save_record(row, by=by)
        for old in Routing.objects.filter(club=club)[MOST_ROUTINGS:]:
            delete_record(old, by=by)
    return row


@transaction.atomic
def forget_routing(*, routing: Routing, by: User | None) -> None:
    """Take a kept result away; the record of changes keeps that it was."""
    delete_record(routing, by=by)


def route_or_request(*, club: Club, wish: RainWish, by: User) -> Routing | Run:
    """At once where it takes about a second, else by a worker."""
    if is_large(club, wish):
        return request_run(club=club, kind="drainage.routing", inputs=wish.as_inputs(), by=by)
    return keep_routing(club=club, wish=wish, by=by)
