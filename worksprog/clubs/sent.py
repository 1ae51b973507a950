"""What a phone sends, taken in its order and answered one by one."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import DatabaseError

KEPT, REFUSED, LATER = "kept", "refused", "later"
Answer = dict[str, str]


def take_in_order(
    entries: list[Any], take: Callable[[dict[str, Any]], str], *, not_named: str
) -> list[Answer]:
    """Do each in its order. kept: it stands; refused: why not; later: the store was busy, send again.

    take       keeps one and returns what is to be said of it; ValidationError refuses it
    not_named  the words for what is no set of named values
    After the first "later" the rest waits too, so that a change never overtakes what it changes.
    """
    answers: list[Answer] = []
    for place, sent in enumerate(entries):
        answers.append(_take(sent, take, not_named))
        if answers[-1]["answer"] == LATER:
            answers += [_answer(rest, LATER) for rest in entries[place + 1 :]]
            break
    return answers


def _take(sent: Any, take: Callable[[dict[str, Any]], str], not_named: str) -> Answer:
    try:
        if not isinstance(sent, dict):
            raise ValidationError(not_named)
        return _answer(sent, KEPT, take(sent))
    except ValidationError as error:
        fields = getattr(error, "error_dict", {})
        return _answer(sent, REFUSED, " ".join(error.messages), next(iter(fields), ""))
    except DatabaseError:
        return _answer(sent, LATER)


def _answer(sent: Any, answer: str, why: str = "", field: str = "") -> Answer:
    number = str(sent.get("client_id", "")) if isinstance(sent, dict) else ""
    return {"client_id": number, "answer": answer, "why": why, "field": field}


def uuid_of(value: Any, what: str) -> UUID:
    """ValidationError in words, short however long the value is."""
    try:
        return UUID(str(value))
    except ValueError as error:
        raise ValidationError(
            f"The number of the {what} is not one: “{str(value)[:40]}”."
        ) from error
