"""The PDF itself: opened with another library than the one that made it."""

from __future__ import annotations

import os
import subprocess
import sys
from io import BytesIO
from pathlib import Path

import pikepdf
import pytest
from django.conf import settings
from django.template.loader import render_to_string

from tests.reports.samples import empty_figures, sample_figures
from worksprog.clubs import typefaces, typesetting
from worksprog.reports import rendering
from worksprog.reports.figures import fingerprint_of
from worksprog.reports.rendering import ReportError, render_pdf


@pytest.fixture(scope="module")
def sample() -> bytes:
    return render_pdf(sample_figures())


def _text(pdf: bytes, tmp_path: Path, *options: str) -> str:
    file = tmp_path / "report.pdf"
    file.write_bytes(pdf)
    done = subprocess.run(
        ["pdftotext", "-layout", *options, str(file), "-"],
        capture_output=True, check=True, text=True,
    )  # fmt: skip
    return done.stdout


def _fonts(pdf: pikepdf.Pdf) -> list[pikepdf.Object]:
    return [
        thing
        for thing in pdf.objects
        if isinstance(thing, pikepdf.Dictionary) and thing.get("/Type") == "/FontDescriptor"
    ]


def _tags(pdf: pikepdf.Pdf) -> list[pikepdf.Object]:
    return [
        thing
        for thing in pdf.objects
        if isinstance(thing, pikepdf.Dictionary) and thing.get("/Type") == "/StructElem"
    ]


def test_it_is_tagged_and_says_what_it_is(sample: bytes) -> None:
    with pikepdf.open(BytesIO(sample)) as pdf:
        assert bool(pdf.Root.MarkInfo.Marked)
        assert str(pdf.Root.Lang) == "en-GB"
        assert bool(pdf.Root.ViewerPreferences.DisplayDocTitle)
        assert str(pdf.docinfo.Title) == "Works progress to 24 November 2026, Sample Hill Golf Club"
        with pdf.open_metadata() as meta:
            assert meta["pdfuaid:part"] == "1"
        kinds = {str(tag.S) for tag in _tags(pdf)}
        assert {"/Document", "/H1", "/H2", "/P", "/Table", "/TH", "/TD", "/Figure"} <= kinds


def test_every_drawing_has_its_words(sample: bytes) -> None:
    with pikepdf.open(BytesIO(sample)) as pdf:
        figures = [tag for tag in _tags(pdf) if tag.S == "/Figure"]
        words = [str(figure.Alt) for figure in figures]
    assert len(words) == 3
    assert any("1 to 5,000" in text for text in words)
    assert any("C5 to O1" in text for text in words)


def test_bookmarks_name_the_parts(sample: bytes) -> None:
    with pikepdf.open(BytesIO(sample)) as pdf, pdf.open_outline() as outline:
        top = outline.root[0]
        assert top.title == "Works progress to 24 November 2026"
        names = [entry.title for entry in top.children]
    assert names[:2] == ["Decisions asked of the committee", "Money and hours by project"]
    assert "What needs care" in names


def test_fonts_are_embedded_and_are_the_reports_own(sample: bytes) -> None:
    with pikepdf.open(BytesIO(sample)) as pdf:
        fonts = _fonts(pdf)
        names = {str(font.FontName).split("+")[1] for font in fonts}
        assert all("/FontFile2" in font or "/FontFile3" in font for font in fonts)
    assert all(name.startswith(("IBM-Plex", "Source-Serif")) for name in names), names


def test_nothing_in_it_points_outside(sample: bytes) -> None:
    with pikepdf.open(BytesIO(sample)) as pdf:
        links = [
            thing
            for thing in pdf.objects
            if isinstance(thing, pikepdf.Dictionary)
            and ("/URI" in thing or thing.get("/S") in ("/Launch", "/JavaScript", "/GoToR"))
        ]
    assert links == []


def test_the_title_block_is_on_every_page(sample: bytes, tmp_path: Path) -> None:
    with pikepdf.open(BytesIO(sample)) as pdf:
        count = len(pdf.pages)
    for page in range(1, count + 1):
        text = _text(sample, tmp_path, "-f", str(page), "-l", str(page))
        assert "No. 7, issued to the greens committee" in text
        assert "24 Nov 2026" in text
        assert f"{page} of {count}" in text


def test_a_working_copy_says_so_on_every_page(tmp_path: Path) -> None:
    pages = _text(render_pdf(sample_figures(issued=False)), tmp_path).split("\f")[:-1]
    assert all("Working copy, not issued" in page for page in pages)


def test_what_it_shows_is_in_the_figures(sample: bytes, tmp_path: Path) -> None:
    text = " ".join(_text(sample, tmp_path).split())
    for shown in ("38,200", "96,000", "94,100", "1,480", "£38.2k", "18 Mar", "612 h", "41 %",
                  "Release £11,400 for the upper ditch", "300 mm 1 in"):  # fmt: skip
        assert shown in text, shown
    assert fingerprint_of(sample_figures()) in text


def test_the_same_figures_give_the_same_bytes(sample: bytes) -> None:
    assert render_pdf(sample_figures()) == sample


def test_another_process_gives_the_same_bytes(sample: bytes, tmp_path: Path) -> None:
    out = tmp_path / "again.pdf"
    code = (
        "import sys, django; django.setup()\n"
        "from tests.reports.samples import sample_figures\n"
        "from worksprog.reports.rendering import render_pdf\n"
        "open(sys.argv[1], 'wb').write(render_pdf(sample_figures()))\n"
    )
    env = {**os.environ, "PYTHONHASHSEED": "7", "DJANGO_SETTINGS_MODULE": "worksprog.settings",
           "TZ": "Pacific/Auckland"}  # fmt: skip
    subprocess.run(
        [sys.executable, "-c", code, str(out)], cwd=settings.BASE_DIR, env=env, check=True
    )
    assert out.read_bytes() == sample


def test_one_figure_otherwise_is_another_document(sample: bytes) -> None:
    figures = sample_figures()
    figures["projects"][0]["spent"] = "21941.00"
    assert render_pdf(figures) != sample


@pytest.mark.parametrize(("paper", "size"), [("A4", (595, 842)), ("Letter", (612, 792))])
def test_both_papers(paper: str, size: tuple[int, int]) -> None:
    with pikepdf.open(BytesIO(render_pdf(sample_figures(), paper=paper))) as pdf:
        box = pdf.pages[0].mediabox
        assert (round(float(box[2])), round(float(box[3]))) == size


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_map_is_as_wide_on_paper_as_it_was_drawn(paper: str) -> None:
    """What its stated scale rests on."""
    with pikepdf.open(BytesIO(render_pdf(sample_figures(), paper=paper))) as pdf:
        figures = [tag for tag in _tags(pdf) if tag.S == "/Figure" and "Map" in str(tag.Alt)]
        x1, _, x2, _ = (float(value) for value in figures[0].A.BBox)
    # The tag's box is in CSS pixels.
    assert (x2 - x1) * 25.4 / 96 == pytest.approx(172.0, abs=0.1)


def test_an_empty_programme_makes_a_report_too(tmp_path: Path) -> None:
    text = _text(render_pdf(empty_figures()), tmp_path)
    assert "has no projects yet" in text and "Nothing was logged" in text


def test_markup_in_words_is_only_words(tmp_path: Path) -> None:
    figures = sample_figures()
    nasty = "<img src='file:///etc/passwd'><b>5 < 6 & \"x\"</b>"
    figures["report"]["opening"] = nasty
    figures["report"]["title"] = nasty
    figures["decisions"][0]["question"] = nasty
    figures["projects"][0]["name"] = nasty
    figures["charts"][0]["rows"][1]["label"] = nasty
    figures["map"]["works"][0]["label"] = "<b>&"
    figures["section"]["layout"]["stations"][0]["name"] = "<C5>"
    text = _text(render_pdf(figures), tmp_path)
    assert "<img src=" in text and "root:" not in text


def test_a_long_table_repeats_its_head(tmp_path: Path) -> None:
    figures = sample_figures()
    row = figures["projects"][0]
    figures["projects"] = [{**row, "name": f"Project {n}"} for n in range(80)]
    pages = _text(render_pdf(figures), tmp_path).split("\f")
    with_rows = [page for page in pages if "Project 1" in page or "Project 79" in page]
    assert len(with_rows) >= 2
    assert all("Approved £" in page for page in with_rows)


def test_very_long_words_stay_inside_the_sheet() -> None:
    figures = sample_figures()
    figures["decisions"][0]["question"] = "x" * 600
    figures["projects"][0]["name"] = "y" * 120
    assert render_pdf(figures).startswith(b"%PDF")


def test_an_address_that_is_not_its_own_stops_it(monkeypatch) -> None:
    def with_picture(*args, **kwargs):
        return render_to_string(*args, **kwargs).replace(
            "<main>", "<main><img alt='x' src='http://127.0.0.1/x'>"
        )

    monkeypatch.setattr("worksprog.reports.rendering.render_to_string", with_picture)
    with pytest.raises(ReportError, match="not its own"):
        render_pdf(sample_figures())


def test_missing_fonts_are_told(monkeypatch, tmp_path: Path) -> None:
    typesetting.style_sheet.cache_clear()
    monkeypatch.setattr(typefaces, "FONTS", tmp_path)
    with pytest.raises(ReportError, match="make vendor"):
        typesetting.style_sheet(rendering.STYLE)
    typesetting.style_sheet.cache_clear()
