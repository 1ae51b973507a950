"""The drain check: joining, faults, flow, capacity, verdicts, and what is built first."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.calc.drains import BORE_300, DITCH, STORM, ditch, outfall, pipe
from worksprog.calc.ditches import DitchSection, ditch_capacity, normal_depth_m
from worksprog.calc.network import Limits, Node, Reach, Storm, check_drains
from worksprog.calc.pipes import PipeSection, full_bore_flow_m3s, part_full_flow


def kinds(check):
    return [finding.kind for finding in check.findings]


def chain(count=3, **changes):
    """P1 → P2 → … → O1, 100 m each at 1 in 100."""
    reaches = [
        pipe(
            f"P{i + 1}",
            (i * 100.0, 0.0),
            (i * 100.0 + 100, 0.0),
            upstream_invert_m=60.0 - i,
            downstream_invert_m=59.0 - i,
            **changes,
        )
        for i in range(count)
    ]
    return reaches, [outfall(count * 100.0, 0.0)]


class TestJoining:
    def test_ends_within_the_tolerance_are_joined_and_told(self):
        first = pipe("P1", (0, 0), (100, 0))
        second = pipe("P2", (100.3, 0.2), (200, 0), upstream_invert_m=50, downstream_invert_m=49)
        check = check_drains([first, second], [outfall(200, 0)], STORM)
        assert check.reach("P1").below == ("P2",)
        (moved,) = check.moved
        assert (moved.reach_key, moved.end) == ("P1", "downstream")
        assert moved.gap_m == pytest.approx(math.hypot(0.3, 0.2))
        assert "m away" in moved.words("P1")

    def test_ends_beyond_the_tolerance_are_not(self):
        first = pipe("P1", (0, 0), (100, 0))
        second = pipe("P2", (100.6, 0), (200, 0))
        check = check_drains([first, second], [outfall(200, 0)], STORM)
        assert check.reach("P1").below == ()
        assert "dead_end" in kinds(check)

    def test_exact_joins_are_not_told(self):
        reaches, nodes = chain()
        assert check_drains(reaches, nodes, STORM).moved == ()

    def test_a_pipe_enters_a_ditch_part_way_along(self):
        brook = ditch("D1", (0, 0), (200, 0), upstream_invert_m=50, downstream_invert_m=49)
        side = pipe("P1", (80, 60), (80, 0.2), upstream_invert_m=51, downstream_invert_m=50.1)
        check = check_drains([brook, side], [outfall(200, 0)], STORM)
        assert check.reach("P1").below == ("D1",)
        assert check.reach("P1").enters_at_m == pytest.approx(80)
        assert check.reach("D1").area_above_ha == pytest.approx(2.0)
        assert check.reach("P1").outfall_name == "O1"
        assert check.faults == ()
        assert "80 m along" in check.moved[0].to

    def test_a_pipe_below_the_bed_of_the_ditch_it_enters_is_named(self):
        brook = ditch("D1", (0, 0), (200, 0), upstream_invert_m=50, downstream_invert_m=49)
        side = pipe("P1", (80, 60), (80, 0), upstream_invert_m=51, downstream_invert_m=49.4)
        check = check_drains([brook, side], [outfall(200, 0)], STORM)
        assert kinds(check) == ["step_up"]
        assert "0.20 m below the bed of D1" in check.findings[0].words

    def test_an_outfall_beside_a_ditch_hands_on_to_the_ditch(self):
        brook = ditch("D1", (0, 0), (200, 0), upstream_invert_m=50, downstream_invert_m=49)
        side = pipe("P1", (80, 60), (80, 0), upstream_invert_m=51, downstream_invert_m=50)
        check = check_drains([brook, side], [outfall(80, 0, "O2"), outfall(200, 0)], STORM)
        assert check.reach("P1").below == ("D1",)
        assert check.reach("P1").outfall_name == "O2"  # its own; the ditch comes out at O1

    def test_a_string_of_near_points_is_named(self):
        reaches = [
            pipe("P1", (0, 0), (100, 0)),
            pipe("P2", (100, 50), (100.4, 0)),
            pipe("P3", (100.8, 0), (200, 0), upstream_invert_m=50, downstream_invert_m=49),
        ]
        check = check_drains(reaches, [outfall(200, 0)], STORM)
        assert "strung_out" in kinds(check)

    def test_coordinates_that_are_no_numbers_are_refused(self):
        with pytest.raises(ValueError, match="not a number"):
            check_drains([pipe("P1", (0, 0), (math.nan, 0), length_m=5)], [], STORM)

    def test_two_reaches_with_one_key_are_refused(self):
        with pytest.raises(ValueError, match="same key"):
            check_drains([pipe("P1", (0, 0), (9, 0)), pipe("P1", (9, 0), (20, 0))], [], STORM)

    def test_an_empty_network(self):
        check = check_drains([], [], STORM)
        assert (check.reaches, check.findings, check.order) == ((), (), ())


class TestFaults:
    def test_a_sound_chain_has_none(self):
        reaches, nodes = chain()
        check = check_drains(reaches, nodes, STORM)
        assert check.findings == ()
        assert {reach.outfall_name for reach in check.reaches} == {"O1"}

    def test_a_loop_is_named_and_nothing_is_made_up_for_it_or_below(self):
        reaches = [
            pipe("P1", (0, 0), (100, 0)),
            pipe("P2", (100, 0), (50, 80)),
            pipe("P3", (50, 80), (0, 0)),
            pipe("P4", (100, 0), (200, 0)),
            pipe("P0", (-100, 0), (0, 0)),
        ]
        check = check_drains(reaches, [outfall(200, 0)], STORM)
        loop = next(finding for finding in check.findings if finding.kind == "loop")
        assert set(loop.reach_keys) == {"P1", "P2", "P3"}
        assert "P1 → P2 → P3 → P1" in loop.words
        assert check.reach("P0").flow_m3s == pytest.approx(1.0 * 0.5 * 30 / 360)
        for key in ("P1", "P2", "P3", "P4"):
            assert check.reach(key).flow_m3s is None
            assert check.reach(key).state == "unknown"
        assert check.order == ("P4",)
        assert check.workings("P1")[0].notes[0].startswith("It stands in or below a loop")

    def test_a_reach_shorter_than_the_tolerance_is_named(self):
        check = check_drains([pipe("P1", (0, 0), (0.3, 0))], [outfall(0.3, 0)], STORM)
        assert "ends where it starts" in check.findings[0].words

    def test_uphill(self):
        check = check_drains(
            [pipe("P1", (0, 0), (100, 0), upstream_invert_m=50, downstream_invert_m=50.25)],
            [outfall(100, 0)],
            STORM,
        )
        assert kinds(check) == ["uphill"]
        assert "0.25 m higher at its lower end" in check.findings[0].words
        assert check.reach("P1").capacity_m3s is None
        assert check.reach("P1").state == "fault"
        assert check.reach("P1").verdict == "runs uphill: 0.25 m higher at its lower end"
        assert check.reach("P1").fault_words == "runs uphill"
        assert (check.count("fault"), check.count("unknown")) == (1, 0)

    def test_flat(self):
        check = check_drains(
            [pipe("P1", (0, 0), (100, 0), upstream_invert_m=50.005, downstream_invert_m=50)],
            [outfall(100, 0)],
            STORM,
        )
        assert kinds(check) == ["flat"]
        assert "falls 5 mm over 100 m" in check.findings[0].words
        assert check.reach("P1").state == "fault"
        assert check.reach("P1").verdict.startswith("is level")

    def test_a_level_pipe_with_a_hair_of_backfall_is_not_said_to_fall(self):
        check = check_drains(
            [pipe("P1", (0, 0), (100, 0), upstream_invert_m=50, downstream_invert_m=50.005)],
            [outfall(100, 0)],
            STORM,
        )
        assert "rises 5 mm over 100 m" in check.findings[0].words
        assert check.reach("P1").state == "fault"

    def test_steeper_than_any_drain(self):
        check = check_drains(
            [pipe("P1", (0, 0), (100, 0), upstream_invert_m=160, downstream_invert_m=50)],
            [outfall(100, 0)],
            STORM,
        )
        assert check.reach("P1").state == "fault"
        assert check.reach("P1").verdict == "falls too steeply: 110.00 m over 100.0 m"

    @pytest.mark.parametrize(
        ("end", "words"), [("upstream", "upstream level is"), ("downstream", "downstream level is")]
    )
    def test_missing_level(self, end, words):
        check = check_drains(
            [pipe("P1", (0, 0), (100, 0), **{f"{end}_invert_m": None})], [outfall(100, 0)], STORM
        )
        assert kinds(check) == ["missing_level"]
        assert words in check.findings[0].words

    def test_a_node_lends_its_level(self):
        chamber = Node("C1", "C1", "chamber", 0, 0, invert_m=51.5)
        check = check_drains(
            [pipe("P1", (0, 0), (100, 0), upstream_invert_m=None)],
            [chamber, outfall(100, 0)],
            STORM,
        )
        assert check.findings == ()
        reach = check.reach("P1")
        assert reach.gradient == pytest.approx(0.015)
        assert reach.upstream_level_from == "from chamber C1"

    def test_what_is_to_spare_is_one_figure_wherever_it_is_told(self):
        for hectares in (0.11, 0.32, 0.57, 1.13, 1.61):
            one = pipe("P1", (0, 0), (100, 0), catchment_ha=hectares)
            got = check_drains([one], [outfall(100, 0)], STORM).reach("P1")
            assert got.state == "carries"
            assert f"{got.spare_told:.0%}".replace("%", " % to spare") in got.verdict
            assert got.spare_told <= got.spare_share

    def test_dead_end_in_the_open_and_at_a_chamber(self):
        check = check_drains([pipe("P1", (0, 0), (100, 0))], [], STORM)
        assert "ends in the open" in check.findings[0].words
        assert check.count("fault") == 1
        assert check.reach("P1").verdict.startswith(
            "leads nowhere: nothing takes the water at its end"
        )
        bare = pipe("P1", (0, 0), (100, 0), upstream_invert_m=None, section=None)
        assert check_drains([bare], [], STORM).reach("P1").state == "fault"
        small = pipe("P1", (0, 0), (100, 0), catchment_ha=50.0)
        assert "and too small by" in check_drains([small], [], STORM).reach("P1").verdict
        check = check_drains(
            [pipe("P1", (0, 0), (100, 0))], [Node("H1", "H1", "headwall", 100, 0)], STORM
        )
        assert "at headwall H1, which is no outfall" in check.findings[0].words
        assert check.reach("P1").outfall_name == ""

    def test_a_pond_takes_the_water(self):
        pond = Node("W1", "Mill pond", "pond", 100, 0)
        check = check_drains([pipe("P1", (0, 0), (100, 0))], [pond], STORM)
        assert check.findings == ()
        assert check.reach("P1").outfall_name == "Mill pond"
        on = pipe("P2", (100, 0), (200, 0), upstream_invert_m=50, downstream_invert_m=49)
        through = check_drains([pipe("P1", (0, 0), (100, 0)), on], [pond, outfall(200, 0)], STORM)
        assert through.reach("P2").area_above_ha == pytest.approx(2.0)

    def test_a_split_is_named_and_shared_by_what_each_can_carry(self):
        reaches = [
            pipe("P1", (0, 0), (100, 0), upstream_invert_m=60, downstream_invert_m=59),
            pipe("P2", (100, 0), (150, 50), upstream_invert_m=59, downstream_invert_m=58),
            pipe("P3", (100, 0), (150, -50), upstream_invert_m=59, downstream_invert_m=58),
            pipe("P4", (150, 50), (200, 0), upstream_invert_m=58, downstream_invert_m=57),
            pipe("P5", (150, -50), (200, 0), upstream_invert_m=58, downstream_invert_m=57),
            pipe("P6", (200, 0), (300, 0), upstream_invert_m=57, downstream_invert_m=56),
        ]
        check = check_drains(reaches, [outfall(300, 0)], STORM)
        assert kinds(check) == ["split"]
        assert "divides at" in check.findings[0].words
        assert "50%" in check.findings[0].words
        assert check.reach("P2").area_above_ha == pytest.approx(1.5)
        assert check.reach("P3").area_above_ha == pytest.approx(1.5)
        assert check.reach("P6").area_above_ha == pytest.approx(6)
        reaches[1] = pipe(
            "P2", (100, 0), (150, 50), upstream_invert_m=59, downstream_invert_m=58,
            section=PipeSection(0.45),
        )  # fmt: skip
        check = check_drains(reaches, [outfall(300, 0)], STORM)
        large, small = check.reach("P2"), check.reach("P3")
        assert large.capacity_m3s and small.capacity_m3s
        ratio = large.capacity_m3s / (large.capacity_m3s + small.capacity_m3s)
        assert large.area_above_ha == pytest.approx(1 + ratio)
        assert check.reach("P6").area_above_ha == pytest.approx(6)

    def test_a_drain_that_starts_part_way_along_another_is_named(self):
        brook = ditch("D1", (0, 0), (200, 0))
        off = pipe("P1", (80, 0), (80, 60))
        check = check_drains([brook, off], [outfall(200, 0), outfall(80, 60, "O2")], STORM)
        assert kinds(check)[0] == "split"
        assert "drawn the wrong way" in check.findings[0].words
        shared = check.reach("P1")
        assert shared.area_above_ha is not None
        assert 1 < shared.area_above_ha < 2

    def test_step_up_narrowing_stray_node(self):
        reaches = [
            pipe("P1", (0, 0), (100, 0), upstream_invert_m=51, downstream_invert_m=50),
            pipe(
                "P2",
                (100, 0),
                (200, 0),
                upstream_invert_m=50.3,
                downstream_invert_m=49,
                section=PipeSection(0.225),
            ),
        ]
        nodes = [outfall(200, 0), Node("C9", "C9", "chamber", 500, 500)]
        check = check_drains(reaches, nodes, STORM)
        assert sorted(kinds(check)) == ["narrows", "step_up", "stray_node"]
        assert [finding.kind for finding in check.faults] == ["step_up"]

    def test_a_section_that_cannot_be_is_told_in_its_own_words(self):
        check = check_drains(
            [
                pipe("P1", (0, 0), (100, 0), section=None),
                pipe(
                    "P2",
                    (100, 0),
                    (200, 0),
                    upstream_invert_m=50,
                    downstream_invert_m=49,
                    section=None,
                    section_fault="the roughness is greater than a tenth of the bore",
                ),
            ],
            [outfall(200, 0)],
            STORM,
        )
        assert "no inside diameter entered" in check.findings[0].words
        assert check.findings[1].words == "P2: the roughness is greater than a tenth of the bore"

    def test_silting_scour_and_large_catchment_are_advice(self):
        slow = pipe(
            "P1", (0, 0), (100, 0), upstream_invert_m=50.05, downstream_invert_m=50,
            section=PipeSection(0.15), catchment_ha=0.01,
        )  # fmt: skip
        fast = ditch(
            "D1", (100, 0), (200, 0), upstream_invert_m=50, downstream_invert_m=46,
            catchment_ha=90.0,
        )  # fmt: skip
        check = check_drains([slow, fast], [outfall(200, 0)], STORM)
        assert [finding.kind for finding in check.advice] == ["silting", "scour", "large_catchment"]
        assert check.faults == ()


class TestCapacityAndVerdict:
    def test_a_pipe_agrees_with_the_single_pipe_functions(self):
        reaches, nodes = chain(1)
        got = check_drains(reaches, nodes, STORM).reach("P1")
        full = full_bore_flow_m3s(diameter_m=0.3, gradient=0.01, roughness_m=0.0006)
        flow = 1.0 * 0.5 * 30 / 360
        single = part_full_flow(
            flow_m3s=flow,
            full_flow_m3s=full,
            full_velocity_ms=full / BORE_300.area_m2,
            diameter_m=0.3,
        )
        assert got.capacity_m3s == pytest.approx(full, rel=1e-12)
        assert got.flow_m3s == pytest.approx(flow, rel=1e-12)
        assert got.velocity_ms == pytest.approx(single.velocity_ms, rel=1e-9)
        assert got.depth_m == pytest.approx(single.depth_m, rel=1e-9)
        assert got.verdict == f"carries it, {math.floor((1 - flow / full) * 100)} % to spare"

    def test_a_ditch_agrees_with_the_single_ditch_functions(self):
        reach = ditch("D1", (0, 0), (100, 0), catchment_ha=4.0)
        got = check_drains([reach], [outfall(100, 0)], STORM).reach("D1")
        assert got.capacity_m3s == pytest.approx(ditch_capacity(DITCH, gradient=0.01).flow_m3s)
        flow = 4 * 0.5 * 30 / 360
        assert got.depth_m == pytest.approx(normal_depth_m(DITCH, flow_m3s=flow, gradient=0.01))

    def test_a_pipe_too_small_says_by_how_much_and_what_would_do(self):
        reach = pipe("P1", (0, 0), (100, 0), catchment_ha=4.0)
        got = check_drains([reach], [outfall(100, 0)], STORM).reach("P1")
        assert got.state == "too_small"
        assert got.shortfall_m3s == pytest.approx(4 * 0.5 * 30 / 360 - 0.11101, abs=1e-5)
        assert got.verdict.startswith("too small by 56 l/s: ")
        assert " mm would do it at this gradient; the next usual size, 375 mm, " in got.verdict
        bore_mm = int(got.verdict.split(": ")[1].split(" mm")[0])
        given_by = {"gradient": 0.01, "roughness_m": 0.0006}
        assert full_bore_flow_m3s(diameter_m=bore_mm / 1000, **given_by) >= got.flow_m3s
        assert full_bore_flow_m3s(diameter_m=(bore_mm - 1) / 1000, **given_by) < got.flow_m3s
        usual = full_bore_flow_m3s(diameter_m=0.375, **given_by)
        assert got.verdict.endswith(f"carries {usual * 1000:.0f} l/s")
        assert 300 < bore_mm <= 375

    @pytest.mark.parametrize("over", [1.02, 1.5])
    def test_an_overloaded_pipe_has_no_depth_and_no_velocity(self, over):
        full = full_bore_flow_m3s(diameter_m=0.3, gradient=0.01, roughness_m=0.0006)
        reach = pipe("P1", (0, 0), (100, 0), catchment_ha=over * full * 360 / 30 / 0.5)
        check = check_drains([reach], [outfall(100, 0)], STORM)
        got = check.reach("P1")
        assert got.backs_up
        assert (got.depth_m, got.velocity_ms) == (None, None)
        titles = [working.title for working in check.workings("P1")]
        assert "Depth and velocity at this flow" not in titles
        assert "backs up" in check.workings("P1")[-1].notes[0]

    def test_beyond_the_usual_sizes(self):
        reach = pipe("P1", (0, 0), (100, 0), catchment_ha=60.0)
        got = check_drains([reach], [outfall(100, 0)], STORM).reach("P1")
        assert got.verdict.endswith("; the usual sizes end at 900 mm")
        assert int(got.verdict.split(": ")[1].split(" mm")[0]) > 900

    def test_a_ditch_too_small_says_how_much_deeper(self):
        reach = ditch("D1", (0, 0), (100, 0), catchment_ha=60.0)
        got = check_drains([reach], [outfall(100, 0)], STORM).reach("D1")
        deeper = float(got.verdict.split(": ")[1].split(" m deeper")[0])
        dug = DitchSection(0.5, 1.5, 0.9 + deeper + 0.005, freeboard_m=0.3)
        assert ditch_capacity(dug, gradient=0.01).flow_m3s >= got.flow_m3s
        assert ditch_capacity(DITCH, gradient=0.01).flow_m3s < got.flow_m3s

    @pytest.mark.parametrize(("make", "words"), [(pipe, "any one pipe"), (ditch, "any ditch")])
    def test_a_river_is_beyond_any_drain(self, make, words):
        reach = make("R1", (0, 0), (100, 0), catchment_ha=90_000.0, runoff_coefficient=1.0)
        check = check_drains([reach], [outfall(100, 0)], STORM)
        assert check.reach("R1").verdict.endswith(f"beyond {words}")
        assert check.workings("R1")[-1].title == "Can it carry it?"

    def test_no_catchment_is_said_not_passed(self):
        reaches, nodes = chain(1, catchment_ha=0.0)
        got = check_drains(reaches, nodes, STORM).reach("P1")
        assert got.state == "unknown"
        assert got.verdict == "can carry 111 l/s; no catchment is entered above it"

    def test_every_working_ends_in_the_figure_shown(self):
        reaches, nodes = chain(2)
        check = check_drains(reaches, nodes, STORM)
        flow, times, gradient, capacity, speed, water, verdict = check.workings("P2")
        got = check.reach("P2")
        assert flow.steps[-1].value == pytest.approx(got.flow_m3s * 1000)
        assert any("comes from P1" in step.meaning for step in flow.steps)
        assert times.steps[-1].value == pytest.approx(got.gather_min)
        assert water.steps[-1].value == f"{got.water_up_m:.3f}"
        assert gradient.steps[-1].value == pytest.approx(100)
        assert capacity.steps[-1].value == pytest.approx(got.capacity_m3s * 1000)
        assert speed.steps[-1].value == pytest.approx(got.velocity_ms)
        assert verdict.steps[-1].value == got.verdict

    def test_a_wetter_storm_gives_more_flow(self):
        reaches, nodes = chain(1)
        got = check_drains(reaches, nodes, Storm("1 in 30 year", 45.0)).reach("P1")
        assert got.flow_m3s == pytest.approx(0.5 * 45 / 360)

    def test_counts(self):
        reaches, nodes = chain(2, catchment_ha=1.5)
        check = check_drains(reaches, nodes, STORM)
        assert (check.count("carries"), check.count("too_small"), check.count("unknown")) == (
            1, 1, 0,
        )  # fmt: skip


class TestBuildOrder:
    def test_outfall_first(self):
        reaches, nodes = chain(4)
        check = check_drains(reaches[::-1], nodes, STORM)
        assert check.order == ("P4", "P3", "P2", "P1")
        assert check.reach("P1").build_step == 4
        assert set(check.pairs_below_first()) == {("P4", "P3"), ("P3", "P2"), ("P2", "P1")}

    def test_waits_only_for_what_does_not_stand(self):
        first, second = chain(2)[0]
        built = [first, pipe("P2", (100, 0), (200, 0), standing=True)]
        unbuilt = [first, pipe("P2", (100, 0), (200, 0), standing=False)]
        assert check_drains(built, [outfall(200, 0)], STORM).reach("P1").waits_for == ()
        assert check_drains(unbuilt, [outfall(200, 0)], STORM).reach("P1").waits_for == ("P2",)
        assert second.name == "P2"

    def test_way_down_follows_to_the_outfall_and_stops_in_a_ring(self):
        reaches, nodes = chain(3)
        check = check_drains(reaches, nodes, STORM)
        assert [piece.key for piece in check.way_down("P1")] == ["P1", "P2", "P3"]
        ring = [pipe("P1", (0, 0), (100, 0)), pipe("P2", (100, 0), (0, 0))]
        assert [p.key for p in check_drains(ring, [], STORM).way_down("P1")] == ["P1", "P2"]

    def test_way_down_through_a_ditch_starts_where_the_pipe_enters(self):
        brook = ditch("D1", (0, 0), (200, 0), upstream_invert_m=50, downstream_invert_m=49)
        side = pipe("P1", (80, 60), (80, 0), upstream_invert_m=51, downstream_invert_m=50)
        check = check_drains([brook, side], [outfall(200, 0)], STORM)
        assert [(p.key, p.from_m) for p in check.way_down("P1")] == [
            ("P1", 0.0),
            ("D1", pytest.approx(80)),
        ]

    def test_a_pipe_that_comes_out_on_a_brook_ends_at_its_own_outfall(self):
        brook = ditch("D1", (0, 0), (200, 0), upstream_invert_m=50, downstream_invert_m=49)
        reaches = [
            brook,
            pipe("P1", (80, 120), (80, 60), upstream_invert_m=51.6, downstream_invert_m=51),
            pipe("P2", (80, 60), (80, 0), upstream_invert_m=51, downstream_invert_m=50),
        ]
        check = check_drains(reaches, [outfall(200, 0), outfall(80, 0, "MO")], STORM)
        assert [piece.key for piece in check.way_down("P1")] == ["P1", "P2"]
        assert {check.reach(key).outfall_name for key in ("P1", "P2")} == {"MO"}
        assert check.led_into("P1") == ("D1",)
        # The brook still takes the water on, and is built first.
        assert check.reach("P2").below == ("D1",)
        assert check.reach("D1").area_above_ha == pytest.approx(3)
        assert check.reach("D1").outfall_name == "O1"
        assert check.led_into("D1") == ()

    def test_a_brook_runs_on_past_the_outfall_of_a_pipe(self):
        brook = [
            ditch("D1", (0, 0), (80, 0), upstream_invert_m=50, downstream_invert_m=49.6),
            ditch("D2", (80, 0), (200, 0), upstream_invert_m=49.6, downstream_invert_m=49),
        ]
        side = pipe("P1", (80, 60), (80, 0), upstream_invert_m=51, downstream_invert_m=50)
        nodes = [outfall(200, 0), outfall(80, 0, "MO")]
        check = check_drains([*brook, side], nodes, STORM)
        assert [piece.key for piece in check.way_down("D1")] == ["D1", "D2"]
        assert [piece.key for piece in check.way_down("P1")] == ["P1"]
        assert check.reach("D1").outfall_name == "O1"


@st.composite
def random_trees(draw):
    """A tree of reaches that all fall to one outfall; nodes on a circle, so no line meets a third."""
    count = draw(st.integers(1, 40))
    parents = [0] + [draw(st.integers(0, index)) for index in range(1, count)]
    areas = draw(st.lists(st.floats(0, 20), min_size=count, max_size=count))
    coefficients = draw(st.lists(st.floats(0.05, 1), min_size=count, max_size=count))
    places = [
        (500 * math.cos(i * math.tau / 41), 500 * math.sin(i * math.tau / 41)) for i in range(41)
    ]
    depth = [0]
    for index in range(count):
        depth.append(depth[parents[index]] + 1)
    reaches = []
    for index in range(count):
        here, there = index + 1, parents[index]
        reaches.append(
            Reach(
                key=f"R{index}",
                name=f"R{index}",
                kind="pipe",
                line=(places[here], places[there]),
                length_m=50.0,
                upstream_invert_m=50.0 + depth[here],
                downstream_invert_m=50.0 + depth[there],
                section=BORE_300,
                catchment_ha=areas[index],
                runoff_coefficient=coefficients[index],
            )
        )
    order = draw(st.permutations(range(count)))
    return [reaches[index] for index in order], outfall(*places[0])


@settings(max_examples=60, deadline=None)
@given(tree=random_trees(), intensity=st.floats(1, 200))
def test_flow_is_conserved_on_any_tree(tree, intensity):
    reaches, mouth = tree
    check = check_drains(reaches, [mouth], Storm("any", intensity))
    leaving = sum(reach.flow_m3s for reach in check.reaches if not reach.below)
    rain = sum(r.catchment_ha * r.runoff_coefficient for r in reaches) * intensity / 360
    assert leaving == pytest.approx(rain, rel=1e-9, abs=1e-12)
    for reach in check.reaches:
        above = sum(check.reach(key).flow_m3s for key in reach.above)
        own = check.given[reach.key]
        own_flow = own.catchment_ha * own.runoff_coefficient * intensity / 360
        assert reach.flow_m3s == pytest.approx(above + own_flow, rel=1e-9, abs=1e-12)
    assert {reach.outfall_name for reach in check.reaches} == {"O1"}


@settings(max_examples=60, deadline=None)
@given(tree=random_trees())
def test_nothing_is_built_before_what_lies_below_it(tree):
    reaches, mouth = tree
    check = check_drains(reaches, [mouth], STORM)
    place = {key: index for index, key in enumerate(check.order)}
    assert len(place) == len(reaches)
    assert all(place[below] < place[above] for below, above in check.pairs_below_first())
    assert len(check.pairs_below_first()) == sum(bool(reach.below) for reach in check.reaches)


def test_limits_are_kept():
    with pytest.raises(ValueError, match="tolerance"):
        Limits(tolerance_m=0)
    with pytest.raises(ValueError, match="at least two points"):
        Reach("P", "P", "pipe", ((0, 0),), 1.0)
    with pytest.raises(ValueError, match="other kind's section"):
        pipe("P", (0, 0), (9, 0), section=DITCH)
    assert np.isfinite(STORM.intensity_mm_h)


def test_a_pipe_too_small_that_leads_nowhere_still_shows_its_working():
    check = check_drains([pipe("P1", (0, 0), (100, 0), catchment_ha=9.0)], [], STORM)
    got = check.reach("P1")
    assert got.state == "fault"
    assert got.backs_up
    assert "too small by" in got.verdict
    assert "Depth and velocity at this flow" not in [one.title for one in check.workings("P1")]
