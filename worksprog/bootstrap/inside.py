"""The parts of the set-up that need the installed packages: run by the virtual environment's Python.

``python -m worksprog.bootstrap.inside bundle FOLDER``
"""

from __future__ import annotations

import sys
from pathlib import Path


def write_bundle(vendor: Path) -> None:
    """The chart library for the page, of the very versions by which the PDF's charts are drawn."""
    import vl_convert

    target = vendor / "vega" / "vega-embed.js"
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_text(vl_convert.javascript_bundle(), encoding="utf-8")


def write_truetype(vendor: Path) -> None:
    """The faces as TrueType, for drawing charts without a browser: there woff2 is not read."""
    from fontTools.ttLib import TTFont

    fonts = vendor / "fonts"
    target = fonts / "truetype"
    target.mkdir(exist_ok=True)
    for source in sorted(fonts.glob("*-latin-[0-9]*.woff2")):
        font = TTFont(source)
        font.flavor = None
        font.save(target / f"{source.stem}.ttf")


def main(arguments: list[str]) -> None:
    what, folder = arguments
    if what != "bundle":
        raise SystemExit(f"“{what}” is not known here; expected: bundle FOLDER")
    write_bundle(Path(folder))
    write_truetype(Path(folder))


if __name__ == "__main__":
    main(sys.argv[1:])
