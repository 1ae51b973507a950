"""The works' long jobs."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode
from uuid import UUID

from django.core.exceptions import ValidationError
from django.urls import reverse

from worksprog.runs.progress import Progress
from worksprog.runs.registry import JobFailed, job
from worksprog.works.bridge_sizing import CannotSize
from worksprog.works.forms.sizing import SizingForm
from worksprog.works.models import Programme, RangeRow
from worksprog.works.queries import sizing as queries_sizing
from worksprog.works.services.ranges import keep_ranges


@job("works.simulation", title="Ranges of the programme")
def simulate_programme(progress: Progress) -> dict[str, Any]:
    programme = (
        Programme.objects.select_related("club")
        .filter(uuid=progress.inputs["programme"], club=progress.run.club)
        .first()
    )
    if programme is None:
        raise JobFailed("The programme is no longer there.")
    try:
        run = keep_ranges(programme=programme, by=progress.run.asked_by, tell=progress)
    except ValidationError as error:
        raise JobFailed(" ".join(error.messages)) from error
    whole = run.rows.get(level=RangeRow.Level.PROGRAMME)
    within = whole.money["quantiles"][79]
    return {
        "words": f"{run.draws:,} draws: money stays within {within:,.0f} in 8 cases of 10.",
        "address": reverse("works:ranges-of", args=[programme.club.slug, programme.uuid]),
    }


@job("works.sizing", title="Sizes and levels of drains")
def size_branch(progress: Progress) -> dict[str, Any]:
    club = progress.run.club
    if club is None:
        raise JobFailed("Drains belong to a club; this run has none.")
    root, figures = UUID(progress.inputs["root"]), progress.inputs["figures"]
    form = SizingForm(figures)
    if not form.is_valid():
        raise JobFailed("The limits cannot be read: enter them again.")
    try:
        task = queries_sizing.task_for(
            club, root, form.limits(), inside_share=form.cleaned_data["inside_share"]
        )
    except KeyError as error:
        raise JobFailed("The reach is no longer there.") from error
    except CannotSize as error:
        raise JobFailed(str(error)) from error
    answer = task.solve(tell=progress)
    address = reverse("works:sizing", args=[club.slug, root])
    best = answer.best
    return {
        "words": "Nothing fits within these limits."
        if best is None
        else f"{task.open_count} pipes sized, {best.money.total:,.0f} together before tax.",
        "address": f"{address}?{urlencode({**figures, 'run': progress.run.uuid})}",
        "seen": task.seen,
        "answer": queries_sizing.pack(answer),
    }
