"""What changes windows, crew hours, closures and plans."""

from __future__ import annotations

import time
from collections.abc import Iterable
from dataclasses import asdict, replace
from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from worksprog.calc import workdays
from worksprog.clubs.models import Club, User
from worksprog.clubs.records import delete_record, save_record, save_records, update_records
from worksprog.planning import bridge, proposing
from worksprog.planning.defaults import WINDOWS, usual_year
from worksprog.planning.models import (
    Closure,
    CrewWeek,
    ItemPlanning,
    Plan,
    PlanRules,
    WorkWindow,
)
from worksprog.planning.proposing import Proposal
from worksprog.works.models import Item, Programme


@transaction.atomic
def load_default_windows(*, club: Club, by: User | None) -> list[WorkWindow]:
    """Add the usual windows of every kind of work that has none yet."""
    known = set(WorkWindow.objects.filter(club=club).values_list("kind", flat=True))
    rows = [
        WorkWindow(
            club=club,
            kind=window.kind,
            from_month=window.opens.month,
            from_day=window.opens.day,
            to_month=window.closes.month,
            to_day=window.closes.day,
            reason=window.reason,
            is_firm=window.firm,
        )
        for window in WINDOWS
        if window.kind not in known
    ]
    return save_records(rows, by=by, label="usual working windows")


def keep_window(*, window: WorkWindow, by: User | None) -> WorkWindow:
    """Save a new or changed window. Raises ValidationError for days that no year has."""
    return save_record(window, by=by)


def drop_window(*, window: WorkWindow, by: User | None) -> None:
    delete_record(window, by=by)


def keep_closure(*, closure: Closure, by: User | None) -> Closure:
    return save_record(closure, by=by)


def drop_closure(*, closure: Closure, by: User | None) -> None:
    delete_record(closure, by=by)


def keep_plan_rules(*, rules: PlanRules, by: User | None) -> PlanRules:
    return save_record(rules, by=by)


def keep_item_planning(*, planning: ItemPlanning, by: User | None) -> ItemPlanning:
    return save_record(planning, by=by)


def set_crew_week(
    *, club: Club, week: int, crew_h: float, routine_h: float, note: str = "", by: User | None
) -> CrewWeek:
    """Set one week of the usual year. Raises ValidationError when routine exceeds the crew."""
    row = CrewWeek.objects.filter(club=club, week=week).first() or CrewWeek(club=club, week=week)
    row.crew_h, row.routine_h, row.note = crew_h, routine_h, note
    return save_record(row, by=by)


@transaction.atomic
def set_crew_pattern(
    *, club: Club, weeks: Iterable[workdays.CrewWeek], by: User | None
) -> list[CrewWeek]:
    """Set many weeks of the usual year at once; weeks not given stay as they are.

    Raises ValidationError, naming the week, when routine work takes more than the crew has.
    """
    rows = {row.week: row for row in CrewWeek.objects.filter(club=club)}
    new, changed = [], []
    for week in weeks:
        if week.routine_h > week.crew_h:
            raise ValidationError(
                f"Week {week.week}: routine work takes {week.routine_h:g} h, the crew has "
                f"{week.crew_h:g} h."
            )
        row = rows.get(week.week)
        if row is None:
            row = CrewWeek(club=club, week=week.week)
            new.append(row)
        else:
            changed.append(row)
        row.crew_h, row.routine_h, row.note = week.crew_h, week.routine_h, week.note
        row.clean_fields()
    save_records(new, by=by, label="crew hours of the usual year")
    update_records(
        changed,
        fields=["crew_h", "routine_h", "note"],
        by=by,
        label="crew hours of the usual year",
    )
    return [*new, *changed]


def load_usual_year(*, club: Club, crew_h: float, by: User | None) -> list[CrewWeek]:
    """Fill the usual year for a crew that works ``crew_h`` hours a week."""
    return set_crew_pattern(club=club, weeks=usual_year(crew_h), by=by)


def make_plan(*, programme: Programme, by: User | None, today: date | None = None) -> Plan:
    """Make the programme's plan again; the one it replaces is kept to show what moved.

    Baselines stay for ever. Reading and arithmetic happen before anything is written.
    """
    began = time.monotonic()
    day = today or programme.club.today()
    read_at = timezone.now()
    proposal = proposing.propose(bridge.read_facts(programme, day))
    return keep_plan(
        programme=programme,
        proposal=proposal,
        as_of=day,
        read_at=read_at,
        seconds=time.monotonic() - began,
        by=by,
    )


def keep_plan(
    *,
    programme: Programme,
    proposal: Proposal,
    as_of: date,
    read_at: datetime,
    seconds: float,
    by: User | None,
) -> Plan:
    """Keep a proposal as the live plan. ``read_at``: when what it rests on was read."""
    solved, problem = proposal.solved, proposal.assembled.problem
    # Without a place for every job there is nothing that the floor could be compared with.
    bound = None if solved.schedule.unplaced else solved.bound
    uuids = {dated.item.pk: str(dated.item.uuid) for dated in proposal.dated}
    with transaction.atomic():
        # Two who press at once are let in one after the other.
        Programme.objects.select_for_update().get(pk=programme.pk)
        for plan in Plan.objects.filter(programme=programme, baseline_name="", is_live=False):
            delete_record(plan, by=by)
        for plan in Plan.objects.filter(programme=programme, is_live=True):
            plan.is_live = False
            save_record(plan, by=by)
        made = save_record(
            Plan(
                club=programme.club,
                programme=programme,
                made_by=by,
                made_at=read_at,
                as_of=as_of,
                goal=problem.goal(replace(solved.schedule, unplaced=())),
                bound=bound,
                is_best=solved.is_best,
                found_by=solved.by,
                looked_at=solved.looked_at,
                seconds=seconds,
                conflicts=[
                    {
                        "job": uuids[one.job],
                        "words": one.words,
                        "smallest": one.is_smallest,
                        "wishes": [[wish.name, wish.words] for wish in one.wishes],
                    }
                    for one in proposal.conflicts
                ],
                reckoning=[asdict(one) for one in proposal.counted],
                weeks=proposal.weeks,
                notes=proposal.notes,
            ),
            by=by,
        )
        save_records(
            [bridge.row_of(dated, plan=made) for dated in proposal.dated],
            by=by,
            label=f"dates of {programme}",
        )
    return made


def keep_baseline(*, plan: Plan, name: str, by: User | None) -> Plan:
    """Keep a plan for ever under a name, to measure slip against.

    Raises ValidationError without a name, or when the plan is a baseline already.
    """
    name = name.strip()
    if not name:
        raise ValidationError({"name": "Give the baseline a name, as “Agreed May 2026”."})
    if plan.baseline_name:
        raise ValidationError({"name": f"This plan is kept already as “{plan.baseline_name}”."})
    plan.baseline_name, plan.baseline_kept_at = name, timezone.now()
    return save_record(plan, by=by)


def planning_of(item: Item) -> ItemPlanning:
    """What the plan is told about an item; a new unsaved row where nothing was told."""
    return ItemPlanning.objects.filter(item=item).first() or ItemPlanning(club=item.club, item=item)
