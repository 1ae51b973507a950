"""Rain made by chance, the wetness store, and years of workable days."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from worksprog.calc import weather
from worksprog.calc.weather.years import FEWEST_OWN_YEARS, Source


def record(years: int, *, seed: int = 4) -> dict[dt.date, float]:
    made = weather.draw_years(weather.STATED_MONTHS, years, seed)
    found: dict[dt.date, float] = {}
    for row in range(years):
        day = dt.date(2010 + row, 7, 1)
        while day < dt.date(2011 + row, 7, 1):
            found[day] = float(made[row, weather.day_of_block(day)])
            day += dt.timedelta(days=1)
    return found


def test_the_same_seed_makes_the_same_years() -> None:
    first = weather.draw_years(weather.STATED_MONTHS, 3, 8)
    assert np.array_equal(first, weather.draw_years(weather.STATED_MONTHS, 3, 8))
    assert not np.array_equal(first, weather.draw_years(weather.STATED_MONTHS, 3, 9))


def test_a_long_record_is_drawn_from_as_it_is() -> None:
    kept = record(FEWEST_OWN_YEARS)
    years = weather.workable_years(kept)
    assert years.source is Source.OWN
    assert years.names[0] == "2010/11"
    assert years.rain_mm[0, weather.day_of_block(dt.date(2011, 1, 5))] == kept[dt.date(2011, 1, 5)]


def test_a_short_record_fits_the_generator_and_a_shorter_one_does_nothing() -> None:
    assert weather.workable_years(record(4)).source is Source.FITTED
    assert weather.workable_years(record(2)).source is Source.STATED
    assert weather.workable_years().source is Source.STATED


def test_a_missing_day_is_taken_from_another_year_and_a_year_with_many_is_left_out() -> None:
    kept = record(9)
    gone = dt.date(2012, 1, 5)
    del kept[gone]
    for day in range(20):
        kept.pop(dt.date(2014, 11, 1) + dt.timedelta(days=day))
    years, rain = weather.whole_years(kept)
    assert years == (2010, 2011, 2012, 2013, 2015, 2016, 2017, 2018)
    assert rain[1, weather.day_of_block(gone)] == kept[dt.date(2013, 1, 5)]


def test_wet_ground_stops_work_the_day_after_and_drains() -> None:
    soil = replace(weather.STATED_SOIL, evaporation_mm_d=(0.0,) * 12)
    rain = np.array([20.0] + [0.0] * 9)
    water = weather.wetness(rain, np.zeros(10), soil)
    assert water[0] == pytest.approx(20)
    assert (np.diff(water) < 0).all()
    bears = water <= soil.bears_at_mm
    assert next(iter(np.flatnonzero(bears))) == 5  # 20 e^(-5/4) = 5.7 mm


def test_the_store_neither_overfills_nor_dries_beyond_its_ends() -> None:
    soil = weather.STATED_SOIL
    wet = weather.wetness(np.full(50, 60.0), np.zeros(50), soil)
    assert wet.max() == soil.holds_mm
    dry = weather.wetness(np.zeros(2000), np.full(2000, 3.0), soil)
    assert -soil.dries_to_mm <= dry.min() < -0.95 * soil.dries_to_mm


def test_winter_ground_bears_less_often_than_summer_ground() -> None:
    years = weather.workable_years()
    share = years.share_by_month(years.ground)
    assert share[0] < 0.6 < share[6]
    assert min(years.share_by_month(years.open_air)) > max(share)


def test_a_leap_day_is_as_the_day_before() -> None:
    assert weather.day_of_block(dt.date(2028, 2, 29)) == weather.day_of_block(dt.date(2028, 2, 28))
    blocks = weather.blocks_of(dt.date(2027, 6, 29), 400)
    assert list(blocks.block[:4]) == [0, 0, 1, 1]
    assert list(blocks.day[:4]) == [363, 364, 0, 1]
    assert blocks.count == 3


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: weather.MonthRain(0, 0.5, 4, 1), "after a dry day"),
        (lambda: weather.MonthRain(0.3, 0.5, -4, 1), "mean rain"),
        (lambda: weather.draw_years(weather.STATED_MONTHS[:3], 4, 1), "Twelve months"),
        (lambda: weather.fit_months({dt.date(2020, 1, 1): 4.0}), "wet days"),
        (lambda: replace(weather.STATED_SOIL, drains_in_d=0), "drains_in_d"),
        (
            lambda: weather.wetness(np.array([-1.0]), np.zeros(1), weather.STATED_SOIL),
            "0 mm or more",
        ),
    ],
)
def test_what_cannot_be_is_refused_in_words(make, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        make()
