"""Programmes, links, states and totals."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from worksprog.works import queries
from worksprog.works.models import Consent, Link, Programme
from worksprog.works.services import (
    ConsentMissing,
    approve_project,
    build_estimate,
    create_item,
    create_phase,
    create_programme,
    create_project,
    link_items,
    record_consent,
    record_spend,
    set_item_state,
)


def test_one_programme_is_live(works, cast):
    create_programme(
        club=cast.club,
        name="Next",
        starts_on=date(2031, 9, 1),
        ends_on=date(2036, 4, 30),
        by=cast.manager,
    )
    assert [p.name for p in Programme.objects.filter(club=cast.club, is_live=True)] == ["Next"]
    with pytest.raises(ValidationError, match="ends before it starts"):
        create_programme(
            club=cast.club,
            name="Back",
            starts_on=date(2031, 9, 1),
            ends_on=date(2030, 1, 1),
            by=cast.manager,
        )


def test_a_code_stands_once_in_a_programme(works, cast):
    with pytest.raises(ValidationError):
        create_project(programme=works.programme, code="BC", name="Again", by=cast.manager)


def test_links_refuse_a_ring_and_name_it(works, cast):
    third = create_item(phase=works.phase, kind="seeding", name="Seed it", by=cast.manager)
    link_items(first=works.carrier, then=works.tee_item, by=cast.manager)
    link_items(first=works.tee_item, then=third, by=cast.manager, lag_days=3)
    with pytest.raises(ValidationError, match="Lay C1, then Rebuild tee 8, then Seed it"):
        link_items(first=third, then=works.carrier, by=cast.manager)
    with pytest.raises(ValidationError, match="does not wait for itself"):
        link_items(first=third, then=third, by=cast.manager)
    assert Link.objects.filter(club=cast.club).count() == 2


def test_state_keeps_its_days(works, cast):
    item = set_item_state(
        item=works.carrier, state="on_site", on=date(2026, 9, 18), by=cast.manager
    )
    assert (item.started_on, item.finished_on) == (date(2026, 9, 18), None)
    with pytest.raises(ValidationError, match="cannot have finished on"):
        set_item_state(item=item, state="done", on=date(2026, 9, 1), by=cast.manager)
    item.refresh_from_db()
    item = set_item_state(item=item, state="done", on=date(2026, 10, 2), by=cast.manager)
    assert item.finished_on == date(2026, 10, 2)
    with pytest.raises(ValidationError, match="still to come"):
        set_item_state(item=works.tee_item, state="on_site", on=date(2999, 1, 1), by=cast.manager)
    item = set_item_state(item=item, state="proposed", on=date(2026, 10, 2), by=cast.manager)
    assert (item.started_on, item.finished_on) == (None, None)


def test_totals_add_up_at_every_step(works, cast):
    first = build_estimate(item=works.carrier, by=cast.manager)
    second = build_estimate(item=works.tee_item, by=cast.manager)
    other = create_project(programme=works.programme, code="S", name="Seed", by=cast.manager)
    phase = create_phase(project=other, name="All", by=cast.manager)
    third = create_item(
        phase=phase, kind="seeding", name="Seed", parameters={"area_m2": 400}, by=cast.manager
    )
    last = build_estimate(item=third, by=cast.manager)
    create_item(phase=phase, kind="path", name="Path", by=cast.manager)
    approve_project(
        project=other, amount=Decimal("500"), approved_on=date(2026, 6, 1), by=cast.manager
    )
    record_spend(
        item=third, spent_on=date(2026, 9, 3), description="Seed", amount=Decimal("99.10"), by=None
    )
    sheet = queries.programme_sheet(works.programme)
    totals = queries.programme_totals(works.programme)
    assert totals == sheet.totals
    everything = (first, second, last)
    assert totals.money_likely == sum(one.money_likely for one in everything)
    assert totals.labour_likely_h == pytest.approx(sum(one.labour_likely_h for one in everything))
    assert totals.money_likely == sum(one.totals.money_likely for one in sheet.projects)
    assert sum(totals.by_category.values()) == totals.money_likely
    assert (totals.items, totals.without_estimate) == (4, 1)
    assert (totals.approved, totals.spent) == (Decimal("500"), Decimal("99.10"))
    assert totals.money_likely < totals.money_p80 < totals.money_high
    # Items that vary apart need less above the mean than the sum of what each needs alone.
    assert totals.money_p80 < sum(one.money_p80 for one in everything)


def test_shelved_items_are_left_out(works, cast):
    build_estimate(item=works.carrier, by=cast.manager)
    estimate = build_estimate(item=works.tee_item, by=cast.manager)
    set_item_state(item=works.carrier, state="shelved", on=date(2026, 9, 1), by=cast.manager)
    totals = queries.programme_totals(works.programme)
    assert totals.money_likely == estimate.money_likely
    assert totals.by_state == {"shelved": 1, "proposed": 1}


def test_a_consent_is_not_granted_before_it_was_asked(works, cast):
    consent = Consent(
        club=cast.club,
        item=works.carrier,
        name="Consent",
        asked_on=date(2026, 9, 2),
        granted_on=date(2026, 9, 1),
    )
    with pytest.raises(ValidationError, match="before it was asked"):
        record_consent(consent=consent, by=cast.manager)


def needs(works, cast, **facts) -> Consent:
    consent = Consent(
        club=cast.club, item=works.carrier, name="Brook consent", authority="the drainage board"
    )
    for name, value in facts.items():
        setattr(consent, name, value)
    return record_consent(consent=consent, by=cast.manager)


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({}, "is not granted"),
        ({"granted_on": date(2026, 9, 19)}, "is not granted"),
        (
            {"granted_on": date(2025, 9, 1), "expires_on": date(2026, 9, 17)},
            "ran out on 17 Sep 2026",
        ),
    ],
)
def test_work_without_a_consent_is_confirmed_twice_and_kept(works, cast, facts, words):
    consent = needs(works, cast, **facts)
    day = date(2026, 9, 18)
    said = f"Brook consent {words}; work before it may be unlawful; confirm with the drainage board"
    with pytest.raises(ConsentMissing, match=said):
        set_item_state(item=works.carrier, state="on_site", on=day, by=cast.manager)
    works.carrier.refresh_from_db()
    assert works.carrier.state == "proposed"
    item = set_item_state(
        item=works.carrier, state="on_site", on=day, by=cast.manager, without_consent=True
    )
    consent.refresh_from_db()
    assert item.state == "on_site"
    assert cast.manager.initialled in consent.notes and said in consent.notes


def test_work_with_its_consents_asks_nothing(works, cast):
    consent = needs(works, cast, granted_on=date(2026, 9, 18), expires_on=date(2026, 9, 18))
    set_item_state(item=works.carrier, state="on_site", on=date(2026, 9, 18), by=cast.manager)
    consent.refresh_from_db()
    assert consent.notes == ""


def test_nothing_of_another_club_can_be_chosen(works, cast):
    works.tee.club = cast.other_club
    with pytest.raises(ValidationError, match="another club"):
        create_item(
            phase=works.phase, kind="turfing", name="Turf", features=[works.tee], by=cast.manager
        )
