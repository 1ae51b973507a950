"""The report's PDF against what ISO 14289-1 (PDF/UA-1) asks of a file, read by qpdf's library."""

from __future__ import annotations

from io import BytesIO
from itertools import pairwise
from typing import Any

import pikepdf
import pytest

from tests.reports.samples import sample_figures
from worksprog.reports.rendering import render_pdf

UA = "ISO 14289-1:2014 (PDF/UA-1)"
MM_PER_POINT = 25.4 / 72


@pytest.fixture(scope="module")
def opened() -> Any:
    with pikepdf.open(BytesIO(render_pdf(sample_figures()))) as pdf:
        yield pdf


def _elements(pdf: pikepdf.Pdf) -> list[Any]:
    return [
        one
        for one in pdf.objects
        if isinstance(one, pikepdf.Dictionary) and one.get("/Type") == "/StructElem"
    ]


def test_the_file_declares_its_part(opened: Any, outside: Any) -> None:
    with opened.open_metadata() as meta:
        outside(quantity="PDF/UA part in the XMP metadata", expected=1,
                got=float(meta["pdfuaid:part"]), tolerance=0, source=f"{UA}, 5 (from memory)")  # fmt: skip


def test_what_the_catalogue_must_hold(opened: Any, outside: Any) -> None:
    root = opened.Root
    held = [
        bool(root.MarkInfo.Marked),
        "/StructTreeRoot" in root,
        str(root.Lang) == "en-GB",
        bool(root.ViewerPreferences.DisplayDocTitle),
    ]
    outside(quantity="PDF/UA catalogue entries present (Marked, structure, language, title shown)",
            expected=4, got=sum(held), tolerance=0, source=f"{UA}, 7.1, 7.2 (from memory)")  # fmt: skip


def test_figures_without_alternative_text(opened: Any, outside: Any) -> None:
    figures = [one for one in _elements(opened) if one.S == "/Figure"]
    assert figures
    bare = sum(not str(one.get("/Alt", "")).strip() for one in figures)
    outside(quantity="Figures without alternative text", expected=0, got=bare, tolerance=0,
            source=f"{UA}, 7.3 (from memory)")  # fmt: skip


def test_headings_skip_no_level(opened: Any, outside: Any) -> None:
    levels = [
        int(str(one.S)[2:])
        for one in _elements(opened)
        if str(one.S) in {f"/H{n}" for n in range(1, 7)}
    ]
    assert levels[0] == 1
    skipped = sum(after > before + 1 for before, after in pairwise(levels))
    outside(quantity="Heading levels skipped", expected=0, got=skipped, tolerance=0,
            source=f"{UA}, 7.4.2 (from memory)")  # fmt: skip


def test_fonts_that_are_not_embedded(opened: Any, outside: Any) -> None:
    fonts = [
        one
        for one in opened.objects
        if isinstance(one, pikepdf.Dictionary) and one.get("/Type") == "/FontDescriptor"
    ]
    assert fonts
    loose = sum("/FontFile2" not in one and "/FontFile3" not in one for one in fonts)
    outside(quantity="Fonts not embedded", expected=0, got=loose, tolerance=0,
            source=f"{UA}, 7.21.4 (from memory)")  # fmt: skip


def test_a4_is_210_by_297(opened: Any, outside: Any) -> None:
    box = [float(value) for value in opened.pages[0].mediabox]
    for name, side, expected in (("width", box[2], 210), ("height", box[3], 297)):
        outside(quantity=f"A4 {name} of the report", expected=expected, got=side * MM_PER_POINT,
                tolerance=0.1, unit="mm", source="ISO 216 (from memory)")  # fmt: skip
