"""Sizes of drains: the page, its job, and taking a design over."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any
from urllib.parse import urlencode

import numpy as np
import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from tests.cast import Cast
from tests.drainage.drawn import SOUTH, WEST, draw_ditch, draw_node, draw_pipe
from worksprog.calc.ground import dump_ground, ground_from_spot_heights
from worksprog.calc.sizing import Parts, SizingLimits
from worksprog.clubs.records import save_record
from worksprog.course.models import Feature, GroundModel, Kind, State
from worksprog.drainage.models import DrainReach
from worksprog.drainage.queries import check_network
from worksprog.drainage.services import set_reach
from worksprog.runs.models import Run
from worksprog.works import services
from worksprog.works.bridge_sizing import CannotSize
from worksprog.works.forms.sizing import SizingForm
from worksprog.works.models import Price, WorkKind
from worksprog.works.queries import sizing as queries_sizing
from worksprog.works.services.sizing import take_over_design
from worksprog.works.views.sizing import _for_what

MOST_QUERIES = 15


@dataclass
class Tree:
    """P1 and P3 meet at C2; P2 takes both to O1. The ground falls 1 in 50 to the east."""

    upper: Feature
    side: Feature
    lower: Feature


@pytest.fixture
def tree(cast: Cast) -> Tree:
    club, by = cast.club, cast.manager
    services.load_default_price_book(club=club, by=by)
    points = np.array(
        [
            (WEST + x, SOUTH + y, 53.0 - x / 50)
            for x in range(-20, 221, 20)
            for y in range(-20, 121, 20)
        ]
    )
    GroundModel.objects.create(
        club=club, method=GroundModel.Method.TRIANGLES, made_at=timezone.now(), made_by=by,
        data=dump_ground(ground_from_spot_heights(points)), count=len(points),
        lowest_m=48.0, highest_m=54.0,
    )  # fmt: skip
    proposed: dict[str, Any] = {"state": State.PROPOSED, "catchment_ha": 0.3}
    upper = draw_pipe(club, by, "P1", (0, 0), (100, 0), **proposed)
    side = draw_pipe(
        club, by, "P3", (60, 80), (100, 0), upstream_invert_m=None, downstream_invert_m=None,
        inside_diameter_mm=None, **proposed,
    )  # fmt: skip
    lower = draw_pipe(
        club, by, "P2", (100, 0), (200, 0), upstream_invert_m=49.9, downstream_invert_m=48.1,
        **proposed,
    )  # fmt: skip
    draw_node(club, by, Kind.CHAMBER, "C2", 100, 0, cover=51.0)
    draw_node(club, by, Kind.CHAMBER, "C1", 0, 0, cover=53.0)
    draw_node(club, by, Kind.OUTFALL, "O1", 200, 0, cover=None, invert=48.1)
    return Tree(upper, side, lower)


def url(cast: Cast, feature: Feature, **figures: object) -> str:
    address = reverse("works:sizing", args=[cast.club.slug, feature.uuid])
    given = {**SizingForm.usual(), **figures}
    return f"{address}?{urlencode(given)}" if figures else address


def task_of(cast: Cast, root: Feature, **limits: object) -> queries_sizing.Task:
    given = SizingLimits(**limits)  # type: ignore[arg-type]
    return queries_sizing.task_for(cast.club, root.uuid, given, inside_share=0.97)


def taking_over(page, **changes: str) -> dict[str, str]:
    return {
        **page.context["figures"],
        "seen": page.context["task"].seen,
        "run": "",
        "which": "best",
        **changes,
    }


def test_the_page_sizes_the_tree_and_shows_its_working(
    tree: Tree, cast: Cast, as_manager: Client
) -> None:
    with CaptureQueriesContext(connection) as queries:
        page = as_manager.get(url(cast, tree.lower))
    assert page.status_code == 200
    assert len(queries) <= MOST_QUERIES
    answer = page.context["answer"]
    assert {one.size.bore_mm for one in answer.best.reaches} <= {150, 225, 300, 375}
    text = page.content.decode()
    for words in (
        "the cheapest design",
        "not confirmed by the club",
        "What each limit costs",
        "none is cheaper at these rates",
        "What it carries",
        "What it costs",
        "Take this design over",
    ):
        assert words in text, words
    assert page.context["check_says"] == []
    lower = answer.best.reach(str(tree.lower.uuid))
    assert lower.downstream_m >= 48.1
    listed = as_manager.get(reverse("works:sizing-list", args=[cast.club.slug]))
    assert url(cast, tree.lower) in listed.content.decode()
    assert "3 of 3 reaches to be sized" in listed.content.decode()


def test_a_branch_alone_keeps_to_what_takes_its_water(tree: Tree, cast: Cast) -> None:
    answer = task_of(cast, tree.upper).solve()
    assert [one.name for one in answer.best.reaches] == ["P1"]
    assert answer.tree.end.least_m == 49.9
    assert answer.conflicts == ()


def test_the_rates_are_those_of_an_estimate(cast: Cast, tree: Tree) -> None:
    """The same pipe, sized and estimated, costs the same to the rounding of the lines."""
    programme = services.create_programme(
        club=cast.club, name="Drains", starts_on=date(2026, 9, 1), ends_on=date(2028, 4, 1),
        by=cast.manager,
    )  # fmt: skip
    project = services.create_project(programme=programme, code="D", name="D", by=cast.manager)
    phase = services.create_phase(project=project, name="First", by=cast.manager)
    pipe = draw_pipe(
        cast.club, cast.manager, "P9", (0, 40), (60, 40), state=State.PROPOSED,
        upstream_invert_m=51.8, downstream_invert_m=50.6, inside_diameter_mm=225.0,
    )  # fmt: skip
    draw_node(cast.club, cast.manager, Kind.OUTFALL, "O9", 60, 40)
    item = services.create_item(
        phase=phase, kind=WorkKind.CARRIER_PIPE, name="P9", by=cast.manager, features=[pipe]
    )
    estimate = services.build_estimate(item=item, by=cast.manager)
    money = queries_sizing.present_money(task_of(cast, pipe))
    assert money is not None
    assert money.chamber == 0
    assert money.total == pytest.approx(float(estimate.money_likely), rel=0.002)


def test_limits_that_nothing_keeps_are_explained(
    tree: Tree, cast: Cast, as_manager: Client
) -> None:
    page = as_manager.get(url(cast, tree.lower, least_cover_m=1.6, most_depth_m=1.7))
    assert page.status_code == 200
    text = page.content.decode()
    assert "Nothing fits within these limits" in text
    assert "What would let it fit" in text
    assert "Take this design over" not in text
    refused = as_manager.get(url(cast, tree.lower, least_cover_m=2, most_depth_m=1))
    assert refused.status_code == 422
    assert "the depth must be the greater" in refused.content.decode()


def test_taking_over_writes_levels_and_bores_of_proposed_pipes(
    tree: Tree, cast: Cast, as_manager: Client
) -> None:
    page = as_manager.get(url(cast, tree.lower))
    best = page.context["answer"].best
    done = as_manager.post(url(cast, tree.lower), taking_over(page), follow=True)
    assert "Levels and bores of 3 pipes" in done.content.decode()
    assert "The pipes have these sizes and levels already" in done.content.decode()
    for feature in (tree.upper, tree.side, tree.lower):
        row, one = DrainReach.objects.get(feature=feature), best.reach(str(feature.uuid))
        assert row.upstream_invert_m == pytest.approx(one.upstream_m, abs=1e-3)
        assert row.downstream_invert_m == pytest.approx(one.downstream_m, abs=1e-3)
        assert row.inside_diameter_mm == pytest.approx(one.size.inside_m * 1000, abs=0.06)
    check = check_network(cast.club)
    assert not check.faults
    assert {reach.state for reach in check.reaches} == {"carries"}


def test_the_next_best_can_be_taken_over(tree: Tree, cast: Cast, as_manager: Client) -> None:
    page = as_manager.get(url(cast, tree.lower))
    second = page.context["answer"].second
    as_manager.post(url(cast, tree.lower), taking_over(page, which="second"))
    row = DrainReach.objects.get(feature=tree.lower)
    wanted = second.reach(str(tree.lower.uuid))
    assert row.inside_diameter_mm == pytest.approx(wanted.size.inside_m * 1000, abs=0.06)


def test_a_design_worked_out_from_older_figures_is_refused(
    tree: Tree, cast: Cast, as_manager: Client
) -> None:
    page = as_manager.get(url(cast, tree.lower))
    set_reach(feature=tree.side, by=cast.manager, catchment_ha=0.9)
    before = DrainReach.objects.get(feature=tree.upper).upstream_invert_m
    answer = as_manager.post(url(cast, tree.lower), taking_over(page))
    assert answer.status_code == 409
    assert "Nothing was written" in answer.content.decode()
    assert DrainReach.objects.get(feature=tree.upper).upstream_invert_m == before
    price = Price.objects.get(club=cast.club, code="pipe-twinwall-150")
    page = as_manager.get(url(cast, tree.lower))
    price.likely = price.low
    save_record(price, by=cast.manager)
    assert as_manager.post(url(cast, tree.lower), taking_over(page)).status_code == 409


def test_a_change_between_reading_and_writing_writes_nothing(tree: Tree, cast: Cast) -> None:
    task = task_of(cast, tree.lower)
    best = task.solve().best
    set_reach(feature=tree.side, by=cast.manager, catchment_ha=0.31)
    with pytest.raises(ValidationError, match="changed by somebody else"):
        take_over_design(club=cast.club, design=best, marks=task.marks, by=cast.manager)
    assert DrainReach.objects.get(feature=tree.side).upstream_invert_m is None
    assert DrainReach.objects.get(feature=tree.upper).upstream_invert_m == 51.0


def test_what_stands_or_is_being_built_is_never_written(tree: Tree, cast: Cast) -> None:
    task = task_of(cast, tree.lower)
    best = task.solve().best
    tree.upper.state = State.ON_SITE
    save_record(tree.upper, by=cast.manager)
    with pytest.raises(ValidationError, match="not designed anew"):
        take_over_design(club=cast.club, design=best, marks=task.marks, by=cast.manager)
    now = task_of(cast, tree.lower).solve()
    assert now.best.reach(str(tree.upper.uuid)).stays
    assert not now.best.reach(str(tree.lower.uuid)).stays
    # A 300 mm pipe that stands lets nothing smaller follow it.
    assert now.best.reach(str(tree.lower.uuid)).size.bore_mm >= 300


def test_only_a_designer_takes_over_and_staff_do_not_see_prices(
    tree: Tree, cast: Cast, as_manager: Client, as_committee: Client, as_staff: Client
) -> None:
    page = as_committee.get(url(cast, tree.lower))
    assert "Take this design over" not in page.content.decode()
    assert as_committee.post(url(cast, tree.lower), taking_over(page)).status_code == 403
    assert as_staff.get(url(cast, tree.lower)).status_code == 403
    staff_sheet = as_staff.get(reverse("drainage:network", args=[cast.club.slug]))
    assert "sizing" not in staff_sheet.content.decode()


def test_what_cannot_be_sized_is_said(tree: Tree, cast: Cast, as_manager: Client) -> None:
    club, by = cast.club, cast.manager
    draw_pipe(club, by, "P4", (150, 60), (150, 0), state=State.PROPOSED)
    page = as_manager.get(url(cast, tree.lower))
    assert "split P2 there on the map" in page.content.decode()
    ditch = draw_ditch(club, by, "D1", (0, 90), (60, 90))
    draw_node(club, by, Kind.OUTFALL, "O2", 60, 90)
    with pytest.raises(CannotSize, match="no proposed pipe"):
        task_of(cast, ditch)
    far = draw_pipe(club, by, "P8", (900, 0), (950, 0), state=State.PROPOSED)
    draw_node(club, by, Kind.OUTFALL, "O3", 950, 0)
    with pytest.raises(CannotSize, match="ground over P8 is not known"):
        task_of(cast, far)
    Price.objects.filter(club=club, code="labour-crew").delete()
    assert "has no entry &#x27;labour-crew&#x27;" in as_manager.get(url(cast, far)).content.decode()


def test_a_large_branch_is_sized_as_a_job(
    tree: Tree, cast: Cast, as_manager: Client, monkeypatch: pytest.MonkeyPatch,
    django_capture_on_commit_callbacks,
) -> None:  # fmt: skip
    monkeypatch.setattr("worksprog.works.views.sizing.AT_ONCE", 2)
    page = as_manager.get(url(cast, tree.lower))
    assert "sized as a job" in page.content.decode()
    with django_capture_on_commit_callbacks(execute=True):
        as_manager.post(
            reverse("works:sizing-run", args=[cast.club.slug, tree.lower.uuid]),
            page.context["figures"],
        )
    run = Run.objects.get(kind="works.sizing")
    assert run.state == "done", run.error
    shown = as_manager.get(run.outcome["address"])
    assert shown.context["answer"].best.money.total == pytest.approx(
        shown.context["task"].solve().best.money.total
    )
    done = as_manager.post(
        url(cast, tree.lower), taking_over(shown, run=str(run.uuid)), follow=True
    )
    assert "Levels and bores of 3 pipes" in done.content.decode()
    later = as_manager.get(run.outcome["address"])
    assert "The earlier answer was for other figures" in later.content.decode()


def test_the_parts_of_the_money_add_up_to_the_penny():
    rows = _for_what([Parts(0.335, 0.335, 0.335, 0.005, 0.015, 10.0), None])
    assert [row["amounts"][0] for row in rows] == [
        Decimal(text) for text in ("0.34", "0.34", "0.34", "0.00", "0.02", "10.00", "11.04")
    ]
    assert {row["amounts"][1] for row in rows} == {None}
