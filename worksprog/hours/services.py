"""What changes logged hours. Nothing is logged twice, nothing approved is overwritten."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.db.models import Sum
from django.utils import timezone

from worksprog.clubs.models import Club, Membership, User
from worksprog.clubs.permissions import may
from worksprog.clubs.records import save_record, save_records, update_records
from worksprog.hours.models import HourEntry
from worksprog.hours.words import amount, unit_words
from worksprog.works.models import Estimate, Item

HALF = Decimal("0.5")
DAY = Decimal(24)
# So far over the plan a figure is a slip, not work: common practice, no source.
SLIP = 2.0


def _half_hours(hours: Decimal | float | int | str, *, at_least: Decimal = HALF) -> Decimal:
    try:
        value = Decimal(str(hours))
    except ArithmeticError as error:
        raise ValidationError({"hours": f"Hours are a number; got “{hours}”."}) from error
    if not value.is_finite() or value % HALF:
        raise ValidationError({"hours": f"Hours go in half-hour steps; got {hours}."})
    if not at_least <= value <= DAY:
        raise ValidationError(
            {"hours": f"Hours on one day are from {at_least} to 24; got {hours}."}
        )
    return value


def _words(hours: Decimal) -> str:
    return f"{hours.normalize():f}"


def _check_work(club: Club, item: Item | None, routine: str, quantity: float | None) -> None:
    if (item is None) == (not routine):
        raise ValidationError({"item": "Choose a job, or one kind of routine work."})
    if item is not None and item.club_id != club.pk:
        raise ValidationError({"item": "This club has no such job."})
    if item is None and quantity is not None:
        raise ValidationError({"quantity": "Routine work has no quantity."})


def _estimates(items: Iterable[Item | None]) -> dict[int, Estimate]:
    keys = {item.pk for item in items if item is not None}
    live = Estimate.objects.filter(item__in=keys, is_live=True)
    return {one.item_id: one for one in live.only("item_id", "quantity", "unit")}


def _check_quantity(
    item: Item | None,
    quantity: float | None,
    estimates: dict[int, Estimate],
    besides: int | None = None,
) -> None:
    """One entry alone cannot be more than ``SLIP`` times what the whole job is planned to be."""
    estimate = estimates.get(item.pk) if item is not None else None
    if item is None or estimate is None or not quantity:
        return
    if not 0 < estimate.quantity * SLIP < quantity:
        return
    others = HourEntry.objects.counted().filter(item=item)
    if besides is not None:
        others = others.exclude(pk=besides)
    done = others.aggregate(total=Sum("quantity"))["total"] or 0.0
    unit = unit_words(item.kind, estimate.unit)
    raise ValidationError(
        {
            "quantity": (
                f"{amount(quantity, unit)} is more than twice the whole job: planned "
                f"{amount(estimate.quantity, unit)}, done so far {amount(done, unit)}, entered "
                f"{amount(quantity, unit)}. Put the figure right; if it is right, the estimate has "
                "to be changed first."
            )
        }
    )


def _check_day(worked_on: date, today: date) -> None:
    if worked_on > today:
        raise ValidationError(
            {
                "worked_on": (
                    f"{worked_on.day} {worked_on:%b %Y} is still to come: at the club it is "
                    f"{today.day} {today:%b %Y}. Choose the day it was worked, and look at the "
                    "phone's clock."
                )
            }
        )


def _check_total(person: Membership, worked_on: date, hours: Decimal, besides: int | None) -> None:
    others = HourEntry.objects.standing().filter(person=person, worked_on=worked_on)
    if besides is not None:
        others = others.exclude(pk=besides)
    _check_room(others.aggregate(total=Sum("hours"))["total"] or Decimal(0), hours)


def _check_room(logged: Decimal, hours: Decimal) -> None:
    if logged + hours > DAY:
        raise ValidationError(
            {
                "hours": (
                    f"The day would have {_words(logged + hours)} h; 24 is the most. "
                    f"{_words(logged)} h are logged on it already."
                )
            }
        )


def _lock(person: Membership) -> None:
    """One at a time for each person, so that a day's total holds when two phones send at once."""
    Membership.objects.select_for_update().get(pk=person.pk)


def _already(club: Club, person: Membership, client_id: uuid.UUID) -> HourEntry | None:
    entry = HourEntry.objects.select_related("item").filter(club=club, client_id=client_id).first()
    if entry is not None and entry.person_id != person.pk:
        raise ValidationError("This entry's number is another person's; log it again.")
    return entry


def log_hours(
    *,
    club: Club,
    person: Membership,
    client_id: uuid.UUID,
    worked_on: date,
    hours: Decimal | float | int | str,
    item: Item | None = None,
    routine: str = "",
    quantity: float | None = None,
    ground: str = "",
    note: str = "",
    today: date | None = None,
) -> HourEntry:
    """Log one person's hours on one job, or on one kind of routine work, on one day.

    The same ``client_id`` again gives the entry that stands and writes nothing: a double tap, a
    lost reply and a resend log once. ``today`` is the club's own day when it is not told.
    ValidationError says what is wrong by field.
    """
    try:
        with transaction.atomic():
            _lock(person)
            if (entry := _already(club, person, client_id)) is not None:
                return entry
            if person.club_id != club.pk or not person.is_active:
                raise PermissionDenied
            _check_work(club, item, routine, quantity)
            value = _half_hours(hours)
            _check_day(worked_on, today or club.today())
            _check_total(person, worked_on, value, None)
            _check_quantity(item, quantity, _estimates([item]))
            entry = HourEntry(
                club=club,
                client_id=client_id,
                person=person,
                item=item,
                routine=routine,
                worked_on=worked_on,
                hours=value,
                quantity=quantity,
                ground=ground,
                note=note.strip(),
            )
            return save_record(entry, by=person.user)
    except (IntegrityError, ValidationError):
        # The same number from two people at once: the lock is per person, the constraint decides.
        entry = _already(club, person, client_id)
        if entry is None:
            raise
        return entry


@dataclass(frozen=True)
class Worked:
    """One entry of a sheet of hours that is taken in as a whole."""

    person: Membership
    client_id: uuid.UUID
    worked_on: date
    hours: Decimal | float | int | str
    item: Item | None = None
    routine: str = ""
    quantity: float | None = None
    ground: str = ""
    note: str = ""


@transaction.atomic
def log_sheet(
    *, club: Club, sheet: Sequence[Worked], by: User, today: date | None = None
) -> list[HourEntry]:
    """Log many entries at once by the rules of ``log_hours``; all of them or, with a fault, none.

    What is known by its number is left as it stands. Kept as one change that counts the entries.
    A handful of queries, however many. ValidationError names the entry and what is wrong with it.
    """
    people = {one.person.pk: one.person for one in sheet}
    for person in Membership.objects.select_for_update().filter(pk__in=people).order_by("pk"):
        if person.club_id != club.pk or not person.is_active:
            raise PermissionDenied
    days = [one.worked_on for one in sheet]
    standing = HourEntry.objects.standing().filter(person__in=people)
    totals: dict[tuple[int, date], Decimal] = defaultdict(Decimal)
    if days:
        for key, day, hours in standing.filter(worked_on__range=(min(days), max(days))).values_list(
            "person_id", "worked_on", "hours"
        ):
            totals[key, day] += hours
    known = set(
        HourEntry.objects.filter(club=club, person__in=people).values_list("client_id", flat=True)
    )
    estimates = _estimates(one.item for one in sheet)
    now, rows = today or club.today(), []
    for place, one in enumerate(sheet, start=1):
        if one.client_id in known:
            continue
        known.add(one.client_id)
        try:
            row = _checked(club, one, now, totals, estimates)
        except ValidationError as error:
            raise ValidationError(
                f"Entry {place}, {one.person.user}, {one.worked_on}: {' '.join(error.messages)} "
                "Nothing was logged."
            ) from error
        rows.append(row)
    return save_records(rows, by=by, label=f"{len(rows)} entries of hours logged")


def _checked(
    club: Club,
    one: Worked,
    today: date,
    totals: dict[tuple[int, date], Decimal],
    estimates: dict[int, Estimate],
) -> HourEntry:
    _check_work(club, one.item, one.routine, one.quantity)
    hours = _half_hours(one.hours)
    _check_day(one.worked_on, today)
    _check_room(totals[one.person.pk, one.worked_on], hours)
    totals[one.person.pk, one.worked_on] += hours
    _check_quantity(one.item, one.quantity, estimates)
    row = HourEntry(
        club=club,
        client_id=one.client_id,
        person=one.person,
        item=one.item,
        routine=one.routine,
        worked_on=one.worked_on,
        hours=hours,
        quantity=one.quantity,
        ground=one.ground,
        note=one.note.strip(),
    )
    # The rows they point to were fetched; asking for each again would take a query an entry.
    row.clean_fields(exclude=["club", "person", "item"])
    return row


@transaction.atomic
def correct_hours(
    *,
    entry: HourEntry,
    by: Membership,
    hours: Decimal | float | int | str,
    quantity: float | None = None,
    ground: str | None = None,
    note: str | None = None,
    worked_on: date | None = None,
    today: date | None = None,
) -> HourEntry:
    """Put an entry right: by the one who logged it, until it is approved.

    A queried entry that was put right stands for approval again. ValidationError once it is
    approved or withdrawn; PermissionDenied for anybody else.
    """
    entry = _own_open(entry, by)
    if entry.item_id is None and quantity is not None:
        raise ValidationError({"quantity": "Routine work has no quantity."})
    entry.hours = _half_hours(hours)
    entry.worked_on = worked_on or entry.worked_on
    _check_day(entry.worked_on, today or entry.club.today())
    _check_total(by, entry.worked_on, entry.hours, entry.pk)
    _check_quantity(entry.item, quantity, _estimates([entry.item]), entry.pk)
    entry.quantity = quantity
    if ground is not None:
        entry.ground = ground
    if note is not None:
        entry.note = note.strip()
    entry.state = HourEntry.State.LOGGED
    entry.reason = ""
    return save_record(entry, by=by.user)


@transaction.atomic
def withdraw_hours(*, entry: HourEntry, by: Membership) -> HourEntry:
    """Take an entry back: by the one who logged it, until it is approved. Twice is as once."""
    if entry.state == HourEntry.State.WITHDRAWN and entry.person_id == by.pk:
        return entry
    entry = _own_open(entry, by)
    entry.state = HourEntry.State.WITHDRAWN
    return save_record(entry, by=by.user)


def _own_open(entry: HourEntry, by: Membership) -> HourEntry:
    if entry.person_id != by.pk:
        raise PermissionDenied
    _lock(by)
    entry = (
        HourEntry.objects.select_for_update(of=("self",))
        .select_related("club", "item")
        .get(pk=entry.pk)
    )
    if entry.state == HourEntry.State.APPROVED:
        raise ValidationError(
            "It is approved by now and stands; the course manager can put it right by a new row."
        )
    if entry.state == HourEntry.State.WITHDRAWN:
        raise ValidationError("It was withdrawn; log the hours again.")
    return entry


@transaction.atomic
def correct_approved(
    *,
    entry: HourEntry,
    by: Membership,
    hours: Decimal | float | int | str,
    reason: str,
    quantity: float | None = None,
) -> HourEntry:
    """Put an approved entry right by a new row that names it; the old one is kept and not counted.

    0 hours: it was not worked at all. The new row is approved with it. ValidationError when the
    entry is not approved, was corrected before, or no reason is given.
    """
    if by.club_id != entry.club_id or not may(by.role, "hours.approve"):
        raise PermissionDenied
    person = Membership.objects.select_for_update().get(pk=entry.person_id)
    entry = HourEntry.objects.select_related("club", "item").get(pk=entry.pk)
    if entry.state != HourEntry.State.APPROVED:
        raise ValidationError("Only what is approved is corrected by a new row.")
    if HourEntry.objects.filter(corrects=entry).exists():
        raise ValidationError("It was corrected before; correct the row that stands in its place.")
    if not reason.strip():
        raise ValidationError({"reason": "Say why, so that the record explains itself."})
    if entry.item_id is None and quantity is not None:
        raise ValidationError({"quantity": "Routine work has no quantity."})
    value = _half_hours(hours, at_least=Decimal(0))
    _check_total(person, entry.worked_on, value, entry.pk)
    _check_quantity(entry.item, quantity, _estimates([entry.item]), entry.pk)
    row = HourEntry(
        club=entry.club,
        person=person,
        item=entry.item,
        routine=entry.routine,
        worked_on=entry.worked_on,
        hours=value,
        quantity=quantity,
        ground=entry.ground,
        note=entry.note,
        state=HourEntry.State.APPROVED,
        decided_at=timezone.now(),
        decided_by=by.user,
        reason=reason.strip(),
        corrects=entry,
    )
    return save_record(row, by=by.user)


@transaction.atomic
def approve_hours(*, club: Club, entries: Iterable[HourEntry], by: User) -> int:
    """Approve what is logged or queried; what is approved or withdrawn stays. How many were."""
    rows = list(
        HourEntry.objects.select_for_update()
        .filter(club=club, pk__in=[entry.pk for entry in entries])
        .filter(state__in=[HourEntry.State.LOGGED, HourEntry.State.QUERIED])
        .order_by("pk")
    )
    now = timezone.now()
    for row in rows:
        row.state, row.decided_at, row.decided_by = HourEntry.State.APPROVED, now, by
        row.reason = ""
    update_records(
        rows,
        fields=["state", "decided_at", "decided_by", "reason"],
        by=by,
        label=f"{len(rows)} entries of hours approved",
    )
    return len(rows)


@transaction.atomic
def query_hours(*, entry: HourEntry, by: User, reason: str) -> HourEntry:
    """Ask the one who logged it; it does not count until it is put right or approved."""
    if not reason.strip():
        raise ValidationError({"reason": "Say what is in question."})
    entry = HourEntry.objects.select_for_update().get(pk=entry.pk)
    if entry.state not in (HourEntry.State.LOGGED, HourEntry.State.QUERIED):
        raise ValidationError(f"It is {entry.get_state_display()} by now; nothing was changed.")
    entry.state = HourEntry.State.QUERIED
    entry.reason = reason.strip()
    entry.decided_at, entry.decided_by = timezone.now(), by
    return save_record(entry, by=by)
