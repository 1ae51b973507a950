"""What a phone sends: entries and changes in the order they were made, each answered by itself."""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import DatabaseError

from worksprog.clubs.models import Membership
from worksprog.hours.models import HourEntry
from worksprog.hours.services import correct_hours, log_hours, withdraw_hours
from worksprog.works.models import Item

AT_ONCE = 50
OLDEST_D = 60
Sent = dict[str, Any]

KEPT, REFUSED, LATER = "kept", "refused", "later"


def take_in(person: Membership, entries: list[Any]) -> list[dict[str, str]]:
    """Do each in its order. kept: it stands; refused: why not; later: the store was busy, send again.

    After the first "later" the rest waits too, so that a change never overtakes what it changes.
    """
    answers: list[dict[str, str]] = []
    for place, sent in enumerate(entries):
        answer = _take_one(person, sent)
        answers.append(answer)
        if answer["answer"] == LATER:
            answers += [_answer(rest, LATER) for rest in entries[place + 1 :]]
            break
    return answers


def _answer(sent: Any, answer: str, why: str = "", field: str = "") -> dict[str, str]:
    number = str(sent.get("client_id", "")) if isinstance(sent, dict) else ""
    return {"client_id": number, "answer": answer, "why": why, "field": field}


def _take_one(person: Membership, sent: Any) -> dict[str, str]:
    try:
        if not isinstance(sent, dict):
            raise ValidationError("An entry is a set of named values.")
        work = WORKS.get(str(sent.get("op")))
        if work is None:
            raise ValidationError("Expected log, correct or withdraw.")
        work(person, sent)
    except ValidationError as error:
        fields = getattr(error, "error_dict", {})
        return _answer(sent, REFUSED, " ".join(error.messages), next(iter(fields), ""))
    except PermissionDenied:
        return _answer(sent, REFUSED, "Only the one who logged it may change it.")
    except DatabaseError:
        return _answer(sent, LATER)
    return _answer(sent, KEPT)


def _uuid(value: Any, what: str) -> UUID:
    try:
        return UUID(str(value))
    except ValueError as error:
        raise ValidationError(f"The number of the {what} is not one: “{value}”.") from error


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
        number = _uuid(sent["item"], "job")
        item = Item.objects.filter(club=person.club, uuid=number).first()
        if item is None:
            raise ValidationError(
                {"item": "This job is no longer in the programme; choose another one."}
            )
    today = person.club.today()
    log_hours(
        club=person.club,
        person=person,
        client_id=_uuid(sent.get("client_id"), "entry"),
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
    number = _uuid(sent.get("entry"), "entry")
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
