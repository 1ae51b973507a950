"""What the phone sends and what it is told."""

from __future__ import annotations

import json
import uuid
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import DatabaseError
from django.test import Client

from tests.hours.conftest import Site
from worksprog.hours.models import HourEntry
from worksprog.works.models import Consent
from worksprog.works.services import record_consent

ADDRESS = "/c/first/hours/intake/"


class Phone:
    def __init__(self, site: Site, client: Client) -> None:
        self.site, self.client = site, client

    def entry(self, **facts: Any) -> dict[str, Any]:
        given = {
            "op": "log",
            "client_id": str(uuid.uuid4()),
            "item": str(self.site.carrier.uuid),
            "routine": "",
            "worked_on": self.site.cast.club.today().isoformat(),
            "hours": 6.5,
            "quantity": 24,
            "ground": "dry",
            "note": "",
        }
        return given | facts

    def send(self, *entries: Any, who: str = "staff@first.example") -> Any:
        body = json.dumps({"who": who, "entries": entries})
        return self.client.post(ADDRESS, body, content_type="application/json")

    def answers(self, *entries: Any) -> list[dict[str, str]]:
        answer = self.send(*entries)
        assert answer.status_code == 200, answer.content
        return answer.json()["answers"]


@pytest.fixture
def phone(site: Site, as_staff: Client) -> Phone:
    return Phone(site, as_staff)


def test_a_consent_not_in_force_is_a_caution_of_its_job(phone: Phone) -> None:
    carrier = phone.site.carrier
    record_consent(
        consent=Consent(club=phone.site.cast.club, item=carrier, name="Brook consent"), by=None
    )
    data = phone.client.get("/c/first/hours/").context["data"]
    job = next(one for one in data["jobs"] if one["uuid"] == str(carrier.uuid))
    told = data["cautions"][job["cautions"][0]]
    assert told["title"] == "Brook consent, not in force"
    assert "is not granted; work before it may be unlawful" in told["text"]
    assert [one for one in data["jobs"] if job["cautions"][0] in one["cautions"]] == [job]


def test_each_is_answered_by_itself_and_resent_is_kept(phone: Phone) -> None:
    good, bad = phone.entry(), phone.entry(hours=30)
    first = phone.answers(good, bad)
    assert [one["answer"] for one in first] == ["kept", "refused"]
    assert (first[1]["field"], first[1]["client_id"]) == ("hours", bad["client_id"])
    assert "from 0.5 to 24" in first[1]["why"]
    assert phone.answers(good)[0]["answer"] == "kept"
    entry = HourEntry.objects.get()
    assert (entry.hours, entry.quantity, str(entry.client_id)) == (
        Decimal("6.5"),
        24,
        good["client_id"],
    )


def test_log_correct_and_withdraw_in_their_order(phone: Phone) -> None:
    first, second = phone.entry(), phone.entry(item="", routine="leaves", quantity=0, ground="")
    correct = phone.entry(op="correct", entry=first["client_id"], hours=7, quantity=20)
    withdraw = {"op": "withdraw", "client_id": str(uuid.uuid4()), "entry": second["client_id"]}
    answers = phone.answers(first, second, correct, withdraw)
    assert {one["answer"] for one in answers} == {"kept"}
    assert phone.answers(first, second, correct, withdraw) == answers
    assert HourEntry.objects.get(item=phone.site.carrier).hours == 7
    assert HourEntry.objects.get(routine="leaves").state == "withdrawn"


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"op": "erase"}, "Expected log, correct or withdraw"),
        ({"client_id": "one"}, "number of the entry"),
        ({"item": str(uuid.UUID(int=1))}, "no longer in the programme"),
        ({"item": "x"}, "number of the job"),
        ({"item": "", "routine": "gardening", "quantity": None}, "not a valid choice"),
        ({"worked_on": "yesterday"}, "Expected a day"),
        ({"worked_on": "2020-01-01"}, "more than 60 days ago"),
        ({"worked_on": "2199-01-01"}, "still to come"),
        ({"quantity": "lots"}, "quantity is a number"),
        ({"quantity": -3}, "from 0 to"),
        ({"quantity": float("nan")}, "from 0 to"),
        ({"quantity": True}, "quantity is a number"),
        ({"hours": None}, "number"),
        ({"hours": [1]}, "number"),
        ({"ground": "frozen"}, "not a valid choice"),
        ({"note": "n" * 501}, "500"),
        ({"op": "correct", "entry": str(uuid.UUID(int=2))}, "never logged"),
        ({"op": "withdraw"}, "number of the entry"),
    ],
)
def test_nonsense_is_refused_in_words(phone: Phone, facts: dict[str, Any], words: str) -> None:
    (answer,) = phone.answers(phone.entry(**facts))
    assert answer["answer"] == "refused"
    assert words in answer["why"]
    assert not HourEntry.objects.exists()


def test_what_is_no_entry_at_all_is_refused(phone: Phone) -> None:
    assert [one["answer"] for one in phone.answers("x", None, 3, [])] == ["refused"] * 4
    for body in ("", "{", "[]", '{"entries": []}', '{"who": 1}'):
        answer = phone.client.post(ADDRESS, body, content_type="application/json")
        assert answer.status_code == 400
    assert phone.send(*[phone.entry()] * 51).status_code == 400
    assert not HourEntry.objects.exists()


def test_entries_of_another_person_on_the_phone_are_not_taken_for_mine(phone: Phone) -> None:
    answer = phone.send(phone.entry(), who="staff2@first.example")
    assert (answer.status_code, answer.json()["error"]) == (409, "Signed in as S. Thorne.")
    assert not HourEntry.objects.exists()


def test_only_the_one_who_logged_may_change(phone: Phone) -> None:
    entry = phone.site.log(phone.site.cast.other_staff)
    answer = phone.answers(phone.entry(op="correct", entry=str(entry.client_id)))[0]
    assert "Only the one who logged it" in answer["why"]


def test_a_busy_store_holds_the_rest_back(phone: Phone, monkeypatch: pytest.MonkeyPatch) -> None:
    """A change must not overtake the entry it changes."""

    def busy(**facts: Any) -> None:
        raise DatabaseError("database is locked")

    with monkeypatch.context() as patch:
        patch.setattr("worksprog.hours.intake.log_hours", busy)
        answers = phone.answers(phone.entry(), phone.entry(op="withdraw"))
    assert [one["answer"] for one in answers] == ["later", "later"]


def test_needs_the_token_and_a_session(site: Site) -> None:
    client = Client(enforce_csrf_checks=True)
    assert client.post(ADDRESS, "{}", content_type="application/json").status_code == 403
    client.force_login(site.cast.staff, backend="django.contrib.auth.backends.ModelBackend")
    assert client.post(ADDRESS, "{}", content_type="application/json").status_code == 403
    client.get("/c/first/hours/")
    token = client.cookies["csrftoken"].value
    answer = client.post(
        ADDRESS,
        json.dumps({"who": site.cast.staff.email, "entries": []}),
        content_type="application/json",
        headers={"x-csrftoken": token},
    )
    assert answer.status_code == 200


def test_page_worker_and_manifest(phone: Phone) -> None:
    page = phone.client.get("/c/first/hours/")
    assert page["Cache-Control"].startswith("max-age=0, no-cache, no-store")
    data = page.context["data"]
    assert [job["name"] for job in data["jobs"] if job["today"]] == ["Lay carrier C2–C3"]
    assert data["workingDay"] == 8.0
    assert "trench" in data["cautions"]
    worker = phone.client.get("/c/first/hours/worker.js")
    assert worker["Content-Type"].startswith("text/javascript")
    assert "no-store" in worker["Cache-Control"]
    assert '"page": "/c/first/hours/"' in worker.content.decode()
    assert "/static/js/hours-phone.js" in worker.content.decode()
    manifest = phone.client.get("/c/first/hours/hours.webmanifest")
    assert manifest["Content-Type"] == "application/manifest+json"
    assert manifest.json()["start_url"] == "/c/first/hours/"


def test_jobs_of_these_days_come_first_with_who_is_on_them(phone: Phone) -> None:
    site, today = phone.site, phone.site.cast.club.today()
    day = today - timedelta(days=1)
    site.log(site.cast.other_staff, worked_on=day, quantity=24, today=today)
    site.log(item=site.tee, worked_on=day, hours=2, today=today)
    jobs = phone.client.get("/c/first/hours/").context["data"]["jobs"]
    by_name = {job["name"]: job for job in jobs}
    assert [job["name"] for job in jobs][:2] == ["Rebuild tee 8", "Lay carrier C2–C3"]
    carrier = by_name["Lay carrier C2–C3"]
    assert (carrier["where"], carrier["progress"], carrier["last"]) == (
        "with A. Wick",
        "24 of 180 m done",
        24,
    )
    assert not by_name["Headwall O2"]["today"]


def test_what_is_left_of_a_job_is_told_with_every_answer(phone: Phone) -> None:
    carrier = str(phone.site.carrier.uuid)
    phone.site.log(phone.site.cast.other_staff, quantity=24)
    data = phone.client.get("/c/first/hours/").context["data"]
    planned = {job["uuid"]: job["planned"] for job in data["jobs"]}
    assert planned[carrier] == 180
    assert planned[str(phone.site.headwall.uuid)] is None
    assert data["recent"]["done"] == {carrier: 24}
    assert phone.send(phone.entry(quantity=30)).json()["recent"]["done"] == {carrier: 54}
    answer = phone.answers(phone.entry(quantity=400))[0]
    assert (answer["answer"], answer["field"]) == ("refused", "quantity")
