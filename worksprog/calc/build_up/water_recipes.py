"""Recipes for works that move water: pipes, ditches, laterals, headwalls, bridges.

Usual figures are common practice without a published source unless one is named; every one of
them can be set by the estimator.
"""

from __future__ import annotations

from math import pi

from worksprog.calc import earthworks
from worksprog.calc.build_up.parts import (
    Category,
    LineRecipe,
    Measure,
    Parameter,
    Recipe,
    Values,
)
from worksprog.calc.ranges import ThreePoint
from worksprog.calc.working import Step

LABOUR, PLANT, MATERIAL = Category.LABOUR, Category.PLANT, Category.MATERIAL
HAULAGE, CONTRACTOR = Category.HAULAGE, Category.CONTRACTOR
CREW = "labour-crew"

_CLAY = earthworks.SOILS["clay"]
LENGTH = Measure("length_m", "length along the line", "m")
BULKING = Parameter(
    "bulking", "loose m³ for one m³ in the bank", "", _CLAY.loose_per_bank, 1.0, 1.8
)
CARTED = Parameter(
    "carted_share", "share of what is left over that leaves the course", "",
    ThreePoint.exactly(0.0), 0.0, 1.0,
)  # fmt: skip
LOAD = Parameter("load_m3", "loose m³ on one lorry", "m³", ThreePoint.exactly(10.0), 1.0, 25.0)
STONE_DENSITY = Parameter(
    "stone_t_m3", "stone, tonnes a m³", "t/m³", ThreePoint(1.50, 1.60, 1.70), 1.2, 2.4
)
STONE_WASTE = Parameter(
    "stone_waste", "stone lost and over-dug", "", ThreePoint(0.05, 0.10, 0.20), 0.0, 0.5
)
PIPE_WASTE = Parameter(
    "pipe_waste", "pipe cut to waste", "", ThreePoint(0.02, 0.04, 0.06), 0.0, 0.3
)


def step(meaning: str, value: float, unit: str, formula: str = "", source: str = "") -> Step:
    return Step("", meaning, value, unit, formula, source)


def spoil(bank_m3: float, values: Values) -> dict[str, Step]:
    """What is left over: spread on the course, or carted away in whole loads."""
    loose = bank_m3 * values["bulking"]
    away = loose * values["carted_share"]
    return {
        "loose": step(
            "left over, loose", loose, "m³", "left over in the bank × bulking", _CLAY.source
        ),
        "spread": step(
            "spread on the course, loose", loose - away, "m³", "loose × (1 - share carted away)"
        ),
        "loads": step(
            "lorry loads away",
            float(earthworks.loads(loose_m3=away, load_m3=values["load_m3"])),
            "load",
            "loose × share carted away / load, rounded up",
        ),
    }


SPOIL_LINES = (
    LineRecipe(
        "cart-trailer", HAULAGE, "Tractor and trailer, spoil to where it is spread", "spread",
        "plant-tractor_trailer", rate="cart_spoil",
    ),
    LineRecipe(
        "cart-driver", LABOUR, "Drive the trailer and spread spoil", "spread", CREW,
        rate="cart_spoil",
    ),
    LineRecipe("cart-away", HAULAGE, "Spoil away by lorry, with tip charge", "loads",
               "haulage-spoil_load"),
)  # fmt: skip


def _carrier(values: Values) -> dict[str, Step]:
    inside_m = values["pipe_mm"] / 1000
    outside_m = inside_m * values["outside_ratio"]
    width_m = outside_m + values["trench_margin_m"]
    depth_m = values["mean_depth_m"] + (outside_m - inside_m) / 2 + values["bed_m"]
    trench = earthworks.trench_balance(
        length_m=values["length_m"],
        width_m=width_m,
        depth_m=depth_m,
        pipe_outside_m=outside_m,
        bed_m=values["bed_m"],
        over_crown_m=values["over_crown_m"],
        compacted_per_bank=values["compacted"],
    )
    return {
        "length": step("pipe laid", values["length_m"], "m"),
        "width": step("trench width", width_m, "m", "pipe outside + room at its sides"),
        "depth": step("mean trench depth", depth_m, "m", "depth to invert + pipe wall + bed"),
        "dig": step("dug, in the bank", trench.dig_m3, "m³", "length × width × depth"),
        "pipe": step(
            "taken up by the pipe", trench.pipe_m3, "m³", "π × outside² / 4 × length",
            "outside diameter, not the bore",
        ),
        "stone": step(
            "stone, bed and surround", trench.stone_m3, "m³",
            "length × width × (bed + outside + over the pipe) - pipe",
        ),
        "stone_t": step(
            "stone", trench.stone_m3 * values["stone_t_m3"], "t", "m³ × tonnes a m³",
            "crushed stone 1602 kg/m³, public handling tables",
        ),
        "backfill": step(
            "dug earth put back", trench.backfill_m3, "m³", "dug - pipe - stone"
        ),
        "over": step(
            "left over, in the bank", trench.surplus_m3, "m³", "dug - put back / compacted"
        ),
        **spoil(trench.surplus_m3, values),
        "strip": step(
            "ground to make good", values["length_m"] * values["strip_m"], "m²",
            "length × width of the strip",
        ),
        "chambers": step("chambers", values["chambers"], "no"),
    }  # fmt: skip


CARRIER = Recipe(
    kind="carrier_pipe",
    title="Carrier pipe",
    measures=(
        LENGTH,
        Measure("mean_depth_m", "mean depth from ground to invert", "m", assumed=1.1),
        Measure("chambers", "chambers on the line", "no", assumed=0.0),
    ),
    parameters=(
        Parameter("pipe_mm", "pipe, nominal bore", "mm", ThreePoint.exactly(300), 100, 600,
                  (150, 225, 300, 375, 450, 600)),
        Parameter("outside_ratio", "pipe outside over bore", "", ThreePoint.exactly(1.15), 1.0,
                  1.4),
        Parameter("trench_margin_m", "room in the trench beside the pipe", "m",
                  ThreePoint(0.25, 0.30, 0.45), 0.05, 1.5),
        Parameter("bed_m", "stone under the pipe", "m", ThreePoint.exactly(0.10), 0.0, 0.5),
        Parameter("over_crown_m", "stone over the pipe", "m", ThreePoint.exactly(0.10), 0.0, 1.5),
        Parameter("compacted", "filled by one m³ put back", "", ThreePoint.exactly(0.95), 0.7, 1.2),
        Parameter("strip_m", "strip of ground disturbed", "m", ThreePoint(2.5, 3.0, 4.0), 0.5, 12),
        BULKING, CARTED, LOAD, STONE_DENSITY, STONE_WASTE, PIPE_WASTE,
    ),
    derive=_carrier,
    lines=(
        LineRecipe("set-out", LABOUR, "Set out, scan for services, lift turf on the line",
                   "length", CREW, rate="set_out_line"),
        LineRecipe("dig-machine", PLANT, "Excavator, dig the trench", "dig", "plant-excavator_5t",
                   rate="dig_trench"),
        LineRecipe("dig-driver", LABOUR, "Drive the excavator", "dig", CREW, rate="dig_trench"),
        LineRecipe("lay", LABOUR, "Lay and level the pipe", "length", CREW, rate="lay_carrier"),
        LineRecipe("stone-place", LABOUR, "Place stone bed and surround", "stone", CREW,
                   rate="place_stone"),
        LineRecipe("backfill-machine", PLANT, "Excavator, backfill in layers", "backfill",
                   "plant-excavator_5t", rate="backfill"),
        LineRecipe("backfill-crew", LABOUR, "Backfill and firm in layers", "backfill", CREW,
                   rate="backfill"),
        LineRecipe("chambers", LABOUR, "Set chambers and connect pipes", "chambers", CREW,
                   rate="set_chamber"),
        LineRecipe("make-good", LABOUR, "Make good, rake and seed the strip", "strip", CREW,
                   rate="make_good"),
        LineRecipe("pipe", MATERIAL, "Twin-wall pipe", "length", "pipe-twinwall-{pipe_mm}",
                   waste="pipe_waste"),
        LineRecipe("stone", MATERIAL, "Single-size stone, delivered", "stone_t",
                   "stone-single_size", waste="stone_waste"),
        LineRecipe("chamber", MATERIAL, "Inspection chamber with cover", "chambers",
                   "chamber-inspection"),
        LineRecipe("seed", MATERIAL, "Seed and dressing for the strip", "strip",
                   "seed-fairway"),
        *SPOIL_LINES,
    ),
    progress="length",
    assumes=("Upright trench sides; support or batter, where the ground asks for it, is extra.",),
)  # fmt: skip


def _ditch_dug(values: Values) -> dict[str, Step]:
    half = values["depth_change_m"] / 2
    ditch = earthworks.ditch_volume(
        length_m=values["length_m"],
        bottom_m=values["bottom_m"],
        side_slope=values["side_slope"],
        depth_start_m=values["mean_depth_m"] - half,
        depth_end_m=values["mean_depth_m"] + half,
    )
    return {
        "length": step("ditch dug", values["length_m"], "m"),
        "dig": step(
            "dug, in the bank", ditch.dig_m3, "m³", "length × (A1 + 4 Am + A2) / 6, A = (b + z d) d",
            "prismoidal rule",
        ),
        "sides": step(
            "sides to trim and seed", ditch.sides_m2, "m²", "2 × length × depth × √(1 + z²)"
        ),
        **spoil(ditch.dig_m3, values),
    }  # fmt: skip


_DITCH_SECTION = (
    Parameter("bottom_m", "bottom width", "m", ThreePoint.exactly(0.5), 0.1, 5.0),
    Parameter("side_slope", "side slope, out for one up", "", ThreePoint.exactly(1.5), 0.0, 5.0),
)

DITCH_DUG = Recipe(
    kind="ditch_dug",
    title="Ditch dug",
    measures=(
        LENGTH,
        Measure("mean_depth_m", "mean depth from ground to bottom", "m", assumed=0.9),
        Measure("depth_change_m", "difference of depth between the ends", "m", assumed=0.0),
    ),
    parameters=(*_DITCH_SECTION, BULKING, CARTED, LOAD),
    derive=_ditch_dug,
    lines=(
        LineRecipe("set-out", LABOUR, "Set out and scan for services", "length", CREW,
                   rate="set_out_line"),
        LineRecipe("dig-machine", PLANT, "Excavator, dig the ditch", "dig",
                   "plant-excavator_8t", rate="dig_ditch"),
        LineRecipe("dig-driver", LABOUR, "Drive the excavator", "dig", CREW, rate="dig_ditch"),
        LineRecipe("trim", LABOUR, "Trim sides and bottom to level", "sides", CREW,
                   rate="trim_sides"),
        LineRecipe("seed", MATERIAL, "Seed for the sides", "sides", "seed-fairway"),
        *SPOIL_LINES,
    ),
    progress="length",
    assumes=("The depth changes evenly between the two ends.",),
)  # fmt: skip


def _ditch_regraded(values: Values) -> dict[str, Step]:
    section = earthworks.trapezoid_area_m2(
        bottom_m=values["bottom_m"], side_slope=values["side_slope"], depth_m=values["silt_m"]
    )
    dig = values["length_m"] * section
    return {
        "length": step("ditch regraded", values["length_m"], "m"),
        "section": step("section taken out", section, "m²", "(b + z × silt) × silt"),
        "dig": step("silt and earth, in place", dig, "m³", "length × section"),
        **spoil(dig, values),
    }


DITCH_REGRADED = Recipe(
    kind="ditch_regraded",
    title="Ditch regraded",
    measures=(LENGTH,),
    parameters=(
        *_DITCH_SECTION,
        Parameter("silt_m", "mean depth taken out", "m", ThreePoint(0.20, 0.25, 0.40), 0.05, 1.5),
        BULKING, CARTED, LOAD,
    ),
    derive=_ditch_regraded,
    lines=(
        LineRecipe("clear", LABOUR, "Cut back growth and clear rubbish", "length", CREW,
                   rate="clear_ditch"),
        LineRecipe("dig-machine", PLANT, "Excavator, regrade from the outfall up", "dig",
                   "plant-excavator_8t", rate="dig_ditch"),
        LineRecipe("dig-driver", LABOUR, "Drive the excavator", "dig", CREW, rate="dig_ditch"),
        LineRecipe("level", LABOUR, "Level and check falls", "length", CREW, rate="level_ditch"),
        *SPOIL_LINES,
    ),
    progress="length",
)  # fmt: skip


def _laterals(values: Values) -> dict[str, Step]:
    length = values["length_m"]
    formula = "measured"
    if not length:
        if not values["area_m2"]:
            raise ValueError(
                "Laterals need a length or an area: choose pipes or the area they drain."
            )
        length = values["area_m2"] / values["spacing_m"]
        formula = "area / spacing"
    dig = length * values["slit_m"] * values["depth_m"]
    gravel = length * values["slit_m"] * (values["depth_m"] - values["topping_m"])
    gravel -= length * pi * (values["lateral_mm"] / 1000 * 1.1) ** 2 / 4
    topping = length * values["slit_m"] * values["topping_m"]
    if gravel <= 0:
        raise ValueError("The topping leaves no room for gravel over the laterals.")
    return {
        "length": step("laterals laid", length, "m", formula),
        "dig": step("dug, in the bank", dig, "m³", "length × width × depth"),
        "gravel_t": step(
            "gravel", gravel * values["stone_t_m3"], "t",
            "length × (width × (depth - topping) - π (1.1 bore)² / 4) × t/m³",
        ),
        "topping_t": step(
            "sand topping", topping * 1.55, "t", "length × width × topping × 1.55 t/m³",
            "moist sand, from memory",
        ),
        **spoil(dig, values),
    }  # fmt: skip


LATERALS = Recipe(
    kind="laterals",
    title="Laterals",
    measures=(
        Measure("length_m", "length of laterals", "m", assumed=0.0),
        Measure("area_m2", "area drained", "m²", assumed=0.0),
    ),
    parameters=(
        Parameter("spacing_m", "spacing, where only an area is drawn", "m",
                  ThreePoint.exactly(5.0), 1.0, 30.0),
        Parameter("lateral_mm", "lateral, bore", "mm", ThreePoint.exactly(80), 60, 110,
                  (60, 80, 100)),
        Parameter("slit_m", "trench width", "m", ThreePoint.exactly(0.15), 0.05, 0.4),
        Parameter("depth_m", "mean trench depth", "m", ThreePoint(0.60, 0.65, 0.75), 0.3, 1.5),
        Parameter("topping_m", "sand topping", "m", ThreePoint.exactly(0.15), 0.0, 0.4),
        BULKING, CARTED, LOAD, STONE_DENSITY, STONE_WASTE, PIPE_WASTE,
    ),
    derive=_laterals,
    lines=(
        LineRecipe("trench-machine", PLANT, "Chain trencher", "length", "plant-trencher",
                   rate="trench_laterals"),
        LineRecipe("trench-driver", LABOUR, "Drive the trencher", "length", CREW,
                   rate="trench_laterals"),
        LineRecipe("lay", LABOUR, "Lay lateral, gravel and topping", "length", CREW,
                   rate="lay_laterals"),
        LineRecipe("pipe", MATERIAL, "Perforated lateral pipe", "length",
                   "pipe-lateral-{lateral_mm}", waste="pipe_waste"),
        LineRecipe("gravel", MATERIAL, "Drainage gravel, delivered", "gravel_t",
                   "stone-drainage_gravel", waste="stone_waste"),
        LineRecipe("topping", MATERIAL, "Sand topping, delivered", "topping_t", "sand-topdressing",
                   waste="stone_waste"),
        *SPOIL_LINES,
    ),
    progress="length",
)  # fmt: skip


def _headwall(values: Values) -> dict[str, Step]:
    count = values["count"]
    return {
        "count": step("headwalls", count, "no"),
        "concrete": step(
            "concrete", count * values["concrete_m3"], "m³", "headwalls × concrete for one"
        ),
        "riprap_t": step("stone apron", count * values["riprap_t"], "t", "headwalls × stone"),
    }


HEADWALL = Recipe(
    kind="headwall",
    title="Headwall",
    measures=(Measure("count", "number of headwalls", "no", assumed=1.0),),
    parameters=(
        Parameter("concrete_m3", "concrete for one", "m³", ThreePoint(0.5, 0.7, 1.0), 0.1, 10),
        Parameter("riprap_t", "stone apron for one", "t", ThreePoint(1.0, 1.5, 2.5), 0.0, 20),
    ),
    derive=_headwall,
    lines=(
        LineRecipe("build", LABOUR, "Build the headwall and apron", "count", CREW,
                   rate="build_headwall"),
        LineRecipe("machine", PLANT, "Excavator at the headwall", "count", "plant-excavator_5t",
                   rate="headwall_excavator"),
        LineRecipe("concrete", MATERIAL, "Concrete, delivered", "concrete", "concrete-ready_mix"),
        LineRecipe("unit", MATERIAL, "Headwall unit and grating", "count", "headwall-unit"),
        LineRecipe("riprap", MATERIAL, "Stone apron, delivered", "riprap_t", "stone-riprap"),
    ),
    progress="count",
)  # fmt: skip


def _bridge(values: Values) -> dict[str, Step]:
    deck = values["count"] * values["span_m"] * values["width_m"]
    return {
        "count": step("bridges", values["count"], "no"),
        "deck": step("deck", deck, "m²", "bridges × span × width"),
        "abutments": step("abutments", 2 * values["count"], "no", "two to a bridge"),
    }


BRIDGE = Recipe(
    kind="bridge",
    title="Bridge",
    measures=(
        Measure("count", "number of bridges", "no", assumed=1.0),
        Measure("span_m", "span between abutments", "m", assumed=5.0),
    ),
    parameters=(
        Parameter("width_m", "width of the deck", "m", ThreePoint.exactly(2.5), 0.8, 6.0),
    ),
    derive=_bridge,
    lines=(
        LineRecipe("abutments", LABOUR, "Dig and build abutments", "abutments", CREW,
                   rate="build_abutment"),
        LineRecipe("machine", PLANT, "Excavator at the abutments", "abutments",
                   "plant-excavator_5t", rate="abutment_excavator"),
        LineRecipe("abutment", MATERIAL, "Abutment materials", "abutments", "bridge-abutment"),
        LineRecipe("deck", CONTRACTOR, "Bridge beams, deck and rails, supplied and set", "deck",
                   "contract-bridge_deck"),
        LineRecipe("design", CONTRACTOR, "Structural design and checking", "count",
                   "contract-bridge_design"),
    ),
    progress="count",
)  # fmt: skip

WATER_RECIPES = (CARRIER, DITCH_DUG, DITCH_REGRADED, LATERALS, HEADWALL, BRIDGE)
