"""What the check's pages say of storms, arrival, water levels, ditches and culverts."""

from __future__ import annotations

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from tests.calc.drains import STORM, outfall, pipe
from tests.drainage.drawn import draw_ditch, draw_node, draw_pipe
from worksprog.calc.network import Node, check_drains
from worksprog.clubs.records import save_record
from worksprog.course.models import Kind
from worksprog.drainage.models import DesignStorm, DrainNode, DrainReach, RainTable
from worksprog.drainage.queries import check_network
from worksprog.drainage.services import set_design_storm, set_node_levels, set_reach
from worksprog.drainage.views.reach_figures import water_of

DEPTHS = [
    [years, minutes, depth * factor]
    for years, factor in ((10, 1.0), (30, 1.3))
    for minutes, depth in ((5, 9.0), (15, 15.0), (30, 19.0), (60, 24.0), (360, 38.0))
]


def address(cast, name, *args):
    return reverse(f"drainage:{name}", args=[cast.club.slug, *args])


@pytest.fixture
def table(cast):
    row = RainTable(club=cast.club, name="Local table", depths=DEPTHS)
    return save_record(row, by=cast.manager)


@pytest.fixture
def by_table(cast, table):
    return set_design_storm(
        club=cast.club, by=cast.manager, name="1 in 10 year", return_period_years=10,
        intensity_mm_h=24.0, table=table,
    )  # fmt: skip


class TestStorm:
    def test_a_table_makes_each_reach_its_own_storm(self, cast, drain, by_table):
        check = check_network(cast.club)
        upper, lower = check.reach(str(drain.upper.uuid)), check.reach(str(drain.lower.uuid))
        assert upper.storm_min != lower.storm_min
        for reach in (upper, lower):
            assert reach.storm_min < reach.gather_min
            assert reach.intensity_mm_h > 24

    def test_the_allowance_raises_every_flow(self, cast, drain, table, by_table):
        before = check_network(cast.club).reach(str(drain.lower.uuid)).flow_m3s
        set_design_storm(
            club=cast.club, by=cast.manager, name="with 40 %", return_period_years=10,
            intensity_mm_h=24.0, table=table, climate_allowance_percent=40.0,
        )  # fmt: skip
        after = check_network(cast.club).reach(str(drain.lower.uuid)).flow_m3s
        assert after == pytest.approx(before * 1.4, rel=0.01)

    def test_another_clubs_table_is_refused(self, cast, drain, table):
        with pytest.raises(ValidationError, match="not this club's"):
            set_design_storm(
                club=cast.other_club, by=cast.manager, name="x", return_period_years=10,
                intensity_mm_h=24.0, table=table,
            )  # fmt: skip
        assert not DesignStorm.objects.filter(club=cast.other_club).exists()

    def test_a_table_that_does_not_reach_so_far_is_refused_with_its_place(
        self, cast, drain, table, as_manager
    ):
        entered = {
            "name": "1 in 500", "return_period_years": "500", "intensity_mm_h": "60", "source": "",
            "table": table.pk, "climate_allowance_percent": "0", "time_formula": "kirpich",
        }  # fmt: skip
        answer = as_manager.post(address(cast, "storm"), entered)
        assert answer.status_code == 200
        assert answer.context["form"].errors
        assert "1 in 500" in answer.content.decode()
        assert not DesignStorm.objects.filter(club=cast.club).exists()

    def test_the_formula_is_kept_and_used(self, cast, drain, table, as_manager):
        set_reach(feature=drain.upper, by=cast.manager, flow_path_m=600.0, flow_path_fall_m=6.0)
        times = {}
        for formula in ("bransby", "kirpich"):
            entered = {
                "name": "1 in 10", "return_period_years": "10", "intensity_mm_h": "24",
                "table": table.pk, "time_formula": formula,
            }  # fmt: skip
            assert as_manager.post(address(cast, "storm"), entered).status_code == 302
            found = check_network(cast.club).reach(str(drain.upper.uuid))
            times[formula] = found.entry_min
            shown = as_manager.get(address(cast, "reach", drain.upper.uuid)).content.decode()
            assert "600 m over the ground, by " in shown
            assert "by Kirpich" in shown and "by Bransby-Williams" in shown
        assert times["bransby"] > times["kirpich"]

    def test_the_network_page_names_the_table(self, cast, drain, by_table, as_committee):
        shown = as_committee.get(address(cast, "network")).content.decode()
        assert "for the length of storm that loads it most, by Local table" in shown
        assert "Storm min" in shown


class TestReachPage:
    def test_length_of_storm_and_arrival(self, cast, drain, by_table, as_committee):
        shown = as_committee.get(address(cast, "reach", drain.lower.uuid)).content.decode()
        assert "Storm that loads it most" in shown
        assert "a usual time, for its flow path over the ground is not entered" in shown
        assert "the last comes from P1" in shown
        plain = as_committee.get(address(cast, "reach", drain.upper.uuid)).content.decode()
        assert "the last comes from" not in plain

    def test_without_a_table_it_says_so(self, cast, drain, as_committee):
        shown = as_committee.get(address(cast, "reach", drain.upper.uuid)).content.decode()
        assert "no table of depths by duration is chosen" in shown

    def test_where_water_comes_out(self, cast, drain, as_committee):
        set_reach(feature=drain.lower, by=cast.manager, inside_diameter_mm=150.0)
        page = as_committee.get(address(cast, "reach", drain.lower.uuid))
        shown = page.content.decode()
        assert "under pressure; " in shown
        assert "m stands at C2, where it comes out: " in shown
        assert "above the cover of C2" in shown
        network = as_committee.get(address(cast, "network"))
        assert network.context["comes_out"] >= 1
        assert "Water comes out of the ground" in network.content.decode()

    def test_a_ditch_shows_freeboard_bed_and_regime(self, cast, drain, as_manager):
        ditch = draw_ditch(cast.club, cast.manager, "D1", (200, 0), (300, 0), lining="grass")
        shown = as_manager.get(address(cast, "reach", ditch.uuid)).content.decode()
        assert "Freeboard left" in shown
        assert "grass mixture on firm soil" in shown
        assert "the water runs tranquil" in shown or "the water shoots" in shown

    def test_a_culvert_shows_its_headwater_and_working(self, cast, drain, as_manager):
        under = draw_pipe(
            cast.club, cast.manager, "K1", (0, 300), (12, 300), culvert_inlet="groove",
            upstream_invert_m=50.2, downstream_invert_m=50.0,
        )  # fmt: skip
        draw_node(cast.club, cast.manager, Kind.OUTFALL, "O9", 12, 300)
        shown = as_manager.get(address(cast, "reach", under.uuid)).content.decode()
        assert "Headwater of the culvert" in shown
        assert "headwall, socket end upstream" in shown
        assert "Hydraulic Design Series 5" in shown


class TestEntering:
    def test_flow_path_lining_and_inlet_are_kept(self, cast, drain, as_manager):
        page = address(cast, "reach", drain.upper.uuid)
        entered = {
            "upstream_invert_m": "52", "downstream_invert_m": "51", "catchment_ha": "1",
            "runoff_coefficient": "0.5", "inside_diameter_mm": "300", "ks_mm": "0.6",
            "flow_path_m": "250", "flow_path_fall_m": "3", "culvert_inlet": "mitred",
        }  # fmt: skip
        assert as_manager.post(page, entered).status_code == 302
        row = DrainReach.objects.get(feature=drain.upper)
        assert (row.flow_path_m, row.flow_path_fall_m, row.culvert_inlet) == (250, 3, "mitred")
        refused = as_manager.post(page, entered | {"flow_path_fall_m": "900"})
        assert "steeper than 1 in 1" in refused.content.decode()
        refused = as_manager.post(page, entered | {"flow_path_m": ""})
        assert "enter its length too" in refused.content.decode()
        refused = as_manager.post(page, entered | {"culvert_inlet": "funnel"})
        assert refused.context["form"].errors["culvert_inlet"]

    def test_a_lining_nobody_knows_is_refused(self, cast, drain):
        with pytest.raises(ValidationError, match="no lining"):
            set_reach(feature=drain.upper, by=cast.manager, lining="gold")

    def test_water_in_flood_at_an_outfall_backs_the_drain_up(self, cast, drain, as_manager):
        page = address(cast, "node", drain.outfall.uuid)
        form = as_manager.get(page).context["form"]
        assert "water_level_m" in form.fields and "head_loss_k" not in form.fields
        entered = {"cover_level_m": "", "invert_level_m": "50", "size": "", "water_level_m": "51.2"}
        assert as_manager.post(page, entered).status_code == 302
        assert DrainNode.objects.get(feature=drain.outfall).water_level_m == 51.2
        found = check_network(cast.club).reach(str(drain.lower.uuid))
        assert found.water_down_m == pytest.approx(51.2)
        shown = as_manager.get(address(cast, "reach", drain.lower.uuid)).content.decode()
        assert "stands 1.20 m above the invert of P2" in shown

    def test_a_chambers_own_loss_is_kept(self, cast, drain):
        set_node_levels(
            feature=drain.chamber, by=cast.manager, cover_level_m=52.4, invert_level_m=50.95,
            head_loss_k=0.8,
        )  # fmt: skip
        assert check_network(cast.club).reach(str(drain.lower.uuid)).loss_k == 0.8
        with pytest.raises(ValidationError):
            set_node_levels(
                feature=drain.chamber, by=cast.manager, cover_level_m=52.4, invert_level_m=50.95,
                head_loss_k=99.0,
            )  # fmt: skip


def test_levels_in_feet_are_named_on_the_page(cast, drain, as_manager):
    for number in range(3):
        draw_pipe(
            cast.club,
            cast.manager,
            f"P{number + 5}",
            (0, 400 + number * 20),
            (90, 400 + number * 20),
        )
    set_reach(
        feature=drain.upper, by=cast.manager, upstream_invert_m=170.6, downstream_invert_m=167.3
    )
    shown = as_manager.get(address(cast, "network")).content.decode()
    assert "Levels that look like feet" in shown
    assert "P1: upstream invert 170.60 and downstream invert 167.30 m" in shown
    assert "its levels look like feet: enter them in metres" in shown


def test_a_level_that_stands_over_an_inlet_is_told_apart_from_the_one_in_the_drain():
    """66.09 in the pipe and 66.41 at the headwall are two levels: each is named for its place."""
    culvert = pipe("P1", (0, 0), (100, 0), inlet="square", catchment_ha=3.0)
    head = Node("H1", "H1", "headwall", 0, 0, cover_m=51.2)
    check = check_drains([culvert], [head, outfall(100, 0)], STORM)
    upper, _ = water_of(check, check.reach("P1"))
    assert upper["differs"]
    assert upper["at_m"] > upper["level_m"]
    assert upper["above_m"] == pytest.approx(upper["at_m"] - 51.2)
