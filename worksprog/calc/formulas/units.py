"""Units of the quantities an estimate is made of, as dimensions with a scale.

Three dimensions are enough for works: length in metres, mass in tonnes, time in hours. Things that
are counted (``no``, loads, heads) and shares have none.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

_SUPERSCRIPTS = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁻", "0123456789-")


@dataclass(frozen=True)
class Dimension:
    """Powers of length, mass and time; all 0 for a bare number."""

    length: float = 0.0
    mass: float = 0.0
    time: float = 0.0

    def times(self, other: Dimension) -> Dimension:
        return Dimension(self.length + other.length, self.mass + other.mass, self.time + other.time)

    def over(self, other: Dimension) -> Dimension:
        return self.times(other.to(-1))

    def to(self, power: float) -> Dimension:
        return Dimension(self.length * power, self.mass * power, self.time * power)

    @property
    def is_bare(self) -> bool:
        return not (self.length or self.mass or self.time)

    def __str__(self) -> str:
        """In metres, tonnes and hours, as "m³/h"; "a bare number" without any."""
        over: list[str] = []
        under: list[str] = []
        for sign, power in (("m", self.length), ("t", self.mass), ("h", self.time)):
            if power:
                (over if power > 0 else under).append(sign + _power(abs(power)))
        if not over and not under:
            return "a bare number"
        return "·".join(over or ["1"]) + "".join(f"/{one}" for one in under)


def _power(power: float) -> str:
    if power == 1:
        return ""
    if power in (2, 3):
        return "²" if power == 2 else "³"
    return f"^{power:g}"


@dataclass(frozen=True)
class Unit:
    """A unit as it is written, its dimension, and how many metres, tonnes or hours it is."""

    written: str
    dimension: Dimension
    scale: float


BARE = Dimension()
_LENGTH, _MASS, _TIME = Dimension(length=1), Dimension(mass=1), Dimension(time=1)
_SIMPLE: dict[str, tuple[Dimension, float]] = {
    "m": (_LENGTH, 1.0),
    "mm": (_LENGTH, 1e-3),
    "cm": (_LENGTH, 1e-2),
    "km": (_LENGTH, 1e3),
    "ha": (_LENGTH.to(2), 1e4),
    "l": (_LENGTH.to(3), 1e-3),
    "t": (_MASS, 1.0),
    "kg": (_MASS, 1e-3),
    "g": (_MASS, 1e-6),
    "h": (_TIME, 1.0),
    "min": (_TIME, 1 / 60),
    "s": (_TIME, 1 / 3600),
    "day": (_TIME, 24.0),
    "no": (BARE, 1.0),
    "load": (BARE, 1.0),
    "%": (BARE, 1e-2),
    "1": (BARE, 1.0),
    "": (BARE, 1.0),
}
_PART = re.compile(r"^([A-Za-z%]+|1)?(?:\^?(-?\d))?$")


@lru_cache(maxsize=512)
def unit_of(written: str) -> Unit:
    """The unit written as "m", "m²", "m3", "t/m³", "kg/m²" or ""; ValueError for another."""
    dimension, scale = BARE, 1.0
    sides = written.replace(" ", "").translate(_SUPERSCRIPTS).split("/")
    for place, side in enumerate(sides):
        for part in side.replace("·", "*").split("*"):
            found = _PART.match(part)
            name = (found.group(1) or "") if found else None
            if found is None or name not in _SIMPLE or (place and not name):
                known = ", ".join(sorted(one for one in _SIMPLE if one and one != "1"))
                raise ValueError(
                    f"'{written}' is not a unit that is known here; known are {known}, with "
                    "powers and a stroke, as m², t/m³."
                )
            power = float(found.group(2) or 1)
            if abs(power) > 6:
                raise ValueError(f"'{written}': a power from -6 to 6 is expected.")
            one_dimension, one_scale = _SIMPLE[name]
            sign = -1.0 if place else 1.0
            dimension = dimension.times(one_dimension.to(sign * power))
            scale *= one_scale ** (sign * power)
    return Unit(written, dimension, scale)
