"""The spoil balance on rows: read from the estimates, told on a page, changing nothing."""

from __future__ import annotations

import csv
import io
from datetime import date
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from shapely.geometry import LineString, Point, box

from tests.works.conftest import draw
from worksprog.calc.earth_balance import CARRIERS, Matter
from worksprog.calc.soils import SOILS
from worksprog.clubs.records import save_record
from worksprog.course.models import Kind, State
from worksprog.works.bridge_earth import place_of, where_wheels_go, winter_of, winter_words
from worksprog.works.models import Estimate, EstimateLine, Item, WorkKind
from worksprog.works.queries.spoil import spoil_sheet, winter_to_open
from worksprog.works.queries.spoil_carting import CART_RATE
from worksprog.works.queries.spoil_parts import SpoilWish, letter_of
from worksprog.works.services import (
    build_estimate,
    create_item,
    set_item_state,
    set_parameters,
)

TODAY = date(2026, 9, 2)


def stands(cast, kind, geometry):
    feature = draw(cast, kind, geometry)
    feature.state = State.EXISTING
    return save_record(feature, by=cast.manager)


def url(name, cast, *rest):
    return reverse(f"works:{name}", args=[cast.club.slug, *rest])


def words_of(answer) -> str:
    return " ".join(answer.content.decode().split())


@pytest.fixture
def winter(works, cast):
    """A carrier dug and a mound filled in one winter, 300 m apart, a wood in between."""
    by = cast.manager
    mound = draw(cast, Kind.MOUND, box(400300, 300100, 400320, 300120), ref="M1")
    stands(cast, Kind.FAIRWAY, box(399900, 299950, 400500, 300400))
    mounding = create_item(
        phase=works.phase, kind=WorkKind.MOUNDING, name="Mound right of 8", features=[mound], by=by
    )
    for item in (works.carrier, mounding):
        item.not_before = date(2026, 10, 1)
        item.save()
        build_estimate(item=Item.objects.get(pk=item.pk), by=by)
    return works, mounding


def sheet_of(works, **wish):
    return spoil_sheet(works.programme, SpoilWish(**wish), today=TODAY)


def test_an_estimate_keeps_its_earth(winter):
    works, mounding = winter
    (over,) = Estimate.objects.get(item=works.carrier).earth
    assert over["role"] == "cut" and over["volume_m3"] > 0
    roles = {one["role"] for one in Estimate.objects.get(item=mounding).earth}
    assert "fill" in roles


def test_cut_goes_to_fill_and_nothing_is_written(winter):
    works, mounding = winter
    before = list(EstimateLine.objects.order_by("pk").values_list("pk", "amount_likely"))
    sheet = sheet_of(works)
    assert sheet.winter == 2026
    (move,) = sheet.moves
    assert (move.giver.item, move.taker.item) == (works.carrier, mounding)
    cut = next(one for one in sheet.balance.cuts if one.matter is Matter.SUBSOIL)
    fill = next(one for one in sheet.balance.fills if one.matter is Matter.SUBSOIL)
    expected = min(cut.bank_m3, fill.firm_m3 / SOILS["clay"].compacted_per_bank)
    assert move.move.bank_m3 == pytest.approx(expected)
    straight = Point(400000, 300125).distance(Point(400310, 300110))
    assert straight - 1 <= move.way.length_m <= 1.15 * straight
    assert before == list(EstimateLine.objects.order_by("pk").values_list("pk", "amount_likely"))


def test_carting_is_told_beside_the_estimate(winter):
    works, mounding = winter
    sheet = sheet_of(works)
    by_item = {one.item.pk: one for one in sheet.carting}
    lines = EstimateLine.objects.filter(estimate__item=works.carrier, estimate__is_live=True)
    carted = [line for line in lines if line.output_code == CART_RATE]
    assert carted
    told = by_item[works.carrier.pk]
    assert told.estimate_money == sum((line.amount_likely for line in carted), Decimal("0"))
    assert told.estimate_h == pytest.approx(
        sum(line.quantity_likely for line in carted if line.category == "haulage")
    )
    filled = by_item[mounding.pk]
    (move,) = sheet.moves
    assert filled.balance_h == pytest.approx(move.work.hours)
    assert f"{move.work.loads} loads of A" in filled.parts
    assert sheet.more_money == sum((one.more_money for one in sheet.carting), Decimal("0"))


def test_what_a_person_entered_goes_before_the_table(winter, cast):
    works, _ = winter
    item = Item.objects.get(pk=works.carrier.pk)
    set_parameters(item=item, parameters={"bulking": 1.6}, by=cast.manager)
    build_estimate(item=Item.objects.get(pk=item.pk), by=cast.manager)
    (cut,) = [one for one in sheet_of(works).balance.cuts if one.name == item.name]
    assert cut.soil.loose_per_bank.low == cut.soil.loose_per_bank.high == 1.6
    assert "entered on the item" in cut.soil.source


def test_wishes_change_the_answer(winter):
    works, _ = winter
    plain, sand = sheet_of(works), sheet_of(works, ground="sand")
    assert sand.moves[0].move.cut.soil is SOILS["sand"]
    assert sand.moves[0].move.loose_m3.likely < plain.moves[0].move.loose_m3.likely
    near = sheet_of(works, longest_haul_m=100.0)
    assert near.moves == () and "further than 100 m" in near.told[0]
    small = sheet_of(works, carrier="dumper_3t")
    assert small.wish.carries is CARRIERS["dumper_3t"]
    assert small.moves[0].work.loads > plain.moves[0].work.loads
    off = sheet_of(works, longest_haul_m=100.0, spread_share=0.0)
    assert off.away_loads > near.away_loads == 0


def test_a_finished_work_is_left_out(winter, cast):
    works, _ = winter
    item = Item.objects.get(pk=works.carrier.pk)
    for state, day in (("on_site", date(2026, 10, 5)), ("done", date(2026, 10, 9))):
        item = set_item_state(item=item, state=state, on=day, by=cast.manager, without_consent=True)
    sheet = sheet_of(works)
    assert sheet.moves == ()
    assert [one.item.pk for one in sheet.items if one.is_settled] == [works.carrier.pk]
    assert works.carrier.pk not in {one.item.pk for one in sheet.carting}


def test_items_without_a_place_are_told(winter, cast):
    works, _ = winter
    nowhere = create_item(
        phase=works.phase,
        kind=WorkKind.DITCH_DUG,
        name="A ditch nobody drew",
        parameters={"length_m": 100.0, "mean_depth_m": 1.0},
        not_before=date(2026, 10, 1),
        by=cast.manager,
    )
    build_estimate(item=nowhere, by=cast.manager)
    sheet = sheet_of(works)
    assert any("A ditch nobody drew is on no feature" in words for words in sheet.told)
    assert all(one.giver.item.pk != nowhere.pk for one in sheet.moves)
    assert any(one.cut.name == nowhere.name for one in sheet.balance.left)


def test_another_winter_is_another_balance(winter, cast):
    works, mounding = winter
    mounding.not_before = date(2027, 8, 1)
    mounding.save()
    sheet = sheet_of(works)
    assert [row.winter for row in sheet.winters] == [2026, 2027]
    assert sheet.moves == ()
    later = spoil_sheet(works.programme, SpoilWish(), of_item=mounding, today=TODAY)
    assert later.winter == 2027 and later.brought_loads > 0


def test_wheels_keep_off_greens_and_cross_ditches_at_bridges(cast):
    features = [
        stands(cast, Kind.FAIRWAY, box(0, 0, 400, 200)),
        stands(cast, Kind.DITCH, LineString([(200, -5), (200, 205)])),
        stands(cast, Kind.BRIDGE, LineString([(190, 180), (210, 180)])),
        stands(cast, Kind.GREEN, box(80, 40, 120, 80)),
        draw(cast, Kind.POND, box(0, 100, 180, 120)),
    ]
    grid = where_wheels_go(features)
    (way,) = grid.ways_to((390, 20), [(10, 20)])
    line = LineString(way.points)
    assert line.intersects(features[2].geometry.buffer(12))
    (across,) = grid.ways_to((180, 60), [(20, 60)])
    assert not LineString(across.points).intersects(features[3].geometry.buffer(-8))
    (over_what_is_proposed,) = grid.ways_to((60, 180), [(60, 90)])
    assert over_what_is_proposed.length_m == pytest.approx(90, rel=0.05)
    with pytest.raises(ValueError, match="no features"):
        where_wheels_go(features[-1:])


def test_the_place_is_on_the_shapes(cast):
    bend = draw(cast, Kind.PIPE, LineString([(0, 0), (100, 0), (100, 100)]))
    place = place_of(WorkKind.CARRIER_PIPE, [bend])
    assert bend.geometry.distance(Point(place)) < 1e-6
    assert place_of(WorkKind.CARRIER_PIPE, []) is None


def test_winters_and_letters():
    assert winter_of(date(2028, 6, 30)) == 2027 and winter_of(date(2028, 7, 1)) == 2028
    assert winter_words(2029) == "2029/30" and winter_words(2099) == "2099/00"
    assert [letter_of(place) for place in (0, 25, 26, 27, 701, 702)] == [
        "A", "Z", "AA", "AB", "ZZ", "AAA",
    ]  # fmt: skip
    assert winter_to_open([], TODAY) is None


def test_the_page_shows_it_in_few_queries(winter, cast, as_committee):
    with CaptureQueriesContext(connection) as queries:
        page = as_committee.get(url("spoil", cast))
    assert page.status_code == 200
    assert len(queries) <= 15
    words = words_of(page)
    for expected in (
        "Earth and spoil, winter 2026/27",
        "Lay C1 → Mound right of 8",
        "Balance of subsoil",
        "When earth counts as waste",
        "Flood plain and watercourses",
        "Roots of trees",
        "Gradients, soft ground and loads",
        "Local law, codes and licensed practice",
        'class="spo-sketch"',
    ):
        assert expected in words
    assert "style=" not in page.content.decode().split("<main", 1)[1]


def test_works_at_one_place_are_drawn_too(winter, cast, as_committee):
    works, _ = winter
    by = cast.manager
    bunker = draw(cast, Kind.BUNKER, box(400100, 300200, 400110, 300210), ref="B1")
    for kind, name in (
        (WorkKind.BUNKER_NEW, "Dig it"),
        (WorkKind.BUNKER_FILLED, "Fill it"),
    ):
        item = create_item(
            phase=works.phase,
            kind=kind,
            name=name,
            features=[bunker],
            not_before=date(2027, 10, 1),
            by=by,
        )
        build_estimate(item=item, by=by)
    page = as_committee.get(url("spoil", cast), {"winter": "2027"})
    assert page.status_code == 200
    assert "Dig it → Fill it" in words_of(page)


def test_the_page_refuses_what_does_not_fit_and_still_shows_the_usual(winter, cast, as_manager):
    page = as_manager.get(
        url("spoil", cast),
        {"ground": "mud", "carrier": "trailer", "longest_haul_m": "-3", "rest": "off"},
    )
    assert page.status_code == 422
    words = words_of(page)
    assert "mud is not one of the available choices" in words
    assert "greater than or equal to 10" in words
    assert "Lay C1 → Mound right of 8" in words
    odd = as_manager.get(url("spoil", cast), {"winter": "99999999999999999999"})
    assert odd.status_code == 200


def test_pages_without_anything_say_what_goes_here(cast, works, as_manager):
    page = as_manager.get(url("spoil", cast))
    assert "digs or fills earth yet" in words_of(page)
    works.programme.is_live = False
    works.programme.save()
    page = as_manager.get(url("spoil", cast))
    assert "No programme yet" in words_of(page)
    empty = as_manager.get(url("spoil-csv", cast))
    assert empty.status_code == 200 and "spoil-none.csv" in empty["Content-Disposition"]


def test_the_table_to_download_adds_up_and_holds_no_formula(winter, cast, as_manager):
    works, mounding = winter
    mounding.name = '=HYPERLINK("x")'
    mounding.save()
    answer = as_manager.get(url("spoil-csv", cast))
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert {row["what"] for row in rows} >= {"moved"}
    moved = next(row for row in rows if row["what"] == "moved")
    assert moved["to"] == '\'=HYPERLINK("x")'
    sheet = sheet_of(works)
    out = sum(
        float(row["bank m3"])
        for row in rows
        if row["from"] == "Lay C1" and row["earth"] == "subsoil"
    )
    cut = sum(one.bank_m3 for one in sheet.balance.cuts if one.name == "Lay C1")
    assert out == pytest.approx(cut, abs=0.11)


def test_the_part_of_the_item_page(winter, cast, as_committee):
    works, mounding = winter
    with CaptureQueriesContext(connection) as queries:
        part = as_committee.get(url("item-spoil", cast, mounding.uuid))
    assert len(queries) <= 15
    assert "Balanced over the works of winter 2026/27" in words_of(part)
    page = as_committee.get(url("item", cast, mounding.uuid))
    assert url("item-spoil", cast, mounding.uuid) in page.content.decode()
    no_earth = as_committee.get(url("item-spoil", cast, works.tee_item.uuid))
    assert no_earth.status_code == 200 and not no_earth.content.strip()
