"""Ranges of items and programmes: kept with estimates, drawn for pages, drawn and kept by the job."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal
from itertools import pairwise

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from worksprog.calc.build_up import MoneyRange
from worksprog.calc.ranges import ThreePoint
from worksprog.clubs.models import Change, User
from worksprog.clubs.records import save_record
from worksprog.runs.models import Run, RunState
from worksprog.works import bridge_ranges, queries
from worksprog.works.models import (
    Estimate,
    EstimateRules,
    OutputRate,
    Price,
    RangeRow,
    RangesRun,
    SwayedBy,
)
from worksprog.works.queries.ranges import Level
from worksprog.works.queries.ranges_sheet import by_chance, ranges_sheet
from worksprog.works.services import (
    add_line,
    approve_project,
    build_estimate,
    build_estimates,
    create_item,
    edit_line,
    name_suppliers,
    set_item_state,
)
from worksprog.works.services.estimates import LineFigures
from worksprog.works.services.ranges import keep_ranges, set_assumed


def boss() -> User:
    return User.objects.get(email="manager@first.example")


def few_draws(works, **rules) -> EstimateRules:
    row = queries.rules_of(works.programme.club)
    for name, value in {"draws": 2_000, **rules}.items():
        setattr(row, name, value)
    return set_assumed(rules=row, by=boss())


@pytest.fixture
def built(works):
    few_draws(works)
    assert build_estimates(programme=works.programme, by=boss()).not_built == ()
    return works


def url(name: str, works, *args) -> str:
    return reverse(f"works:{name}", args=[works.programme.club.slug, *args])


def hand(low: float, likely: float, high: float, price: str = "20") -> LineFigures:
    money = Decimal(price)
    return LineFigures(
        "material", "Own stone", "t", ThreePoint(low, likely, high), MoneyRange.exactly(money)
    )


class TestAnEstimate:
    def test_keeps_what_was_drawn(self, built):
        estimate = Estimate.objects.get(item=built.carrier, is_live=True)
        kept = estimate.simulated
        assert kept["draws"] == 2_000 and kept["seed"] == 1
        assert estimate.money_p80 == Decimal(str(kept["money"]["P80"])).quantize(Decimal("0.01"))
        assert estimate.labour_p80_h == kept["hours"]["P80"]
        assert kept["money"]["P10"] < kept["money"]["P50"] < kept["money"]["P80"]
        assert float(estimate.money_low) < kept["money"]["P10"]
        assert kept["money"]["P90"] < float(estimate.money_high)
        told = {row["meaning"]: row for row in estimate.working}
        assert "seed 1" in told["money, mean of the draws"]["source"]
        assert told["check by the closed form: money, 8 in 10 within"]["source"] == "normal curve"

    def test_same_figures_same_answer(self, built):
        first = Estimate.objects.get(item=built.tee_item, is_live=True).simulated
        again = build_estimate(item=built.tee_item, by=boss()).simulated
        assert again == first
        few_draws(built, seed=2)
        other = build_estimate(item=built.tee_item, by=boss()).simulated
        assert other["money"]["P80"] != first["money"]["P80"]
        assert other["mark"] == first["mark"], "the figures themselves did not move"

    def test_follows_a_line_by_hand(self, built):
        estimate = Estimate.objects.get(item=built.tee_item, is_live=True)
        before = estimate.simulated
        line = add_line(estimate=estimate, figures=hand(10, 20, 60), by=boss())
        estimate.refresh_from_db()
        assert estimate.simulated["money"]["P80"] > before["money"]["P80"] + 400
        assert estimate.simulated["mark"] != before["mark"]
        edit_line(line=line, figures=hand(20, 20, 20), by=boss())
        estimate.refresh_from_db()
        certain = estimate.simulated["money"]
        assert certain["sd"] == pytest.approx(before["money"]["sd"])
        assert certain["P80"] == pytest.approx(before["money"]["P80"] + 400, abs=0.02)

    def test_causes_stay_as_they_were_when_it_was_made(self, built):
        estimate = Estimate.objects.get(item=built.carrier, is_live=True)
        code = estimate.lines.exclude(output_code="").first().output_code
        step = estimate.lines.filter(output_code=code).first().step
        was = estimate.simulated["causes"][step]["output"]
        rate = OutputRate.objects.get(club=built.programme.club, code=code)
        rate.swayed_by = SwayedBy.WEATHER if was != SwayedBy.WEATHER else SwayedBy.GROUND
        save_record(rate, by=boss())
        estimate.refresh_from_db()
        assert estimate.simulated["causes"][step]["output"] == was
        again = build_estimate(item=built.carrier, by=boss())
        assert again.simulated["causes"][step]["output"] == rate.swayed_by

    def test_without_lines_there_is_nothing_to_draw(self, works):
        empty = Estimate(club=works.programme.club, item=works.carrier, money_likely=Decimal("7"))
        assert (empty.money_p80, empty.labour_p80_h) == (Decimal("7"), 0)
        rules = queries.rules_of(works.programme.club)
        assert bridge_ranges.range_item(works.carrier, [], {}, rules) == ({}, ())


class TestWhatSways:
    def test_one_figure_wherever_it_stands(self, built):
        estimate = Estimate.objects.get(item=built.carrier, is_live=True)
        lines = list(estimate.lines.select_related("price"))
        sways = bridge_ranges.Sways.of(queries.rules_of(built.programme.club))
        job = bridge_ranges.job_of(
            built.carrier, lines, estimate.simulated["causes"], sways, place="BC", winter="2026/27"
        ).job
        by_price: dict[str, set[str]] = {}
        by_output: dict[str, set[str]] = {}
        for row, line in zip(lines, job.lines, strict=True):
            by_price.setdefault(row.price.code, set()).add(line.price.chance)
            if line.output is not None:
                by_output.setdefault(row.output_code, set()).add(line.output.chance)
                assert line.measured.point.likely == row.measured_likely
            assert line.own_crew == (row.category == "labour")
        assert all(len(chances) == 1 for chances in (*by_price.values(), *by_output.values()))
        assert len(by_output) > 2

    def test_causes_by_output_and_supplier(self, built):
        club = built.programme.club
        estimate = Estimate.objects.get(item=built.carrier, is_live=True)
        row = estimate.lines.exclude(output_code="").select_related("price").first()
        sways = bridge_ranges.Sways.of(queries.rules_of(club))

        def causes(output: str, supplier: str = "", category: str = "plant") -> list[list[str]]:
            row.category = category
            told = {row.step: {"output": output, "supplier": supplier}}
            line = bridge_ranges.job_of(
                built.carrier, [row], told, sways, place="BC", winter="2027/28"
            ).job.lines[0]
            return [[sway.cause for sway in figure.sways] for figure in line.figures]

        assert causes("weather")[1] == ["weather 2027/28", "programme"]
        assert causes("ground")[:2] == [["ground BC", "programme"]] * 2
        assert causes("hands", "the quarry")[1:] == [
            ["hands", "programme"],
            ["supplier the quarry", "programme"],
        ]
        assert causes("hands", category="contractor")[1] == ["programme"]

    def test_suppliers_are_named_in_one_step(self, works):
        club = works.programme.club
        codes = list(Price.objects.filter(club=club).values_list("code", flat=True)[:3])
        assert name_suppliers(club=club, suppliers=dict.fromkeys(codes, "quarry"), by=boss()) == 3
        assert name_suppliers(club=club, suppliers=dict.fromkeys(codes, "quarry"), by=boss()) == 0
        with pytest.raises(ValidationError):
            name_suppliers(club=club, suppliers={codes[0]: "q" * 81}, by=boss())

    def test_winters_and_years(self):
        assert bridge_ranges.winter_of(date(2027, 2, 1)) == "2026/27"
        assert bridge_ranges.winter_of(date(2027, 7, 1)) == "2027/28"
        assert bridge_ranges.winter_of(None) == ""
        shares = bridge_ranges.year_shares(date(2027, 3, 22), date(2027, 4, 9), 4)
        assert shares == {"2026/27": pytest.approx(8 / 15), "2027/28": pytest.approx(7 / 15)}
        assert bridge_ranges.year_shares(None, None, 4) == {bridge_ranges.NO_DATES: 1.0}
        assert bridge_ranges.year_shares(date(2027, 3, 22), None, 4) == {"2026/27": 1.0}


class TestAProgramme:
    def test_totals_are_simulated(self, built, django_assert_max_num_queries):
        whole = queries.programme_totals(built.programme)
        assert whole.ranged_how == "simulated, 2,000 draws, seed 1"
        one = Estimate.objects.get(item=built.carrier, is_live=True)
        two = Estimate.objects.get(item=built.tee_item, is_live=True)
        assert whole.money_p80 < one.money_p80 + two.money_p80, "both seldom run over at once"
        assert whole.money_p80 > one.money_likely + two.money_likely
        assert whole.labour_p80_h < one.labour_p80_h + two.labour_p80_h
        sheet = queries.programme_sheet(built.programme)
        assert sheet.projects[0].totals.money_p80 == whole.money_p80
        assert sheet.projects[0].phases[0].totals.money_p80 == whole.money_p80
        with django_assert_max_num_queries(10):
            queries.programme_sheet(built.programme)

    def test_kept_run_tells_the_same_as_the_page(self, built, monkeypatch):
        drawn = queries.programme_totals(built.programme)
        run = keep_ranges(programme=built.programme, by=boss())
        whole = run.rows.get(level=RangeRow.Level.PROGRAMME)
        assert whole.money["quantiles"][79] == pytest.approx(float(drawn.money_p80), abs=0.01)
        assert set(run.rows.values_list("level", flat=True)) == set(Level.values)
        assert whole.drivers["money_lines"][0]["share"] > 0
        monkeypatch.setattr(queries.ranges, "_memory", type(queries.ranges._memory)())
        monkeypatch.setattr(queries.ranges, "draw_ranges", None)
        assert queries.programme_totals(built.programme).money_p80 == drawn.money_p80

    def test_only_the_newest_run_is_kept_and_changes_are_on_the_record(self, built):
        keep_ranges(programme=built.programme, by=boss())
        newest = keep_ranges(programme=built.programme, by=boss())
        assert list(RangesRun.objects.all()) == [newest]
        actions = Change.objects.filter(kind="rangesrun").values_list("action", flat=True)
        assert sorted(actions) == ["added", "added", "removed"]

    def test_shelved_items_and_items_without_estimate_are_left_out(self, built):
        before = queries.programme_totals(built.programme)
        create_item(phase=built.phase, kind="turfing", name="Turf", features=[], by=boss())
        sheet = ranges_sheet(built.programme)
        assert [item.name for item in sheet.without_estimate] == ["Turf"]
        set_item_state(item=built.tee_item, state="shelved", on=date(2026, 10, 1), by=boss())
        after = queries.programme_totals(built.programme)
        assert after.money_p80 < before.money_p80
        one = Estimate.objects.get(item=built.carrier, is_live=True)
        assert after.money_p80 == pytest.approx(one.money_p80, rel=Decimal("0.02"))

    def test_years_share_what_there_is(self, built):
        set_item_state(item=built.carrier, state="on_site", on=date(2026, 10, 5), by=boss(),
                       without_consent=True)  # fmt: skip
        ranges = ranges_sheet(built.programme).ranges
        years = {row.key: row for row in ranges.at(Level.YEAR)}
        assert set(years) == {"2026/27", bridge_ranges.NO_DATES}
        means = sum(row.money.mean for row in years.values())
        assert means == pytest.approx(ranges.whole.money.mean, rel=1e-4)
        assert sum(row.base_money for row in years.values()) == ranges.whole.base_money

    def test_a_stronger_shared_cause_widens_the_programme(self, built):
        usual = ranges_sheet(built.programme).ranges.whole
        few_draws(built, sway_programme=0.5)
        strong = ranges_sheet(built.programme).ranges.whole
        few_draws(built, sway_programme=0.0, sway_weather=0, sway_ground=0, sway_hands=0)
        free = ranges_sheet(built.programme).ranges.whole
        assert free.money.sd < usual.money.sd < strong.money.sd
        assert free.contingency(0.8) < usual.contingency(0.8) < strong.contingency(0.8)

    def test_contingency_by_chance_rises_and_adds_up(self, built):
        whole = ranges_sheet(built.programme).ranges.whole
        rows = by_chance(whole, 0.77)
        assert [row.chance for row in rows] == sorted(row.chance for row in rows)
        assert 0.77 in {row.chance for row in rows}
        for row in rows:
            assert row.money == whole.base_money + row.contingency
        assert all(a.money < b.money for a, b in pairwise(rows))

    def test_too_many_lines_for_a_page_are_drawn_by_the_job_alone(self, built, monkeypatch):
        monkeypatch.setattr(queries.ranges, "AT_ONCE_LINES", 3)
        monkeypatch.setattr(queries.ranges, "_memory", type(queries.ranges._memory)())
        assert queries.programme_totals(built.programme).money_p80 is None
        sheet = ranges_sheet(built.programme)
        assert sheet.ranges is None and sheet.too_many
        keep_ranges(programme=built.programme, by=boss())
        assert queries.programme_totals(built.programme).money_p80 is not None
        build_estimate(item=built.tee_item, by=boss())
        assert not ranges_sheet(built.programme).ranges.is_stale, "nothing moved"
        estimate = Estimate.objects.get(item=built.tee_item, is_live=True)
        add_line(estimate=estimate, figures=hand(1, 2, 3), by=boss())
        assert ranges_sheet(built.programme).ranges.is_stale
        assert queries.programme_totals(built.programme).money_p80 is None

    def test_figures_that_cannot_be_are_refused_in_words(self, built):
        line = Estimate.objects.get(item=built.carrier, is_live=True).lines.exclude(
            output_code=""
        ).first()  # fmt: skip
        type(line).objects.filter(pk=line.pk).update(output_low=0)
        with pytest.raises(ValidationError, match="output must be above 0 an hour"):
            keep_ranges(programme=built.programme, by=boss())
        type(line).objects.filter(pk=line.pk).update(output_low=9e9)
        with pytest.raises(ValidationError, match="must rise"):
            keep_ranges(programme=built.programme, by=boss())
        assert not RangesRun.objects.exists()

    def test_nothing_to_draw(self, works):
        with pytest.raises(ValidationError, match="No item of the programme has an estimate"):
            keep_ranges(programme=works.programme, by=boss())
        totals = queries.programme_totals(works.programme)
        assert (totals.money_p80, totals.labour_p80_h) == (0, 0)


class TestRules:
    def test_shares_that_come_to_more_than_all(self, works):
        with pytest.raises(ValidationError, match=r"this makes 1\.10 of a figure's sway"):
            few_draws(works, sway_programme=0.3, sway_weather=0.8)
        for bad in (
            {"draws": 10},
            {"draws": 10**6},
            {"sway_hands": -0.1},
            {"range_shape": "square"},
        ):
            with pytest.raises(ValidationError):
                few_draws(works, **bad)
        with pytest.raises(ValidationError):
            few_draws(works, sway_hands=float("nan"))

    def test_triangular_gives_more_to_the_ends(self, built):
        pert = ranges_sheet(built.programme).ranges.whole
        few_draws(built, range_shape="triangular")
        assert ranges_sheet(built.programme).ranges.whole.money.sd > pert.money.sd


class TestPages:
    def test_the_sheet(self, as_manager, built):
        page = as_manager.get(url("ranges", built))
        text = page.content.decode()
        assert page.status_code == 200
        whole = page.context["whole"]
        assert f"£{whole['range'].money.within(0.8):,.0f}" in text
        assert set(page.context["charts"]) >= {"money", "hours", "money-lines", "money-sources"}
        assert "Drawn for this page" in text
        key = str(built.project.uuid)
        part = as_manager.get(url("ranges", built), {"of": key})
        assert part.context["is_part"] and part.context["chosen"]["range"].key == key
        assert as_manager.get(url("ranges", built), {"of": "nobody"}).status_code == 404

    def test_before_there_is_anything(self, as_manager, works, cast):
        assert "has an estimate yet" in as_manager.get(url("ranges", works)).content.decode()
        works.programme.is_live = False
        save_record(works.programme, by=boss())
        assert as_manager.get(url("ranges", works)).status_code == 200
        assert as_manager.get(url("ranges-of", works, works.programme.uuid)).status_code == 200

    def test_drawn_and_kept_by_the_job(
        self, as_manager, as_committee, built, django_capture_on_commit_callbacks
    ):
        address = url("draw-ranges", built, built.programme.uuid)
        assert as_committee.post(address).status_code == 403
        with django_capture_on_commit_callbacks(execute=True):
            as_manager.post(address)
        run = Run.objects.get(kind="works.simulation")
        assert run.state == RunState.DONE, run.error
        assert "in 8 cases of 10" in run.outcome["words"]
        page = as_manager.get(run.outcome["address"]).content.decode()
        assert "Kept " in page and "Draw it again and keep the answer" in page

    def test_the_job_says_why_it_cannot(
        self, as_manager, works, django_capture_on_commit_callbacks
    ):
        with django_capture_on_commit_callbacks(execute=True):
            as_manager.post(url("draw-ranges", works, works.programme.uuid))
        run = Run.objects.get(kind="works.simulation")
        assert run.state == RunState.FAILED and "work one out first" in run.error

    def test_what_is_assumed_is_set_by_the_manager(self, as_manager, as_committee, built):
        address = url("assumed", built)
        assert as_committee.get(address).status_code == 403
        rules = queries.rules_of(built.programme.club)
        given = {
            "sway_programme": "0.25",
            "sway_weather": "0.4",
            "sway_ground": "0.4",
            "sway_hands": "0.3",
            "sway_supplier": "0.6",
            "range_shape": "triangular",
            "draws": "3000",
            "seed": "12",
        }
        bad = as_manager.post(address, given | {"sway_supplier": "0.9"})
        assert bad.status_code == 422
        assert "at most 1 can be shared out" in bad.content.decode()
        assert as_manager.post(address, given).status_code == 302
        rules.refresh_from_db()
        assert (rules.sway_supplier, rules.seed, rules.range_shape) == (0.6, 12, "triangular")
        text = as_manager.get(url("ranges", built)).content.decode()
        assert "3,000 times" in text and "seed 12" in text and "0.60" in text

    def test_approved_estimates_do_not_move_with_the_rules(self, built):
        approve_project(
            project=built.project, amount=Decimal("9000"), approved_on=date(2026, 9, 9), by=boss()
        )
        before = Estimate.objects.get(item=built.carrier, is_live=True)
        few_draws(built, seed=99)
        build_estimates(programme=built.programme, by=boss())
        after = Estimate.objects.get(item=built.carrier, is_live=True)
        assert after.money_p80 == before.money_p80 and after.simulated == before.simulated


def test_marks_follow_whatever_the_simulation_rests_on(built):
    club = built.programme.club
    placed = queries.placed_items(built.programme)
    sways = bridge_ranges.Sways.of(queries.rules_of(club))
    mark = bridge_ranges.mark_of(placed, sways)
    assert bridge_ranges.mark_of(placed[::-1], sways) == mark
    assert bridge_ranges.mark_of(placed, replace(sways, seed=5)) != mark
    assert bridge_ranges.mark_of(placed, replace(sways, hands=0.1)) != mark
    moved = [replace(placed[0], winter="2029/30"), *placed[1:]]
    assert bridge_ranges.mark_of(moved, sways) != mark
    assert bridge_ranges.mark_of(placed[1:], sways) != mark
