"""The rational method refuses what it does not hold for."""

from __future__ import annotations

import math

import pytest

from worksprog.calc.rainfall import WetSpell, rational_flow_m3s


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"runoff_coefficient": 0}, "share of the rain"),
        ({"runoff_coefficient": 45}, "share of the rain"),
        ({"intensity_mm_h": 0}, "millimetres an hour"),
        ({"intensity_mm_h": 1000}, "millimetres an hour"),
        ({"area_ha": -1}, "hectares"),
        ({"area_ha": math.inf}, "hectares"),
    ],
)
def test_it_refuses_in_words(change, words):
    usual = {"runoff_coefficient": 0.4, "intensity_mm_h": 20.0, "area_ha": 4.0}
    with pytest.raises(ValueError, match=words):
        rational_flow_m3s(**{**usual, **change})


def test_no_catchment_no_flow():
    assert rational_flow_m3s(runoff_coefficient=0.4, intensity_mm_h=20, area_ha=0) == 0


@pytest.mark.parametrize(
    "values", [(0, 4, 1, 0.1), (100, 0, 1, 0.1), (100, 4, -1, 0.1), (100, 4, 1, 0)]
)
def test_a_wet_spell_that_cannot_be_is_refused(values):
    with pytest.raises(ValueError, match=r"wet spell|hectares"):
        WetSpell(*values)


def test_the_working_of_a_wet_spell_ends_in_the_hours():
    spell = WetSpell(100, 4.5, 2.0, 0.1)
    assert spell.working().steps[-1].value == pytest.approx(2000 / 0.1 / 3600)
