"""Files that wait: what they would do, taken once, and only as they were seen."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import date
from decimal import Decimal
from threading import Barrier

import pytest
from django.core.exceptions import ValidationError
from django.db import connections

from worksprog.works.models import BookVersion, OutputRate, Price, PriceDraft
from worksprog.works.queries.prices import preview_of, versions_of, waiting_drafts
from worksprog.works.services import (
    BookMoved,
    accept_price_draft,
    build_estimate,
    drop_price_draft,
    keep_version,
    load_default_price_book,
    read_price_draft,
    set_output_rate,
    set_price,
)

HEAD = "what,category,code,name,unit,low,likely,high,source,dated\n"
ROWS = (
    "price,material,turf-tee,Tee turf,m²,4.00,5.00,6.00,Quote of 3 Oct,2026-10-03\n"
    "output,,lay_turf,Lay turf,m²,10,14,20,our own log,2026-10-03\n"
    "price,plant,plant-dumper,Dumper,h,8,9.5,12,,2026-10-03\n"
)


def drafted(cast, rows=ROWS, head=HEAD) -> PriceDraft:
    return read_price_draft(
        club=cast.club, data=(head + rows).encode(), file_name="autumn.csv", by=cast.manager
    )


def reprice(cast, code, to, **more):
    price = Price.objects.get(club=cast.club, code=code)
    facts = {
        "category": price.category,
        "name": price.name,
        "unit": price.unit,
        "low": Decimal(to),
        "likely": Decimal(to),
        "high": Decimal(to),
        "dated": date(2026, 10, 1),
    }
    return set_price(club=cast.club, code=code, by=cast.committee, **{**facts, **more})


def test_reading_changes_nothing_and_shows_everything(works, cast):
    before = Price.objects.get(club=cast.club, code="turf-tee")
    versions = BookVersion.objects.filter(club=cast.club).count()
    preview = preview_of(drafted(cast))
    assert (len(preview.added), len(preview.changed), preview.refused) == (1, 2, [])
    assert preview.words == "1 added, 2 changed"
    turf = next(one for one in preview.changed if one.entry["code"] == "turf-tee")
    likely = next(move for move in turf.moves if move.name == "likely")
    assert (likely.was, likely.now) == (f"{before.likely:.2f}", "5.00")
    assert turf.share == pytest.approx(float(Decimal(5) / before.likely - 1))
    assert Price.objects.get(club=cast.club, code="turf-tee").likely == before.likely
    assert BookVersion.objects.filter(club=cast.club).count() == versions


def test_accepting_puts_it_in_confirmed_and_keeps_a_version(works, cast):
    draft = drafted(cast)
    taken = accept_price_draft(draft=draft, seen=preview_of(draft).seen, by=cast.manager)
    turf = Price.objects.get(club=cast.club, code="turf-tee")
    assert (turf.likely, turf.is_confirmed, turf.dated) == (
        Decimal("5.00"),
        True,
        date(2026, 10, 3),
    )
    assert turf.trend is not None, "the file has no column for it, so it stays"
    assert OutputRate.objects.get(club=cast.club, code="lay_turf").likely == 14
    assert Price.objects.get(club=cast.club, code="plant-dumper").likely == Decimal("9.50")
    assert not taken.was_taken_before
    assert taken.version == versions_of(cast.club).first()
    assert taken.version.words == "autumn.csv: 1 added, 2 changed"
    assert not waiting_drafts(cast.club).exists()


def test_a_double_click_takes_it_once(works, cast):
    draft = drafted(cast)
    seen = preview_of(draft).seen
    first = accept_price_draft(draft=draft, seen=seen, by=cast.manager)
    again = accept_price_draft(draft=draft, seen=seen, by=cast.manager)
    assert again.was_taken_before
    assert again.version == first.version
    assert BookVersion.objects.filter(club=cast.club, words__startswith="autumn").count() == 1
    with pytest.raises(ValidationError, match="stays on the record"):
        drop_price_draft(draft=PriceDraft.objects.get(pk=draft.pk), by=cast.manager)


@pytest.mark.django_db(transaction=True)
def test_two_people_accept_at_the_same_moment(works, cast):
    draft = drafted(cast)
    seen = preview_of(draft).seen
    ready = Barrier(2)

    def take(by):
        ready.wait(timeout=30)
        try:
            return accept_price_draft(draft=draft, seen=seen, by=by).was_taken_before
        finally:
            connections.close_all()

    with ThreadPoolExecutor(2) as pool:
        answers = list(pool.map(take, (cast.manager, cast.committee)))
    assert sorted(answers) == [False, True]
    assert BookVersion.objects.filter(club=cast.club, words__startswith="autumn").count() == 1
    assert Price.objects.filter(club=cast.club, code="plant-dumper").count() == 1


def test_somebody_elses_change_in_between_is_noticed(works, cast):
    draft = drafted(cast)
    seen = preview_of(draft).seen
    reprice(cast, "turf-tee", "7.77")
    with pytest.raises(BookMoved, match="look again"):
        accept_price_draft(draft=draft, seen=seen, by=cast.manager)
    assert Price.objects.get(club=cast.club, code="turf-tee").likely == Decimal("7.77")
    preview = preview_of(draft)
    turf = next(one for one in preview.changed if one.entry["code"] == "turf-tee")
    assert "7.77" in {move.was for move in turf.moves}
    accept_price_draft(draft=draft, seen=preview.seen, by=cast.manager)
    assert Price.objects.get(club=cast.club, code="turf-tee").likely == Decimal("5.00")


def test_a_change_of_what_the_file_does_not_touch_does_not_matter(works, cast):
    draft = drafted(cast)
    seen = preview_of(draft).seen
    reprice(cast, "stone-single_size", "40")
    accept_price_draft(draft=draft, seen=seen, by=cast.manager)
    assert Price.objects.get(club=cast.club, code="stone-single_size").likely == 40


def test_refused_rows_must_be_left_out_knowingly(works, cast):
    rows = ROWS + "price,material,x,Sand,t,3,2,1,,2026-10-03\n"
    draft = drafted(cast, rows)
    preview = preview_of(draft)
    assert [(one.number, one.code) for one in preview.refused] == [(5, "x")]
    with pytest.raises(ValidationError, match="to be left out"):
        accept_price_draft(draft=draft, seen=preview.seen, by=cast.manager)
    taken = accept_price_draft(
        draft=draft, seen=preview.seen, by=cast.manager, leave_out_refused=True
    )
    assert taken.words == "1 added, 2 changed, 1 left out"
    assert not Price.objects.filter(club=cast.club, code="x").exists()


def test_what_the_book_alone_can_tell_is_refused_too(works, cast):
    head = "what,category,code,name,unit,low,likely,high,wage,on_cost_percent,trend,dated\n"
    draft = drafted(
        cast,
        "price,labour,g1,Grade 1,h,15,,25,14.00,30,wages,2026-10-01\n"
        "price,labour,g2,Grade 2,h,15,20,25,14.00,30,wages,2026-10-01\n"
        "price,labour,g3,Grade 3,h,15,18.20,25,14.00,,wages,2026-10-01\n"
        "price,material,m,Stone,t,15,18.20,25,14.00,30,,2026-10-01\n"
        "price,labour,g4,Grade 4,h,15,18.20,25,,,salaries,2026-10-01\n"
        "price,labour,g5,Grade 5,h,19,,25,14.00,30,wages,2026-10-01\n",
        head,
    )
    preview = preview_of(draft)
    assert [(number, entry["likely"]) for number, entry in preview.added] == [(2, "18.20")]
    reasons = {one.code: one.reason for one in preview.refused}
    assert "comes to 18.20, not 20.00" in reasons["g2"]
    assert "A wage has its on-cost" in reasons["g3"]
    assert "Only prices of labour and contractor have one" in reasons["m"]
    assert "the book has no “salaries”; expected is one of contractors, machines" in reasons["g4"]
    assert "must rise" in reasons["g5"]


def test_the_same_file_again_changes_nothing(works, cast):
    first = drafted(cast)
    accept_price_draft(draft=first, seen=preview_of(first).seen, by=cast.manager)
    again = drafted(cast)
    preview = preview_of(again)
    assert (preview.is_empty, preview.same) == (True, 3)
    with pytest.raises(ValidationError, match="changes nothing"):
        accept_price_draft(draft=again, seen=preview.seen, by=cast.manager)
    drop_price_draft(draft=again, by=cast.manager)
    assert not PriceDraft.objects.filter(pk=again.pk).exists()


def test_what_needs_a_second_look_is_said(works, cast):
    draft = drafted(
        cast,
        "price,material,turf-tee,Tee turf,t,4,5,6,,2026-10-03\n"
        "price,material,stone-single_size,Stone,t,90,100,110,,2026-10-03\n"
        "price,material,stone-sub_base,Base,t,22,26,33,,2020-10-03\n",
    )
    said = {one.entry["code"]: one.needs_eyes for one in preview_of(draft).changed}
    assert said == {
        "turf-tee": "the unit differs: every quantity priced by it changes its meaning",
        "stone-single_size": "moves by more than half",
        "stone-sub_base": "older than what the book has",
    }


def test_every_change_of_the_book_keeps_a_version_and_no_change_none(works, cast):
    assert [one.words for one in versions_of(cast.club)] == ["starting list"]
    reprice(cast, "turf-tee", "7.77")
    reprice(cast, "turf-tee", "7.77")
    set_output_rate(
        club=cast.club,
        code="lay_turf",
        name="Lay turf",
        unit="m²",
        low=Decimal(1),
        likely=Decimal("12.5"),
        high=Decimal(20),
        dated=date(2026, 10, 1),
        by=cast.manager,
    )
    listed = list(versions_of(cast.club))
    assert [one.number for one in listed] == [3, 2, 1]
    assert listed[1].words.endswith("→ 7.77")
    assert keep_version(club=cast.club, by=None, words="nothing new").number == 3


def test_a_version_is_never_changed(works, cast):
    version = versions_of(cast.club).get()
    version.words = "otherwise"
    for act in (version.save, version.delete, BookVersion.objects.all().delete):
        with pytest.raises(ValidationError, match="never changed"):
            act()
    with pytest.raises(ValidationError, match="never changed"):
        BookVersion.objects.update(words="otherwise")


def test_an_estimate_names_the_version_it_used(works, cast):
    first = build_estimate(item=works.carrier, by=cast.manager)
    assert first.book.number == 1
    reprice(cast, "pipe-twinwall-300", "30.00")
    first.refresh_from_db()
    assert first.book.number == 1, "what stands keeps its version"
    assert build_estimate(item=works.carrier, by=cast.manager).book.number == 2
    assert [(one.number, one.live_estimates) for one in versions_of(cast.club)] == [(2, 1), (1, 0)]


def test_a_book_changed_behind_the_services_still_gets_its_version(works, cast):
    Price.objects.filter(club=cast.club, code="turf-tee").update(likely=Decimal("4.99"))
    estimate = build_estimate(item=works.carrier, by=cast.manager)
    assert estimate.book.number == 2
    kept = {entry["code"]: entry for entry in estimate.book.entries}
    assert kept["turf-tee"]["likely"] == "4.99"


def test_clubs_keep_their_own_books(works, cast):
    load_default_price_book(club=cast.other_club, by=cast.stranger)
    reprice(cast, "turf-tee", "7.77")
    assert versions_of(cast.other_club).get().number == 1
    draft = drafted(cast)
    accept_price_draft(draft=draft, seen=preview_of(draft).seen, by=cast.manager)
    assert Price.objects.get(club=cast.other_club, code="turf-tee").likely != Decimal("5.00")


def test_prices_are_made_of_wage_and_hire(works, cast):
    grade = reprice(
        cast,
        "labour-crew",
        "19.14",
        likely=None,
        wage=Decimal("14.50"),
        on_cost_percent=Decimal("32"),
    )
    assert grade.likely == Decimal("19.14")
    machine = reprice(
        cast, "plant-excavator_5t", "25", likely=None, hire=Decimal("18"), fuel=Decimal("7")
    )
    assert machine.likely == Decimal("25.00")
    for parts, words in (
        ({"wage": Decimal(10)}, "has its on-cost"),
        ({"on_cost_percent": Decimal(10)}, "is missing"),
        ({"hire": Decimal(10)}, "Only prices of plant and haulage"),
        ({"likely": None}, "A likely price is expected"),
        ({"wage": Decimal(10), "on_cost_percent": Decimal(10), "likely": 99}, "comes to 11.00"),
    ):
        with pytest.raises(ValidationError, match=words):
            reprice(cast, "labour-crew", "20", **parts)
