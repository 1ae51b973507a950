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


FORM_FACTOR = ThreePoint(0.40, 0.45, 0.50)  # from memory; 1/3 would be a cone


def stem_m3(*, breast_height_diameter_m: float, height_m: float, form_factor: float) -> float:
    """Stem of a standing tree: V = f g h with g = pi d² / 4 at breast height, m³.

    f is the share of the cylinder g h that the stem fills: 1/3 for a cone, 0.40 to 0.50 for most
    grown trees. ValueError unless the height is above 0 and 0 < f <= 1.
    """
    if not height_m > 0:
        raise ValueError(f"The height of a tree must be more than 0, not {height_m:g} m.")
    if not 0 < form_factor <= 1:
        raise ValueError(f"A form factor lies between 0 and 1, not at {form_factor:g}.")
    return form_factor * _section_m2(breast_height_diameter_m, "at breast height") * height_m


def standing_m3(*, breast_height_diameter_m: float, height_m: float) -> ThreePoint:
    """Rough stem volume of a standing tree by ``stem_m3``, with the usual range of form factors.

    A range for planning loads, not a measurement.
    """
    return ThreePoint(
        *(
            stem_m3(
                breast_height_diameter_m=breast_height_diameter_m,
                height_m=height_m,
                form_factor=factor,
            )
            for factor in (FORM_FACTOR.low, FORM_FACTOR.likely, FORM_FACTOR.high)
        )
    )
