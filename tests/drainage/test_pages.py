"""The drain pages: who sees what, what they say, how many queries they cost."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from tests.drainage.drawn import draw_node, draw_pipe, line
from worksprog.course.models import Feature, Kind
from worksprog.course.services import create_feature
from worksprog.drainage.models import DesignStorm, DrainNode, DrainReach

MOST_QUERIES = 15


def address(cast, name, *args):
    return reverse(f"drainage:{name}", args=[cast.club.slug, *args])


def pages(cast, drain):
    return [
        address(cast, "network"),
        address(cast, "order"),
        address(cast, "reach", drain.upper.uuid),
        address(cast, "long-section", drain.upper.uuid),
        address(cast, "node", drain.chamber.uuid),
        address(cast, "map-words"),
        address(cast, "feature-panel", drain.upper.uuid),
        address(cast, "feature-panel", drain.chamber.uuid),
    ]


def test_every_role_reads_and_nobody_else(
    cast, drain, client, as_manager, as_committee, as_staff, as_stranger
):
    for page in pages(cast, drain):
        for reader in (as_manager, as_committee, as_staff):
            assert reader.get(page).status_code == 200, page
        assert as_stranger.get(page).status_code == 404
        assert client.get(page).status_code == 302


def test_only_the_manager_designs(cast, drain, as_committee, as_staff, as_manager):
    for reader in (as_committee, as_staff):
        assert reader.get(address(cast, "storm")).status_code == 403
        for page in (
            address(cast, "reach", drain.upper.uuid),
            address(cast, "swap", drain.upper.uuid),
            address(cast, "node", drain.chamber.uuid),
            address(cast, "storm"),
        ):
            assert reader.post(page, {}).status_code == 403, page
        shown = reader.get(address(cast, "reach", drain.upper.uuid)).content.decode()
        assert "<form class=" not in shown
    assert as_manager.get(address(cast, "storm")).status_code == 200


def test_the_network_page_says_the_verdicts(cast, drain, as_committee):
    shown = as_committee.get(address(cast, "network")).content.decode()
    assert "carries it, 62 % to spare" in shown  # 41.7 of 111.0 l/s
    assert "carries it, 24 % to spare" in shown  # 83.3 of 111.0 l/s
    assert "The club has not set a storm yet" in shown
    assert "Every reach falls, joins and reaches an outfall." in shown


def test_an_empty_network_says_what_goes_here(cast, as_manager):
    shown = as_manager.get(address(cast, "network")).content.decode()
    assert "No pipe or ditch is drawn" in shown
    assert "Draw the first pipe or ditch on the map" in shown
    assert as_manager.get(address(cast, "order")).status_code == 200


def test_faults_are_named_and_lead_to_the_reach(cast, drain, as_manager):
    loose = create_feature(
        club=cast.club, kind=Kind.PIPE, geometry=line((0, 50), (90, 50)), by=cast.manager, ref="P7"
    )
    shown = as_manager.get(address(cast, "network")).content.decode()
    assert "P7 ends in the open" in shown
    assert "P7: the upstream and downstream levels are missing" in shown
    assert address(cast, "reach", loose.uuid) in shown


@pytest.mark.parametrize(("show", "names"), [("carries", {"P1", "P2"}), ("too_small", set())])
def test_choosing_by_verdict(cast, drain, as_manager, show, names):
    page = as_manager.get(address(cast, "network") + f"?show={show}")
    assert {row["check"].name for row in page.context["rows"]} == names


def test_a_pipe_that_runs_uphill_is_at_fault_everywhere(cast, drain, as_manager):
    as_manager.post(address(cast, "swap", drain.upper.uuid))
    page = as_manager.get(address(cast, "network"))
    shown = page.content.decode()
    assert page.context["rows"][0]["check"].name == "P1"
    assert page.context["choices"][0] | {"words": ""} == {"value": "fault", "words": "", "count": 1}
    assert '<span class="big-fig">1</span><small>at fault</small>' in shown
    assert 'class="verdict fault"' in shown
    assert "runs uphill: 1.00 m higher at its lower end" in shown
    drawn = page.context["figure"]
    assert ">× runs uphill<" in drawn and ">?<" not in drawn
    chosen = as_manager.get(address(cast, "network") + "?show=fault")
    assert [row["check"].name for row in chosen.context["rows"]] == ["P1"]
    told = as_manager.get(address(cast, "map-words")).json()["words"]
    assert told[str(drain.upper.uuid)] == "300 mm · × runs uphill"
    panel = as_manager.get(address(cast, "feature-panel", drain.upper.uuid)).content.decode()
    assert '<span class="tag warn">at fault</span>' in panel
    section = as_manager.get(address(cast, "long-section", drain.upper.uuid)).content.decode()
    assert "× runs uphill" in section


def test_an_overloaded_pipe_backs_up_and_shows_no_velocity(cast, drain, as_manager):
    page = address(cast, "reach", drain.upper.uuid)
    answer = as_manager.post(page, figures(inside_diameter_mm="150"), follow=True)
    shown = answer.content.decode()
    assert "would do it at this gradient; the next usual size, 225 mm, carries" in shown
    assert "runs full and backs up" in shown and "the whole bore, and it backs up" in shown
    assert "true inside diameter may be smaller" in shown


def test_only_what_stands(cast, drain, as_manager):
    page = as_manager.get(address(cast, "network") + "?stands=1")
    assert [row["check"].name for row in page.context["rows"]] == ["P2"]


def test_the_reach_page_opens_every_working(cast, drain, as_committee):
    shown = as_committee.get(address(cast, "reach", drain.lower.uuid)).content.decode()
    for title in (
        "Flow",
        "Gradient",
        "Capacity, pipe running full",
        "Depth and velocity at this flow",
        "Can it carry it?",
    ):
        assert f"<summary>{title}</summary>" in shown
    assert "comes from P1" in shown


def test_a_drain_to_be_built_carries_its_cautions(cast, drain, as_manager):
    create_feature(
        club=cast.club, kind=Kind.SERVICE, geometry=line((50, -30), (50, 30)), by=cast.manager,
        name="Irrigation main",
    )  # fmt: skip
    shown = as_manager.get(address(cast, "reach", drain.upper.uuid)).content.decode()
    assert "No trench side can be relied on" in shown
    assert "Irrigation main" in shown
    standing = as_manager.get(address(cast, "reach", drain.lower.uuid)).content.decode()
    assert "No trench side" not in standing


def figures(**changes):
    usual = {
        "upstream_invert_m": "52.00",
        "downstream_invert_m": "51.00",
        "catchment_ha": "1",
        "runoff_coefficient": "0.5",
        "inside_diameter_mm": "225",
        "ks_mm": "0.6",
        "material": "",
    }
    return {**usual, **changes}


def test_setting_a_reach(cast, drain, as_manager):
    page = address(cast, "reach", drain.upper.uuid)
    answer = as_manager.post(page, figures(), follow=True)
    assert "Kept. P1: carries it, 19 % to spare." in answer.content.decode()
    assert DrainReach.objects.get(feature=drain.upper).inside_diameter_mm == 225


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"inside_diameter_mm": "0.3"}, "An inside diameter is in millimetres"),
        ({"upstream_invert_m": "52,0m"}, "Enter a number"),
        ({"upstream_invert_m": "nan"}, "Enter a number"),
        ({"ks_mm": "40"}, "too great for a pipe"),
        ({"upstream_invert_m": "52000"}, "A level is metres above datum"),
    ],
)
def test_bad_figures_are_told_beside_the_field_and_nothing_is_lost(
    cast, drain, as_manager, changes, words
):
    page = address(cast, "reach", drain.upper.uuid)
    answer = as_manager.post(page, figures(material="clayware", **changes))
    shown = answer.content.decode()
    assert answer.status_code == 200
    assert words in shown
    assert "Nothing was saved yet" in shown
    assert 'value="clayware"' in shown
    assert DrainReach.objects.get(feature=drain.upper).inside_diameter_mm == 300


def test_a_line_with_no_levels_yet_gets_its_first(cast, drain, as_manager):
    loose = create_feature(
        club=cast.club, kind=Kind.DITCH, geometry=line((0, 50), (90, 50)), by=cast.manager, ref="D7"
    )
    page = address(cast, "reach", loose.uuid)
    assert as_manager.get(page).status_code == 200
    answer = as_manager.post(
        page,
        {
            "upstream_invert_m": "51",
            "downstream_invert_m": "50",
            "catchment_ha": "0.5",
            "runoff_coefficient": "0.4",
            "bottom_width_m": "0.5",
            "side_slope": "1.5",
            "depth_m": "0.8",
            "freeboard_m": "0.15",
            "manning_n": "0.035",
        },
    )
    assert answer.status_code == 302
    assert DrainReach.objects.get(feature=loose).depth_m == 0.8


def test_turning_a_reach_round(cast, drain, as_manager):
    answer = as_manager.post(address(cast, "swap", drain.upper.uuid), follow=True)
    assert "runs the other way" in answer.content.decode()
    assert "runs uphill: 1.00 m higher" in answer.content.decode()
    assert as_manager.get(address(cast, "swap", drain.upper.uuid)).status_code == 405


def test_setting_levels_of_a_chamber(cast, drain, as_manager):
    page = address(cast, "node", drain.chamber.uuid)
    bad = as_manager.post(page, {"cover_level_m": "50", "invert_level_m": "51", "size": ""})
    told = bad.content.decode()
    assert "The cover must lie above the invert; 50.00 m is below 51.00 m." in told
    as_manager.post(page, {"cover_level_m": "52.5", "invert_level_m": "50.9", "size": "600 mm"})
    row = DrainNode.objects.get(feature=drain.chamber)
    assert (row.cover_level_m, row.size) == (52.5, "600 mm")


def test_a_chamber_says_which_levels_rule_and_what_is_odd(cast, drain, as_manager):
    page = address(cast, "node", drain.chamber.uuid)
    shown = as_manager.get(page).content.decode()
    assert "P1, P2 have levels of their own here. These rule: the invert below changes" in shown
    assert "Check both" not in shown
    odd = {"cover_level_m": "52.4", "invert_level_m": "50.2", "size": ""}
    shown = as_manager.post(page, odd, follow=True).content.decode()
    assert "lies 0.80 m below the level at which P1 arrives, 51.00 m" in shown
    refused = as_manager.post(page, odd | {"invert_level_m": "5"}).content.decode()
    assert "would lie 47.40 m below the cover" in refused and 'value="5"' in refused


def test_the_later_of_two_editors_of_a_reach_sees_both(cast, drain, as_manager):
    page = address(cast, "reach", drain.upper.uuid)
    seen = as_manager.get(page).context["form"].initial["seen"]
    assert as_manager.post(page, figures(seen=seen)).status_code == 302
    second = as_manager.post(page, figures(seen=seen, inside_diameter_mm="375"))
    shown = second.content.decode()
    assert second.status_code == 409
    assert f"{cast.manager} changed it at" in shown
    assert "theirs 225.0, yours 375.0" in shown
    assert 'name="inside_diameter_mm" value="375"' in shown
    assert DrainReach.objects.get(feature=drain.upper).inside_diameter_mm == 225
    now = second.context["form"]["seen"].value()
    assert f'name="seen" value="{now}"' in shown
    again = as_manager.post(page, figures(seen=now, inside_diameter_mm="375"))
    assert again.status_code == 302
    assert DrainReach.objects.get(feature=drain.upper).inside_diameter_mm == 375


def test_the_later_of_two_editors_of_a_chamber_sees_both(cast, drain, as_manager):
    page = address(cast, "node", drain.chamber.uuid)
    seen = as_manager.get(page).context["form"].initial["seen"]
    entered = {"cover_level_m": "52.6", "invert_level_m": "50.95", "size": "", "seen": seen}
    assert as_manager.post(page, entered).status_code == 302
    second = as_manager.post(page, entered | {"cover_level_m": "52.7"})
    shown = second.content.decode()
    assert second.status_code == 409
    assert "theirs 52.6, yours 52.7" in shown and 'value="52.7"' in shown
    assert DrainNode.objects.get(feature=drain.chamber).cover_level_m == 52.6


def test_setting_the_storm(cast, drain, as_manager):
    page = address(cast, "storm")
    data = {
        "name": "1 in 30 year", "return_period_years": "30", "intensity_mm_h": "44",
        "source": "rain gauge",
    }  # fmt: skip
    assert as_manager.post(page, data).status_code == 302
    assert DesignStorm.objects.get(club=cast.club, is_live=True).intensity_mm_h == 44
    shown = as_manager.get(address(cast, "network")).content.decode()
    assert "Source: rain gauge." in shown
    assert "too small by 11 l/s" in shown
    refused = as_manager.post(page, {**data, "intensity_mm_h": "0"})
    assert "greater than or equal to 0.1" in refused.content.decode()


def test_the_order_page(cast, drain, as_committee):
    shown = as_committee.get(address(cast, "order")).content.decode()
    assert "now: all below it stands" in shown
    everything = as_committee.get(address(cast, "order") + "?all=1")
    assert [row["check"].name for row in everything.context["rows"]] == ["P2", "P1"]


def test_a_removed_reach_is_gone(cast, drain, as_manager):
    Feature.objects.filter(pk=drain.upper.pk).update(state="removed")
    assert as_manager.get(address(cast, "reach", drain.upper.uuid)).status_code == 404
    assert as_manager.get(address(cast, "long-section", drain.upper.uuid)).status_code == 404


def count_queries(client, page):
    with CaptureQueriesContext(connection) as caught:
        assert client.get(page).status_code == 200
    return len(caught)


def test_pages_cost_the_same_however_large_the_network(cast, drain, as_manager):
    few = [count_queries(as_manager, page) for page in pages(cast, drain)]
    for index in range(60):
        y = 10.0 * index + 20
        draw_pipe(cast.club, cast.manager, f"P{index + 10}", (0, y), (100, y))
        draw_node(cast.club, cast.manager, Kind.OUTFALL, f"O{index + 10}", 100, y)
    many = [count_queries(as_manager, page) for page in pages(cast, drain)]
    assert many == few
    assert max(many) <= MOST_QUERIES


def test_the_part_of_the_map_panel(cast, drain, as_staff):
    shown = as_staff.get(address(cast, "feature-panel", drain.upper.uuid)).content.decode()
    assert "Carries it, 62 % to spare" in shown
    assert "May be built now" in shown
    shown = as_staff.get(address(cast, "feature-panel", drain.chamber.uuid)).content.decode()
    assert "52.40 m" in shown
    assert "P1" in shown and "P2" in shown
    green = create_feature(
        club=cast.club, kind=Kind.PATH, geometry=line((0, 9), (9, 9)), by=cast.manager
    )
    assert as_staff.get(address(cast, "feature-panel", green.uuid)).status_code == 404


def test_the_words_of_the_map(cast, drain, as_staff):
    told = as_staff.get(address(cast, "map-words")).json()["words"]
    assert told == {
        str(drain.upper.uuid): "300 mm · 1 in 100",
        str(drain.lower.uuid): "300 mm · 1 in 100",
    }
