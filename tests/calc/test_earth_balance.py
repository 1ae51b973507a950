"""The spoil balance: who feeds whom, what is left, loads and hours, and bad input."""

from __future__ import annotations

from datetime import date

import pytest

from worksprog.calc import soils
from worksprog.calc.earth_balance import (
    CARRIERS,
    LORRY,
    Carrier,
    Cut,
    Fill,
    Matter,
    balance_earth,
    haul_that_pays_m,
    haulage,
    lorry_loads,
)

CLAY, SAND, SILT = soils.SOILS["clay"], soils.SOILS["sand"], soils.SOILS["silt"]
TOPSOIL = soils.SOILS["topsoil"]


def cut(key: str, bank_m3: float, *, matter=Matter.SUBSOIL, soil=CLAY, **facts) -> Cut:
    return Cut(key, f"cut {key}", matter, soil, bank_m3, **facts)


def fill(key: str, firm_m3: float, *, matter=Matter.SUBSOIL, **facts) -> Fill:
    return Fill(key, f"fill {key}", matter, firm_m3, **facts)


def test_one_cut_one_fill_by_hand():
    done = balance_earth([cut("a", 100)], [fill("m", 45)], {("a", "m"): 200})
    (move,) = done.moves
    assert move.bank_m3 == pytest.approx(50)  # 45 firm / 0.90
    assert move.loose_m3.likely == pytest.approx(67.5)
    assert (move.loose_m3.low, move.loose_m3.high) == pytest.approx((65, 71.5))
    assert done.haul_m4 == pytest.approx(13_500)
    assert done.mean_haul_m == pytest.approx(200)
    (left,) = done.left
    assert (left.spread_m3, left.away_m3) == pytest.approx((50, 0))
    assert done.brought == ()


def test_what_the_course_lacks_is_brought_in_with_its_weight():
    done = balance_earth([cut("a", 10)], [fill("m", 45)], {("a", "m"): 200})
    (brought,) = done.brought
    assert brought.firm_m3 == pytest.approx(36)
    assert brought.bank_m3 == pytest.approx(40)
    assert brought.mass_t == pytest.approx(80)
    assert done.left == ()


def test_the_near_fill_waits_when_the_sum_of_hauls_is_less_so():
    # Nearest first would send a to m (10 m) and leave b the 1,000 m way: 10 + 1000 > 20 + 30.
    hauls = {("a", "m"): 10, ("a", "n"): 20, ("b", "m"): 30, ("b", "n"): 1000}
    done = balance_earth([cut("a", 10), cut("b", 10)], [fill("m", 9), fill("n", 9)], hauls)
    assert {(one.cut.key, one.fill.key) for one in done.moves} == {("a", "n"), ("b", "m")}


def test_filling_comes_before_short_hauls():
    done = balance_earth([cut("a", 10)], [fill("m", 9)], {("a", "m"): 5000})
    assert [one.bank_m3 for one in done.moves] == pytest.approx([10])
    short = balance_earth([cut("a", 10)], [fill("m", 9)], {("a", "m"): 5000}, longest_haul_m=900)
    assert short.moves == () and "further than 900 m" in short.barred[0].why
    assert short.brought[0].firm_m3 == pytest.approx(9)


def test_a_cut_without_a_way_is_told_and_stays():
    done = balance_earth([cut("a", 10)], [fill("m", 9)], {})
    assert done.moves == () and "no known way" in done.barred[0].why
    assert done.left[0].bank_m3 == pytest.approx(10)


def test_topsoil_subsoil_and_silt_stay_apart():
    cuts = [
        cut("clay", 20),
        cut("top", 20, matter=Matter.TOPSOIL, soil=TOPSOIL),
        cut("silt", 20, matter=Matter.UNSUITABLE, soil=SILT, spread_share=0.25),
    ]
    fills = [fill("mound", 100), fill("turf", 100, matter=Matter.TOPSOIL)]
    hauls = {(c.key, f.key): 1.0 for c in cuts for f in fills}
    done = balance_earth(cuts, fills, hauls)
    assert {(one.cut.key, one.fill.key) for one in done.moves} == {
        ("clay", "mound"),
        ("top", "turf"),
    }
    (left,) = done.left
    assert left.cut.key == "silt" and left.away_m3 == pytest.approx(15)


def test_earth_dug_after_a_fill_is_finished_does_not_feed_it():
    late = cut("a", 10, starts=date(2028, 2, 1), ends=date(2028, 2, 10))
    early = fill("m", 9, starts=date(2027, 11, 1), ends=date(2027, 11, 20))
    done = balance_earth([late], [early], {("a", "m"): 50})
    assert done.moves == ()
    assert done.barred[0].cut is late and done.barred[0].fill is early
    assert "after it is finished on 20 Nov 2027" in done.barred[0].why
    waiting = balance_earth(
        [cut("a", 10, starts=date(2027, 10, 1), ends=date(2027, 10, 10))],
        [early],
        {("a", "m"): 50},
    )
    assert waiting.moves[0].waits_days == 22


def test_nothing_is_lost_and_the_working_says_so():
    cuts = [cut("a", 31.7), cut("b", 12.4, soil=SAND, spread_share=0.4), cut("c", 88.0)]
    fills = [fill("m", 22.2), fill("n", 40.9)]
    hauls = {(c.key, f.key): 100.0 + i * 37 for i, c in enumerate(cuts) for f in fills}
    done = balance_earth(cuts, fills, hauls)
    moved = sum(one.bank_m3 for one in done.moves)
    assert moved + sum(one.bank_m3 for one in done.left) == pytest.approx(31.7 + 12.4 + 88.0)
    firm = sum(one.firm_m3 for one in done.moves)
    assert firm + sum(one.firm_m3 for one in done.brought) == pytest.approx(63.1)
    rows = done.working(Matter.SUBSOIL).as_rows()
    assert rows[-1]["value"] == "0"
    assert done.working(Matter.TOPSOIL).as_rows()[0]["value"] == "0"


def test_loads_hours_and_what_limits_a_load():
    dumper = Carrier("dumper", 4.0, 3.0, 5.0, 1.0, 6.0, 12.0, worked_share=1.0)
    trip = dumper.round_trip_min(500)
    assert trip == pytest.approx(5 + 1 + 5 + 2.5)
    done = haulage(loose_m3=20, soil=CLAY, haul_m=500, carrier=dumper)
    assert done.load_m3 == pytest.approx(3.0 / (2.0 / 1.35))  # by weight, not by its 4 m³
    assert done.loads == 10
    assert done.hours == pytest.approx(10 * 13.5 / 60)
    assert "its weight limits it" in done.working.as_rows()[2]["meaning"]
    assert haulage(loose_m3=0, soil=CLAY, haul_m=0, carrier=dumper).loads == 0


def test_lorries_carry_one_kind_at_a_time():
    assert lorry_loads([(15, CLAY), (15, CLAY)]) == 3
    assert lorry_loads([(15, CLAY), (15, SAND)]) == 4
    assert LORRY.load_of(CLAY) == 10


def test_the_haul_that_pays_is_where_both_cost_the_same():
    carrier = CARRIERS["trailer"]
    far = haul_that_pays_m(carrier=carrier, soil=CLAY, hour_costs=43.5, saved_per_loose_m3=20)
    load = carrier.load_of(CLAY)
    assert carrier.round_trip_min(far) / 60 * 43.5 == pytest.approx(load * 20)
    assert (
        haul_that_pays_m(carrier=carrier, soil=CLAY, hour_costs=43.5, saved_per_loose_m3=0.1)
        is None
    )


@pytest.mark.parametrize(
    "make",
    [
        lambda: cut("a", -1),
        lambda: cut("a", float("nan")),
        lambda: cut("a", float("inf")),
        lambda: cut("a", 1, spread_share=1.2),
        lambda: fill("m", -0.1),
        lambda: fill("m", 1, matter=Matter.UNSUITABLE),
        lambda: balance_earth([cut("a", 1), cut("a", 2)], [], {}),
        lambda: balance_earth([], [fill("m", 1), fill("m", 2)], {}),
        lambda: balance_earth([cut("a", 1)], [fill("m", 1)], {("a", "m"): -5}),
        lambda: balance_earth([], [], {}, longest_haul_m=-1),
        lambda: Carrier("x", 0, 3, 5, 1, 6, 12),
        lambda: Carrier("x", 3, 3, 5, 1, 6, 12, worked_share=0),
        lambda: CARRIERS["trailer"].round_trip_min(-1),
        lambda: haul_that_pays_m(carrier=LORRY, soil=CLAY, hour_costs=0, saved_per_loose_m3=1),
    ],
)
def test_bad_figures_are_refused(make):
    with pytest.raises(ValueError, match=r"must|key|between|share|no fill"):
        make()


def test_the_three_states_of_one_volume():
    rows = soils.three_states(bank_m3=100, soil=CLAY).as_rows()
    by_symbol = {row["symbol"]: row["value"] for row in rows if row["symbol"]}
    assert (by_symbol["Vl"], by_symbol["Vf"], by_symbol["m"]) == ("135", "90", "200")
    assert soils.bank_for_fill_m3(firm_m3=90, soil=CLAY) == pytest.approx(100)
    assert soils.compacted_volume_m3(bank_m3=100, soil=CLAY) == pytest.approx(90)


def test_tonnes_and_back():
    stone = soils.DENSITIES["stone"]
    assert soils.tonnes(volume_m3=10, density=stone).likely == pytest.approx(16)
    back = soils.volume_m3(mass_t=16, density=stone)
    assert back.likely == pytest.approx(10)
    assert back.low < 10 < back.high
    for call in (
        lambda: soils.tonnes(volume_m3=-1, density=stone),
        lambda: soils.volume_m3(mass_t=-1, density=stone),
        lambda: soils.bank_for_fill_m3(firm_m3=-1, soil=CLAY),
        lambda: soils.bulking_from_densities(bank_t_m3=1.5, loose_t_m3=1.6),
        lambda: soils.bulking_from_densities(bank_t_m3=0, loose_t_m3=1.6),
    ):
        with pytest.raises(ValueError, match=r"must|cannot"):
            call()


def test_every_soil_swells_and_says_from_where():
    for soil in soils.SOILS.values():
        assert soil.loose_per_bank.low >= 1.0
        assert 0.7 <= soil.compacted_per_bank <= 1.0
        assert soil.loose_per_bank.low > soil.compacted_per_bank
        assert any(f"({mark})" in soil.source for mark in ("C", "C2", "M", "P"))
        assert 1.0 < soil.loose_t_m3 < soil.bank_t_m3.likely
