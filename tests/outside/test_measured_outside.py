"""Volumes along lines, between grounds and in stems against closed forms, scipy and print."""

from __future__ import annotations

from itertools import pairwise
from math import pi

import numpy as np
import pytest
from scipy.integrate import dblquad, quad
from shapely.geometry import Point, box

from worksprog.calc import along_line, earthworks, shaping, timber

FT, YD3 = 0.3048, 0.764554857984
CHAINAGE = (0.0, 18.0, 42.0, 60.0, 95.0)
DEPTH = (0.75, 1.30, 0.90, 1.85, 1.10)


class Tilted:
    """Ground that falls evenly east and north."""

    def __init__(self, east: float = 0.0, north: float = 0.0) -> None:
        self.east, self.north = east, north

    def levels_at(self, x, y):
        return 20 + self.east * np.asarray(x, float) + self.north * np.asarray(y, float)


def trapezoid(depth: float, bottom: float, slope: float) -> float:
    return (bottom + slope * depth) * depth


def test_ditch_over_stations_against_scipy(outside):
    along = along_line.depth_along(CHAINAGE, DEPTH)
    expected = sum(
        quad(lambda x: trapezoid(float(np.interp(x, CHAINAGE, DEPTH)), 0.5, 1.5), a, b)[0]
        for a, b in pairwise(CHAINAGE)
    )
    outside(
        quantity="Ditch over five stations, by the sums of depth",
        expected=expected,
        got=along_line.trapezoid_volume_m3(along, bottom_m=0.5, side_slope=1.5),
        tolerance=1e-9,
        relative=True,
        unit="m³",
        source="scipy.integrate.quad over each interval (R)",
    )
    outside(
        quantity="Ditch over five stations, prismoidal rule",
        expected=expected,
        got=along_line.volume_by_prismoids_m3(
            CHAINAGE, DEPTH, lambda depth: trapezoid(depth, 0.5, 1.5)
        ),
        tolerance=1e-9,
        relative=True,
        unit="m³",
        source="scipy.integrate.quad over each interval (R)",
    )
    areas = [trapezoid(depth, 0.5, 1.5) for depth in DEPTH]
    outside(
        quantity="Ditch over five stations, average end areas",
        expected=float(np.trapezoid(areas, CHAINAGE)),
        got=along_line.volume_by_end_areas_m3(CHAINAGE, areas),
        tolerance=1e-9,
        relative=True,
        unit="m³",
        source="numpy.trapezoid of the sections (R)",
    )


def test_end_areas_against_prismoidal_for_a_wedge_and_a_pyramid(outside):
    """A section that runs out: a wedge is halved by both rules, a pyramid only by the prismoidal."""
    wedge = along_line.volume_by_prismoids_m3([0, 30], [0.0, 1.2], lambda d: 0.6 * d)
    outside(
        quantity="Wedge 30 m long, 0.6 m wide, 0 to 1.2 m deep",
        expected=0.6 * 1.2 * 30 / 2,
        got=wedge,
        tolerance=1e-9,
        unit="m³",
        source="half of the prism (A)",
    )
    pyramid = along_line.volume_by_prismoids_m3([0, 30], [0.0, 1.2], lambda d: d**2)
    outside(
        quantity="Pyramid 30 m long on a base of 1.2 by 1.2 m",
        expected=1.2**2 * 30 / 3,
        got=pyramid,
        tolerance=1e-9,
        unit="m³",
        source="a third of the prism (A)",
    )
    outside(
        quantity="The same by average end areas: half as much again",
        expected=1.5 * pyramid,
        got=along_line.volume_by_end_areas_m3([0, 30], [0.0, 1.2**2]),
        tolerance=1e-9,
        unit="m³",
        source="text books of surveying: end areas of a pyramid are 50 % too large (A)",
    )


def test_a_trench_from_its_ends_in_feet(outside):
    along = along_line.depth_along([0, 100 * FT], [4 * FT, 6 * FT])
    got = along_line.trapezoid_volume_m3(along, bottom_m=2 * FT, side_slope=0.0) / YD3
    outside(
        quantity="Trench 2 ft wide, 100 ft at 4 ft deep falling 2 %: mean depth 5 ft",
        expected=1000 / 27,
        got=got,
        tolerance=1e-9,
        relative=True,
        unit="yd³",
        source="width x mean depth x length / 27, as contractors' guides have it (C2)",
    )


def test_trench_width_by_the_standard(outside):
    for bore, outside_m, depth, expected, words in (
        (150, 0.172, 0.8, 0.572, "bore to 225: outside + 0.40 m (C2)"),
        (300, 0.345, 0.8, 0.845, "bore 225 to 350: outside + 0.50 m (C2)"),
        (450, 0.520, 0.8, 1.220, "bore 350 to 700: outside + 0.70 m (M)"),
        (100, 0.110, 1.2, 0.800, "1.00 to 1.75 m deep: at least 0.80 m (M)"),
        (100, 0.110, 2.5, 0.900, "1.75 to 4.00 m deep: at least 0.90 m (M)"),
    ):
        outside(
            quantity=f"Least trench width, bore {bore} mm, {depth:g} m deep",
            expected=expected,
            got=along_line.trench_width_m(bore_mm=bore, outside_m=outside_m, depth_m=depth),
            tolerance=1e-9,
            unit="m",
            source=f"EN 1610 tables 1 and 2, {words}",
        )


def test_platform_on_level_ground(outside):
    """On level ground the sides are a prism along each edge and a quarter of a cone at a corner."""
    length, width, raised, slope = 20.0, 10.0, 1.0, 3.0
    moved = shaping.platform(
        outline=box(0, 0, length, width), ground=Tilted(), raised_m=raised, side_slope=slope
    )
    outside(
        quantity="Platform 20 x 10 m raised 1 m, sides 3:1: fill",
        expected=length * width * raised
        + (length + width) * slope * raised**2
        + pi / 3 * slope**2 * raised**3,
        got=moved.fill_m3,
        tolerance=5e-3,
        relative=True,
        unit="m³",
        source="prism, edge prisms and four quarter cones (A)",
    )


def test_platform_on_a_slope_against_scipy(outside):
    """East and west ends only differ: a strip wide enough that its sides are edge prisms."""
    east, slope, length, width = 0.06, 3.0, 18.0, 9.0
    moved = shaping.platform(
        outline=box(0, 0, length, width), ground=Tilted(east), raised_m=0.0, side_slope=slope
    )
    level = 20 + east * length / 2

    def rise(y, x):
        away_x, away_y = max(-x, x - length, 0.0), max(-y, y - width, 0.0)
        away = (away_x**2 + away_y**2) ** 0.5 / slope
        ground = 20 + east * x
        return max(level - away - ground, 0.0)

    reach = slope * east * length
    expected, _ = dblquad(rise, -reach, length / 2, -reach, width + reach, epsabs=1e-3, epsrel=1e-4)
    outside(
        quantity="Level platform 18 x 9 m on ground falling 6 %: fill",
        expected=expected,
        got=moved.fill_m3,
        tolerance=1e-2,
        relative=True,
        unit="m³",
        source="scipy.integrate.dblquad of platform less ground (R)",
    )


def test_mound_against_a_cone_and_its_frustum(outside):
    circle = Point(0, 0).buffer(12.0, quad_segs=64)
    cone = shaping.mound(outline=circle, ground=Tilted(), crest_m=9.0, side_slope=4.0)
    outside(
        quantity="Mound, cone of 12 m radius, sides 4:1",
        expected=pi * 12**2 * 3 / 3,
        got=cone.fill_m3,
        tolerance=5e-3,
        relative=True,
        unit="m³",
        source="cone, π r² h / 3 (A); the outline has 256 corners",
    )
    frustum = shaping.mound(outline=circle, ground=Tilted(), crest_m=1.5, side_slope=4.0)
    outside(
        quantity="The same cut off level at 1.5 m",
        expected=pi * 1.5 / 3 * (12**2 + 12 * 6 + 6**2),
        got=frustum.fill_m3,
        tolerance=5e-3,
        relative=True,
        unit="m³",
        source="frustum of a cone, π h (R² + R r + r²) / 3 (A)",
    )


def test_dug_pond_against_the_prismoidal_rule(outside):
    """The pond's own formula and a platform sunk into the ground, whose sides differ at corners."""
    depth, slope = 1.5, 3.0
    sunk = shaping.platform(
        outline=box(0, 0, 20, 10), ground=Tilted(), raised_m=-depth, side_slope=slope
    )
    corners = (4 - pi) / 3 * slope**2 * depth**3
    outside(
        quantity="Pond 20 x 10 m, 1.5 m deep, 3:1, less its rounded corners",
        expected=543.0 - corners,
        got=sunk.cut_m3,
        tolerance=5e-3,
        relative=True,
        unit="m³",
        source="E3, exact (A), less four corners of pyramids against quarter cones",
    )
    assert earthworks.pond_volume_m3(
        bottom_length_m=20, bottom_width_m=10, depth_m=1.5, side_slope=3
    ) == pytest.approx(543.0)


def test_standing_stem_as_a_cone(outside):
    outside(
        quantity="Stem 42.6 cm at breast height, 22.7 m high, as a cone",
        expected=1.08,
        got=timber.stem_m3(breast_height_diameter_m=0.426, height_m=22.7, form_factor=1 / 3),
        tolerance=5e-3,
        unit="m³",
        source="Farm Forest Line, standing tree volume: (42.6/200)² x 3.142 x 22.7 / 3 (C)",
    )
    outside(
        quantity="Log by its mid diameter, 0.25 π D² L, D 0.24 m, L 3 m",
        expected=0.25 * pi * 0.24**2 * 3,
        got=timber.huber_m3(length_m=3, middle_diameter_m=0.24),
        tolerance=1e-9,
        unit="m³",
        source="COFORD Connects, Harvesting/Transportation 21, 2010 (formula C)",
    )
