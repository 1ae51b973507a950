"""WeasyPrint, held to the report's own files and failing loudly."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from weasyprint import CSS, HTML
from weasyprint.text.fonts import FontConfiguration
from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse

from worksprog.reports.rendering import STYLE, ReportError, font_files


class _OwnFiles(URLFetcher):  # type: ignore[misc]
    """Hands out the report's own fonts; every other address stops the rendering."""

    def __init__(self) -> None:
        super().__init__(allowed_protocols=())
        self._files = {address: entry[3] for address, entry in font_files().items()}

    def fetch(self, url: str, headers: Any = None) -> URLFetcherResponse:
        path = self._files.get(url)
        if path is None:
            raise FatalURLFetchingError(f"The report asks for “{url}”, which is not its own.")
        return URLFetcherResponse(url, path.read_bytes(), {"Content-Type": "font/ttf"})


@lru_cache(maxsize=1)
def style_sheet() -> tuple[CSS, FontConfiguration]:
    """The style and its fonts, read once a process."""
    missing = [str(entry[3]) for entry in font_files().values() if not entry[3].is_file()]
    if missing:
        raise ReportError(
            f"The report's fonts are not there ({missing[0]} and {len(missing) - 1} more). "
            "Run “make vendor”, which lays them out."
        )
    faces = "\n".join(
        f'@font-face {{ font-family: "{family}"; font-weight: {weight}; font-style: {style}; '
        f'src: url("{address}"); }}'
        for address, (family, weight, style, _) in font_files().items()
    )
    fonts = FontConfiguration()
    text = faces + STYLE.read_text(encoding="utf-8")
    return CSS(string=text, font_config=fonts, url_fetcher=_OwnFiles()), fonts


def typeset(html: str, *, identifier: bytes) -> bytes:
    """A tagged PDF of the page. ReportError when it asks for what is not the report's own."""
    try:
        style, fonts = style_sheet()
        document = HTML(string=html, url_fetcher=_OwnFiles(), base_url=None)
        pdf: bytes = document.write_pdf(
            stylesheets=[style],
            font_config=fonts,
            pdf_variant="pdf/ua-1",
            pdf_identifier=identifier,
        )
    except FatalURLFetchingError as error:  # derives from BaseException: no job would catch it
        raise ReportError(str(error)) from error
    return pdf
