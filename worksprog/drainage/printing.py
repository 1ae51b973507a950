"""Sheets of a drain as PDF: tagged, their fonts inside, the same sheets the same bytes."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any
from uuid import UUID

from django.conf import settings
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.template.loader import render_to_string

from worksprog.calc.section_sheets import SectionSheets
from worksprog.clubs.models import Club
from worksprog.drainage.drawing.sheet import PAPERS, Drawn, Paper, SheetWords, draw_sheets
from worksprog.drainage.queries.sheets import DrainOnPaper

# A page is answered within two seconds; each sheet takes most of one to set.
AT_ONCE = 2
MOST_SHEETS = 20
MADE = "sheets"  # the folder of what was made beside
_CSS = Path(settings.BASE_DIR) / "static" / "css"


def draw_for(
    club: Club,
    drain: DrainOnPaper,
    *,
    paper: str,
    horizontal: int | None,
    vertical: int | None,
) -> tuple[SectionSheets, list[Drawn]]:
    """The sheets of a drain with the club's title block. ValueError where they cannot be drawn so."""
    today = club.today()
    return draw_sheets(
        drain.section,
        SheetWords(
            club=club.name,
            levels_from=drain.levels_from,
            grid=f"EPSG {club.epsg}",
            drawn_on=f"{today.day} {today:%b %Y}",
            status=f"{drain.status[:1].upper()}{drain.status[1:]}"
            f"{'; levels as built shown' if drain.built else ''}",
        ),
        paper=PAPERS[paper],
        crossings=drain.crossings,
        chambers=drain.chambers,
        materials=drain.materials,
        built=drain.built_levels,
        horizontal=horizontal,
        vertical=vertical,
        most_sheets=MOST_SHEETS,
    )


def title_of(drain: DrainOnPaper) -> str:
    return f"Long section, {drain.section.top_name} to {drain.section.outfall_name or 'its end'}"


def keep_made(*, reach_uuid: UUID | str, run_uuid: UUID | str, pdf: bytes) -> None:
    """Keep the PDF of a job; what was made of the same drain before is thrown away."""
    folder = f"{MADE}/{reach_uuid}"
    name = f"{folder}/{run_uuid}.pdf"
    if default_storage.exists(folder):
        for old in default_storage.listdir(folder)[1]:
            default_storage.delete(f"{folder}/{old}")
    default_storage.save(name, ContentFile(pdf))


def made(*, reach_uuid: UUID | str, run_uuid: UUID | str) -> bytes | None:
    """The PDF that a job made, while it is kept."""
    name = f"{MADE}/{reach_uuid}/{run_uuid}.pdf"
    if not default_storage.exists(name):
        return None
    with default_storage.open(name) as file:
        return bytes(file.read())


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
