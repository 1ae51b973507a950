"""Where things are at Ashlode Vale: eighteen holes in two loops, what drains them, and what is planned."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from shapely import affinity
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from worksprog.demo.ground import (
    EAST,
    HEIGHT_M,
    NORTH,
    SEED,
    WIDTH_M,
    brook_bed,
    brook_north,
    level,
)

BROOK, HILL = "brook loop", "hill loop"

# number, par, loop, the line of play from tee to green in local metres
HOLES: tuple[tuple[int, int, str, tuple[tuple[float, float], ...]], ...] = (
    (1, 4, BROOK, ((292, 312), (450, 300), (612, 309))),
    (2, 3, BROOK, ((648, 304), (812, 306))),
    (3, 4, BROOK, ((862, 302), (874, 180), (764, 66))),
    (4, 4, BROOK, ((722, 46), (560, 57), (398, 48))),
    (5, 4, BROOK, ((364, 58), (205, 46), (62, 60))),
    (6, 3, BROOK, ((38, 90), (58, 222))),
    (7, 4, BROOK, ((98, 176), (262, 168), (424, 176))),
    (8, 4, BROOK, ((462, 182), (640, 174), (806, 188))),
    (9, 5, BROOK, ((800, 240), (545, 233), (304, 254))),
    (10, 4, HILL, ((292, 370), (452, 361), (612, 369))),
    (11, 3, HILL, ((650, 364), (812, 372))),
    (12, 4, HILL, ((852, 424), (682, 419), (502, 430))),
    (13, 4, HILL, ((466, 424), (302, 418), (122, 432))),
    (14, 3, HILL, ((72, 448), (82, 588))),
    (15, 5, HILL, ((116, 602), (352, 590), (602, 600))),
    (16, 3, HILL, ((640, 598), (800, 588))),
    (17, 4, HILL, ((850, 556), (700, 538), (532, 546))),
    (18, 4, HILL, ((490, 538), (322, 532), (176, 486))),
)


@dataclass(frozen=True)
class Thing:
    """One feature as the surveyor or the designer delivers it, on the club's grid."""

    kind: str
    ref: str
    shape: BaseGeometry
    name: str = ""
    state: str = "existing"
    holes: tuple[int, ...] = ()
    facts: dict[str, Any] = field(default_factory=dict)


def on_grid(shape: BaseGeometry) -> BaseGeometry:
    return affinity.translate(shape, EAST, NORTH)


def _line(*points: tuple[float, float]) -> BaseGeometry:
    return on_grid(LineString(points))


def _blob(x: float, y: float, rx: float, ry: float, turn: float, seed: int) -> BaseGeometry:
    """A rounded, slightly irregular outline."""
    rng = np.random.default_rng(SEED + seed)
    angle = np.linspace(0, 2 * np.pi, 29)[:-1]
    wobble = (
        1
        + 0.09 * np.sin(2 * angle + rng.uniform(0, 6))
        + 0.06 * np.sin(3 * angle + rng.uniform(0, 6))
    )
    ring = Polygon(np.column_stack([rx * wobble * np.cos(angle), ry * wobble * np.sin(angle)]))
    turned = affinity.rotate(ring, turn, origin=(0, 0), use_radians=True)
    return on_grid(affinity.translate(turned, x, y))


def hole_length_m(number: int) -> int:
    return round(LineString(HOLES[number - 1][3]).length)


def course_things() -> list[Thing]:
    """Greens, tees, fairways, bunkers, paths, woods and trees as they stand."""
    things: list[Thing] = []
    for number, par, _, points in HOLES:
        line = LineString(points)
        (tx, ty), (gx, gy) = points[0], points[-1]
        ahead = np.arctan2(points[1][1] - ty, points[1][0] - tx)
        home = np.arctan2(gy - points[-2][1], gx - points[-2][0])
        things.append(
            Thing("green", f"G{number}", _blob(gx, gy, 14, 11.5, home, number), holes=(number,))
        )
        tee = affinity.rotate(
            Polygon([(-9, -4), (9, -4), (9, 4), (-9, 4)]), ahead, origin=(0, 0), use_radians=True
        )
        things.append(
            Thing("tee", f"T{number}", on_grid(affinity.translate(tee, tx, ty)), holes=(number,))
        )
        if par > 3:
            start, end = 95.0, line.length - 24
            middle = [line.interpolate(d) for d in np.linspace(start, end, 12)]
            smooth = LineString([(p.x, p.y) for p in middle])
            width = 14 + 2.5 * np.sin(number)
            things.append(
                Thing(
                    "fairway",
                    f"F{number}",
                    on_grid(smooth.buffer(width, quad_segs=6).simplify(0.4)),
                    holes=(number,),
                )
            )
        for k, (side, back) in enumerate(
            ((1, 16.0), (-1, 20.0), (1, 150.0))[: 2 if par == 3 else 3]
        ):
            at = line.interpolate(line.length - back)
            off = 20 if back < 30 else 19
            bx, by = at.x - np.sin(home) * off * side, at.y + np.cos(home) * off * side
            things.append(
                Thing(
                    "bunker",
                    f"B{number}.{k + 1}",
                    _blob(bx, by, 6.5 + (number % 3), 3.6, home, 100 + number * 4 + k),
                    holes=(number,),
                )
            )
    things += _woods_and_trees()
    things += [
        Thing(
            "path",
            "W1",
            _line((255, 338), (286, 322), (276, 312)),
            "Clubhouse to 1 tee",
            holes=(1,),
        ),
        Thing(
            "path",
            "W2",
            _line((612, 292), (640, 290), (652, 296)),
            "1 green to 2 tee",
            holes=(1, 2),
        ),
        Thing(
            "path",
            "W3",
            _line((300, 268), (268, 292), (255, 332)),
            "9 green to clubhouse",
            holes=(9,),
        ),
        Thing(
            "bridge", "BR1", _line((874, 128.5), (873, 120.5)), "Sleeper bridge on 3", holes=(3,)
        ),
        Thing("bridge", "BR2", _line((44, 132), (45, 124)), "Sleeper bridge on 6", holes=(6,)),
        Thing(
            "pond",
            "PD1",
            _blob(842, 398, 15, 11, 1.2, 601),
            "Pond below 12 tee",
            holes=(11, 12),
        ),
        Thing(
            "service",
            "SV1",
            _line((240, 335), (420, 276), (560, 262), (770, 268)),
            "Irrigation main, from an old drawing",
            facts={"source": "record", "accuracy_m": 2},
        ),
        Thing(
            "boundary",
            "",
            on_grid(Polygon([(0, 0), (WIDTH_M, 0), (WIDTH_M, HEIGHT_M), (0, HEIGHT_M)])),
            "Club boundary",
        ),
    ]
    return things


_WOODS = (
    # ref, centre, half-axes, stems, their mean diameter (cm) and height (m), holes beside it, name
    ("WD1", (560, 88), (70, 11), 118, (24, 15), (4, 8), "Copse behind 4"),
    ("WD2", (182, 86), (62, 10), 96, (21, 14), (5, 7), "Copse between 5 and 7"),
    ("WD3", (20, 165), (9, 42), 46, (20, 13), (6,), "Copse behind 6"),
    ("WD4", (700, 335), (88, 9), 140, (26, 16), (2, 11), "Belt between 2 and 11"),
    ("WD5", (380, 394), (92, 9), 132, (25, 15), (10, 13), "Belt between 10 and 13"),
    ("WD6", (676, 480), (110, 14), 210, (34, 17), (12, 17), "Oak belt on 12"),
    ("WD7", (250, 560), (105, 9), 150, (23, 15), (15, 18), "Belt between 15 and 18"),
)


def _woods_and_trees() -> list[Thing]:
    rng = np.random.default_rng(SEED + 7)
    things = [
        Thing(
            "wood",
            ref,
            _blob(*centre, *axes, 0.0, 300 + k),
            name,
            holes=holes,
            facts={"stems": stems, "diameter_cm": size[0], "height_m": size[1]},
        )
        for k, (ref, centre, axes, stems, size, holes, name) in enumerate(_WOODS)
    ]
    girths = np.random.default_rng(SEED + 8)
    lines = [LineString(points).buffer(24) for *_, points in HOLES]
    count = 0
    while count < 90:
        x, y = rng.uniform(12, WIDTH_M - 12), rng.uniform(12, HEIGHT_M - 12)
        spot = Point(x, y)
        if any(line.contains(spot) for line in lines) or abs(y - brook_north(x)) < 6:
            continue
        count += 1
        across = round(float(girths.uniform(20, 62)), 1)
        facts = {"diameter_cm": across, "height_m": round(8 + across / 5, 1)}
        things.append(Thing("tree", f"TR{count}", on_grid(spot), facts=facts))
    return things


def _at(x: float, y: float, depth: float) -> float:
    return round(float(level(x, y)) - depth, 2)


def _bank_outfall(x: float) -> tuple[tuple[float, float], float]:
    """A point on the brook's north bank and an invert half a metre above its bed."""
    y = float(brook_north(x)) + 2.2
    return (x, round(y, 1)), round(float(brook_bed(x)) + 0.45, 2)


def _pipe_run(
    name: str,
    nodes: list[tuple[str, str, tuple[float, float]]],
    outfall_invert: float,
    depth: float,
    steepest: float,
    flattest: float,
    *,
    diameters: list[float],
    shares_ha: list[float],
    state: str,
    holes: list[tuple[int, ...]],
    ks_mm: float = 0.6,
    material: str = "twin-wall",
) -> list[Thing]:
    """A run from its outfall upwards; each reach falls within the two gradients and keeps its depth."""
    things: list[Thing] = []
    invert = outfall_invert
    for k, (ref, kind, (x, y)) in enumerate(nodes):
        if k:
            (px, py) = nodes[k - 1][2]
            length = float(np.hypot(x - px, y - py))
            wanted = (_at(x, y, depth) - invert) / length
            upper = round(invert + length * min(max(wanted, flattest), steepest), 2)
            things.append(
                Thing(
                    "pipe",
                    f"{ref}–{nodes[k - 1][0]}",
                    _line((x, y), (px, py)),
                    f"{name} {ref}–{nodes[k - 1][0]}",
                    state,
                    holes[k - 1],
                    {
                        "upstream_invert_m": upper,
                        "downstream_invert_m": invert,
                        "inside_diameter_mm": diameters[k - 1],
                        "ks_mm": ks_mm,
                        "material": material,
                        "catchment_ha": shares_ha[k - 1],
                    },
                )
            )
            invert = upper
        things.append(
            Thing(
                kind,
                ref,
                on_grid(Point(x, y)),
                "",
                state,
                facts={
                    "cover_level_m": round(float(level(x, y)), 2),
                    "invert_level_m": invert,
                },
            )
        )
    return things


def _ditch(
    ref: str,
    name: str,
    points: list[tuple[float, float]],
    depth: tuple[float, float],
    share_ha: float,
    holes: tuple[int, ...],
    bottom: float = 0.5,
    invert_end: float | None = None,
    invert_start: float | None = None,
    n: float = 0.045,
) -> Thing:
    upper = invert_start if invert_start is not None else _at(*points[0], depth[0])
    lower = invert_end if invert_end is not None else _at(*points[-1], depth[1])
    return Thing(
        "ditch",
        ref,
        _line(*points),
        name,
        holes=holes,
        facts={
            "upstream_invert_m": upper,
            "downstream_invert_m": lower,
            "bottom_width_m": bottom,
            "side_slope": 1.5,
            "depth_m": min(depth),
            "manning_n": n,
            "catchment_ha": share_ha,
        },
    )


CENTRE_TOP, CENTRE_LOW = (450.0, 332.0), (454.0, 206.0)
OLD_TOP, OLD_LOW = (400.0, 200.0), (457.2, 181.5)  # the old drain west of the centre ditch


# The pond on the east ditch: dug 1.9 m below its bank, sides 1 in 2.5, levels in metres.
POND_BANK_M, POND_DEPTH_M, POND_SIDE = 64.15, 1.9, 2.5
POND_PIPE = (63.55, 225.0)  # invert, inside diameter in mm
POND_WEIR = (63.95, 1.2)  # crest, width


def drainage_as_found() -> list[Thing]:
    """Brook, ditches and old pipes that the survey found."""
    run = np.arange(0, WIDTH_M + 1, 24.0)
    brook = Thing(
        "ditch",
        "BK",
        _line(*[(float(x), float(brook_north(x))) for x in run]),
        "Ashlode Brook",
        facts={
            "upstream_invert_m": round(float(brook_bed(run[0])), 2),
            "downstream_invert_m": round(float(brook_bed(run[-1])), 2),
            "bottom_width_m": 1.6,
            "side_slope": 1.2,
            "depth_m": 1.4,
            "manning_n": 0.045,
            "catchment_ha": 58.0,
            "runoff_coefficient": 0.3,
        },
    )
    out = Thing(
        "outfall",
        "O0",
        on_grid(Point(float(run[-1]), float(brook_north(run[-1])))),
        "Brook leaves the course",
        facts={"invert_level_m": round(float(brook_bed(run[-1])), 2)},
    )
    o1, o1_invert = _bank_outfall(458.0)
    low_invert = round(o1_invert + 0.42, 2)
    top_invert = _at(*CENTRE_TOP, 1.25)
    centre = [
        _ditch(
            "D1",
            "Centre ditch, upper",
            [(452, 522), (447, 452), (456, 396), CENTRE_TOP],
            (0.7, 1.0),
            2.6,
            (10, 12, 13),
            invert_end=top_invert,
        ),
        Thing(
            "pipe",
            "P1",
            _line(CENTRE_TOP, CENTRE_LOW),
            "Old pipe under 1 and 9",
            holes=(1, 9),
            facts={
                "upstream_invert_m": top_invert,
                "downstream_invert_m": low_invert,
                "inside_diameter_mm": 225.0,
                "ks_mm": 3.0,
                "material": "clayware, jointed",
                "catchment_ha": 0.8,
                "source": "record",
            },
        ),
        _ditch(
            "D2",
            "Centre ditch, lower",
            [CENTRE_LOW, (460, 160), o1],
            (1.0, 1.0),
            1.6,
            (7, 8),
            invert_end=o1_invert,
            invert_start=low_invert,
        ),
        Thing(
            "pipe",
            "P2",
            _line(OLD_TOP, OLD_LOW),
            "Old drain, left of 9",
            holes=(9,),
            facts={
                "upstream_invert_m": _at(*OLD_TOP, 0.9),
                "downstream_invert_m": round(low_invert + 0.06, 2),
                "inside_diameter_mm": 150.0,
                "ks_mm": 3.0,
                "material": "clayware, open joints",
                "catchment_ha": 0.4,
                "source": "record",
            },
        ),
        Thing(
            "headwall",
            "H1",
            on_grid(Point(*CENTRE_TOP)),
            facts={
                "invert_level_m": top_invert,
                "cover_level_m": round(float(level(*CENTRE_TOP)), 2),
            },
        ),
        Thing(
            "headwall",
            "H2",
            on_grid(Point(*CENTRE_LOW)),
            facts={
                "invert_level_m": low_invert,
                "cover_level_m": round(float(level(*CENTRE_LOW)), 2),
            },
        ),
        Thing("outfall", "O1", on_grid(Point(*o1)), facts={"invert_level_m": o1_invert}),
    ]
    o4, o4_invert = _bank_outfall(842.0)
    east = [
        _ditch(
            "D3",
            "East ditch, upper",
            [(836, 500), (840, 440), (838, 392)],
            (0.6, 0.8),
            3.4,
            (11, 12, 17),
        ),
        _ditch(
            "D4",
            "East ditch, middle",
            [(838, 392), (842, 330), (838, 262)],
            (0.8, 1.0),
            1.6,
            (2, 3),
        ),
        _ditch(
            "D5",
            "East ditch, lower",
            [(838, 262), (836, 205), o4],
            (1.0, 1.0),
            1.4,
            (3, 9),
            invert_end=o4_invert,
        ),
        Thing("outfall", "O4", on_grid(Point(*o4)), facts={"invert_level_m": o4_invert}),
    ]
    return [brook, out, *centre, *east]


def drainage_designed() -> list[Thing]:
    """The new carriers, from their outfalls upwards; states as on the demonstration's day."""
    o2, o2_invert = _bank_outfall(262.0)
    brook_run = _pipe_run(
        "Brook carrier",
        [
            ("O2", "outfall", o2),
            ("C1", "chamber", (260.0, 152.0)),
            ("C2", "chamber", (268.0, 204.0)),
            ("C3", "chamber", (276.0, 282.0)),
            ("C4", "chamber", (262.0, 348.0)),
            ("C5", "chamber", (250.0, 402.0)),
        ],
        o2_invert,
        1.05,
        1 / 38,
        1 / 110,
        diameters=[300, 300, 300, 225, 225],
        shares_ha=[0.6, 0.9, 0.7, 0.5, 0.6],
        state="proposed",
        holes=[(7,), (7,), (9,), (9,), (10, 13)],
    )
    o3, o3_invert = _bank_outfall(636.0)
    eighth = _pipe_run(
        "Hole 8 carrier",
        [
            ("O3", "outfall", o3),
            ("C6", "chamber", (638.0, 166.0)),
            ("C7", "chamber", (644.0, 236.0)),
            ("C8", "chamber", (652.0, 300.0)),
        ],
        o3_invert,
        1.0,
        1 / 40,
        1 / 115,
        diameters=[300, 300, 225],
        shares_ha=[0.6, 0.9, 0.8],
        state="proposed",
        holes=[(8,), (8, 9), (1, 2)],
    )
    hollow_top = (395.0, 296.0)
    hollow_lower, old_lower = _at(*OLD_TOP, 0.88), round(_bank_outfall(458.0)[1] + 0.48, 2)
    renewed = [
        Thing(
            "pipe",
            ref,
            _line(top, end),
            name,
            "proposed",
            (9,),
            {
                "upstream_invert_m": upper,
                "downstream_invert_m": lower,
                "inside_diameter_mm": 225.0,
                "ks_mm": 0.6,
                "material": "twin-wall",
                "catchment_ha": share_ha,
            },
        )
        for ref, name, top, end, upper, lower, share_ha in (
            (
                "N1", "Drain of the hollow, left of 9", hollow_top, OLD_TOP,
                _at(*hollow_top, 1.45), hollow_lower, 0.8,
            ),
            (
                "N2", "New drain, left of 9", OLD_TOP, OLD_LOW,
                _at(*OLD_TOP, 0.9), old_lower, 0.4,
            ),
        )
    ]  # fmt: skip
    laterals = [
        Thing(
            "laterals",
            "L7",
            _blob(262, 186, 60, 11, 0.0, 501),
            "Laterals, 7 fairway",
            "proposed",
            (7,),
        ),
        Thing(
            "laterals",
            "L9",
            _blob(345, 248, 50, 11, 0.0, 502),
            "Laterals, 9 approach",
            "proposed",
            (9,),
        ),
        Thing(
            "laterals",
            "L8",
            _blob(640, 190, 66, 11, 0.0, 503),
            "Laterals, 8 fairway",
            "proposed",
            (8,),
        ),
    ]
    return [*brook_run, *eighth, *renewed, *laterals]


def works_designed() -> list[Thing]:
    """What is to be made that is not a drain: paths, mounds, bunkers, a bridge."""
    return [
        Thing(
            "path",
            "W4",
            _line((700, 292), (762, 289), (822, 293), (850, 298), (856, 310)),
            "2 green to 3 tee",
            "proposed",
            (2, 3),
            {"width_m": 2.4},
        ),
        Thing(
            "path",
            "W5",
            _line((540, 379), (598, 384), (632, 378), (644, 372)),
            "10 green to 11 tee",
            "proposed",
            (10, 11),
            {"width_m": 2.4},
        ),
        Thing(
            "path",
            "W6",
            _line((742, 606), (800, 603), (836, 586), (848, 566)),
            "16 green to 17 tee",
            "proposed",
            (16, 17),
            {"width_m": 2.4},
        ),
        *(
            Thing("mound", ref, shape, name, "proposed", (hole,), {"height_m": height})
            for ref, shape, name, hole, height in (
                ("M1", _blob(716, 208, 26, 8, 0.1, 510), "Mounds, 8 right", 8, 1.2),
                ("M2", _blob(520, 262, 24, 7, 0.0, 511), "Mounds, 9 left", 9, 1.0),
            )
        ),
        Thing(
            "fence",
            "FN1",
            _line((901, 330), (901, 430), (893, 470), (893, 520)),
            "Fence by 12 tee and 17",
            "proposed",
            (12, 17),
        ),
        Thing(
            "bunker",
            "B10.4",
            _blob(470, 378, 8, 4, 0.1, 512),
            "Bunker, 10 right",
            "proposed",
            (10,),
        ),
        Thing(
            "bunker",
            "B17.4",
            _blob(640, 556, 8, 4, 0.0, 513),
            "Bunker, 17 right",
            "proposed",
            (17,),
        ),
        Thing(
            "bridge", "BR3", _line((40, 131.5), (41, 123.5)), "New bridge on 6", "proposed", (6,)
        ),
    ]
