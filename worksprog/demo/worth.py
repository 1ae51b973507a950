"""What Ashlode Vale's works promise to give back, and an earlier winter's promise that can be measured."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from worksprog.clubs.models import Club, User
from worksprog.works.models import (
    Benefit,
    EstimateRules,
    Item,
    ItemState,
    LeftAsIs,
    Programme,
    WorkKind,
    WorthRules,
)
from worksprog.works.services import (
    approve_project,
    build_estimate,
    create_item,
    create_phase,
    create_programme,
    create_project,
    set_item_state,
)
from worksprog.works.services.worth import keep_left_as_is, keep_promise, keep_worth_rules

PROMISED_ON = date(2026, 6, 11)
Three = tuple[float, float, float]
NONE: Three = (0, 0, 0)


@dataclass(frozen=True)
class Gives:
    """A promise of a project, or of one of its jobs."""

    code: str
    what: str
    hours: Three
    words: str
    job: str = ""
    days: Three = NONE
    years: int = 20


WET, LEAVES, BUNKERS = Benefit.What.WET_GROUND, Benefit.What.LEAVES, Benefit.What.BUNKERS
STEMS = "leaf hours of the log, times stems felled over 892 in all woods; half either way"
RAKING = "raking and edging of the log by area of bunkers; half either way"

GIVES: tuple[Gives, ...] = (
    Gives(
        "BC",
        WET,
        (70, 120, 180),
        "hand mowing, raking of casual water and mending on 7 and 9, by the crew's own reckoning "
        "over two wet winters",
        days=(8, 14, 22),
        years=50,
    ),
    Gives("CT", LEAVES, (18, 36, 54), STEMS, "Thin copse behind 6 green"),
    Gives("CT", LEAVES, (27, 55, 82), STEMS, "Thin copse behind 4 green"),
    Gives("CT", LEAVES, (21, 43, 65), STEMS, "Thin copse between 5 and 7"),
    Gives(
        "UC",
        WET,
        (30, 60, 100),
        "hand work on the approach to 9 and below 13, by the crew's own reckoning",
        days=(3, 6, 10),
        years=50,
    ),
    Gives("BK", BUNKERS, (20, 39, 59), RAKING, "Fill and turf bunker 9.3"),
    Gives("BK", BUNKERS, (20, 39, 59), RAKING, "Fill and turf bunker 1.3"),
    Gives("BK", BUNKERS, (20, 39, 59), RAKING, "Fill and turf bunker 12.3"),
    Gives(
        "BK",
        BUNKERS,
        (-60, -40, -25),
        f"a new bunker brings hours: {RAKING}",
        "New bunker, 10 right",
    ),
    Gives(
        "BK",
        BUNKERS,
        (-60, -40, -25),
        f"a new bunker brings hours: {RAKING}",
        "New bunker, 17 right",
    ),
    Gives(
        "H8",
        WET,
        (50, 85, 130),
        "hand work on 8 fairway and the low end of 2, by the crew's own reckoning",
        days=(5, 9, 15),
        years=50,
    ),
    Gives("TH", LEAVES, (78, 157, 235), STEMS),
    Gives(
        "LH",
        WET,
        (15, 30, 50),
        "hand work in the hollow left of 9, by the crew's own reckoning",
        days=(2, 4, 7),
        years=50,
    ),
)


def say_what_works_give(club: Club, programme: Programme, items: dict[str, Item], by: User) -> None:
    """The club's assumptions, the promises of its projects, and what it costs to leave the brook end."""
    keep_worth_rules(
        rules=EstimateRules.objects.filter(club=club).first() or EstimateRules(club=club),
        worth=WorthRules(
            club=club,
            counted_low=40,
            counted_likely=75,
            counted_high=100,
            day_low=Decimal(60),
            day_likely=Decimal(110),
            day_high=Decimal(180),
        ),
        by=by,
    )
    projects = {project.code: project for project in programme.projects.all()}
    for one in GIVES:
        keep_promise(
            benefit=Benefit(
                club=club,
                project=projects[one.code],
                item=items[one.job] if one.job else None,
                what=one.what,
                words=one.words,
                hours_low=one.hours[0],
                hours_likely=one.hours[1],
                hours_high=one.hours[2],
                days_low=one.days[0],
                days_likely=one.days[1],
                days_high=one.days[2],
                years=one.years,
                promised_on=PROMISED_ON,
            ),
            by=by,
        )
    keep_left_as_is(
        left=LeftAsIs(
            club=club,
            project=projects["BC"],
            words="pump hire, turf and seed for 7 and 9 after a wet winter, from the last two "
            "years' invoices",
            money_low=Decimal(450),
            money_likely=Decimal(800),
            money_high=Decimal(1300),
            grows_percent=Decimal(3),
            stated_on=PROMISED_ON,
        ),
        by=by,
    )


EARLIER_STARTED, EARLIER_FINISHED = date(2025, 9, 22), date(2025, 10, 10)


def give_up_two_bunkers(club: Club, by: User) -> None:
    """The works of the autumn before, by a contractor: done, in play, and promised hours."""
    programme = create_programme(
        club=club,
        name="Ashlode Vale, autumn 2025",
        starts_on=date(2025, 9, 1),
        ends_on=date(2026, 3, 31),
        by=by,
        is_live=False,
    )
    project = create_project(
        programme=programme,
        code="B25",
        name="Two bunkers given up",
        purpose="Bunkers on 5 and 16 that no ball reaches and the crew rakes all the same.",
        by=by,
        priority=1,
    )
    phase = create_phase(project=project, name="Filled and turfed", by=by)
    item = create_item(
        phase=phase,
        kind=WorkKind.BUNKER_FILLED,
        name="Fill and turf bunkers on 5 and 16",
        by=by,
        parameters={"area_m2": 240},
        by_contractor=True,
    )
    build_estimate(item=item, by=by)
    approve_project(project=project, amount=Decimal(6500), approved_on=date(2025, 8, 7), by=by)
    keep_promise(
        benefit=Benefit(
            club=club,
            project=project,
            item=item,
            what=BUNKERS,
            words=RAKING,
            hours_low=120,
            hours_likely=190,
            hours_high=280,
            promised_on=date(2025, 8, 7),
        ),
        by=by,
    )
    set_item_state(item=item, state=ItemState.ON_SITE, on=EARLIER_STARTED, by=by)
    set_item_state(item=item, state=ItemState.DONE, on=EARLIER_FINISHED, by=by)
