"""The whole answer: the least-cost design, the next one with other sizes, what each limit costs."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from worksprog.calc.sizing.conflict import Conflict, find_conflicts
from worksprog.calc.sizing.figures import Design, describe
from worksprog.calc.sizing.given import Costing, LowerEnd, SizingLimits, Tree
from worksprog.calc.sizing.solve import Solution, Solver

COVER_STEP_M = 0.1
DEPTH_STEP_M = 0.25
VELOCITY_STEP_MS = 0.1
SCOUR_STEP_MS = 0.5
GRADIENT_STEP = 1.25
END_STEP_M = 0.1
BISECTIONS = 6

Tell = Callable[[float, str], None]
Flows = Callable[[Design], tuple[float, ...]]


@dataclass(frozen=True)
class Eased:
    """One limit eased by a step: what that saves. ``saved`` None: even so nothing fits."""

    limit: str
    was: str
    eased_to: str
    saved: float | None


@dataclass(frozen=True)
class WouldFit:
    """Where nothing fits: the least easing of one limit alone that lets a design fit."""

    limit: str
    was: str
    needed: str  # "" when no easing of this one alone is enough


@dataclass(frozen=True)
class Answer:
    """What came of a sizing. ``best`` None: nothing fits, ``conflicts`` and ``would_fit`` say why.

    ``second`` differs from the best in the size of one reach at least; None when no other does.
    """

    tree: Tree
    best: Design | None
    second: Design | None
    eased: tuple[Eased, ...]
    conflicts: tuple[Conflict, ...]
    would_fit: tuple[WouldFit, ...]
    rounds: int = 1
    flow_short: float = 0.0  # most that a flow of the last design exceeds the one it was sized for
    flow_over: float = 0.0  # most that it falls short of it; both as shares


@dataclass(frozen=True)
class _Ease:
    """A limit and how it gives way: ``at(t)`` is it eased by a share t of all it can give."""

    limit: str
    was: str
    step: tuple[str, SizingLimits, LowerEnd]
    at: Callable[[float], tuple[str, SizingLimits, LowerEnd]] | None = None


def size_tree(
    tree: Tree, costing: Costing, limits: SizingLimits, *, tell: Tell | None = None
) -> Answer:
    """Find the least-cost design of a tree, its next best, and what each limit costs.

    Least of all designs on the list of sizes and the grid of levels; see ``solve``.
    """
    tell = tell or _silent
    tell(5, "Sizes and levels")
    solver = Solver(tree, costing, limits)
    best = solver.solve()
    if best is None:
        conflicts = find_conflicts(solver)
        return Answer(tree, None, None, (), conflicts, _would_fit(tree, costing, limits, tell))
    tell(20, "The next best")
    second = Solver(tree, costing, limits, unlike=best.sizes()).solve()
    return Answer(
        tree=tree,
        best=describe(best, tree, costing, limits),
        second=None if second is None else describe(second, tree, costing, limits),
        eased=_ease_all(best, tree, costing, limits, tell),
        conflicts=(),
        would_fit=(),
    )


def size_until_flows_agree(
    tree: Tree,
    costing: Costing,
    limits: SizingLimits,
    flows_of: Flows,
    *,
    most_rounds: int = 4,
    agree_within: float = 0.005,
    tell: Tell | None = None,
) -> Answer:
    """Size a tree whose flows follow from the design, for water that runs faster gathers sooner.

    ``flows_of`` gives the flows (m³/s, in the order of the tree's reaches) of a design. After the
    first round a flow that falls is kept, so that the design carries what it brings about and the
    rounds do not swing to and fro; it ends when no flow exceeds the one it was sized for by more
    than ``agree_within`` of itself. Where it does not within ``most_rounds``, ``flow_short`` tells.
    """
    short, over, rounds = 0.0, 0.0, 0
    while True:
        rounds += 1
        best = Solver(tree, costing, limits).solve()
        if best is None:
            break
        now = [reach.flow_m3s for reach in tree.reaches]
        wanted = flows_of(describe(best, tree, costing, limits))
        pairs = list(zip(wanted, now, strict=True))
        short = max((new / max(old, 1e-9) - 1 for new, old in pairs), default=0.0)
        over = max((1 - new / max(old, 1e-9) for new, old in pairs if old > 0), default=0.0)
        agree = short <= agree_within and (rounds > 1 or over <= agree_within)
        if agree or rounds >= most_rounds:
            break
        if rounds > 1:
            wanted = tuple(max(new, old) for new, old in pairs)
        tree = tree.with_flows(wanted)
    answer = size_tree(tree, costing, limits, tell=tell)
    return replace(answer, rounds=rounds, flow_short=max(0.0, short), flow_over=max(0.0, over))


def _silent(percent: float, words: str) -> None:
    """Nobody is told."""


def _ease_all(
    best: Solution, tree: Tree, costing: Costing, limits: SizingLimits, tell: Tell
) -> tuple[Eased, ...]:
    eases = list(_eases(tree, limits))
    found = []
    for number, ease in enumerate(eases):
        tell(30 + 65 * number / len(eases), f"What the {ease.limit} costs")
        to, eased, end = ease.step
        other = Solver(replace(tree, end=end), costing, eased).solve()
        saved = None if other is None else max(0.0, best.money - other.money)
        found.append(Eased(ease.limit, ease.was, to, saved))
    return tuple(found)


def _would_fit(
    tree: Tree, costing: Costing, limits: SizingLimits, tell: Tell
) -> tuple[WouldFit, ...]:
    found = []
    eases = list(_eases(tree, limits))
    for number, ease in enumerate(eases):
        tell(10 + 85 * number / len(eases), f"Whether easing the {ease.limit} helps")

        def fits(given: tuple[str, SizingLimits, LowerEnd]) -> bool:
            return Solver(replace(tree, end=given[2]), costing, given[1]).solve() is not None

        if ease.at is None:
            found.append(WouldFit(ease.limit, ease.was, ease.step[0] if fits(ease.step) else ""))
            continue
        if not fits(ease.at(1.0)):
            found.append(WouldFit(ease.limit, ease.was, ""))
            continue
        low, high = 0.0, 1.0
        for _ in range(BISECTIONS):
            middle = (low + high) / 2
            low, high = (low, middle) if fits(ease.at(middle)) else (middle, high)
        found.append(WouldFit(ease.limit, ease.was, ease.at(high)[0]))
    return tuple(found)


def _one_in(gradient: float) -> str:
    return f"1 in {1 / gradient:.0f}"


def _eases(tree: Tree, limits: SizingLimits) -> Iterator[_Ease]:
    end = tree.end

    def cover(least_m: float) -> tuple[str, SizingLimits, LowerEnd]:
        return f"{least_m:.2f} m", replace(limits, least_cover_m=least_m), end

    def depth(most_m: float) -> tuple[str, SizingLimits, LowerEnd]:
        return f"{most_m:.2f} m", replace(limits, most_depth_m=most_m), end

    def silting(least_ms: float) -> tuple[str, SizingLimits, LowerEnd]:
        return f"{least_ms:.2f} m/s", replace(limits, least_velocity_ms=least_ms), end

    def scour(most_ms: float) -> tuple[str, SizingLimits, LowerEnd]:
        return f"{most_ms:.2f} m/s", replace(limits, most_velocity_ms=most_ms), end

    def flat(least: float) -> tuple[str, SizingLimits, LowerEnd]:
        return _one_in(least), replace(limits, least_gradient=least), end

    def steep(most: float) -> tuple[str, SizingLimits, LowerEnd]:
        return _one_in(most), replace(limits, most_gradient=most), end

    c, d = limits.least_cover_m, limits.most_depth_m
    if c > 0:
        yield _Ease("least cover", f"{c:.2f} m", cover(max(0.0, c - COVER_STEP_M)),
                    lambda t: cover(c * (1 - t)))  # fmt: skip
    yield _Ease("greatest depth", f"{d:.2f} m", depth(min(10.0, d + DEPTH_STEP_M)),
                lambda t: depth(d + (min(10.0, d + 3.0) - d) * t))  # fmt: skip
    v, w = limits.least_velocity_ms, limits.most_velocity_ms
    if v > 0:
        yield _Ease("least velocity", f"{v:.2f} m/s", silting(max(0.0, v - VELOCITY_STEP_MS)),
                    lambda t: silting(v * (1 - t)))  # fmt: skip
    yield _Ease("greatest velocity", f"{w:.2f} m/s", scour(w + SCOUR_STEP_MS),
                lambda t: scour(w + 4.0 * t))  # fmt: skip
    g, h = limits.least_gradient, limits.most_gradient
    yield _Ease("least gradient", _one_in(g), flat(g / GRADIENT_STEP),
                lambda t: flat(1 / (1 / g + (max(2000.0, 2 / g) - 1 / g) * t)))  # fmt: skip
    if h < 1:
        yield _Ease("greatest gradient", _one_in(h), steep(min(1.0, h * GRADIENT_STEP)),
                    lambda t: steep(h + (1.0 - h) * t))  # fmt: skip
    if limits.matching == "crown":
        yield _Ease("matching of crowns", "crowns",
                    ("inverts only", replace(limits, matching="invert"), end))  # fmt: skip
    if limits.spare_share > 0:
        spare = limits.spare_share
        yield _Ease("capacity to spare", f"{spare:.0%}",
                    ("none", replace(limits, spare_share=0.0), end))  # fmt: skip
    if not limits.may_step_down:
        yield _Ease("order of sizes", "no smaller downstream",
                    ("may step down", replace(limits, may_step_down=True), end))  # fmt: skip
    root = next(reach for reach in tree.reaches if reach.below is None)
    if end.least_m is not None and root.held is None:
        level = end.least_m

        def lower(by_m: float) -> tuple[str, SizingLimits, LowerEnd]:
            return f"{level - by_m:.2f} m", limits, replace(end, least_m=level - by_m)

        yield _Ease(f"level of {end.words}", f"{level:.2f} m", lower(END_STEP_M),
                    lambda t: lower(2.0 * t))  # fmt: skip
