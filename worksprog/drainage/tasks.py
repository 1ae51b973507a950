"""The drain network's long jobs."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError
from django.urls import reverse

from worksprog.drainage.queries.water import RainWish
from worksprog.drainage.services.water import keep_routing
from worksprog.runs.progress import Progress
from worksprog.runs.registry import JobFailed, job


@job("drainage.routing", title="Drains led through a rain")
def lead_through(progress: Progress) -> dict[str, Any]:
    run = progress.run
    club = run.club
    if club is None:
        raise JobFailed("A drain network belongs to a club; this run has none.")
    try:
        row = keep_routing(
            club=club,
            wish=RainWish.of(progress.inputs),
            by=run.asked_by,
            uuid=run.uuid,
            tell=progress,
        )
    except ValidationError as error:
        raise JobFailed(" ".join(error.messages)) from error
    return {
        "words": row.result["balance"]["words"],
        "address": reverse("drainage:through", args=[club.slug, row.uuid]),
    }
