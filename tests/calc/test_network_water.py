"""When water arrives, how high it stands, and how it divides."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.calc.drains import BORE_300, DITCH, STORM, ditch, outfall, pipe
from worksprog.calc import culverts, pipes
from worksprog.calc.ditches import LININGS
from worksprog.calc.network import Node, Reach, Storm, check_drains
from worksprog.calc.network.backwater import water_profile
from worksprog.calc.pipes import PipeSection
from worksprog.calc.rainfall import DesignRain, bransby_williams_min, kirpich_min
from worksprog.calc.routing import route
from worksprog.calc.routing.rain import even_storm

RAIN = DesignRain((5, 15, 30, 60, 120, 360), (9, 15, 19, 24, 29, 38))
BY_LENGTH = Storm("1 in 10 year", 24.0, rain=RAIN)


def two(**changes):
    """P1 → P2 → O1, each 100 m at 1 in 100."""
    upper = pipe("P1", (0, 0), (100, 0), upstream_invert_m=52.0, downstream_invert_m=51.0)
    return [upper, pipe("P2", (100, 0), (200, 0), **changes)], [outfall(200, 0)]


class TestArrival:
    def test_entry_and_travel_add_up(self):
        reaches, nodes = two()
        check = check_drains(reaches, nodes, BY_LENGTH)
        first, second = check.reaches
        assert first.entry_min == 15.0
        assert first.gather_min == pytest.approx(first.entry_min + first.travel_min)
        assert first.velocity_ms is not None
        assert first.travel_min == pytest.approx(100 / first.velocity_ms / 60, rel=0.02)
        assert second.gather_min == pytest.approx(first.gather_min + second.travel_min)
        assert second.furthest_key == "P1"

    @pytest.mark.parametrize("formula", ["kirpich", "bransby"])
    def test_entry_by_the_chosen_formula(self, formula):
        reach = pipe("P1", (0, 0), (100, 0), flow_path_m=400.0, flow_path_fall_m=4.0)
        check = check_drains([reach], [outfall(100, 0)], replace(BY_LENGTH, formula=formula))
        wanted = (
            kirpich_min(length_m=400, gradient=0.01)
            if formula == "kirpich"
            else bransby_williams_min(length_m=400, area_ha=1.0, gradient=0.01)
        )
        assert check.reaches[0].entry_min == pytest.approx(wanted)
        titles = [step.meaning for step in check.workings("P1")[1].steps]
        assert any("Kirpich" in title for title in titles)
        assert any("Bransby" in title for title in titles)

    def test_no_water_enters_at_once(self):
        reach = pipe("P1", (0, 0), (100, 0), flow_path_m=5.0, flow_path_fall_m=1.0)
        check = check_drains([reach], [outfall(100, 0)], BY_LENGTH)
        assert check.reaches[0].entry_min == 5.0

    def test_flow_is_at_least_that_of_the_storm_as_long_as_the_water_takes(self):
        """By hand: a shorter storm is fiercer, and all but two minutes of the ground still count."""
        reaches, nodes = two()
        (_, last) = check_drains(reaches, nodes, BY_LENGTH).reaches
        whole = 2 * 0.5 * RAIN.intensity_mm_h(last.gather_min) / 360
        assert whole < last.flow_m3s < 2 * 0.5 * RAIN.intensity_mm_h(last.entry_min) / 360
        assert last.storm_min < last.gather_min
        assert last.intensity_mm_h == pytest.approx(RAIN.intensity_mm_h(last.storm_min))

    def test_a_long_thin_arm_does_not_hide_the_fierce_storm_near_the_outfall(self):
        """A far meadow doubles the time; a short storm on the near ground loads the pipe more."""
        far = ditch(
            "D1", (0, 0), (1000, 0), catchment_ha=0.05, upstream_invert_m=60,
            downstream_invert_m=51, flow_path_m=4000.0, flow_path_fall_m=8.0,
        )  # fmt: skip
        near = pipe("P1", (1000, 0), (1100, 0), catchment_ha=2.0, flow_path_m=60.0,
                    flow_path_fall_m=3.0)  # fmt: skip
        got = check_drains([far, near], [outfall(1100, 0)], BY_LENGTH).reach("P1")
        assert got.gather_min is not None and got.storm_min is not None
        assert got.storm_min < got.gather_min
        assert got.contributing_ha is not None and got.runoff_area_ha is not None
        assert got.contributing_ha < got.runoff_area_ha
        whole = got.runoff_area_ha * RAIN.intensity_mm_h(got.gather_min) / 360
        assert got.flow_m3s is not None and got.flow_m3s > whole
        words = [step.meaning for step in
                 next(w for w in [check_drains([far, near], [outfall(1100, 0)],
                                               BY_LENGTH).workings("P1")[0]]).steps]  # fmt: skip
        assert "of it, what arrives within that time" in words

    def test_one_intensity_holds_for_all_without_a_table(self):
        reaches, nodes = two()
        for got in check_drains(reaches, nodes, STORM).reaches:
            assert got.intensity_mm_h == STORM.intensity_mm_h


def test_the_storm_that_loads_most_against_a_plain_scan():
    """The definition worked out reach by reach: the fullest stretch of arrival, each duration."""
    chance = np.random.default_rng(4)
    reaches = [
        pipe(f"P{i}", (i * 100.0, 0), ((i + 1) * 100.0, 0), upstream_invert_m=60 - i,
             downstream_invert_m=59 - i, catchment_ha=float(chance.uniform(0.01, 0.3)),
             section=PipeSection(0.6), flow_path_m=float(chance.uniform(20, 3000)),
             flow_path_fall_m=5.0)
        for i in range(8)
    ]  # fmt: skip
    check = check_drains(reaches, [outfall(800, 0)], BY_LENGTH)
    shorter = 0
    for index, got in enumerate(check.reaches):

        def arrived(times, index=index):
            area = np.zeros(np.shape(times))
            for above in range(index + 1):
                lag = sum(one.travel_min for one in check.reaches[above : index + 1])
                share = (times - lag) / check.reaches[above].entry_min
                area += reaches[above].catchment_ha * 0.5 * np.clip(share, 0, 1)
            return area

        def flow(length, times=np.linspace(0, 600, 6001), arrived=arrived):  # noqa: B008
            area = (arrived(times) - arrived(times - length)).max()
            return area * RAIN.intensity_mm_h(length) / 360

        scan = max(flow(length) for length in np.geomspace(5, 360, 220))
        assert 0.985 * scan <= got.flow_m3s <= 1.002 * max(scan, flow(got.storm_min))
        assert got.flow_m3s == pytest.approx(got.contributing_ha * got.intensity_mm_h / 360)
        shorter += got.storm_min < got.gather_min - 1e-9
    assert shorter


def test_a_table_whose_intensity_rises_is_tried_to_its_end():
    reaches, nodes = two()
    rain = DesignRain((5, 60, 120), (5, 10, 90))
    for got in check_drains(reaches, nodes, replace(BY_LENGTH, rain=rain)).reaches:
        assert got.storm_min == 120
        assert got.intensity_mm_h == pytest.approx(45)


class TestWaterLine:
    def test_free_pipes_run_at_their_own_depth(self):
        reaches, nodes = two()
        for got in check_drains(reaches, nodes, STORM).reaches:
            assert not got.runs_full
            assert got.depth_m is not None
            assert got.water_up_m == pytest.approx(got.upstream_level_m + got.depth_m)
        # The last falls free; the one above it is backed up by the fuller one below.
        upper, last = check_drains(reaches, nodes, STORM).reaches
        assert last.water_down_m == pytest.approx(last.downstream_level_m + last.depth_m)
        assert upper.water_down_m == pytest.approx(last.water_up_m)

    def test_a_pipe_too_small_is_carried_up_by_friction(self):
        """By hand: from the tailwater up by the friction gradient, then the loss where it begins."""
        reaches, _ = two(catchment_ha=4.0)
        flood = Node("O1", "O1", "outfall", 200, 0, water_m=50.4)
        check = check_drains(reaches, [flood], STORM)
        got = check.reach("P2")
        assert got.runs_full
        slope = pipes.friction_slope(diameter_m=0.3, roughness_m=0.0006, flow_m3s=got.flow_m3s)
        assert got.water_down_m == pytest.approx(50.4)
        assert got.water_up_m == pytest.approx(50.4 + slope * 100)
        velocity = got.flow_m3s / (np.pi * 0.09 / 4)
        head = got.water_up_m + 0.15 * velocity**2 / (2 * 9.81)  # straight through: 0.15
        assert check.reach("P1").water_down_m == pytest.approx(head)

    def test_where_it_falls_free_the_line_begins_at_critical_depth(self):
        reaches, nodes = two(catchment_ha=4.0)
        got = check_drains(reaches, nodes, STORM).reach("P2")
        yc = pipes.critical_depth_m(diameter_m=0.3, flow_m3s=got.flow_m3s)
        assert got.critical_m == pytest.approx(yc)
        assert got.water_down_m == pytest.approx(50 + yc)
        assert got.water_up_m is not None and got.friction_gradient is not None
        assert got.water_up_m > 51.3
        assert got.water_up_m < 50.3 + got.friction_gradient * 100

    def test_a_drowned_outfall_backs_the_water_up(self):
        reaches, _ = two()
        flood = Node("O1", "O1", "outfall", 200, 0, water_m=51.6)
        check = check_drains(reaches, [flood], STORM)
        got = check.reach("P2")
        assert got.water_down_m == pytest.approx(51.6)
        assert got.runs_full
        assert "drowned" in [finding.kind for finding in check.advice]
        assert got.state == "carries"

    def test_it_says_where_water_comes_out(self):
        reaches, nodes = two(catchment_ha=6.0)
        chamber = Node("C1", "C1", "chamber", 100, 0, cover_m=51.9)
        check = check_drains(reaches, [*nodes, chamber], STORM)
        out = next(finding for finding in check.advice if finding.kind == "surfaces")
        assert "above the cover of C1" in out.words
        # Upstream of it the line goes on from the cover, for what is more spills there.
        assert check.reach("P1").water_down_m == pytest.approx(51.9)

    def test_a_drain_that_carries_its_flow_into_water_that_comes_out_says_so(self):
        (first, second), nodes = two(catchment_ha=12.0)
        chamber = Node("C1", "C1", "chamber", 100, 0, cover_m=51.9)
        quiet = replace(first, catchment_ha=0.1)
        got = check_drains([quiet, second], [*nodes, chamber], STORM).reach("P1")
        assert got.state == "carries"
        assert got.drowned
        assert "drowned from below: water comes out at C1" in got.verdict
        dry = check_drains([quiet, replace(second, catchment_ha=0.1)], [*nodes, chamber], STORM)
        assert not dry.reach("P1").drowned

    def test_ground_stands_in_for_a_cover(self):
        reaches, nodes = two(catchment_ha=6.0)
        check = check_drains(
            reaches, nodes, STORM, ground_at=lambda x, y: np.full(np.shape(x), 52.6)
        )
        assert any("above the ground" in finding.words for finding in check.advice)

    def test_a_ditch_below_backs_up_the_pipe_that_enters_it(self):
        brook = ditch("D1", (0, 0), (200, 0), catchment_ha=60.0, downstream_invert_m=50.0,
                      upstream_invert_m=51.0)  # fmt: skip
        enters = pipe("P1", (100, 80), (100, 0), upstream_invert_m=50.9, downstream_invert_m=50.5)
        check = check_drains([brook, enters], [outfall(200, 0)], STORM)
        water = check.reach("D1")
        half = (water.water_up_m + water.water_down_m) / 2
        assert check.reach("P1").water_down_m == pytest.approx(half, abs=1e-6)

    def test_the_loss_grows_with_the_turn_and_a_chambers_own_figure_rules(self):
        losses = []
        for end in ((200, 0), (100, 100)):
            lower = pipe("P2", (100, 0), end)
            upper = pipe("P1", (0, 0), (100, 0), upstream_invert_m=52, downstream_invert_m=51)
            nodes = [outfall(*end)]
            losses.append(check_drains([upper, lower], nodes, STORM).reach("P2").loss_k)
        assert losses == pytest.approx([0.15, 1.0])
        given = Node("C1", "C1", "chamber", 100, 0, loss_k=0.4)
        check = check_drains([upper, lower], [*nodes, given], STORM)
        assert check.reach("P2").loss_k == 0.4
        assert check.reach("P1").loss_k == 0.5

    @settings(max_examples=150, deadline=None)
    @given(
        bore=st.floats(0.15, 0.6),
        wider=st.floats(1.01, 2.5),
        area=st.floats(0.5, 12),
        fall=st.floats(0.05, 3),
        length=st.floats(2, 200),
        flood=st.floats(49.5, 52.5),
    )
    def test_a_bigger_pipe_never_carries_less_nor_raises_the_water(
        self, bore, wider, area, fall, length, flood
    ):
        def check(size):
            reach = pipe("P1", (0, 0), (length, 0), catchment_ha=area, section=PipeSection(size),
                         upstream_invert_m=50 + fall)  # fmt: skip
            mouth = Node("O1", "O1", "outfall", length, 0, water_m=flood)
            return check_drains([reach], [mouth], STORM)

        small, large = check(bore), check(bore * wider)
        if small.reach("P1").capacity_m3s is None or large.reach("P1").capacity_m3s is None:
            return
        assert large.reach("P1").capacity_m3s > small.reach("P1").capacity_m3s

        def energy_m(checked, size):
            """At the upper end; where it shoots there, that of critical depth just above it."""
            got = checked.reach("P1")
            depth = got.water_up_m - (50 + fall)
            least = pipes.critical_energy_m(diameter_m=size, flow_m3s=got.flow_m3s)
            if depth < got.critical_m:
                return 50 + fall + least
            wet = pipes.wetted_area_m2(diameter_m=size, depth_m=depth)
            return got.water_up_m + (got.flow_m3s / wet) ** 2 / (2 * 9.81)

        # The surface itself may gain what the water loses in speed; its energy may not rise.
        assert energy_m(large, bore * wider) <= energy_m(small, bore) + 0.002 * bore
        spare = energy_m(small, bore) - small.reach("P1").water_up_m
        for before, after in zip(small.water, large.water, strict=True):
            assert after.level_m <= before.level_m + spare + 0.002 * bore

    def test_joining_order_does_not_change_the_check(self):
        reaches, nodes = two(catchment_ha=4.0)
        side = pipe("S1", (100, 60), (100, 0), upstream_invert_m=52, downstream_invert_m=51)
        one = check_drains([*reaches, side], nodes, BY_LENGTH)
        other = check_drains([side, *reaches[::-1]], nodes, BY_LENGTH)
        for reach in one.reaches:
            same = other.reach(reach.key)
            assert set(same.above) == set(reach.above)
            assert replace(same, above=reach.above) == reach


class TestDitches:
    def test_freeboard_froude_and_lining(self):
        steep = ditch("D1", (0, 0), (100, 0), upstream_invert_m=54, catchment_ha=20)
        got = check_drains([steep], [outfall(100, 0)], STORM)
        check = got.reach("D1")
        assert check.froude is not None and check.froude > 1
        assert check.freeboard_left_m == pytest.approx(DITCH.depth_m - check.depth_m)
        bare = next(finding for finding in got.advice if finding.kind == "scour")
        assert "an earth bed" in bare.words
        grass = check_drains([replace(steep, lining="fescue")], [outfall(100, 0)], STORM)
        stands = LININGS["fescue"].velocity_ms
        cut = [finding for finding in grass.advice if finding.kind == "scour"]
        assert bool(cut) == (check.velocity_ms > stands)
        with pytest.raises(ValueError, match="no lining"):
            replace(steep, lining="gold")


class TestPonds:
    def test_what_enters_a_pond_leaves_it(self):
        into = pipe("P1", (0, 0), (100, 0))
        out = pipe("P2", (140, 0), (240, 0), upstream_invert_m=50, downstream_invert_m=49)
        nodes = [
            Node("w:1", "Mill pond", "pond", 100, 0, pond="w"),
            Node("w:2", "Mill pond", "pond", 140, 0, pond="w"),
            outfall(240, 0),
        ]
        check = check_drains([into, out], nodes, STORM)
        assert check.reach("P2").area_above_ha == pytest.approx(2)
        assert check.reach("P1").outfall_name == "O1"
        assert "leave it at once" in next(f.words for f in check.advice if f.kind == "from_pond")
        assert check.reach("P1").build_step == 2


class TestCulverts:
    @pytest.mark.parametrize("inlet", culverts.INLETS)
    def test_more_flow_never_lowers_the_headwater(self, inlet):
        section = PipeSection(0.45)
        levels = []
        for flow in np.linspace(0.01, 0.6, 60):
            barrel = water_profile(section, flow_m3s=flow, gradient=0.01, length_m=12)
            found = culverts.culvert_flow(
                section, flow_m3s=flow, gradient=0.01, inlet=inlet, barrel_m=barrel.upper_m
            )
            levels.append(found.headwater_m)
        assert np.all(np.diff(levels) > -1e-9)

    def test_a_high_tailwater_puts_the_outlet_in_charge(self):
        section = PipeSection(0.45)
        found = []
        for tail in (0.0, 1.5):
            barrel = water_profile(
                section, flow_m3s=0.2, gradient=0.02, length_m=12, tailwater_m=tail
            )
            found.append(
                culverts.culvert_flow(
                    section, flow_m3s=0.2, gradient=0.02, inlet="project", barrel_m=barrel.upper_m
                )
            )
        free, drowned = found
        assert (free.ruled_by, drowned.ruled_by) == ("inlet", "outlet")
        assert drowned.headwater_m > free.headwater_m

    @pytest.mark.parametrize("inlet", culverts.INLETS)
    @pytest.mark.parametrize("fall", [0.02, 0.3])
    def test_in_the_network_it_lifts_the_water_above_it(self, inlet, fall):
        brook = ditch("D1", (0, 0), (100, 0), upstream_invert_m=52, downstream_invert_m=51,
                      catchment_ha=2.5)  # fmt: skip
        under = pipe("K1", (100, 0), (112, 0), upstream_invert_m=51, downstream_invert_m=51 - fall,
                     catchment_ha=0, inlet=inlet)  # fmt: skip
        check = check_drains([brook, under], [outfall(112, 0)], STORM)
        got = check.reach("K1")
        alone = culverts.culvert_flow(
            BORE_300, flow_m3s=got.flow_m3s, gradient=fall / 12, inlet=inlet,
            barrel_m=got.water_up_m - 51,
        )  # fmt: skip
        assert got.headwater_m == pytest.approx(alone.headwater_m)
        assert check.reach("D1").water_down_m == pytest.approx(51 + got.headwater_m)
        working = next(one for one in check.workings("K1") if "culvert" in one.title)
        assert working.steps[-1].value == pytest.approx(got.headwater_m)

    def test_a_culvert_without_flow_cannot_be(self):
        with pytest.raises(ValueError, match="flow"):
            culverts.inlet_headwater_m(BORE_300, flow_m3s=0, gradient=0.01, inlet="groove")


class TestBanksAndPonds:
    def test_a_ditch_that_is_too_small_comes_over_its_bank(self):
        brook = ditch("D1", (0, 0), (100, 0), catchment_ha=200)
        check = check_drains([brook], [outfall(100, 0)], STORM)
        out = next(finding for finding in check.advice if finding.kind == "surfaces")
        assert "above the bank of D1" in out.words

    def test_all_that_meets_at_a_pond_shares_its_level(self):
        into = pipe("P1", (0, 0), (100, 0))
        out = pipe("P2", (140, 0), (240, 0), upstream_invert_m=50.4, downstream_invert_m=49.4)
        nodes = [
            Node("w:1", "Mill pond", "pond", 100, 0, water_m=50.5, pond="w"),
            Node("w:2", "Mill pond", "pond", 140, 0, water_m=50.5, pond="w"),
            outfall(240, 0),
        ]
        check = check_drains([into, out], nodes, STORM)
        level = check.reach("P2").water_up_m
        assert level is not None and level > 50.5
        assert check.reach("P1").water_down_m == pytest.approx(level)
        quiet = check_drains([into], nodes[:1], STORM)
        assert quiet.reach("P1").water_down_m == pytest.approx(50.5)


def test_one_drain_two_outfalls_is_pointed_out():
    reaches = [
        pipe("P1", (0, 0), (100, 0), upstream_invert_m=60, downstream_invert_m=59),
        pipe("P2", (100, 0), (150, 50), upstream_invert_m=59, downstream_invert_m=58),
        pipe("P3", (100, 0), (150, -50), upstream_invert_m=59, downstream_invert_m=58),
    ]
    check = check_drains(reaches, [outfall(150, 50), outfall(150, -50, "O2")], STORM)
    found = next(finding for finding in check.advice if finding.kind == "two_outfalls")
    assert "O1, O2" in found.words
    total = sum(check.reach(key).flow_m3s for key in ("P2", "P3"))
    assert total == pytest.approx(3 * 0.5 * 30 / 360)


class TestFeet:
    def test_a_drain_in_feet_among_metres_is_named_and_not_used(self):
        reaches = [
            pipe(f"P{i}", (i * 100.0, 0), ((i + 1) * 100.0, 0), upstream_invert_m=64 - i,
                 downstream_invert_m=63 - i, catchment_ha=0.5)
            for i in range(4)
        ]  # fmt: skip
        reaches[1] = replace(
            reaches[1], upstream_invert_m=63 / 0.3048, downstream_invert_m=62 / 0.3048
        )
        check = check_drains(reaches, [outfall(400, 0)], STORM)
        found = next(finding for finding in check.faults if finding.kind == "feet")
        assert found.reach_keys == ("P1",)
        assert found.place == (100.0, 0)
        assert "In feet it would be 63.00 m" in found.words
        assert check.reach("P1").state == "fault"
        assert "look like feet" in check.reach("P1").verdict
        assert [check.reach(key).state for key in ("P0", "P2", "P3")] == ["carries"] * 3
        assert "missing_level" not in [finding.kind for finding in check.faults]

    def test_all_in_feet_is_told_by_the_ground(self):
        reaches, nodes = two()
        in_feet = [
            replace(
                one,
                upstream_invert_m=one.upstream_invert_m / 0.3048,
                downstream_invert_m=one.downstream_invert_m / 0.3048,
            )
            for one in reaches
        ]

        def ground_at(x, y):
            return np.full(np.shape(x), 52.5)

        check = check_drains(in_feet, nodes, STORM, ground_at=ground_at)
        assert {key for f in check.faults for key in f.reach_keys if f.kind == "feet"} == {
            "P1",
            "P2",
        }
        assert "the ground there" in check.faults[0].words
        assert not any(
            f.kind == "feet"
            for f in check_drains(reaches, nodes, STORM, ground_at=ground_at).faults
        )

    def test_a_cover_in_feet_is_set_aside(self):
        reaches, nodes = two()
        chamber = Node("C1", "C1", "chamber", 100, 0, cover_m=172.0, invert_m=51.0)
        check = check_drains(
            reaches, [*nodes, chamber], STORM, ground_at=lambda x, y: np.full(np.shape(x), 52.5)
        )
        found = next(finding for finding in check.faults if finding.kind == "feet")
        assert found.words.startswith("C1: cover 172.00 m")
        assert [one.surface_from for one in check.water].count("ground") >= 1

    def test_hilly_ground_is_not_taken_for_feet(self):
        reaches = [
            pipe(f"P{i}", (i * 100.0, 0), ((i + 1) * 100.0, 0), upstream_invert_m=100 - 9 * i,
                 downstream_invert_m=91 - 9 * i)
            for i in range(9)
        ]  # fmt: skip
        check = check_drains(reaches, [outfall(900, 0)], STORM)
        assert "feet" not in [finding.kind for finding in check.faults]


@st.composite
def dividing_networks(draw):
    """Layers of points on circles; from every point one to three drains to the next layer."""
    layers = draw(st.lists(st.integers(1, 4), min_size=2, max_size=5))
    spots = {
        (layer, spot): (200.0 * (layer + 1) * np.cos(1 + spot + 0.3 * layer),
                        200.0 * (layer + 1) * np.sin(1 + spot + 0.3 * layer))
        for layer, count in enumerate(layers)
        for spot in range(count)
    }  # fmt: skip
    reaches: list[Reach] = []
    for layer, count in enumerate(layers[:-1]):
        for spot in range(count):
            ways = draw(st.sets(st.integers(0, layers[layer + 1] - 1), min_size=1, max_size=3))
            for way in sorted(ways):
                reaches.append(
                    pipe(
                        f"P{len(reaches)}", spots[layer, spot], spots[layer + 1, way],
                        upstream_invert_m=60.0 - layer, downstream_invert_m=59.0 - layer,
                        section=PipeSection(draw(st.sampled_from([0.15, 0.3, 0.6]))),
                        catchment_ha=draw(st.floats(0, 3)),
                    )
                )  # fmt: skip
    nodes = [outfall(*spots[len(layers) - 1, spot], f"O{spot}") for spot in range(layers[-1])]
    return reaches, nodes


@settings(max_examples=80, deadline=None)
@given(drawn=dividing_networks())
def test_no_water_is_made_or_lost_where_it_divides(drawn):
    reaches, nodes = drawn
    check = check_drains(reaches, nodes, STORM)
    if any(finding.kind == "strung_out" for finding in check.findings):
        return
    leaving = sum(got.flow_m3s for got in check.reaches if not got.below)
    rain = sum(one.catchment_ha * one.runoff_coefficient for one in reaches) * 30 / 360
    assert leaving == pytest.approx(rain, rel=1e-9, abs=1e-12)


@given(upper=st.floats(40, 60), lower=st.floats(40, 60), length=st.floats(20, 300))
@settings(max_examples=60, deadline=None)
def test_turned_round_a_drain_falls_the_other_way(upper, lower, length):
    there = pipe("P1", (0, 0), (length, 0), upstream_invert_m=upper, downstream_invert_m=lower)
    back = pipe("P1", (length, 0), (0, 0), upstream_invert_m=lower, downstream_invert_m=upper)
    one = check_drains([there], [outfall(length, 0)], STORM).reach("P1")
    other = check_drains([back], [outfall(0, 0)], STORM).reach("P1")
    assert one.gradient == pytest.approx(-other.gradient, abs=1e-12)


@pytest.mark.parametrize("count", [1, 5, 10])
def test_the_check_agrees_with_the_same_rain_led_through(count):
    """Of all even storms the one that brings most, marched down a chain: within 3 %."""
    reaches = [
        pipe(f"P{i}", (i * 80.0, 0), ((i + 1) * 80.0, 0), upstream_invert_m=60 - i * 0.8,
             downstream_invert_m=59.2 - i * 0.8, catchment_ha=0.4, section=PipeSection(0.6))
        for i in range(count)
    ]  # fmt: skip
    nodes = [outfall(count * 80.0, 0)]
    last = check_drains(reaches, nodes, BY_LENGTH).reaches[-1]
    led = max(
        route(
            reaches,
            nodes,
            [],
            even_storm(
                intensity_mm_h=RAIN.intensity_mm_h(minutes),
                duration_h=minutes / 60,
                after_h=1.0,
                step_s=15.0,
            ),
            storm=BY_LENGTH,
        )
        .reach(last.key)
        .leaving_m3s
        for minutes in range(8, 30)
    )
    assert last.flow_m3s == pytest.approx(led, rel=0.03)


def test_water_that_comes_to_a_ring_is_followed_no_further():
    """By length of storm as with one intensity: the reach above it is told, the ring is named."""
    ring = [
        pipe("P1", (0, 0), (100, 0)),
        pipe("P2", (100, 0), (50, 80)),
        pipe("P3", (50, 80), (0, 0)),
    ]
    check = check_drains([*ring, pipe("P0", (-100, 0), (0, 0))], [outfall(300, 0)], BY_LENGTH)
    assert "loop" in [finding.kind for finding in check.faults]
    assert check.reach("P0").flow_m3s is not None
    assert all(check.reach(one.key).flow_m3s is None for one in ring)
