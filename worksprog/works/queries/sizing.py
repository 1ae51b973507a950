"""The sizing of a branch of drains: what it is worked out from, and what came of it."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from hashlib import sha256
from typing import Any
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from worksprog.calc.network import NetworkCheck
from worksprog.calc.sizing import (
    Answer,
    Conflict,
    Design,
    Eased,
    Parts,
    Sized,
    SizingLimits,
    Tree,
    WouldFit,
    size_until_flows_agree,
)
from worksprog.calc.sizing.figures import describe
from worksprog.calc.sizing.solve import Laid, Solution
from worksprog.clubs.models import Club
from worksprog.course.models import Feature, Kind, State
from worksprog.course.queries import live_ground
from worksprog.drainage.models import DrainReach
from worksprog.drainage.queries import check_network
from worksprog.drainage.services import mark_of
from worksprog.works import bridge, bridge_sizing
from worksprog.works.bridge_sizing import Priced, reaches_of, tree_of
from worksprog.works.models import OutputRate, Price

AT_ONCE = 12  # open reaches above which it is worked out as a job, not while the page waits


@dataclass(frozen=True)
class Branch:
    """A lower end that can be chosen, and what lies above it."""

    uuid: UUID
    name: str
    outfall: str
    reaches: int
    open: int
    length_m: float


def open_pipes(club: Club) -> frozenset[str]:
    """Keys of the pipes that are only proposed: their sizes and levels may still be chosen."""
    rows = Feature.objects.filter(club=club, kind=Kind.PIPE, state=State.PROPOSED)
    return frozenset(str(uuid) for uuid in rows.values_list("uuid", flat=True))


def branches(check: NetworkCheck, proposed: frozenset[str]) -> list[Branch]:
    """Every lowest reach with a pipe to be sized at it or above it."""
    found = []
    for reach in check.reaches:
        if reach.below or reach.build_step is None:
            continue
        keys = reaches_of(check, reach.key)
        open_keys = [key for key in keys if key in proposed]
        if open_keys:
            found.append(
                Branch(
                    UUID(reach.key), reach.name, reach.outfall_name, len(keys), len(open_keys),
                    sum(check.reach(key).length_m for key in open_keys),
                )
            )  # fmt: skip
    return found


@dataclass(frozen=True)
class Task:
    """All that a sizing is worked out from. ``seen`` is one word that changes when any of it does."""

    check: NetworkCheck
    tree: Tree
    priced: Priced
    limits: SizingLimits
    marks: Mapping[str, str]
    not_confirmed: tuple[str, ...]
    seen: str

    @property
    def open_count(self) -> int:
        return sum(reach.held is None for reach in self.tree.reaches)

    def solve(self, *, tell: Callable[[float, str], None] | None = None) -> Answer:
        def flows_of(design: Design) -> tuple[float, ...]:
            checked = bridge_sizing.with_design(self.check, design)
            return tuple(checked.reach(one.key).flow_m3s or 0.0 for one in self.tree.reaches)

        return size_until_flows_agree(
            self.tree, self.priced.costing, self.limits, flows_of, tell=tell
        )


def task_for(
    club: Club,
    root: UUID,
    limits: SizingLimits,
    *,
    inside_share: float,
    check: NetworkCheck | None = None,
) -> Task:
    """Read all that a sizing needs. KeyError for an unknown reach, CannotSize in words."""
    check = check or check_network(club)
    key = str(root)
    keys = reaches_of(check, key)
    ground = live_ground(club)

    def levels_at(points: NDArray[np.float64]) -> NDArray[np.float64]:
        assert ground is not None
        return np.asarray(ground.levels_at(points[:, 0], points[:, 1]), dtype=np.float64)

    prices = list(Price.objects.filter(club=club))
    rates = list(OutputRate.objects.filter(club=club))
    priced = bridge_sizing.costing_of(bridge.book_of_rows(prices, rates), inside_share=inside_share)
    tree = tree_of(check, key, None if ground is None else levels_at, open_keys=open_pipes(club))
    features = Feature.objects.filter(club=club, uuid__in=keys).select_related("reach")
    marks = {
        str(feature.uuid): mark_of(
            feature, getattr(feature, "reach", None) or DrainReach(club=club, feature=feature)
        )
        for feature in features
    }
    facts = json.dumps(
        [asdict(tree), asdict(priced.costing), asdict(limits), sorted(marks.items()),
         asdict(check.storm)],
        default=str,
    )  # fmt: skip
    return Task(
        check=check,
        tree=tree,
        priced=priced,
        limits=limits,
        marks=marks,
        not_confirmed=tuple(
            [one.name for one in prices if one.code in priced.codes and not one.is_confirmed]
            + [one.name for one in rates if one.code in priced.codes and not one.is_confirmed]
        ),
        seen=sha256(facts.encode()).hexdigest()[:16],
    )


def pack(answer: Answer) -> dict[str, Any]:
    """An answer as a job keeps it: the choices; all other figures follow from them."""

    def laid(design: Design | None) -> list[list[Any]] | None:
        if design is None:
            return None
        return [
            [one.key, None if one.size is None else one.size.bore_mm, one.upstream_m,
             one.downstream_m]
            for one in design.reaches
        ]  # fmt: skip

    return {
        "flows": [reach.flow_m3s for reach in answer.tree.reaches],
        "best": laid(answer.best),
        "second": laid(answer.second),
        "eased": [asdict(one) for one in answer.eased],
        "conflicts": [asdict(one) for one in answer.conflicts],
        "would_fit": [asdict(one) for one in answer.would_fit],
        "rounds": answer.rounds,
        "flow_short": answer.flow_short,
        "flow_over": answer.flow_over,
    }


def unpack(kept: Mapping[str, Any], task: Task) -> Answer:
    """The answer of a job for the same task."""
    tree = task.tree.with_flows(kept["flows"])
    sizes = {size.bore_mm: size for size in task.priced.costing.sizes}

    def design(rows: list[list[Any]] | None) -> Design | None:
        if rows is None:
            return None
        laid = {
            key: Laid(key, None if bore is None else sizes[bore], up, down)
            for key, bore, up, down in rows
        }
        return describe(Solution(0.0, laid), tree, task.priced.costing, task.limits)

    return Answer(
        tree=tree,
        best=design(kept["best"]),
        second=design(kept["second"]),
        eased=tuple(Eased(**one) for one in kept["eased"]),
        conflicts=tuple(Conflict(**one) for one in kept["conflicts"]),
        would_fit=tuple(WouldFit(**one) for one in kept["would_fit"]),
        rounds=kept["rounds"],
        flow_short=kept["flow_short"],
        flow_over=kept["flow_over"],
    )


@dataclass(frozen=True)
class Beside:
    """One reach of a design beside what is entered now."""

    sized: Sized
    now_mm: float | None
    now_upstream_m: float | None
    now_downstream_m: float | None
    now_verdict: str
    verdict: str
    other: Sized | None  # the same reach in the second-best design

    @property
    def changes(self) -> bool:
        return self.sized.size is not None and (
            self.now_mm is None
            or abs(self.now_mm - self.sized.size.inside_m * 1000) > 0.5
            or self.now_upstream_m != self.sized.upstream_m
            or self.now_downstream_m != self.sized.downstream_m
        )


def beside_now(task: Task, design: Design, second: Design | None) -> list[Beside]:
    """The reaches from the lower end up, with what the check says of them before and after."""
    after = bridge_sizing.with_design(task.check, design)
    found = []
    for sized in reversed(design.reaches):
        now = task.check.reach(sized.key)
        section = task.check.given[sized.key].section
        bore = getattr(section, "diameter_m", None)
        found.append(
            Beside(
                sized=sized,
                now_mm=None if bore is None else bore * 1000,
                now_upstream_m=now.upstream_level_m,
                now_downstream_m=now.downstream_level_m,
                now_verdict=now.verdict,
                verdict=after.reach(sized.key).verdict,
                other=None if second is None else second.reach(sized.key),
            )
        )
    return found


def present_money(task: Task) -> Parts | None:
    """What the sizes and levels entered now would cost at the same rates; None when any is missing

    or is of no size in the price book.
    """
    laid = {}
    for reach in task.tree.reaches:
        now = task.check.reach(reach.key)
        up, down = now.upstream_level_m, now.downstream_level_m
        if up is None or down is None:
            return None
        if reach.held is not None:
            laid[reach.key] = Laid(reach.key, None, up, down)
            continue
        bore = getattr(task.check.given[reach.key].section, "diameter_m", None)
        if bore is None:
            return None
        size = min(task.priced.costing.sizes, key=lambda one: abs(one.bore_mm / 1000 - bore))
        if not 0.8 <= bore / (size.bore_mm / 1000) <= 1.1:
            return None
        laid[reach.key] = Laid(reach.key, size, up, down)
    return describe(Solution(0.0, laid), task.tree, task.priced.costing, task.limits).money
