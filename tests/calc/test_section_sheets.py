"""A long section on paper: scales, sheets, datums."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from worksprog.calc.section_sheets import HORIZONTAL, VERTICAL, Span, lay_on_sheets


def slope(length: float, fall: float, depth: float = 1.5) -> list[Span]:
    """Ground that falls evenly to 50 m at the outfall, a drain ``depth`` under it."""
    steps = int(length / 5) + 1
    return [
        Span(length * k / steps, 50 + fall * k / steps - depth, 50 + fall * k / steps)
        for k in range(steps + 1)
    ]


def laid(length: float, fall: float = 1.0, **facts):
    return lay_on_sheets(
        slope(length, fall), length_m=length, **{"width_mm": 350.0, "height_mm": 120.0, **facts}
    )


@pytest.mark.parametrize(
    ("length", "scale"),
    [(30, 100), (35, 100), (36, 200), (70, 200), (80, 250), (170, 500), (340, 1000)],
)
def test_the_largest_usual_scale_that_takes_one_sheet(length, scale):
    found = laid(length)
    assert (found.horizontal, len(found.panels)) == (scale, 1)


def test_ten_metres_at_one_to_five_hundred_are_twenty_millimetres():
    found = laid(170, horizontal=500, vertical=50)
    panel = found.panels[0]
    assert found.x_mm(panel, 100) - found.x_mm(panel, 110) == pytest.approx(20)
    assert found.y_mm(panel, 51) - found.y_mm(panel, 50) == pytest.approx(20)
    assert found.exaggeration == 10


def test_what_is_longer_than_the_paper_goes_on_over_match_lines_at_round_chainages():
    found = laid(612.3, horizontal=500)
    assert len(found.panels) == 4
    assert found.panels[0].upper_chainage_m == 612.3
    for above, below in zip(found.panels, found.panels[1:], strict=False):
        assert above.lower_chainage_m == below.upper_chainage_m
        assert above.lower_chainage_m % 5 == 0
    assert found.panels[-1].lower_chainage_m == 0


def test_a_steep_drain_makes_shorter_sheets_with_stepped_datums():
    found = laid(300, 40.0, horizontal=1000)
    assert found.vertical == 100
    assert len(found.panels) > 1
    datums = [panel.datum_m for panel in found.panels]
    assert datums == sorted(datums, reverse=True)


def test_exaggeration_stays_within_ten_unless_it_is_chosen():
    assert laid(340, 0.5).exaggeration <= 10
    assert laid(340, 0.5, vertical=20).exaggeration == 50


def test_a_scale_with_no_room_for_the_depth_is_told():
    with pytest.raises(ValueError, match="1:10 vertically"):
        laid(30, vertical=10)


@pytest.mark.parametrize("facts", [{"horizontal": 300}, {"vertical": 25}])
def test_unusual_scales_are_refused(facts):
    with pytest.raises(ValueError, match="no usual"):
        laid(30, **facts)


def test_too_many_sheets_are_told():
    with pytest.raises(ValueError, match="58 sheets"):
        laid(2000, horizontal=100)


def test_no_length_is_refused():
    with pytest.raises(ValueError, match="more than 0 m"):
        lay_on_sheets([], length_m=0, width_mm=350, height_mm=100)


@settings(deadline=None, max_examples=60)
@given(
    st.floats(1, 1500), st.floats(0, 0.12), st.floats(0.3, 3),
    st.sampled_from([None, *HORIZONTAL[2:]]), st.sampled_from([None, *VERTICAL[2:]]),
)  # fmt: skip
def test_every_level_lies_on_the_paper_and_no_metre_is_left_out(
    length, slope_share, depth, across, up
):
    spans = slope(length, slope_share * length, depth)
    found = lay_on_sheets(
        spans, length_m=length, width_mm=230, height_mm=90, horizontal=across, vertical=up,
        most_sheets=2000,
    )  # fmt: skip
    assert sum(panel.length_m for panel in found.panels) == pytest.approx(length)
    for panel in found.panels:
        assert panel.length_m * 1000 / found.horizontal <= 230 + 1e-6
        for span in spans:
            if panel.lower_chainage_m <= span.chainage_m <= panel.upper_chainage_m:
                assert found.y_mm(panel, span.lowest_m) >= -1e-6
                assert found.y_mm(panel, span.highest_m) <= 90 + 1e-6
