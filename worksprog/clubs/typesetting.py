"""WeasyPrint, held to the program's own files and failing loudly.

Loading it takes most of a second: import it where a page is set, not above.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any

from PIL import ImageFile
from weasyprint import CSS, HTML
from weasyprint.text.fonts import FontConfiguration
from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse

from worksprog.clubs.typefaces import PrintError, font_files

# WeasyPrint lets Pillow take pictures that are cut short, for the whole process; a photo from site
# that was cut short on its way is to be refused.
ImageFile.LOAD_TRUNCATED_IMAGES = False


class _OwnFiles(URLFetcher):  # type: ignore[misc]
    """Hands out the program's own fonts; every other address stops the rendering."""

    def __init__(self) -> None:
        super().__init__(allowed_protocols=())
        self._files = {address: entry[3] for address, entry in font_files().items()}

    def fetch(self, url: str, headers: Any = None) -> URLFetcherResponse:
        path = self._files.get(url)
        if path is None:
            raise FatalURLFetchingError(f"The report asks for “{url}”, which is not its own.")
        return URLFetcherResponse(url, path.read_bytes(), {"Content-Type": "font/ttf"})


@lru_cache(maxsize=4)
def style_sheet(style: Path) -> tuple[CSS, FontConfiguration]:
    """A style and its fonts, read once a process."""
    missing = [str(entry[3]) for entry in font_files().values() if not entry[3].is_file()]
    if missing:
        raise PrintError(
            f"The report's fonts are not there ({missing[0]} and {len(missing) - 1} more). "
            "Run “make vendor”, which lays them out."
        )
    faces = "\n".join(
        f'@font-face {{ font-family: "{family}"; font-weight: {weight}; font-style: {cut}; '
        f'src: url("{address}"); }}'
        for address, (family, weight, cut, _) in font_files().items()
    )
    fonts = FontConfiguration()
    text = faces + style.read_text(encoding="utf-8")
    return CSS(string=text, font_config=fonts, url_fetcher=_OwnFiles()), fonts


def typeset(html: str, *, style: Path, identifier: bytes) -> bytes:
    """A tagged PDF of the page. PrintError when it asks for what is not the program's own."""
    try:
        sheet, fonts = style_sheet(style)
        document = HTML(string=html, url_fetcher=_OwnFiles(), base_url=None)
        pdf: bytes = document.write_pdf(
            stylesheets=[sheet],
            font_config=fonts,
            pdf_variant="pdf/ua-1",
            pdf_identifier=identifier,
        )
    except FatalURLFetchingError as error:  # derives from BaseException: no job would catch it
        raise PrintError(str(error)) from error
    return pdf
