"""Where the earth of a winter's works goes: cuts to fills with the least haul, and what is left.

A transport problem with yields. Cut i gives S_i m³ in the bank, of which one m³ makes c_i firm m³
in a fill and fills b_i loose m³ on the trailer; fill j takes D_j firm m³; the haul between them is
d_ij metres. First as much of the fills as can be is made from the course (nothing is brought in
that the course has), then, among all such ways, the one with the least Σ b_i d_ij x_ij, loose m³
times metres:

    max Σ c_i x_ij            subject to  Σ_j x_ij <= S_i,  Σ_i c_i x_ij <= D_j,  x_ij >= 0
    min Σ b_i d_ij x_ij       subject to the same, and Σ c_i x_ij = that most

Both are linear programmes, solved by HiGHS (scipy); at their optimum no other way is shorter.
Topsoil goes to topsoil only and subsoil to fills only; earth unfit for fill goes to neither.
A cut feeds a fill only if it is dug before that fill is finished.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from math import isfinite
from typing import Any

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import coo_array, vstack

from worksprog.calc.ranges import ThreePoint
from worksprog.calc.soils import SOILS, Soil
from worksprog.calc.working import Step, Working

LEAST_MOVED_M3 = 0.05  # less is rounding of the solver or a barrow's load


class Matter(StrEnum):
    """What is kept apart on site."""

    SUBSOIL = "subsoil"
    TOPSOIL = "topsoil"
    UNSUITABLE = "unsuitable"


@dataclass(frozen=True)
class Cut:
    """Earth that an item digs out and does not put back itself.

    ``spread_share``: of what no fill takes, the share that is spread beside the work; the rest
    leaves the course.
    """

    key: str
    name: str
    matter: Matter
    soil: Soil
    bank_m3: float
    starts: date | None = None
    ends: date | None = None
    spread_share: float = 1.0

    def __post_init__(self) -> None:
        _not_negative(self.bank_m3, f"{self.name}: the volume dug")
        if not 0 <= self.spread_share <= 1:
            raise ValueError(
                f"{self.name}: the share spread lies between 0 and 1, not at {self.spread_share:g}."
            )

    @property
    def loose_m3(self) -> ThreePoint:
        return self.soil.loose_per_bank.times(self.bank_m3)

    @property
    def firm_m3(self) -> float:
        """What it would make as a fill."""
        return self.bank_m3 * self.soil.compacted_per_bank


@dataclass(frozen=True)
class Fill:
    """Earth that an item needs, measured in place and firm."""

    key: str
    name: str
    matter: Matter
    firm_m3: float
    starts: date | None = None
    ends: date | None = None

    def __post_init__(self) -> None:
        _not_negative(self.firm_m3, f"{self.name}: the volume filled")
        if self.matter is Matter.UNSUITABLE:
            raise ValueError(f"{self.name}: no fill is made of unsuitable earth.")


def _not_negative(value: float, what: str) -> None:
    if not (value >= 0 and isfinite(value)):
        raise ValueError(f"{what} must not be negative, not {value:g}.")


@dataclass(frozen=True)
class Move:
    """Earth from one cut to one fill."""

    cut: Cut
    fill: Fill
    bank_m3: float
    haul_m: float

    @property
    def loose_m3(self) -> ThreePoint:
        return self.cut.soil.loose_per_bank.times(self.bank_m3)

    @property
    def firm_m3(self) -> float:
        return self.bank_m3 * self.cut.soil.compacted_per_bank

    @property
    def haul_m4(self) -> float:
        """Loose m³ times metres: what is made least."""
        return self.loose_m3.likely * self.haul_m

    @property
    def waits_days(self) -> int:
        """Days that the earth lies in a heap, from the end of digging to the start of filling."""
        if self.cut.ends is None or self.fill.starts is None:
            return 0
        return max((self.fill.starts - self.cut.ends).days, 0)


@dataclass(frozen=True)
class Left:
    """What of a cut no fill takes, in the bank: spread beside the work, or off the course."""

    cut: Cut
    bank_m3: float

    @property
    def spread_m3(self) -> float:
        return self.bank_m3 * self.cut.spread_share

    @property
    def away_m3(self) -> float:
        return self.bank_m3 - self.spread_m3

    @property
    def spread_loose_m3(self) -> ThreePoint:
        return self.cut.soil.loose_per_bank.times(self.spread_m3)

    @property
    def away_loose_m3(self) -> ThreePoint:
        return self.cut.soil.loose_per_bank.times(self.away_m3)


@dataclass(frozen=True)
class Brought:
    """What a fill still needs once the course has given what it can."""

    fill: Fill
    firm_m3: float
    soil: Soil

    @property
    def bank_m3(self) -> float:
        return self.firm_m3 / self.soil.compacted_per_bank

    @property
    def loose_m3(self) -> ThreePoint:
        return self.soil.loose_per_bank.times(self.bank_m3)

    @property
    def mass_t(self) -> float:
        return self.bank_m3 * self.soil.bank_t_m3.likely


@dataclass(frozen=True)
class Barred:
    """A cut and a fill of one kind that could not meet, and why, of the cut."""

    cut: Cut
    fill: Fill
    why: str


@dataclass(frozen=True)
class Balance:
    """All of it, for one winter."""

    cuts: tuple[Cut, ...]
    fills: tuple[Fill, ...]
    moves: tuple[Move, ...]
    left: tuple[Left, ...]
    brought: tuple[Brought, ...]
    barred: tuple[Barred, ...]

    @property
    def haul_m4(self) -> float:
        return sum(move.haul_m4 for move in self.moves)

    @property
    def mean_haul_m(self) -> float | None:
        loose = sum(move.loose_m3.likely for move in self.moves)
        return self.haul_m4 / loose if loose else None

    def working(self, matter: Matter) -> Working:
        """The sums of one kind of earth; what comes in is what goes out, to the last m³."""
        cuts = [one for one in self.cuts if one.matter is matter]
        fills = [one for one in self.fills if one.matter is matter]
        moves = [one for one in self.moves if one.cut.matter is matter]
        left = [one for one in self.left if one.cut.matter is matter]
        brought = [one for one in self.brought if one.fill.matter is matter]
        dug = sum(one.bank_m3 for one in cuts)
        moved = sum(one.bank_m3 for one in moves)
        firm = sum(one.firm_m3 for one in moves)
        spread = sum(one.spread_m3 for one in left)
        away = sum(one.away_m3 for one in left)
        loose = sum(one.loose_m3.likely for one in moves)
        haul = sum(one.haul_m4 for one in moves)
        need = sum(one.firm_m3 for one in fills)
        steps = [
            Step("S", "dug and not put back by its own item, in the bank", dug, "m³",
                 "sum of the cuts"),
            Step("D", "fills, in place and firm", need, "m³", "sum of the fills"),
            Step("x", "moved to fills, in the bank", moved, "m³", "by the transport problem"),
            Step("xf", "which makes, firm", firm, "m³", "Σ c x, c by the kind of ground"),
            Step("xl", "and is hauled, loose", loose, "m³", "Σ b x"),
            Step("W", "haul", haul, "m³ m", "Σ loose × metres, the least there is"),
        ]  # fmt: skip
        if loose:
            steps.append(Step("d", "mean haul", haul / loose, "m", "W / xl"))
        steps += [
            Step("E", "brought in, firm", sum(one.firm_m3 for one in brought), "m³", "D - xf"),
            Step("", "spread beside the work, in the bank", spread, "m³"),
            Step("", "off the course, in the bank", away, "m³"),
            Step("", "dug less moved, spread and gone", _clean(dug - moved - spread - away), "m³",
                 "S - x - spread - off: nothing may be left"),
        ]  # fmt: skip
        return Working(f"Balance of {matter.value}", tuple(steps))


def _clean(value: float) -> float:
    return 0.0 if abs(value) < 1e-6 else value


def in_time(cut: Cut, fill: Fill) -> bool:
    """Whether the cut is dug before the fill is finished; dates not known do not bar."""
    return cut.starts is None or fill.ends is None or cut.starts <= fill.ends


def _why_not(cut: Cut, fill: Fill, haul_m: float | None, longest_haul_m: float | None) -> str:
    """Why the cut cannot feed the fill, said of the cut; "" where it can."""
    if not in_time(cut, fill):
        assert cut.starts is not None and fill.ends is not None
        return f"is dug from {cut.starts:%-d %b %Y}, after it is finished on {fill.ends:%-d %b %Y}"
    if haul_m is None:
        return "has no known way to it"
    if longest_haul_m is not None and haul_m > longest_haul_m:
        return f"is {haul_m:,.0f} m off, further than {longest_haul_m:,.0f} m"
    return ""


def balance_earth(
    cuts: Sequence[Cut],
    fills: Sequence[Fill],
    hauls: Mapping[tuple[str, str], float],
    *,
    longest_haul_m: float | None = None,
    brought_soils: Mapping[Matter, Soil] | None = None,
) -> Balance:
    """Which cut feeds which fill, with the least brought in and then the least haul.

    ``hauls``: metres from the cut's key to the fill's key; a pair without one cannot be hauled.
    ``longest_haul_m``: nothing is hauled further. ``brought_soils``: what is brought in where the
    course has not enough (clay and topsoil where not told).
    ValueError: a key twice, a haul or a limit that is negative or no number.
    """
    for what, keys in (("cuts", [c.key for c in cuts]), ("fills", [f.key for f in fills])):
        if len(set(keys)) < len(keys):
            raise ValueError(f"Two {what} have one key; each needs its own.")
    for haul in hauls.values():
        _not_negative(haul, "A haul")
    if longest_haul_m is not None:
        _not_negative(longest_haul_m, "The longest haul")
    soils = {Matter.SUBSOIL: SOILS["clay"], Matter.TOPSOIL: SOILS["topsoil"]}
    soils |= brought_soils or {}
    moves: list[Move] = []
    barred: list[Barred] = []
    for matter in (Matter.SUBSOIL, Matter.TOPSOIL):
        pairs: list[tuple[Cut, Fill, float]] = []
        for cut in cuts:
            for fill in fills:
                if cut.matter is not matter or fill.matter is not matter or not cut.bank_m3:
                    continue
                haul_m = hauls.get((cut.key, fill.key))
                why = _why_not(cut, fill, haul_m, longest_haul_m)
                if why:
                    barred.append(Barred(cut, fill, why))
                elif haul_m is not None:
                    pairs.append((cut, fill, haul_m))
        moves += _transport(pairs)
    taken: dict[str, float] = defaultdict(float)
    given: dict[str, float] = defaultdict(float)
    for move in moves:
        taken[move.cut.key] += move.bank_m3
        given[move.fill.key] += move.firm_m3
    left = [Left(cut, max(cut.bank_m3 - taken[cut.key], 0.0)) for cut in cuts]
    brought = [
        Brought(fill, max(fill.firm_m3 - given[fill.key], 0.0), soils[fill.matter])
        for fill in fills
    ]
    return Balance(
        cuts=tuple(cuts),
        fills=tuple(fills),
        moves=tuple(sorted(moves, key=lambda move: -move.loose_m3.likely)),
        left=tuple(one for one in left if one.bank_m3 > 1e-6),
        brought=tuple(one for one in brought if one.firm_m3 > 1e-6),
        barred=tuple(barred),
    )


def _transport(pairs: Sequence[tuple[Cut, Fill, float]]) -> list[Move]:
    """The two linear programmes of the module, on the pairs that may be."""
    if not pairs:
        return []
    cuts = list({cut.key: cut for cut, _, _ in pairs}.values())
    fills = list({fill.key: fill for _, fill, _ in pairs}.values())
    row_of_cut = {cut.key: place for place, cut in enumerate(cuts)}
    row_of_fill = {fill.key: len(cuts) + place for place, fill in enumerate(fills)}
    count = len(pairs)
    firm = np.array([cut.soil.compacted_per_bank for cut, _, _ in pairs])
    loose = np.array([cut.soil.loose_per_bank.likely for cut, _, _ in pairs])
    haul = np.array([metres for _, _, metres in pairs])
    columns = np.arange(count)
    # Sparse, which the solver takes and its stubs do not know.
    limits: Any = coo_array(
        (
            np.concatenate([np.ones(count), firm]),
            (
                np.concatenate(
                    [
                        [row_of_cut[cut.key] for cut, _, _ in pairs],
                        [row_of_fill[fill.key] for _, fill, _ in pairs],
                    ]
                ),
                np.concatenate([columns, columns]),
            ),
        ),
        shape=(len(cuts) + len(fills), count),
    )
    most = np.array([*(cut.bank_m3 for cut in cuts), *(fill.firm_m3 for fill in fills)])
    first = linprog(-firm, A_ub=limits, b_ub=most, method="highs")
    if first.status != 0 or first.x is None:
        raise ValueError(f"The earth could not be shared out: {first.message}")
    filled = float(firm @ first.x)
    # A hair below the most, so that rounding cannot make the second one impossible.
    floor = filled * (1 - 1e-9) - 1e-9
    with_floor: Any = vstack([limits, coo_array(-firm[None, :])])
    second = linprog(
        loose * haul,
        A_ub=with_floor,
        b_ub=np.append(most, -floor),
        method="highs",
    )
    if second.status != 0 or second.x is None:
        raise ValueError(f"The earth could not be shared out: {second.message}")
    return [
        Move(cut, fill, float(amount), metres)
        for (cut, fill, metres), amount in zip(pairs, second.x, strict=True)
        if amount >= LEAST_MOVED_M3
    ]


@dataclass(frozen=True)
class Carrier:
    """What earth is carried on, and how long a round takes it.

    Its load is the smaller of what its body holds loose and what it may carry by weight.
    ``worked_share``: minutes worked of an hour, waiting and manoeuvring left out.
    """

    name: str
    body_m3: float
    payload_t: float
    load_min: float
    tip_min: float
    laden_kmh: float
    empty_kmh: float
    worked_share: float = 0.83
    source: str = "common practice, no source (P)"

    def __post_init__(self) -> None:
        for value, what in (
            (self.body_m3, "what the body holds"),
            (self.payload_t, "the weight it may carry"),
            (self.laden_kmh, "the speed laden"),
            (self.empty_kmh, "the speed empty"),
        ):
            if not (value > 0 and isfinite(value)):
                raise ValueError(f"{self.name}: {what} must be more than 0, not {value:g}.")
        _not_negative(self.load_min, f"{self.name}: the minutes of loading")
        _not_negative(self.tip_min, f"{self.name}: the minutes of tipping")
        if not 0 < self.worked_share <= 1:
            raise ValueError(
                f"{self.name}: the share of an hour worked lies above 0 and up to 1, "
                f"not at {self.worked_share:g}."
            )

    def load_of(self, soil: Soil) -> float:
        """Loose m³ on one load: min(body, payload / loose t per m³)."""
        return min(self.body_m3, self.payload_t / soil.loose_t_m3)

    def round_trip_min(self, haul_m: float) -> float:
        """t = (load + tip + d / v_laden + d / v_empty) / share of the hour worked, minutes."""
        _not_negative(haul_m, "The haul")
        driven = haul_m / 1000 * 60 * (1 / self.laden_kmh + 1 / self.empty_kmh)
        return (self.load_min + self.tip_min + driven) / self.worked_share


CARRIERS: dict[str, Carrier] = {
    "trailer": Carrier("tractor and tipping trailer", 5.0, 7.0, 8.0, 2.0, 8.0, 12.0),
    "dumper_6t": Carrier("site dumper, 6 t", 3.2, 6.0, 5.0, 1.0, 8.0, 12.0),
    "dumper_3t": Carrier("site dumper, 3 t", 1.6, 3.0, 3.0, 1.0, 7.0, 10.0),
}
LORRY = Carrier("tipping lorry on the road", 10.0, 18.0, 12.0, 4.0, 40.0, 45.0)


@dataclass(frozen=True)
class Haulage:
    """Loads and hours for one volume over one distance."""

    loose_m3: float
    load_m3: float
    loads: int
    trip_min: float
    hours: float
    working: Working


def loads_of(loose_m3: float, load_m3: float) -> int:
    """Whole loads; a hair over a full load does not make another."""
    full, rest = divmod(loose_m3, load_m3)
    return int(full) + (1 if rest > 1e-9 * load_m3 else 0)


def haulage(*, loose_m3: float, soil: Soil, haul_m: float, carrier: Carrier) -> Haulage:
    """Whole loads n = V / load rounded up, and n round trips of one carrier, in hours."""
    _not_negative(loose_m3, "The loose volume")
    load = carrier.load_of(soil)
    count = loads_of(loose_m3, load)
    trip = carrier.round_trip_min(haul_m)
    hours = count * trip / 60
    by_weight = carrier.payload_t / soil.loose_t_m3 < carrier.body_m3
    limited = "its weight limits it" if by_weight else "its body limits it"
    steps = (
        Step("V", "earth, loose", loose_m3, "m³"),
        Step("γ", f"{soil.name}, loose", soil.loose_t_m3, "t/m³", "bank t/m³ / b",
             soil.weight_source),
        Step("q", f"one load of a {carrier.name}: {limited}", load, "m³",
             f"min({carrier.body_m3:g} m³, {carrier.payload_t:g} t / γ)", carrier.source),
        Step("n", "loads", float(count), "no", "V / q, rounded up"),
        Step("d", "haul, one way", haul_m, "m"),
        Step("t", "one round trip", trip, "min",
             f"({carrier.load_min:g} + {carrier.tip_min:g} + 0.06 d / {carrier.laden_kmh:g} "
             f"+ 0.06 d / {carrier.empty_kmh:g}) / {carrier.worked_share:g}", carrier.source),
        Step("H", "hours of one carrier", hours, "h", "n t / 60"),
    )  # fmt: skip
    return Haulage(loose_m3, load, count, trip, hours, Working(f"Haul by {carrier.name}", steps))


def lorry_loads(parts: Iterable[tuple[float, Soil]], lorry: Carrier = LORRY) -> int:
    """Lorry loads of several kinds of earth, loose m³ and soil, each kind loaded apart."""
    by_soil: dict[str, tuple[float, Soil]] = {}
    for loose_m3, soil in parts:
        _not_negative(loose_m3, "The loose volume")
        before = by_soil.get(soil.name, (0.0, soil))[0]
        by_soil[soil.name] = (before + loose_m3, soil)
    return sum(loads_of(loose, lorry.load_of(soil)) for loose, soil in by_soil.values())


def haul_that_pays_m(
    *, carrier: Carrier, soil: Soil, hour_costs: float, saved_per_loose_m3: float
) -> float | None:
    """The haul up to which one load moved on the course costs less than what it saves.

    Solves load × saved = hour_costs × t(d) / 60 for d; None where not even a haul of nothing pays.
    ``saved_per_loose_m3``: what one loose m³ costs to bring in, and to take the other off.
    """
    if not hour_costs > 0:
        raise ValueError("What an hour of the carrier costs must be more than 0.")
    _not_negative(saved_per_loose_m3, "What is saved")
    minutes = carrier.load_of(soil) * saved_per_loose_m3 / hour_costs * 60 * carrier.worked_share
    driving = minutes - carrier.load_min - carrier.tip_min
    if driving < 0:
        return None
    return driving / (60 / 1000 * (1 / carrier.laden_kmh + 1 / carrier.empty_kmh))
