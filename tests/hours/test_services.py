from __future__ import annotations

import uuid
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from tests.hours.conftest import TODAY, Site
from worksprog.clubs.models import Change
from worksprog.hours.models import HourEntry
from worksprog.hours.services import (
    Worked,
    approve_hours,
    correct_approved,
    correct_hours,
    log_sheet,
    query_hours,
    withdraw_hours,
)
from worksprog.works.services import create_item, create_phase, create_programme, create_project

STATE = HourEntry.State


def test_logged_once_however_often_it_is_sent(site: Site) -> None:
    number = uuid.uuid4()
    first = site.log(client_id=number, hours="6.5", quantity=24, ground="dry")
    again = site.log(client_id=number, hours="6.5", quantity=24, ground="dry")
    assert first.pk == again.pk
    assert HourEntry.objects.get().hours == Decimal("6.5")
    assert Change.objects.filter(kind="hourentry").count() == 1


def test_a_number_of_another_person_is_refused(site: Site) -> None:
    number = uuid.uuid4()
    site.log(client_id=number)
    with pytest.raises(ValidationError, match="another person"):
        site.log(site.cast.other_staff, client_id=number)
    assert HourEntry.objects.count() == 1


@pytest.mark.parametrize("hours", ["0", "0.25", "7.3", "24.5", "-1", "much", "NaN", "inf", ""])
def test_hours_go_in_half_steps_within_a_day(site: Site, hours: str) -> None:
    with pytest.raises(ValidationError) as caught:
        site.log(hours=hours)
    assert "hours" in caught.value.message_dict
    assert not HourEntry.objects.exists()


def test_a_day_has_24_hours_in_all(site: Site) -> None:
    site.log(hours=14)
    site.log(hours=10, routine="leaves")
    with pytest.raises(ValidationError, match=r"24\.5 h; 24 is the most"):
        site.log(hours=0.5, routine="mowing")
    site.log(hours=8, worked_on=TODAY - timedelta(days=1))
    site.log(site.cast.other_staff, hours=8)


def test_withdrawn_hours_make_room_again(site: Site) -> None:
    entry = site.log(hours=20)
    withdraw_hours(entry=entry, by=site.person())
    site.log(hours=20)


def test_a_day_to_come_is_refused_in_words(site: Site) -> None:
    with pytest.raises(ValidationError, match="25 Nov 2026 is still to come"):
        site.log(worked_on=TODAY + timedelta(days=1))


def test_the_club_own_day_counts(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("worksprog.clubs.models.Club.today", lambda club: date(2026, 11, 23))
    with pytest.raises(ValidationError, match="at the club it is 23 Nov 2026"):
        site.log(today=None)


def test_another_club_job_is_refused(site: Site) -> None:
    other = create_programme(
        club=site.cast.other_club,
        name="Theirs",
        starts_on=date(2026, 1, 1),
        ends_on=date(2027, 1, 1),
        by=site.cast.stranger,
    )
    project = create_project(programme=other, code="X", name="X", by=site.cast.stranger)
    phase = create_phase(project=project, name="X", by=site.cast.stranger)
    item = create_item(phase=phase, kind="path", name="Their path", by=site.cast.stranger)
    with pytest.raises(ValidationError, match="no such job"):
        site.log(item=item)


def test_a_job_or_routine_work_and_no_quantity_for_routine(site: Site) -> None:
    with pytest.raises(ValidationError, match="Choose a job"):
        site.log(item=None, routine="")
    with pytest.raises(ValidationError, match="Choose a job"):
        site.log(item=site.carrier, routine="leaves")
    with pytest.raises(ValidationError, match="no quantity"):
        site.log(routine="leaves", quantity=3)
    with pytest.raises(ValidationError):
        site.log(routine="gardening")


def test_a_quantity_of_more_than_twice_the_job_is_refused(site: Site) -> None:
    """180 m are planned: 360 at once may be a changed design, more is a slip."""
    first = site.log(hours=1, quantity=56)
    words = "planned 180 m, done so far 56 m, entered 999,999 m"
    with pytest.raises(ValidationError, match=words) as told:
        site.log(hours=1, quantity=999_999)
    assert list(told.value.error_dict) == ["quantity"]
    with pytest.raises(ValidationError, match=r"done so far 0 m, entered 360\.5 m"):
        correct_hours(entry=first, by=site.person(), hours=1, quantity=360.5, today=TODAY)
    correct_hours(entry=first, by=site.person(), hours=1, quantity=360, today=TODAY)
    approve_hours(club=site.cast.club, entries=[first], by=site.cast.manager)
    manager = site.person(site.cast.manager)
    with pytest.raises(ValidationError, match="more than twice the whole job"):
        correct_approved(entry=first, by=manager, hours=1, quantity=500, reason="x")
    with pytest.raises(ValidationError, match=r"Entry 1.*more than twice.*Nothing was logged"):
        log_sheet(
            club=site.cast.club,
            sheet=[_worked(site, quantity=361)],
            by=site.cast.staff,
            today=TODAY,
        )
    site.log(item=site.headwall, hours=1, quantity=999)
    assert HourEntry.objects.count() == 2


def test_correct_until_approved_and_only_by_the_one_who_logged(site: Site) -> None:
    entry = site.log(hours=8, quantity=20)
    correct_hours(entry=entry, by=site.person(), hours=7, quantity=24, today=TODAY)
    entry.refresh_from_db()
    assert (entry.hours, entry.quantity) == (Decimal("7.0"), 24)
    with pytest.raises(PermissionDenied):
        correct_hours(entry=entry, by=site.person(site.cast.other_staff), hours=1)
    with pytest.raises(PermissionDenied):
        withdraw_hours(entry=entry, by=site.person(site.cast.manager))
    assert approve_hours(club=site.cast.club, entries=[entry], by=site.cast.manager) == 1
    with pytest.raises(ValidationError, match="approved by now"):
        correct_hours(entry=entry, by=site.person(), hours=6)
    with pytest.raises(ValidationError, match="approved by now"):
        withdraw_hours(entry=entry, by=site.person())
    entry.refresh_from_db()
    assert entry.hours == 7


def test_a_correction_keeps_the_day_total(site: Site) -> None:
    entry = site.log(hours=10)
    site.log(hours=10, routine="leaves")
    with pytest.raises(ValidationError, match="24 is the most"):
        correct_hours(entry=entry, by=site.person(), hours=14.5, today=TODAY)
    correct_hours(entry=entry, by=site.person(), hours=14, today=TODAY)


def test_withdraw_twice_is_as_once(site: Site) -> None:
    entry = site.log()
    withdraw_hours(entry=entry, by=site.person())
    entry.refresh_from_db()
    assert withdraw_hours(entry=entry, by=site.person()).state == STATE.WITHDRAWN
    with pytest.raises(ValidationError, match="was withdrawn"):
        correct_hours(entry=entry, by=site.person(), hours=2)


def test_queried_does_not_count_until_put_right(site: Site) -> None:
    entry = site.log(hours=12)
    with pytest.raises(ValidationError, match="Say what"):
        query_hours(entry=entry, by=site.cast.manager, reason=" ")
    query_hours(entry=entry, by=site.cast.manager, reason="Twelve hours?")
    assert not HourEntry.objects.counted().exists()
    correct_hours(entry=entry, by=site.person(), hours=8, today=TODAY)
    again = HourEntry.objects.counted().get()
    assert (again.state, again.reason) == (STATE.LOGGED, "")


def test_approved_is_corrected_by_a_new_row_that_names_it(site: Site) -> None:
    entry = site.log(hours=8, quantity=30)
    with pytest.raises(ValidationError, match="Only what is approved"):
        correct_approved(
            entry=entry, by=site.person(site.cast.manager), hours=6, reason="Left at noon"
        )
    approve_hours(club=site.cast.club, entries=[entry], by=site.cast.manager)
    with pytest.raises(PermissionDenied):
        correct_approved(entry=entry, by=site.person(), hours=6, reason="Mine")
    row = correct_approved(
        entry=entry,
        by=site.person(site.cast.manager),
        hours=6,
        quantity=18,
        reason="Left at noon",
    )
    entry.refresh_from_db()
    assert (entry.hours, entry.quantity, entry.state) == (Decimal("8.0"), 30, STATE.APPROVED)
    assert row.corrects == entry
    assert [one.pk for one in HourEntry.objects.counted()] == [row.pk]
    with pytest.raises(ValidationError, match="corrected before"):
        correct_approved(
            entry=entry, by=site.person(site.cast.manager), hours=5, reason="Once more"
        )
    nothing = correct_approved(
        entry=row, by=site.person(site.cast.manager), hours=0, reason="Was not here"
    )
    assert HourEntry.objects.counted().get() == nothing


def test_approving_leaves_what_is_settled(site: Site) -> None:
    logged, gone = site.log(hours=1), site.log(hours=2)
    withdraw_hours(entry=gone, by=site.person())
    rows = list(HourEntry.objects.all())
    assert approve_hours(club=site.cast.club, entries=rows, by=site.cast.manager) == 1
    assert approve_hours(club=site.cast.club, entries=rows, by=site.cast.manager) == 0
    assert approve_hours(club=site.cast.other_club, entries=rows, by=site.cast.stranger) == 0
    logged.refresh_from_db()
    gone.refresh_from_db()
    assert (logged.state, gone.state) == (STATE.APPROVED, STATE.WITHDRAWN)
    with pytest.raises(ValidationError, match="approved by now"):
        query_hours(entry=logged, by=site.cast.manager, reason="Late thought")


def _worked(site: Site, **facts: Any) -> Worked:
    given: dict[str, Any] = {
        "person": site.person(),
        "client_id": uuid.uuid4(),
        "worked_on": TODAY,
        "hours": 8,
    }
    return Worked(**(given | ({} if "routine" in facts else {"item": site.carrier}) | facts))


def test_a_sheet_is_logged_at_once_and_once(site: Site, django_assert_max_num_queries: Any) -> None:
    sheet = [
        _worked(site, hours=4, worked_on=TODAY - timedelta(days=day), routine=kind)
        for day in range(30)
        for kind in ("leaves", "mowing")
    ]
    with django_assert_max_num_queries(12):
        made = log_sheet(club=site.cast.club, sheet=sheet, by=site.cast.staff, today=TODAY)
    assert len(made) == 60
    again = log_sheet(club=site.cast.club, sheet=sheet, by=site.cast.staff, today=TODAY)
    assert again == []
    assert HourEntry.objects.count() == 60
    assert Change.objects.get(kind="hourentry").details == {"count": 60}


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"hours": 7.3}, "half-hour steps"),
        ({"hours": 17}, "25 h; 24 is the most"),
        ({"worked_on": TODAY + timedelta(days=1)}, "still to come"),
        ({"routine": "leaves", "quantity": 3}, "no quantity"),
        ({"routine": "gardening"}, "not a valid choice"),
        ({"note": "n" * 501}, "500"),
    ],
)
def test_a_sheet_with_a_fault_logs_nothing(site: Site, facts: dict[str, Any], words: str) -> None:
    sheet = [_worked(site), _worked(site, **facts)]
    with pytest.raises(ValidationError, match=f"Entry 2, Sam Thorne.*{words}.*Nothing was logged"):
        log_sheet(club=site.cast.club, sheet=sheet, by=site.cast.staff, today=TODAY)
    assert not HourEntry.objects.exists()


def test_a_sheet_keeps_to_the_club_and_the_day_already_logged(site: Site) -> None:
    site.log(hours=20)
    with pytest.raises(ValidationError, match="24 is the most"):
        log_sheet(club=site.cast.club, sheet=[_worked(site)], by=site.cast.staff, today=TODAY)
    with pytest.raises(PermissionDenied):
        log_sheet(
            club=site.cast.other_club, sheet=[_worked(site)], by=site.cast.stranger, today=TODAY
        )
