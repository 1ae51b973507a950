"""Ponds: what one holds at each level and what its outlets let out.

S(h) = ∫ A dh with the area A running straight between stages. Outlets (h above invert or crest):
weir    Q = 1.705 b h^1.5 (broad crest)
orifice Q = 0.6 A √(2 g (h - D/2)) above its crown; below it 0.6 times the wetted part of the
        circle times √(2 g h/2), which meets the former at the crown (the part below is our own)
pipe    what its inlet takes by HDS-5 inlet control, and no more than it carries running full
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from worksprog.calc.culverts import SOURCE_HDS5, inlet_headwater_m
from worksprog.calc.pipes import GRAVITY_MS2, PipeSection
from worksprog.calc.routing.kernel import pool_step
from worksprog.calc.working import Step, Working

Floats = NDArray[np.float64]
OutletKind = Literal["pipe", "weir", "orifice"]

BROAD_CREST = 1.705
ORIFICE = 0.6
INLET_GRADIENT = 0.01  # of a pipe whose own is not known: HDS-5's slope term is then 0.005 D
TABLE_ROWS = 400
MOST_ABOVE_STAGES_M = 2.0  # sides taken as upright above the highest stage
SOURCE_WEIR = "broad-crested weir, Q = 1.705 b h^1.5 (critical flow over the crest)"
SOURCE_ORIFICE = "orifice, Q = 0.6 A √(2 g h), h to the centre"
SOURCE_POOL = "level-pool routing (Chow, Maidment and Mays 1988, section 8.2, from memory)"


@dataclass(frozen=True)
class Outlet:
    """One way out of a pond.

    level_m      invert of a pipe or orifice, crest of a weir
    into         key of the reach it gives into; "" when the water leaves the network there
    most_m3s     what the pipe or ditch beyond it carries; None sets no limit
    gradient     of the pipe beyond it
    """

    kind: OutletKind
    level_m: float
    diameter_m: float | None = None
    width_m: float | None = None
    into: str = ""
    most_m3s: float | None = None
    gradient: float | None = None
    name: str = ""

    def __post_init__(self) -> None:
        if not math.isfinite(self.level_m):
            raise ValueError(f"The {self.words} has no level.")
        size, what = (
            (self.width_m, "width of its crest")
            if self.kind == "weir"
            else (self.diameter_m, "inside diameter")
        )
        if size is None or not math.isfinite(size) or size <= 0:
            raise ValueError(f"The {self.words} needs the {what}, above 0.")
        if self.kind != "weir" and size > 5:
            raise ValueError(
                f"The {self.words} would be {size:g} m wide inside. Diameters are in metres here."
            )

    @property
    def words(self) -> str:
        kind = "weir" if self.kind == "weir" else self.kind
        return f"{kind} {self.name}".strip() + f" at {self.level_m:.2f} m"

    def flows_m3s(self, levels_m: ArrayLike) -> Floats:
        """Flow (m³/s) at each water level (m)."""
        head = np.maximum(np.asarray(levels_m, dtype=np.float64) - self.level_m, 0.0)
        if self.kind == "weir":
            flow = weir_flows_m3s(self.width_m or 0.0, head)
        elif self.kind == "orifice":
            flow = orifice_flows_m3s(self.diameter_m or 0.0, head)
        else:
            flow = inlet_flows_m3s(
                self.diameter_m or 0.0, head, gradient=self.gradient or INLET_GRADIENT
            )
        return flow if self.most_m3s is None else np.minimum(flow, self.most_m3s)


def weir_flows_m3s(width_m: float, head_m: ArrayLike) -> Floats:
    """Q = 1.705 b h^1.5 over a broad crest, free below; b m, h m above the crest."""
    return np.asarray(BROAD_CREST * width_m * np.asarray(head_m, dtype=np.float64) ** 1.5)


def orifice_flows_m3s(diameter_m: float, head_m: ArrayLike) -> Floats:
    """A round sharp-edged hole that falls free; head (m) above its invert."""
    head = np.asarray(head_m, dtype=np.float64)
    wet = np.minimum(head, diameter_m)
    theta = 2 * np.arccos(np.clip(1 - 2 * wet / diameter_m, -1, 1))
    area = diameter_m**2 * (theta - np.sin(theta)) / 8
    drop = np.where(head < diameter_m, head / 2, head - diameter_m / 2)
    return np.asarray(ORIFICE * area * np.sqrt(2 * GRAVITY_MS2 * drop))


def inlet_flows_m3s(diameter_m: float, head_m: ArrayLike, *, gradient: float) -> Floats:
    """What a pipe with a square-edged headwall takes in (m³/s), HDS-5 inlet control turned round.

    head_m  water above its invert, m
    """
    head = np.asarray(head_m, dtype=np.float64)
    most = float(head.max(initial=0.0))
    scale = math.pi * diameter_m**2 / 4 * math.sqrt(diameter_m)
    highest = scale * (1 + 3 * math.sqrt(most / diameter_m))
    flows = highest * np.linspace(0.01, 1, 60) ** 2
    section = PipeSection(diameter_m)
    heads = np.array(
        [
            inlet_headwater_m(section, flow_m3s=float(flow), gradient=gradient, inlet="square")
            for flow in flows
        ]
    )
    # In a steep pipe the slope term takes trickles below the invert: no head, no flow.
    stands = heads > 0
    heads = np.maximum.accumulate(np.concatenate(([0.0], heads[stands])))
    return np.asarray(np.interp(head, heads, np.concatenate(([0.0], flows[stands]))))


@dataclass(frozen=True)
class Pond:
    """A pond as a level pool.

    levels_m, areas_m2  stages, rising, and the water surface at each
    bank_m       lowest level of the bank; None takes the highest stage
    resting_m    level before the rain; None takes the lowest outlet, or the lowest stage
    surface_m2   on which rain falls straight in
    ValueError, naming the pond and the place, for what cannot be.
    """

    key: str
    name: str
    levels_m: tuple[float, ...]
    areas_m2: tuple[float, ...]
    outlets: tuple[Outlet, ...] = ()
    bank_m: float | None = None
    resting_m: float | None = None
    surface_m2: float = 0.0

    def __post_init__(self) -> None:
        check_stages(self.name, self.levels_m, self.areas_m2)
        bank, lowest = self.bank_level_m, self.levels_m[0]
        if bank <= lowest:
            raise ValueError(
                f"{self.name}: the bank at {bank:.2f} m is not above the lowest stage, "
                f"{lowest:.2f} m."
            )
        if bank - self.levels_m[-1] > MOST_ABOVE_STAGES_M:
            raise ValueError(
                f"{self.name}: the bank at {bank:.2f} m lies {bank - self.levels_m[-1]:.2f} m above "
                f"the highest stage, {self.levels_m[-1]:.2f} m; no more than "
                f"{MOST_ABOVE_STAGES_M:g} m is taken. Levels are in metres; add the stages up to "
                "the bank if it is that high."
            )
        for outlet in self.outlets:
            if outlet.level_m >= bank:
                raise ValueError(
                    f"{self.name}: the {outlet.words} lies at or above the bank, {bank:.2f} m: "
                    "water would come over the bank before it reached the outlet."
                )
        highest, top = min((self.levels_m[-1], "highest stage"), (bank, "bank"))
        if self.resting_m is not None and not lowest <= self.resting_m <= highest:
            raise ValueError(
                f"{self.name}: the usual water level {self.resting_m:.2f} m lies outside "
                f"{lowest:.2f} m (lowest stage) to {highest:.2f} m ({top})."
            )

    @property
    def bank_level_m(self) -> float:
        return self.levels_m[-1] if self.bank_m is None else self.bank_m

    @property
    def start_m(self) -> float:
        """Level before the rain."""
        if self.resting_m is not None:
            return self.resting_m
        lowest = min((outlet.level_m for outlet in self.outlets), default=self.levels_m[0])
        return max(lowest, self.levels_m[0])

    def areas_at(self, levels_m: ArrayLike) -> Floats:
        """Water surface (m²); above the highest stage as at it."""
        levels = np.asarray(levels_m, dtype=np.float64)
        return np.asarray(np.interp(levels, self.levels_m, self.areas_m2))

    def volumes_at(self, levels_m: ArrayLike) -> Floats:
        """Water held above the lowest stage (m³), exact for areas straight between stages."""
        given = np.clip(np.asarray(levels_m, dtype=np.float64), self.levels_m[0], None)
        stages, areas = np.array(self.levels_m), np.array(self.areas_m2)
        whole = np.concatenate(([0.0], np.cumsum(np.diff(stages) * (areas[1:] + areas[:-1]) / 2)))
        below = np.clip(np.searchsorted(stages, given, side="right") - 1, 0, len(stages) - 1)
        return np.asarray(
            whole[below] + (given - stages[below]) * (areas[below] + self.areas_at(given)) / 2
        )

    @property
    def warnings(self) -> tuple[str, ...]:
        """What may be right but is worth a look."""
        found = []
        for row in range(1, len(self.levels_m)):
            if self.areas_m2[row] < self.areas_m2[row - 1]:
                found.append(
                    f"{self.name}: the water surface shrinks from {self.areas_m2[row - 1]:,.0f} to "
                    f"{self.areas_m2[row]:,.0f} m² between {self.levels_m[row - 1]:.2f} and "
                    f"{self.levels_m[row]:.2f} m. A pond widens upwards unless its bank overhangs."
                )
        if self.levels_m[-1] < self.bank_level_m - 1e-9:
            found.append(
                f"{self.name}: the stages end at {self.levels_m[-1]:.2f} m, below the bank at "
                f"{self.bank_level_m:.2f} m; above them its sides are taken as upright."
            )
        for outlet in self.outlets:
            if outlet.level_m < self.levels_m[0] - 1e-9:
                found.append(
                    f"{self.name}: the {outlet.words} lies below the lowest stage, "
                    f"{self.levels_m[0]:.2f} m."
                )
        lowest_out = min((outlet.level_m for outlet in self.outlets), default=self.start_m)
        if self.start_m > max(lowest_out, self.levels_m[0]) + 0.05:
            runs_off = float(
                self.volumes_at(self.start_m) - self.volumes_at(max(lowest_out, self.levels_m[0]))
            )
            found.append(
                f"{self.name}: the usual water level {self.start_m:.2f} m stands "
                f"{self.start_m - lowest_out:.2f} m above its lowest outlet, {lowest_out:.2f} m: "
                f"{runs_off:,.0f} m³ runs off before and beside what the rain brings."
            )
        if not self.outlets:
            found.append(f"{self.name}: it has no outlet; all that comes is kept to the bank.")
        return tuple(found)

    def table(self) -> PondTable:
        """The pond by volume from its lowest stage to its bank, finely stepped."""
        low, bank = self.levels_m[0], self.bank_level_m
        marks = [low, bank, self.start_m, *self.levels_m, *(one.level_m for one in self.outlets)]
        levels = np.union1d(
            np.linspace(low, bank, TABLE_ROWS), [mark for mark in marks if low <= mark <= bank]
        )
        flows = tuple(outlet.flows_m3s(levels) for outlet in self.outlets)
        return PondTable(levels, self.volumes_at(levels), flows)


@dataclass(frozen=True)
class PondTable:
    """Level, volume and the flow of each outlet, row by row."""

    levels_m: Floats
    volumes_m3: Floats
    flows_m3s: tuple[Floats, ...]

    @property
    def outflow_m3s(self) -> Floats:
        return np.asarray(sum(self.flows_m3s, np.zeros_like(self.levels_m)))


def check_stages(name: str, levels_m: tuple[float, ...], areas_m2: tuple[float, ...]) -> None:
    """Refuse a stage-area table that cannot be (ValueError, naming the row)."""
    if len(levels_m) < 2 or len(levels_m) != len(areas_m2):
        raise ValueError(
            f"{name}: a table of at least two stages is needed, each with a level and an area."
        )
    for row, (level, area) in enumerate(zip(levels_m, areas_m2, strict=True), start=1):
        if not (math.isfinite(level) and math.isfinite(area)) or area < 0:
            raise ValueError(
                f"{name}, stage {row}: a level in metres and an area of 0 m² or more were "
                f"expected; {level:g} and {area:g} were given."
            )
        if row > 1 and level <= levels_m[row - 2]:
            raise ValueError(
                f"{name}, stage {row}: stages must rise; {level:.2f} m follows "
                f"{levels_m[row - 2]:.2f} m."
            )
        if row > 1 and area + areas_m2[row - 2] <= 0:
            raise ValueError(f"{name}, stage {row}: two stages without any area hold no water.")


@dataclass(frozen=True)
class Pool:
    """A pond through a hydrograph: at the same times as the inflow."""

    outflow_m3s: Floats
    volume_m3: Floats


def level_pool(
    volumes_m3: ArrayLike,
    outflows_m3s: ArrayLike,
    inflow_m3s: ArrayLike,
    *,
    step_s: float,
    start_m3: float = 0.0,
) -> Pool:
    """Route an inflow through one pond by storage indication.

    2 S2/dt + Q2 = I1 + I2 + (2 S1/dt - Q1), Q read on 2 S/dt + Q by straight lines.
    volumes_m3, outflows_m3s  the pond's table, rising; inflow_m3s at times 0, dt, 2 dt …
    ValueError for tables that do not rise and steps that are none. Source: Chow, Maidment and
    Mays 1988, section 8.2 (from memory).
    """
    volumes = np.asarray(volumes_m3, dtype=np.float64)
    outflows = np.asarray(outflows_m3s, dtype=np.float64)
    inflow = np.asarray(inflow_m3s, dtype=np.float64)
    if len(volumes) < 2 or len(volumes) != len(outflows):
        raise ValueError("A pond's table has at least two rows of volume and outflow.")
    if (np.diff(volumes) <= 0).any() or (np.diff(outflows) < 0).any():
        raise ValueError("In a pond's table volumes rise and outflows do not fall.")
    if not step_s > 0:
        raise ValueError("A step must be longer than 0 s.")
    held, flow = np.zeros(len(inflow)), np.zeros(len(inflow))
    held[0], flow[0] = start_m3, float(np.interp(start_m3, volumes, outflows))
    for step in range(1, len(inflow)):
        held[step], flow[step] = pool_step(
            volumes,
            outflows,
            held[step - 1],
            flow[step - 1],
            0.5 * (inflow[step - 1] + inflow[step]),
            step_s,
        )
    return Pool(flow, held)


def pond_working(pond: Pond, level_m: float) -> Working:
    """What the pond holds and lets out at one level."""
    steps = [
        Step("h", "water level", level_m, "m"),
        Step("A", "water surface", float(pond.areas_at(level_m)), "m²", source="stage table"),
        Step(
            "S",
            "water above the lowest stage",
            float(pond.volumes_at(level_m)),
            "m³",
            formula="S = ∫ A dh, A straight between stages",
        ),
    ]
    total = 0.0
    for outlet in pond.outlets:
        flow = float(outlet.flows_m3s([level_m])[0])
        total += flow
        source, formula = {
            "weir": (SOURCE_WEIR, "Q = 1.705 b h^1.5"),
            "orifice": (SOURCE_ORIFICE, "Q = 0.6 A √(2 g h)"),
            "pipe": (SOURCE_HDS5, "inlet control, at most running full"),
        }[outlet.kind]
        steps.append(Step("Q", outlet.words, flow * 1000, "l/s", formula=formula, source=source))
    steps.append(Step("ΣQ", "let out at this level", total * 1000, "l/s", formula="sum of outlets"))
    return Working(title=f"{pond.name} at {level_m:.2f} m", steps=tuple(steps))
