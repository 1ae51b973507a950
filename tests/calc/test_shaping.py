"""Cut and fill between two grounds: what balances, what is refused, and how sure it is."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.affinity import rotate
from shapely.geometry import Polygon, box

from worksprog.calc import shaping
from worksprog.calc.ground import ground_from_grid


class Plane:
    """A tilted ground, known everywhere or only west of ``until``."""

    def __init__(self, east: float = 0.0, north: float = 0.0, until: float = 1e9) -> None:
        self.east, self.north, self.until = east, north, until

    def levels_at(self, x, y):
        x, y = np.asarray(x, float), np.asarray(y, float)
        return np.where(x <= self.until, 50 + self.east * x + self.north * y, np.nan)


TEE = box(0, 0, 20, 10)


@settings(max_examples=15, deadline=None)
@given(st.floats(-0.08, 0.08), st.floats(-0.08, 0.08), st.floats(0, 90))
def test_a_platform_at_the_mean_level_is_filled_from_its_own_cut(east, north, turn):
    outline = rotate(TEE, turn)
    moved = shaping.platform(
        outline=outline, ground=Plane(east, north), raised_m=0.0, side_slope=3.0
    )
    # On a plane the two halves mirror each other, sides and all.
    assert moved.fill_m3 == pytest.approx(moved.cut_m3, rel=0.02, abs=0.3)


def test_raising_a_platform_adds_fill_and_takes_cut_away():
    volumes = [
        shaping.platform(outline=TEE, ground=Plane(0.05), raised_m=raised, side_slope=3.0)
        for raised in (-0.3, 0.0, 0.3, 0.8)
    ]
    assert [one.fill_m3 for one in volumes] == sorted(one.fill_m3 for one in volumes)
    assert [one.cut_m3 for one in volumes] == sorted((o.cut_m3 for o in volumes), reverse=True)
    assert volumes[3].cut_m3 == pytest.approx(0.0, abs=0.1)
    for one in volumes:
        assert one.unsure_m3 < 0.03 * max(one.fill_m3, one.cut_m3)


def test_a_mound_too_narrow_for_its_slopes_stays_lower():
    wide = shaping.mound(outline=TEE, ground=Plane(), crest_m=1.0, side_slope=3.0)
    steep = shaping.mound(outline=TEE, ground=Plane(), crest_m=1.0, side_slope=2.0)
    high = shaping.mound(outline=TEE, ground=Plane(), crest_m=9.0, side_slope=3.0)
    # Above 5 m / 3 the sides have met: a hipped roof 20 by 10, W² (3 L - W) / 12 z in all.
    assert high.fill_m3 == pytest.approx(10**2 * (3 * 20 - 10) / (12 * 3), rel=0.005)
    assert wide.fill_m3 < steep.fill_m3 < 200
    assert wide.cut_m3 == 0


def test_between_two_surveys_what_rose_is_fill():
    x, y = np.arange(0, 41.0), np.arange(0, 41.0)
    level = 10 + 0.02 * x[None, :] + 0.01 * y[:, None]
    before = ground_from_grid(west=0, south=0, cell_m=1.0, levels=level)
    after = ground_from_grid(west=0, south=0, cell_m=1.0, levels=level + 0.4)
    outline = Polygon([(5, 5), (30, 8), (33, 30), (8, 25)])
    moved = shaping.between_grounds(outline=outline, before=before, after=after)
    assert moved.fill_m3 == pytest.approx(0.4 * outline.area)
    assert moved.cut_m3 == 0
    back = shaping.between_grounds(outline=outline, before=after, after=before)
    assert back.cut_m3 == pytest.approx(moved.fill_m3)
    assert back.net_fill_m3 == pytest.approx(-moved.fill_m3)


def test_unknown_ground_is_refused_not_guessed():
    with pytest.raises(ValueError, match=r"ground is known for 4\d% of the outline"):
        shaping.mound(outline=TEE, ground=Plane(until=9), crest_m=1.0, side_slope=3.0)
    nearly = shaping.mound(outline=TEE, ground=Plane(until=19), crest_m=1.0, side_slope=3.0)
    assert nearly.known == pytest.approx(0.95, abs=0.01)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"side_slope": 0.0}, "side slope must be more than 0"),
        ({"raised_m": 11.0}, "by 10 m at most"),
        ({"raised_m": float("nan")}, "by 10 m at most"),
        ({"cell_m": 0.0}, "wider than nothing"),
    ],
)
def test_what_no_platform_can_be(change, words):
    good = {"outline": TEE, "ground": Plane(), "raised_m": 0.2, "side_slope": 3.0}
    with pytest.raises(ValueError, match=words):
        shaping.platform(**{**good, **change})


def test_an_outline_without_an_area_is_refused():
    with pytest.raises(ValueError, match="has an area"):
        shaping.earth_moved(
            outline=Polygon(), before=Plane(), after=lambda x, y, ground: ground + 1
        )
