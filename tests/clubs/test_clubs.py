from __future__ import annotations

import re
from typing import Any

import pytest
from django.core import mail
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse

from tests.cast import PASSWORD, Cast
from worksprog.clubs.models import Change, Club, Membership, Role, User
from worksprog.clubs.records import delete_record, save_record, save_records, update_records
from worksprog.clubs.services import add_member, change_member, start_club
from worksprog.course.models import Hole


def test_a_change_keeps_who_when_and_what(cast: Cast) -> None:
    hole = save_record(Hole(club=cast.club, number=4, par=4), by=cast.manager)
    hole.par = 5
    save_record(hole, by=cast.manager)
    change = Change.objects.filter(kind="hole", action="changed").get()
    assert change.by == cast.manager
    assert change.details == {"par": [4, 5]}
    assert change.record_uuid == hole.uuid
    delete_record(hole, by=cast.manager)
    removed = Change.objects.filter(kind="hole", action="removed").get()
    assert removed.details["par"] == 5


def test_saving_what_did_not_change_adds_no_record(cast: Cast) -> None:
    hole = save_record(Hole(club=cast.club, number=4), by=cast.manager)
    before = Change.objects.count()
    save_record(hole, by=cast.manager)
    assert Change.objects.count() == before


def test_a_row_that_breaks_a_rule_is_refused_whole(cast: Cast) -> None:
    with pytest.raises(ValidationError):
        save_record(Hole(club=cast.club, number=0), by=cast.manager)
    assert not Hole.objects.exists()
    assert not Change.objects.filter(kind="hole").exists()


def test_many_rows_are_one_change(cast: Cast) -> None:
    holes = save_records(
        [Hole(club=cast.club, number=n) for n in range(1, 19)], by=cast.manager, label="18 holes"
    )
    assert Change.objects.filter(kind="hole").get().details == {"count": 18}
    for hole in holes[:3]:
        hole.par = 3
    update_records(holes, fields=["par"], by=cast.manager, label="par of three holes")
    details = Change.objects.get(kind="hole", action="changed").details
    assert len(details) == 3
    assert details[str(holes[0].uuid)] == {"par": [4, 3]}


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("epsg", 4326, "not a projected grid in metres"),
        ("epsg", 999999, "999999"),
        ("time_zone", "Mars/Olympus", "not a time zone"),
        ("currency", "pounds", "Three letters"),
    ],
)
def test_a_club_refuses_settings_that_cannot_work(
    cast: Cast, field: str, value: object, words: str
) -> None:
    setattr(cast.club, field, value)
    with pytest.raises(ValidationError) as caught:
        cast.club.full_clean()
    assert words in str(caught.value)


def test_one_person_may_be_in_two_clubs(cast: Cast) -> None:
    add_member(
        club=cast.other_club,
        email=cast.staff.email.upper(),
        first_name="x",
        last_name="y",
        role=Role.COMMITTEE,
        by=cast.stranger,
    )
    assert User.objects.filter(email=cast.staff.email).count() == 1
    assert cast.staff.memberships.count() == 2
    client = Client()
    client.force_login(cast.staff, backend="django.contrib.auth.backends.ModelBackend")
    page = client.get("/").content.decode()
    assert "First Club" in page
    assert "Second Club" in page


def test_the_last_manager_cannot_go(cast: Cast) -> None:
    with pytest.raises(ValidationError, match="at least one course manager"):
        change_member(
            membership=cast.membership(cast.manager),
            role=Role.STAFF,
            is_active=True,
            by=cast.manager,
        )


def test_a_closed_membership_opens_no_door(cast: Cast, as_staff: Client) -> None:
    Membership.objects.filter(user=cast.staff).update(is_active=False)
    assert as_staff.get("/c/first/").status_code == 404


def test_sign_in_and_out(cast: Cast, client: Client) -> None:
    page = client.post("/sign-in/", {"username": "Manager@First.example", "password": PASSWORD})
    assert page.status_code == 302
    assert client.session.get_expiry_age() > 60 * 24 * 3600
    client.post("/sign-out/")
    assert client.get("/c/first/club/").status_code == 302


def test_wrong_passwords_are_limited(cast: Cast, client: Client) -> None:
    codes = [
        client.post("/sign-in/", {"username": cast.staff.email, "password": "wrong"}).status_code
        for _ in range(9)
    ]
    assert codes[0] == 200
    assert codes[-1] == 429
    locked = client.post("/sign-in/", {"username": cast.staff.email, "password": PASSWORD})
    assert locked.status_code == 429
    other = client.post("/sign-in/", {"username": cast.manager.email, "password": PASSWORD})
    assert other.status_code == 302


def test_passwords_are_kept_by_argon2() -> None:
    from worksprog import settings

    assert settings.PASSWORD_HASHERS[0].endswith("Argon2PasswordHasher")


def test_a_new_person_chooses_a_password_by_link(cast: Cast, as_manager: Client) -> None:
    answer = as_manager.post(
        "/c/first/club/people/",
        {"email": "new@first.example", "first_name": "Nell", "last_name": "Ford", "role": "staff"},
    )
    assert answer.status_code == 302
    link = re.search(r"http://testserver(/password/\S+)", str(mail.outbox[0].body))
    assert link
    client = Client()
    choose = client.get(link.group(1), follow=True)
    done = client.post(
        choose.redirect_chain[-1][0],
        {"new_password1": "brook-and-clay-9", "new_password2": "brook-and-clay-9"},
    )
    assert done.status_code == 302
    assert User.objects.get(email="new@first.example").check_password("brook-and-clay-9")


def test_wrong_entries_are_kept_on_the_page(cast: Cast, as_manager: Client) -> None:
    answer = as_manager.post(
        "/c/first/club/people/",
        {"email": "not an address", "first_name": "Nell", "last_name": "Ford", "role": "staff"},
    )
    assert answer.status_code == 422
    assert "not an address" in answer.content.decode()
    assert "Nothing was saved" in answer.content.decode()


def test_club_settings_are_changed_and_recorded(cast: Cast, as_manager: Client) -> None:
    answer = as_manager.post(
        "/c/first/club/",
        {
            "name": "First Club",
            "epsg": 2157,
            "time_zone": "Europe/Dublin",
            "working_day_h": "7.5",
        },
    )
    assert answer.status_code == 302
    assert Club.objects.get(slug="first").epsg == 2157
    page = as_manager.get("/c/first/records/").content.decode()
    assert "grid (EPSG code): 27700 → 2157" in page


def test_a_club_is_started_whole_or_not_at_all(cast: Cast) -> None:
    with pytest.raises(ValidationError):
        start_club(name="Third", slug="third", manager=cast.manager, time_zone="Nowhere")
    assert not Club.objects.filter(slug="third").exists()


def test_nothing_there_is_said_in_the_programs_own_words(
    cast: Cast, as_staff: Client, settings: Any
) -> None:
    settings.DEBUG = True
    page = as_staff.get("/c/second/", headers={"accept": "text/html"})
    assert page.status_code == 404
    assert "No such sheet" in page.content.decode()
    assert "urlpatterns" not in page.content.decode()


def test_the_settings_say_how_good_a_place_is(cast: Cast, client: Client) -> None:
    client.force_login(cast.manager)
    text = client.get(reverse("club-settings", args=[cast.club.slug])).content.decode()
    assert "OSTN15" in text
    assert "National Grid" in text
