"""The invented programme of Ashlode Vale: five winters, what is in each, who and how far."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import Any

FROZEN_DAY = date(2026, 11, 24)  # the day to which the demonstration's hours were logged

CREW: tuple[tuple[str, str], ...] = (
    ("Joel", "Okafor"),
    ("Tamsin", "Birkett"),
    ("Wilf", "Garrity"),
    ("Petra", "Lindqvist"),
    ("Dermot", "Shaw"),
    ("Iola", "Prys"),
)
MANAGER = ("Rhona", "Imrie")
COMMITTEE = (("Alden", "Crowe"), ("Bettina", "Vos"))


@dataclass(frozen=True)
class Job:
    """One item of the programme, in the words the services take."""

    kind: str
    name: str
    features: tuple[str, ...]
    holes: tuple[int, ...]
    state: str = "proposed"
    not_before: date | None = None
    growing_in_weeks: int = 0
    holes_closed: bool = False
    by_contractor: bool = False
    max_share: str = "1.00"
    parameters: dict[str, Any] = field(default_factory=dict)
    after: tuple[str, ...] = ()
    consents: tuple[tuple[str, str, date | None], ...] = ()
    started_on: date | None = None
    finished_on: date | None = None
    least_days: int | None = None


@dataclass(frozen=True)
class Scheme:
    """A project with its phases."""

    code: str
    name: str
    priority: int
    approved: str
    approved_on: date | None
    purpose: str
    phases: tuple[tuple[str, tuple[Job, ...]], ...]


def _winter(year: int) -> date:
    return date(year, 9, 7)


SCHEMES: tuple[Scheme, ...] = (
    Scheme(
        "BC",
        "Brook carrier drain",
        1,
        "16000",
        date(2026, 6, 11),
        "Takes the water off 7 and the low end of 9, which close the brook loop in a wet winter.",
        (
            (
                "Outfall and lower carrier",
                (
                    Job(
                        "headwall",
                        "Headwall at outfall O2",
                        ("O2",),
                        (7,),
                        "done",
                        consents=(
                            (
                                "Consent for work in the bank of the brook",
                                "the drainage authority",
                                date(2026, 7, 20),
                            ),
                        ),
                        started_on=date(2026, 9, 7),
                        finished_on=date(2026, 9, 11),
                    ),
                    Job(
                        "carrier_pipe",
                        "Lay carrier O2–C2",
                        ("C1–O2", "C2–C1", "C1", "C2"),
                        (7,),
                        "done",
                        after=("Headwall at outfall O2",),
                        started_on=date(2026, 9, 14),
                        finished_on=date(2026, 10, 2),
                    ),
                ),
            ),
            (
                "Upper carrier and laterals",
                (
                    Job(
                        "carrier_pipe",
                        "Lay carrier C2–C3",
                        ("C3–C2", "C3"),
                        (9,),
                        "on_site",
                        after=("Lay carrier O2–C2",),
                        started_on=date(2026, 11, 9),
                    ),
                    Job(
                        "laterals",
                        "Laterals on 7 fairway",
                        ("L7",),
                        (7,),
                        after=("Lay carrier O2–C2",),
                        growing_in_weeks=8,
                        holes_closed=True,
                    ),
                ),
            ),
        ),
    ),
    Scheme(
        "T8",
        "Tee 8 rebuild",
        2,
        "5300",
        date(2026, 6, 11),
        "The tee is too small for its rounds and stands in shade.",
        (
            (
                "Build and grow in",
                (
                    Job(
                        "tee_rebuild",
                        "Rebuild tee 8",
                        ("T8",),
                        (8,),
                        "growing_in",
                        growing_in_weeks=20,
                        started_on=date(2026, 10, 5),
                        finished_on=date(2026, 10, 30),
                    ),
                ),
            ),
        ),
    ),
    Scheme(
        "CT",
        "Copse thinning, holes 4 to 6",
        3,
        "22500",
        date(2026, 6, 11),
        "Light and air to 4 and 6 greens, fewer leaves to gather in autumn.",
        (
            (
                "First winter",
                (
                    Job(
                        "tree_thinning",
                        "Thin copse behind 6 green",
                        ("WD3",),
                        (6,),
                        "on_site",
                        parameters={"stems": 46},
                        started_on=date(2026, 11, 2),
                        consents=(
                            (
                                "Felling licence, or the reason none is needed",
                                "the forestry authority",
                                None,
                            ),
                        ),
                    ),
                    Job(
                        "tree_thinning",
                        "Thin copse behind 4 green",
                        ("WD1",),
                        (4,),
                        not_before=date(2026, 12, 1),
                        max_share="0.60",
                        parameters={"stems": 70},
                    ),
                    Job(
                        "tree_thinning",
                        "Thin copse between 5 and 7",
                        ("WD2",),
                        (5, 7),
                        not_before=date(2026, 12, 7),
                        max_share="0.60",
                        parameters={"stems": 55},
                    ),
                ),
            ),
        ),
    ),
    Scheme(
        "PA",
        "Paths between holes",
        4,
        "8200",
        date(2026, 6, 11),
        "Worn, wet walks from green to tee.",
        (
            (
                "2 green to 3 tee",
                (
                    Job(
                        "path",
                        "Path, 2 green to 3 tee",
                        ("W4",),
                        (2, 3),
                        "on_site",
                        started_on=date(2026, 11, 12),
                    ),
                ),
            ),
            (
                "Hill loop",
                (
                    Job(
                        "path",
                        "Path, 10 green to 11 tee",
                        ("W5",),
                        (10, 11),
                        not_before=_winter(2029),
                    ),
                    Job(
                        "path",
                        "Path, 16 green to 17 tee",
                        ("W6",),
                        (16, 17),
                        not_before=_winter(2030),
                    ),
                ),
            ),
        ),
    ),
    Scheme(
        "UC",
        "Upper carrier, holes 9 and 10",
        5,
        "0",
        None,
        "Carries the Brook carrier up to the foot of 13, and drains the approach to 9.",
        (
            (
                "Carrier C3–C5",
                (
                    Job(
                        "carrier_pipe",
                        "Lay carrier C3–C4",
                        ("C4–C3", "C4"),
                        (9,),
                        not_before=_winter(2027),
                    ),
                    Job(
                        "carrier_pipe",
                        "Lay carrier C4–C5",
                        ("C5–C4", "C5"),
                        (10, 13),
                        not_before=_winter(2027),
                    ),
                    Job(
                        "laterals",
                        "Laterals on 9 approach",
                        ("L9",),
                        (9,),
                        not_before=_winter(2027),
                        growing_in_weeks=8,
                        after=("Lay carrier C3–C4",),
                        holes_closed=True,
                    ),
                ),
            ),
            (
                "Centre ditch",
                (
                    Job(
                        "ditch_regraded",
                        "Regrade centre ditch, lower",
                        ("D2",),
                        (7, 8),
                        not_before=_winter(2027),
                    ),
                    Job(
                        "ditch_regraded",
                        "Regrade centre ditch, upper",
                        ("D1",),
                        (10, 12, 13),
                        not_before=_winter(2027),
                        after=("Regrade centre ditch, lower",),
                    ),
                ),
            ),
        ),
    ),
    Scheme(
        "BK",
        "Bunkers given up",
        6,
        "0",
        None,
        "Bunkers that are out of play but raked each week.",
        (
            (
                "Brook loop",
                (
                    Job(
                        "bunker_filled",
                        "Fill and turf bunker 9.3",
                        ("B9.3",),
                        (9,),
                        not_before=_winter(2027),
                        growing_in_weeks=10,
                    ),
                    Job(
                        "bunker_filled",
                        "Fill and turf bunker 1.3",
                        ("B1.3",),
                        (1,),
                        not_before=_winter(2027),
                        growing_in_weeks=10,
                    ),
                ),
            ),
            (
                "Hill loop",
                (
                    Job(
                        "bunker_filled",
                        "Fill and turf bunker 12.3",
                        ("B12.3",),
                        (12,),
                        not_before=_winter(2028),
                        growing_in_weeks=10,
                    ),
                    Job(
                        "bunker_new",
                        "New bunker, 10 right",
                        ("B10.4",),
                        (10,),
                        not_before=_winter(2029),
                        growing_in_weeks=10,
                    ),
                    Job(
                        "bunker_new",
                        "New bunker, 17 right",
                        ("B17.4",),
                        (17,),
                        not_before=_winter(2030),
                        growing_in_weeks=10,
                    ),
                ),
            ),
        ),
    ),
    Scheme(
        "H8",
        "Hole 8 drain and mounds",
        7,
        "0",
        None,
        "Drains 8 fairway and the low end of 2, and keeps the spoil on the hole as mounds.",
        (
            (
                "Outfall and carrier",
                (
                    Job(
                        "headwall",
                        "Headwall at outfall O3",
                        ("O3",),
                        (8,),
                        not_before=_winter(2028),
                        consents=(
                            (
                                "Consent for work in the bank of the brook",
                                "the drainage authority",
                                None,
                            ),
                        ),
                    ),
                    Job(
                        "carrier_pipe",
                        "Lay carrier O3–C7",
                        ("C6–O3", "C7–C6", "C6", "C7"),
                        (8, 9),
                        not_before=_winter(2028),
                        after=("Headwall at outfall O3",),
                        holes_closed=True,
                    ),
                    Job(
                        "carrier_pipe",
                        "Lay carrier C7–C8",
                        ("C8–C7", "C8"),
                        (1, 2),
                        not_before=_winter(2028),
                    ),
                    Job(
                        "laterals",
                        "Laterals on 8 fairway",
                        ("L8",),
                        (8,),
                        not_before=_winter(2028),
                        growing_in_weeks=8,
                        after=("Lay carrier O3–C7",),
                        holes_closed=True,
                    ),
                ),
            ),
            (
                "Mounds and finish",
                (
                    Job(
                        "mounding",
                        "Mounds, 8 right",
                        ("M1",),
                        (8,),
                        not_before=_winter(2028),
                        after=("Lay carrier O3–C7",),
                        growing_in_weeks=16,
                    ),
                    Job(
                        "mounding",
                        "Mounds, 9 left",
                        ("M2",),
                        (9,),
                        not_before=_winter(2029),
                        growing_in_weeks=16,
                    ),
                ),
            ),
        ),
    ),
    Scheme(
        "TH",
        "Thinning the belts",
        8,
        "0",
        None,
        "A third of the autumn's leaf hours come from these belts.",
        (
            (
                "Belts",
                (
                    Job(
                        "tree_thinning",
                        "Thin belt between 10 and 13",
                        ("WD5",),
                        (10, 13),
                        not_before=_winter(2027),
                        max_share="0.50",
                        parameters={"stems": 45},
                    ),
                    Job(
                        "tree_thinning",
                        "Thin oak belt on 12",
                        ("WD6",),
                        (12, 17),
                        not_before=_winter(2028),
                        max_share="0.50",
                        parameters={"stems": 60},
                    ),
                    Job(
                        "tree_thinning",
                        "Thin belt between 15 and 18",
                        ("WD7",),
                        (15, 18),
                        not_before=_winter(2029),
                        max_share="0.50",
                        parameters={"stems": 50},
                    ),
                    Job(
                        "tree_thinning",
                        "Thin belt between 2 and 11",
                        ("WD4",),
                        (2, 11),
                        not_before=_winter(2030),
                        max_share="0.50",
                        parameters={"stems": 45},
                    ),
                ),
            ),
        ),
    ),
    Scheme(
        "OP",
        "Old pipe under 1 and 9",
        9,
        "0",
        None,
        "The 225 mm clayware holds the centre ditch back; water stands on 10 and 13 above it.",
        (
            (
                "Replace by 375 mm",
                (
                    Job(
                        "carrier_pipe",
                        "Replace old pipe P1",
                        ("P1",),
                        (1, 9),
                        parameters={"people": 1},
                        not_before=_winter(2029),
                        holes_closed=True,
                        after=("Regrade centre ditch, lower",),
                    ),
                ),
            ),
        ),
    ),
    Scheme(
        "TE",
        "Tees",
        10,
        "0",
        None,
        "Three tees too small for their rounds.",
        (
            (
                "One a winter",
                (
                    Job(
                        "tee_rebuild",
                        "Rebuild tee 3",
                        ("T3",),
                        (3,),
                        not_before=_winter(2027),
                        growing_in_weeks=20,
                    ),
                    Job(
                        "tee_rebuild",
                        "Rebuild tee 12",
                        ("T12",),
                        (12,),
                        not_before=_winter(2029),
                        growing_in_weeks=20,
                    ),
                    Job(
                        "tee_rebuild",
                        "Rebuild tee 16",
                        ("T16",),
                        (16,),
                        not_before=_winter(2030),
                        growing_in_weeks=20,
                    ),
                ),
            ),
        ),
    ),
    Scheme(
        "ED",
        "East ditch and bridge",
        11,
        "0",
        None,
        "The east ditch has silted and its banks have slipped; the bridge on 6 is at its end.",
        (
            (
                "East ditch",
                (
                    Job(
                        "ditch_regraded",
                        "Regrade east ditch, lower",
                        ("D4", "D5"),
                        (2, 3, 9),
                        not_before=_winter(2030),
                    ),
                    Job(
                        "ditch_regraded",
                        "Regrade east ditch, upper",
                        ("D3",),
                        (11, 12, 17),
                        not_before=_winter(2030),
                        after=("Regrade east ditch, lower",),
                    ),
                ),
            ),
            (
                "Bridge",
                (
                    Job(
                        "bridge",
                        "New bridge on 6",
                        ("BR3",),
                        (6,),
                        not_before=_winter(2030),
                        by_contractor=True,
                        least_days=8,
                    ),
                ),
            ),
        ),
    ),
    Scheme(
        "WB",
        "Ways and bounds",
        13,
        "0",
        None,
        "A dry walk to the first tee, the road side fenced, and the trees that shade 18 tee.",
        (
            (
                "Walks and fence",
                (
                    Job(
                        "path_bound",
                        "Bound path, clubhouse to 1 tee",
                        ("W1",),
                        (1,),
                        not_before=_winter(2030),
                        parameters={"width_m": 2.4},
                    ),
                    Job(
                        "fencing",
                        "Fence by 12 tee and 17",
                        ("FN1",),
                        (12, 17),
                        not_before=_winter(2030),
                        parameters={"gates": 1},
                    ),
                    Job(
                        "crossing",
                        "Irrigation main where the old pipe crosses it",
                        ("SV1", "P1"),
                        (9,),
                        not_before=_winter(2029),
                        parameters={"cables": 2},
                    ),
                ),
            ),
            (
                "Trees at 18 tee",
                (
                    Job(
                        "tree_felling",
                        "Fell three trees at 18 tee",
                        ("TR51", "TR75", "TR86"),
                        (18,),
                        not_before=_winter(2030),
                        consents=(
                            (
                                "Felling licence, or the reason none is needed",
                                "the forestry authority",
                                None,
                            ),
                        ),
                    ),
                    Job(
                        "stumps",
                        "Grind the stumps at 18 tee",
                        ("TR51", "TR75", "TR86"),
                        (18,),
                        not_before=_winter(2030),
                        after=("Fell three trees at 18 tee",),
                        growing_in_weeks=14,
                    ),
                ),
            ),
        ),
    ),
    Scheme(
        "LH",
        "Hollow left of 9",
        12,
        "0",
        None,
        "Play asks for the hollow to be dry before the winter; the old drain it runs into is "
        "renewed in the spring after.",
        (
            (
                "Hollow and old drain",
                (
                    Job(
                        "carrier_pipe",
                        "Lay drain N1 in the hollow",
                        ("N1",),
                        (9,),
                        not_before=_winter(2027),
                    ),
                    Job(
                        "carrier_pipe",
                        "Renew the old drain P2",
                        ("N2",),
                        (9,),
                        not_before=date(2028, 3, 1),
                        after=("Lay drain N1 in the hollow",),
                    ),
                ),
            ),
        ),
    ),
)

# Money that went out on the first winter's jobs: item, day, what for, amount.
SPENDS: tuple[tuple[str, date, str, str], ...] = (
    (
        "Headwall at outfall O2",
        date(2026, 9, 11),
        "Precast headwall and bagwork, delivered",
        "685.00",
    ),
    ("Headwall at outfall O2", date(2026, 9, 18), "Excavator hire, first week", "540.00"),
    ("Lay carrier O2–C2", date(2026, 9, 25), "Twin-wall pipe 300 mm, 15 lengths", "2070.00"),
    ("Lay carrier O2–C2", date(2026, 10, 2), "Bedding stone, two loads", "1128.00"),
    ("Lay carrier O2–C2", date(2026, 10, 16), "Excavator hire, three weeks", "1620.00"),
    ("Lay carrier C2–C3", date(2026, 11, 6), "Twin-wall pipe 300 mm, 13 lengths", "1794.00"),
    ("Lay carrier C2–C3", date(2026, 11, 13), "Bedding stone, one load", "564.00"),
    ("Rebuild tee 8", date(2026, 9, 15), "Rootzone, three loads", "1932.00"),
    ("Rebuild tee 8", date(2026, 10, 1), "Seed and pre-seed fertiliser", "214.50"),
    ("Thin copse behind 6 green", date(2026, 11, 9), "Chipper hire, first week", "390.00"),
    ("Path, 2 green to 3 tee", date(2026, 11, 17), "Geotextile and first load of stone", "612.00"),
)

# What is played: name, first and last day, what it stops, on which holes.
FIXTURES: tuple[tuple[str, date, date, str, tuple[int, ...]], ...] = (
    ("Winter foursomes, final", date(2027, 3, 19), date(2027, 3, 19), "closing", ()),
    ("Club championship", date(2027, 9, 10), date(2027, 9, 10), "closing", ()),
    ("Juniors’ short course day", date(2027, 9, 10), date(2027, 9, 10), "here", (4, 5, 6)),
    ("Open week", date(2028, 7, 3), date(2028, 7, 7), "all", ()),
)
HOLES_AT_ONCE = 2

# Money that projects wait for: project, first day, amount, who foresees it.
RELEASES: tuple[tuple[str, date, str, str], ...] = (
    ("H8", date(2028, 4, 1), "24500.00", "Budget of five winters, June 2026"),
    ("H8", date(2029, 4, 1), "4500.00", "Budget of five winters, June 2026"),
    ("ED", date(2030, 4, 1), "21000.00", "Budget of five winters, June 2026"),
)
