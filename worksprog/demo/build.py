"""Builds Ashlode Vale through the services the pages use, whole or not at all."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

from django.core.files import File
from django.db import transaction

from worksprog.clubs.models import Club, User
from worksprog.course.models import Survey
from worksprog.course.services_surveys import (
    accept_import,
    begin_import,
    build_ground,
    keep_mapping,
)
from worksprog.course.services_water import build_water
from worksprog.demo.as_built import measure_the_brook_carrier
from worksprog.demo.course import (
    SURVEYED_ON,
    describe_surveyed,
    draw_designed,
    lay_out_laterals,
    make_holes,
    write_survey_files,
)
from worksprog.demo.crew import enter_the_crew
from worksprog.demo.drains import describe_drains
from worksprog.demo.hours import log_the_year
from worksprog.demo.kinds import make_own_kind
from worksprog.demo.last_winter import make_small_drains
from worksprog.demo.learnt import learn_from_hours
from worksprog.demo.money import decide_on_money
from worksprog.demo.people import SLUG, make_people
from worksprog.demo.prices import dearer_stone, leave_a_file_waiting, settle_money
from worksprog.demo.programme import FROZEN_DAY
from worksprog.demo.rain import set_rain
from worksprog.demo.ranges import draw_the_programme
from worksprog.demo.reports import write_first_report
from worksprog.demo.survey_files import COURSE_LAYERS, DRAIN_LAYERS
from worksprog.demo.water import describe_pond, lead_rain_through
from worksprog.demo.works import (
    agree_plan,
    go_on_site,
    make_calendar,
    make_programme,
    pay,
    record_on_the_ground,
    say_what_play_asks,
)
from worksprog.demo.worth import give_up_two_bunkers, say_what_works_give
from worksprog.planning.services import make_plan
from worksprog.planning.services.risk import draw_futures

Say = Callable[[str], None]


def demo_stands() -> bool:
    return Club.objects.filter(slug=SLUG).exists()


def _import(club: Club, by: User, path: Path, what: str, name: str) -> Survey:
    with path.open("rb") as stream:
        draft = begin_import(
            club=club,
            what=what,
            upload=File(stream, name=path.name),
            name=name,
            surveyed_on=SURVEYED_ON,
            surveyor="Invented for the demonstration",
            level_accuracy_m=Decimal("0.020"),
            plan_accuracy_m=Decimal("0.030"),
            by=by,
        )
    return accept_import(draft=draft, by=by)


@transaction.atomic
def build_demo_club(say: Say = lambda words: None) -> Club:
    """The club with its survey, drains, programme, plan and a year of hours."""
    say("people and holes")
    people = make_people()
    club, manager = people.club, people.manager
    holes = make_holes(club, manager)
    say("survey files, imported")
    keep_mapping(
        club=club,
        mapping={
            layer: (kind, "existing") for layer, kind in (COURSE_LAYERS | DRAIN_LAYERS).items()
        },
        by=manager,
    )
    with tempfile.TemporaryDirectory(prefix="ashlode-") as folder:
        files = write_survey_files(Path(folder))
        levels = _import(
            club, manager, files["levels"], Survey.What.SPOT_HEIGHTS, "Levels, March 2024"
        )
        _import(club, manager, files["course"], Survey.What.FEATURES, "Course, March 2024")
        _import(club, manager, files["drains"], Survey.What.FEATURES, "Old drains, March 2024")
    say("ground")
    build_water(model=build_ground(club=club, surveys=[levels], by=manager), by=manager)
    say("drains")
    describe_surveyed(club, manager, holes)
    describe_pond(club, manager)
    lay_out_laterals(draw_designed(club, manager, holes), manager)
    describe_drains(club, manager)
    set_rain(club, manager)
    lead_rain_through(club, manager)
    say("programme and estimates")
    programme, items = make_programme(club, manager)
    make_own_kind(club, manager)
    say_what_works_give(club, programme, items, manager)
    give_up_two_bunkers(club, manager)
    settle_money(club, manager)
    decide_on_money(club, items, manager)
    make_calendar(club, manager)
    say_what_play_asks(programme, holes, manager)
    agree_plan(programme, manager)
    dearer_stone(programme, manager)
    go_on_site(items, manager)
    record_on_the_ground(club, manager)
    measure_the_brook_carrier(club, manager, people.crew[0].user)
    pay(items, manager)
    say("a year of hours")
    log_the_year(people, items | make_small_drains(club, manager))
    learn_from_hours(club, manager)
    say("plan")
    enter_the_crew(people.crew, manager)
    plan = make_plan(programme=programme, by=manager, today=FROZEN_DAY)
    draw_futures(plan=plan, by=manager)
    draw_the_programme(programme, manager)
    leave_a_file_waiting(club, manager)
    say("the committee's paper")
    write_first_report(programme, manager)
    return club
