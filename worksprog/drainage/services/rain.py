"""What keeps the club's tables of rain and the records of its gauges."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import ProtectedError

from worksprog.calc.rainfall import Depth, DepthTable
from worksprog.calc.rainfall.gauge import GaugeRead
from worksprog.clubs.models import Club, User
from worksprog.clubs.records import delete_record, save_record
from worksprog.drainage.models import DesignStorm, GaugeRecord, RainTable
from worksprog.drainage.queries.rain import FittedTable, check_serves_drains, design_rain_of

MOST_KEPT_WORDS = 300


def _table_of(depths: Sequence[Depth]) -> DepthTable:
    try:
        return DepthTable(tuple(depths))
    except ValueError as error:
        raise ValidationError({"depths": str(error)}) from error


@transaction.atomic
def keep_table(
    *,
    club: Club,
    by: User | None,
    name: str,
    depths: Sequence[Depth],
    source: str = "",
    origin: str = RainTable.Origin.ENTERED,
    row: RainTable | None = None,
) -> RainTable:
    """Keep a table of depths, new or in the place of ``row``'s.

    ValidationError naming each cell that cannot be, or a storm that the table would serve no more.
    """
    table = _table_of(depths)
    if row is not None and row.club_id != club.pk:
        raise ValidationError("This table is not this club's.")
    row = row or RainTable(club=club)
    row.name, row.source, row.origin = name, source, origin
    row.depths, row.fit = table.as_rows(), {}
    row = save_record(row, by=by)
    for storm in DesignStorm.objects.filter(club=club, table=row, is_live=True):
        storm.table = row
        try:
            rain = design_rain_of(storm)
            if rain is not None:
                check_serves_drains(rain)
        except ValueError as error:
            raise ValidationError(
                {"depths": f"{storm.name} is checked by this table. {error}"}
            ) from error
    return row


@transaction.atomic
def keep_fitted(
    *, club: Club, by: User | None, name: str, record: GaugeRecord, fitted: FittedTable
) -> RainTable:
    """Keep the depths that a law gives for the record's durations. ValidationError in words."""
    table = _table_of(fitted.depths)
    row = RainTable(
        club=club,
        name=name,
        origin=RainTable.Origin.FITTED,
        source=f"{record.name}, {fitted.words}"[:200],
        depths=table.as_rows(),
        fit={
            "record": str(record.uuid),
            "law": fitted.law,
            "years": fitted.years,
            "warnings": list(fitted.warnings),
        },
    )
    return save_record(row, by=by)


@transaction.atomic
def forget_table(*, row: RainTable, by: User | None) -> None:
    """Take a table away; refused while a storm, live or earlier, was set by it."""
    try:
        delete_record(row, by=by)
    except ProtectedError as error:
        raise ValidationError(
            f"{row.name} stays: a design storm was set by it, and the records lean on it."
        ) from error


@transaction.atomic
def keep_gauge(
    *,
    club: Club,
    by: User | None,
    name: str,
    read: GaugeRead,
    year_begins: int,
    source: str = "",
) -> GaugeRecord:
    """Keep the most of each year, the rain of each day, and what had to be left out."""
    words = [*read.doubts, *read.notes]
    words += [f"line {one.line}: {one.words}" for one in read.refused]
    if len(words) > MOST_KEPT_WORDS:
        more = len(words) - MOST_KEPT_WORDS
        words = [*words[:MOST_KEPT_WORDS], f"and {more} more"]
    record = GaugeRecord(
        club=club,
        name=name,
        kind=read.kind,
        source=source,
        year_begins=year_begins if read.kind == GaugeRecord.Kind.DAILY else 1,
        maxima=[[one.year, one.duration_min, one.depth_mm] for one in read.rows],
        left_out=words,
        daily=_daily_row(read.days),
    )
    return save_record(record, by=by)


def _daily_row(days: Mapping[date, float]) -> dict[str, Any]:
    if not days:
        return {}
    first = min(days)
    count = (max(days) - first).days + 1
    rain = [days.get(first + timedelta(days=step)) for step in range(count)]
    return {"first": first.isoformat(), "mm": rain}


@transaction.atomic
def forget_gauge(*, record: GaugeRecord, by: User | None) -> None:
    """Take a record away. Tables fitted to it stay, with its name in their source."""
    delete_record(record, by=by)
