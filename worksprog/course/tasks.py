"""The course's long jobs."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError
from django.urls import reverse

from worksprog.course.models import Survey
from worksprog.course.services_surveys import build_ground
from worksprog.runs.progress import Progress
from worksprog.runs.registry import JobFailed, job


@job("course.ground", title="Ground from a survey")
def make_ground(progress: Progress) -> dict[str, Any]:
    run = progress.run
    club = run.club
    if club is None:
        raise JobFailed("A ground belongs to a club; this run has none.")
    wanted = progress.inputs["surveys"]
    surveys = list(Survey.objects.filter(club=club, uuid__in=wanted))
    if len(surveys) != len(wanted):
        raise JobFailed("A survey that was chosen is no longer there; choose again.")
    try:
        model = build_ground(
            club=club,
            surveys=surveys,
            by=run.asked_by,
            contour_step_m=progress.inputs.get("contour_step_m"),
            uuid=run.uuid,
            tell=progress,
        )
    except ValidationError as error:
        raise JobFailed(" ".join(error.messages)) from error
    return {
        "words": f"Ground of {model.count:,} levels, {model.lowest_m:.1f} to {model.highest_m:.1f} m.",
        "address": reverse("course:ground", args=[club.slug]),
    }
