"""Kinds of ground: what one m³ in the bank becomes when dug and when made firm, and its weight.

Three states of the same earth. In the bank: as it lies before digging; cuts are measured so.
Loose: on the trailer and in the heap. Firm: placed and compacted; fills are measured so.

Published figures for one kind of ground differ by more than a tenth, so swelling is a range. Every
figure carries a mark: C confirmed in a public source, C2 quoted second-hand, M from memory,
P common practice without a source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from worksprog.calc.ranges import ThreePoint
from worksprog.calc.working import Step, Working

NOTE = "earth handling note of 2022 (C)"
MANUAL = "FM 5-434 table 1-1, from memory (M)"
PRACTICE = "common practice, no source (P)"
CHURCH = "Church 1981, quoted second-hand (C2)"
MEMORY = "from memory (M)"


@dataclass(frozen=True)
class Soil:
    """How one kind of ground swells when dug and what is left of it when made firm again.

    ``loose_per_bank``      loose m³ from one m³ in the bank
    ``compacted_per_bank``  firm m³ from one m³ in the bank
    ``bank_t_m3``           tonnes a m³ in the bank
    ``fit_for_fill``        whether it makes a fill that carries turf and wheels
    """

    name: str
    loose_per_bank: ThreePoint
    compacted_per_bank: float
    source: str
    bank_t_m3: ThreePoint
    weight_source: str = MEMORY
    fit_for_fill: bool = True

    @property
    def loose_t_m3(self) -> float:
        """Tonnes in one loose m³, likely: ``bank_t_m3`` / ``loose_per_bank``."""
        return self.bank_t_m3.likely / self.loose_per_bank.likely


def _soil(
    name: str,
    loose: tuple[float, float, float],
    firm: float,
    weight: tuple[float, float, float],
    source: str,
    *,
    fit: bool = True,
) -> Soil:
    return Soil(
        name, ThreePoint(*loose), firm, source, ThreePoint(*weight), MEMORY, fit_for_fill=fit
    )


SOILS: Mapping[str, Soil] = MappingProxyType(
    {
        "clay": _soil(
            "clay", (1.30, 1.35, 1.43), 0.90, (1.90, 2.00, 2.10),
            f"1.30 {NOTE}; 1.43 and 0.90 {MANUAL}",
        ),
        "clay_dry": _soil("dry clay", (1.35, 1.50, 1.50), 0.90, (1.75, 1.85, 2.00), CHURCH),
        "clay_and_gravel": _soil(
            "clay and gravel", (1.25, 1.35, 1.40), 0.90, (1.95, 2.05, 2.15),
            f"1.35 {NOTE}; 0.90 {MANUAL}",
        ),
        "loam": _soil("loam", (1.20, 1.25, 1.35), 0.90, (1.50, 1.60, 1.75), MANUAL),
        "sand": _soil(
            "sand", (1.05, 1.10, 1.15), 0.89, (1.60, 1.75, 1.90),
            f"1.05 and 0.89 {NOTE}; 1.11 {MANUAL}",
        ),
        "sand_and_gravel": _soil(
            "sand and gravel", (1.10, 1.15, 1.20), 0.93, (1.80, 1.90, 2.05),
            f"1.15 {NOTE}; 0.93 {PRACTICE}",
        ),
        "gravel": _soil(
            "gravel", (1.05, 1.10, 1.15), 0.97, (1.70, 1.85, 2.00),
            f"1.05 and 0.97 {NOTE}; 1.15 dry gravel, public list (C)",
        ),
        "topsoil": _soil(
            "topsoil", (1.25, 1.30, 1.40), 1.00, (1.35, 1.50, 1.65),
            f"1.25 to 1.40 {MEMORY}; spread and only lightly firmed, {PRACTICE}",
        ),
        "silt": _soil(
            "silt and mud", (1.10, 1.20, 1.35), 0.80, (1.50, 1.65, 1.80), PRACTICE, fit=False
        ),
    }
)  # fmt: skip


@dataclass(frozen=True)
class Density:
    """Tonnes a m³ of a delivered material, as delivered or as placed."""

    name: str
    t_m3: ThreePoint
    source: str


DENSITIES: Mapping[str, Density] = MappingProxyType(
    {
        "stone": Density(
            "single-size stone, loose", ThreePoint(1.45, 1.60, 1.70),
            "crushed stone 1602 kg/m³, public handling tables (C)",
        ),
        "gravel": Density("drainage gravel, loose", ThreePoint(1.45, 1.55, 1.65), MEMORY),
        "sub_base": Density("graded stone base, firm", ThreePoint(2.00, 2.10, 2.20), MEMORY),
        "path_surface": Density("path surface, firm", ThreePoint(1.60, 1.80, 2.00), PRACTICE),
        "riprap": Density("stone for aprons, loose", ThreePoint(1.45, 1.55, 1.70), PRACTICE),
        "sand": Density("sand, moist and loose", ThreePoint(1.50, 1.55, 1.60), MEMORY),
        "rootzone": Density("rootzone, placed", ThreePoint(1.45, 1.55, 1.65), PRACTICE),
        "topsoil": Density("topsoil, in place", ThreePoint(1.35, 1.50, 1.65), MEMORY),
    }
)  # fmt: skip


def _not_negative(value: float, what: str) -> None:
    if not value >= 0:
        raise ValueError(f"{what} must not be negative, not {value:g}.")


def tonnes(*, volume_m3: float, density: Density) -> ThreePoint:
    """m = ρ V, low to high, t. ValueError when the volume is below 0."""
    _not_negative(volume_m3, "The volume")
    return density.t_m3.times(volume_m3)


def volume_m3(*, mass_t: float, density: Density) -> ThreePoint:
    """V = m / ρ, low to high, m³: the heavier the material, the less room it takes."""
    _not_negative(mass_t, "The tonnes")
    return ThreePoint.exactly(mass_t).over_range(density.t_m3)


def compacted_volume_m3(*, bank_m3: float, soil: Soil) -> float:
    """Firm volume that ``bank_m3`` makes: V_firm = V_bank c."""
    _not_negative(bank_m3, "The volume in the bank")
    return bank_m3 * soil.compacted_per_bank


def bank_for_fill_m3(*, firm_m3: float, soil: Soil) -> float:
    """What has to be dug, in the bank, for a fill of ``firm_m3``: V_bank = V_firm / c."""
    _not_negative(firm_m3, "The volume of the fill")
    return firm_m3 / soil.compacted_per_bank


def bulking_from_densities(*, bank_t_m3: float, loose_t_m3: float) -> float:
    """Loose m³ from one m³ in the bank where both weights were tested: b = ρ_bank / ρ_loose.

    The mass stays, so the volumes go by the inverse of the weights. ValueError when one is not
    above 0 or the loose earth would be heavier than in the bank.
    """
    if not (bank_t_m3 > 0 and loose_t_m3 > 0):
        raise ValueError("Tonnes a m³ must be more than 0, in the bank and loose.")
    if loose_t_m3 > bank_t_m3:
        raise ValueError(
            f"Loose earth of {loose_t_m3:g} t/m³ cannot be heavier than the {bank_t_m3:g} t/m³ "
            "it has in the bank."
        )
    return bank_t_m3 / loose_t_m3


def three_states(*, bank_m3: float, soil: Soil) -> Working:
    """One volume of earth in its three states and its weight, with the factors shown."""
    _not_negative(bank_m3, "The volume in the bank")
    loose = soil.loose_per_bank.times(bank_m3)
    b = soil.loose_per_bank
    return Working(
        f"{bank_m3:,.1f} m³ of {soil.name}: in the bank, loose and firm",
        (
            Step("V", "in the bank", bank_m3, "m³"),
            Step("b", "loose m³ from one in the bank", b.likely, "", "", soil.source),
            Step("", "low to high", f"{b.low:g} to {b.high:g}"),
            Step("Vl", "loose", loose.likely, "m³", "V b"),
            Step("", "loose, low to high", f"{loose.low:,.1f} to {loose.high:,.1f}", "m³"),
            Step("c", "firm m³ from one in the bank", soil.compacted_per_bank, "", "",
                 soil.source),
            Step("Vf", "placed and firm", bank_m3 * soil.compacted_per_bank, "m³", "V c"),
            Step("ρ", "tonnes a m³ in the bank", soil.bank_t_m3.likely, "t/m³", "",
                 soil.weight_source),
            Step("m", "weight", bank_m3 * soil.bank_t_m3.likely, "t", "V ρ"),
        ),
    )  # fmt: skip
