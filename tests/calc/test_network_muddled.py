"""Whatever is drawn and entered, the check answers in words: it neither fails nor makes figures up."""

from __future__ import annotations

import math

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from worksprog.calc.ditches import DitchSection
from worksprog.calc.long_section import lay_out_long_section
from worksprog.calc.network import Node, Reach, Storm, check_drains
from worksprog.calc.pipes import PipeSection
from worksprog.calc.rainfall import DesignRain

# A coarse lattice, so that ends meet, cross, ring and fall short of each other often.
places = st.tuples(
    st.integers(0, 4).map(lambda n: n * 20.0), st.integers(0, 4).map(lambda n: n * 20.0)
)
slips = st.sampled_from([0.0, 0.0, 0.3, 0.7])
levels = st.sampled_from([None, 49.0, 49.99, 50.0, 50.0, 50.5, 51.0, 52.0, 55.0])
sections = {
    "pipe": st.none() | st.sampled_from([PipeSection(0.05), PipeSection(0.3), PipeSection(1.2)]),
    "ditch": st.none()
    | st.sampled_from([DitchSection(0.0, 1.0, 0.3), DitchSection(0.5, 1.5, 1.0, 0.08, 0.2)]),
}


@st.composite
def reaches(draw):
    found = []
    for index in range(draw(st.integers(0, 12))):
        (x, y), end, slip = draw(places), draw(places), draw(slips)
        start = (x + slip, y)
        kind = draw(st.sampled_from(["pipe", "ditch"]))
        found.append(
            Reach(
                key=f"R{index}",
                name=f"R{index}",
                kind=kind,
                line=(start, end) if start != end else (start, (x + 9, y + 9), end),
                length_m=max(0.1, math.dist(start, end)),
                upstream_invert_m=draw(levels),
                downstream_invert_m=draw(levels),
                section=draw(sections[kind]),
                catchment_ha=draw(st.sampled_from([0.0, 0.4, 30.0, 90_000.0])),
                runoff_coefficient=draw(st.sampled_from([0.0, 0.35, 1.0])),
                standing=draw(st.booleans()),
                flow_path_m=draw(st.sampled_from([None, 1.0, 400.0])),
                flow_path_fall_m=draw(st.sampled_from([None, 0.0, 4.0])),
                inlet=draw(st.sampled_from([None, "square", "mitred"])) if kind == "pipe" else None,
                lining=draw(st.sampled_from(["", "grass"])),
            )
        )
    return found


@st.composite
def nodes(draw):
    kinds = ["chamber", "headwall", "outfall", "pond"]
    return [
        Node(
            f"N{i}",
            f"N{i}",
            draw(st.sampled_from(kinds)),
            x,
            y,
            invert_m=draw(levels),
            cover_m=draw(st.sampled_from([None, 50.8, 53.0])),
            water_m=draw(st.sampled_from([None, 50.2, 60.0])),
            pond=draw(st.sampled_from(["", "w"])),
        )
        for i in range(draw(st.integers(0, 5)))
        for x, y in [draw(places)]
    ]


@settings(max_examples=60, deadline=None)
@given(
    drawn=reaches(),
    points=nodes(),
    intensity=st.sampled_from([0.1, 30.0, 400.0]),
    rain=st.sampled_from([None, DesignRain((5, 60, 600), (8, 20, 44))]),
    ground=st.sampled_from([None, math.nan, 51.5]),
)
def test_a_muddle_is_answered_in_words(drawn, points, intensity, rain, ground):
    check = check_drains(
        drawn,
        points,
        Storm("any", intensity, rain=rain),
        ground_at=None if ground is None else lambda x, y: np.full(np.shape(x), ground),
    )
    assert len(check.reaches) == len(drawn)
    for reach in check.reaches:
        figures = [
            reach.gradient, reach.flow_m3s, reach.capacity_m3s, reach.velocity_ms, reach.depth_m,
            reach.spare_share, reach.entry_min, reach.travel_min, reach.gather_min, reach.storm_min,
            reach.intensity_mm_h, reach.contributing_ha, reach.water_up_m, reach.water_down_m,
            reach.friction_gradient, reach.headwater_m, reach.froude, reach.freeboard_left_m,
        ]  # fmt: skip
        assert all(figure is None or math.isfinite(figure) for figure in figures)
        assert "nan" not in reach.verdict
        if reach.state == "unknown":
            assert reach.verdict.startswith(("cannot be told", "can carry"))
        elif reach.state == "fault" and reach.verdict.startswith("leads nowhere"):
            assert any(f.kind == "dead_end" and reach.key in f.reach_keys for f in check.faults)
        elif reach.state == "fault":
            assert reach.verdict.startswith(("runs uphill", "is level", "falls too steeply"))
            assert reach.gradient < 1e-4 or reach.gradient > 1
        else:
            assert (reach.flow_m3s <= reach.capacity_m3s) == (reach.state == "carries")
        for working in check.workings(reach.key):
            assert working.steps
            assert all("nan" not in row["value"] for row in working.as_rows())
        section = lay_out_long_section(
            check, reach.key, levels_at=lambda where: np.full(len(where), 61.0)
        )
        assert section.stations[-1].chainage_m == 0
    place = {key: index for index, key in enumerate(check.order)}
    assert all(place[below] < place[above] for below, above in check.pairs_below_first())
    assert all("nan" not in finding.words for finding in check.findings)
