"""From the frozen figures to the tagged PDF, by the report's own files and nothing else."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from django.conf import settings
from django.template.loader import render_to_string

from worksprog.reports.figures import fingerprint_of
from worksprog.reports.presenting import present

FONTS = Path(settings.BASE_DIR) / "static" / "vendor" / "fonts"
STYLE = Path(settings.BASE_DIR) / "static" / "css" / "report_pdf.css"
_SCHEME = "report:"
_FACES = {
    "source-serif-4": ("Source Serif 4", ((400, "normal"), (400, "italic"), (600, "normal"))),
    "ibm-plex-sans": (
        "IBM Plex Sans",
        ((400, "normal"), (400, "italic"), (600, "normal")),
    ),
    "ibm-plex-mono": ("IBM Plex Mono", ((400, "normal"), (500, "normal"), (600, "normal"))),
}


class ReportError(Exception):
    """The report cannot be made; the message says why and what would help."""


def font_files() -> dict[str, tuple[str, int, str, Path]]:
    """Address to family, weight, style and file. Letters beyond the western ones are a second family."""
    files = {}
    for face, (family, cuts) in _FACES.items():
        for weight, style in cuts:
            name = f"{face}-latin-{weight}-{style}.ttf"
            files[f"{_SCHEME}{name}"] = (family, weight, style, FONTS / "truetype" / name)
            name = f"{face}-latin-ext-{weight}-{style}.woff2"
            files[f"{_SCHEME}{name}"] = (f"{family} Ext", weight, style, FONTS / name)
    return files


def render_pdf(figures: Mapping[str, Any], *, paper: str | None = None) -> bytes:
    """The PDF of these figures: tagged (PDF/UA-1), with bookmarks; the same figures give the same bytes.

    Drawn on ``paper`` where it is given, else on the paper that the figures name.
    Raises ReportError when a font is missing or anything outside the report's own files is asked for.
    """
    # The typesetter takes most of a second to load, and only a worker that draws a report needs it.
    from worksprog.reports.typesetting import typeset

    fingerprint = fingerprint_of(figures)
    html = render_to_string(
        "reports/report_pdf.html", {**present(figures, paper=paper), "fingerprint": fingerprint}
    )
    return typeset(html, identifier=bytes.fromhex(fingerprint)[:16])
