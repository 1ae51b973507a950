"""A small club with a drain, a tee and hours on them, built through the services."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

import pytest
from shapely.geometry import Polygon

from tests.cast import Cast
from tests.drainage.drawn import SOUTH, WEST, draw_node, draw_pipe
from worksprog.clubs.records import save_record
from worksprog.course.models import Hole, Kind, State
from worksprog.course.services import create_feature
from worksprog.hours.services import log_hours
from worksprog.planning.services import (
    keep_baseline,
    load_default_windows,
    load_usual_year,
    make_plan,
)
from worksprog.reports.models import Report
from worksprog.reports.services import ask_decision, draft_report
from worksprog.works.models import Item, Programme, Project, WorkKind
from worksprog.works.services import (
    approve_project,
    build_estimate,
    create_item,
    create_phase,
    create_programme,
    create_project,
    load_default_price_book,
    record_spend,
    set_item_state,
)


@dataclass
class Works:
    cast: Cast
    programme: Programme
    drain: Project
    tee: Project
    carrier: Item
    upper: Item
    tee_item: Item
    today: date


def build_works(cast: Cast) -> Works:
    by, club = cast.manager, cast.club
    today = club.today()
    load_default_price_book(club=club, by=by, dated=today - timedelta(days=200))
    load_default_windows(club=club, by=by)
    load_usual_year(club=club, crew_h=220, by=by)
    programme = create_programme(
        club=club,
        name="Five winters",
        starts_on=today - timedelta(days=90),
        ends_on=today + timedelta(days=1700),
        by=by,
    )
    drain = create_project(programme=programme, code="BC", name="Brook carrier", by=by, priority=1)
    tee = create_project(programme=programme, code="T8", name="Tee 8", by=by, priority=2)
    lower = draw_pipe(club, by, "C1", (0, 100), (0, 0), state=State.PROPOSED,
                      upstream_invert_m=50.0, downstream_invert_m=49.0)  # fmt: skip
    upper = draw_pipe(club, by, "C2", (0, 220), (0, 100), state=State.PROPOSED,
                      upstream_invert_m=51.4, downstream_invert_m=50.0)  # fmt: skip
    draw_node(club, by, Kind.OUTFALL, "O1", 0, 0, cover=50.2, invert=49.0)
    draw_node(club, by, Kind.CHAMBER, "CH1", 0, 100, cover=51.3, invert=50.0)
    hole = save_record(Hole(club=club, number=8, par=4), by=by)
    x, y = WEST + 120, SOUTH + 40
    tee_shape = create_feature(
        club=club,
        kind=Kind.TEE,
        geometry=Polygon([(x, y), (x + 20, y), (x + 20, y + 13), (x, y + 13)]),
        by=by,
        ref="T8",
        holes=[hole],
    )
    phase = create_phase(project=drain, name="Carrier", by=by)
    carrier = create_item(
        phase=phase, kind=WorkKind.CARRIER_PIPE, name="Lay C1", features=[lower], by=by
    )
    upper_item = create_item(
        phase=phase, kind=WorkKind.CARRIER_PIPE, name="Lay C2", features=[upper], by=by
    )
    tee_item = create_item(
        phase=create_phase(project=tee, name="Tee", by=by),
        kind=WorkKind.TEE_REBUILD,
        name="Rebuild tee 8",
        features=[tee_shape],
        holes=[hole],
        by=by,
    )
    for item in (carrier, upper_item, tee_item):
        build_estimate(item=item, by=by)
    begin = today - timedelta(days=60)
    keep_baseline(plan=make_plan(programme=programme, by=by, today=begin), name="Agreed", by=by)
    approve_project(project=drain, amount=Decimal("9000"), approved_on=begin, by=by)
    set_item_state(item=carrier, state="on_site", on=today - timedelta(days=10), by=by)
    person = cast.membership(cast.staff)
    for back, hours, quantity in ((9, "7.5", 20.0), (8, "6", 15.0), (40, "4", 5.0)):
        log_hours(
            club=club,
            person=person,
            client_id=uuid.uuid4(),
            worked_on=today - timedelta(days=back),
            hours=Decimal(hours),
            item=carrier,
            quantity=quantity,
        )
    log_hours(
        club=club,
        person=person,
        client_id=uuid.uuid4(),
        worked_on=today - timedelta(days=3),
        hours=Decimal("8"),
        routine="leaves",
    )
    record_spend(
        item=carrier, spent_on=today - timedelta(days=5), description="Pipe",
        amount=Decimal("1234.50"), by=by,
    )  # fmt: skip
    make_plan(programme=programme, by=by, today=today)
    return Works(cast, programme, drain, tee, carrier, upper_item, tee_item, today)


@pytest.fixture
def works(cast: Cast) -> Works:
    return build_works(cast)


@pytest.fixture
def draft(works: Works) -> Report:
    """A draft for the last five weeks that asks for money for the drain."""
    by = works.cast.manager
    report = draft_report(
        programme=works.programme, by=by, from_date=works.today - timedelta(days=35)
    )
    ask_decision(
        report=report,
        question="Release the rest of the drain, or hold it over?",
        project=works.drain,
        amount=Decimal("2500.50"),
        by=by,
    )
    return report
