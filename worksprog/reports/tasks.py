"""The long job: a report as PDF."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError
from django.urls import reverse

from worksprog.reports.models import Report
from worksprog.reports.rendering import ReportError
from worksprog.reports.services import render_report
from worksprog.runs.progress import Progress
from worksprog.runs.registry import JobFailed, job


@job("reports.pdf", title="Committee report as PDF")
def make_pdf(progress: Progress) -> dict[str, Any]:
    run = progress.run
    report = (
        Report.objects.select_related("club", "programme")
        .filter(club=run.club, uuid=run.inputs["report"])
        .first()
    )
    if report is None:
        raise JobFailed("The report is no longer there; it was thrown away as a draft.")
    try:
        pdf = render_report(report=report, by=run.asked_by, tell=progress)
    except ReportError as error:
        raise JobFailed(str(error)) from error
    except ValidationError as error:
        raise JobFailed(" ".join(error.messages)) from error
    return {
        "address": reverse("reports:report", args=[report.club.slug, report.uuid]),
        "words": f"{report} is ready, {len(pdf) / 1000:,.0f} kB.",
    }
