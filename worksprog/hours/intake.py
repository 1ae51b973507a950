"""What a phone sends: entries and changes in the order they were made, each answered by itself."""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

from django.core.exceptions import PermissionDenied, ValidationError

from worksprog.clubs.models import Membership
from worksprog.clubs.sent import take_in_order, uuid_of
from worksprog.hours.models import HourEntry
from worksprog.hours.services import correct_hours, log_hours, withdraw_hours
from worksprog.works.models import Item

AT_ONCE = 50
OLDEST_D = 60
Sent = dict[str, Any]


def take_in(person: Membership, entries: list[Any]) -> list[dict[str, str]]:
    """Do each in its order, as ``clubs.sent`` answers it."""

    def take(sent: Sent) -> str:
        work = WORKS.get(str(sent.get("op")))
        if work is None:
            raise ValidationError("Expected log, correct or withdraw.")
        try:
            work(person, sent)
        except PermissionDenied as error:
            raise ValidationError("Only the one who logged it may change it.") from error
        return ""

    return take_in_order(entries, take, not_named="An entry is a set of named values.")


def _day(sent: Sent, today: date) -> date:
    try:
        day = date.fromisoformat(str(sent.get("worked_on")))
    except ValueError as error:
        raise ValidationError(
            {"worked_on": f"Expected a day as 2027-01-31, got “{sent.get('worked_on')}”."}
        ) from error
    if day < today - timedelta(days=OLDEST_D):
        raise ValidationError(
            {
                "worked_on": (
                    f"{day.day} {day:%b %Y} is more than {OLDEST_D} days ago. Look at the phone's "
                    "clock, or tell the course manager."
                )
            }
        )
    return day


def _quantity(sent: Sent) -> float | None:
    value = sent.get("quantity")
    if value is None or value == "":
        return None
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValidationError({"quantity": f"A quantity is a number; got “{value}”."})
    if not math.isfinite(value) or not 0 <= value <= 1_000_000:
        raise ValidationError({"quantity": f"A quantity is from 0 to 1,000,000; got {value}."})
    # Nothing done is nothing measured: a zero would only look like a measurement.
    return float(value) or None


def _words(sent: Sent, name: str) -> str:
    return str(sent.get(name) or "")


def _hours(sent: Sent) -> str:
    return str(sent.get("hours"))


def _log(person: Membership, sent: Sent) -> None:
    item = None
    if sent.get("item"):
        number = uuid_of(sent["item"], "job")
        item = Item.objects.filter(club=person.club, uuid=number).first()
        if item is None:
            raise ValidationError(
                {"item": "This job is no longer in the programme; choose another one."}
            )
    today = person.club.today()
    log_hours(
        club=person.club,
        person=person,
        client_id=uuid_of(sent.get("client_id"), "entry"),
        worked_on=_day(sent, today),
        hours=_hours(sent),
        item=item,
        routine=_words(sent, "routine"),
        quantity=_quantity(sent),
        ground=_words(sent, "ground"),
        note=_words(sent, "note"),
        today=today,
    )


def _entry(person: Membership, sent: Sent) -> HourEntry:
    number = uuid_of(sent.get("entry"), "entry")
    entry = HourEntry.objects.filter(club=person.club, client_id=number).first()
    if entry is None:
        raise ValidationError("The entry it changes was never logged.")
    return entry


def _correct(person: Membership, sent: Sent) -> None:
    today = person.club.today()
    correct_hours(
        entry=_entry(person, sent),
        by=person,
        hours=_hours(sent),
        quantity=_quantity(sent),
        ground=_words(sent, "ground"),
        note=_words(sent, "note"),
        worked_on=_day(sent, today),
        today=today,
    )


def _withdraw(person: Membership, sent: Sent) -> None:
    withdraw_hours(entry=_entry(person, sent), by=person)


WORKS: dict[str, Callable[[Membership, Sent], None]] = {
    "log": _log,
    "correct": _correct,
    "withdraw": _withdraw,
}
