"""The ground against surfaces whose levels are known everywhere."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from worksprog.calc import ground as g

E0, N0 = 451000.0, 213000.0


def plane(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    return 60 + 0.03 * (np.asarray(x) - E0) + 0.04 * (np.asarray(y) - N0)


def scattered(n: int = 400, seed: int = 5, size: float = 200) -> np.ndarray:
    rng = np.random.default_rng(seed)
    side = np.linspace(0, size, 21)
    rim = [(x, y) for x in side for y in side if x in (0, size) or y in (0, size)]
    xy = np.vstack([rim, rng.uniform(0, size, (n, 2))]) + np.array([E0, N0])
    xy = np.round(xy, 3)
    return np.column_stack([xy, plane(xy[:, 0], xy[:, 1])])


def gridded(rows: int = 51, columns: int = 41, cell: float = 5) -> g.GriddedGround:
    x, y = np.meshgrid(E0 + np.arange(columns) * cell, N0 + np.arange(rows) * cell)
    return g.ground_from_grid(west=E0, south=N0, cell_m=cell, levels=plane(x, y))


@pytest.fixture(params=["triangles", "grid"])
def sloping(request: pytest.FixtureRequest) -> g.Ground:
    return g.ground_from_spot_heights(scattered()) if request.param == "triangles" else gridded()


def test_levels_on_a_plane_are_the_plane(sloping: g.Ground) -> None:
    rng = np.random.default_rng(1)
    x, y = E0 + rng.uniform(1, 199, 500), N0 + rng.uniform(1, 199, 500)
    assert np.allclose(sloping.levels_at(x, y), plane(x, y), rtol=0, atol=1.5e-3)


def test_outside_the_survey_no_level_is_guessed(sloping: g.Ground) -> None:
    assert g.level_at(sloping, E0 - 5, N0 + 20) is None
    assert g.level_at(sloping, math.nan, N0) is None
    assert g.level_at(sloping, E0 + 20, N0 + 20) == pytest.approx(60 + 0.6 + 0.8, abs=2e-3)


def test_a_spot_height_keeps_its_level() -> None:
    rng = np.random.default_rng(3)
    points = np.round(np.column_stack([rng.uniform(0, 300, (800, 2)), rng.uniform(50, 70, 800)]), 3)
    ground = g.ground_from_spot_heights(points)
    assert np.allclose(ground.levels_at(points[:, 0], points[:, 1]), points[:, 2], atol=1e-6)


def test_walk_agrees_with_scipy_interpolation() -> None:
    from scipy.interpolate import LinearNDInterpolator

    rng = np.random.default_rng(8)
    points = np.round(np.column_stack([rng.uniform(0, 300, (900, 2)), rng.uniform(50, 70, 900)]), 3)
    ground = g.ground_from_spot_heights(points, longest_edge_m=1e9)
    x, y = rng.uniform(-10, 310, 4000), rng.uniform(-10, 310, 4000)
    expected = LinearNDInterpolator(points[:, :2], points[:, 2])(x, y)
    got = ground.levels_at(x, y)
    assert (np.isnan(expected) == np.isnan(got)).all()
    seen = ~np.isnan(got)
    assert np.allclose(got[seen], expected[seen], rtol=0, atol=1e-6)


def test_a_square_grid_of_spots_is_found_everywhere() -> None:
    x, y = np.meshgrid(np.arange(30.0) * 10, np.arange(30.0) * 10)
    ground = g.ground_from_spot_heights(np.column_stack([x.ravel(), y.ravel(), x.ravel() * 0.02]))
    at_x, at_y = np.meshgrid(np.arange(0, 290.1, 2.5), np.arange(0, 290.1, 2.5))
    assert np.allclose(ground.levels_at(at_x, at_y), at_x.ravel() * 0.02, atol=1e-6)


def test_a_bay_in_the_outline_is_not_ground_but_a_pond_inside_is_bridged() -> None:
    x, y = np.meshgrid(np.arange(0, 301.0, 10), np.arange(0, 301.0, 10))
    bay = (x > 100) & (x < 200) & (y > 150)
    pond = np.hypot(x - 150, y - 75) < 40
    keep = ~(bay | pond)
    ground = g.ground_from_spot_heights(
        np.column_stack([x[keep], y[keep], np.full(keep.sum(), 61.0)]), longest_edge_m=50
    )
    assert g.level_at(ground, 150, 250) is None
    assert g.level_at(ground, 150, 75) == pytest.approx(61)
    assert g.level_at(ground, 50, 250) == pytest.approx(61)


def test_points_at_one_place_count_once_with_their_mean() -> None:
    points = np.vstack([scattered(), [[E0 + 50.0, N0 + 50.0, 70.0], [E0 + 50.0, N0 + 50.0, 71.0]]])
    ground = g.ground_from_spot_heights(points)
    assert ground.count == len(points) - 1
    assert g.level_at(ground, E0 + 50, N0 + 50) == pytest.approx(70.5)


@pytest.mark.parametrize(
    ("points", "words"),
    [
        ([[0, 0, 1], [1, 1, 1]], "three places"),
        ([[0, 0, 1], [1, 1, 1], [2, 2, 1]], "one line"),
        ([[0, 0, 1], [1, 1, math.nan], [2, 0, 1]], "not a number"),
        ([[0, 0], [1, 1], [2, 0]], "a level each"),
    ],
)
def test_what_makes_no_ground_is_told(points: list[list[float]], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        g.ground_from_spot_heights(points)


def test_spots_too_far_apart_for_the_limit_are_told() -> None:
    with pytest.raises(ValueError, match="more than 5 m apart"):
        g.ground_from_spot_heights([[0, 0, 1], [50, 0, 1], [0, 50, 1]], longest_edge_m=5)


@pytest.mark.parametrize(
    ("levels", "cell", "words"),
    [
        ([[1.0, 2.0]], 1.0, "two rows"),
        ([[1.0, 2.0], [1.0, 2.0]], 0.0, "longer than nothing"),
        ([[math.nan] * 2] * 2, 1.0, "no level"),
    ],
)
def test_what_makes_no_grid_is_told(levels: list[list[float]], cell: float, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        g.ground_from_grid(west=0, south=0, cell_m=cell, levels=levels)


def test_fall_along_a_line_on_a_plane(sloping: g.Ground) -> None:
    line = shapely.LineString([(E0 + 110, N0 + 130), (E0 + 50, N0 + 50)])
    profile = g.profile_along(sloping, line, step_m=2)
    fall = g.fall_of(profile)
    assert fall.length_m == pytest.approx(100)
    assert fall.fall_m == pytest.approx(0.03 * 60 + 0.04 * 80, abs=2e-3)
    assert fall.gradient == pytest.approx(0.05, abs=2e-5)
    assert fall.one_in() == pytest.approx(20, abs=0.01)
    assert fall.rises_m == pytest.approx(0, abs=1)
    assert fall.unknown_m == 0
    assert np.diff(profile.chainage_m).max() <= 2 + 1e-9
    uphill = g.fall_of(g.profile_along(sloping, shapely.reverse(line)))
    assert uphill.fall_m == pytest.approx(-5.0, abs=2e-3)


def test_a_ridge_on_the_way_is_told() -> None:
    x, _ = np.meshgrid(np.arange(0, 101.0, 1), np.arange(0, 11.0, 1))
    ridge = 60 - 0.01 * x + np.where(x <= 20, 0.05 * x, 1.0 - 0.02 * (x - 20))
    ground = g.ground_from_grid(west=0, south=0, cell_m=1, levels=ridge)
    fall = g.fall_of(g.profile_along(ground, shapely.LineString([(0, 5), (100, 5)])))
    assert fall.fall_m == pytest.approx(1.6)
    assert fall.rises_m == pytest.approx(20)
    working = g.fall_working(fall, method="a grid")
    assert working.steps[-1].printed() == "0.016"
    assert "20 m of the line go against the fall." in working.notes


def test_a_line_that_leaves_the_ground_says_how_much_is_unknown(sloping: g.Ground) -> None:
    line = shapely.LineString([(E0 + 150, N0 + 100), (E0 + 250, N0 + 100)])
    fall = g.fall_of(g.profile_along(sloping, line))
    assert fall.end_level_m is None
    assert fall.fall_m is None
    assert fall.one_in() is None
    assert fall.unknown_m == pytest.approx(50, abs=1.5)
    working = g.fall_working(fall, method="spots")
    assert working.steps[-1].printed() == "not known"
    assert "outside the surveyed ground" in working.notes[0]


@pytest.mark.parametrize(
    ("line", "step", "words"),
    [
        ([(0, 0), (0, 0)], 1, "no length"),
        ([(0, 0), (1, 0)], 0, "step"),
        ([(0, 0), (math.inf, 0)], 1, "two ends"),
    ],
)
def test_lines_that_are_none_are_told(
    sloping: g.Ground, line: list[tuple[float, float]], step: float, words: str
) -> None:
    with pytest.raises(ValueError, match=words):
        g.profile_along(sloping, shapely.LineString(line), step_m=step)


def test_contours_lie_at_their_level(sloping: g.Ground) -> None:
    drawn = g.contours(g.as_grid(sloping), step_m=1)
    levels = [c.level_m for c in drawn]
    assert levels == sorted(levels)
    assert set(levels) >= set(range(61, 74))
    for contour in drawn:
        at = shapely.get_coordinates(contour.line)
        assert np.allclose(plane(at[:, 0], at[:, 1]), contour.level_m, atol=0.02)


@pytest.mark.parametrize(("step", "words"), [(0, "more than nothing"), (0.001, "larger")])
def test_a_step_without_sense_is_told(step: float, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        g.contours(gridded(), step_m=step)


def test_raster_of_triangles_is_the_plane_and_has_no_more_than_its_cells() -> None:
    raster = g.as_grid(g.ground_from_spot_heights(scattered()), cell_m=2)
    x, y = np.meshgrid(
        raster.west + np.arange(raster.levels.shape[1]) * 2,
        raster.south + np.arange(raster.levels.shape[0]) * 2,
    )
    assert np.allclose(raster.levels, plane(x, y), atol=2e-3)
    with pytest.raises(ValueError, match="too fine"):
        g.as_grid(gridded(), cell_m=0.05)


def test_level_ground_is_lit_by_the_sine_and_a_slope_to_the_light_is_brighter() -> None:
    flat = g.ground_from_grid(west=0, south=0, cell_m=1, levels=np.full((5, 5), 60.0))
    assert np.allclose(g.hillshade(flat), math.sin(math.radians(45)))
    x, y = np.meshgrid(np.arange(5.0), np.arange(5.0))
    north_west = g.ground_from_grid(west=0, south=0, cell_m=1, levels=(x - y) * 0.1)
    south_east = g.ground_from_grid(west=0, south=0, cell_m=1, levels=(y - x) * 0.1)
    assert g.hillshade(north_west)[2, 2] > math.sin(math.radians(45))
    assert g.hillshade(south_east)[2, 2] < math.sin(math.radians(45))


def test_slopes_of_a_plane_are_its_own_inside() -> None:
    east, north = g.slopes(gridded())
    assert np.allclose(east[1:-1, 1:-1], 0.03)
    assert np.allclose(north[1:-1, 1:-1], 0.04)


def test_shading_lies_where_the_ground_lies() -> None:
    picture, ((south, west), (north, east)) = g.shading_for_map(gridded(), 27700)
    assert west < east
    assert south < north
    assert -1.28 < west < -1.25
    assert 51.8 < south < 51.82
    seen = np.isfinite(picture)
    assert 0.8 < seen.mean() < 1
    assert picture[seen].min() >= 0
    assert picture[seen].max() <= 1


def test_kept_and_read_again(sloping: g.Ground) -> None:
    data = g.dump_ground(sloping)
    again = g.load_ground(data)
    x, y = np.array([E0 + 33.3, E0 + 150]), np.array([N0 + 71.7, N0 + 12])
    assert np.allclose(again.levels_at(x, y), sloping.levels_at(x, y), atol=1e-4)
    assert again.bounds == pytest.approx(sloping.bounds)
    assert again.count == sloping.count


@pytest.mark.parametrize("data", [b"", b"PK\x03\x04 not really", b"\x80\x04K\x01."])
def test_anything_else_is_no_ground(data: bytes) -> None:
    with pytest.raises(ValueError, match="not a ground model"):
        g.load_ground(data)
