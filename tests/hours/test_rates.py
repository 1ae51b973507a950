"""Learnt rates: evidence from entries, what the manager says of it, use in estimates and forecasts."""

from __future__ import annotations

import uuid
from datetime import date, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from tests.cast import Cast
from tests.hours.conftest import TODAY, Site, estimate
from worksprog.clubs.models import Change
from worksprog.clubs.records import save_record
from worksprog.hours.models import EvidenceWord
from worksprog.hours.queries import earned_value, progress_of_items
from worksprog.hours.queries.calibration import accuracy
from worksprog.hours.queries.evidence import read_jobs
from worksprog.hours.queries.rates import learnt_rates, rates_of
from worksprog.hours.services import Worked, log_sheet, query_hours
from worksprog.hours.services_rates import adopt_rate, say_of_evidence
from worksprog.planning.bridge import read_facts
from worksprog.works.models import Estimate, Item, ItemState, LearntRate
from worksprog.works.queries import book_hours
from worksprog.works.services import (
    build_estimate,
    create_item,
    go_back_to_book,
    load_default_price_book,
    use_learnt_rate,
)

pytestmark = pytest.mark.django_db
KIND = "carrier_pipe"


def another(site: Site, name: str, *, hours: float = 100, quantity: float = 50) -> Item:
    item = create_item(phase=site.carrier.phase, kind=KIND, name=name, by=site.cast.manager)
    estimate(item, by=site.cast.manager, quantity=quantity, unit="m", hours=hours, money="900")
    return item


def finish(item: Item, on: date = TODAY) -> Item:
    item.state, item.started_on, item.finished_on = ItemState.DONE, on - timedelta(days=9), on
    return save_record(item, by=None)


def work(
    site: Site, item: Item, hours: float, *, quantity: float | None = None, back: int = 0
) -> None:
    """Hours in days of 8, the quantity on the last of them, ``back`` days ago."""
    day, sheet = TODAY - timedelta(days=back), []
    while hours > 0:
        now = min(hours, 8)
        sheet.append(Worked(site.person(), uuid.uuid4(), day, now, item=item, quantity=quantity))
        hours, quantity, day = hours - now, None, day - timedelta(days=1)
    log_sheet(club=site.cast.club, sheet=sheet, by=site.cast.manager, today=TODAY)


@pytest.fixture
def learnt_site(site: Site) -> Site:
    """Two finished carriers at 1.2 and 1.3 of the book, one half done."""
    for n, ratio in enumerate((1.2, 1.3)):
        item = another(site, f"Old drain {n}", hours=100)
        work(site, item, ratio * 100, quantity=50, back=25 + 40 * n)
        finish(item, TODAY - timedelta(days=20 + 40 * n))
    return site


def test_quantity_of_one_person_answers_for_the_gangs_hours(site: Site) -> None:
    site.log(hours=8, quantity=20)
    site.log(site.cast.manager, hours=8)
    (one,) = [job for job in read_jobs(site.cast.club)[KIND] if job.item == site.carrier]
    assert one.evidence is not None
    assert one.evidence.whole is not None
    assert (one.evidence.whole.hours, one.evidence.whole.gang) == (16, 2)
    assert one.evidence.share == pytest.approx(20 / 180)
    assert one.evidence.ratio == pytest.approx(16 / 60)


def test_shared_days_queried_hours_and_long_days_are_told(site: Site) -> None:
    tee_h = site.log(item=site.tee, hours=8)
    site.log(hours=7, quantity=10)
    site.log(hours=2, worked_on=TODAY - timedelta(days=1))
    site.log(hours=2, worked_on=TODAY - timedelta(days=1))
    asked = site.log(hours=6, worked_on=TODAY - timedelta(days=2))
    query_hours(entry=asked, by=site.cast.manager, reason="Sure?")
    (one,) = [job for job in read_jobs(site.cast.club)[KIND] if job.item == site.carrier]
    assert one.evidence is not None
    assert one.evidence.job.shared_days == 1
    words = " ".join(doubt.words for doubt in one.evidence.doubts)
    assert "15 h on 24 Nov 2026" in words
    assert "logged the same twice on 23 Nov 2026, 4 h together" in words
    assert "6 h are in question" in words
    assert one.evidence.hours == 11, "what is in question does not count"
    assert tee_h.item == site.tee


def test_kinds_learn_apart_and_contractors_teach_nothing(learnt_site: Site) -> None:
    site = learnt_site
    rows = {row.kind: row for row in learnt_rates(site.cast.club)}
    assert len(rows[KIND].learnt.judged) == 2
    assert rows[KIND].learnt.crew_ratio == pytest.approx((1.2 * 1.3) ** 0.5)
    assert not rows["tee_rebuild"].has_evidence
    for item in Item.objects.filter(kind=KIND, state=ItemState.DONE):
        item.by_contractor = True
        save_record(item, by=None)
    assert not rates_of(site.cast.club, KIND).has_evidence  # type: ignore[union-attr]


def test_queries_do_not_grow_with_jobs(learnt_site: Site, django_assert_max_num_queries) -> None:
    with django_assert_max_num_queries(9):
        learnt_rates(learnt_site.cast.club)


def test_a_job_is_left_out_with_a_reason_and_taken_in_again(learnt_site: Site) -> None:
    club, by = learnt_site.cast.club, learnt_site.cast.manager
    item = Item.objects.get(name="Old drain 1")
    before = rates_of(club, KIND)
    say_of_evidence(item=item, what="left_out", words="Pumped for two days", by=by)
    without = rates_of(club, KIND)
    assert before and without
    assert len(without.learnt.judged) == 1
    assert without.learnt.left_out
    with pytest.raises(ValidationError, match="is left out already: “Pumped for two days”"):
        say_of_evidence(item=item, what="left_out", words="again", by=by)
    with pytest.raises(ValidationError, match="Say why"):
        say_of_evidence(item=item, what="taken_in", words="  ", by=by)
    say_of_evidence(item=item, what="taken_in", words="It was the usual ground", by=by)
    again = rates_of(club, KIND)
    assert again
    assert again.learnt.next.median == pytest.approx(before.learnt.next.median)
    words = EvidenceWord.objects.filter(item=item)
    assert [one.what for one in words] == ["left_out", "taken_in"]
    with pytest.raises(ValidationError, match="kept as it is"):
        words[0].delete()
    with pytest.raises(ValidationError, match="kept as it is"):
        words.update(words="other")
    assert Change.objects.filter(kind="evidenceword").count() == 2


def test_rate_is_taken_into_use_and_moves_estimates_and_forecasts(learnt_site: Site) -> None:
    site = learnt_site
    club, by = site.cast.club, site.cast.manager
    load_default_price_book(club=club, by=by, dated=date(2026, 2, 2))
    item = create_item(phase=site.carrier.phase, kind=KIND, name="Next drain", by=by,
                       parameters={"length_m": 100.0, "mean_depth_m": 1.1})  # fmt: skip
    by_book = build_estimate(item=item, by=by)
    book_h, book_money = by_book.labour_likely_h, by_book.money_likely
    assert by_book.learnt == {}
    work(site, site.carrier, 48, quantity=18)
    plain = progress_of_items(site.programme, TODAY)[site.carrier.pk]
    assert plain.forecast_h == pytest.approx(480)
    assert plain.forecast_by == "at its own pace"
    left = {one.item.pk: one.left_h for one in read_facts(site.programme, TODAY).items}

    row = adopt_rate(club=club, kind=KIND, as_of=TODAY, by=by)
    assert row.factor_low < row.factor_likely < row.factor_high
    assert row.posterior["working"][-1]["value"]
    assert build_estimate(item=item, by=by).pk == by_book.pk
    learnt = Estimate.objects.get(pk=by_book.pk)
    assert learnt.labour_likely_h == pytest.approx(book_h * row.factor_likely)
    assert learnt.money_likely > book_money
    assert learnt.learnt["rate"] == str(row.uuid)
    told = book_hours([learnt])[learnt.pk]
    assert told.likely == pytest.approx(book_h)
    assert told.low == pytest.approx(by_book.labour_low_h)
    line = learnt.lines.get(step="lay")
    assert any("learnt from" in step["source"] for step in line.working)
    assert line.output_likely == pytest.approx(4.5 / row.factor_likely)

    moved = progress_of_items(site.programme, TODAY)[site.carrier.pk]
    assert moved.forecast_h == pytest.approx(48 + 540 * 0.9 * row.factor_likely)
    assert moved.forecast_by == "rest by the learnt rate"
    value = {one.item.pk: one for one in earned_value(site.programme, TODAY).items}
    assert value[site.carrier.pk].forecast_h == moved.forecast_h
    after = {one.item.pk: one.left_h for one in read_facts(site.programme, TODAY).items}
    assert after[site.carrier.pk] == pytest.approx(left[site.carrier.pk] * row.factor_likely)
    assert after[item.pk] == pytest.approx(book_h * row.factor_likely)

    go_back_to_book(rate=row, by=by)
    build_estimate(item=item, by=by)
    assert Estimate.objects.get(pk=by_book.pk).labour_likely_h == pytest.approx(book_h)
    assert LearntRate.objects.get(pk=row.pk).in_use is False


def test_a_finished_job_is_estimated_by_the_book_it_taught(learnt_site: Site) -> None:
    club, by = learnt_site.cast.club, learnt_site.cast.manager
    adopt_rate(club=club, kind=KIND, as_of=TODAY, by=by)
    again = adopt_rate(club=club, kind=KIND, as_of=TODAY, by=by)
    assert LearntRate.objects.filter(club=club, kind=KIND).count() == 2
    assert LearntRate.objects.get(in_use=True) == again
    load_default_price_book(club=club, by=by, dated=date(2026, 2, 2))
    item = Item.objects.get(name="Old drain 0")
    item.parameters = {"length_m": 50.0, "mean_depth_m": 1.1}
    save_record(item, by=by)
    assert build_estimate(item=item, by=by).learnt == {}


def test_approved_estimate_stays_and_its_forecast_goes_by_the_learnt_rate(
    learnt_site: Site,
) -> None:
    site = learnt_site
    live = Estimate.objects.get(item=site.carrier)
    live.approved_on = TODAY
    save_record(live, by=None)
    row = adopt_rate(club=site.cast.club, kind=KIND, as_of=TODAY, by=site.cast.manager)
    live.refresh_from_db()
    assert live.labour_likely_h == 540
    one = progress_of_items(site.programme, TODAY)[site.carrier.pk]
    assert one.forecast_h == pytest.approx(540 * row.factor_likely)
    rates = rates_of(site.cast.club, KIND)
    assert rates
    (job,) = [job for job in rates.open_jobs if job.facts.item == site.carrier]
    assert job.middle == pytest.approx(540 * row.factor_likely)
    assert job.low < job.middle < job.high


def test_hours_since_the_last_quantity_are_part_of_the_rest(learnt_site: Site) -> None:
    site = learnt_site
    work(site, site.carrier, 48, quantity=18, back=3)
    site.log(hours=8)
    rates = rates_of(site.cast.club, KIND)
    assert rates
    (job,) = [job for job in rates.open_jobs if job.facts.item == site.carrier]
    assert (job.reported_h, job.waiting_h) == (48, 8)
    assert job.rest_book_h == pytest.approx(540 * 0.9)
    assert job.middle == pytest.approx(48 + 540 * 0.9 * rates.learnt.next.median)


def test_nothing_to_take_into_use_is_refused(site: Site) -> None:
    with pytest.raises(ValidationError, match="only the book"):
        adopt_rate(club=site.cast.club, kind=KIND, as_of=TODAY, by=site.cast.manager)
    with pytest.raises(ValidationError, match="must rise"):
        use_learnt_rate(club=site.cast.club, kind=KIND, factors=(1.2, 1.1, 1.3), posterior={},
                        as_of=TODAY, by=site.cast.manager)  # fmt: skip


def test_accuracy_goes_by_the_estimate_work_began_with(learnt_site: Site) -> None:
    club = learnt_site.cast.club
    for row in Estimate.objects.filter(item__state=ItemState.DONE):
        row.labour_low_h, row.labour_high_h = 80, 140
        row.labour_mean_h, row.labour_sd_h = 105, 12
        save_record(row, by=None)
    told = accuracy(club)
    assert told.calibration.count == 2
    assert told.calibration.inside == 1, "1.2 is inside, 1.3 is over 105 + 1.28 × 12"
    (outside,) = told.outside
    assert outside.outcome.side == "over"
    assert outside.outcome.p90 == pytest.approx(105 + 1.2815516 * 12)
    row = Estimate.objects.get(item=outside.facts.item)
    row.simulated = {"hours": {"P10": 90, "P50": 110, "P80": 125, "P90": 135}}
    save_record(row, by=None)
    again = accuracy(club)
    assert again.calibration.inside == 2
    assert {one.by.split(";")[0] for one in again.told} == {
        "simulated",
        "mean and spread, normal approximation",
    }
    say_of_evidence(
        item=outside.facts.item, what="left_out", words="x", by=learnt_site.cast.manager
    )
    assert accuracy(club).calibration.count == 1


# Pages


def test_pages_say_what_was_learnt(learnt_site: Site, client) -> None:
    cast: Cast = learnt_site.cast
    client.force_login(cast.manager)
    page = client.get(reverse("hours:rates", args=[cast.club.slug])).content.decode()
    assert "Carrier pipe" in page
    assert "tee rebuild" in page
    at = reverse("hours:rate", args=[cast.club.slug, KIND])
    page = client.get(at).content.decode()
    for words in ("The book said", "Old drain 1", "Leave it out", "Show the arithmetic", "Use 1."):
        assert words in page
    item = Item.objects.get(name="Old drain 1")
    say = reverse("hours:evidence", args=[cast.club.slug, item.uuid])
    client.post(say, {"what": "left_out", "words": "Rock all the way", "back": at})
    page = client.get(at).content.decode()
    assert "Rock all the way" in page
    assert "Take it in again" in page
    assert client.post(say, {"what": "left_out", "words": ""}, follow=True).status_code == 200
    assert EvidenceWord.objects.count() == 1
    client.post(reverse("hours:adopt-rate", args=[cast.club.slug, KIND]))
    assert LearntRate.objects.get().in_use
    assert "In use since" in client.get(at).content.decode()
    client.post(reverse("hours:give-up-rate", args=[cast.club.slug, KIND]))
    assert not LearntRate.objects.get().in_use
    page = client.get(reverse("hours:calibration", args=[cast.club.slug])).content.decode()
    assert "1 finished job" in page
    assert "Rock all the way" in page
    assert client.get(reverse("hours:rate", args=[cast.club.slug, "none"])).status_code == 404


def test_the_book_is_told_once_and_stays_when_a_job_is_left_out(learnt_site: Site, client) -> None:
    cast: Cast = learnt_site.cast
    for n, row in enumerate(Estimate.objects.filter(item__kind=KIND)):
        row.labour_low_h, row.labour_high_h = 0.7 * row.labour_likely_h, (1.5 + n / 9) * 100
        row.labour_high_h = max(row.labour_high_h, row.labour_likely_h)
        save_record(row, by=None)
    client.force_login(cast.manager)
    at = reverse("hours:rate", args=[cast.club.slug, KIND])
    before = rates_of(cast.club, KIND)
    assert before
    says = before.learnt.book_says
    one, other = f"{says.p10:.2f}", f"{says.p90:.2f}"
    page = client.get(at).content.decode()
    assert f"8 in 10 between {one} and {other} of that" in page
    assert f"{one} and {other}</td>" in page, "the arithmetic says the same"
    assert f"{before.learnt.book.high:.2f} of that" not in page
    heads = client.get(reverse("hours:rates", args=[cast.club.slug])).content.decode()
    assert "Book, 8 in 10 between" in heads
    assert f"{one} to {other}</td>" in heads
    assert "estimates of all 3 jobs of this kind" in page
    say_of_evidence(item=Item.objects.get(name="Old drain 1"), what="left_out", words="Rock",
                    by=cast.manager)  # fmt: skip
    after = rates_of(cast.club, KIND)
    assert after
    assert after.learnt.book == before.learnt.book
    assert after.learnt.prior.b == before.learnt.prior.b
    page = client.get(at).content.decode()
    assert f"8 in 10 between {one} and {other} of that" in page
    assert "estimates of all 3 jobs of this kind" in page


def test_calibration_tells_the_count_with_and_without_what_is_left_out(
    learnt_site: Site, client
) -> None:
    cast: Cast = learnt_site.cast
    for row in Estimate.objects.filter(item__state=ItemState.DONE):
        row.labour_low_h, row.labour_high_h = 80, 140
        row.labour_mean_h, row.labour_sd_h = 105, 12
        save_record(row, by=None)
    client.force_login(cast.manager)
    at = reverse("hours:calibration", args=[cast.club.slug])
    assert "left out:" not in client.get(at).content.decode()
    (missed,) = accuracy(cast.club).outside
    say_of_evidence(item=missed.facts.item, what="left_out", words="x", by=cast.manager)
    told = accuracy(cast.club)
    assert (told.calibration.inside, told.calibration.count) == (1, 1)
    assert (told.with_left_out.inside, told.with_left_out.count) == (1, 2)
    assert told.words.endswith("With the job left out as evidence it is 1 of 2.")
    page = client.get(at).content.decode()
    assert "1 of 1" in page
    assert "with the 1 left out: 1 of 2, 50 %" in page
    assert "with the 1 left out: 1 over, 0 under" in page


def test_a_reader_sees_and_changes_nothing(learnt_site: Site, client) -> None:
    cast: Cast = learnt_site.cast
    client.force_login(cast.committee)
    page = client.get(reverse("hours:rate", args=[cast.club.slug, KIND])).content.decode()
    assert "Leave it out" not in page
    assert "from now on" not in page
    assert client.post(reverse("hours:adopt-rate", args=[cast.club.slug, KIND])).status_code == 403


def test_an_empty_club_is_told_what_goes_here(cast: Cast, client) -> None:
    client.force_login(cast.manager)
    assert (
        b"No hours are logged" in client.get(reverse("hours:rates", args=[cast.club.slug])).content
    )
    page = client.get(reverse("hours:calibration", args=[cast.club.slug])).content
    assert b"No finished job" in page
