"""What a job's quantity is called, how it is written, and by how much + and − change it."""

from __future__ import annotations

from worksprog.clubs.templatetags.figures import fig
from worksprog.works.models import WorkKind

DONE_TODAY: dict[str, str] = {
    WorkKind.CARRIER_PIPE: "Pipe laid",
    WorkKind.DITCH_DUG: "Ditch dug",
    WorkKind.DITCH_REGRADED: "Ditch regraded",
    WorkKind.LATERALS: "Laterals laid",
    WorkKind.TEE_REBUILD: "Tee surface done",
    WorkKind.BUNKER_NEW: "Bunker built",
    WorkKind.BUNKER_FILLED: "Bunker filled and turfed",
    WorkKind.PATH: "Path laid",
    WorkKind.TREE_THINNING: "Stems felled",
    WorkKind.HEADWALL: "Headwalls built",
    WorkKind.BRIDGE: "Bridge built",
    WorkKind.MOUNDING: "Soil placed",
    WorkKind.SEEDING: "Seeded",
    WorkKind.TURFING: "Turf laid",
    WorkKind.CHAMBER: "Chambers set",
    WorkKind.OUTFALL: "Outfalls built",
    WorkKind.CULVERT: "Culvert laid",
    WorkKind.PATH_BOUND: "Path laid",
    WorkKind.TREE_FELLING: "Stems felled",
    WorkKind.STUMPS: "Stumps ground",
    WorkKind.HEDGE_SCRUB: "Ground cleared",
    WorkKind.CROSSING: "Crossings made",
    WorkKind.FENCING: "Fence put up",
}
STEPS: dict[str, float] = {"m": 1, "m²": 5, "m2": 5, "m³": 1, "m3": 1, "t": 1}


def step_of(unit: str) -> float:
    """Whole ones of anything that is counted."""
    return STEPS.get(unit, 1)


def unit_words(kind: str, unit: str) -> str:
    """As one says it on site: a bare number of things has no unit, stems are stems."""
    if unit != "no":
        return unit
    if kind in (WorkKind.TREE_THINNING, WorkKind.TREE_FELLING):
        return "stems"
    return "stumps" if kind == WorkKind.STUMPS else ""


def amount(value: float, unit: str) -> str:
    """A quantity with its unit, in tenths only where it has them."""
    return f"{fig(value, 0 if abs(value - round(value)) < 0.05 else 1)} {unit}".strip()
