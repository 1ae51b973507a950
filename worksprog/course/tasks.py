"""The course's long jobs."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError
from django.urls import reverse

from worksprog.course.models import GroundModel, Survey
from worksprog.course.services_surveys import build_ground
from worksprog.course.services_water import PATH_FROM_M2, build_water
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
            tell=lambda percent, words: progress(percent / 2, words),
        )
        build_water(
            model=model,
            by=run.asked_by,
            tell=lambda percent, words: progress(50 + percent / 2, words),
        )
    except ValidationError as error:
        raise JobFailed(" ".join(error.messages)) from error
    return {
        "words": f"Ground of {model.count:,} levels, {model.lowest_m:.1f} to {model.highest_m:.1f} m.",
        "address": reverse("course:ground", args=[club.slug]),
    }


@job("course.water", title="Water on the ground")
def make_water(progress: Progress) -> dict[str, Any]:
    run = progress.run
    model = GroundModel.objects.filter(club=run.club).select_related("club").first()
    if model is None:
        raise JobFailed("There is no ground yet: make it of a survey first.")
    try:
        kept = build_water(
            model=model,
            by=run.asked_by,
            path_from_m2=progress.inputs.get("path_from_m2") or PATH_FROM_M2,
            tell=progress,
        )
    except ValidationError as error:
        raise JobFailed(" ".join(error.messages)) from error
    return {
        "words": f"{len(kept.hollows)} hollows found on cells of {kept.cell_m:.1f} m.",
        "address": reverse("course:water", args=[model.club.slug]),
    }
