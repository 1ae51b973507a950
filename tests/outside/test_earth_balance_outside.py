"""Bulking by published figures; the transport problem by brute force and by min-cost flow."""

from __future__ import annotations

from itertools import product

import networkx as nx
import numpy as np

from worksprog.calc import soils
from worksprog.calc.earth_balance import CARRIERS, Cut, Fill, Matter, balance_earth, haulage
from worksprog.calc.ranges import ThreePoint

NOTE = "earth handling note of 2022 (C)"


def test_published_factors(outside):
    for kind, loose, firm in (
        ("clay", 1.30, None),
        ("clay_and_gravel", 1.35, None),
        ("sand", 1.05, 0.89),
        ("sand_and_gravel", 1.15, None),
        ("gravel", 1.05, 0.97),
    ):
        soil = soils.SOILS[kind]
        inside = soil.loose_per_bank
        nearest = min(max(loose, inside.low), inside.high)
        outside(
            quantity=f"Loose from 100 m³ of {soil.name}, within the range kept",
            expected=loose * 100,
            got=nearest * 100,
            tolerance=1e-9,
            unit="m³",
            source=NOTE,
        )
        if firm is not None:
            outside(
                quantity=f"Firm from 100 m³ of {soil.name}",
                expected=firm * 100,
                got=soils.compacted_volume_m3(bank_m3=100, soil=soil),
                tolerance=1e-9,
                unit="m³",
                source=NOTE,
            )
    for kind, loose, firm in (("sand", 1.11, 0.95), ("loam", 1.25, 0.90), ("clay", 1.43, 0.90)):
        soil = soils.SOILS[kind]
        outside(
            quantity=f"Loose from 100 m³ of {soil.name}, army manual, within the range kept",
            expected=loose * 100,
            got=min(max(loose, soil.loose_per_bank.low), soil.loose_per_bank.high) * 100,
            tolerance=1e-9,
            unit="m³",
            source="FM 5-434 table 1-1 (M)",
        )
        outside(
            quantity=f"Firm from 100 m³ of {soil.name}, army manual",
            expected=firm * 100,
            got=soils.compacted_volume_m3(bank_m3=100, soil=soil),
            tolerance=0.07,
            relative=True,
            unit="m³",
            source="FM 5-434 table 1-1 (M)",
        )


def test_printed_example_of_cut_fill_and_carted(outside):
    """200 yd³ dug, swell 40 %, shrinkage 10 %, a fill of 90 yd³: keep 100, cart 140 loose."""
    source = "printed example of a public note on swell and shrinkage (C)"
    ground = soils.Soil("ground", ThreePoint.exactly(1.4), 0.9, "example", ThreePoint.exactly(1.8))
    yard = 0.9144**3
    done = balance_earth(
        [Cut("dig", "dig", Matter.SUBSOIL, ground, 200 * yard, spread_share=0.0)],
        [Fill("fill", "fill", Matter.SUBSOIL, 90 * yard)],
        {("dig", "fill"): 10.0},
    )
    for quantity, expected, got in (
        ("dug, loose", 280, done.cuts[0].loose_m3.likely),
        ("kept for the fill, in the bank", 100, done.moves[0].bank_m3),
        ("carted off, loose", 140, done.left[0].away_loose_m3.likely),
    ):
        outside(
            quantity=f"Cut and fill example: {quantity}",
            expected=expected,
            got=got / yard,
            tolerance=1e-6,
            relative=True,
            unit="yd³",
            source=source,
        )


def test_printed_example_of_bulking_from_densities(outside):
    """Loose sand and clay: 3,400 lb/yd³ in the bank, 2,700 loose; printed 26 %."""
    got = soils.bulking_from_densities(bank_t_m3=3400, loose_t_m3=2700)
    outside(
        quantity="Bulking of sand and clay from its two weights",
        expected=1.26,
        got=got,
        tolerance=0.005,
        source="printed answer of a civil engineering exercise: 26 % (C)",
    )


def test_dry_clay_second_hand(outside):
    loose = soils.SOILS["clay_dry"].loose_per_bank.likely * 200
    outside(
        quantity="200 m³ of dry clay, loose",
        expected=300,
        got=loose,
        tolerance=1e-9,
        unit="m³",
        source="Church 1981, swell 50 %, shrinkage 10 %, quoted with this example (C2)",
    )


PLAIN = soils.Soil("plain", ThreePoint.exactly(1.0), 1.0, "example", ThreePoint.exactly(1.8))


def _solved(supply, demand, haul):
    cuts = [
        Cut(f"c{i}", f"c{i}", Matter.SUBSOIL, PLAIN, float(most)) for i, most in enumerate(supply)
    ]
    fills = [Fill(f"f{j}", f"f{j}", Matter.SUBSOIL, float(most)) for j, most in enumerate(demand)]
    hauls = {
        (f"c{i}", f"f{j}"): float(haul[i][j])
        for i in range(len(supply))
        for j in range(len(demand))
    }
    return balance_earth(cuts, fills, hauls)


def _by_brute_force(supply, demand, haul):
    """Every whole-numbered way; with whole supplies and demands one of them is the least."""
    pairs = [(i, j) for i in range(len(supply)) for j in range(len(demand))]
    most = [range(min(supply[i], demand[j]) + 1) for i, j in pairs]
    best: tuple[int, int] | None = None
    for amounts in product(*most):
        out, into, metres = [0] * len(supply), [0] * len(demand), 0
        for (i, j), amount in zip(pairs, amounts, strict=True):
            out[i] += amount
            into[j] += amount
            metres += amount * haul[i][j]
        if any(a > b for a, b in zip(out, supply, strict=True)):
            continue
        if any(a > b for a, b in zip(into, demand, strict=True)):
            continue
        way = (-sum(amounts), metres)
        best = way if best is None or way < best else best
    assert best is not None
    return -best[0], best[1]


def test_transport_by_brute_force(outside):
    rng = np.random.default_rng(11)
    for k in range(4):
        supply = rng.integers(1, 5, 3).tolist()
        demand = rng.integers(1, 5, 2).tolist()
        haul = rng.integers(10, 900, (3, 2)).tolist()
        moved, metres = _by_brute_force(supply, demand, haul)
        done = _solved(supply, demand, haul)
        outside(
            quantity=f"Earth moved, case {k + 1}: {supply} to {demand}",
            expected=moved,
            got=sum(one.firm_m3 for one in done.moves),
            tolerance=1e-6,
            unit="m³",
            source="every whole-numbered way tried (R)",
        )
        outside(
            quantity=f"Least haul, case {k + 1}",
            expected=metres,
            got=done.haul_m4,
            tolerance=1e-5,
            relative=True,
            unit="m³ m",
            source="every whole-numbered way tried (R)",
        )


def _by_flow(supply, demand, haul):
    graph: nx.DiGraph[str] = nx.DiGraph()
    for i, most in enumerate(supply):
        graph.add_edge("source", f"c{i}", capacity=most, weight=0)
        for j in range(len(demand)):
            graph.add_edge(f"c{i}", f"f{j}", weight=haul[i][j])
    for j, most in enumerate(demand):
        graph.add_edge(f"f{j}", "sink", capacity=most, weight=0)
    flow = nx.max_flow_min_cost(graph, "source", "sink")
    return sum(flow["source"].values()), nx.cost_of_flow(graph, flow)


def test_transport_by_min_cost_flow(outside):
    rng = np.random.default_rng(2028)
    for cuts, fills in ((3, 3), (8, 5), (5, 12), (25, 20)):
        supply = rng.integers(5, 300, cuts).tolist()
        demand = rng.integers(5, 300, fills).tolist()
        haul = rng.integers(20, 1400, (cuts, fills)).tolist()
        moved, metres = _by_flow(supply, demand, haul)
        done = _solved(supply, demand, haul)
        label = f"{cuts} cuts, {fills} fills"
        outside(
            quantity=f"Earth moved, {label}",
            expected=moved,
            got=sum(one.firm_m3 for one in done.moves),
            tolerance=1e-6,
            relative=True,
            unit="m³",
            source="networkx max_flow_min_cost (R)",
        )
        outside(
            quantity=f"Least haul, {label}",
            expected=metres,
            got=done.haul_m4,
            tolerance=1e-5,
            relative=True,
            unit="m³ m",
            source="networkx max_flow_min_cost (R)",
        )


def test_transport_with_yields_by_brute_force(outside):
    """Two kinds of ground into one fill: a fine sweep of the one free amount."""
    sand, clay = soils.SOILS["sand"], soils.SOILS["clay"]
    cuts = [
        Cut("s", "sand", Matter.SUBSOIL, sand, 60.0),
        Cut("c", "clay", Matter.SUBSOIL, clay, 70.0),
    ]
    fills = [Fill("m", "mound", Matter.SUBSOIL, 80.0)]
    hauls = {("s", "m"): 420.0, ("c", "m"): 400.0}
    done = balance_earth(cuts, fills, hauls)
    best = np.inf
    for from_sand in np.linspace(0, 60, 60_001):
        from_clay = (80.0 - 0.89 * from_sand) / 0.90
        if 0 <= from_clay <= 70:
            metres = 1.10 * 420 * from_sand + 1.35 * 400 * from_clay
            best = min(best, float(metres))
    outside(
        quantity="Least haul, sand and clay into one mound",
        expected=best,
        got=done.haul_m4,
        tolerance=1e-5,
        relative=True,
        unit="m³ m",
        source="sweep of the one free amount in steps of 1 litre (R)",
    )


def test_round_trips_by_hand(outside):
    done = haulage(loose_m3=67.5, soil=soils.SOILS["clay"], haul_m=400, carrier=CARRIERS["trailer"])
    load = 7.0 / (2.0 / 1.35)  # by weight: 4.725 m³
    outside(
        quantity="Trailer loads for 67.5 m³ of loose clay",
        expected=-(-67.5 // load),
        got=done.loads,
        tolerance=0,
        unit="no",
        source="by hand (A)",
    )
    outside(
        quantity="Hours of one trailer over 400 m",
        expected=15 * (8 + 2 + 24 / 8 + 24 / 12) / 0.83 / 60,
        got=done.hours,
        tolerance=1e-9,
        unit="h",
        source="by hand: 0.4 km at 8 and at 12 km/h is 3 and 2 minutes (A)",
    )
