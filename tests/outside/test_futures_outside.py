"""Futures and weather against closed forms and scipy."""

from __future__ import annotations

import datetime as dt
from math import exp

import numpy as np
import pytest
from scipy import stats

from tests.calc.test_futures import fine, given, work
from worksprog.calc import weather
from worksprog.calc.futures import follow_futures
from worksprog.calc.ranges import ThreePoint
from worksprog.calc.solver import Link

CHAIN = (
    ThreePoint(2, 5, 12),
    ThreePoint(3, 4, 9),
    ThreePoint(6, 10, 20),
    ThreePoint(1, 2, 4),
    ThreePoint(4, 9, 16),
)


def whole_days(point: ThreePoint) -> np.ndarray:
    """Chance of 0, 1, 2 … days: a beta-PERT amount of days, each begun day counted whole."""
    width = point.high - point.low
    law = stats.beta(
        1 + 4 * (point.likely - point.low) / width,
        1 + 4 * (point.high - point.likely) / width,
        loc=point.low,
        scale=width,
    )
    return np.diff(law.cdf(np.arange(-1, int(point.high) + 1)))


def test_a_chain_of_jobs_ends_as_the_convolution_of_their_laws(outside) -> None:
    law = np.array([1.0])
    for point in CHAIN:
        law = np.convolve(law, whole_days(point))
    together = np.cumsum(law)
    works = [work(key, point, a_day=1.0, needs_crew=False) for key, point in enumerate(CHAIN)]
    links = tuple(Link(key - 1, key) for key in range(1, len(CHAIN)))
    told = follow_futures(given(*works, links=links, together=0.0), seed=11, futures=40_000).whole
    for percent in (10, 50, 80, 95):
        day = told.within(percent)
        assert day is not None
        # The chance that the exact law gives to the day told straddles the per cent asked for.
        below, within = together[day], together[day + 1]
        outside(
            quantity=f"chain of five jobs: exact chance of the day told as P{percent}",
            expected=percent / 100,
            got=float(np.clip(percent / 100, below, within)),
            tolerance=0.008,
            relative=False,
            unit="",
            source="convolution of scipy.stats.beta in whole days (closed form)",
        )


def test_days_until_enough_of_them_were_dry_are_negative_binomial(outside) -> None:
    chance = np.random.default_rng(17)
    ground = chance.random((4000, 365)) < 0.6
    told = follow_futures(
        given(
            work(1, 20.0, a_day=1.0, needs_crew=False, waits_for_ground=True),
            weather=fine(ground),
        ),
        seed=2,
        futures=40_000,
    )
    law = stats.nbinom(20, 0.6)
    outside(
        quantity="wet days before the 20th dry day, mean",
        expected=float(law.mean()),
        got=told.works[1].lost_days,
        tolerance=0.02,
        relative=True,
        unit="d",
        source="negative binomial, scipy.stats.nbinom (closed form)",
    )
    day = told.works[1].within(80)
    assert day is not None
    assert law.cdf(day - 19 - 1) < 0.81 and law.cdf(day - 19) > 0.79


@pytest.fixture(scope="module")
def made() -> np.ndarray:
    return weather.draw_years(weather.STATED_MONTHS, 4000, 23)


@pytest.mark.parametrize("number", [1, 7, 11])
def test_the_generator_rains_by_its_own_stated_figures(outside, made, number: int) -> None:
    month = weather.STATED_MONTHS[number - 1]
    days = np.array(
        [(dt.date(2025, 7, 1) + dt.timedelta(days=n)).month == number for n in range(365)]
    )
    # From the tenth day of a month the chain has forgotten the month before.
    rain = made[:, days][:, 10:]
    wet = rain > 0
    told = [
        ("share of wet days", month.wet_share, wet.mean(), 0.01, ""),
        ("wet after wet", month.wet_after_wet, wet[:, 1:][wet[:, :-1]].mean(), 0.01, ""),
        ("wet after dry", month.wet_after_dry, wet[:, 1:][~wet[:, :-1]].mean(), 0.01, ""),
        ("rain of a wet day, mean", month.mean_mm, rain[wet].mean(), 0.03, "mm"),
        ("rain of a wet day, sd", month.wet_sd_mm, rain[wet].std(), 0.05, "mm"),
    ]
    for words, expected, got, tolerance, unit in told:
        outside(
            quantity=f"made rain, month {number}: {words}",
            expected=expected,
            got=float(got),
            tolerance=tolerance,
            relative=unit == "mm",
            unit=unit,
            source="two-state Markov chain and gamma law (closed form)",
        )
    law = stats.gamma(month.shape, scale=month.mean_mm / month.shape)
    assert stats.kstest(rain[wet][:4000], law.cdf).pvalue > 0.001


def test_a_month_fitted_by_thoms_estimate_is_near_the_likeliest(outside) -> None:
    rain = weather.draw_years(weather.STATED_MONTHS, 30, 5)
    record = {
        dt.date(1990 + row, 7, 1) + dt.timedelta(days=day): float(rain[row, day])
        for row in range(30)
        for day in range(365)
    }
    fitted = weather.fit_months(record)[10]
    november = [mm for day, mm in record.items() if day.month == 11 and mm >= 0.2]
    shape, _, scale = stats.gamma.fit(november, floc=0)
    outside(
        quantity="shape of November's rain, Thom against the likeliest",
        expected=float(shape),
        got=fitted.shape,
        tolerance=0.02,
        relative=True,
        unit="",
        source="scipy.stats.gamma.fit (maximum likelihood)",
    )
    outside(
        quantity="mean of November's wet days",
        expected=float(shape * scale),
        got=fitted.mean_mm,
        tolerance=0.001,
        relative=True,
        unit="mm",
        source="scipy.stats.gamma.fit (maximum likelihood)",
    )


def test_ground_drains_by_the_exponential_law(outside) -> None:
    rain = np.zeros(9)
    water = weather.wetness(rain, rain, weather.STATED_SOIL, first_mm=18.0)
    outside(
        quantity="water over field capacity, eight days after 18 mm",
        expected=18 * exp(-8 / weather.STATED_SOIL.drains_in_d),
        got=float(water[7]),
        tolerance=1e-9,
        relative=True,
        unit="mm",
        source="linear store w₀ e^(-t/T) (closed form)",
    )
