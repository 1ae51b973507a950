from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from worksprog.calc.earned_value import (
    Planned,
    earned_schedule,
    earned_value,
    measured_progress,
    share_planned_by,
)

MONEY = st.integers(min_value=0, max_value=10**9).map(lambda pence: pence / 100)


def test_what_the_facts_do_not_define_is_none() -> None:
    start = earned_value(bac=100, pv=0, ev=0, ac=0, unit="h")
    assert (start.cpi, start.spi, start.eac_rest_as_so_far, start.etc, start.vac) == (None,) * 5
    assert start.eac_rest_at_plan == 100
    spent_nothing_done = earned_value(bac=100, pv=10, ev=0, ac=20, unit="h")
    assert spent_nothing_done.cpi == 0
    assert spent_nothing_done.eac_rest_as_so_far is None
    budget_gone = earned_value(bac=100, pv=100, ev=90, ac=100, unit="h")
    assert budget_gone.tcpi_to_budget is None


def test_negative_and_endless_figures_are_refused() -> None:
    with pytest.raises(ValueError, match="ac must not be negative"):
        earned_value(bac=1, pv=1, ev=1, ac=-1, unit="h")
    with pytest.raises(ValueError, match="finite"):
        earned_value(bac=float("nan"), pv=1, ev=1, ac=1, unit="h")


@given(bac=MONEY, pv=MONEY, ev=MONEY, ac=MONEY)
def test_figures_agree_with_each_other(bac: float, pv: float, ev: float, ac: float) -> None:
    one = earned_value(bac=bac, pv=pv, ev=ev, ac=ac, unit="h")
    assert one.cost_variance == ev - ac
    if one.etc is not None and one.eac_rest_as_so_far is not None and one.vac is not None:
        assert one.etc + ac == pytest.approx(one.eac_rest_as_so_far)
        assert one.vac + one.eac_rest_as_so_far == pytest.approx(bac, abs=1e-6 * max(ac, bac, 1))


def test_workings_end_with_the_figure() -> None:
    one = earned_value(bac=100, pv=50, ev=40, ac=45, unit="h")
    workings = one.workings()
    for name in ("cost_variance", "schedule_variance", "cpi", "spi", "etc", "vac"):
        assert workings[name].steps[-1].value == getattr(one, name)
    nothing = earned_value(bac=100, pv=0, ev=0, ac=0, unit="h").workings()
    assert nothing["cpi"].as_rows()[-1]["value"] == "not defined"


@pytest.mark.parametrize(
    ("plan", "ev", "at", "es"),
    [
        ([10, 20, 30], 0, 1, 0.0),
        ([10, 20, 30], 5, 1, 0.5),  # less than the first period has
        ([10, 20, 30], 30, 5, 3.0),  # all done, late
        ([10, 20, 30], 45, 2, 3.0),  # more than the budget
        ([10, 20, 30, 30, 30], 30, 4, 3.0),  # a plan that ends in rest is over when all is done
        ([10, 20, 20, 20, 30], 20, 3, 3.0),  # on plan in the rest: neither ahead nor behind
        ([10, 20, 20, 20, 30], 20, 1, 2.0),  # before the rest: at its beginning
        ([10, 20, 20, 20, 30], 20, 7, 4.0),  # long after the rest: at its end
        ([10, 20, 20, 20, 30], 25, 5, 4.5),
        ([0, 0, 10], 0, 1, 1.0),  # nothing is due yet
        ([0, 0, 10], 5, 3, 2.5),
    ],
)
def test_earned_schedule_at_its_edges(plan: list[float], ev: float, at: float, es: float) -> None:
    assert earned_schedule(plan, ev=ev, at=at).es == pytest.approx(es, abs=1e-9)


def test_earned_schedule_before_anything() -> None:
    one = earned_schedule([10, 20], ev=0, at=0)
    assert (one.index, one.forecast) == (None, None)
    assert earned_schedule([10, 20], ev=5, at=2).index_to_keep is None


@pytest.mark.parametrize("plan", [[], [0, 0], [10, 5]])
def test_plans_that_hold_no_schedule(plan: list[float]) -> None:
    with pytest.raises(ValueError, match="plan"):
        earned_schedule(plan, ev=1, at=1)


@given(
    st.lists(st.floats(min_value=0.1, max_value=100), min_size=1, max_size=30),
    st.floats(min_value=0, max_value=1),
)
def test_earned_schedule_undoes_the_plan(steps: list[float], share: float) -> None:
    """Reading the plan's own value at a time gives that time back."""
    plan, total = [], 0.0
    for step in steps:
        total += step
        plan.append(total)
    time = share * len(plan)
    whole = min(int(time), len(plan) - 1)
    below = plan[whole - 1] if whole else 0.0
    value = below + (plan[whole] - below) * (time - whole)
    assert earned_schedule(plan, ev=value, at=time).es == pytest.approx(time, abs=1e-5)


def test_measured_over_planned_is_capped_and_told() -> None:
    assert measured_progress(measured=90, planned=180).share == 0.5
    over = measured_progress(measured=200, planned=180)
    assert (over.share, over.over) == (1.0, 20)
    with pytest.raises(ValueError, match="planned quantity"):
        measured_progress(measured=1, planned=0)


MONDAY = date(2026, 11, 2)


def test_planned_share_runs_over_the_week_days() -> None:
    job = Planned(MONDAY, MONDAY + timedelta(days=11), {})  # Monday to the Friday of the next week
    assert share_planned_by(job, MONDAY - timedelta(days=1)) == 0
    assert share_planned_by(job, MONDAY) == pytest.approx(0.1)
    assert share_planned_by(job, MONDAY + timedelta(days=6)) == pytest.approx(0.5)
    assert share_planned_by(job, MONDAY + timedelta(days=11)) == 1


def test_planned_share_follows_the_hours_by_week() -> None:
    weeks = {MONDAY: 30.0, MONDAY + timedelta(days=7): 10.0}
    job = Planned(MONDAY, MONDAY + timedelta(days=11), weeks)
    assert share_planned_by(job, MONDAY + timedelta(days=4)) == pytest.approx(0.75)
    assert share_planned_by(job, MONDAY + timedelta(days=7)) == pytest.approx(0.80)


def test_planned_share_on_a_weekend_and_the_wrong_way_round() -> None:
    saturday = MONDAY + timedelta(days=5)
    job = Planned(saturday, saturday + timedelta(days=1), {})
    assert share_planned_by(job, saturday) == 0.5
    with pytest.raises(ValueError, match="before it starts"):
        share_planned_by(Planned(MONDAY, MONDAY - timedelta(days=1), {}), MONDAY)


@given(st.integers(0, 60), st.integers(0, 60), st.integers(0, 60))
def test_planned_share_never_falls(start: int, length: int, day: int) -> None:
    job = Planned(MONDAY + timedelta(days=start), MONDAY + timedelta(days=start + length), {})
    first = share_planned_by(job, MONDAY + timedelta(days=day))
    assert 0 <= first <= share_planned_by(job, MONDAY + timedelta(days=day + 1)) <= 1
