"""Simulations of a programme that are kept, and the rules they go by."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.db import transaction

from worksprog.calc.simulation.run import Tell
from worksprog.clubs.models import User
from worksprog.clubs.records import delete_record, save_record, save_records
from worksprog.runs.models import Run
from worksprog.runs.services import request_run
from worksprog.works import queries
from worksprog.works.bridge_ranges import Sways, spread_to_row
from worksprog.works.models import EstimateRules, Programme, RangeRow, RangesRun


def keep_ranges(*, programme: Programme, by: User | None, tell: Tell | None = None) -> RangesRun:
    """Draw the programme's figures and keep what was found in place of the run before.

    Drawn outside the transaction that writes. ValidationError in words: no estimate has a line, or
    a figure cannot be.
    """
    placed = queries.placed_items(programme)
    sways = Sways.of(queries.rules_of(programme.club))
    try:
        found = queries.draw_ranges(placed, queries.lines_of(placed), sways, ranked=True, tell=tell)
    except ValueError as error:
        raise ValidationError(str(error)) from error
    if found is None:
        raise ValidationError("No item of the programme has an estimate yet: work one out first.")
    return _write(programme, found, by)


@transaction.atomic
def _write(programme: Programme, found: queries.Ranges, by: User | None) -> RangesRun:
    for earlier in RangesRun.objects.filter(programme=programme):
        delete_record(earlier, by=by)
    run = save_record(
        RangesRun(
            club=programme.club,
            programme=programme,
            made_by=by,
            mark=found.mark,
            seed=found.sways.seed,
            draws=found.sways.draws,
            rules=found.sways.facts,
        ),
        by=by,
    )
    rows = [
        RangeRow(
            club=programme.club,
            run=run,
            order=order,
            level=row.level,
            key=row.key,
            label=row.label[:160],
            base_h=row.base_h,
            base_money=row.base_money,
            hours=spread_to_row(row.hours),
            money=spread_to_row(row.money),
            drivers=row.drivers,
        )
        for order, row in enumerate(found.rows.values())
    ]
    save_records(rows, by=by, label=f"{run}: {len(rows)} ranges")
    return run


def request_ranges(*, programme: Programme, by: User | None) -> Run:
    """Ask for the programme to be drawn as a job."""
    return request_run(
        club=programme.club,
        kind="works.simulation",
        inputs={"programme": str(programme.uuid)},
        by=by,
    )


def set_assumed(*, rules: EstimateRules, by: User | None) -> EstimateRules:
    """Keep how much figures sway together, by which curve, with how many draws and which seed.

    ValidationError where the shares of a figure come to more than the whole.
    """
    return save_record(rules, by=by)
