"""Planning's long jobs."""

from __future__ import annotations

import threading
import time
from concurrent.futures import ThreadPoolExecutor, TimeoutError
from datetime import date
from typing import Any

from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone

from worksprog.calc.solver.problem import LEFT_OUT
from worksprog.planning import bridge, proposing
from worksprog.planning.models import Plan
from worksprog.planning.services.plans import keep_plan
from worksprog.planning.services.risk import draw_futures
from worksprog.runs.progress import Cancelled, Progress
from worksprog.runs.registry import JobFailed, job
from worksprog.works.models import Programme

TOLD_EVERY_S = 0.3


@job("planning.solve", title="A better plan", stop_words="Stop and keep the best so far")
def solve_programme(progress: Progress) -> dict[str, Any]:
    programme = (
        Programme.objects.select_related("club")
        .filter(uuid=progress.inputs["programme"], club=progress.run.club)
        .first()
    )
    if programme is None:
        raise JobFailed("The programme is no longer there.")
    seconds = float(progress.inputs["seconds"])
    read_at, today = timezone.now(), programme.club.today()
    facts = bridge.read_facts(programme, today)
    stop = threading.Event()
    seen = ["Reading the programme"]
    began = time.monotonic()

    def better(goal: float, bound: float, by: str) -> None:
        lost, points = divmod(goal, LEFT_OUT)
        seen[0] = f"{points:,.0f} points, by {by}"
        if lost:
            seen[0] += f"; {lost:.0f} {'job has' if lost == 1 else 'jobs have'} no place"
        else:
            seen[0] += f"; none can have fewer than {bound:,.0f}"

    # The solver has a thread of its own, so that this one can tell and be told to stop.
    with ThreadPoolExecutor(1) as threads:
        answer = threads.submit(
            proposing.propose_at_length, facts, seconds=seconds, stop=stop.is_set, better=better
        )
        while True:
            try:
                proposal = answer.result(timeout=TOLD_EVERY_S)
                break
            except TimeoutError:
                try:
                    if not stop.is_set():
                        progress(100 * (time.monotonic() - began) / (seconds + 5), seen[0])
                except Cancelled:
                    stop.set()
                except BaseException:
                    stop.set()
                    raise
    if Plan.objects.filter(programme=programme, is_live=True, made_at__gt=read_at).exists():
        raise JobFailed("Another plan was made meanwhile; it stands, and this one is not kept.")
    before = Plan.objects.filter(programme=programme, is_live=True).first()
    plan = keep_plan(
        programme=programme,
        proposal=proposal,
        as_of=today,
        read_at=read_at,
        seconds=time.monotonic() - began,
        by=progress.run.asked_by,
    )
    was = f"; the plan before had {before.goal:,.0f}" if before and before.goal else ""
    stopped = "Stopped, and the best so far is kept. " if stop.is_set() else ""
    return {
        "words": f"{stopped}{plan.goal:,.0f} points{was}.",
        "address": reverse("planning:plan", args=[programme.club.slug]),
    }


@job("planning.futures", title="Futures of the plan")
def follow_plan(progress: Progress) -> dict[str, Any]:
    plan = (
        Plan.objects.select_related("club", "programme__club")
        .filter(uuid=progress.inputs["plan"], club=progress.run.club)
        .first()
    )
    if plan is None:
        raise JobFailed("Another plan was made meanwhile: draw the futures of that one.")
    try:
        kept = draw_futures(
            plan=plan,
            by=progress.run.asked_by,
            seed=int(progress.inputs["seed"]),
            count=int(progress.inputs["count"]),
            tell=progress,
        )
    except ValidationError as error:
        raise JobFailed(" ".join(error.messages)) from error
    whole = kept.results["whole"]
    by = (
        f"by {date.fromisoformat(whole['P80']):%-d %b %Y}"
        if whole["P80"]
        else "later than followed"
    )
    return {
        "words": f"{kept.futures:,} futures: everything is finished {by} in 8 cases of 10.",
        "address": reverse("planning:risk", args=[plan.club.slug]),
    }
