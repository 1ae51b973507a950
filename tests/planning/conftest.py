"""A small programme on the first club, made through the services."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import pytest
from shapely.geometry import LineString, Point

from tests.cast import Cast
from tests.planning.plan_checker import broken_rules
from worksprog.calc.workdays import CrewWeek
from worksprog.clubs.records import save_record
from worksprog.course.models import Feature
from worksprog.course.services import create_feature
from worksprog.planning.models import Plan
from worksprog.planning.services import load_default_windows, make_plan, set_crew_pattern
from worksprog.works.models import Estimate, Item, Phase, Programme
from worksprog.works.services import create_item, create_phase, create_programme, create_project

TODAY = dt.date(2026, 9, 7)
EAST, NORTH = 412_000.0, 318_000.0


@dataclass
class Course:
    """What the planning tests move about on: a programme and its jobs by name."""

    cast: Cast
    programme: Programme
    phase: Phase
    jobs: dict[str, Item] = field(default_factory=dict)

    def job(self, name: str, kind: str = "turfing", hours: float | None = 40, **facts: Any) -> Item:
        item = create_item(
            phase=facts.pop("phase", self.phase),
            kind=kind,
            name=name,
            by=self.cast.manager,
            growing_in_weeks=facts.pop("growing_in_weeks", 0),
            **facts,
        )
        if hours is not None:
            self.estimate(item, hours)
        self.jobs[name] = item
        return item

    def estimate(self, item: Item, hours: float) -> Estimate:
        row = Estimate.objects.filter(item=item, is_live=True).first() or Estimate(
            club=item.club, item=item, made_by=self.cast.manager
        )
        row.labour_low_h, row.labour_likely_h, row.labour_high_h = hours, hours, hours
        return save_record(row, by=self.cast.manager)

    def plan(self, today: dt.date = TODAY) -> Plan:
        plan = make_plan(programme=self.programme, by=self.cast.manager, today=today)
        assert broken_rules(plan) == []
        return plan

    def planned(self, plan: Plan, name: str) -> Any:
        return plan.items.get(item=self.jobs[name])

    def pipe(self, ref: str, begin: int, end: int, **facts: Any) -> Feature:
        """A pipe along one line: metres from its upper end to its lower one."""
        line = LineString([(EAST + begin, NORTH), (EAST + end, NORTH)])
        return create_feature(
            club=self.cast.club, kind="pipe", geometry=line, by=self.cast.manager, ref=ref,
            state=facts.pop("state", "proposed"), **facts,
        )  # fmt: skip

    def outfall(self, at: int) -> Feature:
        return create_feature(
            club=self.cast.club, kind="outfall", geometry=Point(EAST + at, NORTH),
            by=self.cast.manager, ref="O1",
        )  # fmt: skip


@pytest.fixture
def course(cast: Cast) -> Course:
    programme = create_programme(
        club=cast.club,
        name="Works 2026–28",
        starts_on=dt.date(2026, 9, 1),
        ends_on=dt.date(2028, 8, 31),
        by=cast.manager,
    )
    project = create_project(
        programme=programme, code="A", name="Brook drain", by=cast.manager, priority=1
    )
    phase = create_phase(project=project, name="First", by=cast.manager)
    return Course(cast, programme, phase)


@pytest.fixture
def crewed(course: Course) -> Course:
    """50 h a week left, 10 h a day, and the usual windows."""
    weeks = [CrewWeek(week, 200, 150) for week in range(1, 54)]
    set_crew_pattern(club=course.cast.club, weeks=weeks, by=course.cast.manager)
    load_default_windows(club=course.cast.club, by=course.cast.manager)
    return course


@pytest.fixture
def today(monkeypatch: pytest.MonkeyPatch) -> Callable[[dt.date], None]:
    """Put the date on the club's wall."""

    def put(day: dt.date) -> None:
        monkeypatch.setattr("worksprog.clubs.models.Club.today", lambda club: day)

    return put
