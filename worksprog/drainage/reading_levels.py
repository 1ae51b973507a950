"""A surveyor's table of levels taken on drains: chainage or position, level, what it is of."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from worksprog.course.models import Feature
from worksprog.course.reading.results import ReadError, Refusal
from worksprog.drainage.models import AsBuiltLevel
from worksprog.drainage.queries.as_built import nearest_drain

Of = AsBuiltLevel.Of
MOST_BYTES = 2 * 1024 * 1024
MOST_ROWS = 5000
FAR_FROM_DRAIN_M = 5.0
_COLUMNS: dict[str, frozenset[str]] = {
    "chainage": frozenset({"chainage", "ch", "chain", "distance"}),
    "easting": frozenset({"easting", "eastings", "east", "e", "x"}),
    "northing": frozenset({"northing", "northings", "north", "n", "y"}),
    "level": frozenset({"level", "levels", "z", "rl", "height", "elevation", "invert level"}),
    "of": frozenset({"of", "code", "what", "point", "description"}),
    "drain": frozenset({"drain", "ref", "reference", "reach", "pipe", "string"}),
}
_OF: dict[str, str] = {
    **dict.fromkeys(("invert", "inv", "il", "iv", ""), Of.INVERT),
    **dict.fromkeys(("crown", "top", "soffit", "top of pipe", "obvert"), Of.CROWN),
    **dict.fromkeys(("bed", "ditch bed", "ditch"), Of.BED),
    **dict.fromkeys(("cover", "ground", "gl", "cl"), Of.COVER),
}


@dataclass(frozen=True)
class LevelRead:
    """One row: the drain it goes to, and how far the point lies from it where that was matched."""

    line: int
    feature: Feature
    of: str
    level_m: float
    chainage_m: float | None
    place: tuple[float, float] | None
    away_m: float | None


@dataclass(frozen=True)
class LevelsRead:
    rows: tuple[LevelRead, ...]
    refusals: tuple[Refusal, ...]


class _Refused(Exception):
    pass


def read_levels(
    data: bytes, *, drains: Sequence[Feature], only: Feature | None = None
) -> LevelsRead:
    """Read a table with a heading row: chainage, or easting and northing; level; of; drain.

    drains  the pipes and ditches a row may go to
    only    the drain that a row without a name belongs to; else by position to the nearest
    Raises ReadError when the table as a whole cannot be used; each other row that cannot be is
    refused with its line, its column and what was expected.
    """
    if len(data) > MOST_BYTES:
        raise ReadError(f"The file has {len(data) / 1_048_576:.0f} MB; 2 MB is the most.")
    text = _text(data)
    head, separator = _head(text)
    at = _columns(next(csv.reader([head], delimiter=separator)))
    by_ref = _by_reference(drains)
    rows: list[LevelRead] = []
    refusals: list[Refusal] = []
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    seen_head = False
    try:
        for fields in reader:
            if not any(field.strip() for field in fields):
                continue
            if not seen_head:
                seen_head = True
                continue
            if len(rows) + len(refusals) >= MOST_ROWS:
                raise ReadError(f"The table has more than {MOST_ROWS:,} rows; deliver it in parts.")
            row = {
                name: fields[column].strip() if column < len(fields) else ""
                for name, column in at.items()
            }
            try:
                rows.append(_row(reader.line_num, row, separator, by_ref, drains, only))
            except _Refused as refused:
                refusals.append(Refusal(f"line {reader.line_num}", str(refused)))
    except csv.Error as error:
        raise ReadError(f"Line {reader.line_num} cannot be read: {error}.") from error
    if not rows and not refusals:
        raise ReadError("The table has a heading row and nothing below it.")
    return LevelsRead(tuple(rows), tuple(refusals))


def _text(data: bytes) -> str:
    if not data.strip():
        raise ReadError("The file is empty.")
    if b"\x00" in data:
        raise ReadError("The file is binary, not a text table.")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def _head(text: str) -> tuple[str, str]:
    head = next((line for line in text.splitlines() if line.strip()), "")
    separator = max(("\t", ";", ","), key=head.count)
    if not head.count(separator):
        raise ReadError(
            f"The first line reads “{head[:60]}”. Expected a heading row with commas, semicolons or "
            "tabs: chainage (or easting, northing), level, of."
        )
    return head, separator


def _columns(head: list[str]) -> dict[str, int]:
    at: dict[str, int] = {}
    for index, field in enumerate(head):
        plain = re.sub(r"\s*[\(\[].*?[\)\]]", "", field).strip().lower().replace("_", " ")
        for name, known in _COLUMNS.items():
            if plain not in known:
                continue
            if name in at:
                raise ReadError(
                    f"The heading row has two columns for the {name}: “{head[at[name]].strip()}” "
                    f"and “{field.strip()[:40]}”. Leave one of them out, or name it otherwise."
                )
            at[name] = index
    if "level" not in at or not ("chainage" in at or {"easting", "northing"} <= at.keys()):
        raise ReadError(
            f"The heading row ({', '.join(head)[:100]}) names no column for "
            f"{'the level' if 'level' not in at else 'the place'}. Expected chainage, or easting "
            "and northing; level; and, if there are any, of and drain."
        )
    return at


def _by_reference(drains: Sequence[Feature]) -> dict[str, list[Feature]]:
    found: dict[str, list[Feature]] = {}
    for feature in drains:
        if feature.ref:
            found.setdefault(feature.ref.lower(), []).append(feature)
    return found


def _number(row: Mapping[str, str], name: str, separator: str) -> float:
    said = row.get(name, "")
    plain = said.replace(",", ".") if separator != "," else said
    try:
        value = float(plain)
    except ValueError:
        value = math.nan
    if not math.isfinite(value) or "_" in plain:
        told = f"“{said[:30]}” is no number" if said else "is empty"
        raise _Refused(f"column {name}: {told}; expected metres such as 62.115")
    return value


def _row(
    line: int,
    row: Mapping[str, str],
    separator: str,
    by_ref: Mapping[str, list[Feature]],
    drains: Sequence[Feature],
    only: Feature | None,
) -> LevelRead:
    level = _number(row, "level", separator)
    said = row.get("of", "").lower()
    if said not in _OF:
        raise _Refused(
            f"column of: “{said[:30]}” is not known; expected invert, crown, bed or cover"
        )
    feature = only
    named = row.get("drain", "")
    if named:
        met = by_ref.get(named.lower(), [])
        if len(met) != 1:
            told = "no drain has" if not met else f"{len(met)} drains have"
            raise _Refused(f"column drain: {told} the reference “{named[:30]}”")
        feature = met[0]
    if row.get("chainage") or not (row.get("easting") and row.get("northing")):
        chainage = _number(row, "chainage", separator)
        if feature is None:
            raise _Refused(
                "column drain: is empty; a chainage needs the reference of the drain it runs along"
            )
        if not 0 <= chainage <= feature.length_m + 0.05:
            raise _Refused(
                f"column chainage: {chainage:g} is not on {feature.ref or 'the drain'}; expected 0 "
                f"to {feature.length_m:.1f} m, from its upper end"
            )
        return LevelRead(line, feature, _OF[said], level, chainage, None, None)
    x, y = _number(row, "easting", separator), _number(row, "northing", separator)
    met_there = nearest_drain(list(drains) if feature is None else [feature], x, y)
    if met_there is None:
        raise _Refused("there is no drain on the course to which it could go")
    nearest, away = met_there
    if away > FAR_FROM_DRAIN_M:
        far = f"{away / 1000:,.0f} km" if away > 5000 else f"{away:.1f} m"
        raise _Refused(
            f"columns easting, northing: {x:g}, {y:g} lies {far} from the nearest drain, "
            f"{nearest.ref or nearest.title}; expected within {FAR_FROM_DRAIN_M:g} m"
        )
    return LevelRead(line, nearest, _OF[said], level, None, (x, y), away)
