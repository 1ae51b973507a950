"""Estimates: measured from features, approved once, changed by hand, never silently."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from math import sin

import numpy as np
import pytest
from django.core.exceptions import ValidationError
from shapely.geometry import LineString, Polygon

from tests.works.conftest import draw, move
from worksprog.calc.along_line import volume_by_prismoids_m3
from worksprog.calc.build_up import RECIPES, MoneyRange, to_penny
from worksprog.calc.earthworks import ditch_volume, trapezoid_area_m2
from worksprog.calc.ranges import ThreePoint
from worksprog.clubs.models import Change
from worksprog.clubs.records import save_record
from worksprog.clubs.templatetags.figures import fig
from worksprog.course.models import Kind
from worksprog.drainage.models import DrainReach
from worksprog.works import queries
from worksprog.works.measuring import Told, measure
from worksprog.works.models import EstimateLine, Price, WorkKind
from worksprog.works.services import (
    LineFigures,
    add_line,
    approve_project,
    build_estimate,
    build_estimates,
    create_item,
    edit_line,
    measure_item,
    release_line,
    set_parameters,
    set_price,
)


def reprice(works, cast, code, likely):
    price = Price.objects.get(club=cast.club, code=code)
    set_price(
        club=cast.club,
        code=code,
        category=price.category,
        name=price.name,
        unit=price.unit,
        low=Decimal(likely),
        likely=Decimal(likely),
        high=Decimal(likely),
        dated=date(2026, 10, 1),
        by=cast.manager,
    )


def own_figures(quantity=1.0, price="100.00"):
    return LineFigures(
        category="contractor",
        description="Crane for a day",
        unit="day",
        quantity=ThreePoint.exactly(quantity),
        price=MoneyRange.exactly(Decimal(price)),
    )


def test_every_line_multiplies_as_it_is_printed(works, cast):
    """The quantity and price on the sheet give the amount on it, to the penny."""
    for item in (works.carrier, works.tee_item):
        lines = list(build_estimate(item=item, by=cast.manager).lines.all())
        assert lines
        for line in lines:
            printed = Decimal(fig(line.quantity_likely, line.quantity_places).replace(",", ""))
            assert to_penny(printed * line.rate_likely) == line.amount_likely, line
    line.quantity_likely, line.rate_likely = 2.249, Decimal("21.50")
    line.amount_likely = Decimal("48.35")
    assert line.quantity_places == 3


def test_it_measures_length_chambers_and_pipe_size(works):
    measured = measure_item(item=works.carrier)
    assert measured.measures == {"length_m": pytest.approx(250.0), "chambers": 1.0}
    assert measured.parameters == {"pipe_mm": 300}
    assert {reading.title for reading in measured.readings} == {"Pipe C1", "Chamber CH1"}


def test_it_measures_depth_from_ground_and_inverts(works, monkeypatch):
    class Flat:
        def levels_at(self, x, y):
            return [41.0 for _ in x]

    monkeypatch.setattr(queries.estimates, "live_ground", lambda club: Flat())
    measured = measure_item(item=works.carrier)
    assert measured.measures["mean_depth_m"] == pytest.approx(2.0)  # 1.0 at the top, 3.0 below
    ditch = create_item(
        phase=works.phase,
        kind=WorkKind.DITCH_DUG,
        name="Ditch",
        by=None,
        features=[works.pipe],
    )
    assert measure_item(item=ditch).measures == {}  # a pipe is not a ditch


def test_every_kind_builds_with_the_starting_price_book(works, cast):
    entered = {"length_m": 50, "area_m2": 200, "stems": 20, "count": 1}
    assert set(RECIPES) == set(WorkKind.values)
    for kind, recipe in RECIPES.items():
        names = {measure.name for measure in recipe.measures}
        item = create_item(
            phase=works.phase,
            kind=kind,
            name=kind,
            by=cast.manager,
            parameters={name: value for name, value in entered.items() if name in names},
        )
        estimate = build_estimate(item=item, by=cast.manager)
        lines = list(estimate.lines.all())
        assert lines and all(line.price is not None for line in lines)
        assert estimate.money_likely == sum(line.amount_likely for line in lines)
        assert estimate.labour_likely_h == pytest.approx(
            sum(line.quantity_likely for line in lines if line.category == "labour")
        )
        assert estimate.money_low < estimate.money_likely < estimate.money_p80
        assert estimate.money_p80 < estimate.money_high
        assert estimate.quantity > 0 and estimate.unit


def test_a_contractors_hours_are_not_the_crews(works, cast):
    works.tee_item.by_contractor = True
    estimate = build_estimate(item=works.tee_item, by=cast.manager)
    assert estimate.labour_high_h == 0
    assert not estimate.lines.filter(category="labour").exists()
    assert estimate.lines.filter(category="contractor", price__code="labour-contractor").exists()


def test_a_moved_feature_is_told_and_measured_again(works, cast):
    estimate = build_estimate(item=works.carrier, by=cast.manager)
    before = estimate.money_likely
    assert queries.what_moved(estimate, measure_item(item=works.carrier)) == []
    move(works.pipe, LineString([(400000, 300000), (400000, 300280)]), cast.manager)
    moved = queries.what_moved(estimate, measure_item(item=works.carrier))
    assert [one.words for one in moved] == [
        "Pipe C1: length along the line was 250.00, is now 280.00 m (+30.00)"
    ]
    sheet = queries.programme_sheet(works.programme)
    assert {one.item.name for one in sheet.items if one.is_stale} == {"Lay C1"}
    again = build_estimate(item=works.carrier, by=cast.manager)
    assert again.pk == estimate.pk and again.revision == 1
    assert again.money_likely > before and again.quantity == pytest.approx(280)


def test_a_changed_level_makes_the_estimate_out_of_date(works, cast):
    build_estimate(item=works.carrier, by=cast.manager)
    assert not any(one.is_stale for one in queries.programme_sheet(works.programme).items)
    works.pipe.reach.downstream_invert_m = 37.5
    save_record(works.pipe.reach, by=cast.manager)
    sheet = queries.programme_sheet(works.programme)
    assert {one.item.name for one in sheet.items if one.is_stale} == {"Lay C1"}


def test_a_feature_that_comes_or_goes_is_told(works, cast):
    estimate = build_estimate(item=works.tee_item, by=cast.manager)
    other = draw(cast, Kind.TEE, Polygon([(0, 0), (10, 0), (10, 10), (0, 10)]), ref="T9")
    works.tee_item.features.set([other])
    words = [one.words for one in queries.what_moved(estimate, measure_item(item=works.tee_item))]
    assert words == [
        "Tee T8: area on plan is no longer told, it was 260.00 m²",
        "Tee T9: area on plan is new, 100.00 m²",
    ]


def test_an_approved_estimate_is_never_changed(works, cast):
    first = build_estimate(item=works.carrier, by=cast.manager)
    approve_project(
        project=works.project,
        amount=Decimal("16000"),
        approved_on=date(2026, 6, 11),
        by=cast.manager,
    )
    first.refresh_from_db()
    figures = (first.money_likely, first.lines.count(), first.measured)
    line = first.lines.all()[0]
    move(works.pipe, LineString([(400000, 300000), (400000, 300300)]), cast.manager)
    for refused in (
        lambda: build_estimate(item=works.carrier, by=cast.manager),
        lambda: edit_line(line=line, figures=own_figures(), by=cast.manager),
        lambda: add_line(estimate=first, figures=own_figures(), by=cast.manager),
    ):
        with pytest.raises(ValidationError, match="approved on 11 Jun 2026"):
            refused()
    second = build_estimate(item=works.carrier, by=cast.manager, new_revision=True)
    first.refresh_from_db()
    assert (second.revision, second.is_live, second.approved_on) == (2, True, None)
    assert not first.is_live and first.approved_on == date(2026, 6, 11)
    assert (first.money_likely, first.lines.count(), first.measured) == figures
    assert second.money_likely > first.money_likely


def test_a_line_changed_by_hand_stays_when_measured_again(works, cast):
    estimate = build_estimate(item=works.carrier, by=cast.manager)
    line = estimate.lines.get(step="pipe")
    before = estimate.money_likely - line.amount_likely
    edit_line(
        line=line,
        figures=LineFigures(
            category="material",
            description="Twin-wall pipe, quoted",
            unit="m",
            quantity=ThreePoint.exactly(260),
            price=MoneyRange.exactly(Decimal("21.50")),
        ),
        by=cast.manager,
    )
    estimate.refresh_from_db()
    assert estimate.money_likely == before + Decimal("5590.00")
    add_line(estimate=estimate, figures=own_figures(2, "350.00"), by=cast.manager)
    move(works.pipe, LineString([(400000, 300000), (400000, 300100)]), cast.manager)
    again = build_estimate(item=works.carrier, by=cast.manager)
    kept = again.lines.get(step="pipe")
    assert kept.is_by_hand and kept.amount_likely == Decimal("5590.00")
    assert again.lines.get(description="Crane for a day").amount_likely == Decimal("700.00")
    assert again.money_likely == sum(one.amount_likely for one in again.lines.all())
    assert Change.objects.filter(kind="estimateline", action="changed").exists()
    release_line(line=kept, by=cast.manager)
    release_line(line=again.lines.get(description="Crane for a day"), by=cast.manager)
    again.refresh_from_db()
    assert not EstimateLine.objects.filter(estimate=again, is_by_hand=True).exists()
    assert again.lines.get(step="pipe").quantity_likely == pytest.approx(100 * 1.04)
    assert again.money_likely == sum(one.amount_likely for one in again.lines.all())


def test_working_of_the_estimate_keeps_what_was_given(works, cast):
    estimate = build_estimate(item=works.carrier, by=cast.manager)
    given = [row for row in estimate.working if row.get("part") == "given"]
    assert any(row["source"].startswith("measured: sum of 1 feature") for row in given)
    add_line(estimate=estimate, figures=own_figures(), by=cast.manager)
    estimate.refresh_from_db()
    assert [row for row in estimate.working if row.get("part") == "given"] == given
    assert estimate.working[-1]["value"] == f"{estimate.money_likely:,}"


def test_what_is_entered_by_hand_goes_before_what_is_measured(works, cast):
    set_parameters(
        item=works.carrier, parameters={"length_m": 100, "pipe_mm": 225}, by=cast.manager
    )
    estimate = build_estimate(item=works.carrier, by=cast.manager)
    assert estimate.quantity == 100
    assert estimate.lines.get(step="pipe", price__code="pipe-twinwall-225")
    with pytest.raises(ValidationError, match=r"choose one of 150.*not worked out from 'stems'"):
        set_parameters(item=works.carrier, parameters={"pipe_mm": 310, "stems": 3}, by=cast.manager)


def test_missing_quantity_or_price_is_named(works, cast):
    item = create_item(phase=works.phase, kind="seeding", name="Seed", by=cast.manager)
    with pytest.raises(ValidationError, match="Seeding needs the area on plan"):
        build_estimate(item=item, by=cast.manager)
    set_parameters(item=works.carrier, parameters={"pipe_mm": 375}, by=cast.manager)
    Price.objects.get(club=cast.club, code="pipe-twinwall-375").delete()
    with pytest.raises(ValidationError, match="no entry 'pipe-twinwall-375'"):
        build_estimate(item=works.carrier, by=cast.manager)


def test_a_new_price_waits_until_the_estimate_is_built_again(works, cast):
    estimate = build_estimate(item=works.carrier, by=cast.manager)
    before = estimate.money_likely
    reprice(works, cast, "stone-single_size", "40.00")
    estimate.refresh_from_db()
    lines = list(estimate.lines.select_related("price"))
    assert estimate.money_likely == before
    assert [line.step for line in queries.repriced_lines(lines)] == ["stone"]
    again = build_estimate(item=works.carrier, by=cast.manager)
    assert again.money_likely > before


def test_an_uneven_ditch_is_given_the_even_change_of_the_same_volume(works, cast):
    """Against the volume summed section by section along the line."""

    class Rolling:
        def levels_at(self, x, y):
            return np.array([41.0 + 0.3 * sin((b - 300000) / 9) for b in y])

    ditch = draw(cast, Kind.DITCH, LineString([(400000, 300000), (400000, 300120)]), ref="D1")
    reach = DrainReach(
        feature=ditch,
        upstream_invert_m=40.2,
        downstream_invert_m=39.7,
        bottom_width_m=0.6,
        side_slope=1.5,
    )
    told = measure(
        RECIPES[WorkKind.DITCH_DUG], [ditch], told=Told({ditch.pk: reach}), ground=Rolling()
    )
    at = np.arange(0, 121.0)
    depths = 41.0 + 0.3 * np.sin(at / 9) - (40.2 - 0.5 * at / 120)
    by_sections = volume_by_prismoids_m3(
        list(at), list(depths), lambda d: trapezoid_area_m2(bottom_m=0.6, side_slope=1.5, depth_m=d)
    )
    half = told.measures["depth_change_m"] / 2
    mean = told.measures["mean_depth_m"]
    volume = ditch_volume(
        length_m=120,
        bottom_m=told.parameters["bottom_m"],
        side_slope=told.parameters["side_slope"],
        depth_start_m=mean - half,
        depth_end_m=mean + half,
    )
    assert volume.dig_m3 == pytest.approx(by_sections, rel=1e-9)


def test_ground_that_is_hardly_known_does_not_tell_the_depth(works, cast):

    class HardlyKnown:
        def levels_at(self, x, y):
            return np.array([41.0 if b < 300050 else np.nan for b in y])

    reach = works.pipe.reach
    told = measure(
        RECIPES[WorkKind.CARRIER_PIPE],
        [works.pipe],
        told=Told({works.pipe.pk: reach}),
        ground=HardlyKnown(),
    )
    assert "mean_depth_m" not in told.measures


def test_woods_are_thinned_by_area_and_trees_by_count(works, cast):
    wood = draw(
        cast, Kind.WOOD, Polygon([(0, 0), (100, 0), (100, 50), (0, 50)]), ref="W1", stems=900
    )
    item = create_item(
        phase=works.phase, kind="tree_thinning", name="Thin", features=[wood], by=cast.manager
    )
    estimate = build_estimate(item=item, by=cast.manager)
    assert estimate.quantity == pytest.approx(60)  # half a hectare at 120 a hectare


def test_all_of_a_programme_at_once_keeps_what_is_approved(works, cast):

    first = build_estimate(item=works.carrier, by=cast.manager)
    approve_project(project=works.project, amount=Decimal(1), approved_on=date(2026, 6, 1), by=None)
    create_item(phase=works.phase, kind="turfing", name="Turf", by=cast.manager)
    done = build_estimates(programme=works.programme, by=cast.manager)
    assert (done.built, done.left_approved) == (1, 1)
    assert [item.name for item, _ in done.not_built] == ["Turf"]
    first.refresh_from_db()
    assert first.is_live and first.revision == 1
