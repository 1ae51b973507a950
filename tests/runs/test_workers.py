"""Long jobs with real workers: done, killed, cancelled, failed; on a broker in files and on Redis."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.cast import Cast, make_cast
from tests.runs import jobs  # noqa: F401 - registers the jobs
from tests.runs.workers import STALE_AFTER_S, Bench, sending_to, wait_for, wait_for_state
from worksprog.bootstrap.services import redis_server, temporary_folder
from worksprog.runs import services
from worksprog.runs.models import Run, RunState

pytestmark = [pytest.mark.jobs, pytest.mark.django_db(transaction=True)]


@pytest.fixture(scope="module")
def redis_url() -> Iterator[str]:
    given = os.environ.get("TEST_REDIS_URL")
    if given:
        yield given
        return
    if shutil.which("redis-server") is None and "CI" not in os.environ:
        pytest.skip("redis-server is not installed; “make test” installs it")
    with temporary_folder() as folder, redis_server(folder) as url:
        yield url


@pytest.fixture(params=["filesystem", "redis"])
def bench(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Bench]:
    broker = "filesystem://"
    if request.param == "redis":
        broker = request.getfixturevalue("redis_url")
    made = Bench(broker=broker, folder=tmp_path)
    with sending_to(broker, tmp_path):
        try:
            yield made
        finally:
            made.stop()


@pytest.fixture
def people(transactional_db: None) -> Cast:
    return make_cast()


def ask(people: Cast, kind: str, **inputs: Any) -> Run:
    return services.request_run(club=people.club, kind=kind, inputs=inputs, by=people.manager)


def test_done_failed_and_cancelled(bench: Bench, people: Cast) -> None:
    """One worker, one after another: each ends as it should, and the worker goes on."""
    bench.start_worker()
    done = ask(people, "tests.adds", numbers=[20, 22])
    refused = ask(people, "tests.refuses")
    fault = ask(people, "tests.faults_badly")
    endless = ask(people, "tests.endless")
    last = ask(people, "tests.adds", numbers=[1])

    assert wait_for_state(done, RunState.DONE).outcome["sum"] == 42
    assert "import one first" in wait_for_state(refused, RunState.FAILED).error
    assert "nothing you had saved is lost" in wait_for_state(fault, RunState.FAILED).error
    wait_for_state(endless, RunState.RUNNING)
    services.cancel_run(run=endless, by=people.manager)
    assert wait_for_state(endless, RunState.CANCELLED).attempts == 1
    assert wait_for_state(last, RunState.DONE).attempts == 1


def test_a_killed_workers_run_is_done_by_the_next(
    bench: Bench, people: Cast, tmp_path: Path
) -> None:
    attempts = tmp_path / "attempts"
    attempts.mkdir()
    first = bench.start_worker()
    run = ask(people, "tests.waits_once", folder=str(attempts))
    wait_for_state(run, RunState.RUNNING)
    wait_for("the job to have begun", lambda: any(attempts.iterdir()))
    bench.kill(first)
    bench.start_worker()
    wait_for_state(run, RunState.DONE)
    assert (run.attempts, run.outcome) == (2, {"attempt": 2})


def test_a_long_silent_step_is_not_taken_for_death(bench: Bench, people: Cast) -> None:
    """Two workers: the second sweeps every second while the first computes on, saying nothing."""
    bench.start_worker()
    bench.start_worker()
    run = ask(people, "tests.silent", seconds=2.5 * STALE_AFTER_S)
    assert wait_for_state(run, RunState.DONE).attempts == 1


def test_a_job_that_kills_its_worker_ends_after_three_attempts(bench: Bench, people: Cast) -> None:
    bench.start_worker()
    run = ask(people, "tests.kills")
    after = ask(people, "tests.adds", numbers=[1])
    wait_for_state(run, RunState.FAILED)
    assert run.attempts == 3
    assert "3 times" in run.error
    wait_for_state(after, RunState.DONE)


def test_a_run_whose_message_was_lost_is_done(bench: Bench, people: Cast) -> None:
    """The row alone is enough: here no message was ever sent for it."""
    run = Run.objects.create(club=people.club, kind="tests.adds", inputs={"numbers": [5]})
    bench.start_worker()
    assert wait_for_state(run, RunState.DONE).outcome["sum"] == 5
