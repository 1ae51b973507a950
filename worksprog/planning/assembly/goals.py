"""The manager's goals as weights, and what each counts in a schedule."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from worksprog.calc.solver import Problem, Schedule, Way
from worksprog.planning.bridge import ItemFacts
from worksprog.planning.goals import CLOSING, GOALS, OUT_OF_PLAY, STEADY, in_full
from worksprog.works.models import ItemState

FIRST_PROJECT, LAST_PROJECT = 5.0, 1.0
ON_SITE = 50.0
HIGHEST = 8.0


@dataclass(frozen=True)
class Counted:
    """One goal's part of a schedule's points: amount × weight."""

    words: str
    amount: float
    unit: str
    weight: float

    @property
    def points(self) -> float:
        return self.amount * self.weight


@dataclass(frozen=True)
class Goals:
    """Weights of the goals: the first counts twice the second, and so on.

    share   each job's part of the work, percent, by gang-days (half of one at the least)
    factor  5 for the first project down to 1 for the last; 50 for work on site
    """

    weights: Mapping[str, float]
    share: Mapping[int, float]
    factor: Mapping[int, float]
    holes: Mapping[int, int]

    def day_weight(self, key: int) -> float:
        """Points of one day later until in play."""
        closes = self.weights[CLOSING] if self.holes[key] else 0.0
        return round(self.share[key] * (self.factor[key] + closes), 2)

    def way_cost(self, key: int, days: int, lacking: float) -> int:
        """Points of a way of so many days, with so many people fewer than the gang."""
        out = self.weights[OUT_OF_PLAY] * self.holes[key] * days
        return round(out + self.weights[STEADY] * lacking * days)

    def count(
        self, problem: Problem, schedule: Schedule, lacking: Mapping[tuple[int, int], float]
    ) -> list[Counted]:
        """What each goal comes to; ``lacking`` people by job and way."""
        order = closing = out = steady = 0.0
        for key, one in schedule.placed.items():
            if key not in self.share:
                continue
            way: Way = problem.tasks[problem.place[key]].ways[one.way]
            order += self.share[key] * self.factor[key] * one.in_play
            if self.holes[key]:
                closing += self.share[key] * one.in_play
            out += self.holes[key] * way.days
            steady += lacking.get((key, one.way), 0.0) * way.days
        return [
            Counted("projects in the manager’s order, work on site before all", order,
                    "percent of the work × factor × days", 1.0),
            Counted(GOALS[CLOSING], closing, "percent of the work × days", self.weights[CLOSING]),
            Counted(GOALS[OUT_OF_PLAY], out, "holes × working days", self.weights[OUT_OF_PLAY]),
            Counted(GOALS[STEADY], steady, "people short of the gang × days",
                    self.weights[STEADY]),
        ]  # fmt: skip


def goals_of(items: Sequence[ItemFacts], wanted: Sequence[str], day_h: float) -> Goals:
    weights = {goal: HIGHEST / 2**place for place, goal in enumerate(in_full(wanted))}
    sizes = {
        one.item.pk: max(one.left_h / (one.gang * day_h), float(one.least_days), 0.5)
        for one in items
    }
    whole = math.fsum(sizes.values()) or 1.0
    projects = sorted(
        {(one.item.phase.project.priority, one.item.phase.project.code) for one in items}
    )
    step = (FIRST_PROJECT - LAST_PROJECT) / max(len(projects) - 1, 1)
    rank = {project: FIRST_PROJECT - step * place for place, project in enumerate(projects)}

    def factor(one: ItemFacts) -> float:
        if one.item.state == ItemState.ON_SITE:
            return ON_SITE
        return rank[one.item.phase.project.priority, one.item.phase.project.code]

    return Goals(
        weights=weights,
        share={key: 100 * size / whole for key, size in sizes.items()},
        factor={one.item.pk: factor(one) for one in items},
        holes={one.item.pk: one.holes_closed for one in items},
    )
