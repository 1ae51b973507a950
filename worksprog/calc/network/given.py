"""What the check is given: reaches, nodes, the storm and the limits it holds them to."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from worksprog.calc.culverts import Inlet
from worksprog.calc.ditches import LININGS, DitchSection
from worksprog.calc.pipes import PipeSection
from worksprog.calc.rainfall import (
    DesignRain,
    TimeFormula,
    check_area,
    check_intensity,
    check_runoff_coefficient,
)

FLATTEST_PATH = 1e-3  # a flow path with less fall, or none known, is taken as 1 in 1,000 (our own)

ReachKind = Literal["pipe", "ditch"]
NodeKind = Literal["chamber", "headwall", "outfall", "pond"]
Point = tuple[float, float]


@dataclass(frozen=True)
class Node:
    """A chamber, headwall, outfall or pond inlet: a point with its levels, where known (m).

    water_m  level of the brook or ditch that an outfall gives into, in flood; None falls free
             (of a pond its usual level)
    loss_k   velocity heads lost in a chamber; None lets the angle of the drains tell it
    pond     the same word for every place where a drain enters or leaves one pond
    """

    key: str
    name: str
    kind: NodeKind
    x_m: float
    y_m: float
    invert_m: float | None = None
    cover_m: float | None = None
    water_m: float | None = None
    loss_k: float | None = None
    pond: str = ""


@dataclass(frozen=True)
class Reach:
    """One pipe or ditch, its line in the direction of flow, in the club's grid.

    ``section_fault`` says why there is no section, when what was entered cannot be one;
    ``level_fault`` why a level that was entered is not used.
    ``standing`` is False for what is still to be built. ``flow_path_m`` and ``flow_path_fall_m``
    are those of its own catchment over the ground. ``lining`` is a key of ``ditches.LININGS``;
    ``inlet`` makes a pipe that takes open water a culvert. ``levels_from`` says where its own
    levels come from, when they are not those of the design.
    """

    key: str
    name: str
    kind: ReachKind
    line: tuple[Point, ...]
    length_m: float
    upstream_invert_m: float | None = None
    downstream_invert_m: float | None = None
    section: PipeSection | DitchSection | None = None
    section_fault: str = ""
    level_fault: str = ""
    catchment_ha: float = 0.0
    runoff_coefficient: float = 0.35
    standing: bool = True
    flow_path_m: float | None = None
    flow_path_fall_m: float | None = None
    lining: str = ""
    inlet: Inlet | None = None
    levels_from: str = ""

    def __post_init__(self) -> None:
        if len(self.line) < 2:
            raise ValueError(f"{self.name}: a line has at least two points.")
        if not math.isfinite(self.length_m) or self.length_m <= 0:
            raise ValueError(f"{self.name}: a length must be more than 0 m.")
        check_area(self.catchment_ha)
        if self.catchment_ha and self.runoff_coefficient:
            check_runoff_coefficient(self.runoff_coefficient)
        if self.lining and self.lining not in LININGS:
            raise ValueError(f"{self.name}: “{self.lining}” is no lining this program knows.")
        if self.section is not None and isinstance(self.section, PipeSection) != (
            self.kind == "pipe"
        ):
            raise ValueError(f"{self.name}: a {self.kind} was given the other kind's section.")

    @property
    def flow_path_gradient(self) -> float | None:
        """Of its way over the ground, between 1 in 1,000 and 1 in 1; None where that is not known."""
        if not self.flow_path_m or not self.catchment_ha:
            return None
        return min(1.0, max((self.flow_path_fall_m or 0.0) / self.flow_path_m, FLATTEST_PATH))


@dataclass(frozen=True)
class Storm:
    """The rain the network is checked for.

    rain     depths by duration: each reach is then checked for the duration that loads it most.
             Without it the one intensity holds for all.
    formula  by which the time over the ground is reckoned
    """

    name: str
    intensity_mm_h: float
    source: str = ""
    rain: DesignRain | None = None
    formula: TimeFormula = "bransby"

    def __post_init__(self) -> None:
        check_intensity(self.intensity_mm_h)


@dataclass(frozen=True)
class Limits:
    """What is taken as joined, flat, silting or scouring, and how long water takes to enter.

    least_entry_min         no water is taken to enter a drain sooner (common practice, no source)
    usual_entry_min         where a reach's flow path over the ground is not known (our own)

    least_pipe_velocity_ms  full-bore velocity below which fine sand and silt settle: 1.4 ft/s
                            (US drainage texts, second-hand)
    most_ditch_velocity_ms  velocity above which a bare clay or sparse grass ditch cuts:
                            1.2 m/s lies between the published limits for grass mixtures on easily
                            eroded soil (4 ft/s, SCS-TP-61) and stiff clay (Fortier & Scobey)
    """

    tolerance_m: float = 0.5
    flat_gradient: float = 1e-4
    level_slack_m: float = 0.02
    least_pipe_velocity_ms: float = 0.43
    most_ditch_velocity_ms: float = 1.2
    least_entry_min: float = 5.0
    usual_entry_min: float = 15.0

    def __post_init__(self) -> None:
        if not 0 < self.tolerance_m <= 10:
            raise ValueError(
                f"A joining tolerance of {self.tolerance_m:g} m is not between 0 and 10 m."
            )
