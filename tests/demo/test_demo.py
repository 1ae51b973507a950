"""The demonstration club is believable, made once, and never with DEBUG off."""

from __future__ import annotations

from collections import defaultdict
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db.models import Sum

from tests.planning.plan_checker import broken_rules
from worksprog.calc.sizing import SizingLimits
from worksprog.calc.worth import Claim
from worksprog.clubs.models import Club, User
from worksprog.course.models import Feature, GroundModel, Hole
from worksprog.demo.build import build_demo_club
from worksprog.demo.ground import spot_heights
from worksprog.demo.logged import entries
from worksprog.demo.programme import FROZEN_DAY
from worksprog.demo.works import all_jobs
from worksprog.drainage.models import Routing
from worksprog.drainage.queries import check_network
from worksprog.drainage.queries.as_built import every_as_built
from worksprog.hours.models import HourEntry
from worksprog.hours.queries.calibration import accuracy
from worksprog.hours.queries.promised import measured_promises
from worksprog.hours.queries.rates import rates_of
from worksprog.planning import drains
from worksprog.planning.models import Plan
from worksprog.works.bridge_sizing import with_design
from worksprog.works.models import Estimate, Item, Programme
from worksprog.works.queries import compared
from worksprog.works.queries import sizing as queries_sizing
from worksprog.works.queries.ranges_sheet import ranges_sheet
from worksprog.works.queries.spoil import spoil_sheet
from worksprog.works.queries.spoil_parts import SpoilWish
from worksprog.works.queries.worth import programme_worth
from worksprog.works.queries.years import years_sheet


@pytest.mark.django_db
def test_it_is_never_built_with_debug_off(settings: Any) -> None:
    settings.DEBUG = False
    with pytest.raises(CommandError, match="DEBUG"):
        call_command("build_demo")
    assert not Club.objects.exists()


def _sizes_can_be_worked_out(club: Club) -> None:
    """The proposed drains have a cheapest design, no dearer than what is drawn and free of faults."""
    network = check_network(club)
    branches = queries_sizing.branches(network, queries_sizing.open_pipes(club))
    assert len(branches) >= 2
    for branch in branches:
        task = queries_sizing.task_for(
            club, branch.uuid, SizingLimits(), inside_share=0.97, check=network
        )
        answer = task.solve()
        assert answer.best is not None, answer.conflicts
        assert answer.second is not None
        present = queries_sizing.present_money(task)
        assert present is not None
        assert 0 < answer.best.money.total < present.total
        after = with_design(network, answer.best)
        assert not after.faults
        for one in (one for one in answer.best.reaches if one.size is not None):
            assert after.reach(one.key).state == "carries"


def _one_drain_is_overloaded_for_a_time(club: Club) -> None:
    """The hollow is drained into an old pipe a winter before that is renewed."""
    weeks = drains.drain_weeks(club)
    (spell,) = weeks.through.passing
    assert spell.name == "P2"
    assert [weeks.through.names[key] for key in spell.brought_by] == ["N1"]
    assert [weeks.through.names[key] for key in spell.ended_by] == ["N2"]
    assert spell.until is not None
    assert (spell.until - spell.starts_on).days > 60
    assert "“Renew the old drain P2” done before" in drains.order_words(spell, weeks)
    assert weeks.undated == []


def _works_give_back(club: Club) -> None:
    """Promises of the programme pay back; one of an earlier autumn is measured, and not overclaimed."""
    programme = Programme.objects.get(club=club, is_live=True)
    found = programme_worth(programme)
    assert found.whole is not None
    assert found.whole.low.net_worth < 0 < found.whole.likely.net_worth
    assert found.undated == []
    assert 400 < found.hours.likely < 900
    first, *_, last = found.years
    assert first.hours.likely < last.hours.likely == pytest.approx(found.hours.likely)
    kinds = {one.what: one for one in measured_promises(club, FROZEN_DAY)}
    assert kinds["leaves"].measured is kinds["wet_ground"].measured is None
    bunkers = kinds["bunkers"].measured
    assert bunkers is not None
    assert bunkers.claim is Claim.INDICATION
    assert bunkers.fewer_h > 0
    assert kinds["bunkers"].crowded_out > 0


def _costs_add_up_by_year(club: Club) -> None:
    """All of the programme's money falls in its years, and each part has something in it."""
    programme = Programme.objects.get(club=club, is_live=True)
    programme.club = club
    sheet = years_sheet(programme)
    assert (sheet.without_estimate, sheet.without_days, sheet.one_day_only) == ([], [], [])
    assert len(sheet.years) == 5
    total = sheet.total
    live = Estimate.objects.filter(item__phase__project__programme=programme, is_live=True)
    assert total.base == sum(one.money_likely for one in live)
    for part in ("design_allowance", "contingency", "escalation", "tax"):
        assert getattr(total, part) > 0, part
    assert sum(parts.cost for parts in sheet.by_year.values()) == total.cost
    assert sheet.contingency.is_simulated
    assert {row.estimate.estimate_class for row in sheet.items if row.estimate} >= {3, 4}


def _estimates_are_overtaken_shared_and_made_anew(club: Club) -> None:
    """A chamber lowered after approval, a job shared with a contractor, a path made wider."""
    told = compared.out_of_date(list(Item.objects.filter(club=club).select_related("club")))
    (carrier,) = [one for one in told if compared.levels_moved(one.estimate, one.measured)]
    assert carrier.item.name == "Lay carrier C2–C3" and carrier.estimate.approved_on is not None
    assert carrier.moved[0].words.endswith("m (-0.20)")
    assert carrier.held is not None
    assert carrier.held.comparison.effects.quantity > 0
    assert carrier.held.comparison.hours.quantity_h > 0

    shared = Item.objects.get(club=club, name="Lay carrier O3–C7")
    heads = shared.estimates.get(is_live=True).lines.values_list("category", flat=True)
    assert shared.contract_steps and {"labour", "contractor"} <= set(heads)

    first, second = Estimate.objects.filter(item__name="Path, 16 green to 17 tee").order_by(
        "revision"
    )
    assert first.approved_on is not None and second.is_live
    effects = compared.hold(
        compared.kept(first, first.lines.all()), compared.kept(second, second.lines.all())
    ).comparison.effects
    assert effects.quantity > 0
    assert effects.total == second.money_likely - first.money_likely


def _hours_have_taught(club: Club) -> None:
    """The carrier's rate is learnt and used; a job left out, one over its range with why."""
    rates = rates_of(club, "carrier_pipe")
    assert rates is not None and rates.in_use is not None and not rates.moved
    assert len(rates.learnt.judged) >= 5
    assert rates.learnt.design.ground
    assert 1 < rates.learnt.next.median < rates.learnt.crew_ratio
    assert rates.learnt.narrowing < 0.8
    assert any(one.evidence.job.choice == "left_out" for one in rates.with_hours)
    assert [one for one in rates.open_jobs if one.has_learnt]
    told = accuracy(club)
    assert told.calibration.as_promised
    (over,) = [one for one in told.counted if not one.outcome.is_inside]
    assert over.outcome.side == "over" and "clay pipe" in over.facts.account.words


def _earth_finds_its_fills(club: Club) -> None:
    """One winter fills its bunkers from its own drains; the mounds of the next take more than is dug."""
    programme = Programme.objects.get(club=club, is_live=True)
    feeds = spoil_sheet(programme, SpoilWish(), winter=2027, today=FROZEN_DAY)
    assert len(feeds.moves) >= 3
    assert all(one.way.is_round and 0 < one.move.haul_m < 1500 for one in feeds.moves)
    assert feeds.brought_loads == 0 and feeds.more_money < 0
    short = spoil_sheet(programme, SpoilWish(), winter=2028, today=FROZEN_DAY)
    assert short.brought_loads > 10 and short.moves
    assert feeds.lacking_prices == short.lacking_prices == ()


def _ranges_are_kept_and_of_now(club: Club) -> None:
    """The kept run is of the figures as they stand, and says from whom and from what it comes."""
    sheet = ranges_sheet(Programme.objects.get(club=club, is_live=True))
    assert sheet.ranges is not None and sheet.ranges.made_at is not None
    whole = sheet.ranges.whole
    assert 0.2 < whole.money.chance_within(float(whole.base_money)) < 0.6
    assert whole.base_money < whole.money_p80 < Decimal("1.2") * whole.base_money
    causes = {one["words"] for one in whole.drivers["money_sources"] if one["is_cause"]}
    assert {"the programme as a whole", "hands of the crew", "prices of the quarry"} <= causes
    assert len(sheet.ranges.at("year")) >= 5 and len(sheet.ranges.at("project")) >= 10


@pytest.mark.django_db
def test_the_club_that_is_built(settings: Any, capsys: pytest.CaptureFixture[str]) -> None:
    settings.DEBUG = True
    club = build_demo_club()
    call_command("build_demo")
    assert Club.objects.count() == 1
    assert User.objects.get(email="staff@ashlodevale.example").check_password("ashlode-demo")

    holes = Hole.objects.filter(club=club)
    assert holes.count() == 18
    assert {hole.loop for hole in holes} == {"brook loop", "hill loop"}
    assert 5000 < sum(hole.length_m or 0 for hole in holes) < 6500
    boundary = Feature.objects.get(club=club, kind="boundary")
    assert 54 < boundary.area_m2 / 10_000 < 58
    assert GroundModel.objects.get(club=club).count > 4000

    network = check_network(club)
    assert [finding.words for finding in network.findings if finding.is_fault] == []
    for reach in network.reaches:
        assert reach.gradient is not None
        assert 1 / 400 < reach.gradient < 1 / 20
    assert [reach.name for reach in network.reaches if reach.state == "too_small"] == ["P1"]

    _sizes_can_be_worked_out(club)
    _ranges_are_kept_and_of_now(club)
    _earth_finds_its_fills(club)
    _hours_have_taught(club)
    _one_drain_is_overloaded_for_a_time(club)
    _estimates_are_overtaken_shared_and_made_anew(club)

    built = {one.feature.ref: one for one in every_as_built(club, network) if one.lines}
    assert built.keys() == {"C1–O2", "C2–C1", "C3–C2"}
    assert all(one.closed == (ref != "C3–C2") for ref, one in built.items())
    assert [one.backfalls for one in built.values()] == [[], [], []]
    (caught,) = [line for line in built["C3–C2"].lines if not line.counts]
    assert "backfall seen before" in caught.corrected_by.why
    assert network.reach(str(built["C2–C1"].feature.uuid)).upstream_level_from == "as built"

    storm, days = Routing.objects.filter(club=club).order_by("pk")
    for routing in (storm, days):
        assert abs(routing.result["balance"]["error"]) < 1e-3
        (pond,) = routing.result["ponds"]
        assert pond["start_m"] < pond["peak_m"] < pond["bank_m"]
    assert "P1" in [place["reach"] for place in storm.result["places"]]

    _costs_add_up_by_year(club)

    items = Item.objects.filter(club=club, phase__project__programme__is_live=True)
    assert items.filter(phase__project__programme__is_live=True).count() == len(all_jobs())
    for estimate in Estimate.objects.filter(club=club, is_live=True).select_related("item"):
        assert estimate.money_likely > 0, estimate.item
        assert estimate.money_low <= estimate.money_likely <= estimate.money_high
    plan = Plan.objects.get(club=club, is_live=True)
    assert [
        one.item.name
        for one in plan.items.select_related("item")
        if one.not_placed and not one.start
    ] == []
    assert broken_rules(plan) == []

    logged = HourEntry.objects.filter(club=club)
    assert logged.values("person").distinct().count() == 6
    assert logged.filter(state="approved").exists()
    assert logged.filter(state="logged").exists()
    over = [
        item.name
        for item in items.filter(state="done").annotate(spent=Sum("hours__hours"))
        if float(item.spent) > Estimate.objects.get(item=item, is_live=True).labour_likely_h
    ]
    assert over, "some job ran over its estimate"
    _works_give_back(club)


def test_a_year_of_hours_is_a_crews_year() -> None:
    """Common practice, no source: leaves take a crew 50 to 60 hours a week in autumn."""
    leaf_weeks: dict[tuple[int, int], float] = defaultdict(float)
    by_day: dict[tuple[int, date], float] = defaultdict(float)
    for entry in entries(estimates={}, days={}):
        assert entry.on.weekday() < 5
        assert entry.on <= FROZEN_DAY
        by_day[entry.person, entry.on] += entry.hours
        if (
            entry.routine == "leaves"
            and (entry.on.month, entry.on.day) < (12, 20)
            and entry.on.month > 10
        ):
            leaf_weeks[entry.on.isocalendar()[:2]] += entry.hours
    assert max(by_day.values()) <= 8
    full = [hours for week, hours in leaf_weeks.items() if week[1] in range(45, 51)]
    assert 40 <= sum(full) / len(full) <= 70


def test_the_ground_is_the_same_every_time() -> None:
    first, _ = spot_heights()
    again, _ = spot_heights()
    assert (first == again).all()
    assert first[:, 2].min() > 55
    assert first[:, 2].max() < 80
