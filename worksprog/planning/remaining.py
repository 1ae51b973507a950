"""How much of each item is done, asked of the floor above that measures it.

The floor above registers its reading when it starts; without one nothing counts as done.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date

from worksprog.works.models import Item, Programme

# Items with the quantity their live estimates plan, 0 without one.
Planned = Sequence[tuple[Item, float]]
ShareDone = Callable[[Programme, date, Planned], Mapping[int, float]]

_reading: list[ShareDone] = []


def read_share_done_by(reading: ShareDone) -> None:
    """Let ``reading`` tell the share done, 0 to 1, by item key."""
    _reading[:] = [reading]


def share_done(programme: Programme, on: date, planned: Planned) -> Mapping[int, float]:
    """``planned`` is what the asker has read already, so that it is not read again."""
    return _reading[0](programme, on, planned) if _reading else {}
