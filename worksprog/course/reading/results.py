"""What every reader answers with: what was taken, what was refused and why, what to know."""

from __future__ import annotations

from dataclasses import dataclass


class ReadError(ValueError):
    """The file as a whole cannot be used; the words are for the person who brought it."""


class AxesSwapped(ReadError):
    """As ``ReadError``: reading again with the axes exchanged would bring it to the course."""


@dataclass(frozen=True)
class Refusal:
    """One thing that was left behind: where it stands in the file, and why."""

    row: str
    reason: str


def many(count: int, one: str, several: str = "") -> str:
    """'1 row', '1,204 rows'."""
    return f"{count:,} {one if count == 1 else several or one + 's'}"
