"""What can hurt or be against the law when earth is moved over a course, off it or onto it."""

from __future__ import annotations

from worksprog.works.cautions import DEFERS, SERVICES, Caution

WASTE = Caution(
    "waste",
    "When earth counts as waste",
    "Clean earth dug and used again on the same ground, certain to be used and no more than is "
    "needed, is commonly not waste; what is surplus, mixed with rubbish or taken elsewhere "
    "commonly is, with a carrier who may carry it, papers for each load and a place that may take "
    "it. Earth brought in may need a permit or an exemption, and a test of where it comes from.",
    "the environment authority, before the first load",
)
FLOOD = Caution(
    "flood",
    "Flood plain and watercourses",
    "Mounds and spread spoil in a flood plain, or on a bank, take room from the flood and send it "
    "to a neighbour, and may need consent whatever their height. Silt must not run off a heap into "
    "a ditch. The sketch knows no flood map.",
    "the flood or drainage authority",
)
ROOTS = Caution(
    "roots",
    "Roots of trees",
    "Wheels, heaps and raised ground over roots can kill a tree years later. Keep ways and heaps "
    "out from under the crown and further; fence it off first. The way drawn keeps off woods and "
    "single trees that are on the map, not off their roots.",
    "a tree surgeon or the tree officer",
)
GRADIENT = Caution(
    "gradient",
    "Gradients, soft ground and loads",
    "Dumpers and trailers turn over on side slopes, on soft edges, and while tipping. The steepest "
    "ten metres told here are along the way on the surveyed ground, not across it. Walk the way, "
    "keep to what the maker allows for the laden machine, belt on, and stop when the ground is wet.",
    "the machine's maker and a competent person on site",
)
PLAYERS = Caution(
    "players",
    "Players and people on foot",
    "A haul crosses fairways and paths. Close or mark off what it crosses, give a person to watch "
    "where players come near, and keep people out of reach of tipping and loading.",
    "the club's own risk assessment",
)
TOPSOIL = Caution(
    "topsoil",
    "Topsoil handled dry and kept apart",
    "Topsoil loses its structure when it is moved wet, heaped high or mixed with what lies under "
    "it. Strip it first, heap it low and apart, and do not drive on it.",
    "an agronomist where the turf depends on it",
)
SPOIL_CAUTIONS = (WASTE, FLOOD, ROOTS, GRADIENT, PLAYERS, TOPSOIL, SERVICES)
__all__ = ["DEFERS", "SPOIL_CAUTIONS"]
