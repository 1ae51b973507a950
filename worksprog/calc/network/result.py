"""What the check gives back."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from worksprog.calc import culverts, ditches, pipes
from worksprog.calc.ditches import DitchSection
from worksprog.calc.network.backwater import SOURCE_PROFILE
from worksprog.calc.network.given import Limits, Node, Point, Reach, ReachKind, Storm
from worksprog.calc.network.joining import Junction, Moved
from worksprog.calc.network.water_line import SOURCE_LOSSES, WaterAt
from worksprog.calc.pipes import PipeSection
from worksprog.calc.rainfall import (
    MOST_CATCHMENT_HA,
    SOURCE_RATIONAL,
    WetSpell,
    entry_steps,
)
from worksprog.calc.working import Step, Working

State = Literal["fault", "too_small", "unknown", "carries"]
FindingKind = Literal[
    "loop",
    "uphill",
    "flat",
    "dead_end",
    "missing_level",
    "missing_section",
    "split",
    "step_up",
    "narrows",
    "strung_out",
    "stray_node",
    "silting",
    "scour",
    "large_catchment",
    "from_pond",
    "surfaces",
    "drowned",
    "two_outfalls",
    "feet",
]


@dataclass(frozen=True, slots=True)
class Finding:
    """Something wrong (a fault) or worth a look (advice), in plain words, and where."""

    kind: FindingKind
    words: str
    reach_keys: tuple[str, ...]
    place: Point | None = None
    is_fault: bool = True


@dataclass(frozen=True)
class PathPiece:
    """A stretch of the way down to the outfall: a reach from a chainage along it to its end."""

    key: str
    from_m: float


def fault_words(state: State, verdict: str) -> str:
    """'runs uphill', where there is no room for the whole verdict; "" when not at fault."""
    return verdict.partition(":")[0] if state == "fault" else ""


@dataclass(frozen=True, slots=True)
class ReachCheck:
    """One reach, checked. None stands for what cannot be known; the verdict says why."""

    key: str
    name: str
    kind: ReachKind
    standing: bool
    length_m: float
    upstream_level_m: float | None
    upstream_level_from: str
    downstream_level_m: float | None
    downstream_level_from: str
    gradient: float | None
    own_area_ha: float
    area_above_ha: float | None  # its own included
    runoff_area_ha: float | None  # sum of C x A, its own included
    flow_m3s: float | None
    capacity_m3s: float | None
    capacity_velocity_ms: float | None
    velocity_ms: float | None
    depth_m: float | None
    spare_share: float | None  # of the capacity; below 0 when too small
    froude: float | None  # ditches: below 1 the water runs tranquil
    freeboard_left_m: float | None  # ditches: bank above the water at the flow
    entry_min: float  # its own water, over the ground
    travel_min: float  # along the reach
    gather_min: float | None  # time of concentration at its lower end
    furthest_key: str  # the reach whose water arrives last
    storm_min: float | None  # the storm that loads it most
    intensity_mm_h: float | None
    contributing_ha: float | None  # run-off area that reaches it in that storm
    water_up_m: float | None  # levels of the water at its ends
    water_down_m: float | None
    runs_full: bool  # a pipe under pressure at its upper end
    friction_gradient: float | None
    critical_m: float | None  # depth at which its flow would be critical
    loss_k: float
    headwater_m: float | None  # culverts: above the upstream invert
    state: State
    verdict: str
    drowned: bool  # carries its flow, but water comes out where it ends
    faults: tuple[str, ...]  # words of the faults this reach has
    above: tuple[str, ...]
    below: tuple[str, ...]
    enters_at_m: float | None  # chainage on the reach below, where it enters part way along
    upstream_name: str
    downstream_name: str
    upstream_node_keys: tuple[str, ...]
    downstream_node_keys: tuple[str, ...]
    outfall_name: str  # "" when its water reaches none
    build_step: int | None  # 1 is built first; None in or above a loop
    waits_for: tuple[str, ...]  # reaches directly below that do not stand yet

    @property
    def one_in(self) -> float | None:
        return 1 / self.gradient if self.gradient else None

    @property
    def spare_told(self) -> float | None:
        """To spare in whole hundredths, never more than there is: the same wherever it is shown."""
        return None if self.spare_share is None else math.floor(self.spare_share * 100) / 100

    @property
    def fault_words(self) -> str:
        return fault_words(self.state, self.verdict)

    @property
    def backs_up(self) -> bool:
        """A pipe asked for more than it carries: no free depth or velocity can be told."""
        return self.kind == "pipe" and self.shortfall_m3s > 0

    @property
    def shortfall_m3s(self) -> float:
        if self.flow_m3s is None or self.capacity_m3s is None:
            return 0.0
        return max(0.0, self.flow_m3s - self.capacity_m3s)


def comes_out(reach: ReachCheck, nodes: Mapping[str, Node]) -> bool:
    """Whether a drain ends at an outfall of its own, whatever takes its water there.

    A ditch that runs on through the outfall of a pipe beside it does not.
    """
    return (reach.kind == "pipe" or reach.enters_at_m is not None) and any(
        nodes[key].kind == "outfall" for key in reach.downstream_node_keys
    )


@dataclass(frozen=True)
class NetworkCheck:
    """The whole network, checked for one storm."""

    storm: Storm
    limits: Limits
    reaches: tuple[ReachCheck, ...]
    findings: tuple[Finding, ...]
    moved: tuple[Moved, ...]
    junctions: tuple[Junction, ...]
    water: tuple[WaterAt, ...]  # one for each junction, in the same order
    order: tuple[str, ...]  # keys, outfall first; reaches in or above a loop are left out
    given: Mapping[str, Reach] = field(repr=False)
    nodes: Mapping[str, Node] = field(repr=False)
    _by_key: dict[str, ReachCheck] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_by_key", {reach.key: reach for reach in self.reaches})

    def reach(self, key: str) -> ReachCheck:
        """KeyError when the network has no such reach."""
        return self._by_key[key]

    def water_at_ends(self, key: str) -> tuple[WaterAt, WaterAt]:
        """The water where a reach begins and where it ends. KeyError for an unknown reach."""
        index = self.reaches.index(self.reach(key))
        begins = next(n for n, one in enumerate(self.junctions) if index in one.out_of)
        ends = next(n for n, one in enumerate(self.junctions) if index in one.into)
        return self.water[begins], self.water[ends]

    def told_of(self, key: str) -> tuple[Finding, ...]:
        """What is worth a look on one reach."""
        return tuple(finding for finding in self.advice if key in finding.reach_keys)

    def count(self, state: State) -> int:
        return sum(reach.state == state for reach in self.reaches)

    @property
    def faults(self) -> tuple[Finding, ...]:
        return tuple(finding for finding in self.findings if finding.is_fault)

    @property
    def advice(self) -> tuple[Finding, ...]:
        return tuple(finding for finding in self.findings if not finding.is_fault)

    def way_down(self, key: str) -> list[PathPiece]:
        """The reaches from one down to its own outfall; where the flow divides, the first branch.

        A pipe that comes out at an outfall ends there, though a ditch may take its water on. Stops
        where a loop would begin again. KeyError for an unknown reach.
        """
        path: list[PathPiece] = []
        seen: set[str] = set()
        from_m = 0.0
        here: str | None = key
        while here is not None and here not in seen:
            seen.add(here)
            reach = self.reach(here)
            path.append(PathPiece(here, from_m))
            from_m = reach.enters_at_m or 0.0
            ends = not reach.below or comes_out(reach, self.nodes)
            here = None if ends else reach.below[0]
        return path

    def led_into(self, key: str) -> tuple[str, ...]:
        """Names of what takes its water on beyond its own outfall, as a brook; none otherwise."""
        last = self.reach(self.way_down(key)[-1].key)
        if not comes_out(last, self.nodes):
            return ()
        return tuple(self.reach(below).name for below in last.below)

    def pairs_below_first(self) -> list[tuple[str, str]]:
        """(below, above): the reach below is built before the one above it."""
        return [
            (below, reach.key)
            for reach in self.reaches
            if reach.build_step is not None
            for below in reach.below
        ]

    def workings(self, key: str) -> tuple[Working, ...]:
        """How each figure of one reach came about; only what could be computed."""
        reach, given = self.reach(key), self.given[key]
        found = [self._flow_working(reach, given), self._time_working(reach, given)]
        if reach.upstream_level_m is not None and reach.downstream_level_m is not None:
            found.append(_gradient_working(reach))
        if reach.gradient is None or reach.capacity_m3s is None:
            return tuple(found)
        flows = reach.flow_m3s is not None and reach.flow_m3s > 0
        if isinstance(given.section, PipeSection):
            found.append(pipes.capacity_working(given.section, reach.gradient))
            if flows and reach.flow_m3s is not None and not reach.backs_up:
                found.append(
                    pipes.velocity_working(
                        given.section,
                        flow_m3s=reach.flow_m3s,
                        full_flow_m3s=reach.capacity_m3s,
                        full_velocity_ms=reach.capacity_velocity_ms or 0.0,
                    )
                )
        elif isinstance(given.section, DitchSection):
            found.append(ditches.capacity_working(given.section, reach.gradient))
            if flows and reach.flow_m3s is not None and reach.depth_m is not None:
                found.append(
                    ditches.velocity_working(
                        given.section, flow_m3s=reach.flow_m3s, gradient=reach.gradient
                    )
                )
        if reach.water_up_m is not None and reach.water_down_m is not None:
            found.append(_water_working(reach, given))
        if given.inlet is not None and reach.headwater_m is not None and flows:
            assert isinstance(given.section, PipeSection) and reach.flow_m3s is not None
            found.append(
                culverts.culvert_working(
                    given.section,
                    flow_m3s=reach.flow_m3s,
                    gradient=reach.gradient,
                    inlet=given.inlet,
                    barrel_m=(reach.water_up_m or 0.0) - (reach.upstream_level_m or 0.0),
                )
            )
        if reach.spare_share is not None and reach.flow_m3s is not None:
            found.append(_verdict_working(reach))
        return tuple(found)

    def wet_spell(self, key: str, *, rain_mm: float = 100.0, days: float = 4.5) -> WetSpell | None:
        """Days of rain against a reach's capacity; None where either cannot be known.

        Over 100 mm in four to five days is a real test of a drain (common practice, no source).
        """
        reach = self.reach(key)
        if not reach.runoff_area_ha or not reach.capacity_m3s:
            return None
        return WetSpell(rain_mm, days, reach.runoff_area_ha, reach.capacity_m3s)

    def _time_working(self, reach: ReachCheck, given: Reach) -> Working:
        steps: list[Step] = []
        known = given.flow_path_gradient is not None
        if given.flow_path_m and given.flow_path_gradient is not None:
            steps += entry_steps(
                length_m=given.flow_path_m,
                fall_m=given.flow_path_m * given.flow_path_gradient,
                area_ha=given.catchment_ha,
                chosen=self.storm.formula,
            )
        steps.append(
            Step(
                "te",
                "time of entry, over the ground",
                reach.entry_min,
                "min",
                formula=f"at least {self.limits.least_entry_min:g} min",
                source="its flow path" if known else "usual, for its flow path is not known",
            )
        )
        if reach.furthest_key and reach.furthest_key != reach.key:
            last = self.reach(reach.furthest_key)
            steps.append(
                Step("", f"the last water comes from {last.name}", last.entry_min, "min in")
            )
        steps.append(
            Step("tt", "along the reach", reach.travel_min, "min", formula="length / velocity")
        )
        if reach.gather_min is not None:
            steps.append(
                Step(
                    "tc",
                    "time of concentration at its end",
                    reach.gather_min,
                    "min",
                    formula="slowest water from above or its own, and along it",
                )
            )
        return Working(title="When the water arrives", steps=tuple(steps))

    def _flow_working(self, reach: ReachCheck, given: Reach) -> Working:
        steps = [
            Step("A", "own catchment", given.catchment_ha, "ha", source="entered"),
            Step(
                "C", "share of the rain that runs off", given.runoff_coefficient, source="entered"
            ),
            Step(
                "C·A",
                "own catchment that runs off",
                given.catchment_ha * given.runoff_coefficient,
                "ha",
                formula="C × A",
            ),
        ]
        for key in reach.above:
            above = self.reach(key)
            if above.runoff_area_ha is not None:
                steps.append(
                    Step(
                        "C·A",
                        f"comes from {above.name} ({above.area_above_ha:.2f} ha)",
                        above.runoff_area_ha,
                        "ha",
                        source="its own working",
                    )
                )
        if reach.runoff_area_ha is None or reach.flow_m3s is None:
            return Working(
                title="Flow",
                steps=tuple(steps),
                notes=("It stands in or below a loop, so what comes to it cannot be told.",),
            )
        contributing = reach.contributing_ha or 0.0
        steps.append(
            Step("ΣC·A", "all that runs off to here", reach.runoff_area_ha, "ha", formula="sum")
        )
        by_length = self.storm.rain is not None and reach.storm_min is not None
        if by_length:
            assert reach.storm_min is not None
            steps.append(
                Step("D", "length of the storm that loads it most", reach.storm_min, "min")
            )
            if contributing < reach.runoff_area_ha * 0.9999:
                steps.append(
                    Step(
                        "ΣC·A",
                        "of it, what arrives within that time",
                        contributing,
                        "ha",
                        formula="share (D - lag) / entry time of each area",
                    )
                )
        steps += [
            Step(
                "i",
                f"{self.storm.name}{', over that time' if by_length else ''}",
                reach.intensity_mm_h or self.storm.intensity_mm_h,
                "mm/h",
                source=self.storm.source or "design storm",
            ),
            Step(
                "Q",
                "peak flow",
                reach.flow_m3s * 1000,
                "l/s",
                formula="Q = 1000 · ΣC·A · i / 360",
                source=SOURCE_RATIONAL,
            ),
        ]
        notes = [
            "Shorter and longer storms were tried and bring less."
            if by_length
            else "One intensity is set for the club: the rain is taken to last until water from "
            "the furthest part has arrived. A table of depths by duration makes it exact."
        ]
        if reach.area_above_ha is not None and reach.area_above_ha > MOST_CATCHMENT_HA:
            notes.append(
                f"The rational method is meant for catchments below {MOST_CATCHMENT_HA:g} ha."
            )
        return Working(title="Flow", steps=tuple(steps), notes=tuple(notes))


def _gradient_working(reach: ReachCheck) -> Working:
    up, down = reach.upstream_level_m or 0.0, reach.downstream_level_m or 0.0
    steps = [
        Step("u", "upstream invert", f"{up:.3f}", "m", source=reach.upstream_level_from),
        Step("d", "downstream invert", f"{down:.3f}", "m", source=reach.downstream_level_from),
        Step("h", "fall", f"{up - down:.3f}", "m", formula="h = u − d"),
        Step("L", "length along the line", f"{reach.length_m:.2f}", "m", source="its line"),
        Step("S", "gradient", (up - down) / reach.length_m, "m/m", formula="S = h / L"),
    ]
    if reach.one_in is not None:
        steps.append(Step("1 in", "gradient", reach.one_in, formula="1 / S"))
    return Working(title="Gradient", steps=tuple(steps))


def _water_working(reach: ReachCheck, given: Reach) -> Working:
    up, down = reach.water_up_m or 0.0, reach.water_down_m or 0.0
    section = given.section
    steps = []
    if reach.critical_m is not None:
        steps.append(Step("yc", "critical depth", reach.critical_m, "m", formula="Q² T/(g A³) = 1"))
    steps.append(
        Step(
            "",
            "water at its lower end",
            f"{down:.3f}",
            "m",
            formula="what stands below it, or critical depth where it falls free; "
            "its own depth where it runs shooting",
        )
    )
    straight = False
    if isinstance(section, PipeSection) and reach.friction_gradient is not None:
        crown = (reach.downstream_level_m or 0.0) + section.diameter_m
        straight = reach.runs_full and down >= crown
        steps.append(
            Step(
                "Sf",
                "friction gradient, running full",
                reach.friction_gradient,
                "m/m",
                formula="Colebrook–White solved for its gradient",
            )
        )
    steps.append(
        Step(
            "",
            "water at its upper end",
            f"{up:.3f}",
            "m",
            formula="lower + Sf L" if straight else "worked up in 24 steps of depth",
            source="" if straight else SOURCE_PROFILE,
        )
    )
    if reach.runs_full and given.inlet is None and isinstance(section, PipeSection):
        head = ((reach.flow_m3s or 0.0) / section.area_m2) ** 2 / (2 * pipes.GRAVITY_MS2)
        steps += [
            Step("k", "velocity heads lost where it begins", reach.loss_k, source=SOURCE_LOSSES),
            Step("", "water above it", f"{up + reach.loss_k * head:.3f}", "m", formula="+ k V²/2g"),
        ]
    return Working(title="Level of the water", steps=tuple(steps))


def _verdict_working(reach: ReachCheck) -> Working:
    flow, capacity = reach.flow_m3s or 0.0, reach.capacity_m3s or 0.0
    return Working(
        title="Can it carry it?",
        steps=(
            Step("Q", "peak flow", flow * 1000, "l/s"),
            Step("Qc", "capacity", capacity * 1000, "l/s"),
            Step(
                "s",
                "to spare, share of the capacity",
                (capacity - flow) / capacity * 100,
                "%",
                formula="s = (Qc − Q) / Qc",
            ),
            Step("", "verdict", reach.verdict),
        ),
        notes=(
            (
                "It runs full and backs up: no depth or velocity is worked out for it.",
                "Usual sizes are nominal bores (common practice, no source); a bought pipe's true "
                "inside diameter may be smaller. Check it.",
            )
            if reach.backs_up
            else ()
        ),
    )
