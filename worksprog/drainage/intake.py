"""Levels that a phone sends, in the order they were taken, each answered by itself."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date
from typing import Any

from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile

from worksprog.calc.grid import from_lonlat
from worksprog.clubs.models import Club, User
from worksprog.clubs.sent import take_in_order, uuid_of
from worksprog.course.models import DRAIN_LINES, Feature
from worksprog.drainage.models import AsBuiltLevel
from worksprog.drainage.queries.level_remarks import remarks_on
from worksprog.drainage.services.as_built import Measured, correct_level, measure_level

AT_ONCE = 5  # a photo comes with each
Sent = Mapping[str, Any]


def take_levels(
    club: Club, by: User, entries: list[Any], photos: Mapping[str, UploadedFile[Any]]
) -> list[dict[str, str]]:
    """Keep each in its order, as ``clubs.sent`` answers it.

    A level that names one it ``corrects``, with its ``reason``, stands in that one's place. With
    what is kept comes what is remarkable about it: another person's level that does not agree.

    photos  by the number of the entry they belong to
    """

    def take(sent: Sent) -> str:
        number = uuid_of(sent.get("client_id"), "level")
        rows = Feature.objects.filter(club=club, kind__in=DRAIN_LINES)
        drain = uuid_of(sent.get("drain"), "drain")
        feature = rows.select_related("reach", "club").filter(uuid=drain).first()
        if feature is None:
            raise ValidationError({"drain": "This drain is no longer drawn; choose another one."})
        measured, photo = _measured(club, sent), photos.get(str(number))
        if sent.get("corrects"):
            row = correct_level(
                wrong=_wrong(club, sent), feature=feature, measured=measured, by=by,
                why=_text(sent, "reason", 200), client_id=number, photo=photo,
            )  # fmt: skip
        else:
            row = measure_level(
                feature=feature, measured=measured, by=by, client_id=number, photo=photo
            )
        return " ".join(remarks_on(row))

    return take_in_order(entries, take, not_named="A level is a set of named values.")


def _wrong(club: Club, sent: Sent) -> AsBuiltLevel:
    rows = AsBuiltLevel.objects.filter(club=club).select_related("feature__club", "club")
    row = rows.filter(uuid=uuid_of(sent.get("corrects"), "level to correct")).first()
    if not isinstance(row, AsBuiltLevel):
        raise ValidationError("The level to correct is not among those of this club.")
    return row


def _text(sent: Sent, name: str, most: int) -> str:
    value = str(sent.get(name) or "").strip()[:most]
    if any(sign == "\0" or "\ud800" <= sign <= "\udfff" for sign in value):
        raise ValidationError({name: "The text holds signs that cannot be kept; write it anew."})
    return value


def _number(sent: Sent, name: str) -> float | None:
    value = sent.get(name)
    if value is None or value == "":
        return None
    try:
        number = math.nan if isinstance(value, bool | str) else float(value)
    except (TypeError, ValueError, OverflowError):
        number = math.nan
    if not math.isfinite(number):
        raise ValidationError({name: f"Expected a number of metres; got “{str(value)[:30]}”."})
    return number


def _measured(club: Club, sent: Sent) -> Measured:
    try:
        day = date.fromisoformat(str(sent.get("measured_on")))
    except ValueError as error:
        raise ValidationError(
            {
                "measured_on": f"Expected a day as 2027-01-31, got “{str(sent.get('measured_on'))[:30]}”."
            }
        ) from error
    return Measured(
        of=_text(sent, "of", 20),
        how=_text(sent, "how", 20),
        measured_on=day,
        level_m=_number(sent, "level_m"),
        peg_level_m=_number(sent, "peg_level_m"),
        below_peg_m=_number(sent, "below_peg_m"),
        place=_place(club, sent),
        chainage_m=_number(sent, "chainage_m"),
        level_accuracy_m=_number(sent, "level_accuracy_m"),
        plan_accuracy_m=_number(sent, "plan_accuracy_m"),
        note=_text(sent, "note", 300),
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
