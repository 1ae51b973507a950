"""What can hurt or be against the law, by kind of work: asked for, never decided here.

Words that hold in any country. They point to whoever decides; they never say that a thing is not
needed or that it is safe.
"""

from __future__ import annotations

from dataclasses import dataclass

from worksprog.calc.build_up import Recipe
from worksprog.works.models import WorkKind

DEFERS = (
    "Local law, codes and licensed practice go before anything written here. Confirm with the "
    "authority named before work starts."
)


@dataclass(frozen=True)
class Caution:
    """One thing to settle before work of a kind starts."""

    key: str
    title: str
    text: str
    ask: str
    consent: str = ""  # name under which a consent or notice is kept, where one is usual


SERVICES = Caution(
    "services",
    "Buried services",
    "Get plans of every owner's services and the club's own: irrigation mains, decoder and power "
    "cables, pump supplies, old drains. Scan and mark the line, dig trial holes by hand, and keep "
    "machines off until each service is found. A clear scan does not prove clear ground.",
    "service owners, the local dig-notice service where there is one, and the club's own records",
)
TRENCH = Caution(
    "trench",
    "Trench support",
    "No ground can be relied on to stand unsupported, at any depth. Support it, batter it back or "
    "keep people out; keep spoil and machines back from the edge; give a way out. A competent "
    "person looks at it before each shift, after rain and after any fall.",
    "a competent person on site; an engineer where depth or ground calls for one",
)
WATER = Caution(
    "water",
    "Work in or near water",
    "Works in, over or beside a watercourse, and new outfalls or structures in it, commonly need "
    "written consent beforehand. Silt must not run downstream. Check the depth of water and who "
    "works alone; stop when it rises.",
    "the drainage or water authority for the place, and owners downstream",
    consent="Consent for works at a watercourse",
)
FELLING = Caution(
    "felling",
    "Felling licence and protected trees",
    "Felling may need a licence above a volume in a period, summed over the whole property, and "
    "single trees or areas may be protected whatever their size. The timber volume here is a "
    "planning figure and does not settle the question.",
    "the forestry authority and the planning authority",
    consent="Felling licence or tree consent",
)
NESTING = Caution(
    "nesting",
    "Nesting birds and bats",
    "Nests in use and bat roosts are commonly protected on any date, not only in a season. Have "
    "growth and trees looked at right before work; look at old trees with cavities for bats. Stop "
    "and ask when something is found.",
    "an ecologist or the nature conservation authority",
)
CHAINSAW = Caution(
    "chainsaw",
    "Chainsaw and climbing work",
    "Only trained people with the right kit, never alone, with a way to get help. Trees near "
    "lines, roads, buildings or players are for a qualified contractor.",
    "a qualified tree surgeon; the line owner near power lines",
)
MACHINES = Caution(
    "machines",
    "Machines and players",
    "Keep people out of reach of machines, and players away from works: close the hole or mark it "
    "off. Look at slopes and soft ground before a machine goes on it.",
    "the club's own risk assessment",
)
SPOIL = Caution(
    "spoil",
    "Spoil and brought-in soil",
    "Earth that leaves the course is often waste with papers to go with it; soil that is brought "
    "in may need a permit or an exemption and should come with a test.",
    "the environment authority",
)
STRUCTURE = Caution(
    "structure",
    "Structure that carries people or machines",
    "A bridge or wall is designed and checked by an engineer for the loads that will cross it, "
    "carts and mowers too. The estimate holds no design.",
    "a chartered or licensed engineer",
)

LIVE_SERVICE = Caution(
    "live-service",
    "Work on a live service",
    "Isolate it, drain it down and lock it off; prove a cable dead before it is cut. Electrical "
    "work, and joints on pump supplies and decoder cables, are for a person qualified for it. Test "
    "before it is covered, and mark where it lies.",
    "the owner of the service; a qualified electrician",
)
HEAT = Caution(
    "heat",
    "Hot or setting material",
    "Bound surfacing is laid hot or with resins that burn the skin and give off fumes: trained "
    "people, the supplier's data sheet and the protection it asks for. Keep players and fire away.",
    "the layer of the surface and the supplier's safety data",
)
BOUNDARY = Caution(
    "boundary",
    "Boundaries, hedgerows and rights of way",
    "Find out whose the line is before a hedge or fence is touched. Hedgerows may be protected and "
    "need notice before they are taken out; a right of way must not be closed off.",
    "the planning authority, neighbours and the highway authority",
    consent="Hedgerow notice or boundary agreement",
)

CAUTIONS: dict[str, tuple[Caution, ...]] = {
    WorkKind.CARRIER_PIPE: (SERVICES, TRENCH, WATER, MACHINES, SPOIL),
    WorkKind.DITCH_DUG: (SERVICES, WATER, TRENCH, NESTING, MACHINES, SPOIL),
    WorkKind.DITCH_REGRADED: (WATER, NESTING, SERVICES, MACHINES, SPOIL),
    WorkKind.LATERALS: (SERVICES, TRENCH, MACHINES, SPOIL),
    WorkKind.TEE_REBUILD: (SERVICES, MACHINES, SPOIL),
    WorkKind.BUNKER_NEW: (SERVICES, MACHINES, SPOIL),
    WorkKind.BUNKER_FILLED: (SERVICES, MACHINES, SPOIL),
    WorkKind.PATH: (SERVICES, MACHINES, SPOIL),
    WorkKind.TREE_THINNING: (FELLING, NESTING, CHAINSAW, SERVICES),
    WorkKind.HEADWALL: (WATER, TRENCH, SERVICES, STRUCTURE, MACHINES),
    WorkKind.BRIDGE: (WATER, STRUCTURE, SERVICES, TRENCH, MACHINES),
    WorkKind.MOUNDING: (SERVICES, MACHINES, SPOIL),
    WorkKind.SEEDING: (MACHINES,),
    WorkKind.TURFING: (MACHINES,),
    WorkKind.CHAMBER: (SERVICES, TRENCH, MACHINES, SPOIL),
    WorkKind.OUTFALL: (WATER, TRENCH, SERVICES, MACHINES),
    WorkKind.CULVERT: (WATER, TRENCH, STRUCTURE, SERVICES, NESTING, MACHINES, SPOIL),
    WorkKind.PATH_BOUND: (SERVICES, HEAT, MACHINES, SPOIL),
    WorkKind.TREE_FELLING: (FELLING, NESTING, CHAINSAW, SERVICES, MACHINES),
    WorkKind.STUMPS: (SERVICES, MACHINES),
    WorkKind.HEDGE_SCRUB: (NESTING, BOUNDARY, CHAINSAW, SERVICES, MACHINES),
    WorkKind.CROSSING: (SERVICES, LIVE_SERVICE, TRENCH),
    WorkKind.FENCING: (SERVICES, BOUNDARY, MACHINES),
}

EVERY: dict[str, Caution] = {
    one.key: one
    for one in (
        SERVICES, TRENCH, WATER, FELLING, NESTING, CHAINSAW, MACHINES, SPOIL, STRUCTURE,
    )
}  # fmt: skip


def cautions_of(recipe: Recipe) -> tuple[Caution, ...]:
    """What can hurt in this kind of work; all of it where a club's own kind names nothing."""
    if recipe.kind in CAUTIONS:
        return CAUTIONS[recipe.kind]
    named = tuple(EVERY[key] for key in recipe.cautions if key in EVERY)
    return named or tuple(EVERY.values())
