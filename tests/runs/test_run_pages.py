"""The pages of a club's long jobs, and the one address that is open to whoever watches the service."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import DatabaseError, connection
from django.test import Client
from django.urls import reverse

from tests.cast import Cast
from tests.runs import jobs  # noqa: F401 - registers the jobs
from tests.runs.test_runs import ask, hold
from worksprog.runs import health, services
from worksprog.runs.models import Run, RunState

pytestmark = pytest.mark.django_db


def at(name: str, run: Run) -> str:
    assert run.club is not None
    return reverse(f"runs:{name}", args=[run.club.slug, run.uuid])


def test_the_page_of_a_run_at_work(cast: Cast, as_committee: Client) -> None:
    run = ask(cast, "tests.adds", numbers=[1])
    hold(run, percent=40, words="Drawing the map")
    page = as_committee.get(at("run", run)).content.decode()
    assert "Adding up" in page
    assert "Drawing the map" in page
    assert '<progress max="100" value="40"' in page
    assert "js/run.js" in page
    assert "<script>" not in page and " style=" not in page
    facts = as_committee.get(at("state", run)).json()
    assert (facts["percent"], facts["ended"], facts["mayCancel"]) == (40, False, False)


def test_the_page_of_a_run_that_is_done_asks_no_more(cast: Cast, as_manager: Client) -> None:
    run = ask(cast, "tests.adds", numbers=[2, 2])
    services.perform_run(run.uuid)
    page = as_manager.get(at("run", run)).content.decode()
    assert "The sum is 4." in page
    assert "js/run.js" not in page


@pytest.mark.parametrize(
    ("address", "shown"),
    [
        ("/c/first/reports/", "/c/first/reports/"),
        ("https://elsewhere.example/", ""),
        ("//elsewhere.example/", ""),
        ("/c/second/reports/", ""),
    ],
)
def test_an_outcome_leads_only_to_the_clubs_own_pages(
    cast: Cast, as_manager: Client, address: str, shown: str
) -> None:
    run = ask(cast, "tests.adds", numbers=[1])
    services.perform_run(run.uuid)
    Run.objects.update(outcome={"address": address})
    assert as_manager.get(at("state", run)).json()["address"] == shown


def test_what_failed_is_told(cast: Cast, as_manager: Client) -> None:
    run = ask(cast, "tests.refuses")
    services.perform_run(run.uuid)
    page = as_manager.get(at("run", run)).content.decode()
    assert "The survey has no levels; import one first." in page
    assert "failed" in page


def test_a_manager_cancels(cast: Cast, as_manager: Client) -> None:
    run = ask(cast, "tests.adds", numbers=[1])
    answer = as_manager.post(at("cancel", run), follow=True)
    assert "nothing was changed by it" in answer.content.decode()
    run.refresh_from_db()
    assert (run.state, run.cancel_asked_by) == (RunState.CANCELLED, cast.manager)
    assert "ended already" in as_manager.post(at("cancel", run), follow=True).content.decode()


def test_cancelling_one_at_work_says_when_it_stops(cast: Cast, as_manager: Client) -> None:
    run = ask(cast, "tests.adds", numbers=[1])
    hold(run)
    page = as_manager.post(at("cancel", run), follow=True).content.decode()
    assert "It stops at its next step." in page
    assert "stopping at its next step" in page


def test_the_committee_reads_but_does_not_cancel(cast: Cast, as_committee: Client) -> None:
    run = ask(cast, "tests.adds", numbers=[1])
    assert as_committee.get(at("run", run)).status_code == 200
    assert as_committee.post(at("cancel", run)).status_code == 403


def test_another_clubs_run_is_not_there(cast: Cast, as_stranger: Client) -> None:
    run = ask(cast, "tests.adds", numbers=[1])
    elsewhere = reverse("runs:run", args=[cast.other_club.slug, run.uuid])
    assert as_stranger.get(elsewhere).status_code == 404
    assert as_stranger.get(at("state", run)).status_code == 404


def test_the_list_is_paged_and_its_queries_do_not_grow(
    cast: Cast, as_manager: Client, django_assert_max_num_queries: Any
) -> None:
    address = reverse("runs:list", args=[cast.club.slug])
    assert "No long job has been asked for yet" in as_manager.get(address).content.decode()
    for _ in range(35):
        ask(cast, "tests.adds", numbers=[1])
    with django_assert_max_num_queries(15):
        page = as_manager.get(address).content.decode()
    assert page.count("Adding up") == 30
    assert "page 1 of 2" in page
    assert as_manager.get(address, {"page": 2}).content.decode().count("Adding up") == 5


def test_health_is_open_and_tells_nothing_else(client: Client) -> None:
    answer = client.get(reverse("health"))
    assert answer.status_code == 200
    assert answer.json() == {"database": "answers", "broker": "answers"}


def test_health_tells_of_a_broker_that_is_away(client: Client, settings: Any) -> None:
    settings.CELERY_BROKER_TRANSPORT_OPTIONS = {"data_folder_in": "/nowhere/at/all"}
    settings.CELERY_BROKER_URL = "filesystem://"
    answer = client.get(reverse("health"))
    assert answer.status_code == 503
    assert answer.json()["broker"] == "does not answer"


def test_health_tells_of_a_database_that_is_away(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    def is_away() -> Any:
        raise DatabaseError("server closed the connection")

    monkeypatch.setattr(connection, "cursor", is_away)
    assert health.database_answers() is False
    monkeypatch.undo()
    assert health.database_answers() is True
