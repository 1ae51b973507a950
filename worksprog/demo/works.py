"""The programme, its estimates, its plan and what has gone out, put in as a manager puts them in."""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal

from worksprog.clubs.models import Club, User
from worksprog.course.models import Feature, Hole, State
from worksprog.course.services import set_feature_state
from worksprog.demo.estimates import (
    as_first_drawn,
    lower_the_chamber,
    share_with_a_contractor,
    widen_a_path,
)
from worksprog.demo.prices import begin_book, bring_in_wages
from worksprog.demo.programme import (
    FIXTURES,
    FROZEN_DAY,
    HOLES_AT_ONCE,
    RELEASES,
    SCHEMES,
    SPENDS,
    Job,
)
from worksprog.demo.ranges import name_our_suppliers
from worksprog.planning.models import (
    Closure,
    Fixture,
    ItemPlanning,
    MoneyRelease,
    Plan,
    PlayRules,
)
from worksprog.planning.services import (
    keep_baseline,
    keep_closure,
    keep_item_planning,
    load_default_windows,
    load_usual_year,
    make_plan,
)
from worksprog.planning.services.play import keep_fixture, keep_play_rules, keep_release
from worksprog.works.models import Consent, Item, ItemState, Programme
from worksprog.works.services import (
    approve_project,
    build_estimate,
    create_item,
    create_phase,
    create_programme,
    create_project,
    link_items,
    record_consent,
    record_spend,
    set_item_state,
)

AGREED_ON = date(2026, 6, 11)
ESTIMATED_AT = datetime(2026, 6, 1, 9, 0, tzinfo=UTC)
CREW_WEEK_H = 240.0  # six people, five days of eight hours
STEPS_TO = {
    ItemState.ON_SITE: (ItemState.ON_SITE,),
    ItemState.GROWING_IN: (ItemState.ON_SITE, ItemState.GROWING_IN),
    ItemState.DONE: (ItemState.ON_SITE, ItemState.DONE),
}


def all_jobs() -> list[Job]:
    return [job for scheme in SCHEMES for _, jobs in scheme.phases for job in jobs]


def make_programme(club: Club, by: User) -> tuple[Programme, dict[str, Item]]:
    """Projects, phases and items with their first estimates; nothing has started yet."""
    begin_book(club, by)
    name_our_suppliers(club, by)
    bring_in_wages(club, by)
    programme = create_programme(
        club=club,
        name="Ashlode Vale 2026–31",
        starts_on=date(2026, 9, 1),
        ends_on=date(2031, 8, 31),
        by=by,
        revision="C",
    )
    features = {one.ref: one for one in Feature.objects.filter(club=club).exclude(ref="")}
    holes = {one.number: one for one in Hole.objects.filter(club=club)}
    items: dict[str, Item] = {}
    for scheme in SCHEMES:
        project = create_project(
            programme=programme,
            code=scheme.code,
            name=scheme.name,
            purpose=scheme.purpose,
            priority=scheme.priority,
            by=by,
        )
        for name, jobs in scheme.phases:
            phase = create_phase(project=project, name=name, by=by)
            for job in jobs:
                items[job.name] = create_item(
                    phase=phase,
                    kind=job.kind,
                    name=job.name,
                    by=by,
                    features=[features[ref] for ref in job.features],
                    holes=[holes[number] for number in job.holes],
                    parameters=job.parameters,
                    growing_in_weeks=job.growing_in_weeks,
                    not_before=job.not_before,
                    holes_closed=job.holes_closed,
                    by_contractor=job.by_contractor,
                    max_share=Decimal(job.max_share),
                )
                if job.least_days is not None:
                    keep_item_planning(
                        planning=ItemPlanning(
                            club=club, item=items[job.name], least_days=job.least_days
                        ),
                        by=by,
                    )
                for consent, authority, granted in job.consents:
                    record_consent(
                        consent=Consent(
                            club=club,
                            item=items[job.name],
                            name=consent,
                            authority=authority,
                            asked_on=date(2026, 5, 18),
                            granted_on=granted,
                        ),
                        by=by,
                    )
    as_first_drawn(club, by)
    for job in all_jobs():
        for before in job.after:
            link_items(first=items[before], then=items[job.name], by=by)
        build_estimate(item=items[job.name], by=by, made_at=ESTIMATED_AT)
    share_with_a_contractor(items, by)
    for scheme in SCHEMES:
        if scheme.approved_on is not None:
            project = programme.projects.get(code=scheme.code)
            approve_project(
                project=project,
                amount=Decimal(scheme.approved),
                approved_on=scheme.approved_on,
                by=by,
            )
    lower_the_chamber(club, by)
    widen_a_path(items, by)
    return programme, items


def make_calendar(club: Club, by: User) -> None:
    load_default_windows(club=club, by=by)
    load_usual_year(club=club, crew_h=CREW_WEEK_H, by=by)
    for year in range(2026, 2031):
        keep_closure(
            closure=Closure(
                club=club,
                name=f"Christmas and New Year {year}/{(year + 1) % 100:02}",
                from_date=date(year, 12, 24),
                to_date=date(year + 1, 1, 1),
            ),
            by=by,
        )


def say_what_play_asks(programme: Programme, holes: dict[int, Hole], by: User) -> None:
    """Fixtures, holes out of play at once, and the money of the two dearest projects by April."""
    club = programme.club
    for name, first, last, stops, on in FIXTURES:
        keep_fixture(
            fixture=Fixture(club=club, name=name, from_date=first, to_date=last, stops=stops),
            holes=[holes[number] for number in on],
            by=by,
        )
    keep_play_rules(rules=PlayRules(club=club, holes_at_once=HOLES_AT_ONCE), by=by)
    for code, day, amount, words in RELEASES:
        keep_release(
            release=MoneyRelease(
                club=club,
                programme=programme,
                project=programme.projects.get(code=code),
                from_date=day,
                amount=Decimal(amount),
                words=words,
            ),
            by=by,
        )


def agree_plan(programme: Programme, by: User) -> Plan:
    """The plan as it was when the committee agreed it, kept to measure slip against."""
    plan = make_plan(programme=programme, by=by, today=AGREED_ON)
    return keep_baseline(plan=plan, name="Agreed June 2026", by=by)


def go_on_site(items: dict[str, Item], by: User) -> None:
    """Bring every job to where it stands on the demonstration's day."""
    for job in all_jobs():
        if job.started_on is None:
            continue
        for state in STEPS_TO[ItemState(job.state)]:
            day = job.started_on if state == ItemState.ON_SITE else job.finished_on
            item = Item.objects.get(pk=items[job.name].pk)
            items[job.name] = set_item_state(
                item=item, state=state, on=day or FROZEN_DAY, by=by, without_consent=True
            )


FEATURE_STATE = {
    ItemState.ON_SITE: State.ON_SITE,
    ItemState.GROWING_IN: State.GROWING_IN,
    ItemState.DONE: State.AS_BUILT,
}


def record_on_the_ground(club: Club, by: User) -> None:
    """Say of the features of started jobs how they stand."""
    features = {one.ref: one for one in Feature.objects.filter(club=club).exclude(ref="")}
    for job in all_jobs():
        if job.started_on is None:
            continue
        for ref in job.features:
            set_feature_state(
                feature=features[ref],
                state=FEATURE_STATE[ItemState(job.state)],
                on=job.finished_on or job.started_on,
                by=by,
            )


def pay(items: dict[str, Item], by: User) -> None:
    for name, day, words, amount in SPENDS:
        record_spend(
            item=items[name], spent_on=day, description=words, amount=Decimal(amount), by=by
        )
