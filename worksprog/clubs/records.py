"""The one door through which rows are written, so that who and when are always kept."""

from __future__ import annotations

import datetime
import uuid
from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Any, TypeVar

from django.db import models, transaction

from worksprog.clubs.models import Change, Club, User

Row = TypeVar("Row", bound=models.Model)


def _club_of(row: models.Model) -> Club:
    return row if isinstance(row, Club) else row.club  # type: ignore[attr-defined]


def _shown(value: Any) -> Any:
    """A value as the record keeps it: JSON's own types, long or binary values by their size."""
    if value is None or isinstance(value, bool | int | float):
        return value
    if isinstance(value, bytes | memoryview):
        return f"{len(value)} bytes"
    if isinstance(value, Decimal | uuid.UUID):
        return str(value)
    if isinstance(value, datetime.date | datetime.datetime | datetime.time):
        return value.isoformat()
    text = getattr(value, "wkt", None) or str(value)
    return text if len(text) <= 500 else f"{text[:480]}… ({len(text)} characters)"


def _facts(row: models.Model) -> dict[str, Any]:
    return {
        field.attname: _shown(getattr(row, field.attname))
        for field in row._meta.concrete_fields
        if not field.primary_key
    }


def _keep(row: models.Model, *, action: str, details: dict[str, Any], by: User | None) -> None:
    Change.objects.create(
        club=_club_of(row),
        by=by,
        action=action,
        kind=row._meta.model_name or "",
        record_uuid=getattr(row, "uuid", None),
        label=str(row)[:200],
        details=details,
    )


@transaction.atomic
def save_record(row: Row, *, by: User | None) -> Row:
    """Check, save and record one row; ``by`` is None only for what the machine itself does.

    Raises ValidationError when the row breaks a rule; nothing is then written.
    """
    row.full_clean()
    before = type(row)._default_manager.filter(pk=row.pk).first() if row.pk else None
    if before is None:
        row.save()
        _keep(row, action="added", details=_facts(row), by=by)
        return row
    old, new = _facts(before), _facts(row)
    moved = {name: [old[name], new[name]] for name in new if old[name] != new[name]}
    row.save()
    if moved:
        _keep(row, action="changed", details=moved, by=by)
    return row


@transaction.atomic
def save_records(rows: Sequence[Row], *, by: User | None, label: str) -> list[Row]:
    """Add many new rows of one model at once, kept as one change that counts them.

    The caller has checked the rows; database constraints still hold. Returns the rows with keys.
    """
    if not rows:
        return []
    model = type(rows[0])
    made = model._default_manager.bulk_create(rows, batch_size=500)
    Change.objects.create(
        club=_club_of(rows[0]),
        by=by,
        action="added",
        kind=model._meta.model_name or "",
        label=label[:200],
        details={"count": len(made)},
    )
    return list(made)


@transaction.atomic
def update_records(
    rows: Sequence[Row], *, fields: Iterable[str], by: User | None, label: str
) -> None:
    """Change the same fields of many rows of one model, kept as one change with old and new."""
    if not rows:
        return
    model, names = type(rows[0]), list(fields)
    attnames = [model._meta.get_field(name).attname for name in names]  # type: ignore[union-attr]
    old = model._default_manager.in_bulk([row.pk for row in rows])
    moved = {
        str(getattr(row, "uuid", row.pk)): {
            name: [_shown(getattr(old[row.pk], name)), _shown(getattr(row, name))]
            for name in attnames
            if getattr(old[row.pk], name) != getattr(row, name)
        }
        for row in rows
        if row.pk in old
    }
    moved = {key: value for key, value in moved.items() if value}
    if not moved:
        return
    model._default_manager.bulk_update(rows, names, batch_size=500)
    Change.objects.create(
        club=_club_of(rows[0]),
        by=by,
        action="changed",
        kind=model._meta.model_name or "",
        label=label[:200],
        details=moved,
    )


@transaction.atomic
def rewrite_records(
    rows: Sequence[Row], *, fields: Iterable[str], told: Iterable[str], by: User | None, label: str
) -> None:
    """Write ``fields`` of very many rows of one model at once, kept as one change.

    For figures that are worked out anew: of each row only ``told`` is kept, old and new. The caller
    has checked the rows.
    """
    if not rows:
        return
    model, names, kept = type(rows[0]), list(fields), list(told)
    old = {
        pk: values
        for pk, *values in model._default_manager.filter(
            pk__in=[row.pk for row in rows]
        ).values_list("pk", *kept)
    }
    moved: dict[str, dict[str, list[Any]]] = {}
    for row in rows:
        was = dict(zip(kept, old.get(row.pk, ()), strict=False))
        changed = {
            name: [_shown(was[name]), _shown(getattr(row, name))]
            for name in was
            if was[name] != getattr(row, name)
        }
        if changed:
            moved[str(getattr(row, "uuid", row.pk))] = changed
    # One statement a batch, where an UPDATE would weigh every row against every other.
    model._default_manager.bulk_create(
        rows, batch_size=500, update_conflicts=True, unique_fields=["id"], update_fields=names
    )
    if moved:
        Change.objects.create(
            club=_club_of(rows[0]),
            by=by,
            action="changed",
            kind=model._meta.model_name or "",
            label=label[:200],
            details=moved,
        )


@transaction.atomic
def delete_record(row: models.Model, *, by: User | None) -> None:
    """Remove one row and keep what it said."""
    _keep(row, action="removed", details=_facts(row), by=by)
    row.delete()


@transaction.atomic
def set_links(
    row: models.Model, name: str, others: Iterable[models.Model], *, by: User | None
) -> None:
    """Set a many-to-many of ``row`` and record which ends came and went."""
    manager = getattr(row, name)
    before = {other.pk: str(other) for other in manager.all()}
    after = {other.pk: str(other) for other in others}
    if before.keys() == after.keys():
        return
    manager.set(list(after))
    _keep(
        row,
        action="changed",
        details={name: [sorted(before.values()), sorted(after.values())]},
        by=by,
    )
