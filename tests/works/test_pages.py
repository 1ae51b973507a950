"""The works' pages: what they show, what they refuse, how many queries they take."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from shapely.geometry import LineString, box

from tests.works.conftest import draw, move
from worksprog.course.models import Hole, Kind
from worksprog.works.models import Item, Link, Price, Programme, WorkKind
from worksprog.works.services import (
    approve_project,
    build_estimate,
    create_item,
    create_phase,
    create_project,
    link_items,
    set_parameters,
)

MOST_QUERIES = 15


def url(name, cast, *rest):
    return reverse(f"works:{name}", args=[cast.club.slug, *rest])


def text_of(response):
    return " ".join(response.content.decode().split())


def test_programme_shows_projects_items_and_totals(works, cast, as_committee):
    estimate = build_estimate(item=works.carrier, by=cast.manager)
    page = as_committee.get(url("programme", cast))
    assert page.status_code == 200
    words = text_of(page)
    for expected in (
        "Five winters",
        "BC Brook carrier",
        "Lay C1",
        "no estimate yet",
        f"£{estimate.money_likely:,.0f}",
        "1 without an estimate",
    ):
        assert expected in words
    assert "Add a project" not in words
    assert page.context["sheet"].totals.money_likely == estimate.money_likely


def test_without_a_programme_it_offers_the_first_step(cast, as_manager, as_committee):
    assert "Begin a programme" in text_of(as_manager.get(url("programme", cast)))
    assert "Begin a programme" not in text_of(as_committee.get(url("programme", cast)))
    page = as_manager.post(
        url("new-programme", cast),
        {
            "name": "First",
            "revision": "A",
            "starts_on": "2026-09-01",
            "ends_on": "2030-04-30",
            "is_live": "on",
        },
    )
    assert page.status_code == 302
    assert Programme.objects.get(club=cast.club, is_live=True).name == "First"


def test_a_bad_programme_is_refused_and_nothing_lost(cast, as_manager):
    page = as_manager.post(
        url("new-programme", cast),
        {"name": "Back", "revision": "A", "starts_on": "2026-09-01", "ends_on": "2025-04-30"},
    )
    assert page.status_code == 422
    assert "ends before it starts" in text_of(page) and 'value="Back"' in text_of(page)
    assert not Programme.objects.filter(club=cast.club).exists()


def test_the_walk_from_project_to_estimate(works, cast, as_manager):
    as_manager.post(
        url("new-project", cast, works.programme.uuid),
        {"code": "P", "name": "Path to 3", "purpose": "", "priority": 4},
    )
    project = works.programme.projects.get(code="P")
    as_manager.post(url("new-phase", cast, project.uuid), {"name": "All of it"})
    phase = project.phases.get()
    assert "Tree thinning" in text_of(as_manager.get(url("new-item", cast, phase.uuid)))
    page = as_manager.post(
        url("new-item", cast, phase.uuid) + "?kind=tee_rebuild",
        {
            "name": "Rebuild it",
            "features": [works.tee.pk],
            "max_share": "0.5",
            "growing_in_weeks": 6,
        },
    )
    item = Item.objects.get(phase=phase)
    assert page.url == url("item", cast, item.uuid)
    words = text_of(as_manager.get(page.url))
    assert "260 m²" in words and "Tee T8" in words and "Local law, codes" in words
    assert item.estimates.get().quantity == pytest.approx(260)


def test_a_bunker_cannot_be_chosen_for_a_tee(works, cast, as_manager):
    page = as_manager.post(
        url("new-item", cast, works.phase.uuid) + "?kind=tee_rebuild",
        {"name": "Wrong", "features": [works.pipe.pk], "max_share": "1", "growing_in_weeks": 0},
    )
    assert page.status_code == 422
    assert not Item.objects.filter(name="Wrong").exists()


def test_the_item_says_what_moved_and_keeps_what_is_approved(works, cast, as_manager):
    build_estimate(item=works.carrier, by=cast.manager)
    approve_project(
        project=works.project, amount=Decimal(16000), approved_on=date(2026, 6, 11), by=None
    )
    move(works.pipe, LineString([(400000, 300000), (400000, 300262)]), cast.manager)
    address = url("item", cast, works.carrier.uuid)
    words = text_of(as_manager.get(address))
    assert "Pipe C1: length along the line was 250.00, is now 262.00 m (+12.00)" in words
    assert "Make a new revision" in words
    refused = as_manager.post(url("build", cast, works.carrier.uuid), follow=True)
    assert "was approved on 11 Jun 2026" in text_of(refused)
    as_manager.post(url("build", cast, works.carrier.uuid), {"new_revision": "yes"})
    words = text_of(as_manager.get(address))
    assert "Out of date" not in words and "Earlier revisions" in words


def test_what_is_measured_now_stands_beside_what_the_estimate_has(works, cast, as_manager):
    address = url("item", cast, works.carrier.uuid)
    assert "Quantities as measured now" not in text_of(as_manager.get(address))
    build_estimate(item=works.carrier, by=cast.manager)
    words = text_of(as_manager.get(address))
    assert "Quantities as measured now" in words and "Estimate 1 stands on the same." in words
    assert "In estimate 1" not in words
    move(works.pipe, LineString([(400000, 300000), (400000, 300262)]), cast.manager)
    words = text_of(as_manager.get(address))
    assert 'Measured now</th><th scope="col" class="fig">In estimate 1</th>' in words
    now = '<td class="fig" data-label="Measured now">'
    then = '<td class="fig" data-label="In estimate 1">'
    for row in (
        f"Length along the line</th>{now}262.00</td>{then}250</td>",
        f"Pipe C1</td>{now}262.00</td>{then}250.00</td>",
        f"Chambers on the line</th>{now}1</td>{then}</td>",
    ):
        assert row in words


def test_a_drain_without_levels_says_what_is_assumed(works, cast, as_manager, as_committee):
    pipe = draw(cast, Kind.PIPE, LineString([(400300, 300000), (400300, 300080)]), ref="C9")
    item = create_item(
        phase=works.phase,
        kind=WorkKind.CARRIER_PIPE,
        name="Lay C9",
        features=[pipe],
        by=cast.manager,
    )
    build_estimate(item=item, by=cast.manager)
    address = url("item", cast, item.uuid)
    words = text_of(as_manager.get(address))
    levels = reverse("drainage:reach", args=[cast.club.slug, pipe.uuid])
    assert "Not measured." in words and "mean depth from ground to invert" in words
    assert f'<a href="{levels}">Levels of Pipe C9</a>' in words
    assert as_manager.get(levels).status_code == 200
    assert "Enter the figures here instead" in words
    assert "Enter the figures here instead" not in text_of(as_committee.get(address))
    assert words.index("Not measured.") < words.index("big-fig")
    set_parameters(item=item, parameters={"mean_depth_m": 1.4, "pipe_mm": 225}, by=cast.manager)
    assert "Not measured." not in text_of(as_manager.get(address))
    hill = draw(cast, Kind.MOUND, box(400000, 300000, 400020, 300010), ref="M1")
    mound = create_item(
        phase=works.phase, kind=WorkKind.MOUNDING, name="Mound", features=[hill], by=cast.manager
    )
    address = url("item", cast, mound.uuid)
    assert 'mean height <span class="fig">0.6</span> m' in text_of(as_manager.get(address))
    set_parameters(item=mound, parameters={"fill_m3": 90.0}, by=cast.manager)
    assert "Not measured." not in text_of(as_manager.get(address))  # the height tells nothing now
    bare = create_item(
        phase=works.phase, kind=WorkKind.SEEDING, name="Seed", features=[], by=cast.manager
    )
    words = text_of(as_manager.get(url("item", cast, bare.uuid)))
    assert "Needed and told by nothing yet: area on plan" in words


def test_a_line_is_set_by_hand_and_let_go(works, cast, as_manager):
    estimate = build_estimate(item=works.carrier, by=cast.manager)
    line = estimate.lines.get(step="pipe")
    address = url("line", cast, line.uuid)
    data = {
        "category": "material",
        "description": "Pipe, quoted",
        "unit": "m",
        "quantity_low": 255,
        "quantity_likely": 260,
        "quantity_high": 250,
        "rate_low": "21.50",
        "rate_likely": "21.50",
        "rate_high": "21.50",
    }
    page = as_manager.post(address, data)
    assert page.status_code == 422 and "must rise in that order" in text_of(page)
    as_manager.post(address, {**data, "quantity_high": 270})
    line.refresh_from_db()
    assert (line.is_by_hand, line.amount_high) == (True, Decimal("5805.00"))
    assert "Go back to the figure" in text_of(as_manager.get(address))
    as_manager.post(url("release-line", cast, line.uuid))
    line.refresh_from_db()
    assert not line.is_by_hand and line.description == "Twin-wall pipe"


def test_quantities_by_hand_refuse_what_is_out_of_bounds(works, cast, as_manager):
    address = url("quantities", cast, works.carrier.uuid)
    assert "Measured: 250.00 m." in text_of(as_manager.get(address))
    page = as_manager.post(address, {"pipe_mm": "310"})
    assert page.status_code == 422 and "choose one of 150" in text_of(page)
    page = as_manager.post(address, {"pipe_mm": "225", "bulking": ""})
    assert page.status_code == 302
    works.carrier.refresh_from_db()
    assert works.carrier.parameters == {"pipe_mm": 225.0}


def test_links_are_drawn_and_removed(works, cast, as_manager):
    address = url("new-link", cast, works.tee_item.uuid)
    data = {"way": "after", "other": str(works.carrier.uuid), "type": "FS", "lag_days": 2}
    assert as_manager.post(address, data).status_code == 302
    link = Link.objects.get()
    assert (link.first, link.then, link.lag_days) == (works.carrier, works.tee_item, 2)
    page = as_manager.post(address, {**data, "way": "before"})
    assert page.status_code == 422 and "wait for each other" in text_of(page)
    assert "Waits for" in text_of(as_manager.get(url("item", cast, works.tee_item.uuid)))
    as_manager.post(url("remove-link", cast, link.uuid))
    assert not Link.objects.exists()


def test_state_consent_and_spend(works, cast, as_manager):
    item = works.carrier
    as_manager.post(url("state", cast, item.uuid), {"state": "on_site", "on": "2026-09-18"})
    as_manager.post(
        url("new-consent", cast, item.uuid),
        {"name": "Consent at the brook", "authority": "drainage authority"},
    )
    as_manager.post(
        url("new-spend", cast, item.uuid),
        {"spent_on": "2026-09-20", "description": "Pipe", "amount": "5980.00"},
    )
    words = text_of(as_manager.get(url("item", cast, item.uuid)))
    for expected in ("18 Sep 2026", "Consent at the brook", "not asked for yet", "£5,980.00"):
        assert expected in words
    consent = item.consents.get()
    page = as_manager.post(
        url("consent", cast, consent.uuid),
        {"name": "Consent", "asked_on": "2026-09-02", "granted_on": "2026-09-01"},
    )
    assert page.status_code == 422 and "before it was asked" in text_of(page)
    page = as_manager.post(url("state", cast, item.uuid), {"state": "done", "on": "2026-09-01"})
    assert page.status_code == 422


def test_on_site_without_a_consent_is_asked_twice_and_stays_loud(works, cast, as_manager):
    item = works.carrier
    as_manager.post(url("new-consent", cast, item.uuid), {"name": "Consent at the brook"})
    wanted = {"state": "on_site", "on": "2026-09-18"}
    asked = as_manager.post(url("state", cast, item.uuid), wanted)
    loud = "Consent at the brook is not granted; work before it may be unlawful"
    assert asked.status_code == 422 and loud in text_of(asked)
    assert 'name="without_consent"' in asked.content.decode()
    assert "On site without a consent" not in text_of(as_manager.get(url("programme", cast)))
    kept = as_manager.post(url("state", cast, item.uuid), {**wanted, "without_consent": "on"})
    assert kept.status_code == 302
    for page in (url("item", cast, item.uuid), url("programme", cast)):
        words = text_of(as_manager.get(page))
        assert "On site without a consent" in words and loud in words


def test_price_book_by_hand(works, cast, as_manager, as_committee):
    words = text_of(as_committee.get(url("prices", cast)))
    assert "entries are not confirmed by the club" in words and "Bring in a file" not in words
    turf = Price.objects.get(club=cast.club, code="turf-tee")
    data = {
        "category": "material",
        "name": "Turf for tees",
        "unit": "m²",
        "low": "5",
        "likely": "4",
        "high": "6",
        "source": "Quote",
        "dated": "2026-10-01",
    }
    page = as_manager.post(url("price", cast, turf.uuid), data)
    assert page.status_code == 422 and "must rise" in text_of(page)
    as_manager.post(url("price", cast, turf.uuid), {**data, "likely": "5.5"})
    turf.refresh_from_db()
    assert (turf.likely, turf.is_confirmed, turf.code) == (Decimal("5.50"), True, "turf-tee")


def test_working_out_the_whole_programme_leaves_the_approved(works, cast, as_manager):
    build_estimate(item=works.carrier, by=cast.manager)
    approve_project(
        project=works.project, amount=Decimal(16000), approved_on=date(2026, 6, 11), by=None
    )
    create_item(phase=works.phase, kind="seeding", name="Seed", by=cast.manager)
    page = as_manager.post(url("build-all", cast, works.programme.uuid), follow=True)
    words = text_of(page)
    assert "1 estimates were worked out; 1 are approved" in words
    assert "Seed: Seeding needs the area on plan" in words


def test_approval_by_the_page(works, cast, as_manager):
    build_estimate(item=works.carrier, by=cast.manager)
    as_manager.post(
        url("approve", cast, works.project.uuid), {"amount": "15500", "approved_on": "2026-06-11"}
    )
    works.project.refresh_from_db()
    assert works.project.approved == 15500
    assert works.carrier.estimates.get().approved_on == date(2026, 6, 11)
    words = text_of(as_manager.get(url("project", cast, works.project.uuid)))
    assert "The committee approved" in words and "£15,500.00" in words


def grow(works, cast, count):
    holes = [Hole.objects.create(club=cast.club, number=Hole.objects.count() + 1) for _ in range(3)]
    for n in range(count):
        project = create_project(
            programme=works.programme, code=f"G{count}{n}", name="More", by=cast.manager
        )
        phase = create_phase(project=project, name="All", by=cast.manager)
        for m in range(3):
            item = create_item(
                phase=phase,
                kind="tee_rebuild",
                name=f"Tee {n} {m}",
                features=[works.tee],
                holes=holes,
                by=cast.manager,
            )
            build_estimate(item=item, by=cast.manager)
            link_items(first=works.carrier, then=item, by=cast.manager)


def test_pages_take_few_queries_at_two_sizes(works, cast, as_manager):
    build_estimate(item=works.carrier, by=cast.manager)
    pages = [
        url("programme", cast),
        url("programme-of", cast, works.programme.uuid),
        url("project", cast, works.project.uuid),
        url("item", cast, works.carrier.uuid),
        url("edit-item", cast, works.carrier.uuid),
        url("quantities", cast, works.carrier.uuid),
        url("new-link", cast, works.carrier.uuid),
        url("new-item", cast, works.phase.uuid) + "?kind=carrier_pipe",
        url("line", cast, works.carrier.estimates.get().lines.first().uuid),
        url("prices", cast),
    ]
    counts = []
    for size in (2, 9):
        grow(works, cast, size)
        taken = {}
        for page in pages:
            with CaptureQueriesContext(
                connection,
            ) as queries:
                assert as_manager.get(page).status_code == 200
            taken[page] = len(queries)
        counts.append(taken)
    # A page that draws ranges anew asks once more than one that finds them drawn already.
    small, large = counts
    assert {page: large[page] for page in pages if large[page] > small[page] + 1} == {}
    assert max(*small.values(), *large.values()) <= MOST_QUERIES, counts


def test_another_clubs_rows_are_not_found(works, cast, as_stranger):
    for name, row in (
        ("programme-of", works.programme),
        ("project", works.project),
        ("item", works.carrier),
    ):
        mine = reverse(f"works:{name}", args=[cast.club.slug, row.uuid])
        through_own_club = reverse(f"works:{name}", args=[cast.other_club.slug, row.uuid])
        assert as_stranger.get(mine).status_code == 404
        assert as_stranger.get(through_own_club).status_code == 404


def test_the_maps_panel_tells_the_works_on_a_feature(works, cast, as_committee, as_staff):
    estimate = build_estimate(item=works.carrier, by=cast.manager)
    words = text_of(as_committee.get(url("feature-panel", cast, works.pipe.uuid)))
    for expected in ("Lay C1", "BC Brook carrier", "250 m", f"£{estimate.money_likely:,.0f}"):
        assert expected in words
    works.tee_item.features.clear()
    assert as_committee.get(url("feature-panel", cast, works.tee.uuid)).content == b""
    assert as_staff.get(url("feature-panel", cast, works.pipe.uuid)).status_code == 403
