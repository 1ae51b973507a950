"""The map figure and the long section, in the club's grid."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any
from uuid import UUID

import shapely
from shapely.geometry import mapping
from shapely.geometry.base import BaseGeometry

from worksprog.calc.network import NetworkCheck
from worksprog.clubs.templatetags.figures import fig
from worksprog.course.models import DRAIN_LINES, Feature, Hole, Kind, State
from worksprog.drainage.queries import live_storm, long_section_of
from worksprog.reports.drawing.map_figure import round_scale
from worksprog.reports.gathering.facts import Facts
from worksprog.reports.gathering.jobs import plain
from worksprog.works.models import WorkKind

_ROOM_MM = 160.0
# Finer than this on paper nothing is seen: lines are thinned and small areas left out by it.
_FINEST_MM = 0.15
_SMALLEST_MM2 = 0.3
_MOST_TREES = 600
_FAULTS_NAMED = 3
_NEW_DRAIN = frozenset({WorkKind.CARRIER_PIPE, WorkKind.DITCH_DUG})
_LEFT_OUT = frozenset({Kind.SERVICE})


def _shape(geometry: BaseGeometry) -> dict[str, Any]:
    told = mapping(geometry)
    return {"type": told["type"], "coordinates": _rounded(told["coordinates"])}


def _rounded(value: Any) -> Any:
    if isinstance(value, int | float):
        return round(value, 1)
    return [_rounded(part) for part in value]


def map_data(facts: Facts, states: Mapping[str, str]) -> dict[str, Any]:
    """Features as they stand on the report's day, and the works by project and state."""
    rows = list(
        Feature.objects.filter(club=facts.club)
        .exclude(kind__in=_LEFT_OUT)
        .only("id", "uuid", "kind", "state", "geometry")
        .order_by("kind", "ref", "id")
    )
    by_key = {row.pk: row for row in rows}
    worked = {f.pk: item for item in facts.items for f in item.features.all()}
    shown = [
        row
        for row in rows
        if states.get(str(row.uuid), row.state) != State.REMOVED
        and not (row.state == State.PROPOSED and row.pk not in worked and row.kind != Kind.PIPE)
    ]
    corners = shapely.total_bounds([row.geometry for row in shown]) if shown else None
    extent = max(corners[2] - corners[0], corners[3] - corners[1]) if corners is not None else 0.0
    per_mm = round_scale(float(extent), _ROOM_MM) / 1000
    trees = sum(row.kind == Kind.TREE for row in shown)
    features = []
    for row in shown:
        if row.kind == Kind.TREE and trees > _MOST_TREES:
            continue
        thinned = shapely.simplify(row.geometry, _FINEST_MM * per_mm)
        if thinned.is_empty or (
            thinned.geom_type == "Polygon" and thinned.area < _SMALLEST_MM2 * per_mm**2
        ):
            continue
        state = states.get(str(row.uuid), row.state)
        features.append({"kind": row.kind, "state": state, "shape": _shape(thinned)})
    works, key = _works(facts, by_key, per_mm)
    return {"features": features, "works": works, "works_key": key, "holes": _holes(facts)}


def _works(
    facts: Facts, by_key: Mapping[int, Feature], per_mm: float
) -> tuple[list[dict[str, Any]], list[dict[str, str]]]:
    works, key = [], []
    for project in facts.projects:
        by_state: dict[str, list[dict[str, Any]]] = {}
        for item in facts.items_of(project):
            for feature in item.features.all():
                row = by_key.get(feature.pk)
                if row is not None and row.kind != Kind.TREE:
                    thinned = shapely.simplify(row.geometry, _FINEST_MM * per_mm)
                    by_state.setdefault(facts.state(item), []).append(_shape(thinned))
        works += [
            {"label": project.code, "name": project.name, "state": state, "shapes": shapes}
            for state, shapes in sorted(by_state.items())
        ]
        if by_state:
            key.append({"label": project.code, "name": project.name})
    return works, key


def _holes(facts: Facts) -> list[dict[str, Any]]:
    """A hole's number stands at its tee; without one, at its green; without either, nowhere."""
    found = []
    holes = Hole.objects.filter(club=facts.club).prefetch_related("features")
    for hole in holes:
        own = {
            kind: [
                feature.geometry
                for feature in hole.features.all()
                if feature.kind == kind and feature.state != State.REMOVED
            ]
            for kind in (Kind.TEE, Kind.GREEN)
        }
        shapes = own[Kind.TEE] or own[Kind.GREEN]
        if shapes:
            middle = shapely.centroid(max(shapes, key=shapely.area))
            found.append({"number": hole.number, "at": [round(middle.x, 1), round(middle.y, 1)]})
    return found


def section_data(facts: Facts, check: NetworkCheck) -> dict[str, Any] | None:
    """The way down that holds most of the new drain the programme builds; else the longest of all."""
    works = {
        str(feature.uuid)
        for item in facts.items
        if item.kind in _NEW_DRAIN
        for feature in item.features.all()
        if feature.kind in DRAIN_LINES
    }
    best: tuple[float, float, str] | None = None
    for reach in check.reaches:
        if works and reach.key not in works:
            continue
        path = check.way_down(reach.key)
        lengths = {piece.key: check.reach(piece.key).length_m - piece.from_m for piece in path}
        score = (
            sum(length for key, length in lengths.items() if key in works),
            sum(lengths.values()),
            reach.key,
        )
        best = max(best, score) if best else score
    if best is None:
        return None
    layout = long_section_of(facts.club, UUID(best[2]), check)
    if not any(
        p.upper_invert_m is not None and p.lower_invert_m is not None for p in layout.pieces
    ):
        return None
    told = asdict(layout)
    for name in ("top_name", "outfall_name"):
        told[name] = plain(told[name])
    storm = live_storm(facts.club)
    source = f" ({storm.source})" if storm.source else ""
    return {"layout": told, "words": f"{_carries(check, layout)} Checked for {storm}{source}: "
            "capacity of pipes by Colebrook–White, of ditches by Manning. No chartered engineer has "
            "reviewed this sheet."}  # fmt: skip


def _carries(check: NetworkCheck, layout: Any) -> str:
    """How the reaches of the section stand, in one sentence."""
    reaches = [check.reach(piece.key) for piece in layout.pieces]
    wrong = [f"{plain(reach.name)} {reach.verdict}" for reach in reaches if reach.state == "fault"]
    spares = [reach.spare_told for reach in reaches if reach.state != "fault"]
    known = [spare for spare in spares if spare is not None]
    laid = f"{fig(layout.standing_m)} m of {fig(layout.length_m)} m stand."
    if wrong:
        laid += f" At fault: {'; '.join(wrong[:_FAULTS_NAMED])}."
        if len(wrong) > _FAULTS_NAMED:
            laid += f" {len(wrong) - _FAULTS_NAMED} more are at fault."
    if not spares:
        return laid
    if not known:
        return f"{laid} What it carries cannot be told yet: levels or sizes are missing."
    worst = min(known)
    if worst < 0:
        small = sum(spare < 0 for spare in known)
        return f"{laid} {small} of its {len(reaches)} reaches are too small for the storm."
    who = "The rest" if wrong else "It"
    words = f"{laid} {who} carries its water, {fig(worst * 100)} % to spare where it is tightest."
    missing = len(spares) - len(known)
    return f"{words} {missing} of its reaches cannot be checked yet." if missing else words
