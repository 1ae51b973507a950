"""The typefaces of what is printed, from the program's own files and nowhere else."""

from __future__ import annotations

from pathlib import Path

from django.conf import settings

FONTS = Path(settings.BASE_DIR) / "static" / "vendor" / "fonts"
_SCHEME = "report:"
_FACES = {
    "source-serif-4": ("Source Serif 4", ((400, "normal"), (400, "italic"), (600, "normal"))),
    "ibm-plex-sans": (
        "IBM Plex Sans",
        ((400, "normal"), (400, "italic"), (600, "normal")),
    ),
    "ibm-plex-mono": ("IBM Plex Mono", ((400, "normal"), (500, "normal"), (600, "normal"))),
}


class PrintError(Exception):
    """A page cannot be set; the message says why and what would help."""


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
