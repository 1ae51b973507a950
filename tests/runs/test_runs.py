"""The life of a run, without a worker: what each step does to the row."""

from __future__ import annotations

import datetime
import logging
import uuid
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone
from kombu.exceptions import OperationalError

from tests.cast import Cast
from tests.runs import jobs  # noqa: F401 - registers the jobs
from worksprog.runs import registry, services
from worksprog.runs.models import Run, RunState
from worksprog.runs.progress import Cancelled, Progress, Superseded

pytestmark = pytest.mark.django_db


def ask(cast: Cast, kind: str, **inputs: Any) -> Run:
    return services.request_run(club=cast.club, kind=kind, inputs=inputs, by=cast.manager)


def hold(run: Run, *, seconds_ago: float = 0, attempts: int = 1, **facts: Any) -> uuid.UUID:
    """Make the row look as a worker leaves it whose last sign of life was so long ago."""
    claim = uuid.uuid4()
    Run.objects.filter(pk=run.pk).update(
        state=RunState.RUNNING,
        claim=claim,
        attempts=attempts,
        heartbeat_at=timezone.now() - datetime.timedelta(seconds=seconds_ago),
        **facts,
    )
    return claim


def test_asked_and_done(cast: Cast, django_capture_on_commit_callbacks: Any) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        run = ask(cast, "tests.adds", numbers=[2, 3])
        assert run.state == RunState.QUEUED
    run.refresh_from_db()
    assert (run.state, run.percent, run.attempts) == (RunState.DONE, 100, 1)
    assert run.outcome == {"sum": 5, "words": "The sum is 5."}
    assert run.asked_by == cast.manager
    assert run.started_at and run.ended_at
    assert run.asked_at <= run.started_at <= run.ended_at
    assert run.claim is None
    assert run.title == "Adding up"


def test_a_request_rolled_back_sends_nothing(
    cast: Cast, django_capture_on_commit_callbacks: Any
) -> None:
    with (
        django_capture_on_commit_callbacks(execute=True) as sent,
        pytest.raises(ZeroDivisionError),
        transaction.atomic(),
    ):
        ask(cast, "tests.adds", numbers=[1])
        raise ZeroDivisionError
    assert sent == []
    assert not Run.objects.exists()


def test_an_unknown_kind_is_refused_before_a_row_is_written(cast: Cast) -> None:
    with pytest.raises(registry.UnknownJob, match=r"tests\.nothing"):
        ask(cast, "tests.nothing")
    assert not Run.objects.exists()


def test_two_functions_cannot_claim_one_kind() -> None:
    with pytest.raises(ValueError, match="Two functions"):

        @registry.job("tests.adds")
        def another(progress: Progress) -> None:
            """Another."""


def test_a_message_that_comes_twice_does_nothing_more(cast: Cast) -> None:
    run = ask(cast, "tests.adds", numbers=[2])
    services.perform_run(run.uuid)
    services.perform_run(run.uuid)
    run.refresh_from_db()
    assert run.attempts == 1


def test_a_run_at_work_is_left_to_its_worker(cast: Cast) -> None:
    run = ask(cast, "tests.adds", numbers=[2])
    claim = hold(run)
    services.perform_run(run.uuid)
    run.refresh_from_db()
    assert (run.state, run.claim) == (RunState.RUNNING, claim)


def test_a_message_for_a_row_that_is_gone(cast: Cast) -> None:
    services.perform_run(uuid.uuid4())
    assert not Run.objects.exists()


def test_a_job_that_refuses_tells_its_words(cast: Cast) -> None:
    run = ask(cast, "tests.refuses")
    services.perform_run(run.uuid)
    run.refresh_from_db()
    assert run.state == RunState.FAILED
    assert run.error == "The survey has no levels; import one first."


@pytest.mark.parametrize("kind", ["tests.faults", "tests.faults_badly"])
def test_a_fault_is_kept_in_the_log_not_shown(
    cast: Cast, kind: str, caplog: pytest.LogCaptureFixture
) -> None:
    run = ask(cast, kind)
    with caplog.at_level(logging.ERROR):
        services.perform_run(run.uuid)
    run.refresh_from_db()
    assert run.state == RunState.FAILED
    assert "not for the person" not in run.error
    assert str(run.uuid) in caplog.text
    assert caplog.records[0].exc_info


def test_a_kind_that_a_newer_release_dropped_fails_in_words(cast: Cast) -> None:
    run = Run.objects.create(club=cast.club, kind="tests.dropped")
    services.perform_run(run.uuid)
    run.refresh_from_db()
    assert run.state == RunState.FAILED
    assert "tests.dropped" in run.error
    assert run.title == "tests.dropped"


def test_cancelled_while_waiting(cast: Cast) -> None:
    run = services.cancel_run(run=ask(cast, "tests.adds", numbers=[1]), by=cast.manager)
    assert run.state == RunState.CANCELLED
    assert (run.cancel_asked_by, run.started_at) == (cast.manager, None)
    services.perform_run(run.uuid)
    run.refresh_from_db()
    assert (run.state, run.attempts) == (RunState.CANCELLED, 0)


def test_cancelled_at_work_is_told_at_the_next_word(cast: Cast) -> None:
    run = ask(cast, "tests.adds", numbers=[1])
    claim = hold(run)
    progress = Progress(run, claim=claim)
    run = services.cancel_run(run=run, by=cast.manager)
    assert (run.state, run.cancel_asked) == (RunState.RUNNING, True)
    with pytest.raises(Cancelled):
        progress(20, "Next step")


def test_cancelling_what_has_ended_changes_nothing(cast: Cast) -> None:
    run = ask(cast, "tests.adds", numbers=[1])
    services.perform_run(run.uuid)
    run = services.cancel_run(run=run, by=cast.manager)
    assert (run.state, run.cancel_asked) == (RunState.DONE, False)


def test_progress_is_written_and_kept_in_bounds(cast: Cast) -> None:
    run = ask(cast, "tests.adds", numbers=[1])
    progress = Progress(run, claim=hold(run, seconds_ago=30))
    progress(140, "x" * 500)
    run.refresh_from_db()
    assert (run.percent, run.words) == (100, "x" * 200)
    assert run.heartbeat_at is not None
    assert timezone.now() - run.heartbeat_at < datetime.timedelta(seconds=10)
    progress(3, "Too soon after the last")
    run.refresh_from_db()
    assert run.percent == 100


def test_a_worker_given_up_for_dead_cannot_write(cast: Cast) -> None:
    run = ask(cast, "tests.adds", numbers=[1])
    progress = Progress(run, claim=hold(run))
    hold(run, words="the second worker")
    with pytest.raises(Superseded):
        progress(90, "the first worker")
    run.refresh_from_db()
    assert run.words == "the second worker"


class Sent(list[str]):
    """The runs that a worker was told of."""


@pytest.fixture
def sent(monkeypatch: pytest.MonkeyPatch) -> Sent:
    messages = Sent()
    monkeypatch.setattr(
        "worksprog.runs.tasks.perform.apply_async", lambda args: messages.append(args[0])
    )
    return messages


def test_a_sweep_takes_up_a_dead_workers_run(cast: Cast, sent: Sent) -> None:
    dead, alive = ask(cast, "tests.adds", numbers=[1]), ask(cast, "tests.adds", numbers=[1])
    hold(dead, seconds_ago=3600)
    hold(alive, seconds_ago=5)
    swept = services.sweep_runs()
    assert (swept.requeued, swept.failed, swept.sent_again) == (1, 0, 0)
    assert sent == [str(dead.uuid)]
    dead.refresh_from_db()
    assert (dead.state, dead.claim) == (RunState.QUEUED, None)
    services.perform_run(dead.uuid)
    dead.refresh_from_db()
    assert (dead.state, dead.attempts) == (RunState.DONE, 2)
    assert services.sweep_runs() == services.Swept(0, 0, 0, 0)


def test_the_third_death_is_the_last(cast: Cast, sent: Sent) -> None:
    run = ask(cast, "tests.adds", numbers=[1])
    hold(run, seconds_ago=3600, attempts=3)
    assert services.sweep_runs().failed == 1
    run.refresh_from_db()
    assert run.state == RunState.FAILED
    assert "3 times" in run.error
    assert sent == []


def test_a_dead_workers_run_that_was_to_be_cancelled_is(cast: Cast, sent: Sent) -> None:
    run = ask(cast, "tests.adds", numbers=[1])
    hold(run, seconds_ago=3600, cancel_asked=True)
    assert services.sweep_runs().cancelled == 1
    run.refresh_from_db()
    assert run.state == RunState.CANCELLED
    assert sent == []


def test_a_lost_message_is_sent_again(cast: Cast, sent: Sent) -> None:
    run = ask(cast, "tests.adds", numbers=[1])
    assert services.sweep_runs().sent_again == 0
    Run.objects.update(sent_at=timezone.now() - datetime.timedelta(hours=1))
    assert services.sweep_runs().sent_again == 1
    assert services.sweep_runs().sent_again == 0
    assert sent == [str(run.uuid)]


def test_a_broker_that_is_down_loses_nothing(
    cast: Cast, monkeypatch: pytest.MonkeyPatch, django_capture_on_commit_callbacks: Any
) -> None:
    def is_down(args: list[str]) -> None:
        raise OperationalError("connection refused")

    monkeypatch.setattr("worksprog.runs.tasks.perform.apply_async", is_down)
    with django_capture_on_commit_callbacks(execute=True):
        run = ask(cast, "tests.adds", numbers=[1])
    run.refresh_from_db()
    assert run.state == RunState.QUEUED


def test_a_worker_told_to_stop_puts_its_run_back(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    def is_stopped(progress: Progress) -> None:
        raise SystemExit

    run = ask(cast, "tests.adds", numbers=[1])
    monkeypatch.setitem(registry._JOBS, "tests.adds", registry.Job("tests.adds", "", is_stopped))
    with pytest.raises(SystemExit):
        services.perform_run(run.uuid)
    run.refresh_from_db()
    assert (run.state, run.attempts, run.claim) == (RunState.QUEUED, 0, None)


@pytest.mark.parametrize(
    "facts",
    [
        {"percent": 101},
        {"state": "asleep"},
        {"state": RunState.DONE},
        {"ended_at": timezone.now()},
        {"state": RunState.RUNNING},
    ],
)
def test_the_database_refuses_a_row_that_cannot_be(cast: Cast, facts: dict[str, Any]) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        Run.objects.create(club=cast.club, kind="tests.adds", **facts)
