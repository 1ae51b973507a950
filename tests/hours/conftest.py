"""A small programme with estimates, and hours on it, made through the services."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from tests.cast import Cast
from worksprog.clubs.models import Membership, User
from worksprog.clubs.records import save_record
from worksprog.hours.models import HourEntry
from worksprog.hours.services import log_hours
from worksprog.works.models import Category, Estimate, EstimateLine, Item, ItemState, Programme
from worksprog.works.services import (
    create_item,
    create_phase,
    create_programme,
    create_project,
)

TODAY = date(2026, 11, 24)


@dataclass
class Site:
    """The first club with a programme of three jobs; "today" is told, so that no clock matters."""

    cast: Cast
    programme: Programme
    carrier: Item
    tee: Item
    headwall: Item

    def person(self, user: User | None = None) -> Membership:
        return self.cast.membership(user or self.cast.staff)

    def log(self, user: User | None = None, **facts: Any) -> HourEntry:
        given: dict[str, Any] = {
            "club": self.cast.club,
            "person": self.person(user),
            "client_id": uuid.uuid4(),
            "worked_on": TODAY,
            "hours": 8,
            "today": TODAY,
        }
        if "routine" not in facts:
            given["item"] = self.carrier
        return log_hours(**(given | facts))


def estimate(
    item: Item, *, by: User, quantity: float, unit: str, hours: float, money: str
) -> Estimate:
    row = Estimate(
        made_by=by,
        club=item.club,
        item=item,
        quantity=quantity,
        unit=unit,
        labour_low_h=hours,
        labour_likely_h=hours,
        labour_high_h=hours,
        money_low=Decimal(money),
        money_likely=Decimal(money),
        money_high=Decimal(money),
    )
    save_record(row, by=by)
    amount = Decimal(str(hours)) * 20
    line = EstimateLine(
        club=item.club,
        estimate=row,
        category=Category.LABOUR,
        description="crew",
        unit="h",
        quantity_low=hours,
        quantity_likely=hours,
        quantity_high=hours,
        rate_low=20,
        rate_likely=20,
        rate_high=20,
        amount_low=amount,
        amount_likely=amount,
        amount_high=amount,
    )
    save_record(line, by=by)
    return row


def make_site(cast: Cast) -> Site:
    by = cast.manager
    programme = create_programme(
        club=cast.club,
        name="Five winters",
        starts_on=date(2026, 9, 1),
        ends_on=date(2027, 8, 31),
        by=by,
    )
    project = create_project(programme=programme, code="BC", name="Brook carrier", by=by)
    phase = create_phase(project=project, name="Lower carrier", by=by)
    carrier = create_item(phase=phase, kind="carrier_pipe", name="Lay carrier C2–C3", by=by)
    tee = create_item(phase=phase, kind="tee_rebuild", name="Rebuild tee 8", by=by)
    headwall = create_item(phase=phase, kind="headwall", name="Headwall O2", by=by)
    # Not by its service, which knows the real day and would refuse one that is still to come.
    carrier.state, carrier.started_on = ItemState.ON_SITE, date(2026, 11, 2)
    save_record(carrier, by=by)
    estimate(carrier, by=by, quantity=180, unit="m", hours=540, money="16000")
    estimate(tee, by=by, quantity=220, unit="m²", hours=160, money="6000")
    return Site(cast, programme, carrier, tee, headwall)


@pytest.fixture
def site(cast: Cast) -> Site:
    return make_site(cast)
