"""Volume of felled timber from its girth or diameter and length.

Volumes over bark or under bark, as the diameters were measured. They inform a talk with the
forestry authority; they never decide whether a licence is needed.
"""

from __future__ import annotations

from math import pi

from worksprog.calc.ranges import ThreePoint


def _section_m2(diameter_m: float, where: str) -> float:
    if not diameter_m >= 0:
        raise ValueError(f"The diameter {where} must not be negative, not {diameter_m:g} m.")
    return pi * diameter_m**2 / 4


def _need_length(length_m: float) -> None:
    if not length_m > 0:
        raise ValueError(f"The length of a log must be more than 0, not {length_m:g} m.")


def huber_m3(*, length_m: float, middle_diameter_m: float) -> float:
    """Huber: V = L g_mid with g = pi d² / 4, m³. Good to about 5 m long sections."""
    _need_length(length_m)
    return length_m * _section_m2(middle_diameter_m, "at the middle")


def smalian_m3(*, length_m: float, butt_diameter_m: float, top_diameter_m: float) -> float:
    """Smalian: V = L (g_butt + g_top) / 2, m³.

    Errors exceed 8 % on sections longer than 5 m (Goulding 1979), most with a flared butt.
    """
    _need_length(length_m)
    butt = _section_m2(butt_diameter_m, "at the butt")
    return length_m * (butt + _section_m2(top_diameter_m, "at the top")) / 2


def newton_m3(
    *, length_m: float, butt_diameter_m: float, middle_diameter_m: float, top_diameter_m: float
) -> float:
    """Newton: V = L (g_butt + 4 g_mid + g_top) / 6, m³; generally the best of the three."""
    _need_length(length_m)
    butt = _section_m2(butt_diameter_m, "at the butt")
    middle = _section_m2(middle_diameter_m, "at the middle")
    return length_m * (butt + 4 * middle + _section_m2(top_diameter_m, "at the top")) / 6


def standing_m3(*, breast_height_diameter_m: float, height_m: float) -> ThreePoint:
    """Rough stem volume of a standing tree, m³: V = f g h with form factor f 0.40, 0.45, 0.50.

    The form factor is from memory: a range for planning loads, not a measurement.
    """
    if not height_m > 0:
        raise ValueError(f"The height of a tree must be more than 0, not {height_m:g} m.")
    cylinder = _section_m2(breast_height_diameter_m, "at breast height") * height_m
    return ThreePoint(0.40, 0.45, 0.50).times(cylinder)
