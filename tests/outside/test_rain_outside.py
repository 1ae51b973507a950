"""Rain and run-off against published examples and a reference library."""

from __future__ import annotations

import numpy as np
import pytest
from lmoments3 import distr, lmom_ratios
from scipy.stats import genextreme, gumbel_r

from worksprog.calc.rainfall import (
    Greenfield,
    curve_number_runoff_mm,
    held_back,
)
from worksprog.calc.rainfall.extremes import (
    confidence_band,
    fit_gev,
    fit_gumbel,
    l_moments,
    plotting_positions,
)

# Series 1: most rain of each year in 10 minutes, 1913-47, inches (from memory; its n, mean and
# standard deviation are those printed).
SERIES_1 = [
    0.49, 0.66, 0.36, 0.58, 0.41, 0.47, 0.74, 0.53, 0.76, 0.57, 0.80, 0.66, 0.68, 0.68, 0.61, 0.88,
    0.49, 0.33, 0.96, 0.94, 0.80, 0.62, 0.71, 1.11, 0.64, 0.52, 0.64, 0.34, 0.70, 0.57, 0.92, 0.66,
    0.65, 0.63, 0.60,
]  # fmt: skip
# Series 2: highest sea level of each year, 1923-87, m (first five values confirmed second-hand).
SERIES_2 = [
    4.03, 3.83, 3.65, 3.88, 4.01, 4.08, 4.18, 3.80, 4.36, 3.96, 3.98, 4.69, 3.85, 3.96, 3.85, 3.93,
    3.75, 3.63, 3.57, 4.25, 3.97, 4.05, 4.24, 4.22, 3.73, 4.37, 4.06, 3.71, 3.96, 4.06, 4.55, 3.79,
    3.89, 4.11, 3.85, 3.86, 3.86, 4.21, 4.01, 4.11, 4.24, 3.96, 4.21, 3.74, 3.85, 3.88, 3.66, 4.11,
    3.71, 4.18, 3.90, 3.78, 3.91, 3.72, 4.00, 3.66, 3.62, 4.33, 4.55, 3.75, 4.08, 3.90, 3.88, 3.94,
    4.33,
]  # fmt: skip
SERIES_3 = [2, 3, 4, 2.4, 5.5, 1.2, 5.4, 2.2, 7.1, 1.3, 1.5]
CHOW = "Chow, Maidment and Mays 1988, example 12.2.1 (M)"
COLES = "Coles 2001, example 3.4.1, by maximum likelihood (C2)"


@pytest.mark.parametrize(
    ("what", "got", "expected", "tolerance", "unit", "source"),
    [
        ("Curve number 70, 6.0 in of rain",
         lambda: float(curve_number_runoff_mm(6.0 * 25.4, 70)) / 25.4,
         2.81, 0.005, "in", "TR-55 example 2-1, storm C2, CN and answer (M)"),
        ("Curve number 80, 100 mm of rain", lambda: float(curve_number_runoff_mm(100, 80)),
         50.5, 0.001, "mm", "Q = (P - 0.2 S)²/(P + 0.8 S) (A)"),
        ("IH 124, 50 ha, SAAR 800, SOIL 0.45", lambda: Greenfield(50, 800, 0.45).qbar_m3s,
         0.256799, 1e-5, "m3/s", "IH Report 124, formula (C2)"),
        ("IH 124, 10 ha by share of 50 ha", lambda: Greenfield(10, 800, 0.45).qbar_m3s * 1000,
         51.36, 1e-3, "l/s", "rule below 50 ha, SuDS interim code chapter 6 (C2)"),
        ("IH 124, SAAR 650, SOIL 0.45", lambda: Greenfield(50, 650, 0.45).l_s_ha,
         4.028, 1e-3, "l/s/ha", "IH Report 124, formula (C2)"),
    ],
)  # fmt: skip
def test_run_off(outside, what, got, expected, tolerance, unit, source):
    outside(quantity=what, expected=expected, got=got(), tolerance=tolerance, relative=True,
            unit=unit, source=source)  # fmt: skip


@pytest.mark.parametrize(
    ("soil", "qbar"),
    [(0.15, 0.023672), (0.30, 0.106531), (0.40, 0.198881), (0.47, 0.282211), (0.50, 0.322766)],
)
def test_greenfield_by_soil(outside, soil, qbar):
    outside(
        quantity=f"IH 124, 50 ha, SAAR 800, SOIL {soil}",
        expected=qbar,
        got=Greenfield(50, 800, soil).qbar_m3s,
        tolerance=3e-5,
        relative=True,
        unit="m3/s",
        source="IH Report 124, formula evaluated apart (R)",
    )


def test_a_small_area_is_not_put_straight_into_ih_124():
    """0.1 km² straight into the formula gives 61.3 l/s; the rule gives 51.4."""
    assert Greenfield(10, 800, 0.45).qbar_m3s * 1000 < 52


def test_storage_by_duration(outside):
    held = held_back(
        lambda minutes: 1000 / (minutes + 20) ** 0.9,
        coefficient=0.35, area_ha=10, outflow_m3s=0.05,
    )  # fmt: skip
    source = "constructed case, brute force and minimiser agree (R)"
    outside(quantity="Storage by duration: volume", expected=501.56, got=held.volume_m3,
            tolerance=1e-3, relative=True, unit="m3", source=source)  # fmt: skip
    outside(quantity="Storage by duration: storm that asks most", expected=70.9,
            got=held.duration_min, tolerance=5e-3, relative=True, unit="min", source=source)  # fmt: skip
    assert not held.at_end


def test_gumbel_by_moments(outside):
    fit = fit_gumbel(SERIES_1, by="moments")
    for what, expected, got in (
        ("location", 0.569, fit.location),
        ("scale", 0.138, fit.scale),
        ("1 in 5", 0.78, fit.depth_at(5)),
        ("1 in 10", 0.88, fit.depth_at(10)),
        ("1 in 50", 1.11, fit.depth_at(50)),
    ):
        outside(quantity=f"Gumbel by moments, series 1: {what}", expected=expected, got=got,
                tolerance=0.005, unit="in", source=CHOW)  # fmt: skip


def test_gumbel_and_gev_by_l_moments(outside):
    gumbel, gev = fit_gumbel(SERIES_1), fit_gev(SERIES_1)
    theirs = distr.gum.lmom_fit(SERIES_1)
    assert gumbel.location == pytest.approx(theirs["loc"], abs=1e-9)
    assert gumbel.scale == pytest.approx(theirs["scale"], abs=1e-9)
    for what, expected, got in (
        ("Gumbel 1 in 100", 1.2262, gumbel.depth_at(100)),
        ("GEV location", 0.577298, gev.location),
        ("GEV scale", 0.163048, gev.scale),
        ("GEV k", 0.159797, gev.shape),
        ("GEV 1 in 100", 1.1084, gev.depth_at(100)),
    ):
        outside(quantity=f"L-moments, series 1: {what}", expected=expected, got=got,
                tolerance=1e-4, source="lmoments3 (R)")  # fmt: skip


def test_gev_of_the_library_s_own_sample(outside):
    fit, moments = fit_gev(SERIES_3), l_moments(SERIES_3)
    for what, expected, got in (
        ("k", -0.155561, fit.shape),
        ("location", 2.179288, fit.location),
        ("scale", 1.395640, fit.scale),
        ("l1", 3.236364, moments.l1),
        ("l2", 1.141818, moments.l2),
        ("t3", 0.273885, moments.t3),
    ):
        outside(quantity=f"GEV by L-moments, series 3: {what}", expected=expected, got=got,
                tolerance=1e-5, source="lmoments3's documentation (M)")  # fmt: skip


def test_gev_of_sea_levels(outside):
    """Two ways of fitting agree on 65 years to a few centimetres, and the sign of k is Hosking's."""
    fit = fit_gev(SERIES_2)
    outside(quantity="GEV, series 2: 1 in 10, L-moments against likelihood", expected=4.30,
            got=fit.depth_at(10), tolerance=0.02, unit="m", source=COLES)  # fmt: skip
    outside(quantity="GEV, series 2: 1 in 100, L-moments against likelihood", expected=4.69,
            got=fit.depth_at(100), tolerance=0.05, unit="m", source=COLES)  # fmt: skip
    outside(quantity="GEV, series 2: k, the minus of Coles' xi", expected=0.050,
            got=fit.shape, tolerance=0.06, source=COLES)  # fmt: skip


@pytest.mark.parametrize("values", [SERIES_1, SERIES_2, SERIES_3])
def test_l_moments_and_quantiles_are_the_libraries(values):
    ours = l_moments(values)
    l1, l2, t3, t4 = lmom_ratios(values, nmom=4)
    assert (ours.l1, ours.l2, ours.t3, ours.t4) == pytest.approx((l1, l2, t3, t4), abs=1e-10)
    gev, gumbel = fit_gev(values), fit_gumbel(values)
    for years in (2, 10, 100):
        keep = 1 - 1 / years
        assert gev.depth_at(years) == pytest.approx(
            genextreme.ppf(keep, gev.shape, gev.location, gev.scale), rel=1e-9
        )
        assert gumbel.depth_at(years) == pytest.approx(
            gumbel_r.ppf(keep, gumbel.location, gumbel.scale), rel=1e-9
        )


@pytest.mark.parametrize(
    ("years", "factor"), [(5, 0.7194), (10, 1.3046), (50, 2.5923), (100, 3.1367)]
)
def test_frequency_factors(outside, years, factor):
    """Gumbel by moments is mean + K s."""
    fit = fit_gumbel(SERIES_1, by="moments")
    got = (fit.depth_at(years) - np.mean(SERIES_1)) / np.std(SERIES_1, ddof=1)
    outside(quantity=f"Gumbel's frequency factor, 1 in {years}", expected=factor, got=float(got),
            tolerance=1e-4, source="K = -√6/π (0.5772 + ln ln(T/(T - 1))) (A)")  # fmt: skip


def test_the_band_is_about_what_asymptotics_say(outside):
    """Gumbel's 1 in 50: standard error 1.2 to 1.3 times that of maximum likelihood at most."""
    fit = fit_gumbel(SERIES_2)
    band = confidence_band(fit, [50.0])
    y = -np.log(-np.log(1 - 1 / 50))
    likelihood = fit.scale / np.sqrt(len(SERIES_2)) * np.sqrt(1.109 + 0.514 * y + 0.608 * y * y)
    got = (band.high_mm[0] - band.low_mm[0]) / (2 * 1.645)
    outside(quantity="Band of Gumbel's 1 in 50, 65 years: standard error", expected=float(likelihood),
            got=float(got), tolerance=0.25, relative=True, unit="m",
            source="asymptotic variance by likelihood, α²/n (1.109 + 0.514 y + 0.608 y²) (M)")  # fmt: skip


def test_gringorten(outside):
    last = plotting_positions(list(range(1, 36)))[-1]
    outside(quantity="Gringorten, greatest of 35 years: return period", expected=35.12 / 0.56,
            got=last[0], tolerance=1e-6, unit="years", source="(n + 0.12)/0.56 (A)")  # fmt: skip
