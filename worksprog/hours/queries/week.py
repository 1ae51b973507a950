"""A club's week as the course manager approves it: people down, days across, oddities pointed out."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal

from worksprog.clubs.models import Club, Membership
from worksprog.clubs.permissions import MAY
from worksprog.hours.models import Ground, HourEntry
from worksprog.works.models import ItemState

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


@dataclass
class PersonWeek:
    person: Membership
    cells: list[Cell]
    oddities: list[str] = field(default_factory=list)

    @property
    def entries(self) -> list[HourEntry]:
        return [entry for cell in self.cells for entry in cell.entries]

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
    def odd(self) -> int:
        return sum(len(person.oddities) for person in self.people)


def week_of(club: Club, monday: date) -> Week:
    """Everybody who logs hours, and what they logged from Monday to Sunday. Two queries."""
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
    for row in listed:
        row.oddities = [words for cell in row.cells for words in _oddities(cell)]
    return Week(monday, listed)


def _oddities(cell: Cell) -> list[str]:
    """What a manager would want to ask about; nothing is decided by it."""
    day = f"{cell.day:%A}"
    found = []
    if cell.hours > FULL_DAY:
        found.append(f"{day}: {cell.hours.normalize():f} h, more than a day has.")
    elif cell.hours > LONG_DAY:
        found.append(f"{day}: {cell.hours.normalize():f} h, over {LONG_DAY} h in one day.")
    seen: dict[str, int] = {}
    for entry in cell.entries:
        if not entry.counts:
            continue
        seen[entry.what] = seen.get(entry.what, 0) + 1
        item = entry.item
        if item is not None and item.state in CLOSED:
            over = item.finished_on
            if item.state == ItemState.SHELVED:
                found.append(f"{day}: hours on {item.name}, which is shelved.")
            elif over is None or over < cell.day:
                since = f" since {over.day} {over:%b %Y}" if over else ""
                found.append(f"{day}: hours on {item.name}, which is done{since}.")
        if entry.ground == Ground.STOOD_DOWN and entry.quantity:
            found.append(f"{day}: {entry.what} has a quantity, yet the ground was too wet.")
    found += [f"{day}: {what} is logged {n} times." for what, n in seen.items() if n > 1]
    return found
