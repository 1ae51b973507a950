"""The cheapest sizes and inverts: against trying everything, and by what must always hold."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import pytest

from tests.calc.trees import RAIN, SIZES, checked, costing, random_tree, size
from worksprog.calc import pipes
from worksprog.calc.rainfall import DesignRain
from worksprog.calc.sizing import (
    Costing,
    Held,
    LowerEnd,
    PipeSize,
    SizingLimits,
    SizingReach,
    Tree,
    capacity_working,
    cost_working,
    size_tree,
    size_until_flows_agree,
)
from worksprog.calc.sizing.conflict import find_conflicts
from worksprog.calc.sizing.solve import Solver, falls_of

SEEDS = (0, 1, 2, 4, 5, 8, 9, 15, 19)
COARSE = SizingLimits(least_cover_m=0.5, most_depth_m=1.7, grid_m=0.1, least_velocity_ms=0.6)


def crown_of(pipe: PipeSize) -> float:
    return (pipe.inside_m + pipe.outside_m) / 2


def lines_of(
    reach: SizingReach, tree: Tree, prices: Costing, limits: SizingLimits
) -> list[tuple[float, PipeSize, float, float]]:
    """(cost, size, levels) of every way to lay one reach, worked out the long way round."""
    last = reach.below is None
    first_ground, last_ground = reach.ground[0][1], reach.ground[-1][1]
    levels = [step / 10 for step in range(440, 560)]
    downs = [x for x in levels if not last or x < last_ground - crown_of(prices.sizes[0])]
    if last and tree.end.least_m is not None:
        downs.append(tree.end.least_m)
    found = []
    for pipe, up, down in itertools.product(prices.sizes, levels, downs):
        if not first_ground - 2 < up < first_ground or not last_ground - 2 < down < last_ground:
            continue
        if last and tree.end.least_m is not None and down < tree.end.least_m - 1e-9:
            continue
        gradient = (up - down) / reach.length_m
        if not limits.least_gradient <= gradient <= limits.most_gradient:
            continue
        velocity = pipes.full_bore_velocity_ms(
            diameter_m=pipe.inside_m, gradient=gradient, roughness_m=reach.roughness_m
        )
        if not limits.least_velocity_ms <= velocity <= limits.most_velocity_ms:
            continue
        if velocity * math.pi * pipe.inside_m**2 / 4 < reach.flow_m3s:
            continue
        depths = []
        for at, ground in reach.ground:
            invert = up + (down - up) * at / reach.length_m
            depth = ground - invert
            crown = invert + crown_of(pipe)
            asked = limits.least_cover_m
            if last and at > reach.length_m - limits.cover_free_m:
                asked = 0.0
            if last and at == reach.length_m and tree.end.least_m is not None:
                asked = -9.0
            if depth > limits.most_depth_m + 1e-9:
                break
            if ground - crown < asked - 1e-9:
                break
            depths.append((at, depth))
        else:
            found.append((_cost(reach, pipe, depths, up, prices), pipe, up, down))
    return found


def _cost(
    reach: SizingReach,
    pipe: PipeSize,
    depths: list[tuple[float, float]],
    up: float,
    prices: Costing,
) -> float:
    width = pipe.outside_m + prices.trench_margin_m
    total = reach.length_m * (prices.line_per_m + pipe.money_per_m)
    height = prices.bed_m + pipe.outside_m + prices.over_crown_m
    stone = width * height - math.pi * pipe.outside_m**2 / 4
    total += reach.length_m * stone * prices.stone_per_m3
    for number, (_, depth) in enumerate(depths):
        before = depths[max(number - 1, 0)][0]
        after = depths[min(number + 1, len(depths) - 1)][0]
        stretch = (after - before) / 2
        dug = (depth + (pipe.outside_m - pipe.inside_m) / 2 + prices.bed_m) * width * stretch
        back = max(0.0, dug - height * width * stretch)
        total += dug * prices.dig_per_m3 + back * prices.fill_per_m3
        total += (dug - back / prices.filled_per_m3) * prices.spoil_per_m3
        total += stretch * sum(b.money for b in prices.trench_bands if depth > b.deeper_than_m)
    depth = reach.ground[0][1] - up
    total += prices.chamber_each
    total += sum(b.money for b in prices.chamber_bands if depth > b.deeper_than_m)
    return total


def try_everything(
    tree: Tree, prices: Costing, limits: SizingLimits
) -> list[tuple[float, tuple[int, ...]]]:
    """(cost, bores) of every whole design that keeps all limits."""
    ways = [lines_of(reach, tree, prices, limits) for reach in tree.reaches]
    number = {reach.key: index for index, reach in enumerate(tree.reaches)}
    joints = [
        (index, number[reach.below])
        for index, reach in enumerate(tree.reaches)
        if reach.below is not None
    ]
    found = []
    for whole in itertools.product(*ways):
        for above, below in joints:
            _, bore, _, arrives = whole[above]
            _, into, leaves, _ = whole[below]
            if bore.inside_m > into.inside_m and not limits.may_step_down:
                break
            if arrives < leaves - 1e-9:
                break
            if (
                limits.matching == "crown"
                and arrives + bore.inside_m < leaves + into.inside_m - 1e-9
            ):
                break
        else:
            found.append((sum(way[0] for way in whole), tuple(way[1].bore_mm for way in whole)))
    return found


@pytest.mark.parametrize("matching", ["invert", "crown"])
@pytest.mark.parametrize("seed", SEEDS)
def test_equals_trying_everything(seed, matching):
    limits = replace(COARSE, matching=matching)
    tree = random_tree(seed, 3, points=3 + seed % 3, end_m=49.43 if seed % 2 else 48.6)
    prices = costing([SIZES[0], SIZES[2]] if seed % 3 else SIZES[:3])
    every = try_everything(tree, prices, limits)
    best = Solver(tree, prices, limits).solve()
    if not every:
        assert best is None
        assert size_tree(tree, prices, limits).conflicts
        return
    least, bores = min(every)
    assert best is not None
    assert best.money == pytest.approx(least, rel=1e-9)
    answer = size_tree(tree, prices, limits)
    assert answer.best is not None
    assert answer.best.money.total == pytest.approx(least, rel=1e-9)
    chosen = tuple(best.laid[reach.key].size.bore_mm for reach in tree.reaches)
    others = [money for money, sizes in every if sizes != chosen]
    assert (chosen == bores) or least == pytest.approx(min(m for m, b in every if b == chosen))
    if not others:
        assert answer.second is None
    else:
        assert answer.second is not None
        assert answer.second.money.total == pytest.approx(min(others), rel=1e-9)
        assert (
            tuple(answer.second.reach(reach.key).size.bore_mm for reach in tree.reaches) != chosen
        )


def test_trying_everything_meets_both_outcomes():
    """The comparison above would prove little if nothing ever fitted, or everything did."""
    fits = [
        Solver(
            random_tree(seed, 3, points=3 + seed % 3, end_m=49.43 if seed % 2 else 48.6),
            costing([SIZES[0], SIZES[2]] if seed % 3 else SIZES[:3]),
            COARSE,
        ).solve()
        is not None
        for seed in SEEDS
    ]
    assert 5 <= sum(fits) <= 8


def test_four_reaches_with_one_that_stays():
    tree = random_tree(5, 4, points=3, end_m=48.5)
    prices = costing([SIZES[0], SIZES[2]])
    free = Solver(tree, prices, COARSE).solve()
    assert free is not None
    kept = free.laid["0"]
    held = tuple(
        replace(reach, held=Held(kept.upstream_m, kept.downstream_m, kept.size.inside_m))
        if reach.key == "0"
        else reach
        for reach in tree.reaches
    )
    answer = size_tree(Tree(held, tree.end), prices, COARSE)
    whole = size_tree(tree, prices, COARSE)
    assert answer.best.reach("0").stays
    assert answer.best.money.total + whole.best.reach("0").money.total == pytest.approx(
        whole.best.money.total
    )


@pytest.mark.parametrize("seed", range(20, 32))
def test_every_answer_passes_the_check_of_the_network(seed):
    tree = random_tree(seed, 9, flow_m3s=0.008, end_m=48.6)
    answer = size_tree(tree, costing(), SizingLimits(least_cover_m=0.5, grid_m=0.02))
    if answer.best is None:
        assert answer.conflicts
        return
    for design in (answer.best, answer.second):
        if design is None:
            continue
        check = checked(tree, design)
        assert not check.faults
        assert not [one for one in check.advice if one.kind in ("narrows", "silting")]
        assert {reach.state for reach in check.reaches} == {"carries"}
        for reach in design.reaches:
            if reach.least_cover_m is not None:
                assert reach.least_cover_m >= 0.5 - 1e-6
            assert reach.most_depth_m <= 2.5 + 1e-6
            assert 0.7 - 1e-6 <= reach.velocity_ms <= 4.0 + 1e-6
    assert answer.second is None or (answer.second.money.total >= answer.best.money.total - 1e-9)


@pytest.mark.parametrize(
    "eased",
    [
        {"least_cover_m": 0.4},
        {"most_depth_m": 2.2},
        {"least_velocity_ms": 0.5},
        {"most_velocity_ms": 5.0},
        {"least_gradient": 1 / 800},
        {"most_gradient": 1 / 6},
        {"may_step_down": True},
    ],
)
@pytest.mark.parametrize("seed", [40, 41, 42])
def test_easing_a_limit_never_costs_more(seed, eased):
    limits = SizingLimits(most_depth_m=1.8, grid_m=0.02)
    tree = random_tree(seed, 8, end_m=48.7)
    was = Solver(tree, costing(), limits).solve()
    now = Solver(tree, costing(), replace(limits, **eased)).solve()
    if was is not None:
        assert now is not None
        assert now.money <= was.money + 1e-6


@pytest.mark.parametrize("seed", range(50, 58))
def test_more_flow_never_costs_less(seed):
    tree = random_tree(seed, 7, flow_m3s=0.006, end_m=48.6)
    limits = SizingLimits(grid_m=0.02)
    was = Solver(tree, costing(), limits).solve()
    more = tree.with_flows([reach.flow_m3s * 1.4 for reach in tree.reaches])
    now = Solver(more, costing(), limits).solve()
    if now is not None:
        assert was is not None
        assert now.money >= was.money - 1e-6


def straight(
    *, ground: tuple[tuple[float, float], ...], end_m: float | None, flow: float = 0.02
) -> Tree:
    reach = SizingReach("C3", "C3", ground[-1][0], flow, ground)
    return Tree((reach,), LowerEnd("the outfall", end_m))


def test_a_hump_and_a_hollow_between_the_ends_count():
    flat = ((0.0, 51.0), (50.0, 50.5), (100.0, 50.0))
    limits = SizingLimits(most_depth_m=2.0, least_gradient=1 / 300)
    plain = size_tree(straight(ground=flat, end_m=None), costing(), limits)
    low = ((0.0, 51.0), (50.0, 50.2), (100.0, 50.0))
    hollow = size_tree(straight(ground=low, end_m=None), costing(), limits)
    over_hollow = [
        50.2 - (one.upstream_m + one.downstream_m) / 2 - one.size.inside_m - one.size.wall_m
        for one in (plain.best.reach("C3"), hollow.best.reach("C3"))
    ]
    assert over_hollow[0] < 0.57  # laid by its ends alone, it would lie too shallow
    assert 0.6 - 1e-9 <= over_hollow[1] < 0.62
    high = ((0.0, 51.0), (50.0, 52.6), (100.0, 50.0))
    hump = size_tree(straight(ground=high, end_m=None), costing(), limits)
    assert hump.best is None
    assert "of depth 50 m from it" in hump.conflicts[0].words


def test_what_conflicts_is_told_in_plain_words_and_by_how_much():
    tree = straight(ground=((0.0, 50.0), (100.0, 49.9)), end_m=49.2)
    limits = SizingLimits()
    answer = size_tree(tree, costing(), limits)
    assert answer.best is None
    words = answer.conflicts[0].words
    assert "C3 cannot keep 0.6 m cover at its head and reach the outfall at 49.20 m" in words
    short = answer.conflicts[0].short_m
    assert words.split(":")[1].strip().startswith(f"{short:.2f} m short")
    level = size_tree(
        straight(ground=((0.0, 50.0), (100.0, 49.9)), end_m=49.2 - short - 0.02), costing(), limits
    )
    assert level.best is not None
    by_level = next(one for one in answer.would_fit if one.limit == "level of the outfall")
    assert by_level.needed
    assert float(by_level.needed.split()[0]) == pytest.approx(49.2 - short, abs=0.05)


def test_a_fixed_level_above_what_the_cover_allows_is_named():
    upper = SizingReach("A", "A", 50.0, 0.012, ((0.0, 52.0), (50.0, 51.0)), below="B")
    lower = SizingReach("B", "B", 50.0, 0.02, (), held=Held(50.5, 49.4, 0.294))
    answer = size_tree(Tree((upper, lower), LowerEnd("O1", 49.4)), costing(), SizingLimits())
    words = answer.conflicts[0].words
    assert words.startswith("A cannot keep 0.6 m cover at its end")
    assert "B, which stays, at 50.50 m: 0.26 m short" in words
    eased = SizingLimits(least_cover_m=0.6 - answer.conflicts[0].short_m - 0.001)
    assert size_tree(Tree((upper, lower), LowerEnd("O1", 49.4)), costing(), eased).best


def test_a_flow_that_no_size_carries_is_named():
    tree = straight(ground=((0.0, 50.0), (100.0, 49.0)), end_m=None, flow=2.0)
    answer = size_tree(tree, costing(), SizingLimits())
    assert "no size up to 450 mm" in answer.conflicts[0].words


def test_a_larger_bore_above_one_that_stays_is_named():
    upper = SizingReach("A", "A", 50.0, 0.12, ((0.0, 51.5), (50.0, 51.0)), below="B")
    lower = SizingReach("B", "B", 50.0, 0.12, (), held=Held(49.8, 49.4, 0.146))
    answer = size_tree(Tree((upper, lower), LowerEnd("O1", 49.4)), costing(), SizingLimits())
    assert answer.best is None
    assert "may not step down" in answer.conflicts[0].words


def test_an_open_end_that_cannot_be_reached_is_told_by_its_ground_not_by_a_bore():
    one = SizingReach("A", "A", 60.0, 0.05, ((0.0, 51.5), (60.0, 50.1)))
    solver = Solver(Tree((one,), LowerEnd("BK", 49.4)), costing(), SizingLimits())
    assert solver.solve() is not None
    (conflict,) = find_conflicts(solver)  # as where its levels end below the ditch
    assert "step down" not in conflict.words
    assert "A cannot come out at BK at 49.40 m or above" in conflict.words
    assert "taken at 50.10 m" in conflict.words
    assert "cover level of the outfall" in conflict.words


def test_what_stays_is_never_moved_and_takes_what_arrives():
    upper = SizingReach("A", "A", 50.0, 0.012, ((0.0, 51.5), (50.0, 51.0)), below="B")
    lower = SizingReach("B", "B", 50.0, 0.02, (), held=Held(49.853, 49.4, 0.294))
    answer = size_tree(Tree((upper, lower), LowerEnd("O1", 49.4)), costing(), SizingLimits())
    assert (answer.best.reach("B").upstream_m, answer.best.reach("B").downstream_m) == (
        49.853,
        49.4,
    )
    assert answer.best.reach("A").downstream_m >= 49.853
    assert answer.best.reach("B").money.total == 0


def test_one_that_joins_part_way_along_what_stays_arrives_above_it_there():
    ditch = SizingReach("D", "D", 80.0, 0.02, (), held=Held(50.5, 49.2, None))
    pipe = SizingReach(
        "A", "A", 50.0, 0.012, ((0.0, 51.6), (50.0, 50.4)), below="D", joins_at_m=50.1
    )
    answer = size_tree(Tree((pipe, ditch), LowerEnd("O1", 49.2)), costing(), SizingLimits())
    ends = answer.best.reach("A").downstream_m
    assert 50.1 <= ends <= 50.4 - 0.15  # though the ditch begins at 50.5
    with pytest.raises(ValueError, match="part way"):
        Tree((pipe, SizingReach("D", "D", 9.0, 0.1, ((0.0, 51.0), (9.0, 50.0)))), LowerEnd("O1"))


def test_crowns_matched_keep_the_crown_above():
    tree = random_tree(61, 6, flow_m3s=0.02, end_m=48.3)
    limits = SizingLimits(matching="crown", most_depth_m=3.0, grid_m=0.02)
    best = size_tree(tree, costing(), limits).best
    for reach in tree.reaches:
        if reach.below is not None:
            above, below = best.reach(reach.key), best.reach(reach.below)
            assert above.downstream_m + above.inside_m >= below.upstream_m + below.inside_m - 1e-6


def test_money_by_part_adds_up_and_shows_its_working():
    tree = random_tree(70, 5, end_m=48.6)
    limits = SizingLimits()
    answer = size_tree(tree, costing(), limits)
    for reach in tree.reaches:
        sized = answer.best.reach(reach.key)
        working = cost_working(reach, sized, costing())
        assert working.steps[-1].value == pytest.approx(sized.money.total)
        parts = [float(step.value) for step in working.steps[-7:-1]]
        assert sum(parts) == pytest.approx(sized.money.total)
        assert any(step.symbol == "Qf" for step in capacity_working(reach, sized, limits).steps)
    assert sum(one.money.total for one in answer.best.reaches) == pytest.approx(
        answer.best.money.total
    )


def test_flows_that_follow_from_the_design_are_followed():
    tree = straight(ground=((0.0, 51.0), (100.0, 49.0)), end_m=48.0, flow=0.02)

    def quicker(design):
        return (0.01 + 0.004 * design.reach("C3").velocity_ms,)

    answer = size_until_flows_agree(tree, costing(), SizingLimits(), quicker)
    assert answer.rounds > 1
    assert answer.flow_short <= 0.005
    assert answer.tree.reaches[0].flow_m3s >= quicker(answer.best)[0] * 0.995
    assert answer.flow_over == pytest.approx(
        1 - quicker(answer.best)[0] / answer.tree.reaches[0].flow_m3s
    )
    steady = size_until_flows_agree(tree, costing(), SizingLimits(), lambda design: (0.02,))
    assert (steady.rounds, steady.flow_short, steady.flow_over) == (1, 0.0, 0.0)


def test_flows_of_the_check_by_length_of_storm_agree_with_the_design():
    """Water that runs faster gathers sooner and meets harder rain: the check's own flows settle."""
    rain = DesignRain((5.0, 10.0, 15.0, 30.0, 60.0, 120.0), (7.0, 11.0, 14.0, 20.0, 26.0, 33.0))
    storm = replace(RAIN, rain=rain)
    tree = random_tree(81, 8, flow_m3s=0.006, end_m=48.2)

    def flows(design):
        check = checked(tree, design, storm)
        return tuple(check.reach(reach.key).flow_m3s for reach in tree.reaches)

    limits = SizingLimits(grid_m=0.02)
    answer = size_until_flows_agree(tree, costing(), limits, flows)
    assert answer.best is not None
    assert answer.rounds > 1
    assert answer.flow_short <= 0.005
    after = checked(tree, answer.best, storm)
    for reach in answer.best.reaches:
        assert after.reach(reach.key).flow_m3s <= reach.capacity_m3s * 1.005
        assert after.reach(reach.key).storm_min is not None
    assert {one.flow_m3s for one in answer.tree.reaches} != {one.flow_m3s for one in tree.reaches}


def test_binding_limits_are_named_where_they_bind():
    tree = straight(ground=((0.0, 51.0), (100.0, 50.6)), end_m=49.0)
    best = size_tree(tree, costing(), SizingLimits(cover_free_m=0)).best.reach("C3")
    assert any(words.startswith("cover") for words in best.binds)


def test_what_cannot_be_is_refused():
    with pytest.raises(ValueError, match="depth must be the greater"):
        SizingLimits(least_cover_m=3.0)
    with pytest.raises(ValueError, match="metres per metre"):
        SizingLimits(least_gradient=200)
    with pytest.raises(ValueError, match="must rise"):
        costing([size(300, 1), size(225, 1)])
    with pytest.raises(ValueError, match="from end to end"):
        SizingReach("A", "A", 50.0, 0.1, ((0.0, 51.0), (40.0, 50.0)))
    a = SizingReach("A", "A", 50.0, 0.1, ((0.0, 51.0), (50.0, 50.0)), below="B")
    with pytest.raises(ValueError, match="not in the tree"):
        Tree((a, replace(a, key="C", below=None)), LowerEnd("O"))
    with pytest.raises(ValueError, match="ring"):
        Tree((a, replace(a, key="B", below="A"), replace(a, key="C", below=None)), LowerEnd("O"))


@pytest.mark.parametrize("spare", [0.1, 0.5])
def test_what_is_asked_to_spare_is_the_share_of_the_capacity_that_the_check_tells(spare):
    limits = SizingLimits(spare_share=spare, least_gradient=1 / 1e5, least_velocity_ms=0.0)
    pipe, roughness = costing().sizes[0], 0.0006
    falls = falls_of(pipe, 0.005, roughness, limits)
    assert falls.least_from == "flow"
    carries = pipes.full_bore_flow_m3s(
        diameter_m=pipe.inside_m, gradient=falls.least, roughness_m=roughness
    )
    assert 1 - 0.005 / carries == pytest.approx(spare, abs=2e-3)
