"""From the frozen figures to the tagged PDF, by the report's own files and nothing else."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

from django.conf import settings
from django.template.loader import render_to_string
from weasyprint import CSS, HTML
from weasyprint.text.fonts import FontConfiguration
from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse

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


def _font_files() -> dict[str, tuple[str, int, str, Path]]:
    """Address to family, weight, style and file. Letters beyond the western ones are a second family."""
    files = {}
    for face, (family, cuts) in _FACES.items():
        for weight, style in cuts:
            name = f"{face}-latin-{weight}-{style}.ttf"
            files[f"{_SCHEME}{name}"] = (family, weight, style, FONTS / "truetype" / name)
            name = f"{face}-latin-ext-{weight}-{style}.woff2"
            files[f"{_SCHEME}{name}"] = (f"{family} Ext", weight, style, FONTS / name)
    return files


class _OwnFiles(URLFetcher):  # type: ignore[misc]
    """Hands out the report's own fonts; every other address stops the rendering."""

    def __init__(self) -> None:
        super().__init__(allowed_protocols=())
        self._files = {address: entry[3] for address, entry in _font_files().items()}

    def fetch(self, url: str, headers: Any = None) -> URLFetcherResponse:
        path = self._files.get(url)
        if path is None:
            raise FatalURLFetchingError(f"The report asks for “{url}”, which is not its own.")
        return URLFetcherResponse(url, path.read_bytes(), {"Content-Type": "font/ttf"})


@lru_cache(maxsize=1)
def _style_sheet() -> tuple[CSS, FontConfiguration]:
    """The style and its fonts, read once a process."""
    missing = [str(entry[3]) for entry in _font_files().values() if not entry[3].is_file()]
    if missing:
        raise ReportError(
            f"The report's fonts are not there ({missing[0]} and {len(missing) - 1} more). "
            "Run “make vendor”, which lays them out."
        )
    faces = "\n".join(
        f'@font-face {{ font-family: "{family}"; font-weight: {weight}; font-style: {style}; '
        f'src: url("{address}"); }}'
        for address, (family, weight, style, _) in _font_files().items()
    )
    fonts = FontConfiguration()
    text = faces + STYLE.read_text(encoding="utf-8")
    return CSS(string=text, font_config=fonts, url_fetcher=_OwnFiles()), fonts


def render_pdf(figures: Mapping[str, Any], *, paper: str | None = None) -> bytes:
    """The PDF of these figures: tagged (PDF/UA-1), with bookmarks; the same figures give the same bytes.

    Drawn on ``paper`` where it is given, else on the paper that the figures name.
    Raises ReportError when a font is missing or anything outside the report's own files is asked for.
    """
    fingerprint = fingerprint_of(figures)
    html = render_to_string(
        "reports/report_pdf.html", {**present(figures, paper=paper), "fingerprint": fingerprint}
    )
    try:
        style, fonts = _style_sheet()
        document = HTML(string=html, url_fetcher=_OwnFiles(), base_url=None)
        pdf: bytes = document.write_pdf(
            stylesheets=[style],
            font_config=fonts,
            pdf_variant="pdf/ua-1",
            pdf_identifier=bytes.fromhex(fingerprint)[:16],
        )
    except FatalURLFetchingError as error:  # derives from BaseException: no job would catch it
        raise ReportError(str(error)) from error
    return pdf
