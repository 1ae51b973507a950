"""Levels that a phone sends, in the order they were taken, each answered by itself."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.db import DatabaseError

from worksprog.calc.grid import from_lonlat
from worksprog.clubs.models import Club, User
from worksprog.course.models import DRAIN_LINES, Feature
from worksprog.drainage.services.as_built import Measured, measure_level

AT_ONCE = 5  # a photo comes with each
KEPT, REFUSED, LATER = "kept", "refused", "later"
Sent = Mapping[str, Any]


def take_levels(
    club: Club, by: User, entries: list[Any], photos: Mapping[str, UploadedFile[Any]]
) -> list[dict[str, str]]:
    """Keep each in its order. kept: it stands; refused: why not; later: send it again.

    photos  by the number of the entry they belong to
    After the first "later" the rest waits too.
    """
    answers: list[dict[str, str]] = []
    for place, sent in enumerate(entries):
        answers.append(_take(club, by, sent, photos))
        if answers[-1]["answer"] == LATER:
            answers += [_answer(rest, LATER) for rest in entries[place + 1 :]]
            break
    return answers


def _answer(sent: Any, answer: str, why: str = "", field: str = "") -> dict[str, str]:
    number = str(sent.get("client_id", "")) if isinstance(sent, dict) else ""
    return {"client_id": number, "answer": answer, "why": why, "field": field}


def _take(
    club: Club, by: User, sent: Any, photos: Mapping[str, UploadedFile[Any]]
) -> dict[str, str]:
    try:
        if not isinstance(sent, dict):
            raise ValidationError("A level is a set of named values.")
        number = _uuid(sent.get("client_id"), "level")
        rows = Feature.objects.filter(club=club, kind__in=DRAIN_LINES)
        drain = _uuid(sent.get("drain"), "drain")
        feature = rows.select_related("reach", "club").filter(uuid=drain).first()
        if feature is None:
            raise ValidationError({"drain": "This drain is no longer drawn; choose another one."})
        measure_level(
            feature=feature, measured=_measured(club, sent), by=by, client_id=number,
            photo=photos.get(str(number)),
        )  # fmt: skip
    except ValidationError as error:
        fields = getattr(error, "error_dict", {})
        return _answer(sent, REFUSED, " ".join(error.messages), next(iter(fields), ""))
    except DatabaseError:
        return _answer(sent, LATER)
    return _answer(sent, KEPT)


def _uuid(value: Any, what: str) -> UUID:
    try:
        return UUID(str(value))
    except ValueError as error:
        raise ValidationError(f"The number of the {what} is not one: “{value}”.") from error


def _number(sent: Sent, name: str) -> float | None:
    value = sent.get(name)
    if value is None or value == "":
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValidationError({name: f"Expected a number of metres; got “{str(value)[:30]}”."})
    return float(value)


def _measured(club: Club, sent: Sent) -> Measured:
    try:
        day = date.fromisoformat(str(sent.get("measured_on")))
    except ValueError as error:
        raise ValidationError(
            {"measured_on": f"Expected a day as 2027-01-31, got “{sent.get('measured_on')}”."}
        ) from error
    return Measured(
        of=str(sent.get("of", "")),
        how=str(sent.get("how", "")),
        measured_on=day,
        level_m=_number(sent, "level_m"),
        peg_level_m=_number(sent, "peg_level_m"),
        below_peg_m=_number(sent, "below_peg_m"),
        place=_place(club, sent),
        chainage_m=_number(sent, "chainage_m"),
        level_accuracy_m=_number(sent, "level_accuracy_m"),
        plan_accuracy_m=_number(sent, "plan_accuracy_m"),
        note=str(sent.get("note") or "")[:300],
    )


def _place(club: Club, sent: Sent) -> tuple[float, float] | None:
    lon, lat = _number(sent, "lon"), _number(sent, "lat")
    if lon is None or lat is None:
        return None
    if not (-180 <= lon <= 180 and -90 <= lat <= 90):
        raise ValidationError({"place": f"{lon:g}, {lat:g} is no longitude and latitude."})
    try:
        east, north = from_lonlat(club.epsg, [lon], [lat])
    except ValueError as error:
        raise ValidationError(
            {"place": "The position lies outside what the club's grid can show."}
        ) from error
    return float(east[0]), float(north[0])
