"""A club's week as the course manager approves it: people down, days across, oddities pointed out."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal

from worksprog.clubs.models import Club, Membership
from worksprog.clubs.permissions import MAY
from worksprog.hours.models import Ground, HourEntry
from worksprog.hours.words import amount, unit_words
from worksprog.works.models import Estimate, ItemState

LONG_DAY = Decimal(14)
FULL_DAY = Decimal(24)
CLOSED = (ItemState.DONE, ItemState.SHELVED)


@dataclass
class Cell:
    """One person's one day."""

    day: date
    entries: list[HourEntry] = field(default_factory=list)

    @property
    def hours(self) -> Decimal:
        return sum((one.hours for one in self.entries if one.counts), Decimal(0))

    @property
    def open(self) -> bool:
        return any(one.may_be_changed for one in self.entries)


@dataclass(frozen=True)
class Line:
    """One entry as it is listed."""

    entry: HourEntry
    done: str
    is_odd: bool


@dataclass(frozen=True)
class Measured:
    """What an entry's job was planned to be, and what of it was left before the entry."""

    planned: float
    left: float
    unit: str


@dataclass
class PersonWeek:
    person: Membership
    cells: list[Cell]
    oddities: list[str] = field(default_factory=list)
    odd_keys: set[int] = field(default_factory=set)
    units: dict[int, str] = field(default_factory=dict)

    @property
    def entries(self) -> list[HourEntry]:
        return [entry for cell in self.cells for entry in cell.entries]

    @property
    def lines(self) -> list[Line]:
        return [
            Line(
                entry,
                amount(entry.quantity, self.units.get(entry.pk, "")) if entry.quantity else "",
                entry.pk in self.odd_keys,
            )
            for entry in self.entries
        ]

    @property
    def hours(self) -> Decimal:
        return sum((cell.hours for cell in self.cells), Decimal(0))


@dataclass
class Week:
    monday: date
    people: list[PersonWeek]

    @property
    def days(self) -> list[date]:
        return [self.monday + timedelta(days=n) for n in range(7)]

    @property
    def entries(self) -> list[HourEntry]:
        return [entry for person in self.people for entry in person.entries]

    @property
    def hours(self) -> Decimal:
        return sum((person.hours for person in self.people), Decimal(0))

    @property
    def by_day(self) -> list[Decimal]:
        return [
            sum((person.cells[n].hours for person in self.people), Decimal(0)) for n in range(7)
        ]

    @property
    def waiting(self) -> list[HourEntry]:
        """What is still to be approved."""
        return [entry for entry in self.entries if entry.state == HourEntry.State.LOGGED]

    @property
    def plain(self) -> list[HourEntry]:
        """What may be approved all at once: it waits, and nothing about it is pointed out."""
        odd = {key for person in self.people for key in person.odd_keys}
        return [entry for entry in self.waiting if entry.pk not in odd]

    @property
    def left(self) -> int:
        """How many wait that are to be looked at one by one."""
        return len(self.waiting) - len(self.plain)

    @property
    def odd(self) -> int:
        return sum(len(person.oddities) for person in self.people)


def week_of(club: Club, monday: date) -> Week:
    """Everybody who logs hours, and what they logged from Monday to Sunday. Four queries."""
    monday -= timedelta(days=monday.weekday())
    entries = list(
        HourEntry.objects.filter(club=club, worked_on__range=(monday, monday + timedelta(days=6)))
        .exclude(state=HourEntry.State.WITHDRAWN)
        .select_related("item", "person__user", "decided_by", "corrects", "corrected_by")
        .order_by("worked_on", "id")
    )
    people = {
        person.pk: person
        for person in Membership.objects.filter(
            club=club, is_active=True, role__in=MAY["hours.log"]
        ).select_related("user")
    }
    for entry in entries:
        people.setdefault(entry.person_id, entry.person)
    rows = {
        key: PersonWeek(person, [Cell(monday + timedelta(days=n)) for n in range(7)])
        for key, person in people.items()
    }
    for entry in entries:
        rows[entry.person_id].cells[(entry.worked_on - monday).days].entries.append(entry)
    listed = sorted(rows.values(), key=lambda row: (row.person.role, str(row.person.user)))
    estimates = _estimates(entries)
    measured = _measured(entries, estimates)
    for row in listed:
        row.units = {
            entry.pk: unit_words(entry.item.kind, estimates[entry.item.pk].unit)
            for entry in row.entries
            if entry.item is not None and entry.item.pk in estimates
        }
        for cell in row.cells:
            for words, odd in _oddities(cell, measured):
                row.oddities.append(words)
                row.odd_keys.update(entry.pk for entry in odd)
    return Week(monday, listed)


def quantity_words(entry: HourEntry) -> str:
    """'12.5 m': what an entry measured, in its job's unit; empty where it measured nothing."""
    if not entry.quantity or entry.item is None:
        return ""
    estimate = _estimates([entry]).get(entry.item.pk)
    return amount(entry.quantity, unit_words(entry.item.kind, estimate.unit) if estimate else "")


def _estimates(entries: list[HourEntry]) -> dict[int, Estimate]:
    """The live estimates of the jobs that something was measured on, by item. One query."""
    items = {one.item_id for one in entries if one.item_id is not None and one.quantity}
    rows = Estimate.objects.filter(item__in=items, is_live=True)
    return {one.item_id: one for one in rows.only("item_id", "quantity", "unit")}


def _measured(entries: list[HourEntry], estimates: Mapping[int, Estimate]) -> dict[int, Measured]:
    """By entry; left is the plan less what counted before, in the order of days. One query."""
    kinds = {one.item.pk: one.item.kind for one in entries if one.item is not None}
    wanted = {one.pk for one in entries}
    done: dict[int, float] = defaultdict(float)
    found: dict[int, Measured] = {}
    rows = (
        HourEntry.objects.standing()
        .filter(item__in=list(estimates), quantity__gt=0)
        .order_by("worked_on", "id")
    )
    for row in rows.only("item_id", "quantity", "state"):
        if row.item_id is None or row.quantity is None:
            continue
        estimate = estimates[row.item_id]
        if row.pk in wanted:
            found[row.pk] = Measured(
                estimate.quantity,
                max(0.0, estimate.quantity - done[row.item_id]),
                unit_words(kinds[row.item_id], estimate.unit),
            )
        if row.state != HourEntry.State.QUERIED:
            done[row.item_id] += row.quantity
    return found


def _too_much(entry: HourEntry, measured: dict[int, Measured]) -> str:
    """Words on a quantity above what was left of the job; none where it fits."""
    known = measured.get(entry.pk)
    if known is None or not entry.quantity or known.planned <= 0:
        return ""
    if entry.quantity <= known.left + 0.05:
        return ""
    planned = f"a job of {amount(known.planned, known.unit)}"
    if known.left < known.planned:
        planned += f", {amount(known.left, known.unit)} of it left"
    return f"{amount(entry.quantity, known.unit)} on {planned}: {entry.what}."


Pointed = list[tuple[str, list[HourEntry]]]


def _oddities(cell: Cell, measured: dict[int, Measured]) -> Pointed:
    """What a manager would want to ask about, with the entries it is about; decides nothing."""
    day = f"{cell.day:%A}"
    found: Pointed = []
    counted = [entry for entry in cell.entries if entry.counts]
    if cell.hours > FULL_DAY:
        found.append((f"{day}: {cell.hours.normalize():f} h, more than a day has.", counted))
    elif cell.hours > LONG_DAY:
        words = f"{day}: {cell.hours.normalize():f} h, over {LONG_DAY} h in one day."
        found.append((words, counted))
    seen: dict[str, list[HourEntry]] = {}
    for entry in counted:
        seen.setdefault(entry.what, []).append(entry)
        item = entry.item
        if item is not None and item.state in CLOSED:
            over = item.finished_on
            if item.state == ItemState.SHELVED:
                found.append((f"{day}: hours on {item.name}, which is shelved.", [entry]))
            elif over is None or over < cell.day:
                since = f" since {over.day} {over:%b %Y}" if over else ""
                found.append((f"{day}: hours on {item.name}, which is done{since}.", [entry]))
        if words := _too_much(entry, measured):
            found.append((f"{day}: {words}", [entry]))
        if entry.ground == Ground.STOOD_DOWN and entry.quantity:
            words = f"{day}: {entry.what} has a quantity, yet the ground was too wet."
            found.append((words, [entry]))
    found += [
        (f"{day}: {what} is logged {len(same)} times.", same)
        for what, same in seen.items()
        if len(same) > 1
    ]
    return found
