"""Futures of the live plan that are drawn and kept."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.db import transaction

from worksprog.calc.futures.run import FEWEST, MOST, Tell
from worksprog.clubs.models import User
from worksprog.clubs.records import delete_record, save_record
from worksprog.drainage.queries.rain import daily_rain_of
from worksprog.planning import bridge, futures
from worksprog.planning.models import Plan, PlannedItem, RiskRun
from worksprog.runs.models import Run
from worksprog.runs.services import request_run
from worksprog.works.bridge_ranges import Sways
from worksprog.works.models import Estimate
from worksprog.works.queries import rules_of

MOST_SEED = 2**31 - 1


def draw_futures(
    *,
    plan: Plan,
    by: User | None,
    seed: int = 1,
    count: int = 10_000,
    tell: Tell | None = None,
) -> RiskRun:
    """Follow the plan through many futures and keep what they told in place of the run before.

    Drawn outside the transaction that writes. ValidationError in words: nothing to follow, or a
    plan that another one has replaced.
    """
    _check(seed, count)
    if not plan.is_live:
        raise ValidationError("Another plan has replaced this one: draw the futures of that one.")
    programme = plan.programme
    sways = Sways.of(rules_of(programme.club))
    rows = list(PlannedItem.objects.filter(plan=plan).select_related("item__phase__project"))
    estimates = {
        one.item_id: one
        for one in Estimate.objects.filter(is_live=True, item__in=[row.item_id for row in rows])
    }
    try:
        likelihood = futures.likelihood_of(
            bridge.read_facts(programme, programme.club.today()),
            rows,
            estimates,
            daily_rain_of(programme.club),
            together=min(sways.programme + sways.hands, 1.0),
            seed=seed,
        )
        results = futures.told(likelihood, seed=seed, futures=count, tell=tell)
    except ValueError as error:
        raise ValidationError(str(error)) from error
    with transaction.atomic():
        if not Plan.objects.filter(pk=plan.pk, is_live=True).exists():
            raise ValidationError("Another plan was made meanwhile: draw the futures of that one.")
        for earlier in RiskRun.objects.filter(plan=plan):
            delete_record(earlier, by=by)
        return save_record(
            RiskRun(
                club=plan.club, plan=plan, made_by=by, seed=seed, futures=count, results=results
            ),
            by=by,
        )


def request_futures(*, plan: Plan, by: User | None, seed: int = 1, count: int = 10_000) -> Run:
    """Have the futures drawn as a job."""
    _check(seed, count)
    return request_run(
        club=plan.club,
        kind="planning.futures",
        inputs={"plan": str(plan.uuid), "seed": seed, "count": count},
        by=by,
    )


def _check(seed: int, count: int) -> None:
    if not 0 <= seed <= MOST_SEED:
        raise ValidationError({"seed": f"The seed is a whole number from 0 to {MOST_SEED:,}."})
    if not FEWEST <= count <= MOST:
        raise ValidationError({"count": f"From {FEWEST:,} to {MOST:,} futures can be drawn."})
