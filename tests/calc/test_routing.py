"""Water through time: conserved on every network, delayed, held back, stored and told."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.signal import lfilter
from shapely import box

from tests.calc.drains import DITCH, STORM, ditch, outfall, pipe
from worksprog.calc.ground import ground_from_spot_heights
from worksprog.calc.network import Node, Reach
from worksprog.calc.pipes import PipeSection
from worksprog.calc.rainfall import DesignRain
from worksprog.calc.routing import (
    Outlet,
    Pond,
    RainCourse,
    Through,
    coefficients,
    days_of_rain,
    even_storm,
    inlet_flows_m3s,
    level_pool,
    nested_storm,
    orifice_flows_m3s,
    pond_working,
    reach_working,
    route,
    stages_from_ground,
    stages_from_outline,
)
from worksprog.calc.routing.muskingum import cut

HOUR = even_storm(intensity_mm_h=30, duration_h=1, after_h=11)
POND = Pond(
    "K", "PD1", (48.0, 49.0, 50.5), (200.0, 400.0, 700.0),
    (Outlet("pipe", 48.5, 0.15), Outlet("weir", 50.2, width_m=2.0)),
)  # fmt: skip


def run(reaches: list[Reach], nodes: list[Node], rain: RainCourse = HOUR, **more) -> Through:
    return route(reaches, nodes, more.pop("ponds", ()), rain, storm=STORM, **more)


def two_pipes(**lower) -> list[Reach]:
    return [
        pipe("A", (0, 0), (100, 0)),
        pipe("B", (100, 0), (200, 0), upstream_invert_m=50.0, downstream_invert_m=49.0, **lower),
    ]


def with_pond() -> tuple[list[Reach], list[Node]]:
    reaches = [
        pipe("A", (0, 0), (100, 0), catchment_ha=4.0, section=PipeSection(0.6)),
        pipe("B", (120, 0), (220, 0), upstream_invert_m=48.5, downstream_invert_m=47.5,
             catchment_ha=0.0),
    ]  # fmt: skip
    nodes = [
        Node("K:1", "PD1", "pond", 100, 0, pond="K"),
        Node("K:2", "PD1", "pond", 120, 0, pond="K"),
        outfall(220, 0),
    ]
    return reaches, nodes


def test_a_long_even_storm_comes_to_the_rational_flow() -> None:
    found = run(two_pipes(), [outfall(200, 0)], watch=["B"])
    assert found.reach("B").leaving_m3s == pytest.approx(2 * 0.5 * 30 / 360, rel=1e-6)
    assert found.balance.came_m3 == pytest.approx(2 * 10 * 0.5 * 30)
    assert found.balance.at_outfalls_m3 == pytest.approx(300)
    assert abs(found.balance.error) < 1e-9
    assert found.hydrographs[0].leaving_m3s.sum() * 60 == pytest.approx(300)
    assert found.reach("A").leaving_at_h < found.reach("B").leaving_at_h + 1e-9


def test_a_full_pipe_holds_water_back_and_lets_it_go() -> None:
    found = run(two_pipes(section=PipeSection(0.15)), [outfall(200, 0)])
    lower = found.reach("B")
    assert lower.entering_m3s == lower.capacity_m3s
    assert lower.arriving_m3s > lower.capacity_m3s
    assert lower.standing_h > lower.over_h > 0.5
    assert lower.standing_m3 > 100
    assert found.balance.at_outfalls_m3 == pytest.approx(300)
    roomy = run(two_pipes(section=PipeSection(0.45)), [outfall(200, 0)])
    assert roomy.reach("B").standing_h == 0


def test_a_pond_cuts_the_peak_on_the_falling_limb() -> None:
    reaches, nodes = with_pond()
    found = run(reaches, nodes, ponds=[POND])
    pond = found.ponds[0]
    assert pond.peak_outflow_m3s < pond.peak_inflow_m3s
    at = int(pond.outflow_m3s.argmax())
    assert pond.inflow_m3s[at - 1] >= pond.outflow_m3s[at - 1] * 0.999
    assert pond.inflow_m3s[at + 2] <= pond.outflow_m3s[at + 2]
    assert pond.start_m == 48.5
    assert 48.5 < pond.peak_m < pond.bank_m
    assert pond.hours_above(49.0) > 0
    assert found.reach("B").entering_m3s <= found.reach("B").capacity_m3s
    assert found.balance.came_m3 == pytest.approx(4 * 10 * 0.5 * 30)
    assert abs(found.balance.error) < 1e-9


def test_the_pipe_out_of_a_pond_lets_no_more_than_it_carries_full() -> None:
    reaches, nodes = with_pond()
    wide = replace(POND, outlets=(Outlet("pipe", 48.5, 0.9), Outlet("weir", 49.0, width_m=9.0)))
    found = run(reaches, nodes, ponds=[wide])
    lower = found.reach("B")
    assert lower.entering_m3s == pytest.approx(lower.capacity_m3s)
    assert lower.standing_m3 < 1e-6


def test_water_over_the_bank_is_told_and_counted() -> None:
    reaches, nodes = with_pond()
    small = replace(POND, levels_m=(48.0, 49.0), areas_m2=(20.0, 40.0), outlets=POND.outlets[:1])
    found = run(reaches, nodes, ponds=[small])
    pond = found.ponds[0]
    assert pond.peak_m == pytest.approx(49.0)
    assert pond.over_bank_h > 0.5
    assert pond.over_bank_m3 == pytest.approx(found.balance.over_banks_m3)
    assert pond.over_bank_m3 > 100
    assert abs(found.balance.error) < 1e-9


def test_a_pond_without_outlets_takes_the_drains_that_start_there() -> None:
    reaches, nodes = with_pond()
    found = run(reaches, nodes, ponds=[replace(POND, outlets=())])
    assert found.ponds[0].start_m == 48.5
    assert found.balance.at_outfalls_m3 > 100
    alone = run(reaches[:1], nodes[:1], ponds=[replace(POND, outlets=())])
    assert alone.ponds[0].peak_outflow_m3s == pytest.approx(0, abs=1e-9)
    assert alone.balance.more_in_ponds_m3 + alone.balance.over_banks_m3 == pytest.approx(600)
    assert "no outlet" in alone.ponds[0].warnings[-1]


def test_water_that_stood_there_before_is_told_apart_from_what_came() -> None:
    reaches, nodes = with_pond()
    full = replace(POND, resting_m=49.5)
    found = run(reaches, nodes, ponds=[full])
    stood = float(full.volumes_at(49.5))
    assert found.balance.at_start_m3 == pytest.approx(stood)
    assert found.balance.more_in_ponds_m3 < 0
    assert found.balance.held_m3 >= 0
    assert found.balance.in_ponds_m3 == pytest.approx(
        float(full.volumes_at(found.ponds[0].end_m)), abs=1.0
    )
    assert f"{stood:,.0f} m³ stood in ponds before" in found.balance.words
    assert "−" not in found.balance.words
    assert "-" not in found.balance.words
    assert any("above its lowest outlet" in words for words in found.ponds[0].warnings)


def test_rain_falls_into_the_pond_itself() -> None:
    reaches, nodes = with_pond()
    found = run(reaches, nodes, ponds=[replace(POND, surface_m2=500.0)])
    assert found.ponds[0].rain_on_it_m3 == pytest.approx(15.0)
    assert abs(found.balance.error) < 1e-9


def test_a_pond_with_no_table_hands_on_what_comes() -> None:
    reaches, nodes = with_pond()
    reaches[1] = replace(reaches[1], section=PipeSection(0.6))
    found = run(reaches, nodes)
    assert found.reach("B").leaving_m3s == pytest.approx(4 * 0.5 * 30 / 360, rel=1e-3)
    assert not found.ponds


def test_a_split_shares_and_makes_no_water() -> None:
    reaches = [
        pipe("A", (0, 0), (100, 0)),
        pipe("B", (100, 0), (200, 0), upstream_invert_m=50.0, downstream_invert_m=49.0,
             catchment_ha=0.0),
        pipe("C", (100, 0), (100, 90), upstream_invert_m=50.0, downstream_invert_m=49.0,
             catchment_ha=0.0, section=PipeSection(0.15)),
    ]  # fmt: skip
    found = run(reaches, [outfall(200, 0), outfall(100, 90, "O2")])
    b, c = found.reach("B").leaving_m3s, found.reach("C").leaving_m3s
    assert b + c == pytest.approx(0.5 * 30 / 360, rel=1e-4)
    assert b > c > 0
    assert found.balance.at_outfalls_m3 == pytest.approx(150)


def test_a_ring_is_left_out_by_name_and_the_rest_is_routed() -> None:
    ring = [
        pipe("R1", (500, 0), (600, 0)),
        pipe("R2", (600, 0), (600, 90)),
        pipe("R3", (600, 90), (500, 0)),
    ]
    found = run([*two_pipes(), *ring], [outfall(200, 0)])
    assert [one.name for one in found.reaches] == ["A", "B"]
    assert "R1, R2, R3" in found.notes[0]
    assert found.balance.came_m3 == pytest.approx(300)


def test_what_reaches_no_outfall_is_told_apart() -> None:
    found = run([*two_pipes(), pipe("D", (0, 500), (90, 500))], [outfall(200, 0)])
    assert found.balance.at_dead_ends_m3 == pytest.approx(150)


def test_a_reach_that_cannot_be_told_still_passes_water() -> None:
    found = run(two_pipes(section=None), [outfall(200, 0)])
    assert found.reach("B").capacity_m3s is None
    assert found.reach("B").leaving_m3s == pytest.approx(2 * 0.5 * 30 / 360, rel=1e-3)
    assert "cannot be told" in found.notes[0]


def random_network(chance: random.Random) -> tuple[list[Reach], list[Node], list[Pond]]:
    """A tree with pipes that are too small, ditches, side branches and ponds in between."""
    places, levels = [(0.0, 0.0)], [50.0]
    reaches: list[Reach] = []
    nodes: list[Node] = [outfall(0, 0)]
    ponds: list[Pond] = []
    for index in range(chance.randrange(3, 30)):
        below = chance.randrange(max(0, index - 6), index + 1)
        place = (60.0 * (index % 6) + 20, 45.0 * (index // 6) + 20)
        level = levels[below] + chance.uniform(0.01, 0.8)
        make = pipe if chance.random() < 0.7 else ditch
        more = {"section": PipeSection(chance.choice((0.1, 0.15, 0.3)))} if make is pipe else {}
        reaches.append(
            make(
                f"R{index}",
                place,
                places[below],
                upstream_invert_m=level,
                downstream_invert_m=levels[below],
                length_m=chance.uniform(3, 900),
                catchment_ha=chance.choice((0.0, 0.2, 3.0)),
                **more,
            )
        )
        if below and chance.random() < 0.15:
            key = f"K{index}"
            nodes.append(Node(key, key, "pond", *places[below], pond=key))
            low = levels[below]
            ponds.append(
                Pond(
                    key,
                    key,
                    (low - 1, low, low + 1),
                    (chance.uniform(1, 400), 100.0, 900.0),
                    (Outlet("orifice", low - 0.5, 0.2), Outlet("weir", low + 0.5, width_m=1.5)),
                    surface_m2=chance.choice((0.0, 300.0)),
                )
            )
        places.append(place)
        levels.append(level)
    if chance.random() < 0.5:
        start = chance.choice(places[1:])
        reaches.append(pipe("side", start, (-900, -900), catchment_ha=0.0))
    return reaches, nodes, ponds


@pytest.mark.parametrize("seed", range(40))
def test_water_in_is_water_out_and_stored(seed: int) -> None:
    chance = random.Random(seed)
    reaches, nodes, ponds = random_network(chance)
    rain = days_of_rain(
        [chance.uniform(0, 60) for _ in range(2)], after_h=chance.choice((1, 30)), step_s=120
    ) if seed % 2 else even_storm(
        intensity_mm_h=chance.uniform(5, 90), duration_h=chance.uniform(0.1, 3),
        after_h=chance.choice((0.05, 1, 20)), step_s=chance.choice((30, 60, 300)),
    )  # fmt: skip
    found = route(reaches, nodes, ponds, rain, storm=STORM, watch=[reaches[0].key])
    balance = found.balance
    assert abs(balance.error) < 1e-9
    fell = sum(10 * one.catchment_ha * one.runoff_coefficient for one in reaches) * rain.total_mm
    fell += sum(pond.surface_m2 for pond in ponds) * rain.total_mm / 1000
    assert balance.came_m3 <= fell * (1 + 1e-9)
    for name in ("at_outfalls_m3", "at_dead_ends_m3", "over_banks_m3", "in_drains_m3",
                 "standing_m3"):  # fmt: skip
        assert getattr(balance, name) >= -1e-9
    for one in found.reaches:
        assert one.leaving_m3s <= one.entering_m3s * (1 + 1e-6)
        assert one.capacity_m3s is None or one.entering_m3s <= one.capacity_m3s
    for pond in found.ponds:
        assert pond.outflow_m3s.min() >= -1e-12
        assert pond.peak_m <= pond.bank_m + 1e-9
        assert pond.level_m.min() >= pond.start_m - 2e-3


@pytest.mark.parametrize("travel_s", [1.0, 20.0, 59.0, 61.0, 400.0, 9000.0])
@pytest.mark.parametrize("spread", [0.0, 0.3, 40.0])
def test_pieces_keep_water_and_their_delay(travel_s: float, spread: float) -> None:
    pieces = cut(np.array([travel_s]), np.array([spread]), step_s=60.0)
    for name in ("c1", "c2", "c3"):
        assert (getattr(pieces, name) >= -1e-12).all()
    assert pieces.c1 + pieces.c2 + pieces.c3 == pytest.approx(np.ones(len(pieces.k_s)))
    flow = np.zeros(2000)
    flow[5:15] = 1.0
    out = flow
    for c1, c2, c3 in zip(pieces.c1, pieces.c2, pieces.c3, strict=True):
        out = lfilter([c1, c2], [1, -c3], out)
    assert out.sum() == pytest.approx(10, rel=1e-3)
    when = np.arange(2000) * 60
    delay = (out * when).sum() / out.sum() - (flow * when).sum() / flow.sum()
    assert delay == pytest.approx(travel_s, rel=0.02, abs=0.5)


def test_a_step_outside_its_bounds_is_refused() -> None:
    with pytest.raises(ValueError, match="divide the reach"):
        coefficients(k_s=3600, x=0.4, step_s=600)
    with pytest.raises(ValueError, match="X at most"):
        coefficients(k_s=3600, x=0.7, step_s=600)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"outlets": (Outlet("weir", 50.5, width_m=1.0),)}, "at or above the bank, 50.50"),
        ({"bank_m": 49.5, "outlets": (Outlet("pipe", 49.7, 0.2),)}, "pipe at 49.70 m"),
        ({"levels_m": (48.0, 49.0, 48.9)}, "stage 3: stages must rise"),
        ({"levels_m": (48.0, 50.0)}, "at least two stages"),
        ({"areas_m2": (200.0, -1.0, 3.0)}, "stage 2"),
        ({"areas_m2": (0.0, 0.0, 3.0)}, "without any area"),
        ({"resting_m": 47.0}, "usual water level 47.00"),
        ({"bank_m": 48.0, "outlets": ()}, "not above the lowest stage"),
    ],
)
def test_ponds_that_cannot_be(change: dict[str, Any], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        replace(POND, **change)


def test_ponds_worth_a_look() -> None:
    odd = replace(POND, areas_m2=(200.0, 180.0, 700.0), bank_m=51.0)
    assert "shrinks from 200 to 180" in odd.warnings[0]
    assert "end at 50.50 m" in odd.warnings[1]
    assert not POND.warnings


@pytest.mark.parametrize(
    ("outlet", "words"),
    [
        ({"kind": "weir", "level_m": 1.0}, "width of its crest"),
        ({"kind": "pipe", "level_m": 1.0, "diameter_m": 0.0}, "inside diameter"),
        ({"kind": "pipe", "level_m": 1.0, "diameter_m": 225.0}, "in metres here"),
        ({"kind": "pipe", "level_m": math.nan, "diameter_m": 0.2}, "no level"),
    ],
)
def test_outlets_that_cannot_be(outlet: dict[str, Any], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        Outlet(**outlet)


def test_outlets_let_out_more_the_higher_the_water() -> None:
    heads = np.linspace(0, 2, 400)
    for flows in (orifice_flows_m3s(0.3, heads), inlet_flows_m3s(0.3, heads, gradient=0.01)):
        assert flows[0] == 0
        assert (np.diff(flows) >= 0).all()
        assert np.diff(flows).max() < 0.004
    # What a headwall takes and what an orifice of its bore passes are of one size.
    assert inlet_flows_m3s(0.3, [1.5], gradient=0.01)[0] == pytest.approx(
        float(orifice_flows_m3s(0.3, 1.5)), rel=0.15
    )
    assert "let out" in pond_working(POND, 50.3).steps[-1].meaning


@pytest.mark.parametrize("gradient", [0.0, 0.02, 0.05, 0.2])
def test_a_pipe_out_of_a_pond_lets_nothing_out_below_its_invert(gradient: float) -> None:
    pipe_out = Outlet("pipe", 50.0, 0.3, gradient=gradient)
    assert pipe_out.flows_m3s([49.0, 50.0]).tolist() == [0.0, 0.0]
    levels = np.linspace(50.0, 51.0, 300)
    assert (np.diff(pipe_out.flows_m3s(levels)) > 0).all()


def test_volumes_are_exact_between_stages() -> None:
    assert POND.volumes_at([48.0, 49.0, 50.5, 51.5]).tolist() == pytest.approx(
        [0, 300, 300 + 825, 1125 + 700]
    )
    assert POND.volumes_at(48.5) == pytest.approx(0.5 * (200 + 300) / 2)


def test_level_pool_refuses_what_does_not_rise() -> None:
    with pytest.raises(ValueError, match="volumes rise"):
        level_pool([0, 0], [0, 1], [1, 1], step_s=60)
    with pytest.raises(ValueError, match="two rows"):
        level_pool([0], [0], [1], step_s=60)
    with pytest.raises(ValueError, match="longer than 0"):
        level_pool([0, 1], [0, 1], [1, 1], step_s=0)


def test_nested_storms_hold_every_shorter_depth() -> None:
    rain = DesignRain((5, 15, 30, 60, 120, 360), (9, 15, 19, 24, 29, 38))
    course = nested_storm(rain, duration_h=6, after_h=1)
    assert course.total_mm == pytest.approx(38)
    for minutes, depth in zip(rain.durations_min, rain.depths_mm, strict=True):
        window = np.convolve(course.depths_mm, np.ones(int(minutes)), "valid").max()
        assert window == pytest.approx(depth, rel=2e-3)
    assert (course.depths_mm[360:] == 0).all()


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: days_of_rain([]), "at least one day"),
        (lambda: days_of_rain([10, -1]), "Day 2"),
        (lambda: days_of_rain([0, 0]), "Not a drop"),
        (lambda: days_of_rain([10] * 40), "31 days"),
        (lambda: even_storm(intensity_mm_h=30, duration_h=0, after_h=1), "longer than 0"),
        (
            lambda: nested_storm(DesignRain((5, 60), (9, 24)), duration_h=2, after_h=1),
            "ends at 1 h",
        ),
        (lambda: even_storm(intensity_mm_h=3000, duration_h=1, after_h=1), "intensity"),
        (lambda: even_storm(intensity_mm_h=30, duration_h=1, after_h=1, step_s=9999), "step"),
    ],
)
def test_rain_that_cannot_be(make, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        make()


def test_a_storm_shorter_than_a_whole_step_keeps_its_depth() -> None:
    course = even_storm(intensity_mm_h=60, duration_h=0.51, after_h=1)
    assert course.total_mm == pytest.approx(30.6)


def test_what_cannot_be_routed_is_refused() -> None:
    with pytest.raises(ValueError, match="same key"):
        run([*two_pipes(), *two_pipes()], [])
    with pytest.raises(ValueError, match="no pipe or ditch"):
        run([], [])
    with pytest.raises(ValueError, match="key X"):
        run(two_pipes(), [], watch=["X"])
    with pytest.raises(ValueError, match="steps are more"):
        run(two_pipes(), [], rain=days_of_rain([10] * 5, step_s=1))


def test_a_ditch_holds_its_freeboard() -> None:
    reaches = [ditch("D", (0, 0), (200, 0), catchment_ha=40.0, section=DITCH)]
    found = run(reaches, [outfall(200, 0)])
    one = found.reach("D")
    assert one.entering_m3s == one.capacity_m3s
    assert one.standing_h > 0
    assert float(reach_working(one, 60.0).steps[0].value) > 0
    assert found.balance.working().steps[-1].value == pytest.approx(0, abs=1e-6)


def test_stages_from_a_hollow_in_the_ground() -> None:
    x, y = (part.ravel() for part in np.meshgrid(np.arange(0, 61.0), np.arange(0, 61.0)))
    bowl = 50 + np.hypot(x - 30, y - 30) / 10
    ground = ground_from_spot_heights(np.column_stack([x, y, bowl]))
    stages, bank = stages_from_ground(ground, box(10, 10, 50, 50), count=5)
    assert bank == pytest.approx(52.0, abs=0.01)
    for level, area in stages[1:]:
        assert area == pytest.approx(math.pi * ((level - 50) * 10) ** 2, rel=0.03, abs=4)
    flat = ground_from_spot_heights(np.column_stack([x, y, np.full_like(x, 50.0)]))
    with pytest.raises(ValueError, match="no pond"):
        stages_from_ground(flat, box(10, 10, 50, 50))
    with pytest.raises(ValueError, match="Too little"):
        stages_from_ground(ground, box(200, 200, 230, 230))
    with pytest.raises(ValueError, match="too narrow"):
        stages_from_outline(box(0, 0, 6, 6), bank_m=50, depth_m=2, side_slope=3)


@pytest.mark.parametrize("half_in_h", [None, 4.0, 8.0, 23.99])
def test_the_shape_of_a_day_keeps_its_rain(half_in_h):
    days = (10.0, 0.0, 25.0)
    course = days_of_rain(days, after_h=6, step_s=300, half_in_h=half_in_h)
    fallen = course.depths_mm[: 3 * 288].reshape(3, 288)
    assert fallen.sum(axis=1) == pytest.approx(days)
    assert course.depths_mm[3 * 288 :].sum() == 0
    if half_in_h == 4.0:
        fiercest = np.sort(fallen[2])[-48:]
        assert fiercest.sum() == pytest.approx(12.5)
        assert fiercest == pytest.approx(12.5 / 48)


def test_half_a_day_of_rain_does_not_last_longer_than_the_day():
    with pytest.raises(ValueError, match="less than 24 h"):
        days_of_rain([10.0], half_in_h=24.0)
