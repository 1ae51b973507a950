"""Recipes for works on the playing course: tees, bunkers, paths, trees, mounds, new turf.

Usual figures are common practice without a published source unless one is named; every one of
them can be set by the estimator.
"""

from __future__ import annotations

from worksprog.calc import timber
from worksprog.calc.build_up.parts import Category, LineRecipe, Measure, Parameter, Recipe, Values
from worksprog.calc.build_up.water_recipes import (
    BULKING,
    CARTED,
    CREW,
    LOAD,
    SPOIL_LINES,
    STONE_DENSITY,
    STONE_WASTE,
    spoil,
    step,
)
from worksprog.calc.ranges import ThreePoint
from worksprog.calc.working import Step

LABOUR, PLANT, MATERIAL = Category.LABOUR, Category.PLANT, Category.MATERIAL
HAULAGE, CONTRACTOR = Category.HAULAGE, Category.CONTRACTOR

AREA = Measure("area_m2", "area on plan", "m²")
TURF_WASTE = Parameter("turf_waste", "turf cut to waste", "", ThreePoint(0.03, 0.05, 0.10), 0, 0.5)
ROOTZONE_T_M3 = Parameter(
    "rootzone_t_m3", "rootzone, tonnes a m³", "t/m³", ThreePoint(1.45, 1.55, 1.65), 1.0, 2.2
)
SOIL_T_M3 = Parameter(
    "soil_t_m3", "topsoil, tonnes a m³ in place", "t/m³", ThreePoint(1.35, 1.50, 1.65), 1.0, 2.2
)


def _tee(values: Values) -> dict[str, Step]:
    area = values["area_m2"]
    rootzone = area * values["rootzone_m"]
    fill = area * values["raise_m"]
    return {
        "area": step("tee rebuilt", area, "m²"),
        "around": step(
            "ground shaped, with the slopes", area * values["shaping_ratio"], "m²",
            "area × ground shaped for one m² of tee",
        ),
        "rootzone_t": step(
            "rootzone", rootzone * values["rootzone_t_m3"], "t", "area × depth × tonnes a m³"
        ),
        "fill_t": step("fill to raise it", fill * values["soil_t_m3"], "t",
                       "area × height raised × tonnes a m³"),
        "heads": step("irrigation heads", values["heads"], "no"),
    }  # fmt: skip


TEE = Recipe(
    kind="tee_rebuild",
    title="Tee rebuild",
    measures=(AREA,),
    parameters=(
        Parameter("rootzone_m", "depth of new rootzone", "m", ThreePoint.exactly(0.15), 0.0, 0.5),
        Parameter("raise_m", "height raised by brought-in fill", "m", ThreePoint.exactly(0.0), 0.0,
                  2.0),
        Parameter("shaping_ratio", "ground shaped for one m² of tee", "",
                  ThreePoint(1.3, 1.5, 1.8), 1.0, 4.0),
        Parameter("heads", "irrigation heads moved or added", "no", ThreePoint.exactly(2), 0, 20),
        ROOTZONE_T_M3, SOIL_T_M3, TURF_WASTE, STONE_WASTE,
    ),
    derive=_tee,
    lines=(
        LineRecipe("strip", LABOUR, "Lift and stack or remove turf", "around", CREW,
                   rate="strip_turf"),
        LineRecipe("shape-machine", PLANT, "Excavator, strip and shape", "around",
                   "plant-excavator_5t", rate="shape_ground"),
        LineRecipe("shape-driver", LABOUR, "Drive the excavator", "around", CREW,
                   rate="shape_ground"),
        LineRecipe("level", LABOUR, "Place rootzone, firm and laser level", "area", CREW,
                   rate="level_tee"),
        LineRecipe("lay", LABOUR, "Lay turf and firm it", "around", CREW, rate="lay_turf"),
        LineRecipe("heads", LABOUR, "Move or add irrigation heads", "heads", CREW,
                   rate="irrigation_head"),
        LineRecipe("laser", PLANT, "Laser level and box blade", "area", "plant-laser_blade",
                   rate="laser_level"),
        LineRecipe("rootzone", MATERIAL, "Rootzone, delivered", "rootzone_t", "soil-rootzone",
                   waste="stone_waste"),
        LineRecipe("fill", MATERIAL, "Topsoil fill, delivered", "fill_t", "soil-topsoil",
                   waste="stone_waste"),
        LineRecipe("turf", MATERIAL, "Turf for tee and slopes", "around", "turf-tee",
                   waste="turf_waste"),
        LineRecipe("head", MATERIAL, "Irrigation head and fittings", "heads", "irrigation-head"),
    ),
    progress="area",
)  # fmt: skip


def _bunker_new(values: Values) -> dict[str, Step]:
    area = values["area_m2"]
    floor = area * values["face_ratio"]
    dig = area * values["dig_m"]
    return {
        "area": step("bunker, on plan", area, "m²"),
        "floor": step("floor and faces", floor, "m²", "area × face ratio"),
        "dig": step("dug, in the bank", dig, "m³", "area × mean dig"),
        "sand_t": step(
            "sand", floor * values["sand_m"] * values["sand_t_m3"], "t",
            "floor and faces × depth × tonnes a m³",
        ),
        "drain": step("drain in the floor", area * values["drain_m_m2"], "m", "area × m a m²"),
        "edge": step(
            "turf on lips and surround", area * values["surround_ratio"], "m²",
            "area × surround ratio",
        ),
        **spoil(dig, values),
    }  # fmt: skip


BUNKER_NEW = Recipe(
    kind="bunker_new",
    title="Bunker, new",
    measures=(AREA,),
    parameters=(
        Parameter("dig_m", "mean dig", "m", ThreePoint(0.5, 0.6, 0.8), 0.1, 3.0),
        Parameter("face_ratio", "floor and faces over plan", "", ThreePoint.exactly(1.2), 1, 2),
        Parameter("sand_m", "depth of sand", "m", ThreePoint(0.10, 0.11, 0.13), 0.05, 0.4),
        Parameter("sand_t_m3", "sand, tonnes a m³", "t/m³", ThreePoint(1.5, 1.55, 1.6), 1.2, 2),
        Parameter("drain_m_m2", "drain for one m²", "m/m²", ThreePoint.exactly(0.25), 0, 2),
        Parameter("surround_ratio", "turf round it over plan", "", ThreePoint(0.6, 0.8, 1.1), 0, 3),
        BULKING, CARTED, LOAD, TURF_WASTE, STONE_WASTE,
    ),
    derive=_bunker_new,
    lines=(
        LineRecipe("dig-machine", PLANT, "Excavator, dig and shape", "dig", "plant-excavator_5t",
                   rate="dig_bunker"),
        LineRecipe("dig-driver", LABOUR, "Drive the excavator", "dig", CREW, rate="dig_bunker"),
        LineRecipe("finish", LABOUR, "Finish floor and faces by hand", "floor", CREW,
                   rate="finish_bunker"),
        LineRecipe("drain", LABOUR, "Lay the floor drain", "drain", CREW, rate="lay_laterals"),
        LineRecipe("liner", LABOUR, "Fit the liner", "floor", CREW, rate="fit_liner"),
        LineRecipe("sand-place", LABOUR, "Place and firm sand", "sand_t", CREW, rate="place_sand"),
        LineRecipe("turf-lay", LABOUR, "Turf lips and surround", "edge", CREW, rate="lay_turf"),
        LineRecipe("pipe", MATERIAL, "Drain pipe and gravel", "drain", "pipe-bunker_drain"),
        LineRecipe("lining", MATERIAL, "Liner", "floor", "liner-bunker", waste="turf_waste"),
        LineRecipe("sand", MATERIAL, "Bunker sand, delivered", "sand_t", "sand-bunker",
                   waste="stone_waste"),
        LineRecipe("turf", MATERIAL, "Turf for lips and surround", "edge", "turf-fairway",
                   waste="turf_waste"),
        *SPOIL_LINES,
    ),
    progress="area",
    assumes=("Sand depth by its laboratory test; the usual figure is a starting point.",),
)  # fmt: skip


def _bunker_filled(values: Values) -> dict[str, Step]:
    area = values["area_m2"]
    fill = area * values["fill_m"]
    brought = fill * values["brought_share"]
    return {
        "area": step("bunker filled, on plan", area, "m²"),
        "fill": step("fill, in place", fill, "m³", "area × mean fill"),
        "fill_t": step(
            "fill brought in", brought * values["soil_t_m3"], "t",
            "fill × share brought in × tonnes a m³",
        ),
        "around": step("ground turfed", area * values["around_ratio"], "m²", "area × ratio"),
    }  # fmt: skip


BUNKER_FILLED = Recipe(
    kind="bunker_filled",
    title="Bunker, filled",
    measures=(AREA,),
    parameters=(
        Parameter("fill_m", "mean fill", "m", ThreePoint(0.5, 0.6, 0.8), 0.1, 3.0),
        Parameter("brought_share", "share of the fill brought in", "", ThreePoint.exactly(0.5), 0,
                  1),
        Parameter("around_ratio", "ground turfed over plan", "", ThreePoint(1.2, 1.4, 1.7), 1, 4),
        SOIL_T_M3, TURF_WASTE, STONE_WASTE,
    ),
    derive=_bunker_filled,
    lines=(
        LineRecipe("empty", LABOUR, "Take out sand and old drain", "area", CREW,
                   rate="empty_bunker"),
        LineRecipe("fill-machine", PLANT, "Excavator, place and firm fill", "fill",
                   "plant-excavator_5t", rate="backfill"),
        LineRecipe("fill-driver", LABOUR, "Drive the excavator", "fill", CREW, rate="backfill"),
        LineRecipe("grade", LABOUR, "Grade to the surround", "around", CREW, rate="grade_by_hand"),
        LineRecipe("lay", LABOUR, "Lay turf", "around", CREW, rate="lay_turf"),
        LineRecipe("soil", MATERIAL, "Topsoil, delivered", "fill_t", "soil-topsoil",
                   waste="stone_waste"),
        LineRecipe("turf", MATERIAL, "Turf", "around", "turf-fairway", waste="turf_waste"),
    ),
    progress="area",
)  # fmt: skip


def _path(values: Values) -> dict[str, Step]:
    area = values["area_m2"]
    formula = "measured"
    if not area:
        if not values["length_m"]:
            raise ValueError("A path needs a length or an area: choose the path it is.")
        area = values["length_m"] * values["width_m"]
        formula = "length × width"
    length = values["length_m"] or area / values["width_m"]
    dig = area * (values["base_m"] + values["surface_m"])
    return {
        "length": step("path made", length, "m"),
        "area": step("path, on plan", area, "m²", formula),
        "dig": step("dug, in the bank", dig, "m³", "area × (base + surface)"),
        "base_t": step(
            "stone base", area * values["base_m"] * values["base_t_m3"], "t",
            "area × depth × tonnes a m³", "graded sub-base 2.1 to 2.2 firm, from memory",
        ),
        "surface_t": step(
            "path surface", area * values["surface_m"] * values["stone_t_m3"], "t",
            "area × depth × tonnes a m³",
        ),
        **spoil(dig, values),
    }  # fmt: skip


PATH = Recipe(
    kind="path",
    title="Path",
    measures=(
        Measure("length_m", "length along the path", "m", assumed=0.0),
        Measure("area_m2", "area on plan", "m²", assumed=0.0),
    ),
    parameters=(
        Parameter("width_m", "width", "m", ThreePoint.exactly(2.4), 0.8, 6.0),
        Parameter("base_m", "depth of stone base", "m", ThreePoint(0.15, 0.15, 0.20), 0.05, 0.6),
        Parameter("surface_m", "depth of surface", "m", ThreePoint.exactly(0.04), 0.0, 0.2),
        Parameter("base_t_m3", "base, tonnes a m³ firm", "t/m³", ThreePoint(2.0, 2.1, 2.2), 1.4,
                  2.5),
        BULKING, CARTED, LOAD, STONE_DENSITY, STONE_WASTE,
    ),
    derive=_path,
    lines=(
        LineRecipe("dig-machine", PLANT, "Excavator, box out", "dig", "plant-excavator_5t",
                   rate="box_out_path"),
        LineRecipe("dig-driver", LABOUR, "Drive the excavator", "dig", CREW, rate="box_out_path"),
        LineRecipe("lay", LABOUR, "Lay separator, base and surface", "area", CREW,
                   rate="lay_path"),
        LineRecipe("roller", PLANT, "Vibrating roller", "area", "plant-roller", rate="roll_path"),
        LineRecipe("edges", LABOUR, "Make good the edges", "length", CREW, rate="path_edges"),
        LineRecipe("separator", MATERIAL, "Geotextile separator", "area", "geotextile-separator",
                   waste="stone_waste"),
        LineRecipe("base", MATERIAL, "Graded stone base, delivered", "base_t", "stone-sub_base",
                   waste="stone_waste"),
        LineRecipe("surface", MATERIAL, "Path surface, delivered", "surface_t",
                   "stone-path_surface", waste="stone_waste"),
        *SPOIL_LINES,
    ),
    progress="length",
    assumes=("Width 2.4 m: at least 8 ft, USGA Green Section Record 62-02.",),
)  # fmt: skip


def _trees(values: Values) -> dict[str, Step]:
    stems, formula = values["stems"], "counted"
    if not stems:
        if not values["area_m2"]:
            raise ValueError("Thinning needs stems or an area: choose trees or the wood.")
        stems = values["area_m2"] / 10_000 * values["stems_ha"]
        formula = "area × stems taken out a hectare"
    one = timber.huber_m3(length_m=values["stem_m"], middle_diameter_m=values["middle_cm"] / 100)
    large = stems * values["large_share"]
    volume = stems * one
    return {
        "stems": step("trees felled", stems, "no", formula),
        "one": step("timber in one stem", one, "m³", "length × π d² / 4", "Huber"),
        "timber": step("timber felled", volume, "m³", "trees × timber in one"),
        "small": step("felled by the crew", stems - large, "no", "trees × (1 - share large)"),
        "large": step("felled by a contractor", large, "no", "trees × share large"),
        "timber_loads": step(
            "trailer loads of timber", volume / values["timber_load_m3"], "load",
            "timber / m³ on a trailer",
        ),
    }  # fmt: skip


TREES = Recipe(
    kind="tree_thinning",
    title="Tree thinning",
    measures=(
        Measure("stems", "trees to be felled", "no", assumed=0.0),
        Measure("area_m2", "area thinned", "m²", assumed=0.0),
    ),
    parameters=(
        Parameter("stems_ha", "stems taken out a hectare, where only an area is drawn", "no",
                  ThreePoint.exactly(120), 1, 3000),
        Parameter("middle_cm", "middle diameter of a stem", "cm", ThreePoint.exactly(18), 5, 120),
        Parameter("stem_m", "length of a stem", "m", ThreePoint.exactly(9.0), 1, 40),
        Parameter("large_share", "share too large or too near for the crew", "",
                  ThreePoint.exactly(0.1), 0, 1),
        Parameter("timber_load_m3", "timber on one trailer", "m³", ThreePoint.exactly(4.0), 0.5,
                  20),
    ),
    derive=_trees,
    lines=(
        LineRecipe("fell", LABOUR, "Fell, sned and cross-cut", "small", CREW, rate="fell_tree"),
        LineRecipe("clear", LABOUR, "Drag, chip and clear", "stems", CREW, rate="clear_tree"),
        LineRecipe("chipper", PLANT, "Wood chipper", "stems", "plant-chipper", rate="chip_tree"),
        LineRecipe("stumps", PLANT, "Stump grinder", "stems", "plant-stump_grinder",
                   rate="grind_stump"),
        LineRecipe("stump-driver", LABOUR, "Grind stumps and make good", "stems", CREW,
                   rate="grind_stump"),
        LineRecipe("timber", HAULAGE, "Timber to the stack by trailer", "timber_loads",
                   "haulage-timber_load"),
        LineRecipe("large", CONTRACTOR, "Tree surgeon, large or awkward trees", "large",
                   "contract-large_tree"),
    ),
    progress="stems",
    assumes=("Timber volume is for planning; it decides no licence question.",),
)  # fmt: skip


def _mounding(values: Values) -> dict[str, Step]:
    volume = values["area_m2"] * values["mean_height_m"]
    brought = volume * values["brought_share"]
    surface = values["area_m2"] * values["surface_ratio"]
    return {
        "area": step("mounds, on plan", values["area_m2"], "m²"),
        "volume": step("fill, in place", volume, "m³", "area × mean height"),
        "fill_t": step(
            "fill brought in", brought * values["soil_t_m3"], "t",
            "fill × share brought in × tonnes a m³",
        ),
        "moved": step(
            "moved from elsewhere on the course, loose", (volume - brought) * values["bulking"],
            "m³", "fill × (1 - share brought in) × bulking",
        ),
        "surface": step("surface to grass", surface, "m²", "area × surface ratio"),
    }  # fmt: skip


MOUNDING = Recipe(
    kind="mounding",
    title="Mounding",
    measures=(AREA, Measure("mean_height_m", "mean height", "m", assumed=0.6)),
    parameters=(
        Parameter("brought_share", "share of the fill brought in", "", ThreePoint.exactly(0.0), 0,
                  1),
        Parameter("surface_ratio", "surface over plan", "", ThreePoint.exactly(1.1), 1, 2),
        BULKING, SOIL_T_M3, STONE_WASTE,
    ),
    derive=_mounding,
    lines=(
        LineRecipe("machine", PLANT, "Excavator, place and shape", "volume",
                   "plant-excavator_8t", rate="shape_mound"),
        LineRecipe("driver", LABOUR, "Drive the excavator", "volume", CREW, rate="shape_mound"),
        LineRecipe("cart", HAULAGE, "Tractor and trailer, fill on the course", "moved",
                   "plant-tractor_trailer", rate="cart_spoil"),
        LineRecipe("cart-driver", LABOUR, "Drive the trailer", "moved", CREW, rate="cart_spoil"),
        LineRecipe("rake", LABOUR, "Rake, seed and roll", "surface", CREW, rate="make_good"),
        LineRecipe("fill", MATERIAL, "Topsoil fill, delivered", "fill_t", "soil-topsoil",
                   waste="stone_waste"),
        LineRecipe("seed", MATERIAL, "Seed", "surface", "seed-fairway"),
    ),
    progress="area",
)  # fmt: skip


def _seeding(values: Values) -> dict[str, Step]:
    area = values["area_m2"]
    return {
        "area": step("ground seeded", area, "m²"),
        "seed_kg": step("seed", area * values["seed_g_m2"] / 1000, "kg", "area × g a m² / 1000"),
    }


SEEDING = Recipe(
    kind="seeding",
    title="Seeding",
    measures=(AREA,),
    parameters=(
        Parameter("seed_g_m2", "seed for one m²", "g/m²", ThreePoint(25, 30, 40), 2, 80),
    ),
    derive=_seeding,
    lines=(
        LineRecipe("prepare", LABOUR, "Cultivate, rake and firm", "area", CREW,
                   rate="prepare_seedbed"),
        LineRecipe("tractor", PLANT, "Tractor and seeder", "area", "plant-tractor_seeder",
                   rate="drill_seed"),
        LineRecipe("sow", LABOUR, "Sow and roll", "area", CREW, rate="drill_seed"),
        LineRecipe("aftercare", LABOUR, "Water, feed and first cuts", "area", CREW,
                   rate="grow_in"),
        LineRecipe("seed", MATERIAL, "Seed", "seed_kg", "seed-by_weight"),
        LineRecipe("feed", MATERIAL, "Pre-seeding feed", "area", "feed-pre_seed"),
    ),
    progress="area",
)  # fmt: skip


def _turfing(values: Values) -> dict[str, Step]:
    return {"area": step("ground turfed", values["area_m2"], "m²")}


TURFING = Recipe(
    kind="turfing",
    title="Turfing",
    measures=(AREA,),
    parameters=(TURF_WASTE,),
    derive=_turfing,
    lines=(
        LineRecipe("prepare", LABOUR, "Lift old turf, rake and firm", "area", CREW,
                   rate="prepare_seedbed"),
        LineRecipe("lay", LABOUR, "Lay turf and firm it", "area", CREW, rate="lay_turf"),
        LineRecipe("aftercare", LABOUR, "Water, feed and first cuts", "area", CREW,
                   rate="grow_in"),
        LineRecipe("turf", MATERIAL, "Turf", "area", "turf-fairway", waste="turf_waste"),
        LineRecipe("feed", MATERIAL, "Pre-turfing feed", "area", "feed-pre_seed"),
    ),
    progress="area",
)  # fmt: skip

COURSE_RECIPES = (
    TEE, BUNKER_NEW, BUNKER_FILLED, PATH, TREES, MOUNDING, SEEDING, TURFING,
)  # fmt: skip
