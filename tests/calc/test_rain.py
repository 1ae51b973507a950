"""Tables of rain, gauge records, fits, storage and balance: what is read, what is refused."""

from __future__ import annotations

import datetime

import numpy as np
import pytest

from worksprog.calc.charts_rain import fit_chart
from worksprog.calc.rainfall import (
    DepthTable,
    Greenfield,
    Ground,
    balance_of_days,
    curve_number_runoff_mm,
    curve_number_working,
    held_back,
    read_depths,
    table_doubts,
    text_of,
)
from worksprog.calc.rainfall.extremes import (
    confidence_band,
    fit_gev,
    fit_gumbel,
    plotting_positions,
    years_notes,
)
from worksprog.calc.rainfall.gauge import read_gauge

GRID = "duration, 2, 10, 100\n15 min, 8, 13, 20\n1 h, 13, 21, 33\n1 day, 34, 52, 80\n"


def _table(text: str = GRID) -> DepthTable:
    depths, refused = read_depths(text)
    assert refused == ()
    return DepthTable(depths)


def test_a_table_survives_being_written_and_read():
    table = _table()
    assert table.return_periods == (2, 10, 100)
    assert table.durations_min == (15, 60, 1440)
    assert _table(text_of(table)) == table
    assert DepthTable.of(table.as_rows()).as_rows() == table.as_rows()


def test_durations_may_stand_across():
    turned = "years; 15 min; 1 h; 1 day\n2;8,0;13;34\n1 in 10;13;21;52\n100 years;20;33;80\n"
    assert _table(turned).as_rows() == _table().as_rows()


def test_between_return_periods_and_with_an_allowance():
    table = _table()
    assert table.design_rain(10).depths_mm == pytest.approx((13, 21, 52))
    assert table.design_rain(10, allowance_percent=20).depths_mm == pytest.approx(
        (15.6, 25.2, 62.4)
    )
    y = [-np.log(-np.log(1 - 1 / years)) for years in (2, 5, 10)]
    expected = 8 + (13 - 8) * (y[1] - y[0]) / (y[2] - y[0])
    assert table.design_rain(5).depths_mm[0] == pytest.approx(expected)


@pytest.mark.parametrize(
    ("years", "words"), [(1.5, "nothing is known of 1 in 1.5"), (200, "1 in 200")]
)
def test_outside_the_table_nothing_is_read(years, words):
    with pytest.raises(ValueError, match=words):
        _table().design_rain(years)


def test_every_fall_is_named_with_its_place():
    with pytest.raises(ValueError) as told:
        DepthTable.of([(2, 15, 9), (2, 60, 8), (10, 15, 7), (10, 60, 12)])
    assert "8 mm in 1 h follows 9 mm in 15 min" in str(told.value)
    assert "7 mm at 1 in 10 year follows 9 mm at 1 in 2" in str(told.value)


def test_intensities_in_place_of_depths_are_suspected():
    with pytest.raises(ValueError, match="mm/h"):
        DepthTable.of([(2, 15, 40), (2, 60, 16), (10, 15, 60), (10, 60, 24)])


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        (
            "duration, 2, 10\n15 min, 8, -999\n",
            2,
            "1 in 10 year, 15 min: -999 stands for a missing",
        ),
        ("duration, 2, 10\n15 min, 8, -999.0\n", 2, "missing value"),
        ("duration, 2, 10\n15 min, 8, -3\n", 2, "above 0 was expected"),
        ("duration, 2, 10\n15 min, 8, x\n", 2, "“x” is no number"),
        ("duration, 2, 10\nsoon, 8, 9\n", 2, "“soon” is no duration"),
        ("duration, often, 10\n15 min, 8, 9\n", 1, "“often” is no return period"),
        ("duration, 2, 10\n15 min, 8, 9, 10\n", 2, "4 cells"),
        ("duration (in), 2, 10\n15 min, 0.3, 0.5\n", 1, "inches"),
        ("duration, 1, 10\n15 min, 8, 9\n", 2, "above 1"),
        ("duration, 2, 10\n", 1, "no depth below"),
        ("", 1, "Nothing was given"),
    ],
)
def test_what_cannot_be_read_is_refused_with_its_line(text, line, words):
    _, refused = read_depths(text)
    assert [one.line for one in refused] == [line]
    assert words in refused[0].words


def test_the_other_cells_of_a_bad_line_are_kept():
    depths, refused = read_depths("duration, 2, 10\n15 min, 8, -999\n1 h, 13, 21\n")
    assert len(depths) == 3
    assert len(refused) == 1


def test_doubts():
    inches = DepthTable.of([(2, 60, 0.6), (2, 1440, 1.6)])
    assert any("inches" in words for words in table_doubts(inches))
    hours = DepthTable.of([(2, 1, 6), (2, 24, 130)])
    assert any("hours" in words for words in table_doubts(hours))
    rising = DepthTable.of([(2, 30, 5), (2, 60, 16)])
    assert any("intensity" in words for words in table_doubts(rising))
    assert table_doubts(_table()) == ()


# ---- gauge -------------------------------------------------------------------------------------


def _daily(first: datetime.date, last: datetime.date, wet: dict[datetime.date, str]) -> str:
    lines, day = ["date, rain"], first
    while day <= last:
        lines.append(f"{day}, {wet.get(day, '1.0')}")
        day += datetime.timedelta(1)
    return "\n".join(lines)


def test_a_daily_record_with_gaps_and_missing_values():
    d = datetime.date
    missing = {d(2001, 6, 1) + datetime.timedelta(n): "-999" for n in range(40)}
    text = _daily(d(2000, 1, 1), d(2002, 12, 31), {**missing, d(2000, 3, 4): "31.5",
                  d(2000, 3, 5): "20", d(2002, 8, 9): "44", d(2002, 8, 11): "-0.4"})  # fmt: skip
    text = "\n".join(line for line in text.splitlines() if not line.startswith("2002-02-0"))
    read = read_gauge(text)
    most = {(one.year, one.duration_min): one.depth_mm for one in read.rows}
    assert most[2000, 1440] == 31.5
    assert most[2000, 2880] == 51.5
    assert (2001, 1440) not in most
    assert any("2001: 40 days missing" in words for words in read.notes)
    assert any("9 days missing, 2002-02-01 to 2002-02-09" in words for words in read.notes)
    named = [one for one in read.refused if "-0.4" in one.words]
    assert len(named) == 1
    assert text.splitlines()[named[0].line - 1].startswith("2002-08-11")
    assert sum("no value" in one.words for one in read.refused) == 40


def test_water_years_keep_a_wet_winter_whole():
    d = datetime.date
    wet = {d(2000, 12, 31): "30", d(2001, 1, 1): "30"}
    text = _daily(d(1999, 10, 1), d(2001, 9, 30), wet)
    by_water = {(one.year, one.duration_min): one.depth_mm for one in
                read_gauge(text, year_begins=10).rows}  # fmt: skip
    assert by_water[2001, 2880] == 60
    assert by_water[2000, 2880] == 2


def test_maxima_by_grid_and_by_line_are_the_same():
    grid = read_gauge("year, 15 min, 1 h\n1998, 7, 12\n1999, 6.5, 14\n")
    lines = read_gauge("year, duration, mm\n1998, 15 min, 7\n1998, 1 h, 12\n1999, 15 min, 6.5\n"
                       "1999, 60, 14\n")  # fmt: skip
    assert sorted(map(str, grid.rows)) == sorted(map(str, lines.rows))
    assert grid.kind == "maxima"
    assert grid.years == 2


def test_maxima_that_cannot_be_are_named():
    read = read_gauge("year, 15 min, 1 h\n1998, 7, -999\n1999, 9, 8\n2001, 6, 11\nold, 5, 6\n")
    words = [f"{one.line}: {one.words}" for one in read.refused]
    assert any(said.startswith("2: 1998, 1 h: no value (-999)") for said in words)
    assert any("1999: 8 mm in 1 h is less than 9 mm in 15 min" in said for said in words)
    assert any("“old” is no year" in said for said in words)
    assert {(one.year, one.duration_min) for one in read.rows} == {
        (1998, 15), (2001, 15), (2001, 60)
    }  # fmt: skip
    assert any("1999, 2000" in said for said in read.doubts)


def test_inches_and_tenths_are_suspected():
    inches = read_gauge(
        "year, 1 day\n" + "\n".join(f"{1990 + n}, {1.1 + n / 10}" for n in range(12))
    )
    assert any("inches" in words for words in inches.doubts)
    tenths = read_gauge("year, 1 day\n" + "\n".join(f"{1990 + n}, {280 + n}" for n in range(12)))
    assert any("tenths" in words for words in tenths.doubts)
    with pytest.raises(ValueError, match="Line 1 says inches"):
        read_gauge("date, rain (in)\n2000-01-01, 0.4\n")


@pytest.mark.parametrize("text", ["", "date, rain\n2000-01-01, 3\n2000-01-02, 4\n"])
def test_a_record_without_a_whole_year_is_refused(text):
    with pytest.raises(ValueError, match=r"empty|No year"):
        read_gauge(text)


# ---- fits --------------------------------------------------------------------------------------

TWELVE = [31.0, 42, 28, 35, 51, 39, 33, 29, 46, 37, 30, 40]


@pytest.mark.parametrize("fit", [fit_gumbel, fit_gev])
def test_fewer_than_ten_years_are_refused(fit):
    with pytest.raises(ValueError, match="9 years are too few"):
        fit(TWELVE[:9])
    with pytest.raises(ValueError, match="missing value"):
        fit([*TWELVE, -999.0])


def test_fewer_than_twenty_years_are_warned_of():
    assert "Only 12 years" in years_notes(12)[0]
    assert years_notes(20) == ()


@pytest.mark.parametrize("fit", [fit_gumbel, fit_gev])
def test_the_band_holds_the_curve_and_widens(fit):
    found = fit(TWELVE)
    band = confidence_band(found, [2, 10, 50])
    assert band == confidence_band(found, [2, 10, 50])
    width = [high - low for low, high in zip(band.low_mm, band.high_mm, strict=True)]
    assert width == sorted(width)
    for low, depth, high in zip(band.low_mm, band.depth_mm, band.high_mm, strict=True):
        assert low < depth < high


def test_a_record_drawn_from_a_law_gives_it_back():
    generator = np.random.default_rng(3)
    drawn = 30 - 9 * np.log(-np.log(generator.random(20_000)))
    found = fit_gev(drawn.tolist())
    assert found.location == pytest.approx(30, abs=0.3)
    assert found.scale == pytest.approx(9, abs=0.2)
    assert found.shape == pytest.approx(0, abs=0.02)


def test_the_chart_has_a_ring_for_every_year():
    found = fit_gumbel(TWELVE)
    chart = fit_chart(plotting_positions(TWELVE), confidence_band(found, [1.1, 10, 100]), title="t")
    assert len(chart["layer"][-1]["data"]["values"]) == len(TWELVE)


# ---- run-off, storage, balance -----------------------------------------------------------------


def test_curve_numbers():
    assert float(curve_number_runoff_mm(5, 70)) == 0
    assert float(curve_number_runoff_mm(80, 100)) == pytest.approx(80)
    through = np.diff(curve_number_runoff_mm([0, 20, 50, 90], 80))
    assert through.sum() == pytest.approx(float(curve_number_runoff_mm(90, 80)))
    assert curve_number_working(100, 80).steps[-1].value == pytest.approx(0.505, abs=1e-3)
    with pytest.raises(ValueError, match="30 and 100"):
        curve_number_runoff_mm(10, 20)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ((0, 800, 0.45), "up to 2,500 ha"),
        ((3000, 800, 0.45), "up to 2,500 ha"),
        ((10, 31.5, 0.45), "inches"),
        ((10, 800, 0.9), "SOIL"),
        ((10, 800, 0.45, "11"), "region"),
    ],
)
def test_the_greenfield_rate_names_its_limits(given, words):
    with pytest.raises(ValueError, match=words):
        Greenfield(*given)


def test_greenfield_is_continuous_at_fifty_hectares_and_tells_how():
    assert Greenfield(49.999, 800, 0.4).qbar_m3s == pytest.approx(
        Greenfield(50, 800, 0.4).qbar_m3s, rel=1e-4
    )
    said = Greenfield(10, 800, 0.45, "5").working()
    assert any("share of area" in step.meaning for step in said.steps)
    assert [years for years, _, _ in Greenfield(10, 800, 0.45, "5").rates_m3s()] == [1, 10, 100]
    assert [years for years, _, _ in Greenfield(10, 800, 0.45, "9").rates_m3s()] == [1, 100]


def test_storage_that_grows_to_the_end_says_so():
    def steady(minutes):
        return np.full_like(minutes, 10.0)

    held = held_back(steady, coefficient=0.5, area_ha=10, outflow_m3s=0.01, longest_min=600)
    assert held.at_end
    assert any("longer one may ask more" in note for note in held.working().notes)
    none = held_back(steady, coefficient=0.5, area_ha=10, outflow_m3s=1.0)
    assert none.volume_m3 == 0
    with pytest.raises(ValueError, match="let out"):
        held_back(steady, coefficient=0.5, area_ha=10, outflow_m3s=0)


def test_more_let_out_never_asks_for_more_storage():
    rain = _table().design_rain(10)
    volumes = [
        held_back(rain.intensities_mm_h, coefficient=0.4, area_ha=5, outflow_m3s=rate,
                  shortest_min=15, longest_min=1440).volume_m3
        for rate in (0.005, 0.01, 0.02, 0.05, 0.2)
    ]  # fmt: skip
    assert volumes == sorted(volumes, reverse=True)


CLAY = Ground(area_ha=10, runoff_share=0.5, room_mm=15, soil_gives_mm_d=7, dries_mm_d=0.5,
              drain_m3s=0.0116)  # fmt: skip


def test_no_water_is_made_or_lost_in_the_balance():
    generator = np.random.default_rng(5)
    for _ in range(50):
        ground = Ground(
            area_ha=generator.uniform(0.5, 60), runoff_share=generator.uniform(0.05, 1),
            room_mm=generator.uniform(0, 60), soil_gives_mm_d=generator.uniform(0, 15),
            dries_mm_d=generator.uniform(0, 4), drain_m3s=generator.uniform(0, 0.2),
        )  # fmt: skip
        found = balance_of_days(generator.gamma(0.7, 15, 12).tolist(), ground, dry_days=5)
        assert found.error_mm == pytest.approx(0, abs=1e-9)
        for day in found.days:
            assert min(day.standing_mm, day.in_soil_mm, day.drained_mm) >= 0
            assert day.drained_mm <= ground.drain_mm_d + 1e-9
            assert day.in_soil_mm <= ground.room_mm + 1e-9


def test_a_day_by_hand():
    """10 ha, 11.6 l/s pass 10.02 mm a day; 40 mm: 20 run off, 20 into 15 mm of room, 5 come back."""
    found = balance_of_days([40], CLAY)
    assert CLAY.drain_mm_d == pytest.approx(10.0224)
    day = found.days[0]
    assert day.dried_mm == 0.5
    assert day.drained_mm == pytest.approx(10.0224)
    assert day.standing_mm == pytest.approx(25 - 10.0224)
    assert day.in_soil_mm == pytest.approx(14.5)
    assert found.days_standing == 1
    assert found.still_stands
    assert found.most_standing_m3 == pytest.approx(10 * 10 * (25 - 10.0224))


def test_a_greater_drain_never_leaves_more_standing():
    rain, last = [12, 26, 31, 21, 10], float("inf")
    for flow in (0.0, 0.005, 0.01, 0.02, 0.05):
        ground = Ground(10, 0.5, 15, 7, 0.5, flow)
        standing = balance_of_days(rain, ground, dry_days=3).most_standing_m3
        assert standing <= last
        last = standing


@pytest.mark.parametrize(
    ("rain", "words"), [([], "at least one day"), ([3, -999], "Day 2"), ([3] * 70, "At most 60")]
)
def test_days_that_cannot_be_are_named(rain, words):
    with pytest.raises(ValueError, match=words):
        balance_of_days(rain, CLAY)


def test_ground_that_cannot_be_is_named():
    with pytest.raises(ValueError, match="0 ha"):
        Ground(0, 0.5, 10, 7, 0, 0.1)
    with pytest.raises(ValueError, match="room in the soil"):
        Ground(1, 0.5, -1, 7, 0, 0.1)
