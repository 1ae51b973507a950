"""The parts of the set-up that need the installed packages: run by the virtual environment's Python.

``python -m worksprog.bootstrap.inside bundle FOLDER`` writes the chart library and the TrueType faces;
``… prepare`` migrates and builds the demonstration club.
"""

from __future__ import annotations

import sys
from pathlib import Path


def write_bundle(vendor: Path) -> None:
    """The chart library for the page, of the very versions by which the PDF's charts are drawn."""
    import vl_convert

    target = vendor / "vega" / "vega-embed.js"
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_text(
        vl_convert.javascript_bundle("window.vegaEmbed = vegaEmbed;"), encoding="utf-8"
    )


def write_truetype(vendor: Path) -> None:
    """The faces as TrueType, for drawing charts without a browser: there woff2 is not read."""
    from fontTools.ttLib import TTFont  # type: ignore[import-untyped]

    fonts = vendor / "fonts"
    target = fonts / "truetype"
    target.mkdir(exist_ok=True)
    for source in sorted(fonts.glob("*-latin-[0-9]*.woff2")):
        font = TTFont(source)
        font.flavor = None
        font.save(target / f"{source.stem}.ttf")


def prepare() -> None:
    """Bring the database to today's schema and build the demonstration club when it is not there."""
    import django
    from django.core.management import call_command

    django.setup()
    call_command("migrate", verbosity=0)
    call_command("build_demo")


def main(arguments: list[str]) -> None:
    match arguments:
        case ["bundle", folder]:
            write_bundle(Path(folder))
            write_truetype(Path(folder))
        case ["prepare"]:
            prepare()
        case _:
            raise SystemExit("Expected “bundle FOLDER” or “prepare”.")


if __name__ == "__main__":
    main(sys.argv[1:])
