"""What features tell of a job: each measure by its own worked numbers."""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal
from math import pi

import numpy as np
import pytest
from shapely.geometry import LineString, Point, Polygon, box

from tests.works.conftest import draw
from worksprog.calc.build_up import RECIPES
from worksprog.calc.ground import dump_ground, ground_from_grid
from worksprog.clubs.models import Change
from worksprog.clubs.records import save_record
from worksprog.course.models import GroundModel, Kind
from worksprog.course.services import change_feature
from worksprog.drainage.models import DrainNode, DrainReach
from worksprog.works import queries
from worksprog.works.measuring import Told, measure, wants_ground
from worksprog.works.models import EstimateLine, WorkKind
from worksprog.works.services import approve_project, build_estimate, build_estimates, create_item

EAST, NORTH = 400_000.0, 300_000.0


class Plane:
    """Ground at 41 m that falls to the north."""

    def __init__(self, fall: float = 0.0, east: float = 0.0) -> None:
        self.fall, self.east = fall, east

    def levels_at(self, x, y):
        x, y = np.asarray(x, float) - EAST, np.asarray(y, float) - NORTH
        return 41.0 - self.fall * y + self.east * x


def pipe_of(cast, upper: float, lower: float, length: float = 100.0, bore: float = 296):
    pipe = draw(cast, Kind.PIPE, LineString([(EAST, NORTH), (EAST, NORTH + length)]), ref="P9")
    return pipe, DrainReach(
        feature=pipe, upstream_invert_m=upper, downstream_invert_m=lower, inside_diameter_mm=bore
    )


def read(kind, features, *, ground=None, by_hand=None, **told):
    return measure(RECIPES[kind], features, told=Told(**told), ground=ground, by_hand=by_hand or {})


def test_depth_goes_by_ground_and_invert(works, cast):
    """41 m of ground, inverts 40.0 to 38.0 m: 1 m deep at the one end, 3 m at the other."""
    pipe, reach = pipe_of(cast, 40.0, 38.0)
    got = read(WorkKind.CARRIER_PIPE, [pipe], ground=Plane(), reaches={pipe.pk: reach})
    assert got.measures["length_m"] == pytest.approx(100)
    assert got.measures["mean_depth_m"] == pytest.approx(2.0)
    assert got.measures["depth_change_m"] == pytest.approx(2.0)
    assert got.measures["deep_m"] == pytest.approx(75.0)
    assert got.measures["very_deep_m"] == pytest.approx(25.0)
    assert got.parameters["pipe_mm"] == 300
    # Outside 0.345 + 0.50 down to 1.75 m, then 0.90: the trench is 0.1225 m below the invert.
    step_at = (1.75 - 0.1225 - 1.0) / 2 * 100
    shallow = step_at * (1.1225 + 1.75) / 2
    deep = (100 - step_at) * (1.75 + 3.1225) / 2
    assert got.measures["trench_m"] == pytest.approx(
        (shallow * 0.845 + deep * 0.90) / (shallow + deep)
    )
    by_hand = {"pipe_mm": 150.0}
    small = read(
        WorkKind.CARRIER_PIPE, [pipe], ground=Plane(), reaches={pipe.pk: reach}, by_hand=by_hand
    )
    assert small.measures["trench_m"] < got.measures["trench_m"]


def test_people_in_the_trench_need_its_width(works, cast):
    pipe, reach = pipe_of(cast, 40.0, 38.0)
    reach.club = cast.club
    save_record(reach, by=cast.manager)
    level_ground(cast, 41.0)
    costs = []
    for people in (0, 1):
        item = create_item(
            phase=works.phase, kind="carrier_pipe", name=f"Lay {people}", features=[pipe],
            parameters={"people": people}, by=cast.manager,
        )  # fmt: skip
        estimate = build_estimate(item=item, by=cast.manager)
        lines = {line.step: line for line in estimate.lines.all()}
        costs.append(estimate.money_likely)
        assert lines["deep"].quantity_likely == pytest.approx(75, abs=0.1)
    assert lines["dig-machine"].measured_likely == pytest.approx(
        100 * queries.measure_item(item).measures["trench_m"] * 2.1225, rel=1e-3
    )
    assert costs[1] > costs[0]


def level_ground(cast, level: float, fall_east: float = 0.0, made: datetime | None = None) -> None:
    x = np.arange(0, 301.0, 10.0)
    levels = level + fall_east * x[None, :] + np.zeros((31, 1))
    ground = ground_from_grid(west=EAST - 50, south=NORTH - 50, cell_m=10.0, levels=levels)
    GroundModel.objects.create(
        club=cast.club, method=GroundModel.Method.GRID, data=dump_ground(ground),
        made_at=made or datetime(2026, 3, 1, tzinfo=UTC),
    )  # fmt: skip


def test_a_tee_is_cut_and_filled_against_the_ground(works, cast):
    """20 x 13 m on ground that rises 4 % to the east: two wedges, and their sides."""
    level_ground(cast, 40.0, 0.04)
    got = queries.measure_item(works.tee_item)
    wedge = 13 * 10 * 10 * 0.04 / 2
    assert got.measures["fill_m3"] == pytest.approx(got.measures["cut_m3"], rel=0.02)
    assert wedge < got.measures["fill_m3"] < 1.6 * wedge
    estimate = build_estimate(item=works.tee_item, by=cast.manager)
    assert estimate.lines.filter(step="earth-machine").exists()
    works.tee_item.parameters = {"raise_m": 0.4}
    raised = queries.measure_item(works.tee_item)
    assert raised.measures["fill_m3"] > got.measures["fill_m3"] + 0.35 * 260
    assert raised.measures.get("cut_m3", 0.0) < 1.0


def test_a_built_mound_is_measured_between_two_surveys(works, cast):
    """Surveyed before it was built and after: 0.7 m everywhere on 20 by 10 m, 140 m³."""
    level_ground(cast, 40.0, made=datetime(2026, 3, 1, tzinfo=UTC))
    hill = draw(cast, Kind.MOUND, box(EAST + 20, NORTH + 20, EAST + 40, NORTH + 30), ref="M1")
    item = create_item(
        phase=works.phase, kind="mounding", name="Mound", features=[hill], by=cast.manager
    )
    designed = queries.measure_item(item)
    level_ground(cast, 40.7, made=datetime(2026, 11, 1, tzinfo=UTC))
    assert queries.measure_item(item).measures == pytest.approx(designed.measures)
    item.started_on, item.finished_on = date(2026, 9, 1), date(2026, 9, 20)
    save_record(item, by=cast.manager)
    built = queries.measure_item(item)
    assert built.measures["fill_m3"] == pytest.approx(140.0, abs=0.01)
    assert "survey after less before" in built.readings[-1].how
    item.started_on = date(2026, 2, 1)
    assert queries.measure_item(item).measures["fill_m3"] != pytest.approx(140.0, abs=1.0)


def test_without_a_ground_a_tee_goes_by_its_area(works, cast):
    got = queries.measure_item(works.tee_item)
    assert "fill_m3" not in got.measures
    works.tee_item.parameters = {"raise_m": 0.4}
    save_record(works.tee_item, by=cast.manager)
    estimate = build_estimate(item=works.tee_item, by=cast.manager)
    fill = estimate.lines.get(step="fill")
    # 260 m² by 0.4 m, 0.9 firm for one in the bank, 1.5 t/m³, a tenth lost
    assert fill.quantity_likely == pytest.approx(260 * 0.4 / 0.9 * 1.5 * 1.1)


def test_a_mound_goes_by_its_height_and_slopes_unless_set_by_hand(works, cast):
    outline = Point(EAST + 50, NORTH + 50).buffer(12, quad_segs=64)
    hill = draw(cast, Kind.MOUND, outline, ref="M1", height_m=Decimal("1.5"))
    got = read(WorkKind.MOUNDING, [hill], ground=Plane())
    cone = pi * 1.5 / 3 * (12**2 + 12 * 6 + 6**2)
    assert got.measures["fill_m3"] == pytest.approx(cone, rel=0.01)
    assert [one.name for one in got.readings] == ["area_m2", "crest_m", "fill_m3"]
    set_by_hand = read(WorkKind.MOUNDING, [hill], ground=Plane(), by_hand={"mean_height_m": 0.5})
    assert "fill_m3" not in set_by_hand.measures


def test_stems_keep_their_volume_in_one_mean_tree(works, cast):
    """Two stems of 30 cm and 20 m, one of 50 cm and 24 m."""
    facts = ((2, "30", "20"), (1, "50", "24"))
    trees = [
        draw(
            cast, Kind.TREE, Point(EAST + n, NORTH), ref=f"T{n}", stems=stems,
            diameter_cm=Decimal(across), height_m=Decimal(tall),
        )
        for n, (stems, across, tall) in enumerate(facts)
    ]  # fmt: skip
    got = read(WorkKind.TREE_FELLING, trees)
    assert (got.measures["stems"], got.measures["large_stems"]) == (3, 1)
    cylinder = pi / 4 * (2 * 0.30**2 * 20 + 0.50**2 * 24)
    values = {one.name: one.usual.likely for one in RECIPES["tree_felling"].parameters}
    values |= {one.name: one.assumed for one in RECIPES["tree_felling"].measures}
    worked = RECIPES["tree_felling"].sheet.work_out(values | got.measures | got.parameters)
    assert worked["timber"] == pytest.approx(0.45 * cylinder)
    assert worked["timber_t"] == pytest.approx(0.45 * cylinder * 0.95)
    assert (worked["small"], worked["large"]) == (2, 1)


def test_a_wood_tells_size_but_not_how_many_to_fell(works, cast):
    wood = draw(
        cast, Kind.WOOD, box(EAST, NORTH, EAST + 100, NORTH + 50), ref="W", stems=300,
        diameter_cm=Decimal(24), height_m=Decimal(15),
    )  # fmt: skip
    got = read(WorkKind.TREE_THINNING, [wood])
    assert got.measures == {"area_m2": pytest.approx(5000)}
    assert got.parameters == {"dbh_cm": pytest.approx(24), "tree_m": 15}


def test_a_girth_measured_anew_is_told(works, cast):
    tree = draw(
        cast, Kind.TREE, Point(EAST, NORTH), ref="T1", diameter_cm=Decimal(30),
        height_m=Decimal(16),
    )  # fmt: skip
    item = create_item(
        phase=works.phase, kind="tree_felling", name="Fell", features=[tree], by=cast.manager
    )
    estimate = build_estimate(item=item, by=cast.manager)
    change_feature(feature=tree, by=cast.manager, diameter_cm=Decimal(44))
    assert queries.stale_items([item], {item.pk: estimate}) == {item.pk}
    words = [one.words for one in queries.what_moved(estimate, queries.measure_item(item))]
    assert words[0].startswith("Tree T1: ")
    assert any("was 30.00, is now 44.00 cm" in one for one in words)
    assert any("too large for the crew is new" in one for one in words)


def test_chambers_by_cover_or_ground(works, cast):
    places = [draw(cast, Kind.CHAMBER, Point(EAST, NORTH + k), ref=f"C{k}") for k in range(3)]
    nodes = {
        places[0].pk: DrainNode(feature=places[0], invert_level_m=39.8, cover_level_m=41.2),
        places[1].pk: DrainNode(feature=places[1], invert_level_m=39.4),
    }
    got = read(WorkKind.CHAMBER, places, ground=Plane(), nodes=nodes)
    assert got.measures["count"] == 3
    assert got.measures["mean_depth_m"] == pytest.approx((1.4 + 1.6) / 2)


def test_a_service_is_counted_where_it_is_crossed(works, cast):
    main = draw(cast, Kind.SERVICE, LineString([(EAST, NORTH + 50), (EAST + 80, NORTH + 50)]))
    drains = [
        draw(cast, Kind.PIPE, LineString([(EAST + x, NORTH), (EAST + x, NORTH + 100)]), ref=f"P{x}")
        for x in (10, 40, 200)
    ]
    assert read(WorkKind.CROSSING, [main, *drains]).measures["crossings"] == 2
    assert read(WorkKind.CROSSING, [main]).measures["crossings"] == 1
    assert "crossings" not in read(WorkKind.CROSSING, [main, drains[2]]).measures


def test_a_fence_has_posts_at_its_ends_and_corners(works, cast):
    fence = draw(
        cast, Kind.FENCE,
        LineString([(EAST, NORTH), (EAST + 50, NORTH), (EAST + 100, NORTH + 5),
                    (EAST + 100, NORTH + 60)]),
    )  # fmt: skip
    got = read(WorkKind.FENCING, [fence])
    assert (got.measures["count"], got.measures["corners"]) == (1, 1)
    hedge = draw(
        cast, Kind.HEDGE, LineString([(EAST, NORTH), (EAST + 40, NORTH)]), ref="H1",
        width_m=Decimal("1.8"), height_m=Decimal("2.5"),
    )  # fmt: skip
    told = read(WorkKind.HEDGE_SCRUB, [hedge])
    assert told.parameters == {"width_m": pytest.approx(1.8), "hedge_m": 2.5}


def test_every_kind_says_what_can_hurt_and_when_it_can_be_done():
    from worksprog.hours.words import DONE_TODAY
    from worksprog.planning.defaults import WINDOWS
    from worksprog.works.cautions import CAUTIONS

    assert set(WorkKind.values) == set(RECIPES) == set(CAUTIONS) == set(DONE_TODAY)
    assert {window.kind for window in WINDOWS} == set(WorkKind.values)
    for recipe in RECIPES.values():
        assert set(recipe.on) | set(recipe.beside) <= set(Kind.values)
        assert wants_ground(recipe) is any(
            one.name in ("mean_depth_m", "fill_m3") for one in recipe.measures
        )


def test_every_shipped_kind_is_priced_by_the_starting_book(works, cast):
    """Nothing that a recipe names is missing from the book, in every choice it offers."""
    book = queries.price_book(cast.club)
    for recipe in RECIPES.values():
        for line in recipe.lines:
            choices = [one for one in recipe.parameters if f"{{{one.name}}}" in line.price]
            codes = [line.price]
            for one in choices:
                codes = [
                    code.replace(f"{{{one.name}}}", f"{choice:g}")
                    for code in codes
                    for choice in one.choices
                ]
            unit = next(one.unit for one in recipe.quantities if one.name == line.quantity)
            for code in codes:
                price = book.price(code, used_for=line.description)
                assert price.unit == ("h" if line.rate else unit), (recipe.kind, line.key)
            if line.rate:
                assert book.rate(line.rate, used_for=line.description).unit == unit


def test_a_whole_programme_is_written_in_few_statements(works, cast, django_assert_max_num_queries):
    for n in range(12):
        create_item(
            phase=works.phase, kind="turfing", name=f"Turf {n}", features=[works.tee],
            by=cast.manager,
        )  # fmt: skip
    approve_project(project=works.project, amount=Decimal(1), approved_on=date(2026, 6, 1), by=None)
    first = build_estimates(programme=works.programme, by=cast.manager)
    assert first.built == 14
    line = EstimateLine.objects.filter(estimate__item=works.carrier, step="pipe").get()
    works.carrier.parameters = {"pipe_mm": 375}
    save_record(works.carrier, by=cast.manager)
    with django_assert_max_num_queries(50):
        again = build_estimates(programme=works.programme, by=cast.manager)
    assert (again.built, again.left_approved, again.not_built) == (14, 0, ())
    now = EstimateLine.objects.get(pk=line.pk)
    assert now.amount_likely > line.amount_likely
    kept = Change.objects.filter(kind="estimateline", action="changed").order_by("-pk").first()
    assert kept.by == cast.manager
    assert kept.details[str(line.uuid)]["amount_likely"] == [
        str(line.amount_likely), str(now.amount_likely),
    ]  # fmt: skip


def test_an_outline_that_is_not_known_falls_back(works, cast):
    far = draw(cast, Kind.MOUND, Polygon([(0, 0), (20, 0), (20, 10), (0, 10)]), ref="M9")

    class Nowhere:
        def levels_at(self, x, y):
            return np.full(np.asarray(x).shape, np.nan)

    got = read(WorkKind.MOUNDING, [far], ground=Nowhere())
    assert "fill_m3" not in got.measures
    assert got.measures["area_m2"] == pytest.approx(200)
