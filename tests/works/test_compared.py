"""Estimates side by side, revision by revision, and against what they would be now."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import numpy as np
import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from shapely.geometry import LineString

from tests.works.conftest import move
from tests.works.test_estimates import own_figures, reprice
from worksprog.calc.build_up.hands import steps_of
from worksprog.clubs.models import Change
from worksprog.clubs.records import save_record
from worksprog.drainage.services import set_reach
from worksprog.works import queries
from worksprog.works.models import Estimate, EstimateLine, OutputRate, Price
from worksprog.works.queries import Hands, compared
from worksprog.works.recipes import recipe_of
from worksprog.works.services import (
    add_line,
    approve_project,
    build_estimate,
    edit_line,
    set_parameters,
)
from worksprog.works.services.hands import choose_hands

PENNY = Decimal("0.01")


class Flat:
    """Level ground at 41 m."""

    def levels_at(self, x, y):
        return np.full(len(np.atleast_1d(x)), 41.0)


@pytest.fixture
def flat(monkeypatch):
    monkeypatch.setattr(queries.estimates, "live_ground", lambda club: Flat())


def url(name, cast, *rest):
    return reverse(f"works:{name}", args=[cast.club.slug, *rest])


def text_of(response):
    return " ".join(response.content.decode().split())


def approve(works, cast):
    approve_project(
        project=works.project,
        amount=Decimal(16000),
        approved_on=date(2026, 6, 11),
        by=cast.manager,
    )


def rows_of(estimate):
    return list(estimate.lines.order_by("order"))


def side(item, *, mix=None):
    live = item.estimates.filter(is_live=True).first()
    return compared.side_by_side(
        item,
        queries.measure_item(item),
        queries.price_book(item.club),
        rows_of(live) if live else [],
        mix=mix,
    )


def held_now(item):
    live = item.estimates.get(is_live=True)
    (told,) = compared.out_of_date([item])
    assert told.estimate.pk == live.pk
    return told


# ----- by whose hands


def test_what_stands_side_by_side_is_what_a_choice_keeps(works, cast):
    """Hours and money of each column are to the penny those of the estimate that it makes."""
    build_estimate(item=works.carrier, by=cast.manager)
    told = side(works.carrier, mix=["dig-driver", "make-good"])
    assert [one.name for one in told.variants] == ["Own crew", "Contractor", "Mixed"]
    assert [one.is_chosen for one in told.variants] == [True, False, False]
    for one in told.variants:
        kept = choose_hands(item=works.carrier, hands=one.hands, by=cast.manager)
        assert (kept.money_low, kept.money_likely, kept.money_high) == (
            one.worked.money.low,
            one.worked.money.likely,
            one.worked.money.high,
        )
        assert kept.labour_likely_h == one.worked.labour_h.likely
        heads = {str(head.label): head.ranges for head in told.heads}
        place = told.variants.index(one)
        assert sum(ranges[place].likely for ranges in heads.values()) == kept.money_likely
    works.carrier.refresh_from_db()
    assert works.carrier.contract_steps == ["dig-driver", "make-good"]
    assert not works.carrier.by_contractor


def test_nothing_is_kept_by_looking(works, cast, as_manager):
    build_estimate(item=works.carrier, by=cast.manager)
    before = (
        Change.objects.count(),
        list(Estimate.objects.values()),
        list(EstimateLine.objects.values()),
    )
    for address in (
        url("hands", cast, works.carrier.uuid),
        url("hands", cast, works.carrier.uuid) + "?mix=yes&step=lay&step=dig-driver",
        url("hands", cast, works.carrier.uuid) + "?part",
        url("compare", cast, works.carrier.uuid),
        url("item", cast, works.carrier.uuid),
    ):
        assert as_manager.get(address).status_code == 200
    assert before == (
        Change.objects.count(),
        list(Estimate.objects.values()),
        list(EstimateLine.objects.values()),
    )
    works.carrier.refresh_from_db()
    assert works.carrier.contract_steps == []


def test_a_contractor_goes_by_his_rates_where_the_book_has_them(works, cast):
    build_estimate(item=works.carrier, by=cast.manager)
    by_rate = {step.key for step in side(works.carrier).steps if step.by_rate}
    assert {"dig-driver", "lay"} <= by_rate and "make-good" not in by_rate
    dig = next(step for step in side(works.carrier).steps if step.key == "dig-driver")
    rate = Price.objects.get(club=cast.club, code="contract-dig_trench")
    assert dig.by_contractor == (Decimal(repr(dig.quantity)) * rate.likely).quantize(PENNY)
    rate.delete()
    dig = next(step for step in side(works.carrier).steps if step.key == "dig-driver")
    book = queries.price_book(cast.club)
    hours = dig.quantity / book.rates["dig_trench"].per_hour.likely
    both = book.prices["labour-contractor"].amount.likely
    both += book.prices["plant-excavator_5t"].amount.likely
    assert float(dig.by_contractor) == pytest.approx(hours * float(both), abs=0.02)
    assert not dig.by_rate
    assert dig.for_an_hour_freed == pytest.approx(Decimal("16.50"), abs=PENNY)  # 38.00 - 21.50


def test_steps_tell_the_difference_of_the_columns(works, cast):
    build_estimate(item=works.carrier, by=cast.manager)
    told = side(works.carrier)
    own, contractor = (one.worked for one in told.variants[:2])
    assert sum(step.more_by_contractor for step in told.steps) == (
        contractor.money.likely - own.money.likely
    )
    assert sum(step.crew_h for step in told.steps) == pytest.approx(own.labour_h.likely)


def test_a_mix_is_suggested_and_never_the_whole(works, cast):
    build_estimate(item=works.carrier, by=cast.manager)
    told = side(works.carrier)
    mixed = told.variants[2]
    assert told.is_suggested and not mixed.is_chosen
    (step,) = mixed.hands.contract_steps
    freed = {one.key: one.for_an_hour_freed for one in told.steps}
    assert freed[step] == min(freed.values())
    for code in ("contract-dig_trench", "contract-lay_carrier"):
        reprice(works, cast, code, "0.10")
    assert set(side(works.carrier).variants[2].hands.contract_steps) == {"dig-driver", "lay"}


def test_all_steps_by_a_contractor_is_a_contractors_job(works, cast):
    every = [step.key for step in steps_of(recipe_of(cast.club, works.carrier.kind))]
    choose_hands(item=works.carrier, hands=Hands(contract_steps=tuple(every)), by=cast.manager)
    works.carrier.refresh_from_db()
    assert works.carrier.by_contractor and works.carrier.contract_steps == []
    with pytest.raises(ValidationError, match="no step 'paint'"):
        choose_hands(item=works.carrier, hands=Hands(contract_steps=("paint",)), by=None)


def test_a_line_set_by_hand_stays_whoever_does_the_rest(works, cast):
    estimate = build_estimate(item=works.carrier, by=cast.manager)
    edit_line(
        line=estimate.lines.get(step="lay"), figures=own_figures(3, "200.00"), by=cast.manager
    )
    told = side(works.carrier)
    for one in told.variants:
        (line,) = [line for line in one.worked.lines if line.key == "lay"]
        assert line.amount.likely == Decimal("600.00")


def test_one_click_chooses(works, cast, as_manager, as_committee):
    build_estimate(item=works.carrier, by=cast.manager)
    address = url("hands", cast, works.carrier.uuid)
    assert "Step by step" in text_of(as_committee.get(address))
    assert as_committee.post(address, {"hands": "contractor"}).status_code == 403
    page = as_manager.post(address, {"hands": "contractor"}, follow=True)
    assert "by contractor" in text_of(page)
    estimate = works.carrier.estimates.get()
    assert estimate.labour_likely_h == 0 and estimate.revision == 1
    as_manager.post(address, {"hands": "mixed", "step": ["lay", "dig-driver"]})
    assert "2 steps by contractor" in text_of(as_manager.get(page.request["PATH_INFO"]))
    page = as_manager.post(address, {"hands": "nobody"}, follow=True)
    assert "Choose own crew" in text_of(page)
    page = as_manager.post(address, {"hands": "mixed", "step": ["paint"]}, follow=True)
    assert "Nothing was changed" in text_of(page) and "paint" in text_of(page)


def test_a_choice_after_approval_is_a_new_revision(works, cast, as_manager):
    first = build_estimate(item=works.carrier, by=cast.manager)
    approve(works, cast)
    as_manager.post(url("hands", cast, works.carrier.uuid), {"hands": "contractor"})
    first.refresh_from_db()
    live = works.carrier.estimates.get(is_live=True)
    assert (live.revision, live.approved_on) == (2, None)
    assert first.approved_on == date(2026, 6, 11) and first.labour_likely_h > 0


def test_a_choice_that_cannot_be_worked_out_changes_nothing(works, cast, as_manager):
    first = build_estimate(item=works.carrier, by=cast.manager)
    Price.objects.get(club=cast.club, code="labour-contractor").delete()
    told = side(works.carrier)
    assert "no entry 'labour-contractor'" in told.variants[1].cannot
    address = url("hands", cast, works.carrier.uuid)
    assert "Contractor cannot be worked out" in text_of(as_manager.get(address))
    page = as_manager.post(address, {"hands": "contractor"}, follow=True)
    assert "Nothing was changed" in text_of(page)
    works.carrier.refresh_from_db()
    assert not works.carrier.by_contractor
    assert works.carrier.estimates.get().money_likely == first.money_likely


def test_a_finished_job_is_not_given_to_other_hands(works, cast, as_manager):
    first = build_estimate(item=works.carrier, by=cast.manager)
    works.carrier.finished_on = date(2026, 10, 2)
    save_record(works.carrier, by=cast.manager)
    address = url("hands", cast, works.carrier.uuid)
    assert 'name="hands"' not in text_of(as_manager.get(address))
    page = as_manager.post(address, {"hands": "contractor"}, follow=True)
    assert "The job is finished" in text_of(page)
    assert works.carrier.estimates.get().money_likely == first.money_likely


# ----- revisions


def test_two_revisions_line_by_line_to_the_penny(works, cast, as_committee):
    """Length, an output rate and a price change, one line comes, one is set by hand."""
    first = build_estimate(item=works.carrier, by=cast.manager)
    approve(works, cast)
    move(works.pipe, LineString([(400000, 300000), (400000, 300280)]), cast.manager)
    reprice(works, cast, "stone-single_size", "40.00")
    rate = OutputRate.objects.get(club=cast.club, code="lay_carrier")
    rate.low, rate.likely, rate.high = Decimal(2), Decimal(4), Decimal(6)
    save_record(rate, by=cast.manager)
    second = build_estimate(item=works.carrier, by=cast.manager, new_revision=True)
    add_line(estimate=second, figures=own_figures(2, "350.00"), by=cast.manager)
    edit_line(
        line=second.lines.get(step="make-good"),
        figures=own_figures(1, "400.00"),
        by=cast.manager,
    )
    second.refresh_from_db()
    for case in ("low", "likely", "high"):
        told = compared.hold(
            compared.kept(first, rows_of(first)), compared.kept(second, rows_of(second)), case=case
        ).comparison
        difference = getattr(second, f"money_{case}") - getattr(first, f"money_{case}")
        assert told.effects.total == told.difference == difference
        assert sum(one.effects.total for one in told.changes) == difference
        assert told.hours.total_h == pytest.approx(
            getattr(second, f"labour_{case}_h") - getattr(first, f"labour_{case}_h")
        )
    by_key = {one.key: one for one in compared.hold(
        compared.kept(first, rows_of(first)), compared.kept(second, rows_of(second))
    ).comparison.changes}  # fmt: skip
    lay = by_key["lay"].effects
    assert lay.quantity > 0 and lay.output > 0 and lay.price == 0
    stone = by_key["stone"].effects
    assert stone.quantity > 0 and stone.output == 0 and stone.price > 0
    assert by_key["set-out"].effects.price == 0 < by_key["set-out"].effects.quantity
    assert by_key["make-good"].effects.lines != 0  # a price a day against hours of the crew
    words = text_of(
        as_committee.get(url("compare", cast, works.carrier.uuid) + "?from=1&to=2&case=likely")
    )
    for expected in ("Lines that differ", "Crane for a day", "250.0 → 280.0 m", "All lines"):
        assert expected in words
    assert "worked out now, not kept" not in words


def test_figures_behind_the_lines_are_told(works, cast):
    first = build_estimate(item=works.carrier, by=cast.manager)
    set_parameters(item=works.carrier, parameters={"pipe_mm": 375}, by=cast.manager)
    told = held_now(works.carrier).held
    assert any(one.now == "375" and one.was == "300" for one in told.figures)
    assert told.comparison.money_before == first.money_likely


def test_an_item_without_an_estimate_is_told_so(works, cast, as_committee):
    words = text_of(as_committee.get(url("compare", cast, works.carrier.uuid)))
    assert "No estimate yet" in words
    assert as_committee.get(url("compare", cast, works.carrier.uuid) + "?part").status_code == 200
    assert as_committee.get(url("hands", cast, works.carrier.uuid)).status_code == 200
    odd = url("compare", cast, works.carrier.uuid) + "?from=x&to=99&case=best"
    build_estimate(item=works.carrier, by=cast.manager)
    assert as_committee.get(odd).status_code == 200


# ----- then and now


def test_a_changed_invert_says_what_moved_and_what_it_would_do(works, cast, flat, as_committee):
    """Both inverts 0.40 m deeper: the mean depth too, so dig and hours grow; nothing is kept."""
    first = build_estimate(item=works.carrier, by=cast.manager)
    approve(works, cast)
    set_reach(feature=works.pipe, by=cast.manager, upstream_invert_m=39.6, downstream_invert_m=37.6)
    told = held_now(works.carrier)
    words = [one.words for one in told.moved]
    assert "Pipe C1: upper invert was 40.00, is now 39.60 m (-0.40)" in words
    assert "Pipe C1: lower invert was 38.00, is now 37.60 m (-0.40)" in words
    assert any("was 2.00, is now 2.40 m (+0.40)" in one for one in words)
    comparison = told.held.comparison
    assert comparison.effects.price == comparison.effects.output == 0
    assert comparison.hours.quantity_h > 0
    page = url("item", cast, works.carrier.uuid)
    assert "upper invert was 40.00, is now 39.60" in text_of(as_committee.get(page))
    part = text_of(as_committee.get(url("compare", cast, works.carrier.uuid) + "?part"))
    now = told.held.after
    assert f"{now.labour_h.likely:,.1f} h" in part and f"£{now.money.likely:,.0f}" in part
    assert "until a new revision is made" in part
    before = (first.money_likely, first.labour_likely_h)
    first.refresh_from_db()
    assert (first.money_likely, first.labour_likely_h, first.is_live) == (*before, True)
    again = build_estimate(item=works.carrier, by=cast.manager, new_revision=True)
    assert again.money_likely - before[0] == comparison.difference
    assert again.labour_likely_h - before[1] == pytest.approx(comparison.hours.total_h)
    assert compared.out_of_date([works.carrier])[0].would_change is False


def test_programme_and_project_tell_their_estimates_out_of_date(works, cast, as_committee):
    for item in (works.carrier, works.tee_item):
        build_estimate(item=item, by=cast.manager)
    pages = (
        url("out-of-date", cast, works.programme.uuid),
        url("out-of-date-project", cast, works.project.uuid),
    )
    for page in pages:
        assert "Every estimate stands" in text_of(as_committee.get(page))
        assert text_of(as_committee.get(page + "?part")) == ""
    move(works.pipe, LineString([(400000, 300000), (400000, 300280)]), cast.manager)
    told = held_now(works.carrier).held
    for page in pages:
        words = text_of(as_committee.get(page))
        assert "length along the line was 250.00, is now 280.00 m (+30.00)" in words
        assert f"+{told.more_money:,.2f}" in words and f"+{told.more_h:,.1f}" in words
        assert "Rebuild tee 8" not in words
        assert f"+{told.more_money:,.2f}" in text_of(as_committee.get(page + "?part"))
    for page in (url("programme", cast), url("project", cast, works.project.uuid)):
        words = text_of(as_committee.get(page))
        assert "1 estimate is out of date" in words and "What moved and what it would do" in words


def test_what_can_no_longer_be_worked_out_is_told(works, cast, as_committee):
    build_estimate(item=works.carrier, by=cast.manager)
    move(works.pipe, LineString([(400000, 300000), (400000, 300280)]), cast.manager)
    EstimateLine.objects.update(price=None)
    Price.objects.get(club=cast.club, code="stone-single_size").delete()
    told = held_now(works.carrier)
    assert told.held is None and "no entry 'stone-single_size'" in told.cannot
    for page in (
        url("out-of-date", cast, works.programme.uuid),
        url("compare", cast, works.carrier.uuid),
        url("compare", cast, works.carrier.uuid) + "?part",
    ):
        assert "stone-single_size" in text_of(as_committee.get(page))


def slower_and_dearer(works, cast):
    reprice(works, cast, "stone-single_size", "40.00")
    rate = OutputRate.objects.get(club=cast.club, code="lay_carrier")
    rate.low, rate.likely, rate.high = Decimal(2), Decimal(4), Decimal(6)
    save_record(rate, by=cast.manager)


def test_what_moved_by_quantity_is_told_apart_from_rates_and_prices(works, cast, as_committee):
    """30 m more of pipe, laid more slowly on dearer stone: the pipe that moved is told its own."""
    build_estimate(item=works.carrier, by=cast.manager)
    approve(works, cast)
    move(works.pipe, LineString([(400000, 300000), (400000, 300280)]), cast.manager)
    alone = held_now(works.carrier).held
    for page in (
        url("out-of-date", cast, works.programme.uuid) + "?part",
        url("out-of-date-project", cast, works.project.uuid),
    ):
        words = text_of(as_committee.get(page))
        assert "by quantity" in words and "rates and prices" not in words
    slower_and_dearer(works, cast)
    told = held_now(works.carrier)
    quantity, rates = told.parts
    assert quantity.money == alone.more_money
    assert quantity.hours_h == pytest.approx(alone.more_h)
    assert rates.money == told.held.more_money - alone.more_money > 0
    assert rates.hours_h == pytest.approx(told.held.more_h - alone.more_h)
    first = f'+{quantity.money:,.2f}</span> by quantity, <span class="fig">+{rates.hours_h:,.1f} h'
    for page in (
        url("out-of-date", cast, works.programme.uuid) + "?part",
        url("out-of-date-project", cast, works.project.uuid),
    ):
        words = text_of(as_committee.get(page))
        assert first in words
        assert f"+{rates.money:,.2f}</span> by output rates and prices" in words
        assert f"+{told.held.more_money:,.2f} GBP" in words


def test_approved_estimates_that_differ_by_rates_alone_are_counted(works, cast, as_committee):
    for item in (works.carrier, works.tee_item):
        build_estimate(item=item, by=cast.manager)
    pages = (url("programme", cast), url("project", cast, works.project.uuid))
    addresses = (
        url("out-of-date", cast, works.programme.uuid),
        url("out-of-date-project", cast, works.project.uuid),
    )
    slower_and_dearer(works, cast)
    for page, address in zip(pages, addresses, strict=True):
        assert "?rates" not in text_of(as_committee.get(page))  # nothing is approved
        assert text_of(as_committee.get(address + "?rates")) == ""
    for item in (works.carrier, works.tee_item):
        build_estimate(item=item, by=cast.manager)
    approve(works, cast)
    reprice(works, cast, "stone-single_size", "41.00")
    more = held_now(works.carrier).held.more_money
    for page, address in zip(pages, addresses, strict=True):
        words = text_of(as_committee.get(page))
        assert f'data-part="{address}?rates"' in words and "js/parts.js" in words
        assert "out of date</b>" not in words
        with CaptureQueriesContext(connection) as taken:
            part = text_of(as_committee.get(address + "?rates"))
        assert len(taken) <= 15
        assert "1 approved estimate would differ although no feature of its changed" in part
        assert "by output rates or prices alone" in part and f"+{more:,.2f} GBP" in part
        assert text_of(as_committee.get(address + "?part")) == ""
        words = text_of(as_committee.get(address))
        assert 'id="beside"' in words and "Lay C1" in words and "Rebuild tee 8" not in words
    move(works.pipe, LineString([(400000, 300000), (400000, 300280)]), cast.manager)
    for address in addresses:
        assert text_of(as_committee.get(address + "?rates")) == ""  # now it is out of date


def test_it_opens_on_two_revisions_where_now_is_the_live_one(works, cast, as_committee):
    build_estimate(item=works.carrier, by=cast.manager)
    address = url("compare", cast, works.carrier.uuid)
    assert "No line differs" in text_of(as_committee.get(address))  # there is one revision alone
    approve(works, cast)
    move(works.pipe, LineString([(400000, 300000), (400000, 300280)]), cast.manager)
    build_estimate(item=works.carrier, by=cast.manager, new_revision=True)
    words = text_of(as_committee.get(address))
    assert "250.0 → 280.0 m" in words and "no line would differ from revision 2" in words
    assert '<option value="1" selected>' in words and '<option value="2" selected>' in words
    asked = text_of(as_committee.get(address + "?from=2&to=now"))
    assert "No line differs" in asked and "280.0 m" not in asked
    assert text_of(as_committee.get(address + "?part")) == ""
    reprice(works, cast, "stone-single_size", "40.00")
    words = text_of(as_committee.get(address))
    assert "worked out now, not kept" in words and "250.0 → 280.0 m" not in words


# ----- large


def with_lines(item, count, by):
    """The item's estimate with lines up to ``count``, each with its price, output and working."""
    estimate = build_estimate(item=item, by=by)
    lines = rows_of(estimate)
    more = []
    for number in range(count - len(lines)):
        row = EstimateLine.objects.get(pk=lines[number % len(lines)].pk)
        row.pk, row.uuid, row.step = None, None, f"more-{number}"
        row.uuid = EstimateLine._meta.get_field("uuid").get_default()
        row.order = 100 + number
        more.append(row)
    EstimateLine.objects.bulk_create(more)
    return estimate


def test_an_item_with_400_lines_takes_twelve_queries(works, cast, flat, as_manager):
    estimate = with_lines(works.carrier, 400, cast.manager)
    assert estimate.lines.count() == 400
    move(works.pipe, LineString([(400000, 300000), (400000, 300280)]), cast.manager)
    for page in (
        url("item", cast, works.carrier.uuid),
        url("hands", cast, works.carrier.uuid) + "?part",
        url("compare", cast, works.carrier.uuid) + "?part",
        url("compare", cast, works.carrier.uuid),
    ):
        with CaptureQueriesContext(connection) as taken:
            answer = as_manager.get(page)
        assert answer.status_code == 200
        assert len(taken) <= 12, page
    assert text_of(as_manager.get(url("item", cast, works.carrier.uuid))).count("line-row") == 400
