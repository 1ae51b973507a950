"""Which derived quantities of a kind of work are earth that comes out, and earth that goes in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from worksprog.calc.build_up.parts import Recipe
from worksprog.calc.working import Step


class EarthRole(StrEnum):
    """What a quantity of earth is to the spoil balance.

    Cuts are in the bank and leave the work (what a trench takes back is not counted); fills are in
    place and firm. Topsoil goes apart. Unsuitable earth (silt, roots) makes no fill.
    """

    CUT = "cut"
    FILL = "fill"
    TOPSOIL_OFF = "topsoil_off"
    TOPSOIL_ON = "topsoil_on"
    UNSUITABLE = "unsuitable"


ROLES: Mapping[str, Mapping[str, EarthRole]] = {
    "carrier_pipe": {"over": EarthRole.CUT},
    "ditch_dug": {"dig": EarthRole.CUT},
    "ditch_regraded": {"dig": EarthRole.UNSUITABLE},
    "laterals": {"dig": EarthRole.CUT},
    "bunker_new": {"dig": EarthRole.CUT},
    "bunker_filled": {"fill": EarthRole.FILL},
    "path": {"dig": EarthRole.CUT},
    "mounding": {"volume": EarthRole.FILL},
}


@dataclass(frozen=True)
class Earth:
    """One quantity of earth of one item."""

    name: str
    role: EarthRole
    meaning: str
    volume_m3: float
    how: str


def earth_of(recipe: Recipe, derived: Mapping[str, Step]) -> tuple[Earth, ...]:
    """The earth that a built-up item digs out and fills; nothing where its recipe tells none."""
    found = []
    for name, role in ROLES.get(recipe.kind, {}).items():
        step = derived.get(name)
        if step is None or step.unit != "m³" or not float(step.value) > 0:
            continue
        found.append(Earth(name, role, step.meaning, float(step.value), step.formula))
    return tuple(found)
