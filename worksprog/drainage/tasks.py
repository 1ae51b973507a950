"""The drain network's long jobs."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.urls import reverse

from worksprog.clubs.typefaces import PrintError
from worksprog.drainage.drawing.sheet import PAPERS
from worksprog.drainage.printing import draw_for, keep_made, sheets_pdf, title_of
from worksprog.drainage.queries.sheets import drain_on_paper
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


@job("drainage.sheets", title="Long section on sheets")
def make_sheets(progress: Progress) -> dict[str, Any]:
    run = progress.run
    club, wish = run.club, progress.inputs
    if club is None:
        raise JobFailed("A long section belongs to a club; this run has none.")
    progress(5, "Drawing")
    try:
        drain = drain_on_paper(club, UUID(wish["reach"]))
        _, sheets = draw_for(
            club, drain, paper=wish["paper"], horizontal=wish["horizontal"],
            vertical=wish["vertical"],
        )  # fmt: skip
        progress(20, f"Setting {len(sheets)} sheets")
        pdf = sheets_pdf(sheets, PAPERS[wish["paper"]], title=title_of(drain), club=club.name)
    except KeyError as error:
        raise JobFailed("The drain is no longer there.") from error
    except (ValueError, PrintError) as error:
        raise JobFailed(str(error)) from error
    keep_made(reach_uuid=wish["reach"], run_uuid=run.uuid, pdf=pdf)
    return {
        "words": f"{len(sheets)} sheets of {wish['paper']}, {len(pdf) / 1000:,.0f} kB.",
        "address": reverse("drainage:section-made", args=[club.slug, run.uuid]),
    }
