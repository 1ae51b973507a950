"""Sheets to print: true to scale in SVG and PDF, the setting-out table as page, CSV and PDF."""

from __future__ import annotations

import csv
import io
import math
import re
import subprocess
import xml.etree.ElementTree as ET
from io import BytesIO
from itertools import pairwise
from pathlib import Path
from urllib.parse import urlencode

import numpy as np
import pikepdf
import pytest
from django.core.files.storage import default_storage

from tests.drainage.drawn import draw_ditch, draw_node, draw_pipe, line
from worksprog.calc.long_section import lay_out_long_section
from worksprog.clubs.csv_files import guarded
from worksprog.course.models import Feature, Kind
from worksprog.course.services import create_feature
from worksprog.drainage.drawing.sheet import PAPERS, SheetWords, _columns, _spread, draw_sheets
from worksprog.drainage.printing import made, sheets_pdf
from worksprog.drainage.queries import check_network
from worksprog.drainage.queries.sheets import drain_on_paper
from worksprog.runs.models import Run, RunState
from worksprog.runs.services import perform_run

WORDS = SheetWords("First Club", "survey of 2024", "EPSG 27700", "24 Nov 2026", "Design")
POINT_MM = 25.4 / 72


def at(cast, feature: Feature, tail: str, **asked: object) -> str:
    address = f"/c/{cast.club.slug}/drainage/reach/{feature.uuid}/{tail}"
    return f"{address}?{urlencode(asked)}" if asked else address


def ground(points):
    """Falls with the drain: 53 m at its head, 1 in 100 eastwards."""
    return 53.0 - (points[:, 0] - 451000.0) / 100


def section_of(cast, feature: Feature):
    return lay_out_long_section(check_network(cast.club), str(feature.uuid), levels_at=ground)


def drawn(cast, feature: Feature, **facts):
    return draw_sheets(
        section_of(cast, feature), WORDS, **{"paper": PAPERS["A3"], "chambers": [100.0], **facts}
    )


def parsed(svg: str) -> ET.Element:
    return ET.fromstring(svg)  # noqa: S314  our own drawing


def ordinates(svg: str) -> dict[str, float]:
    """Where each column's chainage is written, by its words (mm from the left)."""
    found = {}
    for text in parsed(svg).iter("{http://www.w3.org/2000/svg}text"):
        if text.text and re.fullmatch(r"\d+\.\d\d", text.text):
            found[text.text] = float(text.get("x"))
    return found


@pytest.mark.django_db
def test_the_water_has_a_figure_only_where_it_was_worked_out(cast, drain):
    section = section_of(cast, drain.upper)
    ends = {piece.upper_chainage_m for piece in section.pieces if piece.upper_water_m is not None}
    ends |= {piece.lower_chainage_m for piece in section.pieces if piece.lower_water_m is not None}
    columns = _columns(section, [], [], 10.0)
    assert len(columns) > len(ends) > 0
    assert {one.chainage_m for one in columns if one.water_m is not None} == ends


@pytest.mark.django_db
def test_ten_metres_at_one_to_five_hundred_are_twenty_millimetres_in_the_svg(cast, drain):
    _, sheets = drawn(cast, drain.upper, horizontal=500, vertical=50)
    svg = parsed(sheets[0].svg)
    assert (svg.get("width"), svg.get("viewBox")) == ("420mm", "0 0 420 297")
    places = ordinates(sheets[0].svg)
    assert places["50.00"] - places["60.00"] == pytest.approx(20, abs=1e-3)
    inverts = [
        [float(part) for part in pair.split(",")]
        for polyline in svg.iter("{http://www.w3.org/2000/svg}polyline")
        if polyline.get("stroke-width") == "0.5"
        for pair in polyline.get("points").split()
    ]
    # P1 runs from 52 to 51 m over 100 m: 200 mm along and, at 1:50, 20 mm down.
    (x0, y0), (x1, y1) = inverts[:2]
    assert (x1 - x0, y1 - y0) == (pytest.approx(200, abs=2e-3), pytest.approx(20, abs=2e-3))


@pytest.mark.django_db
@pytest.mark.parametrize("paper", ["A3", "A4"])
def test_the_pdf_has_the_paper_and_the_scale(cast, drain, paper, tmp_path: Path):
    """Measured on the page as another program sees it, at 300 dots an inch."""
    from PIL import Image

    sheet = PAPERS[paper]
    _, sheets = drawn(cast, drain.lower, paper=sheet, horizontal=500, vertical=50)
    pdf = sheets_pdf(sheets, sheet, title="Long section", club="First Club")
    with pikepdf.open(BytesIO(pdf)) as opened:
        wide, high = (float(side) * POINT_MM for side in opened.pages[0].mediabox[2:])
        assert (wide, high) == (
            pytest.approx(sheet.wide_mm, abs=0.1), pytest.approx(sheet.high_mm, abs=0.1),
        )  # fmt: skip
        fonts = [
            thing for thing in opened.objects
            if isinstance(thing, pikepdf.Dictionary) and thing.get("/Type") == "/FontDescriptor"
        ]  # fmt: skip
        assert fonts
        assert all("/FontFile2" in font or "/FontFile3" in font for font in fonts)
        assert bool(opened.Root.MarkInfo.Marked)
        figures = [
            thing for thing in opened.objects
            if isinstance(thing, pikepdf.Dictionary) and thing.get("/S") == "/Figure"
        ]  # fmt: skip
        assert "1:500 across and 1:50 up" in str(figures[0].Alt)
    (tmp_path / "sheet.pdf").write_bytes(pdf)
    subprocess.run(
        ["pdftoppm", "-r", "300", "-gray", "-png", "sheet.pdf", "page"], cwd=tmp_path, check=True
    )
    pixels = np.asarray(Image.open(next(tmp_path.glob("page*.png"))).convert("L"))
    # The band's leaders stand right under the datum line, one at each column's place.
    svg = parsed(sheets[0].svg)
    datum = next(
        float(one.get("y1"))
        for one in svg.iter("{http://www.w3.org/2000/svg}line")
        if one.get("stroke-width") == "0.5" and one.get("y1") == one.get("y2")
    )
    row = pixels[round((datum + 1.5) / 25.4 * 300)]
    dark = np.flatnonzero(row < 235)
    places = [
        group.mean() * 25.4 / 300 for group in np.split(dark, np.flatnonzero(np.diff(dark) > 2) + 1)
    ]
    inside = [x for x in places if 50 < x < sheet.wide_mm - 12]
    steps = np.diff(inside)
    assert len(steps) == 10
    assert steps == pytest.approx(np.full(len(steps), 20.0), abs=0.2)


@pytest.mark.django_db
def test_the_band_says_the_levels_and_the_title_block_where_they_come_from(cast, drain):
    laid, sheets = drawn(cast, drain.upper, materials={str(drain.upper.uuid): "twin-wall"})
    assert (laid.horizontal, len(sheets)) == (1000, 1)
    words = [text.text for text in parsed(sheets[0].svg).iter("{http://www.w3.org/2000/svg}text")]
    for said in ("C1", "C2", "O1", "200.00", "52.000", "twin-wall", "1 in 100", "First Club",
                 "survey of 2024. Grid EPSG 27700", "1 of 1", "Size and material"):  # fmt: skip
        assert said in words
    # Depth at C1: its cover 53.20 less the invert 52.00; cover less the bore of 0.30 as well.
    assert {"1.20", "0.90"} <= set(words)


@pytest.mark.django_db
def test_what_is_longer_than_the_paper_goes_on_over_match_lines(cast, drain):
    laid, sheets = drawn(cast, drain.upper, paper=PAPERS["A4"], horizontal=250)
    assert len(sheets) > 2
    for number, sheet in enumerate(sheets):
        words = sheet.svg
        assert ("match line" in words) is True
        assert f"sheet {number + 1} of {len(sheets)}" in sheet.words
    cuts = [panel.lower_chainage_m for panel in laid.panels[:-1]]
    assert all(f"{cut:.2f}" in ordinates(sheets[k].svg) for k, cut in enumerate(cuts))


@pytest.mark.django_db
@pytest.mark.parametrize("paper", ["A3", "A4"])
def test_no_letters_lie_on_others_or_off_the_paper(cast, drain, paper):
    draw_ditch(
        cast.club,
        cast.manager,
        "a very long reference"[:20],
        (-500, 40),
        (0, 0),
        upstream_invert_m=56,
        downstream_invert_m=52,
    )
    for k in range(12):
        draw_node(cast.club, cast.manager, Kind.CHAMBER, f"X{k}", 150 + k * 0.8, 0)
        create_feature(
            club=cast.club, kind=Kind.SERVICE, by=cast.manager, ref=f"SV{k}",
            geometry=line((150 + k * 0.8, -5), (150 + k * 0.8, 5)),
        )  # fmt: skip
    top = Feature.objects.get(kind=Kind.DITCH)
    found = drain_on_paper(cast.club, top.uuid)
    assert len([one for one in found.crossings if one.what == "buried service"]) == 12
    sheet = PAPERS[paper]
    _, sheets = draw_sheets(
        lay_out_long_section(found.check, str(top.uuid), levels_at=ground),
        WORDS, paper=sheet, crossings=found.crossings,
    )  # fmt: skip
    for one in sheets:
        boxes = []
        for text in parsed(one.svg).iter("{http://www.w3.org/2000/svg}text"):
            boxes.append((_box_of(text), text.text))
        for (left, top_mm, right, foot), words in boxes:
            assert left >= 9.9, words
            assert right <= sheet.wide_mm - 9.9, words
            assert top_mm >= 9.9, words
            assert foot <= sheet.high_mm - 9.9, words
        for k, (first, words) in enumerate(boxes):
            for second, others in boxes[k + 1 :]:
                apart = (
                    first[2] <= second[0] or second[2] <= first[0]
                    or first[3] <= second[1] or second[3] <= first[1]
                )  # fmt: skip
                assert apart, (words, others)


def _box_of(text: ET.Element) -> tuple[float, float, float, float]:
    """Left, top, right and foot of the letters, whose cap height is 0.7 of their size."""
    x, y, size = (float(text.get(name)) for name in ("x", "y", "font-size"))
    wide, high = len(text.text) * size * 0.6, size * 0.7
    shift = {"start": 0.0, "middle": 0.5, "end": 1.0}[text.get("text-anchor")] * wide
    if text.get("transform").startswith("rotate(-90"):
        return x - high, y + shift - wide, x, y + shift
    return x - shift, y - high, x - shift + wide, y


def test_columns_keep_their_distance_and_stay_near_their_places():
    wanted = [10, 10.5, 11, 50, 51, 120]
    placed = _spread(wanted, 10, 120)
    assert all(after - before >= 3.5 - 1e-9 for before, after in pairwise(placed))
    assert placed[0] >= 10
    assert placed[-1] <= 120 + 1e-9
    assert max(abs(a - b) for a, b in zip(wanted, placed, strict=True)) < 7.1


@pytest.mark.django_db
def test_levels_as_built_stand_beside_the_design(cast, drain):
    _, plain = drawn(cast, drain.upper)
    _, marked = drawn(cast, drain.upper, built=[(150.0, 51.42)])
    assert "invert as built" in marked[0].svg
    assert "invert as built" not in plain[0].svg


@pytest.mark.django_db
def test_a_lone_pipe_without_levels_or_ground_is_drawn_and_says_what_is_missing(cast, as_manager):
    lone = draw_pipe(
        cast.club, cast.manager, "P9", (0, 0), (30, 0), upstream_invert_m=None,
        downstream_invert_m=None, inside_diameter_mm=None,
    )  # fmt: skip
    for tail in ("long-section/", "sheets/"):
        assert "level missing" in as_manager.get(at(cast, lone, tail)).content.decode()
    table = as_manager.get(at(cast, lone, "setting-out/")).content.decode()
    assert "P9 has not both its levels" in table
    assert "no ground model here" in table


@pytest.mark.django_db
def test_every_role_reads_the_sheets(cast, drain, as_committee, as_staff, as_manager):
    for client in (as_committee, as_staff, as_manager):
        for tail in ("sheets/", "sheets/1.svg", "setting-out/", "setting-out/stakes.csv"):
            assert client.get(at(cast, drain.upper, tail)).status_code == 200


@pytest.mark.django_db
def test_the_pages_lead_to_each_other(cast, drain, as_manager):
    page = as_manager.get(at(cast, drain.upper, "long-section/")).content.decode()
    assert at(cast, drain.upper, "sheets/") in page
    assert at(cast, drain.upper, "setting-out/") in page
    assert (
        at(cast, drain.upper, "setting-out/")
        in as_manager.get(at(cast, drain.upper, "")).content.decode()
    )


@pytest.mark.django_db
def test_a_scale_that_cannot_be_is_told_and_no_file_is_made(cast, drain, as_manager):
    page = as_manager.get(at(cast, drain.upper, "sheets/", paper="A4", vertical=10))
    assert "1:10 vertically" in page.content.decode()
    assert as_manager.get(at(cast, drain.upper, "sheets/1.svg", horizontal=300)).status_code == 400
    assert as_manager.get(at(cast, drain.upper, "sheets/9.svg")).status_code == 404
    answer = as_manager.get(at(cast, drain.upper, "sheets/sheets.pdf", paper="A5"))
    assert answer.status_code == 302


@pytest.mark.django_db
def test_a_sheet_comes_at_once_and_many_by_a_job(
    cast, drain, as_manager, settings, tmp_path, django_capture_on_commit_callbacks
):
    settings.MEDIA_ROOT = tmp_path
    answer = as_manager.get(at(cast, drain.upper, "sheets/sheets.pdf"))
    assert answer["Content-Type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF")
    many = {"paper": "A4", "horizontal": 250, "vertical": 100}
    page = as_manager.get(at(cast, drain.upper, "sheets/", **many)).content.decode()
    assert "Make the PDF of 4 sheets" in page
    assert as_manager.get(at(cast, drain.upper, "sheets/sheets.pdf", **many)).status_code == 302
    as_manager.post(at(cast, drain.upper, "sheets/make/", **many))
    run = Run.objects.get(kind="drainage.sheets")
    perform_run(run.uuid)
    run.refresh_from_db()
    assert run.state == RunState.DONE, run.error
    got = as_manager.get(run.outcome["address"])
    with pikepdf.open(BytesIO(got.content)) as pdf:
        assert len(pdf.pages) == 4
    assert len(default_storage.listdir(f"sheets/{drain.upper.uuid}")[1]) == 1
    assert made(reach_uuid=drain.upper.uuid, run_uuid=drain.upper.uuid) is None


@pytest.mark.django_db
def test_a_drain_gone_before_its_sheets_are_made_is_told(cast, drain, as_manager):
    as_manager.post(at(cast, drain.upper, "sheets/make/"))
    Feature.objects.filter(pk=drain.upper.pk).update(state="removed")
    run = Run.objects.get(kind="drainage.sheets")
    perform_run(run.uuid)
    run.refresh_from_db()
    assert run.state == RunState.FAILED
    assert "no longer there" in run.error


def rows_of(answer) -> list[dict[str, str]]:
    text = answer.content.decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(text, newline="")))


@pytest.mark.django_db
def test_the_table_as_csv(cast, drain, as_manager):
    answer = as_manager.get(
        at(cast, drain.upper, "setting-out/stakes.csv", every_m=25, offset_m=2, wall_mm=0,
           mark_m=52.5, back_sight_m=1.25)
    )  # fmt: skip
    assert answer["Content-Type"] == "text/csv; charset=utf-8"
    assert b"\r\n" in answer.content
    rows = rows_of(answer)
    assert [row["chainage from the outfall (m)"] for row in rows][:3] == ["0.00", "25.00", "50.00"]
    quarter = rows[1]
    assert float(quarter["easting (m)"]) == 451175.0
    assert float(quarter["northing (m)"]) == 231000.0
    assert float(quarter["invert or bed level (m)"]) == 50.25
    assert float(quarter["trench bottom (m)"]) == 50.15
    assert float(quarter["gradient (%)"]) == 1.0
    assert float(quarter["peg left northing (m)"]) == 231002.0
    assert float(quarter["staff on the trench bottom (m)"]) == 3.6
    assert "outfall O1" in rows[0]["what is there"]
    assert any("chamber C2" in row["what is there"] for row in rows)


@pytest.mark.parametrize(
    ("cell", "kept"),
    [("=1+1", "'=1+1"), ("-12.5", "-12.5"), ("-C3", "'-C3"), ("@x", "'@x"), ("C3", "C3")],
)
def test_no_cell_is_taken_for_a_formula(cell, kept):
    assert guarded(cell) == kept


@pytest.mark.django_db
def test_a_name_that_looks_like_a_formula_is_words_in_the_file(cast, drain, as_manager):
    Feature.objects.filter(pk=drain.upper.pk).update(ref="=cmd|x")
    rows = rows_of(as_manager.get(at(cast, drain.upper, "setting-out/stakes.csv")))
    assert rows[-1]["drain"] == "'=cmd|x"


@pytest.mark.django_db
def test_the_table_goes_by_the_design_even_where_it_was_levelled(cast, drain, as_manager):
    found = drain_on_paper(cast.club, drain.upper.uuid)
    assert found.way.pieces[0].upper_invert_m == 52.0
    assert not math.isnan(found.section.length_m)


@pytest.mark.django_db
def test_the_table_page_names_what_crosses_and_cautions(cast, drain, as_manager):
    create_feature(
        club=cast.club, kind=Kind.SERVICE, by=cast.manager, ref="SV1",
        geometry=line((60, -5), (60, 5)),
    )  # fmt: skip
    page = as_manager.get(at(cast, drain.upper, "setting-out/")).content.decode()
    assert "crosses buried service SV1" in page
    assert "SV1 at 140.0 m" in page
    assert "No trench side can be relied on to stand unsupported" in page
    assert "confined spaces" in page
    assert "safe" not in page.lower()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"every_m": "x"}, "Enter a number"),
        ({"every_m": 0.01}, "0.5 to 100 m apart"),
        ({"mark_m": 52}, "needs both"),
        ({"mark_m": 52, "back_sight_m": 9}, "from 0 to 5 m"),
    ],
)
def test_bad_wishes_are_told_and_kept(cast, drain, as_manager, asked, words):
    answer = as_manager.get(at(cast, drain.upper, "setting-out/", **asked))
    assert answer.status_code == 400
    page = answer.content.decode()
    assert words in page
    assert f'value="{next(iter(asked.values()))}"' in page
    for tail in ("setting-out/stakes.csv", "setting-out/table.pdf"):
        assert as_manager.get(at(cast, drain.upper, tail, **asked)).status_code == 302


@pytest.mark.django_db
def test_the_table_as_pdf(cast, drain, as_manager, tmp_path: Path):
    answer = as_manager.get(at(cast, drain.upper, "setting-out/table.pdf", offset_m=1.5))
    (tmp_path / "table.pdf").write_bytes(answer.content)
    text = subprocess.run(
        ["pdftotext", "-layout", "table.pdf", "-"], cwd=tmp_path, check=True, capture_output=True,
        text=True,
    ).stdout  # fmt: skip
    assert "Setting out C1 to O1" in text
    assert "451200.000" in text
    assert "Local codes and licensed practice decide" in text
    with pikepdf.open(BytesIO(answer.content)) as pdf:
        assert bool(pdf.Root.MarkInfo.Marked)


@pytest.mark.django_db
def test_a_table_too_long_to_print_says_so_and_is_all_in_the_csv(cast, drain, as_manager):
    close = {"every_m": 0.5}
    answer = as_manager.get(at(cast, drain.upper, "setting-out/table.pdf", **close), follow=True)
    assert "401 stakes are more than the 250" in answer.content.decode()
    rows = rows_of(as_manager.get(at(cast, drain.upper, "setting-out/stakes.csv", **close)))
    assert len(rows) == 401


def test_a_pipe_into_a_brook_has_its_papers_to_its_own_outfall(cast, client):
    """Long section, stakes and pages stop at MO, with one ground level there."""
    club, by = cast.club, cast.manager
    draw_ditch(club, by, "BK", (0, -50), (200, -50))
    lower = draw_pipe(
        club, by, "M1", (80, 10), (80, -50), upstream_invert_m=52.0, downstream_invert_m=51.6
    )
    mouth = draw_node(club, by, Kind.OUTFALL, "MO", 80, -50, cover=53.1)
    drain = drain_on_paper(club, lower.uuid)
    assert (drain.section.outfall_name, round(drain.section.length_m)) == ("MO", 60)
    assert drain.ground_at(*drain.way.place_at(0)) == drain.section.stations[-1].ground_m == 53.1
    client.force_login(by)
    page = client.get(at(cast, lower, "")).content.decode()
    assert "Its water comes out at MO, into BK." in page
    page = client.get(f"/c/{club.slug}/drainage/node/{mouth.uuid}/").content.decode()
    assert "Water comes out here, into BK." in page
