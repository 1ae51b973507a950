"""Rates that the crew's hours have taught: which are in use, and estimates as the book had them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import Any

from django.db.models import OuterRef, Subquery

from worksprog.calc.build_up import CrewRate
from worksprog.calc.ranges import ThreePoint
from worksprog.clubs.models import Club
from worksprog.works.models import Category, Estimate, EstimateLine, LearntRate


def learnt_in_use(club: Club) -> dict[str, LearntRate]:
    """By kind of work. One query."""
    rows = LearntRate.objects.filter(club=club, in_use=True, ground="", crew="")
    return {row.kind: row for row in rows}


def book_hours(estimates: Iterable[Estimate]) -> dict[int, ThreePoint]:
    """Hours of the crew by the book's own output rates, no learnt one in them, by estimate.

    A line set by hand is the estimator's and stays. One query where one of them uses a learnt rate.
    """
    listed = list(estimates)
    found = {
        one.pk: ThreePoint(one.labour_low_h, one.labour_likely_h, one.labour_high_h)
        for one in listed
    }
    learnt = {one.pk: one.learnt for one in listed if one.learnt}
    if not learnt:
        return found
    hours: dict[int, ThreePoint] = defaultdict(lambda: ThreePoint.exactly(0.0))
    for line in EstimateLine.objects.filter(estimate__in=learnt, category=Category.LABOUR):
        told = learnt[line.estimate_id]
        hours[line.estimate_id] = hours[line.estimate_id].plus(_by_the_book(line, told))
    return found | {pk: hours[pk] for pk in learnt}


def factor_in_use() -> Subquery:
    """To annotate items with: hours over hours of the book of their kind's rate in use, or None."""
    rates = LearntRate.objects.filter(
        club=OuterRef("club"), kind=OuterRef("kind"), in_use=True, ground="", crew=""
    )
    return Subquery(rates.values("factor_likely")[:1])


def forecast_factor(used: Mapping[str, Any] | None, in_use: float | None) -> float:
    """By what the hours still to come of an estimate are multiplied.

    ``used`` is what the estimate says of its learnt rate, ``in_use`` the factor in use now: an
    estimate that was made before goes by the learnt rate in its forecast all the same.
    """
    return in_use / float((used or {}).get("factor", 1.0)) if in_use else 1.0


def _by_the_book(line: EstimateLine, learnt: dict[str, Any]) -> ThreePoint:
    quantity = ThreePoint(line.quantity_low, line.quantity_likely, line.quantity_high)
    if line.is_by_hand or line.output_likely is None or line.output_code not in learnt["codes"]:
        return quantity
    assert line.output_low is not None and line.output_high is not None
    rate = CrewRate(learnt["factor"], learnt["narrowing"], "")
    output = rate.before(ThreePoint(line.output_low, line.output_likely, line.output_high))
    measured = ThreePoint(line.measured_low, line.measured_likely, line.measured_high)
    return measured.over_range(output)
