"""Sheets of a drain as PDF: tagged, their fonts inside, the same sheets the same bytes."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from django.conf import settings
from django.template.loader import render_to_string

from worksprog.drainage.drawing.sheet import Drawn, Paper

_CSS = Path(settings.BASE_DIR) / "static" / "css"


def _set(template: str, context: Mapping[str, Any], style: str) -> bytes:
    # The typesetter takes most of a second to load, and only who prints needs it.
    from worksprog.clubs.typesetting import typeset

    html = render_to_string(template, dict(context))
    identifier = hashlib.sha256(html.encode()).digest()[:16]
    return typeset(html, style=_CSS / style, identifier=identifier)


def sheets_pdf(sheets: Sequence[Drawn], paper: Paper, *, title: str, club: str) -> bytes:
    """The drawn sheets, one a page, true to scale. PrintError when it cannot be set."""
    context = {"sheets": sheets, "paper": paper, "title": title, "club": club}
    return _set("drainage/section_pdf.html", context, "section_pdf.css")


def setting_out_pdf(context: Mapping[str, Any]) -> bytes:
    """The setting-out table on A4 with its cautions. PrintError when it cannot be set."""
    return _set("drainage/setting_out_pdf.html", context, "report_pdf.css")
