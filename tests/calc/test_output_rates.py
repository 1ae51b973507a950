"""Learning hours a unit: evidence from logged days, the update, and whether ranges held."""

from __future__ import annotations

import datetime as dt
import itertools
import re
from dataclasses import replace
from math import exp, log

import numpy as np
import pytest

from tests.calc.test_build_up import book_for
from worksprog.calc.build_up import RECIPES, Book, CrewRate, Estimate, OutputRate, build_up
from worksprog.calc.output_rates import (
    Belief,
    Choice,
    DayLogged,
    JobEvidence,
    JobLogged,
    Outcome,
    Pace,
    Piece,
    calibrate,
    exact_limits,
    gather,
    learn,
    prior_of_book,
)
from worksprog.calc.ranges import ThreePoint

MONDAY = dt.date(2026, 9, 7)
BOOK = ThreePoint(0.7, 1.0, 1.5)


def day(
    n: int, hours: float, quantity: float = 0.0, *, people: int = 2, wet: float = 0.0
) -> DayLogged:
    return DayLogged(MONDAY + dt.timedelta(days=n), hours, people, quantity, hours * wet)


def job(
    *days: DayLogged,
    planned: float = 100.0,
    book_h: float = 100.0,
    finished: int | None = None,
    key: str = "a",
) -> JobLogged:
    return JobLogged(
        key=key,
        name=f"Job {key}",
        unit="m",
        planned=planned,
        book_h=ThreePoint(book_h * 0.7, book_h, book_h * 1.5),
        is_finished=finished is not None,
        finished_on=MONDAY + dt.timedelta(days=finished) if finished is not None else None,
        days=days,
    )


def done(ratio: float, key: str, *, people: int = 2, wet: float = 0.0) -> JobEvidence:
    """One finished job that took ``ratio`` of the book."""
    return gather(job(day(0, 100 * ratio, 100.0, people=people, wet=wet), finished=0, key=key))


# Evidence


def test_quantity_of_one_answers_for_the_hours_of_all_since_the_one_before() -> None:
    found = gather(job(day(0, 8), day(1, 16), day(2, 8, 40), day(3, 24, 60), finished=3))
    assert [(one.hours, one.quantity) for one in found.stretches] == [(32, 40), (24, 60)]
    assert found.stretches[0].first == MONDAY
    assert found.share == 1.0
    assert found.ratio == pytest.approx(0.56)


def test_job_under_way_counts_for_what_was_reported_and_later_hours_wait() -> None:
    found = gather(job(day(0, 20, 15), day(1, 30, 25), day(2, 12)))
    assert found.share == pytest.approx(0.40)
    assert found.whole is not None
    assert found.whole.hours == 50
    assert found.whole.book_h == pytest.approx(40)
    assert found.waiting_h == 12


def test_no_quantity_yet_is_no_evidence_and_says_so() -> None:
    found = gather(job(day(0, 20), day(1, 30)))
    assert not found.counts
    assert found.waiting_h == 50
    assert "first reported quantity" in found.why_not


def test_finished_job_without_quantities_counts_as_a_whole() -> None:
    found = gather(job(day(0, 60), day(1, 60), finished=1))
    assert found.counts
    assert found.share == 1.0
    assert found.ratio == pytest.approx(1.2)


def test_hours_after_the_last_figure_of_a_finished_job_belong_to_it() -> None:
    found = gather(job(day(0, 50, 100), day(1, 10), finished=1))
    assert found.ratio == pytest.approx(0.6)


def test_hours_after_it_was_finished_are_set_aside_and_told() -> None:
    found = gather(job(day(0, 50, 100), day(9, 30), finished=2))
    assert found.ratio == pytest.approx(0.5)
    assert "30 h after it was finished on 9 Sep 2026" in found.doubts[0].words


def test_quantity_ten_times_too_large_is_set_aside_and_told() -> None:
    days = [day(n, 16, 10) for n in range(4)]
    days[2] = replace(days[2], quantity=100)
    found = gather(job(*days, planned=400, book_h=640))
    assert [one.set_aside for one in found.stretches] == [False, False, True, False]
    assert found.ratio == pytest.approx(1.0)
    assert found.share == pytest.approx(30 / 400)
    assert "100 m in 16 h" in found.doubts[0].words
    finished = gather(job(*days, planned=40, book_h=64, finished=3))
    assert finished.ratio == pytest.approx(1.0), "a finished job keeps all its hours"


def test_finished_with_less_than_planned_reported_is_told() -> None:
    found = gather(job(day(0, 90, 70), finished=0))
    assert found.ratio == pytest.approx(0.9)
    assert "70 of 100 m reported" in found.doubts[0].words


def test_more_done_than_planned_counts_as_measured() -> None:
    found = gather(job(day(0, 150, 150), finished=0))
    assert found.ratio == pytest.approx(1.0)
    assert found.doubts


def test_dry_and_showers_are_told_apart_within_a_job() -> None:
    found = gather(job(day(0, 40, 50), day(1, 60, 50, wet=1.0), finished=1))
    dry, wet = found.by_ground
    assert (dry.wet, wet.wet) == (0.0, 1.0)
    assert dry.hours / dry.book_h == pytest.approx(0.8)
    assert wet.hours / wet.book_h == pytest.approx(1.2)
    assert dry.share + wet.share == pytest.approx(1.0)


def test_left_out_keeps_its_figures_but_does_not_count() -> None:
    found = gather(replace(job(day(0, 90, 100), finished=0), choice=Choice.LEFT_OUT))
    assert not found.counts
    assert found.ratio == pytest.approx(0.9)


def test_estimate_without_hours_is_no_evidence() -> None:
    found = gather(replace(job(day(0, 9, 100), finished=0), book_h=ThreePoint.exactly(0)))
    assert "no hours of the crew" in found.why_not


# The update


def test_order_is_irrelevant_and_batch_is_sequential() -> None:
    prior = Belief((0.0, 0.0), ((2.0, 0.0), (0.0, 1.0)), 2.0, 0.1)
    pieces = [
        Piece((1.0, 0.0), 0.1), Piece((1.0, 1.0), 0.4, 0.5), Piece((1.0, 0.3), -0.2, 0.8),
        Piece((1.0, 0.0), 0.3, 0.1),
    ]  # fmt: skip
    whole = prior.updated(pieces)
    for order in itertools.permutations(pieces):
        belief = prior
        for piece in order:
            belief = belief.updated([piece])
        assert belief.mean == pytest.approx(whole.mean, abs=1e-12)
        assert belief.a == pytest.approx(whole.a)
        assert belief.b == pytest.approx(whole.b, rel=1e-12)


def test_posterior_lies_between_prior_and_data_and_more_data_narrows() -> None:
    widths = []
    for count in (1, 3, 10, 40):
        learnt = learn("x", book=BOOK, jobs=[done(1.3, str(n)) for n in range(count)], usual_gang=2)
        assert 0 < learnt.belief.mean[0] < log(1.3)
        assert learnt.book_weight == pytest.approx(2 / (2 + count))
        widths.append(learnt.next.half_width)
    assert widths == sorted(widths, reverse=True)


def test_a_job_told_in_two_parts_weighs_what_it_weighs_told_whole() -> None:
    prior = prior_of_book(BOOK)
    whole = prior.updated([Piece((1.0,), 0.2, 1.0)])
    parts = prior.updated([Piece((1.0,), 0.2, 0.5)] * 2)
    assert parts.mean == pytest.approx(whole.mean)
    assert (parts.a, parts.b) == pytest.approx((whole.a, whole.b))


def test_the_prior_foretells_the_books_own_low_to_high() -> None:
    learnt = learn("x", book=ThreePoint(0.8, 1.0, 1.25), jobs=[], usual_gang=2)
    assert learnt.next.p10 == pytest.approx(0.8)
    assert learnt.next.p90 == pytest.approx(1.25)
    assert learnt.next.median == 1.0
    assert learnt.narrowing == pytest.approx(1.0)
    assert learnt.crew_ratio is None


def test_half_a_job_weighs_half() -> None:
    half = gather(job(day(0, 75, 50)))
    learnt = learn("x", book=BOOK, jobs=[half], usual_gang=2)
    assert learnt.crew_jobs == pytest.approx(0.5)
    assert learnt.belief.mean[0] == pytest.approx(0.5 * log(1.5) / 2.5)


def test_far_out_job_counts_a_quarter_until_it_is_taken_in() -> None:
    jobs = [done(ratio, str(n)) for n, ratio in enumerate((1.05, 1.0, 1.1, 0.95, 1.02, 1.08))]
    odd = done(6.0, "odd")
    learnt = learn("x", book=BOOK, jobs=[*jobs, odd], usual_gang=2)
    judged = learnt.judged[-1]
    assert judged.is_far_out
    assert judged.weight == 0.25
    assert "counts a quarter" in judged.words
    taken = replace(odd, job=replace(odd.job, choice=Choice.TAKEN_IN))
    full = learn("x", book=BOOK, jobs=[*jobs, taken], usual_gang=2)
    assert full.judged[-1].weight == 1.0
    assert full.next.median > learnt.next.median
    assert not any(one.is_odd for one in learnt.judged[:-1])


def test_ground_is_told_apart_only_with_enough_of_each() -> None:
    def split(key: str) -> JobEvidence:
        return gather(job(day(0, 50, 50), day(1, 75, 50, wet=1.0), finished=1, key=key))

    few = learn("x", book=BOOK, jobs=[split("a")], usual_gang=2)
    assert not few.design.ground
    assert "taken together" in few.design.words[0]
    enough = learn(
        "x", book=BOOK, jobs=[split(key) for key in "abcdef"], usual_gang=2, usual_wet=0.4
    )
    assert enough.design.ground
    (_, dry), (_, wet) = enough.on_ground
    assert dry.median < enough.next.median < wet.median
    assert 1.2 < wet.median / dry.median < 1.5, "drawn in towards no difference"


def test_gang_has_its_own_figure_with_enough_jobs_apart() -> None:
    jobs = [done(0.9, "a", people=2), done(1.0, "b", people=3), done(1.3, "c", people=6),
            done(1.25, "d", people=6)]  # fmt: skip
    learnt = learn("x", book=BOOK, jobs=jobs, usual_gang=2)
    assert learnt.design.gang
    assert learnt.belief.mean[-1] > 0
    alike = learn("x", book=BOOK, jobs=jobs[:2], usual_gang=2)
    assert not alike.design.gang


def test_working_tells_the_arithmetic() -> None:
    learnt = learn("Path", book=BOOK, jobs=[done(1.3, "a"), done(1.1, "b")], usual_gang=2)
    rows = {row["symbol"]: row["value"] for row in learnt.working().as_rows()}
    assert rows["k"] == "4"
    assert float(rows["m"]) == pytest.approx((log(1.3) + log(1.1)) / 4, abs=1e-4)
    assert float(rows["f"]) == pytest.approx(exp((log(1.3) + log(1.1)) / 4), abs=1e-3)


def by_hand(rows: list[dict[str, str]]) -> dict[str, float]:
    """The update reckoned again from the printed figures alone, as a person would."""
    shown = {row["symbol"]: row["value"] for row in rows if row["symbol"]}
    given = {name: float(shown[name]) for name in ("m₀", "k₀", "a₀")}
    low, high = (float(one) for one in rows[0]["value"].split(" to "))
    spread = max(log(high / low) / 2, log(1.1)) / float(shown["t₀"])
    b0 = given["a₀"] * spread**2 / (1 + 1 / given["k₀"])
    number = r"-?[\d.,]+"
    pieces = []
    for row in rows:
        if row["symbol"] != "x":
            continue
        hours, book_h = re.findall(rf"({number}) h", row["formula"])
        assert log(float(hours) / float(book_h)) == pytest.approx(float(row["value"]), abs=2e-3)
        weight = float(re.search(rf"w ({number})", row["formula"]).group(1))  # type: ignore[union-attr]
        z = [
            1.0,
            *(float(one) for one in re.findall(rf"z. ({number})", row["formula"].replace(",", ""))),
        ]
        pieces.append((z, float(row["value"]), weight))
    size = len(pieces[0][0])
    held = np.diag([given["k₀"], *[float(shown.get("k_β", 0))] * (size - 1)])
    before = np.array([given["m₀"], *[0.0] * (size - 1)])
    crossed = held + sum(w * np.outer(z, z) for z, _, w in pieces)
    mean = np.linalg.solve(crossed, held @ before + sum(w * np.array(z) * x for z, x, w in pieces))
    off = sum(w * (x - np.dot(z, mean)) ** 2 for z, x, w in pieces)
    b = b0 + (off + (before - mean) @ held @ (before - mean)) / 2
    a = given["a₀"] + sum(w for _, _, w in pieces) / 2
    at = np.array([float(shown.get(f"z{sub}", 1)) for sub in "₁₂₃"[:size]])
    s = np.sqrt(b / a * (1 + at @ np.linalg.solve(crossed, at)))
    return {"b₀": b0, "b": b, "a": a, "s": s, "c": at @ mean, "f": np.exp(at @ mean)}


def mixed(key: str, dry_h: float, wet_h: float, people: int) -> JobEvidence:
    days = (day(0, dry_h, 50, people=people), day(1, wet_h, 50, people=people, wet=1.0))
    return gather(job(*days, finished=1, key=key))


@pytest.mark.parametrize(
    ("jobs", "slopes"),
    [
        ([done(1.3, "a"), done(1.1, "b")], 0),
        ([done(0.9, "a", people=2), done(1.0, "b", people=3), done(1.3, "c", people=6)], 1),
        ([mixed(key, 48, 75, 2) for key in "abc"], 1),
        ([mixed("a", 48, 75, 2), mixed("b", 41, 60, 3), mixed("c", 66, 70, 6),
          done(1.2, "d", people=4), done(6.0, "e", people=2)], 2),
    ],
)  # fmt: skip
def test_the_arithmetic_shown_gives_the_figures_shown(jobs: list[JobEvidence], slopes: int) -> None:
    book = ThreePoint(0.69, 1.0, 1.7)
    learnt = learn("Drain", book=book, jobs=jobs, usual_gang=3, usual_wet=0.48)
    assert learnt.design.size == 1 + slopes
    rows = learnt.working().as_rows()
    shown = {row["symbol"]: row["value"] for row in rows}
    for name, value in by_hand(rows).items():
        assert float(shown[name]) == pytest.approx(value, rel=2e-3, abs=2e-4), name
    assert float(shown["f"]) == pytest.approx(learnt.next.median, abs=1e-3)
    assert float(shown["b"]) == pytest.approx(
        float(shown["b₀"]) + (float(shown["R"]) + float(shown["Q"])) / 2, rel=1e-3
    )


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Belief.of_one(mean=0, weight=0, a=1, b=1), "weight"),
        (lambda: Belief.of_one(mean=0, weight=1, a=0, b=1), "above 0"),
        (lambda: Piece((1.0,), float("nan")), "no number"),
        (lambda: Piece((1.0,), 0.0, -1), "below 0"),
        (lambda: prior_of_book(BOOK).updated([Piece((1.0, 2.0), 0.0)]), "coefficients"),
        (lambda: prior_of_book(ThreePoint(0, 1, 2)), "low must be above 0"),
        (lambda: prior_of_book(BOOK, book_jobs=0), "more than no job"),
        (lambda: prior_of_book(BOOK).foretell((1.0,)).quantile(1.0), "between 0 and 1"),
        (lambda: learn("x", book=BOOK, jobs=[], usual_gang=0), "at least one person"),
        (lambda: exact_limits(3, 2), "cannot be 3"),
        (lambda: Pace(4, 2).updated(units=-1, hours=1), "below 0"),
    ],
)  # fmt: skip
def test_bad_figures_are_refused_in_words(make: object, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        make()  # type: ignore[operator]


# Into the build-up


def test_learnt_output_scales_and_narrows() -> None:
    rate = OutputRate("lay", "Lay pipe", "m", ThreePoint(3, 4.5, 6), "price book")
    assert CrewRate(1, 1, "learnt").moved(rate).per_hour == ThreePoint(3, 4.5, 6)
    learnt = CrewRate(1.2, 0.5, "learnt from 3 jobs")
    slower = learnt.moved(rate)
    assert slower.per_hour.likely == pytest.approx(3.75)
    assert slower.per_hour.low == pytest.approx(3.75 * (3 / 4.5) ** 0.5)
    assert "4.5 m/h ÷ 1.200" in slower.source
    back = learnt.before(slower.per_hour)
    assert (back.low, back.likely, back.high) == pytest.approx((3, 4.5, 6))
    with pytest.raises(ValueError, match="above 0"):
        CrewRate(0, 1, "")


def test_build_up_works_by_the_crews_rate_for_its_kind_only() -> None:
    book = book_for("seeding", "turfing")
    labour = replace(book.prices["labour-crew"], code="labour-contractor")
    book = replace(book, prices={**book.prices, labour.code: labour})
    learnt = replace(book, crew={"seeding": CrewRate(1.25, 1.0, "learnt")})

    def built(kind: str, using: Book, *, by_contractor: bool = False) -> Estimate:
        return build_up(
            RECIPES[kind],
            measures={"area_m2": 1000},
            parameters={},
            book=using,
            by_contractor=by_contractor,
        )

    before, after = built("seeding", book), built("seeding", learnt)
    assert after.labour_h.likely == pytest.approx(1.25 * before.labour_h.likely)
    assert after.labour_h.low == pytest.approx(1.25 * before.labour_h.low)
    lines = {line.key: line for line in after.lines}
    assert lines["tractor"].quantity.likely == pytest.approx(250), "the machine goes with the crew"
    assert lines["seed"].quantity.likely == 30
    assert "÷ 1.250" in str(lines["sow"].working.as_rows())
    assert after.learnt_codes == {"prepare_seedbed", "drill_seed", "grow_in"}
    assert built("turfing", learnt).learnt is None
    assert built("turfing", learnt).labour_h == built("turfing", book).labour_h
    theirs = built("seeding", learnt, by_contractor=True)
    assert theirs.learnt is None, "a contractor has his own pace"
    assert theirs.money == built("seeding", book, by_contractor=True).money


# Calibration


def test_share_inside_with_the_band_of_few_jobs() -> None:
    told = [Outcome(str(n), f"Job {n}", 80, 100, 130, actual)
            for n, actual in enumerate((90, 128, 131, 70, 100))]  # fmt: skip
    found = calibrate(told)
    assert (found.count, found.inside, found.over, found.under) == (5, 3, 1, 1)
    assert found.as_promised
    assert "too few" in found.words
    assert calibrate([]).share is None
    missed = calibrate([replace(one, actual=200) for one in told])
    assert not missed.as_promised
    assert "came in over" in missed.words


def test_eight_in_ten_ranges_of_learnt_rates_hold_eight_times_in_ten() -> None:
    """A crew whose true ratio and spread are known: what is foretold must come true."""
    rng = np.random.default_rng(11)
    inside = count = 0
    prior = prior_of_book(BOOK)
    for _ in range(300):
        variance = prior.b / rng.gamma(prior.a)
        true = rng.normal(0, np.sqrt(variance / prior.precision[0][0]))
        drawn = exp_list(rng.normal(true, np.sqrt(variance), 7))
        belief = prior.updated([Piece((1.0,), log(one)) for one in drawn[:-1]])
        told = belief.foretell((1.0,))
        inside += told.quantile(0.1) <= log(drawn[-1]) <= told.quantile(0.9)
        count += 1
    assert inside / count == pytest.approx(0.8, abs=0.06)


def exp_list(values: np.ndarray) -> list[float]:
    return [exp(float(one)) for one in values]
