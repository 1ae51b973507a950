"""What changes the course: its holes and the features drawn on it."""

from __future__ import annotations

import json
from collections.abc import Iterable
from datetime import date
from hashlib import sha256
from typing import Any

import numpy as np
import shapely
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import CASCADE, Model
from scipy.spatial import cKDTree
from shapely.geometry.base import BaseGeometry
from shapely.ops import split, substring, unary_union

from worksprog.clubs.models import Club, User
from worksprog.clubs.records import delete_record, save_record, set_links
from worksprog.course.models import SHAPES, Feature, Hole, Kind, State

# A drawn point reaches us rounded to about a centimetre; within this it is the point it snapped to.
SAME_POINT_M = 0.03
# Ends drawn by hand without snapping are still meant to meet within this.
MEETS_M = 0.5
FAR_FROM_COURSE_M = 5000.0
LONGEST_SHAPE = 5000  # points

MEASURED_FACTS = ("kind", "geometry", "width_m", "stems", "diameter_cm", "height_m")
FACTS = (
    *("kind", "ref", "name", "state", "state_date", "source", "accuracy_m", "survey_id"),
    *("width_m", "stems", "diameter_cm", "height_m", "notes", "version"),
)


class Collision(Exception):
    """Somebody else changed the feature since it was looked at; nothing was written."""

    def __init__(self, feature: Feature) -> None:
        self.feature = feature
        super().__init__(
            f"{feature.title} was changed by somebody else while you had it open. "
            "Nothing of theirs or yours is lost: look at both, then keep one."
        )


def mark_of(feature: Feature) -> str:
    """A short mark of everything a feature says, to see whether it changed in the meantime."""
    facts = json.dumps([str(getattr(feature, name)) for name in FACTS]).encode()
    return sha256(facts + shapely.to_wkb(feature.geometry, output_dimension=2)).hexdigest()[:16]


def _fresh(feature: Feature, seen: str | None) -> Feature:
    """The row as it is now, held until the transaction ends.

    Raises Collision when it is no longer what ``seen`` says.
    """
    now = Feature.objects.select_for_update().get(pk=feature.pk)
    if seen is not None and seen != mark_of(now):
        raise Collision(now)
    return now


def _other_shapes(club: Club, apart_from: int | None) -> list[BaseGeometry]:
    rows = Feature.objects.filter(club=club)
    if apart_from is not None:
        rows = rows.exclude(pk=apart_from)
    shapes: list[Any] = list(rows.values_list("geometry", flat=True))
    return shapes


def _placed(club: Club, geometry: BaseGeometry, before: Feature | None = None) -> BaseGeometry:
    """The shape with points that were snapped put on the very point, and its place checked.

    Raises ValidationError for a shape far from everything else on the course.
    """
    geometry = shapely.force_2d(geometry)
    drawn = shapely.get_coordinates(geometry)
    if len(drawn) > LONGEST_SHAPE:
        raise ValidationError(
            {"geometry": f"The shape has {len(drawn):,} points; {LONGEST_SHAPE:,} is the most."}
        )
    others = _other_shapes(club, before.pk if before else None)
    # Own points first: a shape that was only looked at must not move towards a neighbour.
    own = shapely.get_coordinates(before.geometry) if before else np.empty((0, 2))
    known = np.vstack([own, shapely.get_coordinates(others)])
    if not np.isfinite(drawn).all():
        return geometry
    _check_near(drawn, known)
    if not len(known):
        return geometry
    distance, nearest = cKDTree(known).query(drawn, distance_upper_bound=SAME_POINT_M)
    hit = np.isfinite(distance)
    if not hit.any():
        return geometry
    drawn[hit] = known[np.asarray(nearest)[hit]]
    return shapely.set_coordinates(shapely.transform(geometry, lambda c: c), drawn)


def _check_near(drawn: Any, known: Any) -> None:
    """Each point against the course, for one slip of the pen makes a line across the country.

    The first shape of a club has nothing to be held against but its own points.
    """
    first = np.median(drawn, axis=0, keepdims=True) if len(drawn) > 2 else drawn[:1]
    beside = known if len(known) else first
    low, high = beside.min(axis=0), beside.max(axis=0)
    away = np.hypot(*np.maximum(np.maximum(low - drawn, drawn - high), 0).T)
    worst = int(away.argmax())
    if away[worst] <= FAR_FROM_COURSE_M:
        return
    if (away > FAR_FROM_COURSE_M).all() and len(known):
        what = "This"
    else:
        what = f"Point {worst + 1}, {drawn[worst, 0]:.1f}, {drawn[worst, 1]:.1f},"
    rest = "everything else on the course" if len(known) else "the other points of the shape"
    raise ValidationError(
        {
            "geometry": f"{what} lies {away[worst] / 1000:,.0f} km from {rest}. "
            "Expected easting first, northing second, in metres of the club's grid."
        }
    )


@transaction.atomic
def save_hole(*, hole: Hole, by: User | None) -> Hole:
    """Add or change a hole. ValidationError when its number is taken or a figure is not sound."""
    return save_record(hole, by=by)


@transaction.atomic
def create_feature(
    *,
    club: Club,
    kind: str,
    geometry: BaseGeometry,
    by: User | None,
    holes: Iterable[Hole] = (),
    **facts: Any,
) -> Feature:
    """A new feature, its shape in the club's grid. ValidationError when a fact is not sound."""
    feature = Feature(club=club, kind=kind, geometry=_placed(club, geometry), **facts)
    save_record(feature, by=by)
    holes = list(holes)
    if holes:
        set_links(feature, "holes", holes, by=by)
    return feature


@transaction.atomic
def change_feature(
    *,
    feature: Feature,
    by: User | None,
    seen: str | None = None,
    holes: Iterable[Hole] | None = None,
    **facts: Any,
) -> Feature:
    """Change what is said of a feature, its shape included.

    seen  the feature's mark when it was looked at: with it, a change made by somebody else in the
          meantime raises Collision and nothing is written
    Raises ValidationError when a fact is not sound.
    """
    now = _fresh(feature, seen)
    measured = {name: getattr(now, name) for name in MEASURED_FACTS}
    if "geometry" in facts:
        facts["geometry"] = _placed(now.club, facts["geometry"], now)
    for name, value in facts.items():
        setattr(now, name, value)
    if any(getattr(now, name) != value for name, value in measured.items()):
        now.version += 1
    save_record(now, by=by)
    if holes is not None:
        set_links(now, "holes", holes, by=by)
    return now


@transaction.atomic
def set_feature_state(
    *, feature: Feature, state: str, on: date, by: User | None, seen: str | None = None
) -> Feature:
    """Say what a feature is from a day on."""
    now = _fresh(feature, seen)
    now.state, now.state_date = state, on
    return save_record(now, by=by)


def _parts(shape: BaseGeometry, cut: BaseGeometry) -> list[BaseGeometry]:
    if isinstance(shape, shapely.LineString):
        at = shape.project(cut if isinstance(cut, shapely.Point) else shapely.Point(cut.coords[0]))
        if not SAME_POINT_M < at < shape.length - SAME_POINT_M:
            raise ValidationError("Split a line between its ends, not at one of them.")
        return [substring(shape, 0, at), substring(shape, at, shape.length)]
    if isinstance(shape, shapely.Polygon):
        if not isinstance(cut, shapely.LineString):
            raise ValidationError("An area is split by a line drawn right across it.")
        parts = [one for one in split(shape, cut).geoms if one.area > 0]
        if len(parts) < 2:
            raise ValidationError(
                "The line does not cross the area from side to side; draw it beyond both edges."
            )
        return sorted(parts, key=lambda one: -one.area)
    raise ValidationError("A point cannot be split.")


def _next_refs(feature: Feature, count: int) -> list[str]:
    """References for the new parts: the old one with a letter that nobody has."""
    if not feature.ref:
        return [""] * count
    taken = set(Feature.objects.filter(club=feature.club).values_list("ref", flat=True))
    room = Feature._meta.get_field("ref").max_length or 20
    letters = (f"{feature.ref[: room - 2]}{letter}" for letter in "bcdefghijklmnopqrstuvwxyz")
    free = [ref for ref in letters if ref not in taken]
    return (free + [""] * count)[:count]


@transaction.atomic
def split_feature(
    *, feature: Feature, cut: BaseGeometry, by: User | None, seen: str | None = None
) -> list[Feature]:
    """Split a line at a point, or an area along a line; returns all parts, the kept one first.

    The feature itself stays the first part of a line (the upstream one, as lines run with the
    water) or the largest of an area, with all that hangs on it; the others are new features
    with the same facts and holes.
    """
    now = _fresh(feature, seen)
    first, *others = _parts(now.geometry, cut)
    holes = list(now.holes.all())
    refs = _next_refs(now, len(others))
    kept = {
        name: getattr(now, name)
        for name in (
            *("name", "state", "state_date", "source", "accuracy_m", "survey", "width_m", "notes"),
        )
    }
    now.geometry = first
    now.version += 1
    made = [save_record(now, by=by)]
    for shape, ref in zip(others, refs, strict=True):
        part = Feature(club=now.club, kind=now.kind, geometry=shape, ref=ref, **kept)
        save_record(part, by=by)
        set_links(part, "holes", holes, by=by)
        made.append(part)
    return made


def _as_one_line(first: Feature, second: Feature) -> BaseGeometry:
    one, two = first.geometry, second.geometry
    ends = {
        (a, b): shapely.Point(one.coords[a]).distance(shapely.Point(two.coords[b]))
        for a in (0, -1)
        for b in (0, -1)
    }
    (a, b), gap = min(ends.items(), key=lambda pair: pair[1])
    if gap > MEETS_M:
        raise ValidationError(
            f"The two do not meet: their nearest ends are {gap:.1f} m apart, and {MEETS_M} m is "
            "taken as meeting. Draw one on to the end of the other first."
        )
    if a == b:
        if first.kind in (Kind.DITCH, Kind.PIPE):
            raise ValidationError(
                "The two run against each other where they meet. Lines are drawn the way the "
                "water runs: turn one of them round first."
            )
        two = shapely.reverse(two)
        b = -1 if b == 0 else 0
    before, after = (one, two) if a == -1 else (two, one)
    # One point where they meet, not two a few centimetres apart: the kept feature's own.
    if a == -1:
        points = [*before.coords, *list(after.coords)[1:]]
    else:
        points = [*list(before.coords)[:-1], *after.coords]
    return shapely.LineString(points)


def _as_one_area(first: Feature, second: Feature) -> BaseGeometry:
    together = unary_union([first.geometry, second.geometry])
    if together.geom_type != "Polygon":
        # Edges drawn side by side by hand: close a sliver, then take it off the outside again.
        together = together.buffer(MEETS_M / 2, join_style="mitre").buffer(
            -MEETS_M / 2, join_style="mitre"
        )
    if together.geom_type != "Polygon":
        gap = first.geometry.distance(second.geometry)
        raise ValidationError(f"The two areas do not touch: they are {gap:.1f} m apart.")
    return together


@transaction.atomic
def join_features(
    *,
    first: Feature,
    second: Feature,
    on: date,
    by: User | None,
    seen: str | None = None,
) -> Feature:
    """Make one feature of two of a kind that meet: the first is kept and grows.

    The second stays on the record as removed, with a note of where it went.
    """
    if first.pk == second.pk:
        raise ValidationError("Choose another feature to join this one with.")
    if first.kind != second.kind:
        raise ValidationError(
            f"A {first.get_kind_display()} and a {second.get_kind_display()} stay two features; "
            "only two of one kind are joined."
        )
    kept, gone = _fresh(first, seen), _fresh(second, None)
    match SHAPES[kept.kind]:
        case "LineString":
            kept.geometry = _as_one_line(kept, gone)
        case "Polygon":
            kept.geometry = _as_one_area(kept, gone)
        case _:
            raise ValidationError("Points are not joined; remove the one that is too many.")
    kept.version += 1
    if kept.stems is not None or gone.stems is not None:
        kept.stems = (kept.stems or 0) + (gone.stems or 0)
    save_record(kept, by=by)
    set_links(kept, "holes", {*kept.holes.all(), *gone.holes.all()}, by=by)
    gone.state, gone.state_date = State.REMOVED, on
    gone.notes = "\n".join(
        part for part in (gone.notes, f"Joined into {kept.title} on {on:%d %b %Y}.") if part
    )
    save_record(gone, by=by)
    return kept


MOST_NAMED = 3


def _of_it(row: Model) -> tuple[list[Model], list[str]]:
    """What belongs to a row alone and goes with it, deepest first; and words for what rests on it."""
    parts: list[Model] = []
    resting: list[str] = []
    for relation in row._meta.related_objects:
        others = list(
            relation.related_model._base_manager.filter(**{f"{relation.field.name}": row.pk})
        )
        if not others:
            continue
        if getattr(relation, "on_delete", None) is CASCADE and not relation.many_to_many:
            for other in others:
                deeper, held = _of_it(other)
                parts += [*deeper, other]
                resting += held
        else:
            named = ", ".join(str(other) for other in others[:MOST_NAMED])
            more = f" and {len(others) - MOST_NAMED} more" if len(others) > MOST_NAMED else ""
            resting.append(f"{others[0]._meta.verbose_name} {named}{more}")
    return parts, resting


@transaction.atomic
def drop_feature(*, feature: Feature, by: User | None, seen: str | None = None) -> None:
    """Take away a feature that was drawn by mistake; the record of changes keeps what it was.

    Its own levels and sizes go with it. ValidationError when anything else rests on it: work items
    and with them estimates and hours, levels taken on site, outlets, drains that it replaces.
    """
    now = _fresh(feature, seen)
    parts, resting = _of_it(now)
    if resting:
        raise ValidationError(
            f"{now.title} stays, for this rests on it: {'; '.join(resting)}. "
            "Part it from them first, or set its state to removed."
        )
    for part in parts:
        delete_record(part, by=by)
    delete_record(now, by=by)


@transaction.atomic
def turn_round(*, feature: Feature, by: User | None, seen: str | None = None) -> Feature:
    """Turn a line round, so that it runs the other way."""
    now = _fresh(feature, seen)
    if not isinstance(now.geometry, shapely.LineString):
        raise ValidationError("Only a line has a way it runs.")
    now.geometry = shapely.reverse(now.geometry)
    now.version += 1
    return save_record(now, by=by)
