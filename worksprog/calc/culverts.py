"""Culverts: headwater under inlet and outlet control.

Inlet control after FHWA Hydraulic Design Series 5, appendix A (equations and constants from
memory, unconfirmed here): with q = 1.811 Q / (A √D) in SI,
unsubmerged (q ≤ 3.5), form 1: HW/D = Hc/D + K q^M + slope term; form 2: HW/D = K q^M;
submerged (q ≥ 4): HW/D = c q² + Y + slope term; a straight line between the two.
The slope term is -0.5 S, for a mitred inlet +0.7 S. Outlet control: HW = (1 + ke) V²/2g + Sf L +
ho - L S with ho the deeper of tailwater and (dc + D)/2; friction by Colebrook-White.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from worksprog.calc import pipes
from worksprog.calc.pipes import GRAVITY_MS2, PipeSection
from worksprog.calc.working import Step, Working

Inlet = Literal["square", "groove", "project", "mitred"]
SOURCE_HDS5 = "FHWA Hydraulic Design Series 5, appendix A (constants from memory)"
SI_FACTOR = 1.811
UNSUBMERGED_TO, SUBMERGED_FROM = 3.5, 4.0


@dataclass(frozen=True)
class InletShape:
    """K, M (form 1 or 2), c, Y of the inlet-control equations and the entrance loss ke."""

    words: str
    form: Literal[1, 2]
    k: float
    m: float
    c: float
    y: float
    entrance_loss: float


INLETS: dict[Inlet, InletShape] = {
    "square": InletShape("headwall, square edge", 1, 0.0098, 2.0, 0.0398, 0.67, 0.5),
    "groove": InletShape("headwall, socket end upstream", 1, 0.0018, 2.0, 0.0292, 0.74, 0.2),
    "project": InletShape("projecting from the bank", 1, 0.0340, 1.5, 0.0553, 0.54, 0.9),
    "mitred": InletShape("mitred to the slope", 1, 0.0210, 1.33, 0.0463, 0.75, 0.7),
}


@dataclass(frozen=True)
class CulvertFlow:
    """Headwater above the inlet's invert under both controls; the higher one rules."""

    inlet_m: float
    outlet_m: float
    critical_depth_m: float
    velocity_ms: float

    @property
    def headwater_m(self) -> float:
        return max(self.inlet_m, self.outlet_m)

    @property
    def ruled_by(self) -> Literal["inlet", "outlet"]:
        return "inlet" if self.inlet_m >= self.outlet_m else "outlet"


def inlet_headwater_m(
    section: PipeSection, *, flow_m3s: float, gradient: float, inlet: Inlet
) -> float:
    """Headwater (m above the inlet's invert) that the inlet asks for.

    Valid for flow above 0 and barrels that fall (ValueError otherwise).
    """
    if not flow_m3s > 0:
        raise ValueError("A culvert's flow must be above 0 m³/s.")
    pipes.check_gradient(gradient)
    shape, bore = INLETS[inlet], section.diameter_m
    load = SI_FACTOR * flow_m3s / (math.pi * bore**2 / 4 * math.sqrt(bore))
    slope_term = 0.7 * gradient if inlet == "mitred" else -0.5 * gradient

    def unsubmerged(at: float) -> float:
        head = 0.0
        if shape.form == 1:
            flow = at * math.pi * bore**2 / 4 * math.sqrt(bore) / SI_FACTOR
            head = pipes.critical_energy_m(diameter_m=bore, flow_m3s=flow) / bore + slope_term
        return float(head + shape.k * at**shape.m)

    def submerged(at: float) -> float:
        return shape.c * at**2 + shape.y + slope_term

    if load <= UNSUBMERGED_TO:
        ratio = unsubmerged(load)
    elif load >= SUBMERGED_FROM:
        ratio = submerged(load)
    else:
        share = (load - UNSUBMERGED_TO) / (SUBMERGED_FROM - UNSUBMERGED_TO)
        ratio = (1 - share) * unsubmerged(UNSUBMERGED_TO) + share * submerged(SUBMERGED_FROM)
    return max(ratio * bore, 0.0)


def culvert_flow(
    section: PipeSection,
    *,
    flow_m3s: float,
    gradient: float,
    length_m: float,
    inlet: Inlet,
    tailwater_m: float = 0.0,
) -> CulvertFlow:
    """Headwater of a round culvert under both controls.

    tailwater_m  depth of water at the outlet above its invert
    ValueError as for the inlet, and for a length that is not above 0.
    """
    if not length_m > 0:
        raise ValueError("A culvert's length must be above 0 m.")
    inlet_m = inlet_headwater_m(section, flow_m3s=flow_m3s, gradient=gradient, inlet=inlet)
    bore = section.diameter_m
    velocity = flow_m3s / (math.pi * bore**2 / 4)
    critical = pipes.critical_depth_m(diameter_m=bore, flow_m3s=flow_m3s)
    friction = pipes.friction_slope(
        diameter_m=bore, roughness_m=section.roughness_m, flow_m3s=flow_m3s
    )
    outlet_depth = max(tailwater_m, (critical + bore) / 2)
    head = (1 + INLETS[inlet].entrance_loss) * velocity**2 / (2 * GRAVITY_MS2)
    outlet_m = head + friction * length_m + outlet_depth - length_m * gradient
    return CulvertFlow(inlet_m, max(outlet_m, 0.0), critical, velocity)


def culvert_working(
    section: PipeSection,
    *,
    flow_m3s: float,
    gradient: float,
    length_m: float,
    inlet: Inlet,
    tailwater_m: float,
) -> Working:
    """How the headwater of a culvert came about."""
    found = culvert_flow(
        section,
        flow_m3s=flow_m3s,
        gradient=gradient,
        length_m=length_m,
        inlet=inlet,
        tailwater_m=tailwater_m,
    )
    return Working(
        title="Headwater of the culvert",
        steps=(
            Step("Q", "flow", flow_m3s * 1000, "l/s"),
            Step("", "inlet", INLETS[inlet].words, source="entered"),
            Step("dc", "critical depth", found.critical_depth_m, "m", formula="Q² T/(g A³) = 1"),
            Step("HWi", "headwater the inlet asks for", found.inlet_m, "m", source=SOURCE_HDS5),
            Step("TW", "water at the outlet, above its invert", tailwater_m, "m"),
            Step(
                "HWo",
                "headwater the barrel and outlet ask for",
                found.outlet_m,
                "m",
                formula="(1 + ke) V²/2g + Sf L + max(TW, (dc + D)/2) − L S",
                source="HDS-5, friction by Colebrook–White",
            ),
            Step("HW", f"headwater, ruled by the {found.ruled_by}", found.headwater_m, "m"),
        ),
    )
