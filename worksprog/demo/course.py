"""Holes, surveys and designed features, brought in as a manager brings them in."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

from worksprog.clubs.models import Club, User
from worksprog.course.models import DRAIN_LINES, DRAIN_NODES, Feature, Hole, Source, State
from worksprog.course.queries import live_ground
from worksprog.course.services import change_feature, create_feature, save_hole
from worksprog.demo import survey_files
from worksprog.demo.layout import (
    HOLES,
    Thing,
    course_things,
    drainage_as_found,
    drainage_designed,
    hole_length_m,
    works_designed,
)
from worksprog.drainage.forms.laterals import LateralsForm
from worksprog.drainage.queries.laterals import carriers_near, fall_within
from worksprog.drainage.services import set_node_levels, set_reach
from worksprog.drainage.services.laterals import keep_layout
from worksprog.drainage.services.tidy import set_buried_service

SURVEYED_ON = date(2024, 3, 14)
DESIGNED_ON = date(2026, 5, 20)
REACH_FIGURES = frozenset(
    {
        "upstream_invert_m",
        "downstream_invert_m",
        "catchment_ha",
        "runoff_coefficient",
        "inside_diameter_mm",
        "ks_mm",
        "material",
        "bottom_width_m",
        "side_slope",
        "depth_m",
        "manning_n",
    }
)


def make_holes(club: Club, by: User) -> dict[int, Hole]:
    return {
        number: save_hole(
            hole=Hole(club=club, number=number, par=par, length_m=hole_length_m(number), loop=loop),
            by=by,
        )
        for number, par, loop, _ in HOLES
    }


def _holes_of(thing: Thing, holes: dict[int, Hole]) -> list[Hole]:
    return [holes[number] for number in thing.holes]


def _sizes_of(thing: Thing) -> dict[str, Any]:
    return {
        name: Decimal(str(thing.facts[name]))
        for name in ("width_m", "diameter_cm", "height_m")
        if name in thing.facts
    }


def _set_levels(feature: Feature, thing: Thing, by: User) -> None:
    if feature.kind in DRAIN_LINES:
        figures = {key: value for key, value in thing.facts.items() if key in REACH_FIGURES}
        if figures:
            set_reach(feature=feature, by=by, **figures)
    elif feature.kind in DRAIN_NODES and "invert_level_m" in thing.facts:
        set_node_levels(
            feature=feature,
            by=by,
            cover_level_m=thing.facts.get("cover_level_m"),
            invert_level_m=thing.facts["invert_level_m"],
            size="1.05 m ring" if feature.kind == "chamber" else "",
        )


def describe_surveyed(club: Club, by: User, holes: dict[int, Hole]) -> None:
    """Say of each imported shape what the surveyor's file could not: its holes, levels and stems."""
    waiting = list(Feature.objects.filter(club=club).select_related("survey"))
    by_kind: dict[str, list[Feature]] = {}
    for feature in waiting:
        by_kind.setdefault(feature.kind, []).append(feature)
    for thing in [*course_things(), *drainage_as_found()]:
        found = min(
            by_kind[thing.kind],
            key=lambda feature: (
                feature.geometry.distance(thing.shape.centroid)
                + feature.geometry.hausdorff_distance(thing.shape)
            ),
        )
        by_kind[thing.kind].remove(found)
        facts = {
            "ref": thing.ref,
            "name": thing.name,
            "source": thing.facts.get("source", Source.SURVEYED),
            "state_date": SURVEYED_ON,
        }
        if "stems" in thing.facts:
            facts["stems"] = thing.facts["stems"]
        facts |= _sizes_of(thing)
        if "accuracy_m" in thing.facts:
            facts["accuracy_m"] = Decimal(str(thing.facts["accuracy_m"]))
        told = change_feature(feature=found, by=by, holes=_holes_of(thing, holes), **facts)
        _set_levels(told, thing, by)
        if told.kind == "service":
            # The old drawing shows where it runs, not how deep.
            set_buried_service(feature=told, by=by, what="irrigation", outside_diameter_mm=110.0)


def draw_designed(club: Club, by: User, holes: dict[int, Hole]) -> dict[str, Feature]:
    """The new carriers and works, drawn and given their levels; returns them by reference."""
    made = {}
    # Nodes first, so that the ends of lines snap to them.
    things = sorted(
        [*drainage_designed(), *works_designed()], key=lambda one: one.kind in DRAIN_LINES
    )
    for thing in things:
        feature = create_feature(
            club=club,
            kind=thing.kind,
            geometry=thing.shape,
            by=by,
            holes=_holes_of(thing, holes),
            ref=thing.ref,
            name=thing.name,
            state=State.PROPOSED,
            state_date=DESIGNED_ON,
            source=Source.DESIGN,
            **_sizes_of(thing),
        )
        _set_levels(feature, thing, by)
        made[thing.ref] = feature
    set_reach(feature=Feature.objects.get(club=club, ref="P2"), by=by, replaced_by=made["N2"])
    return made


def lay_out_laterals(made: dict[str, Feature], by: User) -> None:
    """Drains under 7 fairway, on both sides of the carrier that crosses it."""
    area = made["L7"]
    carriers = carriers_near(area)
    usual = LateralsForm(carriers=carriers)
    given = {name: field.initial for name, field in usual.fields.items()}
    form = LateralsForm(
        given
        | {
            "carrier": str(carriers[0].uuid),
            "pattern": "herring",
            "angle_to_fall_deg": 75.0,
            "carry_on_m": 25.0,
        },
        carriers=carriers,
    )
    if not form.is_valid():
        raise ValueError(f"The demonstration's laterals do not fit: {form.errors.as_text()}")
    fall = fall_within(area, live_ground(area.club))
    if fall is None:
        raise ValueError("The demonstration's ground does not reach under 7 fairway.")
    keep_layout(
        area=area,
        carrier=form.carrier_row,
        wish=form.wish(fall.bearing_deg),
        drain=form.drain(),
        inputs=dict(form.cleaned_data),
        by=by,
    )


def write_survey_files(folder: Path) -> dict[str, Path]:
    """The three files as the surveyor would send them."""
    files = {
        "levels": folder / "ashlode-vale-levels.csv",
        "course": folder / "ashlode-vale-course.gpkg",
        "drains": folder / "ashlode-vale-drains.dxf",
    }
    survey_files.write_spot_heights(files["levels"])
    survey_files.write_course(files["course"])
    survey_files.write_old_drains(files["drains"])
    return files
