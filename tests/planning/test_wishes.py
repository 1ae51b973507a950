"""What a plan cannot keep is told as the smallest set of wishes; one is given up only by name."""

from __future__ import annotations

import datetime as dt
import threading
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import connections
from django.urls import reverse

from tests.planning.plan_checker import broken_rules
from worksprog.clubs.models import Change
from worksprog.planning.models import GivenUp, ItemPlanning, Plan
from worksprog.planning.services import (
    give_up_wish,
    keep_item_planning,
    keep_plan_rules,
    take_back_wish,
)
from worksprog.runs.models import Run, RunState
from worksprog.runs.services import perform_run, request_run
from worksprog.works.models import Consent
from worksprog.works.services import link_items, record_consent

D = dt.date


def promise(crewed: Any, name: str, by: dt.date) -> None:
    keep_item_planning(
        planning=ItemPlanning(club=crewed.cast.club, item=crewed.jobs[name], promised_by=by),
        by=crewed.cast.manager,
    )


def names_of(conflict: dict[str, Any]) -> set[str]:
    return {name.partition(":")[0] for name, _ in conflict["wishes"]}


def give_up(crewed: Any, sort: str, plan: Plan) -> GivenUp:
    name, words = next(
        one for one in plan.conflicts[0]["wishes"] if one[0].partition(":")[0] == sort
    )
    return give_up_wish(
        programme=crewed.programme, wish=name, words=words, reason="agreed", by=crewed.cast.manager
    )


def test_a_licence_that_comes_after_nesting_has_begun_is_told_with_the_window(crewed):
    """Felling is open from 1 September to the end of February. A licence of 4 March 2027 that runs
    out on 31 August 2027 leaves no day of it."""
    copse = crewed.job("Copse", "tree_thinning", hours=20)
    crewed.job("Path", "path", hours=10)
    record_consent(
        consent=Consent(
            club=crewed.cast.club, item=copse, name="Felling licence",
            granted_on=D(2027, 3, 4), expires_on=D(2027, 8, 31),
        ),
        by=crewed.cast.manager,
    )  # fmt: skip
    plan = crewed.plan()
    assert crewed.planned(plan, "Copse").start is None
    assert crewed.planned(plan, "Path").start == D(2026, 9, 7)
    (conflict,) = plan.conflicts
    assert names_of(conflict) == {"consent", "window"} and conflict["smallest"]
    assert "before Felling licence of 4 Mar 2027" in conflict["words"]
    assert "worked only from 1 September to 29 February" in conflict["words"]
    given = give_up(crewed, "window", plan)
    plan = crewed.plan()
    assert plan.conflicts == []
    assert crewed.planned(plan, "Copse").start == D(2027, 3, 4)
    take_back_wish(given_up=given, by=crewed.cast.manager)
    assert crewed.planned(crewed.plan(), "Copse").not_placed


def test_a_promise_that_the_job_before_makes_impossible(crewed):
    """The ditch takes 100 h at 10 h a day: ten working days from Monday 7 September, so the pipe
    cannot be over by the 16th."""
    crewed.job("Dig", "ditch_dug", hours=100)
    crewed.job("Pipe", "carrier_pipe", hours=30)
    link_items(first=crewed.jobs["Dig"], then=crewed.jobs["Pipe"], by=crewed.cast.manager)
    promise(crewed, "Pipe", D(2026, 9, 16))
    plan = crewed.plan()
    (conflict,) = plan.conflicts
    assert names_of(conflict) == {"link", "promise"}
    # The ditch alone is all the work that counts: its points are those of one job.
    assert plan.bound is None and plan.goal < 10_000
    assert "“Pipe” is finished by 16 Sep 2026" in conflict["words"]
    give_up(crewed, "link", plan)
    plan = crewed.plan()
    assert crewed.planned(plan, "Pipe").finish <= D(2026, 9, 16)
    assert broken_rules(plan) == []


def test_a_promise_that_can_be_kept_moves_the_job_before_others(crewed):
    crewed.job("First", "path", hours=100)
    crewed.job("Promised", "path", hours=50)
    promise(crewed, "Promised", D(2026, 9, 11))
    plan = crewed.plan()
    assert crewed.planned(plan, "Promised").finish == D(2026, 9, 11)
    assert crewed.planned(plan, "First").start > D(2026, 9, 11)
    assert plan.conflicts == []


def test_the_order_on_a_drain_is_left_only_by_its_name(crewed):
    lower, upper = crewed.pipe("P1", 80, 160), crewed.pipe("P2", 0, 80)
    crewed.outfall(160)
    crewed.job("Upper carrier", "carrier_pipe", hours=40, features=[upper])
    crewed.job("Lower carrier", "carrier_pipe", hours=60, features=[lower])
    promise(crewed, "Upper carrier", D(2026, 9, 11))
    plan = crewed.plan()
    (conflict,) = plan.conflicts
    assert names_of(conflict) == {"drain-order", "promise"}
    give_up(crewed, "drain-order", plan)
    plan = crewed.plan()
    assert crewed.planned(plan, "Upper carrier").finish <= D(2026, 9, 11)
    assert GivenUp.objects.get().words.endswith("which is below it on the drain")
    with pytest.raises(ValidationError, match="given up already"):
        give_up_wish(
            programme=crewed.programme, wish=GivenUp.objects.get().wish, words="", reason="",
            by=crewed.cast.manager,
        )  # fmt: skip
    assert Change.objects.filter(kind="givenup").count() == 1


def test_what_needs_more_hours_than_there_are_is_no_conflict_of_wishes(crewed):
    crewed.job("Too long", "path", hours=90_000)
    plan = crewed.plan()
    assert plan.conflicts == []
    assert crewed.planned(plan, "Too long").not_placed.startswith("needs 90,000 h in a window")


def test_little_changes_when_little_changed(crewed):
    for number in range(8):
        crewed.job(f"Path {number}", "path", hours=30 + number)
    first = {row.item_id: row.start for row in crewed.plan().items.all()}
    again = crewed.plan()
    assert again.found_by == "today"
    assert {row.item_id: row.start for row in again.items.all()} == first
    crewed.estimate(crewed.jobs["Path 3"], 32)
    moved = crewed.plan()
    same = [row for row in moved.items.all() if row.start == first[row.item_id]]
    assert len(same) >= 7


def test_what_closes_holes_comes_first_unless_the_manager_puts_it_last(crewed):
    from worksprog.course.models import Hole
    from worksprog.planning.models import PlanRules

    hole = Hole.objects.create(club=crewed.cast.club, number=4)
    crewed.job("Path", "path", hours=50)
    crewed.job("Across the 4th", "path", hours=50, holes=[hole], holes_closed=True)
    plan = crewed.plan()
    assert crewed.planned(plan, "Across the 4th").start == D(2026, 9, 7)
    parts = {part["words"]: part for part in plan.reckoning}
    assert parts["few days out of play"]["amount"] == 5
    total = sum(part["amount"] * part["weight"] for part in plan.reckoning)
    assert plan.goal == pytest.approx(total, rel=0.01)
    keep_plan_rules(
        rules=PlanRules(club=crewed.cast.club, goals=["steady", "out_of_play", "closing"]),
        by=crewed.cast.manager,
    )
    weights = {part["words"]: part["weight"] for part in crewed.plan().reckoning}
    assert (weights["whole gangs"], weights["finish early what closes holes"]) == (8, 2)


def ask(crewed: Any, seconds: float) -> Run:
    return request_run(
        club=crewed.cast.club, kind="planning.solve", by=crewed.cast.manager,
        inputs={"programme": str(crewed.programme.uuid), "seconds": seconds},
    )  # fmt: skip


@pytest.mark.django_db(transaction=True)
def test_the_job_betters_the_plan_and_says_so(crewed, today):
    today(D(2026, 9, 7))
    for number in range(6):
        crewed.job(f"Path {number}", "path", hours=30 + number)
    quick = crewed.plan()
    run = ask(crewed, 1)
    perform_run(run.uuid)
    run.refresh_from_db()
    assert run.state == RunState.DONE, run.error
    assert "points; the plan before had" in run.outcome["words"]
    plan = Plan.objects.get(is_live=True)
    assert plan.goal <= quick.goal and plan.goal >= plan.bound - 1e-6
    assert broken_rules(plan) == []


@pytest.mark.django_db(transaction=True)
def test_stopped_it_keeps_the_best_so_far(crewed, today, monkeypatch):
    today(D(2026, 9, 7))
    for number in range(6):
        crewed.job(f"Path {number}", "path", hours=30 + number)
    from worksprog.planning import proposing

    at_length = proposing.propose_at_length

    def asked_to_stop(facts: Any, **more: Any) -> Any:
        Run.objects.update(cancel_asked=True)
        connections.close_all()  # those of the solver's own thread
        pause = threading.Event()
        while not more["stop"]():
            pause.wait(0.05)
        return at_length(facts, **more)

    monkeypatch.setattr(proposing, "propose_at_length", asked_to_stop)
    run = ask(crewed, 300)
    perform_run(run.uuid)
    run.refresh_from_db()
    assert run.state == RunState.DONE, run.error
    assert run.outcome["words"].startswith("Stopped, and the best so far is kept.")
    assert Plan.objects.filter(is_live=True).count() == 1
    assert run.stop_words == "Stop and keep the best so far"


def test_the_page_of_wishes_gives_one_up_with_a_reason(crewed, as_manager, as_committee, today):
    today(D(2026, 9, 7))
    crewed.job("Dig", "ditch_dug", hours=100)
    promise(crewed, "Dig", D(2026, 9, 9))
    plan = crewed.plan()
    club = crewed.cast.club
    shown = as_manager.get(reverse("planning:plan", args=[club.slug])).content.decode()
    assert "Wishes that cannot all be kept" in shown and "How good this plan is" in shown
    address = reverse("planning:wishes", args=[club.slug])
    wish = plan.conflicts[0]["wishes"][0][0]
    page = as_manager.get(address, {"wish": wish}).content.decode()
    assert "Nothing is given up." in page and f'value="{wish}" selected' in page
    assert as_manager.post(address, {"wish": wish, "reason": ""}).status_code == 422
    assert as_manager.post(address, {"wish": "window:x", "reason": "y"}).status_code == 422
    reply = as_manager.post(address, {"wish": wish, "reason": "The committee agreed"}, follow=True)
    assert "The committee agreed" in reply.content.decode()
    given = GivenUp.objects.get()
    assert as_committee.post(address, {"wish": wish, "reason": "z"}).status_code == 403
    as_manager.post(reverse("planning:take-back", args=[club.slug, given.uuid]))
    assert not GivenUp.objects.exists()
    reply = as_manager.post(reverse("planning:solve", args=[club.slug]), {"seconds": "7"})
    assert not Run.objects.exists()
    as_manager.post(reverse("planning:solve", args=[club.slug]), {"seconds": "30"})
    assert Run.objects.get().kind == "planning.solve"
