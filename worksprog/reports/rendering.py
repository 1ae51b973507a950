"""From the frozen figures to the tagged PDF, by the report's own files and nothing else."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from django.conf import settings
from django.template.loader import render_to_string

from worksprog.clubs.typefaces import PrintError
from worksprog.reports.figures import fingerprint_of
from worksprog.reports.presenting import present

STYLE = Path(settings.BASE_DIR) / "static" / "css" / "report_pdf.css"
ReportError = PrintError


def render_pdf(figures: Mapping[str, Any], *, paper: str | None = None) -> bytes:
    """The PDF of these figures: tagged (PDF/UA-1), with bookmarks; the same figures give the same bytes.

    Drawn on ``paper`` where it is given, else on the paper that the figures name.
    Raises ReportError when a font is missing or anything outside the report's own files is asked for.
    """
    # The typesetter takes most of a second to load, and only a worker that draws a report needs it.
    from worksprog.clubs.typesetting import typeset

    fingerprint = fingerprint_of(figures)
    html = render_to_string(
        "reports/report_pdf.html", {**present(figures, paper=paper), "fingerprint": fingerprint}
    )
    return typeset(html, style=STYLE, identifier=bytes.fromhex(fingerprint)[:16])
