"""The map figure and the chart as drawings."""

from __future__ import annotations

import math
import re
from typing import Any
from xml.etree import ElementTree

import pytest

from tests.reports.samples import sample_figures
from worksprog.reports.drawing.chart import programme_spec
from worksprog.reports.drawing.map_figure import MapFigure, coordinates_of, draw_map, round_scale

SVG = "{http://www.w3.org/2000/svg}"


def _map(place: Any = None) -> MapFigure:
    figure = draw_map(
        place or sample_figures()["map"], width_mm=172, height_mm=200, on_words="24 November 2026"
    )
    assert figure is not None
    return figure


def _said(one: ElementTree.Element, name: str) -> str:
    value = one.get(name)
    assert value is not None
    return value


def _figure(one: ElementTree.Element, name: str) -> float:
    return float(_said(one, name))


@pytest.mark.parametrize(
    ("extent_m", "room_mm", "scale"),
    [(160, 160, 1000), (161, 160, 1250), (750, 160, 5000), (960, 160, 6000), (1600, 160, 10_000),
     (40, 160, 250), (12_000, 160, 75_000), (0, 160, 500)],
)  # fmt: skip
def test_scales_are_round_and_the_extent_finds_room(extent_m, room_mm, scale) -> None:
    assert round_scale(extent_m, room_mm) == scale
    assert extent_m * 1000 / scale <= room_mm


def test_a_metre_is_drawn_at_the_scale() -> None:
    figure = _map()
    root = ElementTree.fromstring(figure.svg)  # noqa: S314
    lines = [
        [tuple(map(float, point.split(","))) for point in _said(line, "points").split()]
        for line in root.iter(f"{SVG}polyline")
    ]
    # The works from (400, 400) to (420, 200) and on to (400, 30), in metres.
    lengths = [math.dist(line[0], line[1]) for line in lines if len(line) == 2]
    for metres in (math.dist((400, 400), (420, 200)), math.dist((420, 200), (400, 30))):
        on_paper = metres * 1000 / figure.scale
        assert any(length == pytest.approx(on_paper, abs=0.02) for length in lengths)


def test_the_scale_bar_is_as_long_as_it_says() -> None:
    figure = _map()
    found = re.search(r">(\d+) m</text>", figure.svg)
    assert found
    said = int(found[1])
    root = ElementTree.fromstring(figure.svg)  # noqa: S314
    blocks = [r for r in root.iter(f"{SVG}rect") if r.get("height") == "1.3"]
    assert len(blocks) == 4
    drawn = sum(_figure(block, "width") for block in blocks)
    assert drawn == pytest.approx(said * 1000 / figure.scale, abs=0.05)


def test_states_of_works_differ_without_colour() -> None:
    """Line, dashes, width and hatching tell them apart when the colours are taken away."""
    place = sample_figures()["map"]
    styles = set()
    for state in ("done", "on_site", "growing_in", "proposed"):
        work = {**place["works"][0], "state": state}
        svg = _map({**place, "works": [work]}).svg
        tail = svg[svg.index("</defs>") : svg.index("translate(")]
        styles.add(re.sub(r'(stroke|fill)="#[0-9a-f]+"', "", tail))
    assert len(styles) == 4


def test_everything_lies_within_the_sheet() -> None:
    root = ElementTree.fromstring(_map().svg)  # noqa: S314
    width, height = map(float, _said(root, "viewBox").split()[2:])
    for text in root.iter(f"{SVG}text"):
        if "transform" not in text.attrib and text.get("x"):
            assert 0 <= _figure(text, "x") <= width
            assert _figure(text, "y") <= height


def test_labels_do_not_lie_on_each_other() -> None:
    place = sample_figures()["map"]
    place["works"] = [
        {**place["works"][0], "label": f"W{n}", "state": "proposed"} for n in range(6)
    ]
    root = ElementTree.fromstring(_map(place).svg)  # noqa: S314
    boxes = [
        tuple(_figure(r, k) for k in ("x", "y", "width", "height"))
        for r in root.iter(f"{SVG}rect")
        if r.get("height") == "3.6"
    ]
    assert len(boxes) == 6
    for i, (x, y, w, h) in enumerate(boxes):
        for ox, oy, ow, oh in boxes[i + 1 :]:
            assert x + w <= ox or ox + ow <= x or y + h <= oy or oy + oh <= y


def test_nothing_with_a_place_is_no_map() -> None:
    place: Any = {"features": [], "works": [], "holes": [], "works_key": []}
    assert draw_map(place, width_mm=172, height_mm=200, on_words="now") is None


def test_only_attributes_style_it() -> None:
    """The pages' policy blocks style attributes and elements, so none may be needed."""
    assert "style" not in _map().svg


def test_a_shape_without_a_drawing_is_refused() -> None:
    with pytest.raises(ValueError, match="GeometryCollection"):
        coordinates_of({"type": "GeometryCollection", "coordinates": []})


def test_a_chart_without_dates_is_none() -> None:
    chart = sample_figures()["charts"][0]
    rows = [{**row, "start": None, "finish": None} for row in chart["rows"]]
    assert programme_spec({**chart, "rows": rows}) is None
