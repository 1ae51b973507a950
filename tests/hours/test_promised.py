"""Promised against measured by the crew's log, and the log's figures beside a promise."""

from __future__ import annotations

import csv
import html
import io
import json
import re
from datetime import date, timedelta

import pytest
from django.test import Client
from django.urls import reverse
from shapely.geometry import box

from tests.cast import Cast
from tests.hours.conftest import TODAY, Site
from worksprog.calc.worth import Claim
from worksprog.clubs.records import save_record
from worksprog.course.models import Feature, Kind
from worksprog.hours.models import HourEntry, RoutineKind
from worksprog.hours.queries.promised import measured_promises, reckoned_from_log
from worksprog.works.models import Benefit, Item, ItemState
from worksprog.works.services import create_item
from worksprog.works.services.worth import keep_promise

BEGAN, FINISHED = date(2025, 9, 1), date(2025, 9, 26)


def log_weeks(site: Site, first: date, last: date, hours: dict[str, float]) -> None:
    """One entry of each kind on every Monday, put in at once."""
    person = site.person()
    rows = []
    monday = first - timedelta(days=first.weekday())
    while monday <= last:
        for kind, amount in hours.items():
            if amount:
                rows.append(
                    HourEntry(
                        club=site.cast.club,
                        person=person,
                        routine=kind,
                        worked_on=monday,
                        hours=amount,
                    )
                )
        monday += timedelta(weeks=1)
    HourEntry.objects.bulk_create(rows)


def finish(item: Item, site: Site, *, weeks: int = 0) -> None:
    item.state, item.started_on, item.finished_on = ItemState.DONE, BEGAN, FINISHED
    item.growing_in_weeks = weeks
    save_record(item, by=site.cast.manager)


def promise(site: Site, what: str = "bunkers", item: Item | None = None, **facts) -> Benefit:
    given = {
        "project": site.tee.phase.project,
        "item": item,
        "what": what,
        "words": "by area",
        "hours_low": 150,
        "hours_likely": 200,
        "hours_high": 250,
        "promised_on": date(2025, 6, 1),
    }
    return keep_promise(
        benefit=Benefit(club=site.cast.club, **(given | facts)), by=site.cast.manager
    )


def a_year_each(site: Site) -> None:
    """12 h a week of bunkers before, 8 h since; the rest of the day is mowing."""
    log_weeks(site, date(2024, 9, 2), date(2025, 8, 31), {"bunkers": 12, "mowing": 8})
    log_weeks(site, date(2025, 9, 1), date(2026, 11, 16), {"bunkers": 8, "mowing": 8})


def test_measured_against_promised(site: Site) -> None:
    finish(site.tee, site)
    promise(site, item=site.tee)
    a_year_each(site)
    (found,) = measured_promises(site.cast.club, TODAY)
    measured = found.measured
    assert measured is not None
    assert found.stands_from == date(2025, 9, 27)
    assert measured.claim is Claim.INDICATION
    assert len(measured.weeks) == 52
    assert measured.fewer_h == pytest.approx(4 * 52)
    assert measured.promised_h.likely == pytest.approx(200)
    assert measured.kept == "in keeping with the promise"
    assert found.crowded_out == 0


def test_hours_left_for_the_works_are_pointed_out(site: Site) -> None:
    finish(site.tee, site)
    promise(site, item=site.tee)
    a_year_each(site)
    person = site.person(site.cast.other_staff)
    HourEntry.objects.bulk_create(
        HourEntry(
            club=site.cast.club,
            person=person,
            item=site.carrier,
            worked_on=date(2026, 3, 2) + timedelta(weeks=n),
            hours=10,
        )
        for n in range(20)
    )
    (found,) = measured_promises(site.cast.club, TODAY)
    assert found.crowded_out == pytest.approx(200)


def test_queried_hours_are_left_out(site: Site) -> None:
    finish(site.tee, site)
    promise(site, item=site.tee)
    a_year_each(site)
    HourEntry.objects.filter(routine="bunkers", worked_on__gte=BEGAN).update(state="queried")
    (found,) = measured_promises(site.cast.club, TODAY)
    assert found.measured is not None
    assert found.measured.after_h == 0


def test_promises_of_one_kind_are_measured_together(site: Site) -> None:
    """The second stands for half of the days since the first: it counts by half."""
    finish(site.tee, site)
    promise(site, item=site.tee)
    days = (TODAY - date(2025, 9, 27)).days + 1
    later = TODAY + timedelta(days=1) - timedelta(days=days // 2)
    promise(site, item=site.tee, begins_on=later)
    a_year_each(site)
    (found,) = measured_promises(site.cast.club, TODAY)
    assert found.promised.likely == pytest.approx(200 * (1 + (days // 2) / days))


def test_what_is_not_done_is_not_measured(site: Site) -> None:
    promise(site, item=site.tee)
    promise(site, "other", item=site.headwall)
    a_year_each(site)
    bunkers, other = measured_promises(site.cast.club, TODAY)
    assert bunkers.measured is None
    assert bunkers.why_not == "No work that promises it is in play yet."
    assert other.why_not.startswith("No kind of routine work in the log tells of it")


def test_a_promise_of_a_project_waits_for_its_last_job(site: Site) -> None:
    finish(site.tee, site)
    promise(site)
    a_year_each(site)
    (found,) = measured_promises(site.cast.club, TODAY)
    assert found.measured is None
    for item in (site.carrier, site.headwall):
        finish(item, site)
    (found,) = measured_promises(site.cast.club, TODAY)
    assert found.measured is not None


def test_without_a_log_nothing_is_claimed(site: Site) -> None:
    finish(site.tee, site)
    promise(site, item=site.tee)
    (found,) = measured_promises(site.cast.club, TODAY)
    assert found.measured is not None
    assert found.measured.why == "No hours were logged before the works began."


def test_the_page_and_its_csv(site: Site, cast: Cast, as_committee: Client) -> None:
    address = reverse("hours:promises", args=[cast.club.slug])
    assert b"No work of the club has promised anything yet" in as_committee.get(address).content
    finish(site.tee, site)
    promise(site, item=site.tee)
    a_year_each(site)
    text = as_committee.get(address).content.decode()
    assert "An indication, not yet a claim: in keeping with the promise." in text
    assert "It rests on 1 season before and 1.2 seasons after." in text
    assert "wet ground by hand" not in text
    answer = as_committee.get(reverse("hours:promises-csv", args=[cast.club.slug]))
    (header, row) = csv.reader(io.StringIO(answer.content.decode("utf-8-sig")))
    assert len(header) == len(row)
    assert dict(zip(header, row, strict=True))["hours fewer"] == "208.0"


def test_the_staff_do_not_see_it(cast: Cast, as_staff: Client) -> None:
    assert as_staff.get(reverse("hours:promises", args=[cast.club.slug])).status_code == 403


def wood(cast: Cast, ref: str, stems: int) -> Feature:
    row = Feature(club=cast.club, kind=Kind.WOOD, ref=ref, geometry=box(0, 0, 50, 40), stems=stems)
    return save_record(row, by=cast.manager)


def bunker(cast: Cast, ref: str, area: float, state: str = "existing") -> Feature:
    row = Feature(
        club=cast.club, kind=Kind.BUNKER, ref=ref, geometry=box(0, 0, 10, area / 10), state=state
    )
    return save_record(row, by=cast.manager)


def test_figures_of_the_log_beside_a_promise(site: Site, cast: Cast, as_manager: Client) -> None:
    project, by = site.tee.phase.project, cast.manager
    one, _ = wood(cast, "W1", 100), wood(cast, "W2", 300)
    filled, _ = bunker(cast, "B1", 60), bunker(cast, "B2", 240)
    made = bunker(cast, "B3", 20, "proposed")
    create_item(
        phase=site.tee.phase, kind="tree_thinning", name="Thin", features=[one], by=by,
        parameters={"stems": 40},
    )  # fmt: skip
    create_item(phase=site.tee.phase, kind="bunker_filled", name="Fill", features=[filled], by=by)
    create_item(phase=site.tee.phase, kind="bunker_new", name="New", features=[made], by=by)
    log_weeks(
        site, date(2025, 12, 1), date(2026, 11, 16), {"leaves": 5, "bunkers": 6, "wet_ground": 2}
    )
    found, weeks = reckoned_from_log(project, TODAY)
    assert weeks == 51
    by_what = {row.what: row for row in found}
    leaves = by_what["leaves"].hours
    assert leaves is not None
    assert (leaves.low, leaves.likely, leaves.high) == pytest.approx(
        [share * 51 * 5 * 40 / 400 for share in (0.5, 1, 1.5)]
    )
    bunkers = by_what["bunkers"].hours
    assert bunkers is not None
    assert bunkers.likely == pytest.approx(51 * 6 * (60 - 20) / 300)
    assert by_what["wet_ground"].hours is None
    assert by_what["wet_ground"].year_h == 102
    address = reverse("hours:routine-figures", args=[cast.club.slug, project.uuid])
    text = as_manager.get(address).content.decode()
    fields = [json.loads(html.unescape(one)) for one in re.findall(r'data-take="([^"]*)"', text)]
    assert {one["what"]: one["hours_likely"] for one in fields}["leaves"] == 25.5


def test_without_stems_the_wooded_ground_is_told(site: Site, cast: Cast) -> None:
    one, _ = wood(cast, "W1", 100), wood(cast, "W2", 300)
    create_item(
        phase=site.tee.phase, kind="tree_thinning", name="Thin", features=[one], by=cast.manager
    )
    log_weeks(site, date(2025, 12, 1), date(2026, 11, 16), {"leaves": 5})
    found, _ = reckoned_from_log(site.tee.phase.project, TODAY)
    leaves = next(row for row in found if row.what == "leaves")
    assert leaves.hours is None
    assert "on 2,000 m² of wood of 4,000 m² on the course" in leaves.words


def test_new_bunkers_bring_hours(site: Site, cast: Cast) -> None:
    bunker(cast, "B1", 100)
    made = bunker(cast, "B2", 50, "proposed")
    create_item(
        phase=site.tee.phase, kind="bunker_new", name="New", features=[made], by=cast.manager
    )
    log_weeks(site, date(2025, 12, 1), date(2026, 11, 16), {"bunkers": 10})
    (row, *_), _ = reckoned_from_log(site.tee.phase.project, TODAY)
    assert row.hours is not None
    assert row.hours.low < row.hours.likely < row.hours.high < 0


def test_an_empty_log_says_so(site: Site, cast: Cast, as_manager: Client) -> None:
    address = reverse("hours:routine-figures", args=[cast.club.slug, site.tee.phase.project.uuid])
    assert b"Nothing is logged in the last 52 weeks" in as_manager.get(address).content


def test_wet_ground_is_logged_on_the_phone(site: Site) -> None:
    entry = site.log(routine=RoutineKind.WET_GROUND)
    assert entry.what == "wet ground by hand"
