"""Culverts: headwater under inlet and outlet control.

Inlet control after FHWA Hydraulic Design Series 5 (2001), appendix A, tables 8 and 9: with
q = 1.811 Q/(A √D) in SI (Q/(A √D) in feet),
unsubmerged (q ≤ 3.5), form 1: HW/D = Hc/D + K q^M + slope term; form 2: HW/D = K q^M;
submerged (q ≥ 4): HW/D = c q² + Y + slope term; between the two one passes into the other in
proportion, where the original draws a curve by hand. The slope term is −0.5 S, for a mitred inlet
+0.7 S. Outlet control by backwater, as chapter III asks where its approximate method does not hold:
the depth in the barrel at its inlet and (1 + ke) V²/2g on top. K, M, c and Y were read in the published
table; 1.811, +0.7 and the entrance losses ke are from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from worksprog.calc import pipes
from worksprog.calc.pipes import GRAVITY_MS2, PipeSection
from worksprog.calc.working import Step, Working

Inlet = Literal["square", "groove", "project", "mitred"]
SOURCE_HDS5 = "FHWA Hydraulic Design Series 5, appendix A"
SI_FACTOR = 1.811
UNSUBMERGED_TO, SUBMERGED_FROM = 3.5, 4.0


@dataclass(frozen=True)
class InletShape:
    """K, M (form 1 or 2), c, Y and slope term of the inlet-control equations; entrance loss ke."""

    words: str
    form: Literal[1, 2]
    k: float
    m: float
    c: float
    y: float
    entrance_loss: float
    slope_term: float = -0.5


INLETS: dict[Inlet, InletShape] = {
    "square": InletShape("headwall, square edge", 1, 0.0098, 2.0, 0.0398, 0.67, 0.5),
    "groove": InletShape("headwall, socket end upstream", 1, 0.0018, 2.0, 0.0292, 0.74, 0.2),
    "project": InletShape("projecting from the bank", 1, 0.0340, 1.5, 0.0553, 0.54, 0.9),
    "mitred": InletShape("mitred to the slope", 1, 0.0210, 1.33, 0.0463, 0.75, 0.7, 0.7),
}


@dataclass(frozen=True)
class CulvertFlow:
    """Headwater above the inlet's invert under both controls; the higher one rules.

    barrel_m  depth in the barrel at its inlet, worked up from the outlet (of a pipe under pressure the
              level over the invert); outlet_m is 0 where the barrel runs shooting
    """

    inlet_m: float
    outlet_m: float
    critical_m: float
    barrel_m: float

    @property
    def headwater_m(self) -> float:
        return max(self.inlet_m, self.outlet_m)

    @property
    def ruled_by(self) -> Literal["inlet", "outlet"]:
        return "inlet" if self.inlet_m >= self.outlet_m else "outlet"


def inlet_ratio(shape: InletShape, *, load: float, critical_ratio: float, gradient: float) -> float:
    """HW/D that an inlet asks for.

    load            q = 1.811 Q/(A √D), SI
    critical_ratio  Hc/D, specific energy at critical depth over the height (form 1, unsubmerged)
    """
    slope_term = shape.slope_term * gradient

    def unsubmerged(at: float) -> float:
        head = critical_ratio + slope_term if shape.form == 1 else 0.0
        return float(head + shape.k * at**shape.m)

    def submerged(at: float) -> float:
        return shape.c * at**2 + shape.y + slope_term

    if load <= UNSUBMERGED_TO:
        return max(unsubmerged(load), 0.0)
    if load >= SUBMERGED_FROM:
        return submerged(load)
    share = (load - UNSUBMERGED_TO) / (SUBMERGED_FROM - UNSUBMERGED_TO)
    return (1 - share) * unsubmerged(load) + share * submerged(load)


def inlet_headwater_m(
    section: PipeSection, *, flow_m3s: float, gradient: float, inlet: Inlet
) -> float:
    """Headwater (m above the inlet's invert) that the inlet of a round culvert asks for.

    Valid for flow above 0 (ValueError otherwise); a barrel that does not fall is taken as level.
    """
    if not flow_m3s > 0:
        raise ValueError("A culvert's flow must be above 0 m³/s.")
    bore = section.diameter_m
    return bore * inlet_ratio(
        INLETS[inlet],
        load=SI_FACTOR * flow_m3s / (section.area_m2 * math.sqrt(bore)),
        critical_ratio=pipes.critical_energy_m(diameter_m=bore, flow_m3s=flow_m3s) / bore,
        gradient=max(gradient, 0.0),
    )


def culvert_flow(
    section: PipeSection,
    *,
    flow_m3s: float,
    gradient: float,
    inlet: Inlet,
    barrel_m: float,
) -> CulvertFlow:
    """Headwater of a round culvert under both controls.

    barrel_m  depth of water in the barrel at its inlet, worked up from its outlet
    ValueError as for the inlet.
    """
    inlet_m = inlet_headwater_m(section, flow_m3s=flow_m3s, gradient=gradient, inlet=inlet)
    critical = pipes.critical_depth_m(diameter_m=section.diameter_m, flow_m3s=flow_m3s)
    if barrel_m < critical:
        return CulvertFlow(inlet_m, 0.0, critical, barrel_m)
    area = pipes.wetted_area_m2(diameter_m=section.diameter_m, depth_m=barrel_m)
    head = (1 + INLETS[inlet].entrance_loss) * (flow_m3s / area) ** 2 / (2 * GRAVITY_MS2)
    return CulvertFlow(inlet_m, barrel_m + head, critical, barrel_m)


def culvert_working(
    section: PipeSection, *, flow_m3s: float, gradient: float, inlet: Inlet, barrel_m: float
) -> Working:
    """How the headwater of a culvert came about."""
    found = culvert_flow(
        section, flow_m3s=flow_m3s, gradient=gradient, inlet=inlet, barrel_m=barrel_m
    )
    shape = INLETS[inlet]
    load = SI_FACTOR * flow_m3s / (section.area_m2 * math.sqrt(section.diameter_m))
    how = (
        "Hc + D (K q^M + slope term)"
        if load <= UNSUBMERGED_TO
        else "D (c q² + Y + slope term)"
        if load >= SUBMERGED_FROM
        else "between Hc + D (K q^M + slope term) and D (c q² + Y + slope term)"
    )
    return Working(
        title="Headwater of the culvert",
        steps=(
            Step("Q", "flow", flow_m3s * 1000, "l/s"),
            Step("", "inlet", shape.words, source="entered"),
            Step("q", "load on the inlet", load, formula="q = 1.811 Q/(A √D)", source=SOURCE_HDS5),
            Step("K, M", "its constants, unsubmerged", f"{shape.k:g}, {shape.m:g}"),
            Step("c, Y", "its constants, submerged", f"{shape.c:g}, {shape.y:g}"),
            Step("HWi", "inlet control", found.inlet_m, "m", formula=how, source=SOURCE_HDS5),
            Step("dc", "critical depth", found.critical_m, "m", formula="Q² T/(g A³) = 1"),
            Step("y", "depth in the barrel at its inlet", barrel_m, "m", source="worked up"),
            Step("ke", "entrance loss", shape.entrance_loss, source="HDS-5, table 12"),
            Step(
                "HWo",
                "outlet control",
                found.outlet_m,
                "m",
                formula="y + (1 + ke) V²/2g; 0 where the barrel runs shooting",
            ),
            Step("HW", f"headwater, ruled by the {found.ruled_by}", found.headwater_m, "m"),
        ),
    )
